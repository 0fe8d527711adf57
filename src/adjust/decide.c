/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the explanations of a run mean together: the best one is adopted, its uncertainty is
 * enlarged to the second moment of all that are not excluded (J. A. Hoeting and others, Stat. Sci.
 * 14 (1999) 382-417), and it is doubted where that does not do. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"
#include "base/distribution.h"

/* The best explanation leaves little when its uncertainty exceeds this many times what the same
 * touches, all good, would give. */
#define LITTLE 4.0
/* Standard uncertainties within which a rival's offset is covered: 95 %, normal. */
#define COVERING 1.96
/* Probability that one edge's kept touches scatter so much more than the others', for all edges
 * together. */
#define UNEVEN 1e-4
/* So few touches set aside are taken back when they are in the good ones' tail: its probability,
 * for all touches together and either side. Without, one clean run in seventy would say that a
 * touch is late. */
#define FEW_ASIDE 2.0
#define TAIL 5e-4
/* An explanation that only adds a mode to the best one counts within this where the best keeps
 * every touch; where both call the same touches good, if it is no mode of an edge, which late
 * touches may have hidden. */
#define NESTED_LN 2.3
/* Two explanations are one when their offsets agree within this share of U, and their U within this
 * one. */
#define SAME_OFFSET 0.05
#define SAME_EXPANDED 0.1

static void cov2_add(struct tt_cov2 *sum, struct tt_cov2 part, double x, double y, double weight)
{
    sum->xx_mm2 += weight * (part.xx_mm2 + x * x);
    sum->xy_mm2 += weight * (part.xy_mm2 + x * y);
    sum->yy_mm2 += weight * (part.yy_mm2 + y * y);
}

/* What the others add to a covariance of the best: nothing where they make it smaller. */
static struct tt_cov2 excess(struct tt_cov2 moment, struct tt_cov2 best)
{
    struct tt_cov2 d = {moment.xx_mm2 - best.xx_mm2, moment.xy_mm2 - best.xy_mm2,
                        moment.yy_mm2 - best.yy_mm2};

    d.xx_mm2 = fmax(d.xx_mm2, 0);
    d.yy_mm2 = fmax(d.yy_mm2, 0);
    double most = sqrt(d.xx_mm2 * d.yy_mm2);
    d.xy_mm2 = fmin(fmax(d.xy_mm2, -most), most);
    return d;
}

static double enlarged(double expanded_mm, double variance_mm2, double extra_mm2)
{
    return variance_mm2 > 0 ? expanded_mm * sqrt(1 + extra_mm2 / variance_mm2) : expanded_mm;
}

/* Is the rival's offset of this tip further than U, enlarged, and than its own? */
static bool moves(const struct tt_estimate *best, const struct tt_cov2 *extra,
                  const struct tt_estimate *rival, bool in_full)
{
    double x = fabs(rival->offset.x_mm - best->offset.x_mm),
           y = fabs(rival->offset.y_mm - best->offset.y_mm);
    const struct tt_cov2 *cov = in_full ? &best->whole : &best->same_plate;
    const struct tt_machine_xy *u = in_full ? &best->expanded_mm : &best->same_plate_expanded_mm;
    double u_x = enlarged(u->x_mm, cov->xx_mm2, extra->xx_mm2),
           u_y = enlarged(u->y_mm, cov->yy_mm2, extra->yy_mm2);

    return (x > u_x && x > rival->same_plate_expanded_mm.x_mm) ||
           (y > u_y && y > rival->same_plate_expanded_mm.y_mm);
}

static void name_rival(struct tt_explanation *e, const struct tt_candidate *best,
                       const struct tt_candidate *rival, size_t blocks)
{
    e->doubt = TT_DOUBT_RIVAL;
    e->n_rival_modes = rival->n_modes;
    e->rival_good = rival->good;
    memcpy(e->rival_modes, rival->modes, rival->n_modes * sizeof *rival->modes);
    e->rival_log_odds = rival->log_evidence - best->log_evidence;
    for (size_t b = 0; b < blocks; b++) {
        e->rival_offset[b].x_mm = rival->estimates[b].offset.x_mm - best->estimates[b].offset.x_mm;
        e->rival_offset[b].y_mm = rival->estimates[b].offset.y_mm - best->estimates[b].offset.y_mm;
        e->rival_expanded_mm[b] = fmax(rival->estimates[b].same_plate_expanded_mm.x_mm,
                                       rival->estimates[b].same_plate_expanded_mm.y_mm);
    }
}

