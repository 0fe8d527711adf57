/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution: all that is said of a run. Written by adjust, read by output; one block that outlives
 * plate, machine, run, workspace.
 *
 * Uncertainties: u_ standard, expanded_ with its coverage beside it. `same_plate` is the second
 * solution, with the plate held at its stated places: its bias cancels between runs and tips on
 * that plate, and its uncertainty is what a difference is worth there. «Not determined» is a flag,
 * never a number.
 */
#ifndef TT_MODEL_SOLUTION_H
#define TT_MODEL_SOLUTION_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/finding.h"
#include "model/frames.h"
#include "model/run.h"
#include "model/words.h"

/* Symmetric 2 x 2. */
struct tt_cov2 {
    double xx_mm2, xy_mm2, yy_mm2;
};

struct tt_pose_result {
    const char *setup;
    bool mark_determined, yaw_determined;
    struct tt_machine_xy mark; /* the reference mark */
    double u_mark_x_mm, u_mark_y_mm;
    double yaw_rad, u_yaw_rad;
};

/* A row of the budget: what one source contributes to the offset's standard uncertainty. */
struct tt_budget_line {
    enum tt_budget_code code;
    const char *source;    /* tt_budget_source(code); of TT_BUDGET_OTHER as the result has it */
    char type;             /* 'A' evaluated from this run's scatter, 'B' stated (JCGM 100) */
    bool of_plate;         /* left out of same_plate */
    bool known_x, known_y; /* the offset is determined there */
    double u_x_mm, u_y_mm;
    double dof; /* with which u is known; HUGE_VAL = stated, 0 = not said (a result read back) */
};

/* How much a source weighs: the larger of both axes, mm. */
double tt_budget_u_mm(const struct tt_budget_line *line);

/* A feature of the plate that the second solution holds. */
enum tt_feature_kind { TT_FEATURE_EDGE, TT_FEATURE_GROUP, TT_FEATURE_MARK };
struct tt_plate_feature {
    enum tt_feature_kind kind;
    const char *name;
    char axis;   /* 0: shift along the edge's normal; 'x', 'y': of a group or a mark, in the plate's
                    frame */
    double u_mm; /* stated */
};

/* How an offset with the plate held answers to the plate's features: mm per mm; x NULL = not known.
 */
struct tt_plate_effects {
    const struct tt_plate_feature *features;
    const double *x, *y;
    size_t n;
};

/* Covariance of what of the plate's errors does not cancel between two such offsets: the difference
 * of their effects times each feature's u. A feature that one of the two does not know has no
 * effect on it. 0 where either is not known. */
struct tt_cov2 tt_plate_apart(struct tt_plate_effects a, struct tt_plate_effects b);

/* One tip's offset less another one's, in the solution with the plate held. */
struct tt_tip_difference {
    const char *tip, *over;
    bool determined;
    struct tt_machine_xy offset;
    struct tt_cov2 cov; /* what of the plate's errors does not cancel is in it */
    double dof, factor, expanded_x_mm, expanded_y_mm;
    bool height_determined;
    double height_mm, u_height_mm, expanded_height_mm; /* of their heights */
};

struct tt_shape_term {
    size_t order;        /* k >= 2 */
    double amplitude_mm; /* of a_k cos k psi + b_k sin k psi */
    double u_amplitude_mm;
    double angle_rad; /* psi of the crest in the tip's frame, in (-pi/k, pi/k] */
};

struct tt_region {
    double semi_major_mm, semi_minor_mm;
    double angle_rad; /* of the major axis, from machine x, in (-pi/2, pi/2] */
    double factor;    /* of the standard ellipse, for 95 % in the plane: sqrt(2 F) */
};

/* One axis of a propagation of distributions: how far the trials' offsets lie from those they were
 * made with. */
struct tt_trial_axis {
    double mean_mm, u_mm;   /* mean and standard deviation */
    double low_mm, high_mm; /* probabilistically symmetric 95 % interval */
    double off_mm;       /* larger difference of its ends from the stated expanded uncertainty's */
    double tolerance_mm; /* numerical tolerance of JCGM 101:2008 8.1 */
    double noise_mm;     /* standard uncertainty of the ends for want of more trials */
    bool agrees;         /* off_mm <= tolerance_mm */
};

struct tt_trials {
    size_t n;
    struct tt_trial_axis x, y;
    double covered; /* share of trials whose own 95 % region held the offset they were made with */
};

