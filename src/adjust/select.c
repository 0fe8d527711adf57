/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/select.h"

#include <math.h>
#include <string.h>

#include "base/distribution.h"

/* A score less probable than this (natural logarithm; 2e-4) is worth a fit; a likelihood ratio less probable than the second (5e-4
 * for each kind) keeps the term. Looser, and one clean run in a hundred would raise a finding; tighter, and a plate that moved by
 * 15 µm half-way through 24 touches is missed. */
#define WORTH_A_FIT (-8.5)
#define SUPPORTED (-7.6)
#define MOST_TERMS 8
/* A drift must explain the run better by this much (natural logarithm) than a move at one row: with few sightings both explain
 * their change, and a move is the usual cause. */
#define DRIFT_HANDICAP 1.8
/* A stated repeatability is contradicted by a scatter this improbable (1e-4) and at least this much larger. */
#define SCATTER_IMPROBABLE 1e-4
#define SCATTER_RATIO 1.25
/* The sightings' own scatter must explain the run better than the stated one by this much (natural logarithm). */
#define SIGHTINGS_GAIN 0.0
/* An edge is off when its shift is this improbable (5e-4 for the worst of all edges), and singled out when the next one explains
 * the contradiction worse by this much (twice the logarithm of the likelihood ratio). */
#define EDGE_IMPROBABLE 5e-4
#define EDGE_SINGLED_OUT 9.0
#define MOST_EDGES_OFF 4
/* No contact scatters by 0.1 mm: what does is a wrong pose. */
#define AWFUL_SCATTER_MM 0.1
/* As in model.c, for setups whose yaw was not sighted. */
#define YAW_CONTRADICTED 5.0
/* A turned start must explain the run better by this much (natural logarithm). */
#define YAW_GAIN 10.0
#define MOST_TURNED 3 /* setups, 64 fits */

struct search {
    struct tt_arena *arena;
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_run *run;
    struct tt_noise *noise;
    bool robust;
};

static enum tiptrue_status terms_copy(struct tt_terms *copy, const struct tt_terms *terms, const struct search *search)
{
    struct tt_arena *arena = search->arena;
    size_t n_tips = search->run->n_tips, n_edges = search->plate->n_edges, n_setups = search->run->n_setups;

    *copy = *terms;
    copy->orders = TT_ARENA_NEW(arena, n_tips, unsigned);
    copy->edge_free = TT_ARENA_NEW(arena, n_edges, bool);
    copy->yaw_free = TT_ARENA_NEW(arena, n_setups, bool);
    copy->turned_rad = TT_ARENA_NEW(arena, n_setups, double);
    if (copy->orders == NULL || copy->edge_free == NULL || copy->yaw_free == NULL || copy->turned_rad == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if (terms->yaw_free != NULL) {
        memcpy(copy->yaw_free, terms->yaw_free, n_setups * sizeof *copy->yaw_free);
    }
    if (terms->turned_rad != NULL) {
        memcpy(copy->turned_rad, terms->turned_rad, n_setups * sizeof *copy->turned_rad);
    }
    if (terms->orders != NULL) {
        memcpy(copy->orders, terms->orders, n_tips * sizeof *copy->orders);
    }
    if (terms->edge_free != NULL) {
        memcpy(copy->edge_free, terms->edge_free, n_edges * sizeof *copy->edge_free);
    }
    return TIPTRUE_OK;
}

/* Fit the model with @terms. */
static enum tiptrue_status fit_terms(const struct search *search, const struct tt_terms *terms, bool weak, struct tt_selection *out)
{
    enum tiptrue_status status;

