/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a set of touches is expected to give, by the solver's own model and covariance (adjust),
 * before any of them is made.
 *
 * A scene is plate, machine, placements and sightings or views, and perhaps a run that was begun.
 * With touches it makes a run in memory, whose coordinates are where the machine file expects them.
 * `tt_scene_check` asks the solver's covariance code of all of it. For choosing among many touches,
 * an engine holds that covariance for the common unknowns and one tip, and brings it up to date for
 * a touch more or less: (M + a a'/v)^-1 = C - C a a' C / (v + a' C a) (J. Sherman, W. J. Morrison,
 * Ann. Math. Stat. 21 (1950) 124-127), the design rows a being those that adjust/linearise.c gives
 * for the candidates.
 */
#ifndef TT_PLANNING_SCENE_H
#define TT_PLANNING_SCENE_H

#include "adjust/check.h"
#include "adjust/held.h"

/* A touch to be made. */
struct tt_probe {
    size_t setup, tip, edge;
    struct tt_plate_xy at; /* on the edge */
    double rotation_rad;   /* as logged */
};

/* Standard uncertainty of a pose: of the mark, of the yaw; HUGE_VAL = not known. */
struct tt_pose_u {
    double mark_mm, yaw_rad;
};

/* A mark to be viewed, and where in the picture it is wanted. */
struct tt_view_place {
    size_t mark;
    double px, py;
};

struct tt_scene {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_run *so_far; /* the run that was begun, NULL = none */
    const bool *aside;                /* of its rows: not to be used */
    const char **tips, **setups;
    size_t n_tips, n_setups;
    const double *turned_rad;    /* by setup, against the machine file's yaw */
    const struct tt_pose *poses; /* by setup, as known; NULL: as the machine file states */
    const struct tt_pose_u
        *poses_u; /* how well the poses are known; NULL: as the machine file states */
    const struct tt_machine_xy *offsets; /* by tip */
    size_t sightings; /* rounds over all marks in each setup at the start, and as many at the end */
    const struct tt_view_place *views; /* of each setup; where there are any, in their place */
    size_t n_views, n_views_first;     /* the first so many are made at the start */
};

/* The pose of a setup as it is expected. */
struct tt_pose tt_scene_pose(const struct tt_scene *scene, size_t setup);
/* Standard uncertainty of where a point of the plate is then. */
double tt_scene_u_place(const struct tt_scene *scene, size_t setup, struct tt_plate_xy at);
/* Where the head is expected at the contact. */
struct tt_machine_xy tt_scene_head(const struct tt_scene *scene, const struct tt_probe *probe);

/* Where it is so that the camera, as it is stated, has the mark of @view at its place. */
struct tt_machine_xy tt_scene_view_head(const struct tt_scene *scene, size_t setup,
                                        const struct tt_view_place *view);
/* Sightings of each setup, or views in their place. */
size_t tt_scene_marks(const struct tt_scene *scene);

/* The run of @scene with @probes into *run, from @arena: rows so far, sightings or views, touches.
 * TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_scene_run(const struct tt_scene *scene,
                                             const struct tt_probe probes[], size_t n,
                                             struct tt_arena *arena, struct tiptrue_run *run);

/* Expected solution of the scene with @probes. */
TT_MUST_USE enum tiptrue_status tt_scene_check(const struct tt_scene *scene,
                                               const struct tt_probe probes[], size_t n,
                                               struct tt_adjust_workspace *workspace,
                                               struct tiptrue_solution **expected,
                                               struct tiptrue_error *error);

/* A candidate's design row. */
struct tt_row {
    unsigned short place[TT_MOST_ENTRIES];
    double value[TT_MOST_ENTRIES];
    size_t n;
};

/* A covariance that is brought up to date touch by touch: of border and tip's block. */
struct tt_running {
    size_t n, offset, runout; /* unknowns; where o_x, e_x are among them */
    struct tt_row *rows;      /* of the candidates */
    double *c, *column;       /* n x n; C a of the touch that is changed */
    double *q, *gain;         /* of each candidate: a' C a; of C a the four of o and e */
};

/* C a into the column; a' C a is returned. */
double tt_running_multiply(const struct tt_running *running, const struct tt_row *a);
/* C is changed by -f c c' with the column c, and with it what is kept of every @stride-th of
 * @n_rows candidates. */
void tt_running_update(struct tt_running *running, double f, size_t n_rows, size_t stride);

struct tt_engine {
    struct tt_arena arena;
    struct tt_model model;
    struct tt_fit fit;
    struct tt_noise noise;
    struct tt_held held;
    size_t block, n_rows, n_views; /* the tip's block; candidates; views of a setup */
    size_t n_seen;                 /* views that the run so far holds; they come first */
    size_t *touch_of_row;          /* candidate -> touch of the model */
    struct tt_running full, plate; /* of the whole fit, and with the plate held */
    double variance_mm2;
    size_t stride;    /* only every so-manieth candidate is asked for; 1 at first */
    double sightings; /* so many times those of the scene; 1 at first */
    double full_limit_mm2,
        runout_limit_mm2;  /* what the traces exceed them by counts; HUGE_VAL at first */
    double plate_even_mm2; /* the trace on the plate when the limits were set */
};

/* An engine for @tip of @scene with these candidates. @shape_u_mm: a tip out of round by so much in
 * each of its harmonics is to be borne, 0 = none. TIPTRUE_E_MEMORY, TIPTRUE_E_DATA. */
TT_MUST_USE enum tiptrue_status tt_engine_init(struct tt_engine *engine,
                                               const struct tt_scene *scene, size_t tip,
                                               const struct tt_probe candidates[], size_t n,
                                               double shape_u_mm);
void tt_engine_clear(struct tt_engine *engine);

/* From now on with @counts views of each of the scene's. */
void tt_engine_weigh_views(struct tt_engine *engine, const size_t counts[]);

/* Covariance with @counts touches of each candidate, from adjust. False: they do not determine the
 * unknowns. */
TT_MUST_USE bool tt_engine_set(struct tt_engine *engine, const size_t counts[]);

/* One touch of @row more (@sign 1) or less (-1). Cost: unknowns^2, and candidates / stride x
 * entries of a row. False, and nothing changed: without it the unknowns are not determined. */
bool tt_engine_change(struct tt_engine *engine, size_t row, int sign);

/* Trace of the offset's covariance with the plate held, mm2. The full one counts by a millionth, to
 * choose between equals, and by the share that it is over the engine's limit: on the plate two
 * directions would do, and the errors of few edges weigh more. */
double tt_engine_score(const struct tt_engine *engine);
/* The same with one touch of @row more; HUGE_VAL where it is no less than @best. @row: a multiple
 * of the stride. */
double tt_engine_score_with(const struct tt_engine *engine, size_t row, double best);
/* Set the limits to what they are now, that of the runout @runout_share of it. */
void tt_engine_limit(struct tt_engine *engine, double runout_share);

/* Order @probes (of all tips). @edge_order: edges of the plate in the order of a pass (its first
 * n_edges). TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_order(const struct tt_scene *scene, const size_t edge_order[],
                                         size_t n_edges, struct tt_probe probes[], size_t n);

#endif
