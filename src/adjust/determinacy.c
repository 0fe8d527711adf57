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

/* Edges that face within 14 degrees of each other face one way; so many ways are told. */
static const double ALIKE = 0.97;
enum { MOST_FACINGS = 8 };

/* Angles in the machine frame. */
struct directions {
    double list[MOST_FACINGS];
    size_t n;
};

/* The directions that a tip's touched edges face, each once. */
static struct directions facings(const struct tt_view *view, size_t block)
{
    struct directions found = {.n = 0};

    for (size_t c = 0; c < view->model->n_cells && found.n < MOST_FACINGS; c++) {
        const struct tt_site *site = &view->model->cells[c].site;
        bool known = view->model->cells[c].block != block;
        for (size_t k = 0; k < found.n && !known; k++) {
            known = cos(found.list[k]) * site->n_x + sin(found.list[k]) * site->n_y > ALIKE;
        }
        if (!known) {
            found.list[found.n++] = atan2(site->n_y, site->n_x);
        }
    }
    return found;
}

/* The opposites of the directions that a tip met from one side only. */
static struct directions missing(const struct tt_view *view, size_t block)
{
    struct directions found = {.n = 0};

    for (size_t c = 0; c < view->model->n_cells && found.n < MOST_FACINGS; c++) {
        const struct tt_cell *cell = &view->model->cells[c];
        double n[2] = {cell->site.n_x, cell->site.n_y};
        bool first = true;
        size_t along, against;
        for (size_t k = 0; k < c && first; k++) {
            const struct tt_cell *before = &view->model->cells[k];
            first =
                before->block != block || before->site.n_x * n[0] + before->site.n_y * n[1] < ALIKE;
        }
        facing(view, block, n, &along, &against);
        if (cell->block == block && first && against == 0) {
            found.list[found.n++] = atan2(-n[1], -n[0]);
        }
    }
    return found;
}

static size_t add_directions(struct tt_value values[], size_t n, const char *const keys[],
                             struct directions directions)
{
    for (size_t i = 0; i < directions.n; i++) {
        values[n++] = TT_IN_DEG(keys[i], directions.list[i]);
    }
    return n;
}

static const char *const FACING_KEYS[MOST_FACINGS] = {
    "facing_1", "facing_2", "facing_3", "facing_4", "facing_5", "facing_6", "facing_7", "facing_8"};
static const char *const MISSING_KEYS[MOST_FACINGS] = {"missing_1", "missing_2", "missing_3",
                                                       "missing_4", "missing_5", "missing_6",
                                                       "missing_7", "missing_8"};

static bool any_yaw_open(const struct tt_view *view)
{
    bool open = false;
    for (size_t k = 0; k < view->solution->n_poses; k++) {
        open = open || !view->solution->poses[k].yaw_determined;
    }
    return open;
}

static enum tiptrue_status add_undetermined(struct tt_view *view, struct tt_about about,
                                            const char *what)
{
    return tt_finding_add_values(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, about,
                                 TT_VALUES(TT_TEXT("what", what)));
}

/* Why the offset along the worst line is open, and what would close it. */
static enum tiptrue_status undetermined_offset(struct tt_view *view, size_t block,
                                               const struct tt_tip_result *tip,
                                               struct tt_about about)
{
    struct tt_region axes = tt_cov2_region(tip->cov, 1);
    double v[2], runout, radius, towards;
    size_t along, against;

    worst_direction(tip->cov, v);
    facing(view, block, v, &along, &against);
    companions(view, block, v, &runout, &radius);
    bool none = along == 0 && against == 0;
    const char *why = any_yaw_open(view)                                ? "offset-yaw"
                      : none                                            ? "offset-unseen"
                      : runout > TOGETHER                               ? "offset-runout"
                      : radius > TOGETHER || along == 0 || against == 0 ? "offset-radius"
                                                                        : "offset-place";
    towards = none || along == 0 ? atan2(v[1], v[0]) : atan2(-v[1], -v[0]);
    struct tt_value values[3 + MOST_FACINGS] = {
        TT_TEXT("what", why),
        TT_IN_DEG("along",
                  axes.semi_major_mm > ONE_LINE * axes.semi_minor_mm ? atan2(v[1], v[0]) : NAN),
        TT_IN_DEG("towards", towards)};
    return tt_finding_add_values(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, about, values,
                                 add_directions(values, 3, FACING_KEYS, facings(view, block)));
}

static enum tiptrue_status undetermined_tip(struct tt_view *view, size_t index, size_t run_tip)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t block = view->model->tip_block[run_tip];
    struct tt_about about = TT_ABOUT_TIP(run_tip);
    enum tiptrue_status status = TIPTRUE_OK;

    if (block == TT_NONE) {
        return add_undetermined(view, about, "all");
    }
    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        status = undetermined_offset(view, block, tip, about);
    }
    if (status == TIPTRUE_OK && !tip->runout_determined) {
        status = add_undetermined(view, about, "runout");
    }
    if (status == TIPTRUE_OK && !tip->radius_determined) {
        status = add_undetermined(view, about, "radius");
    }
    return status;
}

