/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The adjustment model of one run: which unknowns there are, what is known of them beforehand, and
 * the design of every row.
 *
 * Touches are kept sorted into cells (same setup, edge, tip, feed): within one all design rows are
 * combinations of a constant column and a few varying ones (yaw, runout, shape, drift), so that the
 * normal matrix is built from small Gram matrices.
 */
#ifndef TT_ADJUST_MODEL_H
#define TT_ADJUST_MODEL_H

#include <stdbool.h>
#include <stddef.h>

#include "adjust/system.h"
#include "geometry/touch.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/run.h"

/* Columns of a cell: constant, yaw, runout x, runout y; then, where the model has them, drift
 * (model->drift_column), slip x and y (slip_column), axis (axis_column), shape pairs
 * (shape_column). */
enum { TT_COLUMN_ONE, TT_COLUMN_YAW, TT_COLUMN_E_X, TT_COLUMN_E_Y, TT_COLUMN_MORE };
#define TT_MOST_COLUMNS (TT_COLUMN_MORE + 6 + 2 * (TT_MOST_ORDER - 1))
#define TT_MOST_ENTRIES (20 + TT_MOST_COLUMNS)
#define TT_MOST_SIGHT_ENTRIES 20 /* of a coordinate of a sighting */
/* Places in a tip's block. */
enum { TT_TIP_O_X, TT_TIP_O_Y, TT_TIP_E_X, TT_TIP_E_Y, TT_TIP_R, TT_TIP_SHAPE };

/* How the machine's axes may be wrong: x reads wrong with y, or x to another scale than y; or,
 * where marks tell it, each to its own scale and not square. */
enum tt_axis_fault { TT_AXES_RIGHT, TT_AXES_NOT_SQUARE, TT_AXES_SCALE, TT_AXES_ALL };
/* What stands elsewhere from a row on: the plate, by little, or by anything and turned; the camera
 * or a tip, as against the head. */
enum tt_mover { TT_MOVER_PLATE, TT_MOVER_PLATE_FAR, TT_MOVER_CAMERA, TT_MOVER_TIP };
/* Places of TT_AXES_ALL: a reported move (X, Y) is truly ((1 + ex) X - g Y, (1 + ey) Y). */
enum { TT_AXIS_X, TT_AXIS_SQUARE, TT_AXIS_Y, TT_AXIS_NUMBERS };

/* What the model holds beyond the plain one. Arrays may be NULL: nothing of the kind. */
struct tt_terms {
    bool reversed; /* rotation counted the other way than the machine file says */
    bool lost_motion, latency, drift;
    bool distortion; /* the picture's scale changes towards its corners */
    enum tt_axis_fault axes;
    bool axes_far;   /* by a wrong setting: TT_AXES_SCALE, or one axis alone of TT_AXES_ALL */
    size_t far_axis; /* that one */
    size_t moved_at; /* row of the run from which `mover` stands elsewhere; TT_NONE = all stood
                        still */
    enum tt_mover mover;
    size_t moved_tip;   /* TT_MOVER_TIP: that tip of the run; TT_NONE = all */
    size_t slipped_at;  /* row of the run before which a tip's runout vector was another; TT_NONE =
                           none */
    size_t slipped_tip; /* that tip of the run */
    unsigned *orders;   /* per block: bit k set = shape order k is in */
    double *edge_extra_mm; /* per edge of the plate: standard deviation by which its stated place is
                              widened */
    double *mark_extra_mm; /* per mark, the same for both coordinates */
    double *radius_extra_mm; /* per tip of the run, of its stated radius */
    double *sight_extra_mm;  /* per sighting, in the order of the rows, of both coordinates */
    bool *edge_out;          /* per edge: none of its touches is good */
    bool *yaw_free;          /* per setup: the nominal yaw is not used */
    double *turned_rad; /* per setup: by how much the search starts turned against the nominal yaw;
                           where no yaw was sighted */
    bool proper; /* every unknown has a proper prior and every feature seen is one: for evidences */
};

/* A prior: unknown = value, standard uncertainty u. */
enum tt_prior_kind {
    TT_PRIOR_EDGE,
    TT_PRIOR_GROUP,
    TT_PRIOR_MARK,
    TT_PRIOR_RADIUS,
    TT_PRIOR_YAW,
    TT_PRIOR_PLACE,
    TT_PRIOR_CAMERA, /* scale and turn of the picture, as stated, or vaguely about the start */
    TT_PRIOR_LENS,   /* its distortion */
    TT_PRIOR_WEAK,
    TT_PRIORS
};
struct tt_prior {
    enum tt_prior_kind kind;
    size_t block, place; /* as in tt_entry; block TT_NONE = border */
    double value, u;
    double extra; /* the part of u by which a term widens what is stated */
    size_t what;  /* index of the edge, group, mark, tip or setup */
};