/* ---- doubts ---- */

/* What the rivals mean for the offset of one tip. */
struct cover {
    size_t first; /* the most probable one beyond U on the same plate; 0 = none */
    bool beyond;  /* one is beyond U in full */
};

/* Of one tip: the expanded uncertainties that the same touches would give, all good, with the
 * repeatability found, larger axis; and what rivals mean. */
struct plan {
    double same_plate_mm, whole_mm;
    struct cover cover;
};

static enum tiptrue_status planned(struct tt_pool *pool, struct tt_stage *stage, struct plan plan[])
{
    struct tt_fit *fit = &stage->fit;
    struct tt_model *model = &stage->model;
    struct tt_uncertainty all;
    enum tiptrue_status status;

    for (size_t i = 0; i < model->n_touches; i++) {
        fit->good[i] = 1;
    }
    fit->touch_var_mm2 = pool->best->touch_var_mm2;
    tt_fit_set_weights(fit);
    tt_model_accumulate(model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return TIPTRUE_E_DEGENERATE;
    }
    tt_fit_update_dof(fit);
    status = tt_uncertainty_init(&all, pool->search->arena, fit);
    for (size_t b = 0; b < model->n_blocks && status == TIPTRUE_OK; b++) {
        struct tt_tip_uncertainty tip;
        tt_uncertainty_of_tip(&all, b, &tip);
        plan[b].same_plate_mm = tt_factor_line(tip.less_plate_dof) *
                                sqrt(fmax(tip.less_plate.xx_mm2, tip.less_plate.yy_mm2));
        plan[b].whole_mm =
            tt_factor_line(tip.dof) * sqrt(fmax(tip.offset.xx_mm2, tip.offset.yy_mm2));
    }
    return status;
}

/* The edge whose kept touches scatter more than the others', improbably so; TT_NONE = none. The
 * best candidate is restored. */
static size_t uneven_edge(const struct tt_pool *pool, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    size_t n_edges = pool->search->plate->n_edges, worst = TT_NONE, edges = 0;
    double *squares = fit->late_count, *dof = fit->edge_count, all = 0, all_dof = 0, least = 1;

    memset(squares, 0, n_edges * sizeof *squares);
    memset(dof, 0, n_edges * sizeof *dof);
    for (size_t i = 0; i < model->n_touches; i++) {
        size_t edge = model->cells[model->cell_of[i]].edge;
        double w = fit->weight[i], r = model->residual[i];
        squares[edge] += w * r * r;
        dof[edge] += fit->good[i] * (1 - fit->leverage[i]);
    }
    for (size_t j = 0; j < n_edges; j++) {
        all += squares[j];
        all_dof += dof[j];
        edges += dof[j] > 1;
    }
    double least_square = 0.5 * fit->noise->touch_digit_var_mm2 / fit->touch_var_mm2;
    for (size_t j = 0; j < n_edges; j++) {
        double rest = all_dof - dof[j];
        if (!(dof[j] > 1) || !(rest > 3)) {
            continue;
        }
        double f = squares[j] / dof[j] / fmax((all - squares[j]) / rest, fmax(least_square, 1e-12));
        double p = tt_fisher_upper(f, dof[j], rest) * (double)edges;
        if (p < least) {
            least = p;
            worst = j;
        }
    }
    return least < UNEVEN ? worst : TT_NONE;
}

/* ---- the decision ---- */

/* One or two touches set aside that are no further off than the good ones' tail may be in one run
 * of a thousand are good after all: Student's t, for the repeatability was found without them. By
 * row of the run. */
static void take_back(const struct tt_fit *fit, double good[])
{
    const struct tt_model *model = fit->model;
    double aside = 0, dof = fmax(fit->dof_touch, 1) + fit->noise->touch_dof;
    double most = tt_student_quantile(1 - TAIL / (double)model->n_touches, dof);

    for (size_t i = 0; i < model->n_touches; i++) {
        aside += 1 - good[model->row[i]];
    }
    for (size_t i = 0; i < model->n_touches && aside <= FEW_ASIDE; i++) {
        double variance = (fit->touch_var_mm2 + fit->rotation_var_mm2[i]) * (1 + fit->leverage[i]);
        if (model->residual[i] * model->residual[i] < most * most * variance) {
            good[model->row[i]] = 1;
        }
    }
}

