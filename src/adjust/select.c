/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/select.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#include "base/distribution.h"

/* A setup whose yaw was not sighted, and whose fitted yaw is further than this many of its u from
 * the nominal one, may stand turned. */
#define YAW_CONTRADICTED 5.0
/* Sightings of different marks that fit one another worse than those of one mark repeat, with a
 * probability below this, are looked into. */
#define SIGHTINGS_IMPROBABLE 1e-3
/* Probability beforehand that a repeatability is stated wrong: as a stated radius. */
#define WRONG_STATEMENT 0.02

/* Least squares is looked into when its largest residual, its width against its shortest half, its
 * repeatability (not stated) or its chi squared (stated) exceed these: one clean run in twenty of a
 * hundred touches is. */
#define CLEAN_LARGEST 3.4
#define CLEAN_WIDER 1.6
#define CLEAN_SCATTER_MM 7e-3
#define CLEAN_IMPROBABLE 1e-4
/* So many times what is looked into holds of a rough fit, too. */
#define FAR_FROM_CLEAN 1.5

/* Fit the model with @terms and the touches for which @good (per row of the run; NULL: all) is 1,
 * roughly. */
static enum tiptrue_status fit_terms(struct tt_search *search, const struct tt_terms *terms,
                                     bool weak, const double good[], struct tt_selection *out)
{
    enum tiptrue_status status;
    double *by_touch = NULL;

    out->weak = weak;
    out->model = TT_ARENA_NEW(search->arena, 1, struct tt_model);
    out->fit = TT_ARENA_NEW(search->arena, 1, struct tt_fit);
    if (out->model == NULL || out->fit == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if ((status = tt_terms_new(search, terms, &out->terms)) != TIPTRUE_OK ||
        (status = tt_search_model(search, &out->terms, weak, out->model)) != TIPTRUE_OK ||
        (status = tt_fit_init(out->fit, search->arena, out->model, search->noise)) != TIPTRUE_OK) {
        return status;
    }
    search->first = search->first == NULL ? out->model : search->first;
    if (good != NULL) {
        by_touch = TT_ARENA_NEW(search->arena, out->model->n_touches, double);
        if (by_touch == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        for (size_t i = 0; i < out->model->n_touches; i++) {
            by_touch[i] = good[out->model->row[i]];
        }
    }
    tt_fit_run_roughly(out->fit, by_touch);
    return TIPTRUE_OK;
}

/* The rest of that, with weak priors where something is not determined without. */
static enum tiptrue_status finish(struct tt_search *search, const struct tt_terms *terms,
                                  const double good[], struct tt_selection *out)
{
    enum tiptrue_status status = TIPTRUE_OK;

    if (tt_fit_finished(out->fit) == NULL) {
        status = fit_terms(search, terms, true, good, out);
        (void)tt_fit_finished(status == TIPTRUE_OK ? out->fit : NULL);
    }
    return status;
}

static enum tiptrue_status fit_either(struct tt_search *search, const struct tt_terms *terms,
                                      const double good[], struct tt_selection *out)
{
    enum tiptrue_status status = fit_terms(search, terms, false, good, out);

    return status == TIPTRUE_OK ? finish(search, terms, good, out) : status;
}

/* Setups whose yaw no sightings tell: does the fit contradict the nominal one, or is there none? */
static bool may_be_turned(const struct tt_model *model)
{
    const struct tiptrue_machine *machine = model->machine;
    bool may = false;

    for (size_t s = 0; s < model->n_setups; s++) {
        double off = tt_angle_wrap(model->x[tt_at_pose(s) + 2] - machine->yaw_rad);
        may = may || (!model->yaw_sighted[s] &&
                      (!machine->has_yaw || fabs(off) > YAW_CONTRADICTED * machine->u_yaw_rad));
    }
    return may;
}

/* Do sightings fit one another as well as those of one mark repeat, or as it is stated? If not, one
 * of them is off, a mark does not lie as stated, or the axes are wrong. */
static bool sightings_repeat(const struct tt_search *search, const struct tt_fit *fit)
{
    double dof, repeated = tt_sighting_variance(search, &dof);

    if (fit->model->picture.n > 0 && fit->dof_view >= 1) {
        double view_dof, view = tt_fit_first_view_var(fit, &view_dof);
        if (tt_fisher_upper(fit->scatter_view_mm2 / view, fit->dof_view, view_dof) <
            SIGHTINGS_IMPROBABLE) {
            return false;
        }
    }
    return !(fit->dof_sight >= 1) || !(tt_fisher_upper(fit->scatter_sight_mm2 / repeated,
                                                       fit->dof_sight, dof) < SIGHTINGS_IMPROBABLE);
}

/* Standard deviation from the shortest interval that holds half of the residuals (normal:
 * half-width / 0.6745): P. J. Rousseeuw, A. M. Leroy, Robust Regression and Outlier Detection,
 * 1987, ch. 4. */
static double shortest_half(const struct tt_fit *fit)
{
    size_t n = fit->model->n_touches, half = n / 2 + 1;
    double *sorted = fit->sorted_mm, best = INFINITY;

    memcpy(sorted, fit->model->residual, n * sizeof *sorted);
    gsl_sort(sorted, 1, n);
    for (size_t i = 0; i + half <= n; i++) {
        best = fmin(best, sorted[i + half - 1] - sorted[i]);
    }
    return best / (2 * 0.6745);
}

/* Does the least-squares fit look like nothing but normal scatter, of a usual size or of the stated
 * one? @margin: by how much a rough fit has to exceed every bound, 1 for a finished one. */
static bool looks_clean(struct tt_fit *fit, double margin)
{
    const struct tt_model *model = fit->model;
    double largest = 0, half = shortest_half(fit), scatter = sqrt(fit->scatter_touch_mm2);

    for (size_t i = 0; i < model->n_touches; i++) {
        double free_share = fmax(1 - fit->leverage[i], 0.05);
        double variance = (fit->touch_var_mm2 + fit->rotation_var_mm2[i]) * free_share;
        largest = fmax(largest, model->residual[i] * model->residual[i] / variance);
    }
    if (!(sqrt(largest) < margin * CLEAN_LARGEST) ||
        !(scatter < margin * CLEAN_WIDER * half + 1e-6)) {
        return false;
    }
    if (fit->noise->touch_dof == 0) {
        return scatter < margin * CLEAN_SCATTER_MM;
    }
    double dof = fmax(fit->dof_touch, 1),
           stated = margin * margin * (fit->noise->touch_var_mm2 + fit->noise->touch_digit_var_mm2);
    return tt_chi2_upper(dof * fit->scatter_touch_mm2 / stated, dof) > CLEAN_IMPROBABLE;
}

/* Does least squares of everything stand: normal scatter, and no mode of the table more probable
 * than not? */
static enum tiptrue_status judge(const struct tt_search *search, struct tt_selection *plain,
                                 bool *stands)
{
    struct tt_modes table = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    *stands = !plain->fit->deficient && looks_clean(plain->fit, 1) &&
              !may_be_turned(plain->model) && sightings_repeat(search, plain->fit);
    if (*stands) {
        status = tt_modes_score(plain->fit, search->arena, TT_MODES_COARSE, &table);
    }
    for (size_t k = 0; k < table.n; k++) {
        *stands = *stands && !(table.mode[k].log_odds > 0);
    }
    return status;
}

/* The best explanation, with the repeatability of touches as stated; where least squares
 * contradicts that, or (@own) with the run's own, whichever explains the run better. */
static enum tiptrue_status explain(struct tt_search *search, bool contradicted, bool *own,
                                   struct tt_explanation **best)
{
    struct tt_explanation *e = TT_ARENA_NEW(search->arena, 2, struct tt_explanation);
    struct tt_noise *free_noise = TT_ARENA_NEW(search->arena, 1, struct tt_noise);
    enum tiptrue_status status =
        e == NULL || free_noise == NULL ? TIPTRUE_E_MEMORY : tt_explain(search, &e[0]);

    *best = &e[0];
    *own = false;
    if (status != TIPTRUE_OK || !contradicted) {
        return status;
    }
    const struct tt_noise *stated = search->noise;
    *free_noise = *stated;
    free_noise->touch_known = false;
    free_noise->touch_dof = 0;
    search->noise = free_noise;
    status = tt_explain(search, &e[1]);
    bool better =
        status == TIPTRUE_OK && e[1].log_evidence + log(WRONG_STATEMENT) > e[0].log_evidence;
    if (better) {
        (void)tt_fit_pooled(e[1].touch_var_mm2, e[1].dof_touch,
                            stated->touch_var_mm2 + stated->touch_digit_var_mm2, stated->touch_dof,
                            own);
    }
    *best = &e[better ? 1 : 0];
    search->noise = *own ? free_noise : stated;
    return status;
}

static enum tiptrue_status search_all(struct tt_search *search, struct tt_selection *selection)
{
    struct tt_explanation *e;
    bool own;
    search->least_squares = selection->fit->deficient ? NULL : selection->fit;
    enum tiptrue_status status = explain(search, selection->fit->scattered, &own, &e);

    if (status == TIPTRUE_E_DEGENERATE) {
        /* nothing better than what least squares has, which says so itself */
        return finish(search, NULL, NULL, selection);
    }
    if (status != TIPTRUE_OK ||
        (status = fit_either(search, &e->terms, e->good, selection)) != TIPTRUE_OK) {
        return status;
    }
    selection->explanation = e;
    selection->fit->rivals = e->extra;
    selection->fit->scattered = selection->fit->scattered || own;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_select(struct tt_selection *selection, struct tt_arena *arena,
                              const struct tiptrue_plate *plate,
                              const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                              struct tt_noise *noise, bool robust)
{
    struct tt_search search = {
        .arena = arena, .plate = plate, .machine = machine, .run = run, .noise = noise};
    bool stands;
    enum tiptrue_status status;

    *selection = (struct tt_selection){.robust = robust};
    if (!robust) { /* plain least squares takes what is stated as it is */
        noise->touch_dof = noise->touch_known ? HUGE_VAL : 0;
        noise->sight_dof = noise->sight_known ? HUGE_VAL : 0;
    }
    status = fit_terms(&search, NULL, false, NULL, selection);
    if (status == TIPTRUE_OK && robust && !selection->fit->deficient &&
        !looks_clean(selection->fit, FAR_FROM_CLEAN)) {
        return search_all(&search, selection);
    }
    status = status == TIPTRUE_OK ? finish(&search, NULL, NULL, selection) : status;
    if (status != TIPTRUE_OK || !robust) {
        return status;
    }
    status = judge(&search, selection, &stands);
    return status == TIPTRUE_OK && !stands ? search_all(&search, selection) : status;
}
