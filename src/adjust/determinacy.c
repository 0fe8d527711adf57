/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the touches cannot tell, or tell only with the help of a stated value: which quantity, what
 * it hides behind, what to do.
 *
 * The singular directions of the information are read from the covariance: where a weak prior had
 * to stand in (model.c), what rests on it is undetermined, and the quantities that go along with it
 * (correlation near 1) are those it hides behind.
 */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/check.h"
#include "adjust/findings.h"
#include "model/words.h"

/* More than half of the variance that touches could take away rests on what was stated. */
#define PRIOR_BOUND_SHARE 0.5
/* Quantities that go together as closely as this are one combination. */
#define TOGETHER 0.9
/* Open along one line only, if so much more than across it. */
#define ONE_LINE 5.0
/* An edge normal counts as seeing a direction from 0.2 (some 12 degrees) on. */
#define SEES 0.2
/* A gap between neighbouring rotations wider than a third of a turn leaves the runout circle open.
 * One degree for rounding. */
#define WIDEST_GAP_RAD (121 * TT_PI / 180)
/* A gap counts if the runout is so much less certain for it than from rotations spread evenly (u =
 * scatter x sqrt(2 / n)): half a turn gives 1.3, two opposite rotations on facing edges 1.0. */
#define GAP_COSTS 1.15
#define HOMING_PERMITTED_MM 0.1

/* The direction in the plane in which @cov is largest. */
static void worst_direction(struct tt_cov2 cov, double v[2])
{
    struct tt_region axes = tt_cov2_region(cov, 1);
    v[0] = cos(axes.angle_rad);
    v[1] = sin(axes.angle_rad);
}

/* How the edges that a tip touched face the line of @v: counts of touches facing along it and
 * against it. */
static void facing(const struct tt_view *view, size_t block, const double v[2], size_t *along,
                   size_t *against)
{
    *along = *against = 0;
    for (size_t c = 0; c < view->model->n_cells; c++) {
        const struct tt_cell *cell = &view->model->cells[c];
        double part = cell->site.n_x * v[0] + cell->site.n_y * v[1];
        if (cell->block == block && part > SEES) {
            *along += cell->count;
        } else if (cell->block == block && part < -SEES) {
            *against += cell->count;
        }
    }
}

/* Correlation of the offset along @v with e_x, e_y (largest) and r. */
static void companions(const struct tt_view *view, size_t block, const double v[2], double *runout,
                       double *radius)
{
    const double *c = view->tip_cov[block];
    double variance = 0, with[TT_TIP_SHAPE];

    for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
        with[k] = v[0] * c[k] + v[1] * c[TT_TIP_SHAPE + k];
    }
    variance = v[0] * with[0] + v[1] * with[1];
    for (size_t k = TT_TIP_E_X; k < TT_TIP_SHAPE; k++) {
        double own = c[k * TT_TIP_SHAPE + k];
        with[k] = own > 0 && variance > 0 ? fabs(with[k]) / sqrt(own * variance) : 0;
    }
    *runout = fmax(with[TT_TIP_E_X], with[TT_TIP_E_Y]);
    *radius = with[TT_TIP_R];
}

/* "edges facing +x and -x": the directions a tip's touched edges face, each once. */
static void list_directions(const struct tt_view *view, size_t block, struct tt_buffer *text)
{
    double seen[8][2];
    size_t n = 0;

    for (size_t c = 0; c < view->model->n_cells && n < 8; c++) {
        const struct tt_cell *cell = &view->model->cells[c];
        bool known = cell->block != block;
        for (size_t k = 0; k < n && !known; k++) {
            known = seen[k][0] * cell->site.n_x + seen[k][1] * cell->site.n_y > 0.97;
        }
        if (!known) {
            tt_buffer_puts(text, n == 0 ? "edges facing " : ", ");
            tt_words_direction(text, cell->site.n_x, cell->site.n_y);
            seen[n][0] = cell->site.n_x;
            seen[n++][1] = cell->site.n_y;
        }
    }
}

/* "one that faces +x and one that faces +y": the opposites of the directions that a tip met from
 * one side only. */
static void list_missing(const struct tt_view *view, size_t block, struct tt_buffer *text)
{
    bool any = false;

    for (size_t c = 0; c < view->model->n_cells; c++) {
        const struct tt_cell *cell = &view->model->cells[c];
        double n[2] = {cell->site.n_x, cell->site.n_y};
        bool first = true;
        size_t along, against;
        for (size_t k = 0; k < c && first; k++) {
            const struct tt_cell *before = &view->model->cells[k];
            first =
                before->block != block || before->site.n_x * n[0] + before->site.n_y * n[1] < 0.97;
        }
        facing(view, block, n, &along, &against);
        if (cell->block == block && first && against == 0) {
            tt_buffer_puts(text, any ? " and one that faces " : "one that faces ");
            tt_words_direction(text, -n[0], -n[1]);
            any = true;
        }
    }
}

