/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The search: rounds of the table of modes on what starts.c and climb.c give. decide.c tells what
 * the explanations mean together. */
#include "config.h"

#include "adjust/explain.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"

/* Sightings alone show a mode of theirs when its ln odds are above this and this far ahead of any
 * other; three times at most. */
#define SIGHTING_ODDS 3.0
#define MOST_SIGHTING_MODES 3
/* Rounds of the table; explanations scored in each, within this of the best; modes climbed from
 * each; rows of one kind of change among them. */
#define MOST_ROUNDS 3
#define MOST_SCORED 4
#define SCORED_LN 12.0
#define MOST_MODES_CLIMBED 8
#define MOST_ROWS_CLIMBED 3
/* A mode is climbed where the table puts it within this of the best explanation: the rivals'
 * threshold and what the table may be wrong by, for it is linear and keeps the touches. */
#define WORTH_A_CLIMB (TT_RIVAL_LN + 2.0)
/* Quarter turns of this many setups are tried at most (64 starts), and searched in full within this
 * of the best. */
#define MOST_TURNED 3
#define TURN_RIVAL_LN 12.0
/* A first climb is all that is needed where it sets aside at most this share of at least so many
 * touches, and of each edge a single one or at most this share, at a usual repeatability, and the
 * table's modes there are less probable than 1 : 10. With half these shares a third more time is
 * spent, and 3 of 1600 runs with single touches off end otherwise, by less than U. */
#define PLAIN_SHARE 0.12
#define PLAIN_EDGE_SHARE 0.2
/* Of so few touches of an edge, one that came early may be the only good one. */
#define PLAIN_FEW 5
#define PLAIN_TOUCHES 16
/* So many of a tip's first or last touches, and that share of them, may be of another place of the
 * tip, where they are not all late on one edge. */
#define PLAIN_END 3
#define PLAIN_END_SHARE 0.6
#define PLAIN_SCATTER_MM 7e-3
#define NESTED_PLAIN_LN 2.3
/* And where what is set aside would not even halve the standard uncertainties: then it is not too
 * little that is left (decide.c). */
#define PLAIN_LEFT_OUT 3.0

/* ---- rounds of the table ---- */

