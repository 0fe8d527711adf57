/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/problem.h"

#include <math.h>
#include <string.h>

/* A second event at one place pays no looks, and this part of alpha. */
#define SAME_PLACE 0.5
/* A tip is said to be changed, where its offset alone moved, in this part of alpha; and the plate,
 * where the camera alone or the pose alone did. */
#define NESTED 0.2
/* Drifts and seasons: as many looks; all terms of a short history pay the looks of a step. */
#define SMOOTH_LOOKS 4.0
#define SMOOTH_RUNS 30
/* A season may have any period (values.c): as many more looks. */
#define PERIOD_LOOKS 8.0

static void add_entry(struct tt_pattern *a, size_t column, double factor)
{
    a->column[a->n] = column;
    a->factor[a->n++] = factor;
}

/* The atoms: each column of places, runouts and radii by itself; x and y of all offsets, with and
 * without the mark; mark and yaw; all radii; each edge; lost motion; all heights. */
static size_t single_atoms(const struct tt_values *v)
{
    return (3 + v->axes) * v->tips;
}

static size_t at_all(const struct tt_values *v, size_t axis)
{
    return single_atoms(v) + axis;
}

static size_t at_camera(const struct tt_values *v, size_t axis)
{
    return single_atoms(v) + 2 + axis;
}

static size_t at_pose(const struct tt_values *v, size_t which)
{
    return single_atoms(v) + 4 + which;
}

static size_t at_radii(const struct tt_values *v)
{
    return single_atoms(v) + 7;
}

static size_t at_edge(const struct tt_values *v, size_t edge)
{
    return single_atoms(v) + 8 + edge;
}

static size_t at_heights(const struct tt_values *v)
{
    return at_edge(v, v->edges + (v->lost_motion != NULL));
}

static bool make_atoms(struct tt_problem *p)
{
    const struct tt_values *v = p->values;

    p->n_atoms = at_heights(v) + (v->axes > 2);
    p->atom = TT_ARENA_NEW(p->arena, p->n_atoms, struct tt_pattern);
    for (size_t i = 0; p->atom != NULL && i < p->n_atoms; i++) {
        p->atom[i].column = TT_ARENA_NEW(p->arena, v->p, size_t);
        p->atom[i].factor = TT_ARENA_NEW(p->arena, v->p, double);
        if (p->atom[i].column == NULL || p->atom[i].factor == NULL) {
            return false;
        }
    }
    if (p->atom == NULL) {
        return false;
    }
    for (size_t i = 0; i < single_atoms(v); i++) {
        add_entry(&p->atom[i], i, 1);
    }
    for (size_t tip = 0; tip < v->tips; tip++) {
        for (size_t axis = 0; axis < 2; axis++) {
            add_entry(&p->atom[at_all(v, axis)], tt_at_offset(v, tip, axis), 1);
            add_entry(&p->atom[at_camera(v, axis)], tt_at_offset(v, tip, axis), 1);
        }
        add_entry(&p->atom[at_radii(v)], tt_at_radius(v, tip), 1);
        if (v->axes > 2) {
            add_entry(&p->atom[at_heights(v)], tt_at_offset(v, tip, 2), 1);
        }
    }
    for (size_t axis = 0; axis < 2; axis++) {
        add_entry(&p->atom[at_camera(v, axis)], tt_at_mark(v, axis), 1);
    }
    for (size_t i = 0; i < 3; i++) {
        add_entry(&p->atom[at_pose(v, i)], tt_at_mark(v, 0) + i, 1);
    }
    for (size_t edge = 0; edge < v->edges + (v->lost_motion != NULL); edge++) {
        for (size_t column = 0; column < v->p; column++) {
            double factor = v->response[edge * v->p + column];
            if (factor != 0) {
                add_entry(&p->atom[at_edge(v, edge)], column, factor);
            }
        }
    }
    return true;
}

static void add_hypothesis(struct tt_problem *p, enum tt_hypothesis what, size_t who, size_t q,
                           const size_t atom[])
{
    struct tt_hypothesis_of *h = &p->hypothesis[p->n_hypotheses++];

    *h = (struct tt_hypothesis_of){.what = what, .who = who, .q = q};
    memcpy(h->atom, atom, q * sizeof *atom);
}

