/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the search for an explanation begins: all touches, edges left out or out, each edge filmed
 * or elsewhere, what the table at least squares says, and early touches as the good ones. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"

/* What least squares says of axes, radius, reversal error and the like is worth a start from these
 * ln odds on. The best changes always are: they widen the repeatability themselves, and no climb
 * that calls half of the touches late sees them. */
#define LEAST_SQUARES_ODDS (-2.0)
/* Pairs of edges are left out only below 6 edges (the pairs that are out are tried in all), and of
 * more than 8 only those among the six that lose most touches. */
#define FEW_EDGES 6
#define MANY_EDGES 8
#define WORST_EDGES 6

static struct tt_mode edge_mode(const struct tt_pool *pool, enum tt_mode_kind kind, size_t edge)
{
    return (struct tt_mode){.kind = kind,
                            .index = edge,
                            .log_prior =
                                log(tt_mode_probability(kind) / (double)pool->n_edges_seen)};
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
    struct tt_attempt attempt = {
        .stage = base, .parent = parent, .keep = leave_out(pool, edges, n), .deviations = true};
    enum tiptrue_status status = left_out ? tt_attempt_climb(pool, &attempt) : TIPTRUE_OK;

    for (size_t k = 0; k < n; k++) {
        out[k] = edge_mode(pool, TT_MODE_EDGE_OUT, edges[k]);
    }
    attempt.modes = out;
    attempt.n_modes = n;
    return status == TIPTRUE_OK ? tt_attempt_climb(pool, &attempt) : status;
}

/* Where touches of a tip on an edge came too early for @from, whose state its stage has: they may
 * be the good ones, and its others there late. A climb for each such edge, from these. */
enum tiptrue_status tt_start_from_early(struct tt_pool *pool, const struct tt_candidate *from)
{
    const struct tt_model *model = &from->stage->model;
    const struct tiptrue_run *run = pool->search->run;
    size_t edges = model->plate->n_edges;
    bool *early = TT_ARENA_NEW(pool->search->arena, run->n_observations, bool);
    bool *some = TT_ARENA_NEW(pool->search->arena, edges * (model->n_blocks + 1), bool);
    enum tiptrue_status status = early == NULL || some == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;

    for (size_t i = 0; i < model->n_touches && status == TIPTRUE_OK; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        if (!tt_is_good(from->good[model->row[i]]) && model->residual[i] > 0 &&
            !from->terms.edge_out[cell->edge]) {
            early[model->row[i]] = some[cell->edge] = some[edges * (cell->block + 1) + cell->edge] =
                true;
        }
    }
    for (size_t j = 0; j < edges && status == TIPTRUE_OK; j++) {
        struct tt_attempt attempt = {.stage = from->stage, .parent = from, .keep = pool->left};
        memcpy(pool->left, from->good, run->n_observations * sizeof *pool->left);
        for (size_t i = 0; i < model->n_touches; i++) {
            const struct tt_cell *cell = &model->cells[model->cell_of[i]];
            if (cell->edge == j && some[edges * (cell->block + 1) + j]) {
                pool->left[model->row[i]] = early[model->row[i]] ? 1 : 0;
            }
        }
        status = some[j] ? tt_attempt_climb(pool, &attempt) : TIPTRUE_OK;
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
        for (size_t b = a + 1; b < paired && status == TIPTRUE_OK && pool->work < TT_MOST_WORK;
             b++) {
            status = start_without(pool, base, parent, (size_t[2]){edges[a], edges[b]}, 2,
                                   n < FEW_EDGES);
        }
    }
    return status;
}

/* Radii come from one list or one gauge: where several are stated they may all be wrong, and no
 * single one that is freed makes the others' touches agree. */
static enum tiptrue_status start_radii(struct tt_pool *pool, struct tt_stage *base,
                                       const struct tt_candidate *parent)
{
    struct tt_mode radii = {.kind = TT_MODE_RADII,
                            .log_prior = log(tt_mode_probability(TT_MODE_RADII))};
    size_t n = 0;

    for (size_t i = 0; i < base->model.n_priors; i++) {
        const struct tt_prior *prior = &base->model.priors[i];
        n += prior->kind == TT_PRIOR_RADIUS && !(prior->extra > 0);
    }
    return n > 1 ? tt_start_with(pool, base, parent, &radii) : TIPTRUE_OK;
}

/* The plate moved far where it seems to have moved by @little, and turned, as one does that is
 * knocked: on top of @parent, and without what the sightings by themselves say is off. */
static enum tiptrue_status start_far(struct tt_pool *pool, struct tt_stage *base,
                                     const struct tt_candidate *parent,
                                     const struct tt_mode *little)
{
    struct tt_mode far = *little;
    struct tt_candidate bare = {0};
    enum tiptrue_status status = tt_terms_new(pool->search, NULL, &bare.terms);

    far.kind = TT_MODE_MOVED_FAR;
    far.log_prior +=
        log(tt_mode_probability(TT_MODE_MOVED_FAR) / tt_mode_probability(TT_MODE_MOVED));
    for (size_t k = 0; k < parent->n_modes && status == TIPTRUE_OK; k++) {
        if (parent->modes[k].kind == TT_MODE_TURNED) {
            tt_mode_add(&bare.terms, NULL, &parent->modes[k]);
            bare.modes[bare.n_modes++] = parent->modes[k];
        }
    }
    if (status == TIPTRUE_OK && bare.n_modes < parent->n_modes) {
        status = tt_start_with(pool, base, &bare, &far);
    }
    return status == TIPTRUE_OK ? tt_start_with(pool, base, parent, &far) : status;
}

