/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/extra.h"

#include <math.h>
#include <string.h>

#include "adjust/judge.h"
#include "base/distribution.h"

/* Far-off touches count as off by this many scatters. */
#define DRAWN_IN 3.0
/* Fewer set aside than this do not hide a term. */
#define FEW_ASIDE 0.1

double tt_log_p_of_f(double f, unsigned m, double dof)
{
    if (!(f > 0) || !(dof > 0)) {
        return 0;
    }
    if (m == 2) {
        return -0.5 * dof * log1p(2 * f / dof);
    }
    double p = 2 * tt_student_upper(sqrt(f), dof);
    return p > 0 ? log(p) : -700; /* the logarithm of the smallest double */
}

/* Candidates of one tip, two columns each: the other sense of rotation, then the shape orders 2 to TT_MOST_ORDER. */
enum { TIP_CANDIDATES = TT_MOST_ORDER, TIP_COLUMNS = 2 * TIP_CANDIDATES };

static enum tiptrue_status judge_init(struct tt_judge *judge, struct tt_arena *arena)
{
    const struct tt_model *model = judge->model;
    size_t n = model->n_touches, largest = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    judge->weight = TT_ARENA_NEW(arena, n, double);
    judge->residual = TT_ARENA_NEW(arena, n, double);
    judge->vector = TT_ARENA_NEW(arena, model->n_unknowns, double);
    judge->solved = TT_ARENA_NEW(arena, model->n_unknowns, double);
    judge->half = TT_ARENA_NEW(arena, model->n_border + largest, double);
    judge->tip_length = model->n_border + largest;
    judge->tip_vectors = TT_ARENA_NEW(arena, TIP_COLUMNS * judge->tip_length, double);
    judge->cell_slopes = TT_ARENA_NEW(arena, model->n_cells * model->stride, double);
    judge->cell_scores = TT_ARENA_NEW(arena, model->n_cells, double);
    judge->spare = TT_ARENA_NEW(arena, model->n_unknowns, double);
    judge->step_mm = TT_ARENA_NEW(arena, model->n_unknowns, double);
    return judge->weight == NULL || judge->residual == NULL || judge->vector == NULL || judge->solved == NULL ||
                   judge->half == NULL || judge->tip_vectors == NULL || judge->cell_slopes == NULL || judge->cell_scores == NULL ||
                   judge->spare == NULL || judge->step_mm == NULL
               ? TIPTRUE_E_MEMORY
               : TIPTRUE_OK;
}

/* One linear step with the residuals drawn in and all touches at their full weight, or (@good_only) without those set aside: what
 * is left is the score's numerator. */
static enum tiptrue_status prepare(struct tt_judge *judge, bool good_only)
{
    struct tt_fit *fit = judge->fit;
    struct tt_model *model = judge->model;
    size_t n = model->n_touches;
    double count = 0;

    for (size_t i = 0; i < n; i++) {
        double variance = fit->touch_var_mm2 + fit->rotation_var_mm2[i], most = DRAWN_IN * sqrt(variance);
        judge->weight[i] = good_only && fit->good[i] == 0 ? 0 : 1 / variance;
        count += judge->weight[i] > 0 ? 1 : 0;
        model->residual[i] = fmin(fmax(model->residual[i], -most), most);
    }
    tt_model_accumulate(model, judge->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return TIPTRUE_E_DEGENERATE;
    }
    tt_system_solve(&model->system, model->system.g, judge->step_mm);
    double sum = 0;
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        double by_column[TT_MOST_COLUMNS];
        tt_cell_columns(model, cell, judge->step_mm, by_column);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            double r = model->residual[i] - tt_cell_product(model, cell, i, by_column);
            judge->residual[i] = r;
            sum += judge->weight[i] * r * r;
        }
    }
    judge->dof = fmax(count - fit->spent_touch, 1);
    judge->own_scatter = true;
    judge->scale = fit->noise->touch_known ? fmax(sum / judge->dof, 1) : sum / judge->dof;
    if (fit->noise->touch_known && judge->scale <= 1.5) {
        judge->own_scatter = false; /* stated scatter, and the run agrees with it */
        judge->dof = 1e6;
        judge->scale = 1;
    }
    return TIPTRUE_OK;
}

/* Squared residual, in variances, that one or two candidate columns take away, with products @zz, score @g, and what the unknowns
 * imitate of them @imitated (2 x 2 each). */