static bool make_hypotheses(struct tt_problem *p)
{
    const struct tt_values *v = p->values;
    size_t t = v->tips;

    p->hypothesis = TT_ARENA_NEW(p->arena, 7 + 4 * t + v->edges, struct tt_hypothesis_of);
    if (p->hypothesis == NULL) {
        return false;
    }
    add_hypothesis(p, TT_CAMERA, TT_NONE, 2, (size_t[]){at_all(v, 0), at_all(v, 1)});
    add_hypothesis(p, TT_CAMERA_MARK, TT_NONE, 2, (size_t[]){at_camera(v, 0), at_camera(v, 1)});
    add_hypothesis(p, TT_POSE, TT_NONE, 3, (size_t[]){at_pose(v, 0), at_pose(v, 1), at_pose(v, 2)});
    for (size_t k = 0; k < t && t > 1; k++) {
        add_hypothesis(p, TT_SEAT, k, 2, (size_t[]){tt_at_offset(v, k, 0), tt_at_offset(v, k, 1)});
    }
    for (size_t k = 0; k < t; k++) {
        add_hypothesis(p, TT_CHANGED, k, 5,
                       (size_t[]){tt_at_offset(v, k, 0), tt_at_offset(v, k, 1),
                                  tt_at_runout(v, k, 0), tt_at_runout(v, k, 1),
                                  tt_at_radius(v, k)});
    }
    for (size_t edge = 0; edge < v->edges; edge++) {
        add_hypothesis(p, TT_EDGE, edge, 1, (size_t[]){at_edge(v, edge)});
    }
    if (v->lost_motion != NULL) {
        add_hypothesis(p, TT_LOST_MOTION, TT_NONE, 1, (size_t[]){at_edge(v, v->edges)});
    }
    if (v->axes > 2) {
        add_hypothesis(p, TT_ALL_HEIGHTS, TT_NONE, 1, (size_t[]){at_heights(v)});
        p->all_heights = &p->hypothesis[p->n_hypotheses - 1];
    }
    for (size_t k = 0; k < t && t > 1 && v->axes > 2; k++) {
        add_hypothesis(p, TT_ONE_HEIGHT, k, 1, (size_t[]){tt_at_offset(v, k, 2)});
    }
    p->n_steps = p->n_hypotheses;
    for (size_t k = 0; k < t; k++) {
        add_hypothesis(
            p, TT_WEAR, k, 3,
            (size_t[]){tt_at_runout(v, k, 0), tt_at_runout(v, k, 1), tt_at_radius(v, k)});
    }
    if (v->axes > 2) {
        add_hypothesis(p, TT_PLATE_HEIGHT, TT_NONE, 1, (size_t[]){at_heights(v)});
    }
    add_hypothesis(p, TT_PLATE_LEVEL, TT_NONE, 6,
                   (size_t[]){at_all(v, 0), at_all(v, 1), at_pose(v, 0), at_pose(v, 1),
                              at_pose(v, 2), at_radii(v)});
    return true;
}

size_t tt_problem_seen_from(const struct tt_problem *problem, size_t hypothesis, size_t run)
{
    const struct tt_values *v = problem->values;
    const struct tt_hypothesis_of *h = &problem->hypothesis[hypothesis];

    for (size_t at = run; at < v->n && tt_is_of_tip(h->what); at++) {
        for (size_t k = 0; k < h->q; k++) {
            const struct tt_pattern *atom = &problem->atom[h->atom[k]];
            for (size_t i = 0; i < atom->n; i++) {
                if (v->there[at * v->p + atom->column[i]]) {
                    return at;
                }
            }
        }
    }
    return run;
}

size_t tt_problem_find(const struct tt_problem *p, enum tt_hypothesis what, size_t who)
{
    for (size_t i = 0; i < p->n_hypotheses; i++) {
        if (p->hypothesis[i].what == what && p->hypothesis[i].who == who) {
            return i;
        }
    }
    return TT_NONE;
}