static enum tiptrue_status undetermined_poses(struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t k = 0; k < s->n_poses && status == TIPTRUE_OK; k++) {
        if (!s->poses[k].yaw_determined) {
            status = add_undetermined(view, TT_ABOUT_SETUP(k), "yaw");
        }
    }
    if (status == TIPTRUE_OK && view->model->n_sights > view->model->picture.n &&
        !s->has_u_sighting) {
        status = add_undetermined(view, TT_ABOUT_RUN, "sighting-repeatability");
    }
    /* with the yaw open, the residuals tell of it, not of the contacts */
    if (status == TIPTRUE_OK && !s->has_u_touch && view->model->n_touches > 0 &&
        !any_yaw_open(view)) {
        status = add_undetermined(view, TT_ABOUT_RUN, "touch-repeatability");
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

/* Which of the stated radius, yaw and place most of the offset rests on, and its name. */
static enum tt_source main_prior(const struct tt_cov2 source[], const char **what)
{
    static const struct {
        enum tt_source source;
        const char *what;
    } priors[] = {{TT_SOURCE_RADIUS, "radius"}, {TT_SOURCE_YAW, "yaw"}, {TT_SOURCE_PLACE, "place"}};
    double most = -1;
    enum tt_source main = TT_SOURCE_RADIUS;

    for (size_t i = 0; i < sizeof priors / sizeof priors[0]; i++) {
        const struct tt_cov2 *c = &source[priors[i].source];
        if (c->xx_mm2 + c->yy_mm2 > most) {
            most = c->xx_mm2 + c->yy_mm2;
            main = priors[i].source;
            *what = priors[i].what;
        }
    }
    return main;
}

static enum tiptrue_status prior_bound_tip(struct tt_view *view, size_t index, size_t run_tip)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t block = view->model->tip_block[run_tip], along, against, n = 3;
    const char *what = NULL;
    double v[2];

    if (!(tip->prior_share > PRIOR_BOUND_SHARE) || !tip->offset_determined_x ||
        !tip->offset_determined_y) {
        return TIPTRUE_OK;
    }
    enum tt_source source = main_prior(view->tips[block].source, &what);
    struct tt_region axes = tt_cov2_region(view->tips[block].source[source], 1);
    bool both = axes.semi_minor_mm > 0.5 * axes.semi_major_mm, radius = source == TT_SOURCE_RADIUS;
    worst_direction(view->tips[block].source[source], v);
    facing(view, block, v, &along, &against);
    bool one_side = radius && (along == 0 || against == 0);
    struct tt_value values[3 + 2 * MOST_FACINGS] = {
        TT_TEXT("what", one_side ? "radius-one-side" : what),
        TT_IN_DEG("along", both ? NAN : atan2(v[1], v[0])), TT_IN_MM("u", axes.semi_major_mm)};
    if (one_side) {
        n = add_directions(values, n, FACING_KEYS, facings(view, block));
        n = add_directions(values, n, MISSING_KEYS, missing(view, block));
    }
    bool error = !radius && homing_too_coarse(view, axes.semi_major_mm);
    return tt_finding_add_values(view, TT_FINDING_PRIOR_BOUND,
                                 error ? TIPTRUE_ERROR : TIPTRUE_WARNING, TT_ABOUT_TIP(run_tip),
                                 values, n);
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

static enum tiptrue_status add_few(struct tt_view *view, enum tiptrue_severity severity,
                                   struct tt_about about, const char *what, size_t touches)
{
    return tt_finding_add_values(view, TT_FINDING_FEW_TOUCHES, severity, about,
                                 TT_VALUES(TT_TEXT("what", what), TT_PLAIN("touches", touches)));
}

static enum tiptrue_status spread_of_touches(struct tt_view *view, size_t index, size_t run_tip,
                                             double *scratch)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t block = view->model->tip_block[run_tip];
    struct tt_about about = TT_ABOUT_TIP(run_tip);
    enum tiptrue_status status = TIPTRUE_OK;
    bool own_scatter = !view->noise->touch_known || view->fit->scattered;

    if (tip->used < TT_LEAST_TOUCHES) {
        status = add_few(view, TIPTRUE_ERROR, about, "quantities", tip->used);
    } else if (own_scatter && view->fit->dof_touch < TT_LEAST_SCATTER_DOF &&
               view->solution->has_u_touch) {
        status = add_few(view, TIPTRUE_WARNING, about, "repeatability", tip->used);
    }
    double gap = widest_gap(view, block, scratch);
    if (status == TIPTRUE_OK && tip->used > 0 && gap > WIDEST_GAP_RAD &&
        cost_of_gap(view, block, tip->used) > GAP_COSTS) {
        status = tt_finding_add_values(view, TT_FINDING_ROTATION_GAP, TIPTRUE_WARNING, about,
                                       TT_VALUES(TT_IN_DEG("gap", gap)));
    }
    return status;
}

enum tiptrue_status tt_findings_of_determinacy(struct tt_view *view)
{
    enum tiptrue_status status = undetermined_poses(view);
    double *scratch = TT_ARENA_NEW(view->scratch, view->model->n_touches + 1, double);

    if (scratch == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        size_t run_tip = tt_run_tip(view, i);
        status = undetermined_tip(view, i, run_tip);
        if (status == TIPTRUE_OK && view->model->tip_block[run_tip] != TT_NONE) {
            status = prior_bound_tip(view, i, run_tip);
            if (status == TIPTRUE_OK) {
                status = spread_of_touches(view, i, run_tip, scratch);
            }
            if (status == TIPTRUE_OK) {
                status = tt_findings_of_alone(view, i);
            }
        }
    }
    return status;
}