/* The good touches of @e as its best candidate has them, by row of the run. */
static void good_as_found(const struct tt_pool *pool, struct tt_explanation *e)
{
    for (size_t i = 0; i < pool->search->run->n_observations; i++) {
        e->good[i] = tt_is_good(pool->best->good[i]) ? 1 : 0;
    }
}

/* The state of the best candidate is that of its stage. */
static enum tiptrue_status explanation_init(struct tt_pool *pool, size_t blocks,
                                            struct tt_explanation *e)
{
    struct tt_arena *arena = pool->search->arena;
    const struct tt_candidate *best = pool->best;
    size_t rows = pool->search->run->n_observations;

    *e = (struct tt_explanation){.n_modes = best->n_modes,
                                 .uneven_edge = TT_NONE,
                                 .log_evidence = best->log_evidence,
                                 .touch_var_mm2 = best->touch_var_mm2,
                                 .dof_touch = fmax(best->stage->fit.dof_touch, 1)};
    memcpy(e->modes, best->modes, best->n_modes * sizeof *best->modes);
    e->good = TT_ARENA_NEW(arena, rows, double);
    e->extra = TT_ARENA_NEW(arena, blocks, struct tt_cov2);
    e->doubted = TT_ARENA_NEW(arena, blocks, bool);
    e->rival_offset = TT_ARENA_NEW(arena, blocks, struct tt_machine_xy);
    e->rival_expanded_mm = TT_ARENA_NEW(arena, blocks, double);
    if (e->good == NULL || e->extra == NULL || e->doubted == NULL || e->rival_offset == NULL ||
        e->rival_expanded_mm == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    good_as_found(pool, e);
    take_back(&best->stage->fit, e->good);
    enum tiptrue_status status = tt_terms_new(pool->search, &best->terms, &e->terms);
    e->terms.proper = false;
    return status;
}

/* Second moments about the best, in @e; the number of near ones in @weights is @n. */
static void moments(struct tt_explanation *e, const struct tt_candidate *const near[], size_t n,
                    const double weights[], size_t blocks)
{
    for (size_t b = 0; b < blocks; b++) {
        const struct tt_estimate *best = &near[0]->estimates[b];
        struct tt_cov2 same = {0, 0, 0};
        for (size_t k = 0; k < n; k++) {
            const struct tt_estimate *other = &near[k]->estimates[b];
            double x = other->offset.x_mm - best->offset.x_mm,
                   y = other->offset.y_mm - best->offset.y_mm;
            cov2_add(&same, other->same_plate, x, y, weights[k]);
        }
        e->extra[b] = excess(same, best->same_plate);
    }
}

/* The least multiple of (x, y)(x, y)^T that, added to @same and @extra, brings both within U. */
static double to_cover(struct tt_cov2 same, const struct tt_cov2 *extra, double x, double y)
{
    double k2 = COVERING * COVERING;
    double by_x = x * x > 0 ? 1 / k2 - (same.xx_mm2 + extra->xx_mm2) / (x * x) : 0,
           by_y = y * y > 0 ? 1 / k2 - (same.yy_mm2 + extra->yy_mm2) / (y * y) : 0;

    return fmax(fmax(by_x, by_y), 0);
}

/* The covariance is enlarged until every rival's offset is within U, the most probable ones first.
 */
static struct cover cover_rivals(struct tt_explanation *e, const struct tt_candidate *const near[],
                                 size_t n, size_t block)
{
    const struct tt_estimate *best = &near[0]->estimates[block];
    static const struct tt_cov2 none = {0, 0, 0};
    struct tt_cov2 *extra = &e->extra[block];
    struct cover cover = {0, false};

    for (size_t k = 1; k < n; k++) {
        const struct tt_estimate *rival = &near[k]->estimates[block];
        cover.beyond = cover.beyond || moves(best, &none, rival, true);
        if (moves(best, extra, rival, false)) {
            double x = rival->offset.x_mm - best->offset.x_mm,
                   y = rival->offset.y_mm - best->offset.y_mm;
            cov2_add(extra, none, x, y, to_cover(best->same_plate, extra, x, y));
            cover.first = cover.first == 0 ? k : cover.first;
        }
    }
    return cover;
}

/* Only a useless U would cover the rivals: the first that it has to be enlarged for, else the one
 * with the largest part in the second moments, which lies apart, or knows the offset badly itself.
 */
static void blame(struct tt_explanation *e, const struct tt_candidate *const near[], size_t n,
                  const double weights[], size_t block, size_t first)
{
    size_t worst = first;
    double most = -1;

    for (size_t k = 1; k < n && first == 0; k++) {
        const struct tt_estimate *p = &near[k]->estimates[block], *q = &near[0]->estimates[block];
        double apart = hypot(p->offset.x_mm - q->offset.x_mm, p->offset.y_mm - q->offset.y_mm);
        double part = weights[k] * (apart * apart + p->same_plate.xx_mm2 + p->same_plate.yy_mm2);
        if (part > most) {
            most = part;
            worst = k;
        }
    }
    if (worst > 0) {
        name_rival(e, near[0], near[worst], near[0]->stage->model.n_blocks);
    } else { /* the best one leaves little by itself */
        e->doubt = TT_DOUBT_LITTLE;
    }
}

static bool useless(struct tt_machine_xy expanded, struct tt_cov2 cov, const struct tt_cov2 *extra,
                    double plan_mm)
{
    return enlarged(expanded.x_mm, cov.xx_mm2, extra->xx_mm2) > LITTLE * plan_mm ||
           enlarged(expanded.y_mm, cov.yy_mm2, extra->yy_mm2) > LITTLE * plan_mm;
}

/* Is the verdict on this tip about the offset on the same plate, not in full? */
static bool on_same_plate(const struct tt_pool *pool, size_t block)
{
    const struct tt_search *search = pool->search;
    size_t tip = pool->best->stage->model.block_tip[block];

    return tip < search->machine->n_tips &&
           tt_found_with(&search->machine->tips[tip], search->plate);
}

/* Does the best keep enough, and what the others leave of it? @plan: of each block. Where every
 * touch is good, rivals tell errors of the plate otherwise, which U in full has in it: that is what
 * they are held to where the verdict goes by it. Where touches are late, others may be, too, that
 * no rival names, and what hides them is an offset within U on the same plate: a rival beyond it is
 * not covered by a larger U then. */
static void look_for_little(struct tt_pool *pool, struct tt_explanation *e,
                            const struct tt_candidate *const near[], size_t n,
                            const double weights[], const struct plan plan[])
{
    bool all_kept = tt_all_good(pool->search->run, near[0]->good);

    for (size_t b = 0; b < pool->best->stage->model.n_blocks; b++) {
        const struct tt_estimate *best = &near[0]->estimates[b];
        static const struct tt_cov2 none = {0, 0, 0};
        bool little =
            useless(best->same_plate_expanded_mm, best->same_plate, &none, plan[b].same_plate_mm);
        bool doubtful = useless(best->same_plate_expanded_mm, best->same_plate, &e->extra[b],
                                plan[b].same_plate_mm);
        doubtful = doubtful || (!all_kept && plan[b].cover.first > 0);
        if (doubtful && all_kept && !on_same_plate(pool, b)) {
            doubtful = plan[b].cover.beyond ||
                       useless(best->expanded_mm, best->whole, &e->extra[b], plan[b].whole_mm);
        }
        e->doubted[b] = doubtful || little;
        if (e->doubt == TT_DOUBT_NONE && little && !all_kept && plan[b].cover.first == 0) {
            e->doubt = TT_DOUBT_LITTLE;
        } else if (e->doubt == TT_DOUBT_NONE && e->doubted[b]) {
            blame(e, near, n, weights, b, plan[b].cover.first);
        }
    }
}

static bool about_same(const struct tt_candidate *a, const struct tt_candidate *b,
                       const struct tt_candidate *best, size_t blocks)
{
    bool same = true;

    for (size_t k = 0; k < blocks; k++) {
        const struct tt_estimate *p = &a->estimates[k], *q = &b->estimates[k];
        struct tt_machine_xy u = best->estimates[k].same_plate_expanded_mm;
        double least = fmin(u.x_mm, u.y_mm);
        same = same && fabs(p->offset.x_mm - q->offset.x_mm) <= SAME_OFFSET * least &&
               fabs(p->offset.y_mm - q->offset.y_mm) <= SAME_OFFSET * least &&
               fabs(p->same_plate_expanded_mm.x_mm - q->same_plate_expanded_mm.x_mm) <=
                   SAME_EXPANDED * least &&
               fabs(p->same_plate_expanded_mm.y_mm - q->same_plate_expanded_mm.y_mm) <=
                   SAME_EXPANDED * least;
    }
    return same;
}

/* Modes that are about edges: what late touches suggest. */
static size_t edge_modes(const struct tt_candidate *candidate)
{
    size_t n = 0;

    for (size_t k = 0; k < candidate->n_modes; k++) {
        enum tt_mode_kind kind = candidate->modes[k].kind;
        n += kind == TT_MODE_FILM || kind == TT_MODE_EDGE || kind == TT_MODE_EDGE_OUT;
    }
    return n;
}

/* Is it too far behind the best one to be a rival? @all_kept: the best one keeps every touch. */
static bool excluded(const struct tt_pool *pool, const struct tt_candidate *c, bool all_kept)
{
    const struct tt_candidate *best = pool->best;
    bool nested =
        c->n_modes > best->n_modes && tt_candidate_within(best, c) &&
        (all_kept || (tt_same_touches(pool, best, c) && edge_modes(c) == edge_modes(best)));

    return !(c->log_evidence >= best->log_evidence - (nested ? NESTED_LN : TT_RIVAL_LN));
}

const struct tt_candidate **tt_not_excluded(struct tt_pool *pool, size_t *n)
{
    size_t blocks = pool->best->stage->model.n_blocks;
    bool all_kept = tt_all_good(pool->search->run, pool->best->good);
    const struct tt_candidate **near =
        TT_ARENA_NEW(pool->search->arena, pool->n, const struct tt_candidate *);

    *n = 0;
    for (struct tt_candidate *c = pool->candidates; c != NULL && near != NULL; c = c->next) {
        bool had = excluded(pool, c, all_kept);
        if (!had && tt_candidate_estimate(pool, c) != TIPTRUE_OK) {
            return NULL;
        }
        had = had || c->estimates == NULL;
        for (size_t k = 0; k < *n && !had; k++) {
            had = about_same(near[k], c, pool->best, blocks) ||
                  tt_candidates_identical(pool, near[k], c);
        }
        if (!had) {
            near[(*n)++] = c;
        }
    }
    return near;
}

/* What is not excluded beside the best candidate, and what it means. */
static enum tiptrue_status weigh_rivals(struct tt_pool *pool, struct tt_explanation *e)
{
    size_t blocks = pool->best->stage->model.n_blocks, n;
    const struct tt_candidate **near = tt_not_excluded(pool, &n);
    double *weights = TT_ARENA_NEW(pool->search->arena, n, double), sum = 0;
    struct plan *plan = TT_ARENA_NEW(pool->search->arena, blocks, struct plan);