/* Energy of an atom in each class, by mean weights. */
static void add_energy(const struct tt_problem *p, size_t atom, double energy[TT_CLASSES])
{
    const struct tt_values *v = p->values;
    const struct tt_pattern *a = &p->atom[atom];
    double sum[TT_MOST_AXES] = {0}, weight[TT_MOST_AXES] = {0}, total[TT_MOST_AXES] = {0};

    for (size_t i = 0; i < a->n; i++) {
        size_t column = a->column[i];
        double f = a->factor[i], w = 1 / tt_noise_mean_variance(p->gls.noise, v, column);
        if (column < v->axes * v->tips) {
            sum[column / v->tips] += w * f;
            total[column / v->tips] += w * f * f;
        } else {
            energy[tt_class_of(v, column)] += w * f * f;
        }
    }
    for (size_t axis = 0; axis < v->axes && v->tips > 0; axis++) {
        for (size_t k = 0; k < v->tips; k++) {
            weight[axis] += 1 / tt_noise_mean_variance(p->gls.noise, v, tt_at_offset(v, k, axis));
        }
        double g = weight[axis], common = v->mean_common[axis] + p->gls.noise->shared[axis];
        energy[tt_shared_class(axis)] += sum[axis] * sum[axis] / g / (1 + g * common);
        energy[tt_own_class(axis)] += fmax(total[axis] - sum[axis] * sum[axis] / g, 0);
    }
}

/* Each parameter of a hypothesis, shared out to the classes by its energy in them: mm and rad do
 * not compare. */
static void share_parameters(const struct tt_problem *p, const struct tt_hypothesis_of *h,
                             double times, double shares[TT_CLASSES])
{
    for (size_t i = 0; i < h->q; i++) {
        double energy[TT_CLASSES] = {0}, sum = 0;
        add_energy(p, h->atom[i], energy);
        for (int c = 0; c < TT_CLASSES; c++) {
            sum += energy[c];
        }
        for (int c = 0; c < TT_CLASSES && sum > 0; c++) {
            shares[c] += energy[c] / sum * times;
        }
    }
}

void tt_problem_count(const struct tt_problem *p, const struct tt_event *e,
                      double parameters[TT_CLASSES])
{
    share_parameters(p, &p->hypothesis[e->hypothesis], (double)tt_event_courses(e), parameters);
}

/* With which degrees of freedom the scale of what a hypothesis moves is known. */
static double dof_of(const struct tt_problem *p, const struct tt_hypothesis_of *h)
{
    double share[TT_CLASSES] = {0}, part = 0;

    share_parameters(p, h, 1 / (double)h->q, share);
    for (int c = 0; c < TT_CLASSES; c++) {
        part += share[c] * share[c] / p->gls.noise->nu[c];
    }
    return part > 0 ? 1 / part : 3;
}

/* Looks for one more place in @stretches of the runs. */
static double looks_in(const struct tt_problem *p, size_t stretches)
{
    double k = (double)stretches;
    return k * fmax(8 * log((double)p->values->n / k) - 5, 3);
}