/* Why a tip has its verdict. The numbers are those of the tip. */
enum tt_reason_code {
    TT_REASON_FINDING,         /* an error, about this tip or about no tip in particular */
    TT_REASON_NOTHING_PRESENT, /* no offset in use to compare with */
    TT_REASON_WITHIN,          /* the one in use is within the permitted error */
    TT_REASON_NOT_WITHIN,
    TT_REASON_UNCHANGED, /* no permitted error is stated, and the change is not significant */
    TT_REASON_CHANGED,
    TT_REASON_OUT_OF_REACH,      /* no run on this plate can show it to be within */
    TT_REASON_NO_HEIGHT_PRESENT, /* the same of heights */
    TT_REASON_HEIGHT_WITHIN,
    TT_REASON_HEIGHT_NOT_WITHIN,
    TT_REASON_HEIGHT_UNCHANGED,
    TT_REASON_HEIGHT_CHANGED,
    TT_REASON_CODES /* how many */
};
struct tt_reason {
    enum tt_reason_code code;
    const struct tt_finding *finding; /* what it says; NULL: made of the tip's numbers */
    const char *text;                 /* NULL: output makes it (output/text/sentences.h) */
};

/* The code of what @reason says, for programs: that of its finding, "not-within" and so on. */
const char *tt_reason_name(const struct tt_reason *reason);
/* The probability that a reason rests on; 0 where it rests on none. */
struct tt_tip_result;
double tt_reason_probability(const struct tt_tip_result *tip, enum tt_reason_code code);
/* How far down a tip reaches: the head's Z at which its end meets the plane of the reference mark,
 * in the first setup; where the slope of the plate is not known, at the middle of the pads. */
struct tt_height_result {
    size_t touches, used; /* with contact; of these not set aside */
    bool determined;
    double value_mm, u_mm, expanded_mm, dof, factor; /* dof HUGE_VAL = all known */
    double same_plate_u_mm, same_plate_expanded_mm;  /* without the pads' own errors */
    bool has_face_runout;                            /* the end is not square to the axis */
    struct tt_tip_xy face_runout; /* parts with the cosine and the sine of the rotation */
    double face_amplitude_mm, u_face_amplitude_mm, face_angle_rad;
    bool has_present;
    double present_mm, change_mm, change_u_mm, change_dof, p_unchanged; /* where has_present */
    bool has_conformity;
    double permitted_error_mm, p_conforming;
    bool has_verdict; /* it counts: a present height, a permitted error or an export is stated */
    enum tiptrue_verdict verdict;
};

struct tt_pad_result {
    const char *name;
    size_t touches, used;
    double mean_residual_mm;     /* of the used ones */
    double shift_mm, u_shift_mm; /* height found less the stated one */
};

/* The plate as touched from above, in one setup. */
struct tt_surface_result {
    const char *setup;
    bool slope_determined;
    double slope_x, slope_y, u_slope_x, u_slope_y; /* rad: mm of height per mm along machine x, y */
    struct tt_pad_result *pads;
    size_t n_pads;
};

struct tt_tip_result {
    const char *name;
    size_t touches, used; /* with contact; of these not set aside */
    bool offset_determined_x, offset_determined_y;
    struct tt_machine_xy offset;
    bool has_held; /* false: read from a result that has only the full one, which stands in */
    struct tt_machine_xy held; /* the offset with the plate held: for differences on this plate */
    struct tt_cov2 cov, same_plate_cov; /* of offset; of held, the plate's errors left out */
    struct tt_cov2 same_plate_touch,
        same_plate_sight;       /* of same_plate_cov: the parts of touches and sightings */
    double dof, same_plate_dof; /* effective degrees of freedom; HUGE_VAL = all known */
    double *plate_effect_x, *plate_effect_y; /* mm of held offset per mm of shift, by
                                                solution->features; NULL = not known */
    double *edge_response;                   /* as an edge's below: for each edge, and lost motion,
                                                of held x and y and of the contact radius */
    double factor;                           /* t factor for 95 % on one axis, with dof */
    double expanded_x_mm, expanded_y_mm;
    double
        same_plate_factor; /* the same three with same_plate_dof, for the same-plate covariance */
    double same_plate_expanded_x_mm, same_plate_expanded_y_mm;
    double common_u_x_mm, common_u_y_mm; /* the part of the same-plate uncertainty that all tips of
                                            the run share: sightings, yaw */
    struct tt_region region, same_plate_region; /* 95 % */
    bool runout_determined;
    struct tt_tip_xy runout; /* e, at rotation 0 */
    double eccentricity_mm, u_eccentricity_mm;
    double runout_angle_rad, u_runout_angle_rad;
    double runout_dof, runout_factor; /* effective degrees of freedom of both; t factor for 95 % */
    bool radius_determined;
    double contact_radius_mm, u_contact_radius_mm;
    double radius_dof, radius_factor;
    double same_plate_u_radius_mm; /* the plate's own errors left out */
    struct tt_shape_term *shape;
    size_t n_shape;
    struct tt_budget_line *budget;
    size_t n_budget;
    struct tt_trials *trials; /* propagation of distributions, NULL = not asked for */
    double prior_share;       /* of the same-plate variance of the offset (worse axis) that rests on
                                 stated priors */
    bool has_present;
    struct tt_machine_xy present, change; /* change = offset - present */
    bool change_on_same_plate;            /* the present offset was found with this plate */
    struct tt_cov2
        change_cov; /* what the change is judged by; on the same plate without the plate's errors */
    double change_dof, change_expanded_x_mm, change_expanded_y_mm;
    const char *change_from; /* id of the run that the present offset came from: then held offsets
                                are compared; NULL = full ones */
    double p_unchanged;      /* probability of a change at least this large if nothing changed */
    bool has_conformity;     /* a permitted error is stated, and a present offset */
    double p_conforming; /* probability that the present offset is within the permitted error (JCGM
                            106) */
    struct tt_height_result *height; /* NULL: no touch from above */
    enum tiptrue_verdict offset_verdict;
    enum tiptrue_verdict verdict; /* the worse one of offset and height */
    struct tt_reason *reasons;
    size_t n_reasons;
};