    if (near == NULL || weights == NULL || plan == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t k = 0; k < n; k++) {
        weights[k] = exp(near[k]->log_evidence - near[0]->log_evidence);
        sum += weights[k];
    }
    for (size_t k = 0; k < n; k++) {
        weights[k] /= sum;
    }
    moments(e, near, n, weights, blocks);
    for (size_t b = 0; b < blocks; b++) {
        plan[b].cover = cover_rivals(e, near, n, b);
    }
    enum tiptrue_status status = planned(pool, pool->plain, plan);
    if (status == TIPTRUE_OK) {
        look_for_little(pool, e, near, n, weights, plan);
    }
    return status == TIPTRUE_E_DEGENERATE ? TIPTRUE_OK : status;
}

/* The best explanation whose offsets can be estimated; its stage has its state. */
static enum tiptrue_status settle_best(struct tt_pool *pool)
{
    enum tiptrue_status status = TIPTRUE_OK;

    tt_pool_sort(pool);
    while (pool->only == NULL && status == TIPTRUE_OK) {
        status = tt_candidate_estimate(pool, pool->best);
        if (status != TIPTRUE_OK || pool->best->estimates != NULL) {
            break;
        }
        pool->best = pool->candidates = pool->best->next;
        status = --pool->n > 0 ? TIPTRUE_OK : TIPTRUE_E_DEGENERATE;
    }
    return status;
}

enum tiptrue_status tt_decide(struct tt_pool *pool, struct tt_explanation *e)
{
    size_t edge = TT_NONE;
    enum tiptrue_status status = settle_best(pool);

    if (status == TIPTRUE_OK) {
        status = explanation_init(pool, pool->best->stage->model.n_blocks, e);
        edge = uneven_edge(pool, &pool->best->stage->fit);
    }
    if (status == TIPTRUE_OK && pool->only == NULL) {
        status = weigh_rivals(pool, e);
    }
    if (status == TIPTRUE_OK && edge != TT_NONE && e->doubt == TT_DOUBT_NONE) {
        e->doubt = TT_DOUBT_UNEVEN;
        e->uneven_edge = edge;
    }
    if (e->doubt == TT_DOUBT_RIVAL) { /* a touch taken back may be all that the two differ in */
        good_as_found(pool, e);
    }
    return status;
}