static void set_prices(struct tt_problem *p)
{
    double h_all = (double)p->n_steps;
    const double *nu = p->gls.noise->nu;
    double more = tt_f_price(3, fmin(nu[TT_RUNOUT], nu[TT_RADIUS]), NESTED * p->alpha);
    size_t camera = 0, seat = TT_NONE;

    p->looks = looks_in(p, 1);
    for (size_t k = 1; k <= p->values->n; k++) { /* in the scale of chi-squared */
        p->more_places[k] = p->more_places[k - 1] + 2 * log(looks_in(p, k) / p->looks);
    }
    double smooth = p->values->n >= SMOOTH_RUNS ? SMOOTH_LOOKS : p->looks;
    for (size_t i = 0; i < p->n_hypotheses; i++) {
        struct tt_hypothesis_of *h = &p->hypothesis[i];
        const struct tt_hypothesis_of *last = i > 0 ? &p->hypothesis[i - 1] : NULL;
        h->nu = dof_of(p, h);
        if (last != NULL && last->q == h->q && fabs(last->nu - h->nu) < 1e-3 * h->nu) {
            h->price = last->price;
            h->price_same = last->price_same;
            h->price_one_look = last->price_one_look;
            h->price_drift = last->price_drift;
        } else if (h->what < TT_PLATE_LEVEL) {
            h->price = tt_f_price(h->q, h->nu, p->alpha / p->looks / h_all);
            h->price_same = tt_f_price(h->q, h->nu, p->alpha * SAME_PLACE / h_all);
            h->price_one_look = tt_f_price(h->q, h->nu, TT_LATEST_ALPHA / h_all);
            h->price_drift = tt_f_price(h->q, h->nu, p->alpha / smooth / h_all);
        }
        if (i == camera || h->what == TT_ALL_HEIGHTS) {
            h->price_temperature = tt_f_price(h->q, h->nu, p->alpha / SMOOTH_LOOKS / h_all);
            h->price_season = tt_f_price(2 * h->q, h->nu, p->alpha / smooth / PERIOD_LOOKS / h_all);
        }
        seat = h->what == TT_SEAT ? i : seat;
        if (h->what ==
            TT_CAMERA_MARK) { /* as many parameters, the same price: scales must not decide */
            const struct tt_hypothesis_of *c = &p->hypothesis[camera];
            h->price = fmax(h->price, c->price);
            h->price_same = fmax(h->price_same, c->price_same);
            h->price_one_look = fmax(h->price_one_look, c->price_one_look);
        } else if (h->what == TT_CHANGED) { /* it holds the seat: its further parameters cost what
                                               they gain by chance */
            const struct tt_hypothesis_of *s =
                &p->hypothesis[seat != TT_NONE ? seat - p->values->tips + 1 + h->who : camera];
            h->price = fmax(h->price, s->price + more);
            h->price_same = fmax(h->price_same, s->price_same + more);
            h->price_one_look = fmax(h->price_one_look, s->price_one_look + more);
        }
    }
}

/* The plate holds the camera, with or without the mark, and the pose: its further parameters cost
 * what they gain by chance. */
static void set_plate(struct tt_problem *p)
{
    const struct tt_hypothesis_of *camera = &p->hypothesis[tt_problem_find(p, TT_CAMERA, TT_NONE)],
                                  *mark =
                                      &p->hypothesis[tt_problem_find(p, TT_CAMERA_MARK, TT_NONE)],
                                  *pose = &p->hypothesis[tt_problem_find(p, TT_POSE, TT_NONE)];
    double over_camera = tt_f_price(pose->q, pose->nu, NESTED * p->alpha),
           over_pose = tt_f_price(camera->q, camera->nu, NESTED * p->alpha);

    p->plate = fmax(mark->price + over_camera, pose->price + over_pose);
    p->plate_same = fmax(mark->price_same + over_camera, pose->price_same + over_pose);
    p->plate_one_look = fmax(mark->price_one_look + over_camera, pose->price_one_look + over_pose);
}

static bool make_regressors(struct tt_problem *p, double ***regressor, size_t *n)
{
    const struct tt_values *v = p->values;
    size_t plates = v->n_plates < TT_MOST_PLATES ? v->n_plates : TT_MOST_PLATES;
    bool season = v->period_weeks > 0;
    double **x = *regressor = TT_ARENA_NEW(p->arena, 4 + plates, double *);

    for (size_t i = 0; i < sizeof p->regressor / sizeof p->regressor[0]; i++) {
        p->regressor[i] = TT_NONE;
    }
    *n = 0;
    for (size_t i = 0; x != NULL && i < 4 + plates; i++) {
        x[*n] = TT_ARENA_NEW(p->arena, v->n, double);
        if (x[*n] == NULL) {
            return false;
        }
        /* drift, temperature, season (two), the plates but that of the last run */
        bool there = i == 0 || (i == 1 && v->temperature != NULL) || (i == 2 && season) ||
                     (i == 3 && season) || i > 4;
        for (size_t run = 0; there && run < v->n; run++) {
            double turn = season ? 2 * TT_PI * v->weeks[run] / v->period_weeks : 0;
            x[*n][run] = i == 0   ? v->weeks[run]
                         : i == 1 ? v->temperature[run]
                         : i == 2 ? sin(turn)
                         : i == 3 ? cos(turn)
                                  : v->plate[run] == i - 4 ||
                                        (i + 1 == 4 + TT_MOST_PLATES && v->plate[run] > i - 4);
        }
        if (there && i != 3) {
            p->regressor[i < 2 ? TT_DRIFT + i : i == 2 ? TT_SEASON : i] = *n;
        }
        *n += there;
    }
    return x != NULL;
}

