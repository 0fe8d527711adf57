/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Candidates for the explanation of a run: models, climbs on them, and what they end with. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/estimable.h"
#include "adjust/explain_parts.h"
#include "adjust/robust.h"

/* A climb is given up whose likelihood, with the good touches found and the repeatability still
 * held, is this far below the best one's: letting the repeatability go brings less. */
#define HOPELESS_LN 100.0
/* Climbs stop within 0.02 of their end's evidence. */
#define SAME_LN 0.05

/* ---- models ---- */

enum tiptrue_status tt_search_model(const struct tt_search *search, const struct tt_terms *terms,
                                    bool weak, struct tt_model *model)
{
    return search->first != NULL
               ? tt_model_build_like(model, search->arena, search->first, terms, weak)
               : tt_model_build(model, search->arena, search->plate, search->machine, search->run,
                                terms, weak);
}

/* A stage with the model of @terms. @base (NULL: none) gives the robust start. */
enum tiptrue_status tt_stage_new(struct tt_pool *pool, const struct tt_terms *terms,
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
    if ((status = tt_search_model(search, &stage->terms, false, &stage->model)) != TIPTRUE_OK ||
        (status = tt_fit_init(&stage->fit, search->arena, &stage->model, search->noise)) !=
            TIPTRUE_OK ||
        (status = tt_estimable_new(search->arena, &stage->model, &pool->scratch,
                                   &stage->fit.at_start)) != TIPTRUE_OK ||
        (status = tt_estimable_new(search->arena, &stage->model, &pool->scratch,
                                   &stage->fit.moved)) != TIPTRUE_OK) {
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

static double *by_touch(struct tt_pool *pool, const struct tt_stage *stage, const double by_row[])
{
    for (size_t i = 0; i < stage->model.n_touches; i++) {
        pool->keep[i] = by_row[stage->model.row[i]];
    }
    return pool->keep;
}

static enum tiptrue_status candidate_new(struct tt_pool *pool, const struct tt_attempt *attempt,
                                         struct tt_candidate **out)
{
    struct tt_arena *arena = pool->search->arena;
    struct tt_candidate *made = TT_ARENA_NEW(arena, 1, struct tt_candidate);
    const struct tt_model *model = &attempt->stage->model;

    if (made == NULL ||
        tt_terms_new(pool->search, &attempt->stage->terms, &made->terms) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    made->stage = attempt->stage;
    made->x = TT_ARENA_NEW(arena, model->n_unknowns, double);
    made->good = TT_ARENA_NEW(arena, pool->search->run->n_observations, double);
    if (made->x == NULL || made->good == NULL) {
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

void tt_candidate_return(const struct tt_candidate *candidate)
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
}

bool tt_candidate_restore(const struct tt_candidate *candidate)
{
    struct tt_model *model = &candidate->stage->model;
    struct tt_fit *fit = &candidate->stage->fit;

    tt_candidate_return(candidate);
    tt_model_accumulate(model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return false;
    }
    tt_fit_update_dof(fit);
    return true;
}

/* Did a climb on the same model end there? */
static bool had_already(const struct tt_pool *pool, const struct tt_candidate *made)
{
    bool had = false;

    for (const struct tt_candidate *c = pool->candidates; c != NULL && !had; c = c->next) {
        had = c->stage == made->stage && fabs(c->log_evidence - made->log_evidence) < SAME_LN &&
              tt_candidates_identical(pool, c, made);
    }
    return had;
}

enum tiptrue_status tt_attempt_climb(struct tt_pool *pool, const struct tt_attempt *attempt)
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
    if (had_already(pool, made)) {
        return TIPTRUE_OK;
    }
    if (pool->best == NULL || made->log_evidence > pool->best->log_evidence) {
        pool->best = made;
    }
    made->next = pool->candidates;
    pool->candidates = made;
    pool->n++;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_candidate_estimate(struct tt_pool *pool, struct tt_candidate *candidate)
{
    struct tt_fit *fit = &candidate->stage->fit;
    const struct tt_model *model = fit->model;
    struct tt_uncertainty all;
    enum tiptrue_status status = TIPTRUE_OK;

    if (candidate->estimates != NULL || !tt_candidate_restore(candidate)) {
        return TIPTRUE_OK;
    }
    candidate->estimates = TT_ARENA_NEW(pool->search->arena, model->n_blocks, struct tt_estimate);
    status = candidate->estimates == NULL ? TIPTRUE_E_MEMORY
                                          : tt_uncertainty_init(&all, pool->search->arena, fit);
    for (size_t b = 0; b < model->n_blocks && status == TIPTRUE_OK; b++) {
        struct tt_tip_uncertainty tip;
        const double *x = model->x + model->system.first[b];
        tt_uncertainty_of_tip(&all, b, &tip);
        candidate->estimates[b] = (struct tt_estimate){
            .offset = {x[TT_TIP_O_X], x[TT_TIP_O_Y]},
            .same_plate = tip.less_plate,
            .same_plate_expanded_mm = tt_expanded(tip.less_plate, tip.less_plate_dof),
            .whole = tip.offset,
            .expanded_mm = tt_expanded(tip.offset, tip.dof),
        };
    }
    return status;
}

/* A climb with @mode on top of @base's model, from all touches. */
enum tiptrue_status tt_start_with(struct tt_pool *pool, struct tt_stage *base,
                                  const struct tt_candidate *parent, const struct tt_mode *mode)
{
    struct tt_terms terms;
    struct tt_attempt attempt = {.parent = parent, .modes = mode, .n_modes = 1, .deviations = true};
    enum tiptrue_status status = tt_terms_new(pool->search, &parent->terms, &terms);

    if (status == TIPTRUE_OK) {
        tt_mode_add(&terms, &base->model, mode);
        status = tt_stage_new(pool, &terms, base, &attempt.stage);
    }
    return status == TIPTRUE_OK ? tt_attempt_climb(pool, &attempt) : status;
}