    *out = (struct tt_selection){.doubt = {.edge = TT_NONE}, .instead = {.edge = TT_NONE}, .weak = weak};
    out->model = TT_ARENA_NEW(search->arena, 1, struct tt_model);
    out->fit = TT_ARENA_NEW(search->arena, 1, struct tt_fit);
    if (out->model == NULL || out->fit == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if ((status = terms_copy(&out->terms, terms, search)) != TIPTRUE_OK ||
        (status = tt_model_build(out->model, search->arena, search->plate, search->machine, search->run, &out->terms, weak)) !=
            TIPTRUE_OK ||
        (status = tt_fit_init(out->fit, search->arena, out->model, search->noise, search->robust)) != TIPTRUE_OK) {
        return status;
    }
    tt_fit_run(out->fit);
    return TIPTRUE_OK;
}

static void add_term(struct tt_terms *terms, const struct tt_extra *extra)
{
    switch (extra->kind) {
    case TT_EXTRA_REVERSED:
        terms->reversed = true;
        break;
    case TT_EXTRA_MOVED:
        terms->moved_at = extra->row;
        break;
    case TT_EXTRA_DRIFT:
        terms->drift = true;
        break;
    case TT_EXTRA_LOST_MOTION:
        terms->lost_motion = true;
        break;
    case TT_EXTRA_LATENCY:
        terms->latency = true;
        break;
    case TT_EXTRA_SHAPE:
        terms->orders[extra->block] |= 1U << extra->order;
        break;
    case TT_EXTRA_EDGE:
        terms->edge_free[extra->edge] = true;
        break;
    case TT_EXTRA_KINDS:
        break;
    }
}

/* Logarithm of the probability of a gain in likelihood at least that large by chance: chi squared (S. S. Wilks, Ann. Math. Stat. 9
 * (1938) 60-62), or Student's/Fisher's where the scatter is estimated from few touches. A term without unknowns of its own (the
 * sense of rotation) compares two models that are equally rich: there the ratio itself is the evidence. */
static double log_p_of_gain(double gain, const struct tt_extra *extra, const struct tt_fit *fit)
{
    double dof = fit->noise->touch_known ? 1e6 : fmax(fit->dof_touch, 1);

    if (!(gain > 0)) {
        return 0;
    }
    if (extra->n_unknowns == 0) {
        return -gain;
    }
    /* 2 gain = n log(s0^2 / s1^2): the F that goes with it. */
    double n = fmax((double)fit->model->n_touches, dof), f = (expm1(fmin(2 * gain / n, 600))) * dof / extra->n_unknowns;
    return tt_log_p_of_f(f, extra->n_unknowns, dof);
}

/* An edge that the touches would rather have elsewhere. */
static struct tt_edge_doubt doubt_of(const struct tt_extra *edge)
{
    if (edge->edge == TT_NONE || edge->log_p > log(EDGE_IMPROBABLE)) {
        return (struct tt_edge_doubt){.edge = TT_NONE};
    }
    return (struct tt_edge_doubt){.edge = edge->edge,
                                  .off_mm = edge->value_mm,
                                  .gain = edge->gain,
                                  .log_p = edge->log_p,
                                  .attributed = edge->gain - edge->second > EDGE_SINGLED_OUT};
}

/* Fit the candidates that are worth it and move to the best supported one; *added says whether there was any. */
static enum tiptrue_status grow(const struct search *search, struct tt_selection *now, bool *added)
{
    struct tt_extra extras[TT_EXTRA_KINDS];
    struct tt_selection best = {0};
    double best_log_p = 0;
    enum tiptrue_status status;

    status = tt_extra_judge(now->fit, search->arena, extras);
    if (status != TIPTRUE_OK) {
        return status;
    }
    struct tt_edge_doubt doubt = now->doubt = doubt_of(&extras[TT_EXTRA_EDGE]);