struct tt_cell {
    size_t setup, edge, block;
    bool moved; /* the touches hold terms' movement */
    double feed_mm_s;
    size_t first, count; /* its rows */
    struct tt_site site;
    struct tt_entry entries[TT_MOST_ENTRIES];
    size_t n_entries, n_columns;
};

/* A sighting or a view: two rows (x, y). */
struct tt_sight {
    size_t row; /* in the run */
    size_t setup, mark;
    bool moved; /* as of a cell */
    double scale, clock;
    bool view;
    struct tt_machine_xy place; /* of the mark: h, of a view by the start of the camera */
    double v_x, v_y;            /* views: from the picture's centre to the right and up, pixels */
    double ratio; /* variance of its coordinates, in that of a sighting's: 1 but for views */
    double share; /* of an independent one that it counts for: 1 but for views that err alike */
    size_t first, alike; /* views: the first one of its place, and how many were made there */
    double extra_mm2;    /* variance by which a term widens that of its coordinates */
    double residual[2];
    struct tt_entry entries[2][TT_MOST_SIGHT_ENTRIES];
    size_t n_entries;
};

/* The picture, in a model with views. */
struct tt_picture_model {
    size_t n;            /* views */
    size_t at, at_kappa; /* places in the border: four numbers (views.h), one; TT_NONE = none */
    double rho_px;       /* half the picture's diagonal */
    double pixel_mm;     /* size of a pixel at the start */
    double u[4];         /* of the start */
    double own_var_mm2, own_dof; /* robust, of a coordinate about the start; dof 0 = not known */
};

struct tt_model {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_run *run;
    struct tt_terms terms;
    /* layout */
    size_t n_setups, n_border, n_blocks, n_unknowns;
    size_t *block_tip; /* block -> tip of the run */
    size_t *tip_block; /* tip of the run -> block, TT_NONE = no touch */
    size_t *block_size;
    size_t *at_edge, *at_group,
        *at_mark;    /* places in the border, TT_NONE = not an unknown (exact, or not seen) */
    bool *edge_seen; /* touched */
    size_t at_lost_motion, at_latency, at_axis, at_drift, at_moved, at_turned, at_slip;
    size_t n_axis; /* unknowns at at_axis */
    struct tt_picture_model picture;
    size_t moved_setup;   /* of the row from which the plate stands elsewhere */
    bool *setup_sighted;  /* any mark sighted in it */
    bool *yaw_sighted;    /* two distinct marks or more */
    double *yaw_seen_rad; /* yaw of the sightings alone, where yaw_sighted */
    bool *yaw_prior_used;
    struct tt_prior *priors;
    size_t n_priors;
    bool weak; /* weak priors stand in where neither data nor statements determine something */
    /* rows */
    struct tt_cell *cells;
    size_t n_cells;
    size_t *cells_by_block; /* the cells' indices, those of one block together */
    size_t n_touches;
    size_t *row; /* touch -> row of the run */
    size_t *cell_of;
    struct tt_touch *touch;
    double *clock; /* place in the run's order, -0.5 ... 0.5 */
    size_t drift_column, slip_column, axis_column, shape_column;
    struct tt_machine_xy
        middle;       /* of the touches' heads: errors of the axes are counted from there */
    size_t stride;    /* columns kept per touch */
    double *slope;    /* n_touches x stride: the columns of its cell (column 0 is 1) */
    double *residual; /* mm */
    struct tt_sight *sights;
    size_t n_sights;
    const double *linear_mm; /* not NULL: a plain linear problem instead of touches, slopes as
                                given, residuals these at x = 0 */
    /* state */
    double *x; /* the unknowns, absolute: mm, rad, s */
    struct tt_system system;
};

/* Is it the plate that stands elsewhere from a row on, and not the camera or a tip? */
static inline bool tt_plate_moves(const struct tt_model *model)
{
    return model->terms.moved_at != TT_NONE &&
           (model->terms.mover == TT_MOVER_PLATE || model->terms.mover == TT_MOVER_PLATE_FAR);
}

/* Did @sight see the plate elsewhere than the pose says? */
static inline bool tt_stands_elsewhere(const struct tt_model *model, const struct tt_sight *sight)
{
    return sight->moved && tt_plate_moves(model);
}

/* Place of the pose of @setup in the border: m_x, m_y, beta. */
static inline size_t tt_at_pose(size_t setup)
{
    return 3 * setup;
}

/* Build the model of a run with @terms (its arrays are borrowed), with start values for all
 * unknowns, in @arena. TIPTRUE_E_DATA: no touch can be used. */
TT_MUST_USE enum tiptrue_status tt_model_build(struct tt_model *model, struct tt_arena *arena,
                                               const struct tiptrue_plate *plate,
                                               const struct tiptrue_machine *machine,
                                               const struct tiptrue_run *run,
                                               const struct tt_terms *terms, bool weak);