static bool any_yaw_open(const struct tt_view *view)
{
    bool open = false;
    for (size_t k = 0; k < view->solution->n_poses; k++) {
        open = open || !view->solution->poses[k].yaw_determined;
    }
    return open;
}

/* ". Only edges facing … were touched; touch …": why the offset along @v is open, and what would
 * close it. */
static void explain_offset(const struct tt_view *view, size_t block, const double v[2],
                           struct tt_buffer *text)
{
    size_t along, against;
    double runout, radius;

    facing(view, block, v, &along, &against);
    companions(view, block, v, &runout, &radius);
    if (any_yaw_open(view)) {
        tt_buffer_puts(text, ": it goes with the yaw of the plate, which is open");
    } else if (along == 0 && against == 0) {
        tt_buffer_puts(text, ": only ");
        list_directions(view, block, text);
        tt_buffer_puts(text, " were touched; touch an edge that faces ");
        tt_words_direction(text, v[0], v[1]);
        tt_buffer_puts(text, " or ");
        tt_words_direction(text, -v[0], -v[1]);
    } else if (runout > TOGETHER) {
        tt_buffer_puts(text, ": it cannot be told from the runout; touch at three rotations or "
                             "more, spread over the turn");
    } else if (radius > TOGETHER || along == 0 || against == 0) {
        double sign = along == 0 ? 1 : -1;
        tt_buffer_puts(text, ": it cannot be told from the contact radius, since only ");
        list_directions(view, block, text);
        tt_buffer_puts(text, " were touched; touch one that faces ");
        tt_words_direction(text, sign * v[0], sign * v[1]);
        tt_buffer_puts(text,
                       ", or state the tip's radius with its uncertainty in the machine file");
    } else {
        tt_buffer_puts(text, ": it cannot be told from where the plate lies; sight the reference "
                             "mark, and a second mark for the yaw");
    }
}

static enum tiptrue_status undetermined_tip(struct tt_view *view, size_t index, size_t run_tip,
                                            struct tt_buffer *text)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t block = view->model->tip_block[run_tip];
    struct tt_about about = {TT_NONE, run_tip, TT_NONE, NULL, 0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (block == TT_NONE) {
        tt_buffer_printf(text,
                         "nothing of '%s' is determined: none of its touches made contact; check "
                         "its contact circuit and repeat",
                         tip->name);
        return tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, about, text);
    }
    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        double v[2];
        struct tt_region axes = tt_cov2_region(tip->cov, 1);
        worst_direction(tip->cov, v);
        tt_buffer_printf(text, "the offset of '%s'", tip->name);
        if (axes.semi_major_mm > ONE_LINE * axes.semi_minor_mm) {
            tt_buffer_puts(text, " along ");
            tt_words_line(text, v[0], v[1]);
        }
        tt_buffer_puts(text, " is not determined");
        explain_offset(view, block, v, text);
        status = tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, about, text);
    }
    if (status == TIPTRUE_OK && !tip->runout_determined) {
        tt_buffer_printf(text,
                         "the runout of '%s' is not determined: touch at three rotations or more, "
                         "spread over the turn",
                         tip->name);
        status = tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, about, text);
    }
    if (status == TIPTRUE_OK && !tip->radius_determined) {
        tt_buffer_printf(text,
                         "the contact radius of '%s' is not determined: touch two edges that face "
                         "each other, or state its radius with "
                         "its uncertainty in the machine file",
                         tip->name);
        status = tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, about, text);
    }
    return status;
}

static enum tiptrue_status undetermined_poses(struct tt_view *view, struct tt_buffer *text)
{
    enum tiptrue_status status = TIPTRUE_OK;
    bool yaw_open = false; /* then the residuals tell of it, not of the contacts */

    for (size_t k = 0; k < view->solution->n_poses && status == TIPTRUE_OK; k++) {
        const struct tt_pose_result *pose = &view->solution->poses[k];
        if (pose->yaw_determined) {
            continue;
        }
        yaw_open = true;
        tt_buffer_printf(text,
                         "the yaw of the plate in setup '%s' is not determined: sight a second "
                         "mark, touch an edge at two places far apart, "
                         "or state the nominal yaw with its uncertainty in the machine file",
                         pose->setup);
        status = tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR,
                                (struct tt_about){TT_NONE, TT_NONE, k, NULL, 0}, text);
    }
    if (status == TIPTRUE_OK && view->model->n_sights > 0 && !view->solution->has_u_sighting) {
        tt_buffer_puts(text,
                       "how well the camera sights is not determined: each mark was sighted once "
                       "only, and the machine file states no "
                       "sighting uncertainty; sight a mark twice, or state 'sighting': {'u': ...}");
        status = tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, TT_ABOUT_RUN, text);
    }
    if (status == TIPTRUE_OK && !view->solution->has_u_touch && view->model->n_touches > 0 &&
        !yaw_open) {
        tt_buffer_puts(text,
                       "how well contacts repeat is not determined: there are no more touches than "
                       "unknowns, and the machine file states "
                       "no touch uncertainty; touch more often, or state 'touch': {'u': ...}");
        status = tt_finding_add(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, TT_ABOUT_RUN, text);
    }
    return status;
}