/* Where earlier runs on the plate had the offsets, along the direction in which an edge that shifts
 * moves them: of the mean of all tips' held offsets. */
struct tt_offsets_earlier {
    size_t runs;          /* that told; 0: nothing is known */
    double mean_mm, u_mm; /* of the latest of them; standard deviation of what the next run shows
                             about it, if nothing changes */
};

/* Where earlier runs on the plate found an edge, as the history had it when the run was solved. */
struct tt_edge_earlier {
    size_t runs;           /* that it was taken from; 0: nothing is known */
    double shift_mm, u_mm; /* mean of their shifts; standard deviation of a run's own edge between
                              them */
    struct tt_offsets_earlier offsets;
};

struct tt_edge_result {
    const char *name;
    size_t touches, used;
    double mean_residual_mm, rms_residual_mm; /* of the used ones */
    double straightness_mm; /* of the contacts used, repeatability included: peak to valley about
                               their line; NaN = not at three places */
    double shift_mm, u_shift_mm; /* estimated shift along n, group not included */
    /* the smallest further shift that such a run sees in 90 %, and how far it moves an offset
     * unseen; NaN = none is ever seen, or not known */
    double unseen_shift_mm, unseen_effect_mm;
    double *edge_response; /* mm by which shift_mm grows where the touches of each edge of the
                              solution come from 1 mm further out than the plate file says, then
                              by how much with 1 mm of lost motion; NULL = not known: a solve
                              without a history, or a result that was read */
    struct tt_edge_earlier earlier;
};

/* A mark that was sighted: the same two numbers, in the direction in which they are largest. */
struct tt_mark_result {
    const char *name;
    double unseen_shift_mm, unseen_effect_mm;
};

/* One row of the log as the adjustment saw it. */
struct tt_row_result {
    size_t line;
    enum tt_kind kind;
    enum tt_use use;
    const char *target, *tip; /* tip NULL for sightings */
    double rotation_rad;
    double residual_mm;   /* touches: along n, negative is late */
    double residual_y_mm; /* sightings: x in residual_mm, y here */
    double weight;        /* [0, 1], 0 = set aside */
    bool set_aside;
    const char *setup;
    double moved_mm;   /* what a movement or drift of the plate found in the run puts into the
                          residual: it is taken out of it */
    double moved_y_mm; /* sightings: x in moved_mm, y here */
};

/* The picture: what views tell of its scale, turn and distortion. */
struct tt_camera_result {
    size_t views;    /* read; 0 = none, and nothing else is filled */
    bool determined; /* all below but the views */
    double scale_x_mm, scale_y_mm, u_scale_x_mm, u_scale_y_mm; /* per pixel */
    double turn_rad, u_turn_rad;   /* of the picture's axis to the right, against machine x */
    double shear_rad, u_shear_rad; /* of its axis up, beyond 90 degrees from that */
    bool mirrored;
    double dof; /* of these; HUGE_VAL = all stated */
    bool has_distortion;
    double kappa, u_kappa, at_corner_px;
    double rms_px; /* of the used views, per axis */
    bool has_off;  /* a present scale is stated */
    double off_at_corner_mm, u_off_at_corner_mm;
    double u_corner_mm; /* by scale, turn and shear, of a place at the picture's corner: the worst
                           corner and axis. Not in documents */
};

/* The machine's axes: a reported move (X, Y) is truly ((1 + scale_x) X - square Y, (1 + scale_y)
 * Y).
 */