    *added = false;
    for (size_t k = 0; k < TT_EXTRA_KINDS && status == TIPTRUE_OK; k++) {
        struct tt_terms terms;
        struct tt_selection next;
        if (k == TT_EXTRA_EDGE || extras[k].log_p > WORTH_A_FIT) { /* edges are settled when nothing else can be added */
            continue;
        }
        if ((status = terms_copy(&terms, &now->terms, search)) != TIPTRUE_OK) {
            break;
        }
        add_term(&terms, &extras[k]);
        if ((status = fit_terms(search, &terms, false, &next)) != TIPTRUE_OK || next.fit->deficient) {
            continue;
        }
        double gain = next.fit->full_likelihood - now->fit->full_likelihood;
        double log_p = log_p_of_gain(gain, &extras[k], next.fit);
        next.instead = now->instead;
        bool in_time = extras[k].kind == TT_EXTRA_MOVED || extras[k].kind == TT_EXTRA_DRIFT;
        if (in_time && doubt.edge != TT_NONE && doubt.gain > extras[k].gain - EDGE_SINGLED_OUT) {
            continue; /* touched edge after edge, one edge that is off looks like a move between two edges */
        }
        if (extras[k].kind == TT_EXTRA_LOST_MOTION && doubt.edge != TT_NONE) {
            if (doubt.gain > extras[k].gain + EDGE_SINGLED_OUT) {
                continue; /* one edge explains it better */
            }
            if (doubt.gain > extras[k].gain - EDGE_SINGLED_OUT) {
                next.instead = doubt;
            }
        }
        if (extras[k].kind == TT_EXTRA_DRIFT) {
            log_p += DRIFT_HANDICAP;
        }
        if (log_p < SUPPORTED && log_p < best_log_p) {
            best_log_p = log_p;
            best = next;
            *added = true;
        }
    }
    if (status == TIPTRUE_OK && *added) {
        *now = best;
    } else if (status == TIPTRUE_OK) { /* judging changed the system and the residuals: bring them back */
        tt_model_linearise(now->model);
        tt_model_accumulate(now->model, now->fit->weight, 1 / now->fit->sight_var_mm2, true);
        if (tt_system_factor(&now->model->system)) {
            tt_system_invert(&now->model->system);
        }
    }
    return status;
}

static enum tiptrue_status grow_all(const struct search *search, struct tt_selection *now)
{
    bool added = true;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t k = 0; k < MOST_TERMS && added && status == TIPTRUE_OK; k++) {
        status = grow(search, now, &added);
    }
    return status;
}

/* Does the run's own scatter contradict the stated repeatability? */
static bool contradicts(const struct tt_fit *fit)
{
    double ratio = fit->scatter_touch_mm2 / fit->touch_var_mm2;
    return fit->noise->touch_known && fit->dof_touch >= 1 && ratio > SCATTER_RATIO * SCATTER_RATIO &&
           tt_chi2_upper(ratio * fit->dof_touch, fit->dof_touch) < SCATTER_IMPROBABLE;
}

static double used_share(const struct tt_fit *fit)
{
    double good = 0;
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        good += fit->good[i];
    }
    return good / (double)fit->model->n_touches;
}

/* Is the scatter that @fit found for itself clearly larger than the stated one? */
static bool exceeds(const struct tt_fit *fit, const struct tt_noise *stated)
{
    double ratio = fit->touch_var_mm2 / (stated->touch_var_mm2 + stated->touch_digit_var_mm2);
    return ratio > SCATTER_RATIO * SCATTER_RATIO && fit->dof_touch >= 1 &&
           tt_chi2_upper(ratio * fit->dof_touch, fit->dof_touch) < SCATTER_IMPROBABLE;
}

/* A stated repeatability that is much too small makes the robust step set good touches aside: try with the run's own. */
static enum tiptrue_status try_own_scatter(struct search *search, struct tt_selection *now)
{
    struct tt_noise own = *search->noise, *stated = search->noise;
    struct tt_selection next;
    enum tiptrue_status status;