/* ---- prior-bound ---- */

/* With no limit stated, an offset that rests on where the machine was homed is as good as homing
 * is: not good enough to place with.
 */
static bool homing_too_coarse(const struct tt_view *view, double u_mm)
{
    const struct tt_limits *limits = &view->machine->limits;
    double most = limits->has_expanded          ? limits->expanded_mm
                  : limits->has_permitted_error ? limits->permitted_error_mm
                                                : HOMING_PERMITTED_MM;
    return 2 * u_mm > most;
}

static enum tiptrue_status prior_bound_tip(struct tt_view *view, size_t index, size_t run_tip,
                                           struct tt_buffer *text)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t block = view->model->tip_block[run_tip];
    const struct tt_tip_uncertainty *u = &view->tips[block];
    const struct tt_cov2 *radius = &u->source[TT_SOURCE_RADIUS], *yaw = &u->source[TT_SOURCE_YAW],
                         *place = &u->source[TT_SOURCE_PLACE];
    double radius_sum = radius->xx_mm2 + radius->yy_mm2, yaw_sum = yaw->xx_mm2 + yaw->yy_mm2,
           place_sum = place->xx_mm2 + place->yy_mm2;
    enum tiptrue_severity severity = TIPTRUE_WARNING;
    const struct tt_cov2 *source;

    if (!(tip->prior_share > PRIOR_BOUND_SHARE) || !tip->offset_determined_x ||
        !tip->offset_determined_y) {
        return TIPTRUE_OK;
    }
    source = radius_sum >= yaw_sum && radius_sum >= place_sum ? radius
             : yaw_sum >= place_sum                           ? yaw
                                                              : place;
    double v[2], u_mm;
    worst_direction(*source, v);
    u_mm = tt_cov2_region(*source, 1).semi_major_mm;
    bool both = tt_cov2_region(*source, 1).semi_minor_mm > 0.5 * u_mm;
    tt_buffer_printf(text, "the offset of '%s' along ", tip->name);
    if (both) {
        tt_buffer_puts(text, "x and y");
    } else {
        tt_words_line(text, v[0], v[1]);
    }
    if (source == radius) {
        size_t along, against;
        facing(view, block, v, &along, &against);
        tt_buffer_puts(text, " rests on the stated contact radius (u = ");
        tt_words_um(text, u_mm);
        tt_buffer_puts(text, "), not on touches: ");
        if (along > 0 && against > 0) {
            tt_buffer_puts(text, "touch the facing edges as often as each other");
        } else {
            list_directions(view, block, text);
            tt_buffer_puts(text, " were touched, from one side only; touch ");
            list_missing(view, block, text);
        }
    } else if (source == yaw) {
        tt_buffer_puts(text, " rests on the nominal yaw (u = ");
        tt_words_um(text, u_mm);
        tt_buffer_puts(
            text,
            "), not on sightings: sight a second mark, as far from the first as the plate has one");
        severity = homing_too_coarse(view, u_mm) ? TIPTRUE_ERROR : TIPTRUE_WARNING;
    } else {
        tt_buffer_puts(text, " rests on where the machine was homed (u = ");
        tt_words_um(text, u_mm);
        tt_buffer_puts(text, "): no mark was sighted; sight the reference mark");
        severity = homing_too_coarse(view, u_mm) ? TIPTRUE_ERROR : TIPTRUE_WARNING;
    }
    return tt_finding_add(view, TT_FINDING_PRIOR_BOUND, severity,
                          (struct tt_about){TT_NONE, run_tip, TT_NONE, NULL, 0}, text);
}

/* ---- touches and rotations ---- */

/* By sectors of 5 degrees: are there none so many in a row empty that the gap could be wider than
 * WIDEST_GAP_RAD? */
static bool leaves_no_wide_gap(const double rotations[], size_t n)
{
    enum {
        SECTORS = 72,
        NARROW = 22
    }; /* 22 empty sectors and both neighbours: 120 degrees at most */
    bool met[SECTORS] = {false};
    size_t empty = 0, most = 0;

    for (size_t i = 0; i < n; i++) {
        size_t sector = (size_t)(rotations[i] * (SECTORS / (2 * TT_PI)));
        met[sector < SECTORS ? sector : SECTORS - 1] = true;
    }
    for (size_t k = 0; k < 2 * SECTORS; k++) { /* twice around: a gap may span zero */
        empty = met[k % SECTORS] ? 0 : empty + 1;
        most = empty > most ? empty : most;
    }
    return most <= NARROW;
}

