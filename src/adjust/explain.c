/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The search: starts, rounds of the table of modes. decide.c tells what they mean together. */
#include "config.h"

#include "adjust/explain.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"
#include "adjust/robust.h"

/* Sightings alone show a mode of theirs when its ln odds are above this and this far ahead of any
 * other; three times at most. */
#define SIGHTING_ODDS 3.0
#define MOST_SIGHTING_MODES 3
/* What least squares says of axes, radius, reversal error and the like is worth a start from these
 * ln odds on. The best changes always are: they widen the repeatability themselves, and no climb
 * that calls half of the touches late sees them. */
#define LEAST_SQUARES_ODDS (-2.0)
/* Rounds of the table; explanations scored in each; modes climbed from each; rows of one kind of
 * change among them. */
#define MOST_ROUNDS 3
#define MOST_SCORED 4
#define MOST_MODES_CLIMBED 8
#define MOST_ROWS_CLIMBED 3
/* A mode is climbed where the table puts it within this of the best explanation: the rivals'
 * threshold and what the table may be wrong by, for it is linear and keeps the touches. */
#define WORTH_A_CLIMB (TT_RIVAL_LN + 2.0)
/* Pairs of edges are left out only below 6 edges (the pairs that are out are tried in all), and of
 * more than 8 only those among the six that lose most touches. */
#define FEW_EDGES 6
#define MANY_EDGES 8
#define WORST_EDGES 6
/* Quarter turns of this many setups are tried at most (64 starts), and searched in full within this
 * of the best. */
#define MOST_TURNED 3
#define TURN_RIVAL_LN 12.0
/* Touches times climbs from which films, pairs and rounds of the table are left out: ten seconds.
 */
#define MOST_WORK 1e6
/* Rows beside a change that are tried at most, and all over the run, evenly. */
#define MOST_REFINED 16
#define ROWS_ELSEWHERE 11
/* A climb is given up whose likelihood, with the good touches found and the repeatability still
 * held, is this far below the best one's: letting the repeatability go brings less. */
#define HOPELESS_LN 100.0
/* A first climb is all that is needed where it sets aside at most this share of at least so many
 * touches, and of each edge a single one or at most this share, at a usual repeatability, and the
 * table's modes there are less probable than 1 : 10. With half these shares a third more time is
 * spent, and 3 of 1600 runs with single touches off end otherwise, by less than U. */
#define PLAIN_SHARE 0.12
#define PLAIN_EDGE_SHARE 0.2
/* Early ones of an edge, at most: touches are late more often than early, and where few are kept,
 * the early ones may be the good ones. */
#define PLAIN_EARLY_SHARE 0.1
#define PLAIN_TOUCHES 16
#define PLAIN_SCATTER_MM 7e-3
#define NESTED_PLAIN_LN 2.3

/* ---- stages ---- */

