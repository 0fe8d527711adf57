/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proposal: the moves that were planned, what they are expected to give, and what stands in the
 * way of more. Written by planning, read by output. */
#ifndef TT_MODEL_PROPOSAL_H
#define TT_MODEL_PROPOSAL_H

#include "model/plan.h"
#include "model/solution.h"

/* An edge that a tip does not touch, or touches in fewer places, and why. */
struct tt_left_out {
    const char *edge, *tip, *reason;
};

/* What limits a plan, or would help. */
enum tt_note_code {
    TT_NOTE_FINDING,   /* what is expected says it: a finding */
    TT_NOTE_UNUSABLE,  /* the run so far cannot be used, whatever is added to it: a finding */
    TT_NOTE_SIGHTINGS, /* the target is not reached: the sightings' part of the uncertainty, u_mm */
    TT_NOTE_STATED,    /* not reached either, for what was stated: @source */
    TT_NOTE_PLATE      /* a part of the full uncertainty is the plate's: @source */
};
struct tt_note {
    enum tt_note_code code;
    size_t index; /* of a finding of @expected, of @solved */
    const char *tip;
    enum tt_budget_code source;
    double u_mm;
    const char *group;       /* TT_NOTE_PLATE: the plate's only one; NULL: none, or several */
    bool second_setup_helps; /* TT_NOTE_PLATE */
};

/* Why there is no plan. */
enum tt_refusal {
    TT_NOT_REFUSED,
    TT_REFUSED_UNDETERMINED, /* no touches on this plate determine the offset: @expected says why */
    TT_REFUSED_UNUSED        /* no run on it would be used: likewise */
};

/* What is expected of a tip's touches from above; standard uncertainties, the height's at the
 * reference mark, in full and with the pads as they are. */
struct tt_planned_height {
    const char *tip;
    size_t touches;
    double u_mm, same_plate_u_mm, u_face_mm;
};

struct tiptrue_proposal {
    struct tiptrue_plan plan;   /* its arena owns all texts and arrays here */
    struct tt_machine_xy *head; /* of each move: where the head is expected to latch or see, by what
                                   the machine file states */
    struct tt_machine_xy
        *normal;        /* touches: the edge's normal in the machine frame, to the free side */
    double *u_place_mm; /* touches: standard uncertainty of where the edge is when the program runs;
                           heights: of the pad's place */
    double *z_mm, *u_z_mm; /* heights: Z expected at contact, and its standard uncertainty;
                              HUGE_VAL: the tip's height is not stated */
    struct tt_planned_height *heights;
    size_t n_heights;
    double u_slope_x, u_slope_y; /* rad, of the plate; where n_heights > 0 */
    size_t from_above;           /* touches from above; a fast and a slow move are one */
    const char *machine, *plate; /* names, NULL = not stated */
    bool next;                   /* further touches of a run that was begun */
    size_t touches, sightings;   /* planned now; a fast and a slow move are one touch */
    bool has_target;
    double target_mm;                 /* expanded uncertainty on the same plate, each axis */
    bool met;                         /* by all tips, as expected; true without a target */
    size_t views;                     /* in place of sightings */
    double target_view_mm, corner_mm; /* of a feature's place at the picture's corner, expanded: the
                                         target, 0 = none; what is expected, where there are views,
                                         HUGE_VAL = they do not tell */
    double permitted_view_mm;         /* of the machine file; 0 = not stated */
    bool view_met;                    /* as expected; true without a target */
    bool default_touches;             /* neither a target nor a number was asked for */
    struct tiptrue_solution
        *expected; /* what the solver's own covariance code expects of run and moves together */
    struct tiptrue_solution *solved; /* the run so far, NULL = there is none */
    struct tt_left_out *left_out;
    size_t n_left_out;
    const char *limited_by; /* the largest of what touching does not lessen, or NULL */
    struct tt_note *notes;
    size_t n_notes;
    enum tt_refusal refusal; /* not TT_NOT_REFUSED: nothing but @expected is there */
};

#endif