double tt_judge_score(const struct tt_judge *judge, unsigned m, const double zz[3], const double g[2], const double imitated[3])
{
    double a = zz[0] - imitated[0], b = zz[1] - imitated[1], d = zz[2] - imitated[2];

    if (m == 1) {
        return a > TT_LEAST_OWN_SHARE * zz[0] ? g[0] * g[0] / a / judge->scale : 0;
    }
    double half_trace = 0.5 * (a + d), root = hypot(0.5 * (a - d), b), low = half_trace - root, high = half_trace + root;
    double whole = zz[0] + zz[2];
    if (!(high > TT_LEAST_OWN_SHARE * whole)) {
        return 0;
    }
    if (low > TT_LEAST_OWN_SHARE * whole) {
        return (d * g[0] * g[0] - 2 * b * g[0] * g[1] + a * g[1] * g[1]) / (a * d - b * b) / judge->scale;
    }
    double angle = 0.5 * atan2(2 * b, a - d), along = g[0] * cos(angle) + g[1] * sin(angle);
    return along * along / high / judge->scale;
}

double tt_column_reversed(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    double c = model->touch[i].cos_rotation, s = model->touch[i].sin_rotation;
    (void)order;
    return which == 0 ? cell->site.n_x * c - cell->site.n_y * s : cell->site.n_y * c + cell->site.n_x * s;
}

double tt_column_shape(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    double c, s;
    tt_touch_shape_angle(&cell->site, &model->touch[i], order, &c, &s);
    return which == 0 ? c : s;
}

double tt_column_lost_motion(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)model, (void)i, (void)order, (void)which;
    return 0.5 * (cell->site.n_x * cell->site.n_x - cell->site.n_y * cell->site.n_y);
}

double tt_column_latency(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)cell, (void)order, (void)which;
    return model->touch[i].feed_mm_s;
}

/* Weighted sums over the touches of each cell: what columns that are the same for all touches of a cell need. */
static void sum_cells(struct tt_judge *judge)
{
    const struct tt_model *model = judge->model;

    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        double *slopes = judge->cell_slopes + k * model->stride;
        judge->cell_scores[k] = 0;
        memset(slopes, 0, cell->n_columns * sizeof *slopes);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            double w = judge->weight[i];
            judge->cell_scores[k] += w * judge->residual[i];
            for (size_t c = 0; c < cell->n_columns; c++) {
                slopes[c] += w * slope[c];
            }
        }
    }
}

/* What a candidate takes away whose only column is @column(cell) for all touches of a cell; *value (may be NULL): its estimate. */
static double judge_cells(struct tt_judge *judge, size_t edge, double (*column)(const struct tt_cell *cell, size_t edge),
                          double *value)
{
    const struct tt_model *model = judge->model;
    double zz[3] = {0}, g[2] = {0}, imitated[3] = {0}, *vector = judge->vector, *solved = judge->fit->step_mm;

    memset(vector, 0, model->n_unknowns * sizeof *vector);
    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        const double *slopes = judge->cell_slopes + k * model->stride;
        double z = column(cell, edge);
        if (z == 0) {
            continue;
        }
        zz[0] += z * z * slopes[TT_COLUMN_ONE];
        g[0] += z * judge->cell_scores[k];
        for (size_t e = 0; e < cell->n_entries; e++) {
            vector[tt_unknown(model, cell->block, cell->entries[e].place)] +=
                z * cell->entries[e].value * slopes[cell->entries[e].column];
        }
    }
    tt_system_solve(&model->system, vector, solved);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        imitated[0] += solved[k] * vector[k];
    }
    if (value != NULL) {
        *value = zz[0] - imitated[0] > TT_LEAST_OWN_SHARE * zz[0] ? g[0] / (zz[0] - imitated[0]) : 0;
    }
    return tt_judge_score(judge, 1, zz, g, imitated);
}

/* As judge_cells for the latency, whose column is each touch's feed. */
static double judge_latency(struct tt_judge *judge)
{
    const struct tt_model *model = judge->model;
    double zz[3] = {0}, g[2] = {0}, imitated[3] = {0}, *vector = judge->vector, *solved = judge->fit->step_mm;

    memset(vector, 0, model->n_unknowns * sizeof *vector);
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        double w = judge->weight[i], z = model->touch[i].feed_mm_s;
        zz[0] += w * z * z;
        g[0] += w * z * judge->residual[i];
        for (size_t e = 0; e < cell->n_entries; e++) {
            const struct tt_entry *entry = &cell->entries[e];
            vector[tt_unknown(model, cell->block, entry->place)] += w * z * entry->value * slope[entry->column];
        }
    }
    tt_system_solve(&model->system, vector, solved);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        imitated[0] += solved[k] * vector[k];
    }
    return tt_judge_score(judge, 1, zz, g, imitated);
}