/* The same of the run of @like, a built model that is kept in its arena as long as @model: the
 * touches' rows are shared where both sort them alike. */
TT_MUST_USE enum tiptrue_status tt_model_build_like(struct tt_model *model, struct tt_arena *arena,
                                                    const struct tt_model *like,
                                                    const struct tt_terms *terms, bool weak);

/* Rows of the run into a model that is laid out, of @like (NULL: none) where they are alike: part
 * of tt_model_build. TIPTRUE_E_DATA: no touch can be used. */
TT_MUST_USE enum tiptrue_status
tt_model_collect_rows(struct tt_model *model, struct tt_arena *arena, const struct tt_model *like);

/* Which touch stands at each row of the run (TT_NONE: none), in the arena. NULL: no memory. */
size_t *tt_model_touch_by_row(const struct tt_model *model, struct tt_arena *arena);

/* What a movement or drift that the model holds puts into the residual of a touch
 * (mm), and into those of a sighting, where the model was linearised. */
double tt_touch_moved(const struct tt_model *model, size_t touch);
struct tt_machine_xy tt_sight_moved(const struct tt_model *model, const struct tt_sight *sight);

/* Residuals and design rows at model->x. */
void tt_model_linearise(struct tt_model *model);

/* Move by @dx (subtracted) with the residuals updated to first order: for steps in which the yaw
 * hardly moves. */
void tt_model_move(struct tt_model *model, const double dx[]);

/* Its parts: the touches of one cell, by the change of each of its columns (mm per unit of the
 * column; n_columns numbers, TT_COLUMN_MORE at least); the sightings. */
void tt_cell_move(struct tt_model *model, const struct tt_cell *cell, const double by_column[]);
void tt_model_move_sights(struct tt_model *model, const double dx[]);

/* Weighted products of a cell's columns with each other, n_columns x n_columns, both triangles, and
 * with the residuals. */
void tt_cell_gram(const struct tt_model *model, const struct tt_cell *cell, const double weight[],
                  double gram[], double right[]);

/* Normal equations at the last linearisation. @weight per touch (1/variance, 0 = set aside;
 * NULL = no touches),
 * @sight_weight for every sighting whose variance no term widens. The priors are added when
 * @with_priors. */
void tt_model_accumulate(struct tt_model *model, const double weight[], double sight_weight,
                         bool with_priors);

/* The same of the touches alone, and of the tips' own unknowns: what tt_system_solve_blocks takes.
 */
void tt_model_accumulate_blocks(struct tt_model *model, const double weight[]);

/* Weight of a coordinate of @sight where others have @sight_weight (> 0). */
static inline double tt_sight_weight(const struct tt_sight *sight, double sight_weight)
{
    return sight->share * sight_weight / (sight->ratio + sight_weight * sight->extra_mm2);
}

/* What it counts for among those that repeat: nothing where a term widens its variance. */
static inline double tt_sight_share(const struct tt_sight *sight)
{
    return sight->extra_mm2 > 0 ? 0 : sight->share;
}

/* What number @k of a fault of the axes adds to a reported position @h, per unit of it: mm per rad,
 * or mm per 1. Counted from @middle. */
struct tt_machine_xy tt_axis_column(enum tt_axis_fault fault, size_t k, struct tt_machine_xy h,
                                    struct tt_machine_xy middle);

/* Where a fault of the axes acts on touch @i of @cell: the head; of TT_AXES_ALL, the tip's axis, so
 * that offsets stay in the machine's own units of motion. */
struct tt_machine_xy tt_axis_point(const struct tt_model *model, enum tt_axis_fault fault,
                                   const struct tt_cell *cell, size_t i);

/* Index in model->x of a prior's or entry's unknown. */
static inline size_t tt_unknown(const struct tt_model *model, size_t block, size_t place)
{
    return place < model->n_border ? place : model->system.first[block] + place - model->n_border;
}

/* Change of the residuals of @cell's touches with the unknowns' change @dx, per column of the cell.
 */
static inline void tt_cell_columns(const struct tt_model *model, const struct tt_cell *cell,
                                   const double dx[], double by_column[TT_MOST_COLUMNS])
{
    for (size_t k = 0; k < cell->n_columns; k++) {
        by_column[k] = 0;
    }
    for (size_t k = 0; k < cell->n_entries; k++) {
        by_column[cell->entries[k].column] +=
            cell->entries[k].value * dx[tt_unknown(model, cell->block, cell->entries[k].place)];
    }
}

/* The same for touch @i of @cell. */
static inline double tt_cell_product(const struct tt_model *model, const struct tt_cell *cell,
                                     size_t i, const double by_column[])
{
    const double *slope = model->slope + i * model->stride;
    double sum = 0;

    for (size_t k = 0; k < cell->n_columns; k++) {
        sum += slope[k] * by_column[k];
    }
    return sum;
}

#endif