    if (!stated->touch_known || (used_share(now->fit) > 0.85 && !contradicts(now->fit))) {
        return TIPTRUE_OK;
    }
    own.touch_known = false;
    search->noise = TT_ARENA_NEW(search->arena, 1, struct tt_noise);
    if (search->noise == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    *search->noise = own;
    status = fit_terms(search, &now->terms, now->weak, &next);
    if (status == TIPTRUE_OK && !next.fit->deficient && exceeds(next.fit, stated) &&
        (next.fit->full_likelihood > now->fit->full_likelihood || contradicts(now->fit))) {
        *now = next;
        now->fit->scattered = true;
    } else {
        search->noise = stated;
    }
    return status;
}

/* Terms may have explained what looked like scatter: then the @stated one holds again. */
static enum tiptrue_status settle_scatter(struct search *search, struct tt_noise *stated, struct tt_selection *now)
{
    struct tt_selection next;
    enum tiptrue_status status;

    if (search->noise == stated || exceeds(now->fit, stated)) {
        now->fit->scattered = search->noise != stated;
        return TIPTRUE_OK;
    }
    search->noise = stated;
    status = fit_terms(search, &now->terms, now->weak, &next);
    if (status == TIPTRUE_OK && !next.fit->deficient) {
        next.doubt = now->doubt;
        next.instead = now->instead;
        *now = next;
    }
    return status;
}

/* Add terms; then leave an edge out that the others single out as off, and add terms again. The first such edge, or one that cannot
 * be told from others, is reported. */
static enum tiptrue_status settle(const struct search *search, struct tt_selection *now)
{
    struct tt_edge_doubt first = {.edge = TT_NONE};
    enum tiptrue_status status;

    for (size_t k = 0; k < MOST_EDGES_OFF; k++) {
        struct tt_terms terms;
        struct tt_selection next;
        if ((status = grow_all(search, now)) != TIPTRUE_OK) {
            return status;
        }
        if (now->doubt.edge == TT_NONE) {
            break;
        }
        first = first.edge == TT_NONE || !now->doubt.attributed ? now->doubt : first;
        if (!now->doubt.attributed) {
            break;
        }
        if ((status = terms_copy(&terms, &now->terms, search)) != TIPTRUE_OK) {
            return status;
        }
        terms.edge_free[now->doubt.edge] = true;
        if ((status = fit_terms(search, &terms, false, &next)) != TIPTRUE_OK) {
            return status;
        }
        if (next.fit->deficient) {
            first.attributed = false;
            break;
        }
        next.instead = now->instead;
        *now = next;
    }
    now->doubt = first;
    return TIPTRUE_OK;
}

/* Does @fit leave residuals that no contact has? Then the plate may stand turned by a quarter or half. */
static bool is_awful(const struct tt_fit *fit)
{
    return sqrt(fit->scatter_touch_mm2) > AWFUL_SCATTER_MM;
}

static bool yaw_contradicted(const struct tt_model *model, size_t setup)
{
    double off = tt_angle_wrap(model->x[tt_at_pose(setup) + 2] - model->machine->yaw_rad);
    return model->yaw_prior_used[setup] && fabs(off) > YAW_CONTRADICTED * model->machine->u_yaw_rad;
}

/* Setups whose yaw was not sighted may stand turned against the nominal one (a second placement of the plate often is): where the
 * touches contradict that, start from every combination of quarter turns, a turned setup without the nominal yaw, and keep what
 * fits best. */
static enum tiptrue_status settle_yaw(const struct search *search, struct tt_selection *now)
{
    const struct tt_model *model = now->model;
    size_t open[MOST_TURNED], n = 0, combinations = 1;
    bool contradicted = is_awful(now->fit);

    for (size_t s = 0; s < model->n_setups; s++) {
        if (!model->yaw_sighted[s] && n < MOST_TURNED) {
            contradicted = contradicted || yaw_contradicted(model, s);
            open[n++] = s;
            combinations *= 4;
        }
    }
    for (size_t turns = 1; turns < combinations && contradicted; turns++) {
        struct tt_terms terms;
        struct tt_selection next;
        enum tiptrue_status status = terms_copy(&terms, &now->terms, search);
        for (size_t k = 0; k < n && status == TIPTRUE_OK; k++) {
            size_t quarter = turns >> 2 * k & 3;
            terms.yaw_free[open[k]] = quarter > 0;
            terms.turned_rad[open[k]] = (double)quarter * TT_PI / 2;
        }
        if (status == TIPTRUE_OK) {
            status = fit_terms(search, &terms, now->weak, &next);
        }
        if (status != TIPTRUE_OK) {
            return status;
        }
        if (!next.fit->deficient && next.fit->full_likelihood > now->fit->full_likelihood + YAW_GAIN) {
            *now = next;
        }
    }
    return TIPTRUE_OK;
}

/* The whole way with one opinion on what the scatter is. */
static enum tiptrue_status select_with(struct search *search, struct tt_noise *noise, struct tt_selection *selection)
{
    struct tt_terms plain = {.moved_at = TT_NONE};
    enum tiptrue_status status;