static void tip_columns(const struct tt_model *model, const struct tt_cell *cell, size_t i, double z[TIP_COLUMNS])
{
    double c1, s1;

    z[0] = tt_column_reversed(model, cell, i, 0, 0);
    z[1] = tt_column_reversed(model, cell, i, 0, 1);
    tt_touch_shape_angle(&cell->site, &model->touch[i], 1, &c1, &s1);
    double ck = c1, sk = s1;
    for (size_t k = 2; k < TIP_COLUMNS; k += 2) {
        double next = ck * c1 - sk * s1;
        sk = sk * c1 + ck * s1;
        ck = next;
        z[k] = ck;
        z[k + 1] = sk;
    }
}

/* Products of a tip's candidates over one of its cells. */
static void sum_tip_cell(struct tt_judge *judge, const struct tt_cell *cell, double zz[][3], double g[][2])
{
    const struct tt_model *model = judge->model;
    size_t length = judge->tip_length;
    double q[TT_MOST_COLUMNS][TIP_COLUMNS] = {{0}};

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        double z[TIP_COLUMNS], w = judge->weight[i], wr = w * judge->residual[i];
        tip_columns(model, cell, i, z);
        for (size_t p = 0; p < TIP_CANDIDATES; p++) {
            zz[p][0] += w * z[2 * p] * z[2 * p];
            zz[p][1] += w * z[2 * p] * z[2 * p + 1];
            zz[p][2] += w * z[2 * p + 1] * z[2 * p + 1];
            g[p][0] += wr * z[2 * p];
            g[p][1] += wr * z[2 * p + 1];
        }
        for (size_t c = 0; c < cell->n_columns; c++) {
            double ws = w * slope[c];
            for (size_t j = 0; j < TIP_COLUMNS; j++) {
                q[c][j] += ws * z[j];
            }
        }
    }
    for (size_t e = 0; e < cell->n_entries; e++) {
        const double *from = q[cell->entries[e].column];
        for (size_t j = 0; j < TIP_COLUMNS; j++) {
            judge->tip_vectors[j * length + cell->entries[e].place] += cell->entries[e].value * from[j];
        }
    }
}

/* What each candidate of the tip of @block takes away. @next: the tip's first place in cells_by_block, moved on past its last. */
static void judge_tip(struct tt_judge *judge, size_t block, size_t *next, double taken[TIP_CANDIDATES])
{
    const struct tt_model *model = judge->model;
    size_t length = judge->tip_length, n = model->n_border + model->block_size[block];
    double zz[TIP_CANDIDATES][3] = {{0}}, g[TIP_CANDIDATES][2] = {{0}};

    memset(judge->tip_vectors, 0, TIP_COLUMNS * length * sizeof *judge->tip_vectors);
    for (; *next < model->n_cells && model->cells[model->cells_by_block[*next]].block == block; ++*next) {
        sum_tip_cell(judge, &model->cells[model->cells_by_block[*next]], zz, g);
    }
    for (size_t p = 0; p < TIP_CANDIDATES; p++) {
        double *first = judge->tip_vectors + 2 * p * length, *second = first + length, imitated[3] = {0}, *y = judge->half,
               *y1 = first;
        tt_system_half_solve(&model->system, block, first, first + model->n_border, y);
        tt_system_half_solve(&model->system, block, second, second + model->n_border, y1); /* `first` is done with */
        for (size_t k = 0; k < n; k++) {
            imitated[0] += y[k] * y[k];
            imitated[1] += y[k] * y1[k];
            imitated[2] += y1[k] * y1[k];
        }
        taken[p] = tt_judge_score(judge, 2, zz[p], g[p], imitated);
    }
}

static double edge_column(const struct tt_cell *cell, size_t edge)
{
    return cell->edge == edge ? 1 : 0;
}

static double lost_motion_column(const struct tt_cell *cell, size_t edge)
{
    (void)edge;
    return 0.5 * (cell->site.n_x * cell->site.n_x - cell->site.n_y * cell->site.n_y);
}

void tt_extra_keep_better(struct tt_extra *best, struct tt_extra candidate)
{
    if (candidate.taken > best->taken) {
        size_t rivals = best->rivals > candidate.rivals ? best->rivals : candidate.rivals;
        *best = candidate;
        best->rivals = rivals;
    }
}

static bool several_feeds(const struct tt_model *model)
{
    double feed = model->touch[0].feed_mm_s;
    bool differ = false;

    for (size_t i = 0; i < model->n_touches; i++) {
        if (!(model->touch[i].feed_mm_s > 0)) {
            return false;
        }
        differ = differ || fabs(model->touch[i].feed_mm_s - feed) > 1e-6 * feed;
    }
    return differ;
}