/* A climb with the best mode of each kind, where there is one. */
static enum tiptrue_status start_best(struct tt_pool *pool, struct tt_stage *base,
                                      const struct tt_candidate *parent,
                                      const struct tt_mode *const best[TT_MODE_KINDS])
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t kind = 0; kind < TT_MODE_KINDS && status == TIPTRUE_OK; kind++) {
        if (best[kind] != NULL && !tt_candidate_has(parent, best[kind])) {
            status = tt_start_with(pool, base, parent, best[kind]);
        }
    }
    return status == TIPTRUE_OK && best[TT_MODE_MOVED] != NULL
               ? start_far(pool, base, parent, best[TT_MODE_MOVED])
               : status;
}

/* The table at least squares of all touches: of the run's model, where the plate stands as stated;
 * where @parent has it turned, of that. Empty where it is not determined. */
static enum tiptrue_status table_at_least_squares(struct tt_pool *pool, const struct tt_stage *base,
                                                  const struct tt_candidate *parent,
                                                  struct tt_modes *table)
{
    const struct tt_search *search = pool->search;
    struct tt_fit *fit = search->least_squares;
    enum tiptrue_status status = TIPTRUE_OK;

    if (base != pool->plain) {
        struct tt_terms *terms = TT_ARENA_NEW(search->arena, 1, struct tt_terms);
        struct tt_model *model = TT_ARENA_NEW(search->arena, 1, struct tt_model);
        fit = TT_ARENA_NEW(search->arena, 1, struct tt_fit);
        if (terms == NULL || model == NULL || fit == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        if ((status = tt_terms_new(search, &parent->terms, terms)) != TIPTRUE_OK ||
            (status = tt_search_model(search, terms, false, model)) != TIPTRUE_OK ||
            (status = tt_fit_init(fit, search->arena, model, search->noise)) != TIPTRUE_OK) {
            return status;
        }
        tt_fit_run(fit, NULL);
    }
    fit = tt_fit_finished(fit);
    return fit != NULL ? tt_modes_score(fit, search->arena, TT_MODES_FINE, table) : TIPTRUE_OK;
}

/* The best change, axis fault, radius and reversal error of the least-squares table, where it says
 * that they may be; and all radii. */
static enum tiptrue_status start_from_table(struct tt_pool *pool, struct tt_stage *base,
                                            const struct tt_candidate *parent)
{
    const struct tt_mode *best[TT_MODE_KINDS] = {NULL};
    struct tt_modes table = {0};
    enum tiptrue_status status = table_at_least_squares(pool, base, parent, &table);

    for (size_t k = 0; k < table.n; k++) {
        const struct tt_mode *mode = &table.mode[k];
        bool by_edges = mode->kind == TT_MODE_FILM || mode->kind == TT_MODE_EDGE;
        bool change = tt_mode_at_row(mode->kind) && mode->kind != TT_MODE_CAMERA;
        if (!by_edges && (change || mode->log_odds > LEAST_SQUARES_ODDS) &&
            (best[mode->kind] == NULL || mode->log_odds > best[mode->kind]->log_odds)) {
            best[mode->kind] = mode;
        }
    }
    status = status == TIPTRUE_OK ? start_best(pool, base, parent, best) : status;
    return status == TIPTRUE_OK ? start_radii(pool, base, parent) : status;
}

/* All starts on top of @parent, the plain explanation of @base. */
enum tiptrue_status tt_start_all(struct tt_pool *pool, struct tt_stage *base,
                                 const struct tt_candidate *parent)
{
    const struct tiptrue_plate *plate = pool->search->plate;
    size_t *seen = TT_ARENA_NEW(pool->search->arena, plate->n_edges, size_t), n = 0;
    struct tt_attempt plain = {.stage = base, .parent = parent};
    enum tiptrue_status status = seen == NULL ? TIPTRUE_E_MEMORY : tt_attempt_climb(pool, &plain);

    if (status == TIPTRUE_OK && pool->search->noise->touch_known) {
        plain.deviations = plain.own_scatter = true;
        status = tt_attempt_climb(pool, &plain);
    }
    for (size_t j = 0; j < plate->n_edges && status == TIPTRUE_OK; j++) {
        if (base->model.edge_seen[j]) {
            seen[n++] = j;
            status = start_without(pool, base, parent, &j, 1, true);
        }
    }
    for (size_t k = 0; k < n && status == TIPTRUE_OK && pool->work < TT_MOST_WORK; k++) {
        struct tt_mode film = edge_mode(pool, TT_MODE_FILM, seen[k]),
                       elsewhere = edge_mode(pool, TT_MODE_EDGE, seen[k]);
        status = tt_start_with(pool, base, parent, &film);
        status = status == TIPTRUE_OK ? tt_start_with(pool, base, parent, &elsewhere) : status;
    }
    if (status == TIPTRUE_OK && n > 3) {
        status = start_pairs(pool, base, parent, seen, n);
    }
    return status == TIPTRUE_OK ? start_from_table(pool, base, parent) : status;
}
