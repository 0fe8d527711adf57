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

struct tiptrue_proposal {
    struct tiptrue_plan plan;   /* its arena owns all texts and arrays here */
    struct tt_machine_xy *head; /* of each move: where the head is expected to latch or see, by what
                                   the machine file states */
    struct tt_machine_xy
        *normal; /* touches: the edge's normal in the machine frame, to the free side */
    double
        *u_place_mm; /* touches: standard uncertainty of where the edge is when the program runs */
    const char *machine, *plate; /* names, NULL = not stated */
    bool next;                   /* further touches of a run that was begun */
    size_t touches, sightings;   /* planned now; a fast and a slow move are one touch */
    bool has_target;
    double target_mm;     /* expanded uncertainty on the same plate, each axis */
    bool met;             /* by all tips, as expected; true without a target */
    bool default_touches; /* neither a target nor a number was asked for */
    struct tiptrue_solution
        *expected; /* what the solver's own covariance code expects of run and moves together */
    struct tt_left_out *left_out;
    size_t n_left_out;
    const char *limited_by; /* the largest of what touching does not lessen, or NULL */
    const char **notes;     /* sentences: what limits, what would help */
    size_t n_notes;
};

#endif