static void judge_tips(struct tt_judge *judge, struct tt_extra best[])
{
    struct tt_model *model = judge->model;
    struct tt_extra shape = {.kind = TT_EXTRA_SHAPE, .n_unknowns = 2}, reversed = {.kind = TT_EXTRA_REVERSED};
    size_t next = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        double taken[TIP_CANDIDATES];
        judge_tip(judge, b, &next, taken);
        if (!model->terms.reversed) {
            tt_extra_keep_better(&reversed, (struct tt_extra){.kind = TT_EXTRA_REVERSED, .block = b, .taken = taken[0]});
        }
        for (unsigned k = 2; k <= TT_MOST_ORDER; k++) {
            if (!(model->terms.orders[b] >> k & 1U)) {
                tt_extra_keep_better(
                    &shape,
                    (struct tt_extra){.kind = TT_EXTRA_SHAPE, .block = b, .order = k, .n_unknowns = 2, .taken = taken[k - 1]});
            }
        }
    }
    shape.rivals = model->n_blocks * (TT_MOST_ORDER - 1);
    reversed.rivals = model->n_blocks;
    tt_extra_keep_better(&best[TT_EXTRA_SHAPE], shape);
    tt_extra_keep_better(&best[TT_EXTRA_REVERSED], reversed);
}

/* Each edge in turn: would the touches rather have it elsewhere? */
static void judge_edges(struct tt_judge *judge, struct tt_extra *best)
{
    const struct tt_model *model = judge->model;
    struct tt_extra found = {.kind = TT_EXTRA_EDGE, .edge = TT_NONE, .n_unknowns = 1};
    size_t edges = 0;

    for (size_t j = 0; j < model->plate->n_edges; j++) {
        double value, taken;
        if (!model->edge_seen[j] || (model->terms.edge_free != NULL && model->terms.edge_free[j])) {
            continue;
        }
        edges++;
        taken = judge_cells(judge, j, edge_column, &value);
        if (taken > found.taken) {
            found =
                (struct tt_extra){.kind = TT_EXTRA_EDGE,
                                  .edge = j,
                                  .n_unknowns = 1,
                                  .taken = taken,
                                  .second = found.taken,
                                  .value_mm = value}; /* the residual is left less right side: the edge lies further out by it */
        } else {
            found.second = fmax(found.second, taken);
        }
    }
    found.rivals = edges;
    tt_extra_keep_better(best, found);
}

static enum tiptrue_status judge_all(struct tt_judge *judge, struct tt_arena *arena, bool good_only,
                                     struct tt_extra overall[TT_EXTRA_KINDS])
{
    struct tt_extra best[TT_EXTRA_KINDS];
    struct tt_model *model = judge->model;
    enum tiptrue_status status;

    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        best[k] = (struct tt_extra){.kind = (enum tt_extra_kind)k, .row = TT_NONE, .edge = TT_NONE};
    }
    tt_model_linearise(model);
    if ((status = prepare(judge, good_only)) != TIPTRUE_OK) {
        return status == TIPTRUE_E_DEGENERATE ? TIPTRUE_OK : status;
    }
    if ((status = tt_judge_timeline(judge, arena, &best[TT_EXTRA_MOVED], &best[TT_EXTRA_DRIFT])) != TIPTRUE_OK) {
        return status;
    }
    sum_cells(judge);
    judge_tips(judge, best);
    judge_edges(judge, &best[TT_EXTRA_EDGE]);
    if (!model->terms.lost_motion) {
        double taken = judge_cells(judge, TT_NONE, lost_motion_column, NULL);
        tt_extra_keep_better(&best[TT_EXTRA_LOST_MOTION],
                             (struct tt_extra){.kind = TT_EXTRA_LOST_MOTION, .n_unknowns = 1, .taken = taken});
    }
    if (!model->terms.latency && several_feeds(model)) {
        double taken = judge_latency(judge);
        tt_extra_keep_better(&best[TT_EXTRA_LATENCY], (struct tt_extra){.kind = TT_EXTRA_LATENCY, .n_unknowns = 1, .taken = taken});
    }
    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        tt_judge_finish(judge, &best[k]);
        if (best[k].log_p < overall[k].log_p) {
            overall[k] = best[k];
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_extra_judge(struct tt_fit *fit, struct tt_arena *arena, struct tt_extra best[TT_EXTRA_KINDS])
{
    struct tt_judge judge = {.fit = fit, .model = fit->model};
    enum tiptrue_status status = judge_init(&judge, arena);
    double aside = 0, n = (double)fit->model->n_touches;

    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        best[k] = (struct tt_extra){.kind = (enum tt_extra_kind)k, .row = TT_NONE, .edge = TT_NONE};
    }
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        aside += fit->good[i] == 0 ? 1 : 0;
    }
    /* What is set aside may be set aside for want of the term, or be off in earnest and hide it: where it is much, both are looked
     * at. */
    if (status == TIPTRUE_OK) {
        status = judge_all(&judge, arena, aside > 0, best);
    }
    if (status == TIPTRUE_OK && aside > FEW_ASIDE * n) {
        status = judge_all(&judge, arena, false, best);
    }
    return status;
}