struct tt_axes_result {
    bool found; /* the run shows that they are off; else nothing else is filled */
    double scale_x, u_scale_x, scale_y, u_scale_y, square_rad, u_square_rad;
};

struct tiptrue_solution {
    const char *file, *run_id, *machine, *plate, *plate_serial, *started; /* NULL = not stated */
    const char *rotation_sense; /* "ccw" or "cw": how the machine counts the rotation of tips; NULL
                                   = not stated */
    bool has_temperature;       /* the log states some: the mean of the rows */
    double temperature_C;
    size_t touches_read, touches_used, touches_set_aside, touches_no_contact, touches_find, warmups,
        heights, sightings;
    struct tt_pose_result *poses;
    size_t n_poses;
    struct tt_tip_result *tips; /* those the run touched with or attempted to */
    size_t n_tips;
    struct tt_plate_feature *features; /* what plate_effect counts in */
    size_t n_features;
    struct tt_tip_difference *between_tips; /* each determined tip over the first */
    size_t n_between_tips;
    bool has_u_touch;
    double u_touch_mm, dof_touch; /* repeatability of one touch; dof HUGE_VAL = stated */
    double stated_dof_touch;      /* of a stated one, as a prior; 0 = not stated */
    bool has_u_sighting;
    double u_sighting_mm, dof_sighting, stated_dof_sighting;
    /* what the run's own residuals show of the two, whatever is stated; dof 0 = nothing, or a
     * result that was read */
    double own_touch_mm, own_touch_dof, own_sighting_mm, own_sighting_dof;
    bool has_u_height; /* of one touch from above, as that of a touch */
    double u_height_mm, dof_height, stated_dof_height;
    struct tt_surface_result *surface; /* per setup with touches from above */
    size_t n_surface;
    struct tt_camera_result camera;
    struct tt_axes_result axes;
    bool has_lost_motion, has_latency;
    double lost_motion_mm, u_lost_motion_mm; /* contact radius on X less that on Y */
    double latency_s, u_latency_s;
    struct tt_edge_result *edges; /* those touched */
    size_t n_edges;
    struct tt_mark_result *marks; /* those sighted */
    size_t n_marks;
    struct tt_row_result *rows;
    size_t n_rows;
    struct tt_finding *findings; /* worst first */
    size_t n_findings;
    const char **edge_names; /* what a finding's edge counts in: all edges of the plate */
    size_t n_edge_names;
    const char **tip_names; /* what its tip counts in: all tips of the run */
    size_t n_tip_names;
    const char **setup_names; /* what its setup counts in: all setups of the run */
    size_t n_setup_names;
    bool has_permitted_error;
    double permitted_error_mm;
    enum tiptrue_verdict verdict;
    const char **wanted; /* the tips that were asked for; the run's verdict is theirs; n 0: all */
    size_t n_wanted;
    bool least_squares;   /* the robust step was off: there is no verdict, and all of them are
                             TIPTRUE_REPEAT */
    bool change_accepted; /* changes beyond the plausible one were accepted when it was solved */
    size_t iterations;
    struct tt_arena arena; /* owns all of the above */
};

/* Whether the tip @name is one of those asked for when the run was solved; all are where none was
 * named. */
bool tt_tip_is_wanted(const struct tiptrue_solution *solution, const char *name);
/* Of what @tip's budget has left after @last (NULL: of all) the largest source, equal ones in the
 * order of the budget; NULL = none. */
const struct tt_budget_line *tt_budget_next(const struct tt_tip_result *tip,
                                            const struct tt_budget_line *last);
/* The tip that is called @name; NULL: there is none. */
const struct tt_tip_result *tt_solution_tip(const struct tiptrue_solution *solution,
                                            const char *name);

/* Whether the height of @tip counts and is to be updated; whether that of any wanted tip is. */
static inline bool tt_height_waits(const struct tt_tip_result *tip)
{
    return tip->height != NULL && tip->height->has_verdict &&
           tip->height->verdict == TIPTRUE_UPDATE;
}
bool tt_a_height_waits(const struct tiptrue_solution *solution);

static inline struct tt_plate_effects tt_effects_of(const struct tiptrue_solution *solution,
                                                    const struct tt_tip_result *tip)
{
    bool known = tip->plate_effect_x != NULL && tip->plate_effect_y != NULL;

    return (struct tt_plate_effects){solution->features, known ? tip->plate_effect_x : NULL,
                                     tip->plate_effect_y, known ? solution->n_features : 0};
}

/* Whether every tip with an offset has the one with the plate held. */
static inline bool tt_solution_has_held(const struct tiptrue_solution *solution)
{
    bool all = true;

    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *tip = &solution->tips[i];
        all = all && (tip->has_held || !tip->offset_determined_x || !tip->offset_determined_y);
    }
    return all;
}

#endif