    search->noise = noise;
    status = fit_terms(search, &plain, false, selection);
    if (status == TIPTRUE_OK && selection->fit->deficient) {
        status = fit_terms(search, &plain, true, selection);
    }
    if (status == TIPTRUE_OK && !selection->fit->deficient) {
        status = settle_yaw(search, selection);
    }
    if (status != TIPTRUE_OK || !search->robust) {
        return status;
    }
    if ((status = try_own_scatter(search, selection)) != TIPTRUE_OK || selection->weak) {
        return status;
    }
    if ((status = settle(search, selection)) != TIPTRUE_OK) {
        return status;
    }
    return settle_scatter(search, noise, selection);
}

/* Do the sightings scatter by clearly more than is stated of them? */
static bool sightings_contradict(const struct tt_selection *now)
{
    const struct tt_fit *fit = now->fit;
    double sum = 0;

    for (size_t i = 0; i < now->model->n_sights; i++) {
        const double *r = now->model->sights[i].residual;
        sum += (r[0] * r[0] + r[1] * r[1]) / fit->sight_var_mm2;
    }
    return fit->dof_sight >= 1 && sum > SCATTER_RATIO * SCATTER_RATIO * fit->dof_sight &&
           tt_chi2_upper(sum, fit->dof_sight) < SCATTER_IMPROBABLE;
}

static bool stood_still(const struct tt_selection *now)
{
    return now->terms.moved_at == TT_NONE && !now->terms.drift;
}

/* A stated uncertainty of the sightings that is much too small looks like a plate that moved: where their own scatter, clearly
 * larger, explains the run as well, it is believed. */
static enum tiptrue_status try_own_sightings(const struct search *search, const struct tt_noise *stated, struct tt_selection *now)
{
    bool contradicted = sightings_contradict(now);
    struct search own = *search;
    struct tt_noise *noise = TT_ARENA_NEW(search->arena, 1, struct tt_noise);
    struct tt_selection next;
    enum tiptrue_status status;

    if (noise == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    *noise = *stated;
    noise->sight_known = false;
    status = select_with(&own, noise, &next);
    double least = SCATTER_RATIO * SCATTER_RATIO * (stated->sight_var_mm2 + stated->sight_digit_var_mm2);
    if (status == TIPTRUE_OK && !next.fit->deficient && !next.weak && (contradicted || stood_still(&next)) &&
        next.fit->sight_var_mm2 > least && next.fit->full_likelihood > now->fit->full_likelihood + SIGHTINGS_GAIN) {
        *now = next;
        now->fit->sight_scattered = true;
    }
    return status;
}

enum tiptrue_status tt_select(struct tt_selection *selection, struct tt_arena *arena, const struct tiptrue_plate *plate,
                              const struct tiptrue_machine *machine, const struct tiptrue_run *run, struct tt_noise *noise,
                              bool robust)
{
    struct search search = {.arena = arena, .plate = plate, .machine = machine, .run = run, .noise = noise, .robust = robust};
    enum tiptrue_status status = select_with(&search, noise, selection);

    if (status == TIPTRUE_OK && robust && !selection->weak && !selection->fit->deficient && noise->sight_known &&
        (sightings_contradict(selection) || !stood_still(selection))) {
        status = try_own_sightings(&search, noise, selection);
    }
    return status;
}