/* Two climbs with @mode on top of @parent: from its weights, and from all touches. */
static enum tiptrue_status climb_with(struct tt_pool *pool, const struct tt_candidate *parent,
                                      const struct tt_mode *mode)
{
    struct tt_terms terms;
    struct tt_attempt attempt = {
        .parent = parent, .modes = mode, .n_modes = 1, .keep = parent->good};
    enum tiptrue_status status = tt_terms_new(pool->search, &parent->terms, &terms);

    if (status == TIPTRUE_OK) {
        tt_mode_add(&terms, &parent->stage->model, mode);
        status = tt_stage_new(pool, &terms, parent->stage, &attempt.stage);
    }
    status = status == TIPTRUE_OK ? tt_attempt_climb(pool, &attempt) : status;
    attempt.keep = NULL;
    attempt.deviations = true;
    return status == TIPTRUE_OK ? tt_attempt_climb(pool, &attempt) : status;
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

/* The ln odds of @mode in @table, of a change at a row those of the best row; NAN without. */
static double odds_of(const struct tt_modes *table, const struct tt_mode *mode)
{
    enum tt_mode_kind kind = tt_mode_change(mode->kind);
    double odds = NAN;

    for (size_t k = 0; k < table->n; k++) {
        const struct tt_mode *m = &table->mode[k];
        bool same = m->kind == kind && m->tip == mode->tip && m->order == mode->order &&
                    (tt_mode_at_row(kind) || m->index == mode->index);
        odds = same ? fmax(odds, m->log_odds) : odds;
    }
    return odds;
}

/* From which ln odds in @table on, made at @parent, a mode is climbed. Where the best explanation
 * has all modes of @parent, those beside the one that leads to it in the same table are, too: far
 * from the best the linear table falls short of all of them alike, and two marks that explain a run
 * equally must both be tried. */
static double worth_a_climb(const struct tt_pool *pool, const struct tt_candidate *parent,
                            const struct tt_modes *table)
{
    const struct tt_candidate *best = pool->best;
    double least = best->log_evidence - parent->log_evidence;

    for (size_t k = 0; k < best->n_modes && tt_candidate_within(parent, best); k++) {
        if (!tt_candidate_has(parent, &best->modes[k])) {
            least = fmin(least, odds_of(table, &best->modes[k])); /* NAN does not count */
        }
    }
    return least - WORTH_A_CLIMB;
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
    double least = status == TIPTRUE_OK ? worth_a_climb(pool, parent, &table) : INFINITY;
    for (size_t k = 0; k < table.n && status == TIPTRUE_OK; k++) {
        if (table.mode[k].log_odds > least) {
            table.mode[kept++] = table.mode[k];
        }
    }
    table.n = kept;
    sort_modes(&table);
    for (size_t k = 0; k < table.n && climbed < MOST_MODES_CLIMBED && status == TIPTRUE_OK; k++) {
        const struct tt_mode *mode = &table.mode[k];
        bool at_row = tt_mode_at_row(mode->kind);
        if (tt_candidate_has(parent, mode) || (at_row && rows[mode->kind]++ >= MOST_ROWS_CLIMBED)) {
            continue;
        }
        status = climb_with(pool, parent, mode);
        climbed++;
    }
    return status == TIPTRUE_OK ? tt_start_from_early(pool, parent) : status;
}

static bool same_place(const struct tt_pool *pool, const struct tt_candidate *a,
                       const struct tt_candidate *b)
{
    return tt_candidate_within(a, b) && tt_candidate_within(b, a) && tt_same_touches(pool, a, b);
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
        if (c->log_evidence < pool->best->log_evidence - SCORED_LN) {
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
    struct tt_candidate *plain = tt_plainest(pool);
    if (status == TIPTRUE_OK && !plain->scored) {
        *any = true;
        status = widen(pool, plain);
    }
    return status;
}

/* ---- the whole search ---- */

/* Could a mode of the sightings have odds above SIGHTING_ODDS? What it takes away is no more than
 * half the squares of sightings and priors, where the model stands (1: the linear model's error),
 * and it is no more probable beforehand than the likeliest kind of theirs. */
static bool sightings_may_show(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double sum = 0;

    for (size_t i = 0; i < model->n_sights; i++) {
        const double *r = model->sights[i].residual;
        double w = tt_sight_weight(&model->sights[i], 1 / fit->sight_var_mm2);
        sum += w * (r[0] * r[0] + r[1] * r[1]);
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *p = &model->priors[i];
        double z = (model->x[tt_unknown(model, p->block, p->place)] - p->value) / p->u;
        sum += z * z;
    }
    return model->n_sights > 0 &&
           0.5 * sum + 1 + log(tt_mode_probability(TT_MODE_DISTORTION)) > SIGHTING_ODDS;
}

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
        if (!sightings_may_show(&stage->fit) || !tt_fit_step(&stage->fit, true, &size) ||
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
        if (first == NULL || tt_mode_at_row(first->kind) || !(first->log_odds > SIGHTING_ODDS) ||
            !(first->log_odds > second + TT_RIVAL_LN)) {
            break;
        }
        parent->modes[parent->n_modes++] = *first;
        parent->log_prior += first->log_prior;
        tt_mode_add(&parent->terms, model, first);
        if ((status = tt_stage_new(pool, &parent->terms, stage, base)) != TIPTRUE_OK) {
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
        (status = tt_stage_new(pool, &parent->terms, NULL, base)) == TIPTRUE_OK) {
        status = sightings_first(pool, base, parent);
    }
    return status;
}

/* Are few touches off where the last climb ended, of every edge, at a usual repeatability? */
static enum tiptrue_status has_few_off(struct tt_pool *pool, const struct tt_fit *fit, bool *few)
{
    const struct tt_model *model = fit->model;
    double off = (double)model->n_touches - tt_fit_total_good(fit);
    double *of_edge = TT_ARENA_NEW(pool->search->arena, model->plate->n_edges, double);

    if (of_edge == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    *few = off <= PLAIN_SHARE * (double)model->n_touches && model->n_touches >= PLAIN_TOUCHES &&
           !fit->scattered &&
           (fit->noise->touch_known || sqrt(fit->touch_var_mm2) < PLAIN_SCATTER_MM);
    for (size_t i = 0; i < model->n_touches; i++) {
        size_t edge = model->cells[model->cell_of[i]].edge;
        bool early = !tt_is_good(fit->good[i]) && model->residual[i] > 0;
        of_edge[edge] += 1 - fit->good[i];
        *few = *few && !(early && fit->edge_count[edge] <= PLAIN_FEW);
    }
    for (size_t j = 0; j < model->plate->n_edges; j++) {
        *few = *few && of_edge[j] <= fmax(1.5, PLAIN_EDGE_SHARE * fit->edge_count[j]);
    }
    return TIPTRUE_OK;
}

/* The sum of the leverages of the touches set aside: with all touches, no variance would be less
 * than 1 / (1 + this) of what it is. */
static double left_out(const struct tt_fit *fit)
{
    double sum = 0;

    for (size_t i = 0; i < fit->model->n_touches; i++) {
        sum += (1 - fit->good[i]) * fit->leverage[i];
    }
    return sum;
}

/* Are so many of the first or last touches of a tip set aside, and not all late on one edge, that
 * it may be elsewhere there? They have no weight in a table. @off by row of the run: 0 = good, the
 * edge + 1 = late there, -1 = early, NAN: no touch of the tip. */
static bool end_is_off(const double off[], size_t rows, bool last)
{
    double first = 0;
    size_t aside = 0, n = 0;
    bool mixed = false, found = false;

    for (size_t i = 0; i < rows && !found; i++) {
        double one = off[last ? rows - 1 - i : i];
        bool is_off = !isnan(one) && one != 0;
        n += isnan(one) ? 0 : 1;
        aside += is_off ? 1 : 0;
        first = is_off && first == 0 ? one : first;
        mixed = mixed || (is_off && (one < 0 || one != first));
        found = mixed && aside >= PLAIN_END && (double)aside > PLAIN_END_SHARE * (double)n;
    }
    return found;
}

static bool ends_are_off(const struct tt_pool *pool, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    size_t rows = pool->search->run->n_observations;
    bool found = false;

    for (size_t b = 0; b < model->n_blocks && !found; b++) {
        for (size_t i = 0; i < rows; i++) {
            pool->left[i] = NAN;
        }
        for (size_t i = 0; i < model->n_touches; i++) {
            const struct tt_cell *cell = &model->cells[model->cell_of[i]];
            if (cell->block == b) {
                double kind = model->residual[i] > 0 ? -1 : (double)cell->edge + 1;
                pool->left[model->row[i]] = tt_is_good(fit->good[i]) ? 0 : kind;
            }
        }
        found = end_is_off(pool->left, rows, false) || end_is_off(pool->left, rows, true);
    }
    return found;
}

/* Few single touches off, and nothing in the table at the rest: no start would end elsewhere. */
static enum tiptrue_status is_plain(struct tt_pool *pool, bool *plain)
{
    struct tt_candidate *only = pool->best;
    struct tt_fit *fit = &only->stage->fit;
    struct tt_modes table;
    double size;
    enum tiptrue_status status = has_few_off(pool, fit, plain);

    *plain = *plain && !ends_are_off(pool, fit);
    /* a climb ends a micrometre beside the minimum for its weights, which the table takes for a
     * fault */
    if (status == TIPTRUE_OK && *plain) {
        tt_candidate_return(only);
        *plain = tt_fit_step(fit, true, &size);
    }
    if (status != TIPTRUE_OK || !*plain) {
        return status;
    }
    tt_fit_update_dof(fit);
    *plain = left_out(fit) < PLAIN_LEFT_OUT;
    status = tt_modes_score(fit, pool->search->arena, TT_MODES_COARSE, &table);
    for (size_t k = 0; k < table.n && status == TIPTRUE_OK; k++) {
        *plain = *plain && table.mode[k].log_odds < -NESTED_PLAIN_LN;
    }
    pool->only = *plain ? only : NULL;
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
        struct tt_attempt attempt = {
            .stage = bases[turns], .parent = &parents[turns], .deviations = true};
        status = status == TIPTRUE_OK ? tt_attempt_climb(&pool, &attempt) : status;
        plain[turns] = pool.n > before ? pool.candidates->log_evidence : -INFINITY;
        best = fmax(best, plain[turns]);
    }
    bool plainly = false;
    pool.plain = bases[0];
    if (status == TIPTRUE_OK && combinations == 1 && pool.best != NULL) {
        status = is_plain(&pool, &plainly);
    }
    for (size_t turns = 0; turns < combinations && status == TIPTRUE_OK && !plainly; turns++) {
        if (plain[turns] >= best - TURN_RIVAL_LN) {
            status = tt_start_all(&pool, bases[turns], &parents[turns]);
        }
    }
    bool any = pool.best != NULL && !plainly;
    for (size_t round = 0;
         round < MOST_ROUNDS && any && pool.work < TT_MOST_WORK && status == TIPTRUE_OK; round++) {
        status = round_of_table(&pool, &any);
    }
    if (status == TIPTRUE_OK && pool.best == NULL) {
        status = TIPTRUE_E_DEGENERATE;
    }
    status = status == TIPTRUE_OK ? tt_change_rows(&pool) : status;
    return status == TIPTRUE_OK ? tt_decide(&pool, explanation) : status;
}