/* A stage with the model of @terms. @base (NULL: none) gives the robust start. */
static enum tiptrue_status stage_new(struct tt_pool *pool, const struct tt_terms *terms,
                                     const struct tt_stage *base, struct tt_stage **out)
{
    const struct tt_search *search = pool->search;
    struct tt_stage *stage = TT_ARENA_NEW(search->arena, 1, struct tt_stage);
    enum tiptrue_status status =
        stage == NULL ? TIPTRUE_E_MEMORY : tt_terms_new(search, terms, &stage->terms);

    if (status != TIPTRUE_OK) {
        return status;
    }
    stage->terms.proper = true;
    if ((status = tt_model_build(&stage->model, search->arena, search->plate, search->machine,
                                 search->run, &stage->terms, false)) != TIPTRUE_OK ||
        (status = tt_fit_init(&stage->fit, search->arena, &stage->model, search->noise)) !=
            TIPTRUE_OK) {
        return status;
    }
    struct tt_model *model = &stage->model;
    stage->start_x = TT_ARENA_NEW(search->arena, model->n_unknowns, double);
    if (stage->start_x == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_fit_set_sight_var(&stage->fit, pool->sight_var_mm2);
    if (base != NULL) {
        memcpy(model->x, base->start_x, 3 * model->n_setups * sizeof *model->x);
        for (size_t b = 0; b < model->n_blocks; b++) {
            memcpy(model->x + model->system.first[b], base->start_x + base->model.system.first[b],
                   TT_TIP_SHAPE * sizeof *model->x);
        }
    } else if (!tt_robust_start(&stage->fit)) {
        return TIPTRUE_E_DEGENERATE;
    }
    memcpy(stage->start_x, model->x, model->n_unknowns * sizeof *model->x);
    for (size_t i = 0; i < model->n_priors; i++) { /* the weak ones are about the start */
        struct tt_prior *prior = &model->priors[i];
        if (prior->kind == TT_PRIOR_WEAK) {
            prior->value = model->x[tt_unknown(model, prior->block, prior->place)];
        }
    }
    *out = stage;
    return TIPTRUE_OK;
}

/* ---- climbs ---- */

/* What a climb is asked to do. */
struct attempt {
    struct tt_stage *stage;
    const struct tt_candidate *parent; /* its modes are had already; NULL = none */
    const struct tt_mode *modes;       /* and these in addition */
    size_t n_modes;
    const double *keep; /* per row of the run; NULL = all */
    bool deviations, own_scatter;
};

static double *by_touch(struct tt_pool *pool, const struct tt_stage *stage, const double by_row[])
{
    for (size_t i = 0; i < stage->model.n_touches; i++) {
        pool->keep[i] = by_row[stage->model.row[i]];
    }
    return pool->keep;
}

/* Offsets and their covariances at the end of a climb. */
static enum tiptrue_status estimate(struct tt_pool *pool, struct tt_stage *stage,
                                    struct tt_estimate estimates[])
{
    struct tt_uncertainty all;
    const struct tt_model *model = &stage->model;
    enum tiptrue_status status = tt_uncertainty_init(&all, pool->search->arena, &stage->fit);

    for (size_t b = 0; b < model->n_blocks && status == TIPTRUE_OK; b++) {
        struct tt_tip_uncertainty tip;
        const double *x = model->x + model->system.first[b];
        tt_uncertainty_of_tip(&all, b, &tip);
        estimates[b] = (struct tt_estimate){
            .offset = {x[TT_TIP_O_X], x[TT_TIP_O_Y]},
            .same_plate = tip.less_plate,
            .same_plate_expanded_mm = tt_expanded(tip.less_plate, tip.less_plate_dof),
            .whole = tip.offset,
            .expanded_mm = tt_expanded(tip.offset, tip.dof),
        };
    }
    return status;
}

static enum tiptrue_status candidate_new(struct tt_pool *pool, const struct attempt *attempt,
                                         struct tt_candidate **out)
{
    struct tt_arena *arena = pool->search->arena;
    struct tt_candidate *made = TT_ARENA_NEW(arena, 1, struct tt_candidate);
    const struct tt_model *model = &attempt->stage->model;
    enum tiptrue_status status;

    if (made == NULL ||
        (status = tt_terms_new(pool->search, &attempt->stage->terms, &made->terms)) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    made->stage = attempt->stage;
    made->x = TT_ARENA_NEW(arena, model->n_unknowns, double);
    made->good = TT_ARENA_NEW(arena, pool->search->run->n_observations, double);
    made->estimates = TT_ARENA_NEW(arena, model->n_blocks, struct tt_estimate);
    if (made->x == NULL || made->good == NULL || made->estimates == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if (attempt->parent != NULL) {
        made->n_modes = attempt->parent->n_modes;
        memcpy(made->modes, attempt->parent->modes, made->n_modes * sizeof *made->modes);
    }
    for (size_t k = 0; k < attempt->n_modes && made->n_modes < TT_MOST_MODES; k++) {
        made->modes[made->n_modes++] = attempt->modes[k];
        if (attempt->modes[k].kind ==
            TT_MODE_EDGE_OUT) { /* the only one that shares its stage with others */
            tt_mode_add(&made->terms, model, &attempt->modes[k]);
        }
    }
    for (size_t k = 0; k < made->n_modes;
         k++) { /* an edge that is out has its prior in the shares */
        made->log_prior += made->modes[k].kind == TT_MODE_EDGE_OUT ? 0 : made->modes[k].log_prior;
    }
    *out = made;
    return TIPTRUE_OK;
}

/* The state of @candidate into its stage, factored and inverted. False: singular. */
bool tt_candidate_restore(const struct tt_candidate *candidate)
{
    struct tt_model *model = &candidate->stage->model;
    struct tt_fit *fit = &candidate->stage->fit;

    memcpy(model->x, candidate->x, model->n_unknowns * sizeof *model->x);
    model->terms.edge_out = candidate->terms.edge_out;
    fit->touch_var_mm2 = candidate->touch_var_mm2;
    tt_fit_set_view_var(fit, candidate->view_var_mm2);
    for (size_t i = 0; i < model->n_touches; i++) {
        fit->good[i] = candidate->good[model->row[i]];
    }
    tt_model_linearise(model);
    tt_fit_set_rotation_var(fit);
    tt_fit_set_weights(fit);
    tt_model_accumulate(model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return false;
    }
    tt_fit_update_dof(fit);
    return true;
}

static enum tiptrue_status climb(struct tt_pool *pool, const struct attempt *attempt)
{
    struct tt_stage *stage = attempt->stage;
    struct tt_candidate *made;
    enum tiptrue_status status = candidate_new(pool, attempt, &made);

    if (status != TIPTRUE_OK) {
        return status;
    }
    struct tt_model *model = &stage->model;
    struct tt_climb how = {.keep =
                               attempt->keep != NULL ? by_touch(pool, stage, attempt->keep) : NULL,
                           .deviations = attempt->deviations,
                           .own_scatter = attempt->own_scatter,
                           .hopeless = -INFINITY};
    if (pool->best != NULL) {
        how.hopeless =
            pool->best->log_likelihood + pool->best->log_prior - made->log_prior - HOPELESS_LN;
    }
    memcpy(model->x, stage->start_x, model->n_unknowns * sizeof *model->x);
    model->terms.edge_out = made->terms.edge_out;
    pool->work += (double)model->n_touches;
    if (!tt_robust_climb(&stage->fit, &how) || !isfinite(stage->fit.log_evidence)) {
        return TIPTRUE_OK; /* it leads nowhere */
    }
    made->log_evidence = stage->fit.log_evidence + made->log_prior;
    made->log_likelihood = stage->fit.log_likelihood;
    made->touch_var_mm2 = stage->fit.touch_var_mm2;
    made->view_var_mm2 = stage->fit.view_var_mm2;
    memcpy(made->x, model->x, model->n_unknowns * sizeof *made->x);
    for (size_t i = 0; i < model->n_touches; i++) {
        made->good[model->row[i]] = stage->fit.good[i];
    }
    if (pool->best == NULL || made->log_evidence > pool->best->log_evidence - TT_ESTIMATED_LN) {
        status = estimate(pool, stage, made->estimates);
        made->estimated = true;
    }
    if (pool->best == NULL || made->log_evidence > pool->best->log_evidence) {
        pool->best = made;
    }
    made->next = pool->candidates;
    pool->candidates = made;
    pool->n++;
    return status;
}

/* ---- starts ---- */

static struct tt_mode edge_mode(const struct tt_pool *pool, enum tt_mode_kind kind, size_t edge)
{
    return (struct tt_mode){.kind = kind,
                            .index = edge,
                            .log_prior =
                                log(tt_mode_probability(kind) / (double)pool->n_edges_seen)};
}

/* A climb with @mode on top of @base's model, from all touches. */
static enum tiptrue_status start_with(struct tt_pool *pool, struct tt_stage *base,
                                      const struct tt_candidate *parent, const struct tt_mode *mode)
{
    struct tt_terms terms;
    struct attempt attempt = {.parent = parent, .modes = mode, .n_modes = 1, .deviations = true};
    enum tiptrue_status status = tt_terms_new(pool->search, &parent->terms, &terms);

    if (status == TIPTRUE_OK) {
        tt_mode_add(&terms, &base->model, mode);
        status = stage_new(pool, &terms, base, &attempt.stage);
    }
    return status == TIPTRUE_OK ? climb(pool, &attempt) : status;
}

/* Rows of touches on none of the @n @edges keep their weight. */
static double *leave_out(struct tt_pool *pool, const size_t edges[], size_t n)
{
    const struct tiptrue_run *run = pool->search->run;

    for (size_t i = 0; i < run->n_observations; i++) {
        bool out = false;
        for (size_t k = 0; k < n; k++) {
            out = out || (run->observations[i].kind == TT_TOUCH &&
                          run->observations[i].target == edges[k]);
        }
        pool->left[i] = out ? 0 : 1;
    }
    return pool->left;
}

/* Edges left out of the start, and (@too) the same edges out for good. */
static enum tiptrue_status start_without(struct tt_pool *pool, struct tt_stage *base,
                                         const struct tt_candidate *parent, const size_t edges[],
                                         size_t n, bool left_out)
{
    struct tt_mode out[2];
    struct attempt attempt = {
        .stage = base, .parent = parent, .keep = leave_out(pool, edges, n), .deviations = true};
    enum tiptrue_status status = left_out ? climb(pool, &attempt) : TIPTRUE_OK;

    for (size_t k = 0; k < n; k++) {
        out[k] = edge_mode(pool, TT_MODE_EDGE_OUT, edges[k]);
    }
    attempt.modes = out;
    attempt.n_modes = n;
    return status == TIPTRUE_OK ? climb(pool, &attempt) : status;
}

/* Where touches of an edge came too early for @from, whose state its stage has: they may be the
 * good ones, and the others on this edge late. A climb for each such edge, from these. */
static enum tiptrue_status start_from_early(struct tt_pool *pool, const struct tt_candidate *from)
{
    const struct tt_model *model = &from->stage->model;
    const struct tiptrue_run *run = pool->search->run;
    bool *early = TT_ARENA_NEW(pool->search->arena, run->n_observations, bool);
    bool *edges = TT_ARENA_NEW(pool->search->arena, model->plate->n_edges, bool);
    enum tiptrue_status status = early == NULL || edges == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;

    for (size_t i = 0; i < model->n_touches && status == TIPTRUE_OK; i++) {
        size_t edge = model->cells[model->cell_of[i]].edge;
        if (from->good[model->row[i]] < 0.5 && model->residual[i] > 0 &&
            !from->terms.edge_out[edge]) {
            early[model->row[i]] = edges[edge] = true;
        }
    }
    for (size_t j = 0; j < model->plate->n_edges && status == TIPTRUE_OK; j++) {
        struct attempt attempt = {.stage = from->stage, .parent = from, .keep = pool->left};
        for (size_t i = 0; i < run->n_observations; i++) {
            const struct tt_observation *o = &run->observations[i];
            bool on = o->kind == TT_TOUCH && o->target == j;
            pool->left[i] = !on ? from->good[i] : early[i] ? 1 : 0;
        }
        status = edges[j] ? climb(pool, &attempt) : TIPTRUE_OK;
    }
    return status;
}

/* The edges among which pairs are tried: all, or those that lose most touches in the best
 * explanation. */
static size_t paired_edges(const struct tt_pool *pool, const size_t seen[], size_t n,
                           size_t edges[])
{
    const struct tiptrue_run *run = pool->search->run;
    size_t k = 0;

    if (n <= MANY_EDGES) {
        memcpy(edges, seen, n * sizeof *edges);
        return n;
    }
    for (size_t round = 0; round < WORST_EDGES; round++) {
        double most = -1;
        for (size_t j = 0; j < n; j++) {
            double lost = 0;
            bool had = false;
            for (size_t i = 0; i < k; i++) {
                had = had || edges[i] == seen[j];
            }
            for (size_t i = 0; i < run->n_observations && !had; i++) {
                bool on =
                    run->observations[i].kind == TT_TOUCH && run->observations[i].use == TT_USE;
                lost += on && run->observations[i].target == seen[j] ? 1 - pool->best->good[i] : 0;
            }
            if (!had && lost > most) {
                most = lost;
                edges[k] = seen[j];
            }
        }
        k++;
    }
    return k;
}

static enum tiptrue_status start_pairs(struct tt_pool *pool, struct tt_stage *base,
                                       const struct tt_candidate *parent, const size_t seen[],
                                       size_t n)
{
    size_t *edges = TT_ARENA_NEW(pool->search->arena, n, size_t);
    enum tiptrue_status status = TIPTRUE_OK;

    if (edges == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    size_t paired = paired_edges(pool, seen, n, edges);
    for (size_t a = 0; a < paired; a++) {
        for (size_t b = a + 1; b < paired && status == TIPTRUE_OK && pool->work < MOST_WORK; b++) {
            status = start_without(pool, base, parent, (size_t[2]){edges[a], edges[b]}, 2,
                                   n < FEW_EDGES);
        }
    }
    return status;
}

/* The best change, axis fault, radius and reversal error of the least-squares table, where it says
 * that they may be. */
static enum tiptrue_status start_from_table(struct tt_pool *pool, struct tt_stage *base,
                                            const struct tt_candidate *parent)
{
    const struct tt_mode *best[TT_MODE_KINDS] = {NULL};
    struct tt_fit *fit = tt_fit_finished(pool->search->least_squares);
    struct tt_modes table = {0};
    enum tiptrue_status status =
        fit != NULL ? tt_modes_score(fit, pool->search->arena, TT_MODES_FINE, &table) : TIPTRUE_OK;

    for (size_t k = 0; k < table.n; k++) {
        const struct tt_mode *mode = &table.mode[k];
        bool by_edges = mode->kind == TT_MODE_FILM || mode->kind == TT_MODE_EDGE;
        bool change = mode->kind == TT_MODE_MOVED || mode->kind == TT_MODE_SLIP;
        if (!by_edges && (change || mode->log_odds > LEAST_SQUARES_ODDS) &&
            (best[mode->kind] == NULL || mode->log_odds > best[mode->kind]->log_odds)) {
            best[mode->kind] = mode;
        }
    }
    for (size_t kind = 0; kind < TT_MODE_KINDS && status == TIPTRUE_OK; kind++) {
        if (best[kind] != NULL && !tt_candidate_has(parent, best[kind])) {
            status = start_with(pool, base, parent, best[kind]);
        }
    }
    return status;
}

/* All starts on top of @parent, the plain explanation of @base. */
static enum tiptrue_status start_all(struct tt_pool *pool, struct tt_stage *base,
                                     const struct tt_candidate *parent, bool from_table)
{
    const struct tiptrue_plate *plate = pool->search->plate;
    size_t *seen = TT_ARENA_NEW(pool->search->arena, plate->n_edges, size_t), n = 0;
    struct attempt plain = {.stage = base, .parent = parent};
    enum tiptrue_status status = seen == NULL ? TIPTRUE_E_MEMORY : climb(pool, &plain);

    if (status == TIPTRUE_OK && pool->search->noise->touch_known) {
        plain.deviations = plain.own_scatter = true;
        status = climb(pool, &plain);
    }
    for (size_t j = 0; j < plate->n_edges && status == TIPTRUE_OK; j++) {
        if (base->model.edge_seen[j]) {
            seen[n++] = j;
            status = start_without(pool, base, parent, &j, 1, true);
        }
    }
    for (size_t k = 0; k < n && status == TIPTRUE_OK && pool->work < MOST_WORK; k++) {
        struct tt_mode film = edge_mode(pool, TT_MODE_FILM, seen[k]),
                       elsewhere = edge_mode(pool, TT_MODE_EDGE, seen[k]);
        status = start_with(pool, base, parent, &film);
        status = status == TIPTRUE_OK ? start_with(pool, base, parent, &elsewhere) : status;
    }
    if (status == TIPTRUE_OK && n > 3) {
        status = start_pairs(pool, base, parent, seen, n);
    }
    return status == TIPTRUE_OK && from_table ? start_from_table(pool, base, parent) : status;
}

/* ---- rounds of the table ---- */

bool tt_candidate_has(const struct tt_candidate *candidate, const struct tt_mode *mode)
{
    bool edge = mode->kind == TT_MODE_FILM || mode->kind == TT_MODE_EDGE,
         has = candidate->n_modes >= TT_MOST_MODES;

    for (size_t k = 0; k < candidate->n_modes; k++) {
        const struct tt_mode *had = &candidate->modes[k];
        bool had_edge =
            had->kind == TT_MODE_FILM || had->kind == TT_MODE_EDGE || had->kind == TT_MODE_EDGE_OUT;
        bool once =
            had->kind == mode->kind && (mode->kind == TT_MODE_MOVED || mode->kind == TT_MODE_SLIP);
        has = has || once || (edge && had_edge && had->index == mode->index) ||
              (had->kind == mode->kind && had->index == mode->index && had->order == mode->order);
    }
    return has;
}

/* Two climbs with @mode on top of @parent: from its weights, and from all touches. */
static enum tiptrue_status climb_with(struct tt_pool *pool, const struct tt_candidate *parent,
                                      const struct tt_mode *mode)
{
    struct tt_terms terms;
    struct attempt attempt = {.parent = parent, .modes = mode, .n_modes = 1, .keep = parent->good};
    enum tiptrue_status status = tt_terms_new(pool->search, &parent->terms, &terms);

    if (status == TIPTRUE_OK) {
        tt_mode_add(&terms, &parent->stage->model, mode);
        status = stage_new(pool, &terms, parent->stage, &attempt.stage);
    }
    status = status == TIPTRUE_OK ? climb(pool, &attempt) : status;
    attempt.keep = NULL;
    attempt.deviations = true;
    return status == TIPTRUE_OK ? climb(pool, &attempt) : status;
}

static void sort_modes(struct tt_modes *modes)
{
    for (size_t i = 1; i < modes->n; i++) {
        struct tt_mode moved = modes->mode[i];
        size_t k = i;
        for (; k > 0 && modes->mode[k - 1].log_odds < moved.log_odds; k--) {
            modes->mode[k] = modes->mode[k - 1];
        }
        modes->mode[k] = moved;
    }
}

/* The modes that the table at @parent makes probable are climbed. */
static enum tiptrue_status widen(struct tt_pool *pool, struct tt_candidate *parent)
{
    struct tt_modes table;
    size_t climbed = 0, rows[TT_MODE_KINDS] = {0};
    enum tiptrue_status status;

    parent->scored = true;
    if (!tt_candidate_restore(parent)) {
        return TIPTRUE_OK;
    }
    status = tt_modes_score(&parent->stage->fit, pool->search->arena, TT_MODES_FINE, &table);
    size_t kept = 0;
    for (size_t k = 0; k < table.n && status == TIPTRUE_OK; k++) {
        if (parent->log_evidence + table.mode[k].log_odds >
            pool->best->log_evidence - WORTH_A_CLIMB) {
            table.mode[kept++] = table.mode[k];
        }
    }
    table.n = kept;
    sort_modes(&table);
    for (size_t k = 0; k < table.n && climbed < MOST_MODES_CLIMBED && status == TIPTRUE_OK; k++) {
        const struct tt_mode *mode = &table.mode[k];
        bool at_row = mode->kind == TT_MODE_MOVED || mode->kind == TT_MODE_SLIP;
        if (tt_candidate_has(parent, mode) || (at_row && rows[mode->kind]++ >= MOST_ROWS_CLIMBED)) {
            continue;
        }
        status = climb_with(pool, parent, mode);
        climbed++;
    }
    return status == TIPTRUE_OK ? start_from_early(pool, parent) : status;
}

static bool same_place(const struct tt_pool *pool, const struct tt_candidate *a,
                       const struct tt_candidate *b)
{
    const struct tiptrue_run *run = pool->search->run;
    bool same = tt_candidate_within(a, b) && tt_candidate_within(b, a);

    for (size_t i = 0; i < run->n_observations && same; i++) {
        same = (a->good[i] > 0.5) == (b->good[i] > 0.5);
    }
    return same;
}

bool tt_candidate_within(const struct tt_candidate *inner, const struct tt_candidate *outer)
{
    bool all = true;

    for (size_t k = 0; k < inner->n_modes; k++) {
        bool found = false;
        for (size_t j = 0; j < outer->n_modes; j++) {
            const struct tt_mode *a = &inner->modes[k], *b = &outer->modes[j];
            bool row = a->kind == TT_MODE_MOVED || a->kind == TT_MODE_SLIP;
            found = found || (a->kind == b->kind && (row || a->index == b->index) &&
                              a->tip == b->tip && a->order == b->order);
        }
        all = all && found;
    }
    return all;
}

/* The best explanation with the fewest modes. */
static struct tt_candidate *plainest(const struct tt_pool *pool)
{
    struct tt_candidate *found = pool->candidates;

    for (struct tt_candidate *c = pool->candidates; c != NULL; c = c->next) {
        found = c->n_modes < found->n_modes ? c : found;
    }
    return found;
}

/* The best explanations of the pool, distinct, not scored before: at most MOST_SCORED in all. And
 * the plainest, however much worse: what explains the run by another mode alone is seen there. */
static enum tiptrue_status round_of_table(struct tt_pool *pool, bool *any)
{
    const struct tt_candidate *seen[MOST_SCORED + 1];
    enum tiptrue_status status = TIPTRUE_OK;
    size_t n = 0;

    *any = false;
    tt_pool_sort(pool);
    for (struct tt_candidate *c = pool->candidates, *next;
         c != NULL && n < MOST_SCORED && status == TIPTRUE_OK; c = next) {
        bool had = false;
        next = c->next;
        if (c->log_evidence < pool->best->log_evidence - TT_ESTIMATED_LN) {
            break;
        }
        for (size_t k = 0; k < n; k++) {
            had = had || same_place(pool, seen[k], c);
        }
        if (had) {
            continue;
        }
        seen[n++] = c;
        if (!c->scored) {
            *any = true;
            status = widen(pool, c); /* puts what it finds before c: next stays */
        }
    }
    struct tt_candidate *plain = plainest(pool);
    if (status == TIPTRUE_OK && !plain->scored) {
        *any = true;
        status = widen(pool, plain);
    }
    return status;
}

/* The change of @from into *change, and what it has besides into @rest. False: it has none. */
static bool split_change(const struct tt_candidate *from, struct tt_mode *change,
                         struct tt_candidate *rest)
{
    bool found = false;

    *rest = *from;
    rest->n_modes = 0;
    for (size_t k = 0; k < from->n_modes; k++) {
        if (!found &&
            (from->modes[k].kind == TT_MODE_MOVED || from->modes[k].kind == TT_MODE_SLIP)) {
            *change = from->modes[k];
            found = true;
        } else {
            rest->modes[rest->n_modes++] = from->modes[k];
        }
    }
    return found;
}

/* A change of the best explanation is tried at the rows beside it, as long as that is better. */
static enum tiptrue_status refine(struct tt_pool *pool)
{
    static const int steps[] = {1, -1, 2, -2, 3, -3};
    enum tiptrue_status status = TIPTRUE_OK;
    size_t climbs = 0, rows = pool->search->run->n_observations;

    for (size_t k = 0;
         k < sizeof steps / sizeof steps[0] && climbs < MOST_REFINED && status == TIPTRUE_OK;) {
        struct tt_candidate *best = pool->best, rest;
        struct tt_mode change;
        if (!split_change(best, &change, &rest)) {
            break;
        }
        change.index += (size_t)(long)steps[k++];
        if (change.index < rows) {
            status = start_with(pool, best->stage, &rest, &change);
            climbs++;
        }
        k = pool->best != best ? 0 : k;
    }
    return status;
}

/* And at rows all over the run: touched edge after edge, a change at one row may look like one at
 * another, with another offset. */
static enum tiptrue_status try_elsewhere(struct tt_pool *pool)
{
    size_t rows = pool->search->run->n_observations;
    struct tt_candidate *best = pool->best, rest;
    struct tt_mode change;
    enum tiptrue_status status = TIPTRUE_OK;

    if (best == NULL || !split_change(best, &change, &rest)) {
        return TIPTRUE_OK;
    }
    for (size_t k = 1; k <= ROWS_ELSEWHERE && status == TIPTRUE_OK; k++) {
        change.index = rows * k / (ROWS_ELSEWHERE + 1);
        status = start_with(pool, best->stage, &rest, &change);
    }
    return status;
}

/* ---- the whole search ---- */

/* Modes of sightings and marks that the sightings show without any touch, into @terms and @modes.
 */
static enum tiptrue_status sightings_first(struct tt_pool *pool, struct tt_stage **base,
                                           struct tt_candidate *parent)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t round = 0; round < MOST_SIGHTING_MODES; round++) {
        struct tt_stage *stage = *base;
        struct tt_model *model = &stage->model;
        const struct tt_mode *first = NULL;
        struct tt_modes table;
        double second = -INFINITY;

        memcpy(model->x, stage->start_x, model->n_unknowns * sizeof *model->x);
        memset(stage->fit.good, 0, model->n_touches * sizeof *stage->fit.good);
        tt_model_linearise(model);
        tt_fit_set_weights(&stage->fit);
        double size;
        if (model->n_sights == 0 || !tt_fit_step(&stage->fit, true, &size) ||
            !tt_fit_step(&stage->fit, true, &size)) {
            break;
        }
        tt_system_invert(&model->system);
        if ((status = tt_modes_score(&stage->fit, pool->search->arena, TT_MODES_OF_SIGHTINGS,
                                     &table)) != TIPTRUE_OK) {
            break;
        }
        sort_modes(&table);
        first = table.n > 0 ? &table.mode[0] : NULL;
        for (size_t k = 1; first != NULL && k < table.n; k++) {
            const struct tt_mode *m = &table.mode[k];
            bool of_sighting = m->kind == TT_MODE_SIGHT || m->kind == TT_MODE_SIGHT_GROSS;
            bool first_of_sighting =
                first->kind == TT_MODE_SIGHT || first->kind == TT_MODE_SIGHT_GROSS;
            if (m->index != first->index || of_sighting != first_of_sighting) {
                second = fmax(second, m->log_odds);
            }
        }
        /* marks sighted again after the plate moved look like sightings that are off: the touches
         * decide */
        if (first == NULL || first->kind == TT_MODE_MOVED || first->kind == TT_MODE_SLIP ||
            !(first->log_odds > SIGHTING_ODDS) || !(first->log_odds > second + TT_RIVAL_LN)) {
            break;
        }
        parent->modes[parent->n_modes++] = *first;
        parent->log_prior += first->log_prior;
        tt_mode_add(&parent->terms, model, first);
        if ((status = stage_new(pool, &parent->terms, stage, base)) != TIPTRUE_OK) {
            break;
        }
    }
    return status;
}

/* The plain explanation, the plate turned by @turns (two bits for each of the @n setups @open). */
static enum tiptrue_status plain_start(struct tt_pool *pool, const size_t open[], size_t n,
                                       size_t turns, struct tt_candidate *parent,
                                       struct tt_stage **base)
{
    enum tiptrue_status status = tt_terms_new(pool->search, NULL, &parent->terms);
    bool nominal = pool->search->machine->has_yaw;

    for (size_t k = 0; k < n && status == TIPTRUE_OK; k++) {
        unsigned quarter = (unsigned)(turns >> 2 * k & 3);
        struct tt_mode mode = {.kind = TT_MODE_TURNED, .index = open[k], .order = quarter};
        mode.log_prior = nominal ? log(tt_mode_probability(TT_MODE_TURNED)) : 0;
        if (quarter > 0) {
            tt_mode_add(&parent->terms, NULL, &mode);
            parent->modes[parent->n_modes++] = mode;
        }
    }
    if (status == TIPTRUE_OK &&
        (status = stage_new(pool, &parent->terms, NULL, base)) == TIPTRUE_OK) {
        status = sightings_first(pool, base, parent);
    }
    return status;
}

/* Few single touches off, and nothing in the table at the rest: no start would end elsewhere. */
static enum tiptrue_status is_plain(struct tt_pool *pool, bool *plain)
{
    struct tt_candidate *only = pool->best;
    const struct tt_fit *fit = &only->stage->fit;
    const struct tt_model *model = &only->stage->model;
    double off = (double)model->n_touches - tt_fit_total_good(fit);
    double *early = TT_ARENA_NEW(pool->search->arena, model->plate->n_edges, double);
    struct tt_modes table;
    enum tiptrue_status status;

    if (early == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    *plain = off <= PLAIN_SHARE * (double)model->n_touches && model->n_touches >= PLAIN_TOUCHES &&
             !fit->scattered &&
             (fit->noise->touch_known || sqrt(fit->touch_var_mm2) < PLAIN_SCATTER_MM);
    for (size_t i = 0; i < model->n_touches; i++) {
        size_t edge = model->cells[model->cell_of[i]].edge;
        early[edge] += model->residual[i] > 0 ? 1 - fit->good[i] : 0;
    }
    for (size_t j = 0; j < model->plate->n_edges; j++) {
        *plain = *plain &&
                 (fit->late_count[j] <= 1.5 ||
                  fit->late_count[j] <= PLAIN_EDGE_SHARE * fit->edge_count[j]) &&
                 early[j] <= fmax(0.5, PLAIN_EARLY_SHARE * fit->edge_count[j]);
    }
    /* a climb ends a micrometre beside the minimum for its weights, which the table takes for a
     * fault */
    double size;
    if (!*plain || !tt_candidate_restore(only) || !tt_fit_step(&only->stage->fit, true, &size)) {
        *plain = false;
        return TIPTRUE_OK;
    }
    tt_fit_update_dof(&only->stage->fit);
    status = tt_modes_score(&only->stage->fit, pool->search->arena, TT_MODES_COARSE, &table);
    for (size_t k = 0; k < table.n && status == TIPTRUE_OK; k++) {
        *plain = *plain && table.mode[k].log_odds < -NESTED_PLAIN_LN;
    }
    return status;
}

static enum tiptrue_status pool_init(struct tt_pool *pool, const struct tt_search *search)
{
    size_t rows = search->run->n_observations;

    *pool = (struct tt_pool){.search = search};
    pool->keep = TT_ARENA_NEW(search->arena, rows, double);
    pool->left = TT_ARENA_NEW(search->arena, rows, double);
    double dof;
    pool->sight_var_mm2 = tt_sighting_variance(search, &dof);
    for (size_t j = 0; j < search->plate->n_edges; j++) {
        bool seen = false;
        for (size_t i = 0; i < rows && !seen; i++) {
            const struct tt_observation *o = &search->run->observations[i];
            seen = o->kind == TT_TOUCH && o->use == TT_USE && o->target == j;
        }
        pool->n_edges_seen += seen;
    }
    return pool->keep == NULL || pool->left == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}

/* Setups without two sighted marks: how they are turned is looked for. */
static size_t open_setups(const struct tt_search *search, size_t open[MOST_TURNED])
{
    size_t n = 0;

    for (size_t s = 0; s < search->run->n_setups && n < MOST_TURNED; s++) {
        size_t first = TT_NONE;
        bool two = false;
        for (size_t i = 0; i < search->run->n_observations; i++) {
            const struct tt_observation *o = &search->run->observations[i];
            if (tt_is_sighting(o->kind) && o->use == TT_USE && o->setup == s) {
                two = two || (first != TT_NONE && first != o->target);
                first = o->target;
            }
        }
        if (!two) {
            open[n++] = s;
        }
    }
    return n;
}

enum tiptrue_status tt_explain(const struct tt_search *search, struct tt_explanation *explanation)
{
    struct tt_pool pool;
    size_t open[MOST_TURNED], n_open = open_setups(search, open),
                              combinations = (size_t)1 << 2 * n_open;
    struct tt_candidate *parents = TT_ARENA_NEW(search->arena, combinations, struct tt_candidate);
    struct tt_stage **bases = TT_ARENA_NEW(search->arena, combinations, struct tt_stage *);
    double *plain = TT_ARENA_NEW(search->arena, combinations, double), best = -INFINITY;
    enum tiptrue_status status = pool_init(&pool, search);

    if (parents == NULL || bases == NULL || plain == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t turns = 0; turns < combinations && status == TIPTRUE_OK; turns++) {
        size_t before = pool.n;
        status = plain_start(&pool, open, n_open, turns, &parents[turns], &bases[turns]);
        struct attempt attempt = {
            .stage = bases[turns], .parent = &parents[turns], .deviations = true};
        status = status == TIPTRUE_OK ? climb(&pool, &attempt) : status;
        plain[turns] = pool.n > before ? pool.candidates->log_evidence : -INFINITY;
        best = fmax(best, plain[turns]);
    }
    bool plainly = false;
    if (status == TIPTRUE_OK && combinations == 1 && pool.best != NULL) {
        status = is_plain(&pool, &plainly);
    }
    for (size_t turns = 0; turns < combinations && status == TIPTRUE_OK && !plainly; turns++) {
        if (plain[turns] >= best - TURN_RIVAL_LN) {
            status = start_all(&pool, bases[turns], &parents[turns], turns == 0);
        }
    }
    pool.plain = bases[0];
    bool any = pool.best != NULL && !plainly;
    for (size_t round = 0;
         round < MOST_ROUNDS && any && pool.work < MOST_WORK && status == TIPTRUE_OK; round++) {
        status = round_of_table(&pool, &any);
    }
    if (status == TIPTRUE_OK && pool.best == NULL) {
        status = TIPTRUE_E_DEGENERATE;
    }
    status = status == TIPTRUE_OK ? refine(&pool) : status;
    status = status == TIPTRUE_OK ? try_elsewhere(&pool) : status;
    return status == TIPTRUE_OK ? tt_decide(&pool, explanation) : status;
}