struct tt_course tt_event_course(const struct tt_problem *p, const struct tt_event *e, size_t index)
{
    if (e->going == TT_STEP) {
        return (struct tt_course){TT_NONE, e->from, e->to};
    }
    size_t at = e->going == TT_OTHER_PLATE ? 4 + e->from : (size_t)e->going;
    return (struct tt_course){p->regressor[at] + index, 0, 0};
}

/* At one place. @against: n_atoms x p; @levels: p. */
static void fill_own(struct tt_problem *p, size_t run, double *against, double *levels)
{
    const struct tt_gls *g = &p->gls;
    const struct tt_course step = {TT_NONE, run, g->n};
    double *right = p->own_right + run * p->n_atoms;

    for (size_t a = 0; a < p->n_atoms; a++) {
        double *v = against + a * g->p;
        tt_gls_against(g, 0, &step, &p->atom[a], v);
        tt_gls_levels(g, v, levels);
        right[a] = tt_pattern_dot(&p->atom[a], g->data + run * g->p);
        for (size_t c = 0; c < g->p; c++) {
            right[a] -= levels[c] * g->data[c];
        }
        /* what is left of the step against itself: from the place's side */
        tt_gls_against(g, run, &step, &p->atom[a], v);
        p->own_whole[a] = tt_pattern_dot(&p->atom[a], v);
        tt_gls_less_levels(g, run, levels, v);
    }
    for (size_t h = 0; h < p->n_steps; h++) {
        const struct tt_hypothesis_of *of = &p->hypothesis[h];
        double *to = p->own_normal + run * p->own_size + p->own_at[h];
        for (size_t i = 0; i < of->q; i++) {
            for (size_t k = 0; k < of->q; k++) {
                to[i * of->q + k] =
                    tt_pattern_dot(&p->atom[of->atom[i]], against + of->atom[k] * g->p);
            }
            if (!(to[i * of->q + i] > 1e-9 * p->own_whole[of->atom[i]])) {
                to[i * of->q + i] = 0; /* no value before the place, or none after it */
            }
        }
    }
}

/* Normal matrix of each hypothesis and right side of each atom at each place from @from on, levels
 * eliminated: what no other event changes. */
static bool make_own(struct tt_problem *p, size_t from)
{
    const struct tt_gls *g = &p->gls;

    p->own_at = TT_ARENA_NEW(p->arena, p->n_steps, size_t);
    for (size_t h = 0; p->own_at != NULL && h < p->n_steps; h++) {
        p->own_at[h] = p->own_size;
        p->own_size += p->hypothesis[h].q * p->hypothesis[h].q;
    }
    p->own_right = TT_ARENA_NEW(p->arena, g->n * p->n_atoms, double);
    p->own_normal = TT_ARENA_NEW(p->arena, g->n * p->own_size, double);
    p->own_whole = TT_ARENA_NEW(p->arena, p->n_atoms, double);
    double *against = TT_ARENA_NEW(p->arena, p->n_atoms * g->p, double),
           *levels = TT_ARENA_NEW(p->arena, g->p, double);
    if (!p->own_at || !p->own_right || !p->own_normal || !p->own_whole || !against || !levels) {
        return false;
    }
    for (size_t run = from > 0 ? from : 1; run < g->n; run++) {
        fill_own(p, run, against, levels);
    }
    return true;
}

enum tiptrue_status tt_problem_make(struct tt_problem *p, const struct tt_values *values,
                                    const struct tt_series_noise *noise, double alpha, size_t from,
                                    struct tt_arena *arena)
{
    double **regressor;
    size_t n;

    *p = (struct tt_problem){.values = values, .alpha = alpha, .arena = arena};
    p->more_places = TT_ARENA_NEW(arena, values->n + 1, double);
    if (p->more_places == NULL || !make_atoms(p) || !make_hypotheses(p) ||
        !make_regressors(p, &regressor, &n) ||
        tt_gls_make(&p->gls, values, noise, regressor, n, arena) != TIPTRUE_OK ||
        (from < values->n && !make_own(p, from))) {
        return TIPTRUE_E_MEMORY;
    }
    if (from < values->n) {
        set_prices(p);
        set_plate(p);
    }
    return TIPTRUE_OK;
}