/* Widest gap between neighbouring rotations of a tip's used touches, around the turn; a full turn
 * for a single rotation. 0: narrow.
 */
static double widest_gap(const struct tt_view *view, size_t block, double rotations[])
{
    size_t n = 0;

    for (size_t i = 0; i < view->model->n_touches; i++) {
        if (view->model->cells[view->model->cell_of[i]].block == block && view->fit->good[i] > 0) {
            double turn =
                fmod(view->run->observations[view->model->row[i]].rotation_rad, 2 * TT_PI);
            rotations[n++] = turn < 0 ? turn + 2 * TT_PI : turn;
        }
    }
    if (n == 0) {
        return 2 * TT_PI;
    }
    if (leaves_no_wide_gap(rotations, n)) {
        return 0;
    }
    gsl_sort(rotations, 1, n);
    double widest = rotations[0] + 2 * TT_PI - rotations[n - 1];
    for (size_t i = 1; i < n; i++) {
        widest = fmax(widest, rotations[i] - rotations[i - 1]);
    }
    return widest;
}

/* Largest standard uncertainty of the runout, against that from as many touches spread evenly. */
static double cost_of_gap(const struct tt_view *view, size_t block, size_t used)
{
    const double *c = view->tip_cov[block];
    struct tt_cov2 e = {c[TT_TIP_E_X * TT_TIP_SHAPE + TT_TIP_E_X],
                        c[TT_TIP_E_X * TT_TIP_SHAPE + TT_TIP_E_Y],
                        c[TT_TIP_E_Y * TT_TIP_SHAPE + TT_TIP_E_Y]};

    return tt_cov2_region(e, 1).semi_major_mm / sqrt(2 * view->fit->touch_var_mm2 / (double)used);
}

static enum tiptrue_status spread_of_touches(struct tt_view *view, size_t index, size_t run_tip,
                                             double *scratch, struct tt_buffer *text)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t block = view->model->tip_block[run_tip];
    struct tt_about about = {TT_NONE, run_tip, TT_NONE, NULL, 0};
    enum tiptrue_status status = TIPTRUE_OK;
    bool own_scatter = !view->noise->touch_known || view->fit->scattered;

    if (tip->used < TT_LEAST_TOUCHES) {
        tt_buffer_printf(text,
                         "'%s' has %zu usable touches: offset, runout and contact radius need six "
                         "or more, better twelve",
                         tip->name, tip->used);
        status = tt_finding_add(view, TT_FINDING_FEW_TOUCHES, TIPTRUE_ERROR, about, text);
    } else if (own_scatter && view->fit->dof_touch < TT_LEAST_SCATTER_DOF &&
               view->solution->has_u_touch) {
        tt_buffer_printf(text,
                         "'%s' has %zu usable touches: too few to tell how well contacts repeat, "
                         "so its uncertainty is wide; touch more often, "
                         "or state 'touch': {'u': ...} in the machine file",
                         tip->name, tip->used);
        status = tt_finding_add(view, TT_FINDING_FEW_TOUCHES, TIPTRUE_WARNING, about, text);
    }
    double gap = widest_gap(view, block, scratch);
    if (status == TIPTRUE_OK && tip->used > 0 && gap > WIDEST_GAP_RAD &&
        cost_of_gap(view, block, tip->used) > GAP_COSTS) {
        tt_buffer_printf(text, "the rotations of '%s' leave a gap of ", tip->name);
        tt_words_deg(text, gap, 0);
        tt_buffer_puts(text, ": spread them over the whole turn, a third of a turn apart at most");
        status = tt_finding_add(view, TT_FINDING_ROTATION_GAP, TIPTRUE_WARNING, about, text);
    }
    return status;
}

enum tiptrue_status tt_findings_of_determinacy(struct tt_view *view, struct tt_buffer *text)
{
    enum tiptrue_status status = undetermined_poses(view, text);
    double *scratch = TT_ARENA_NEW(view->scratch, view->model->n_touches + 1, double);

    if (scratch == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        size_t run_tip = tt_run_tip(view, i);
        status = undetermined_tip(view, i, run_tip, text);
        if (status == TIPTRUE_OK && view->model->tip_block[run_tip] != TT_NONE) {
            status = prior_bound_tip(view, i, run_tip, text);
            if (status == TIPTRUE_OK) {
                status = spread_of_touches(view, i, run_tip, scratch, text);
            }
            if (status == TIPTRUE_OK) {
                status = tt_findings_of_alone(view, i);
            }
        }
    }
    return status;
}
