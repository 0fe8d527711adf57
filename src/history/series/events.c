/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Least squares of a set of events by Cholesky, grown one event after the other; the gain of one
 * more by its Schur complement (S. Chen, S. A. Billings, W. Luo, Int. J. Control 50 (1989) 1873).
 */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/problem.h"

/* Part of a term that must be left beside the others. */
#define SINGULAR 1e-7
/* Likewise of a candidate: less than a thousandth left is another name for what is there. */
#define SAME 1e-3

enum tiptrue_status tt_events_init(struct tt_events *f, const struct tt_problem *p,
                                   size_t room_events, size_t columns)
{
    size_t plates = p->values->n_plates < TT_MOST_PLATES ? p->values->n_plates : TT_MOST_PLATES;
    size_t room = 3 * room_events + 7 * plates + 8,
           levels = p->gls.p; /* a change of a tip has 5 columns, most have 2 */
    room = room > columns ? room : columns;

    *f = (struct tt_events){
        .problem = p, .room = room, .room_events = room_events + 2 * TT_MOST_PLATES};
    f->event = TT_ARENA_NEW(p->arena, f->room_events, struct tt_event);
    f->first = TT_ARENA_NEW(p->arena, f->room_events + 1, size_t);
    f->course = TT_ARENA_NEW(p->arena, room, struct tt_course);
    f->atom = TT_ARENA_NEW(p->arena, room, size_t);
    f->normal = TT_ARENA_NEW(p->arena, room * room, double);
    f->factor = TT_ARENA_NEW(p->arena, room * room, double);
    f->right = TT_ARENA_NEW(p->arena, room, double);
    f->forward = TT_ARENA_NEW(p->arena, room, double);
    f->level = TT_ARENA_NEW(p->arena, room * levels, double);
    f->levels = TT_ARENA_NEW(p->arena, room * levels, double);
    return f->event && f->first && f->course && f->atom && f->normal && f->factor && f->right &&
                   f->forward && f->level && f->levels
               ? TIPTRUE_OK
               : TIPTRUE_E_MEMORY;
}

/* The next column's row of the factor; false: it is as good as the others together. */
static bool factor_column(struct tt_events *f, size_t i)
{
    size_t room = f->room;

    for (size_t j = 0; j < i; j++) {
        f->factor[j * room + i] = f->normal[i * room + j];
    }
    double left = f->normal[i * room + i], right = f->right[i];
    for (size_t j = 0; j < i; j++) {
        double x = f->factor[j * room + i] / f->factor[j * room + j];
        f->factor[j * room + i] = x;
        if (x == 0) {
            continue;
        }
        for (size_t k = j + 1; k < i; k++) {
            f->factor[k * room + i] -= f->factor[j * room + k] * x;
        }
        left -= x * x;
        right -= x * f->forward[j];
    }
    if (!(left > SINGULAR * f->normal[i * room + i])) {
        return false;
    }
    f->factor[i * room + i] = sqrt(left);
    f->forward[i] = right / f->factor[i * room + i];
    f->rss -= f->forward[i] * f->forward[i];
    return true;
}

/* Variance of a level of another plate beforehand: offsets as well as the plates are known, the
 * rest by as good as nothing (mm, rad), which keeps apart what one plate has and the other has not.
 * 0: no prior. */
#define FREE 100.0
static double prior_of(const struct tt_problem *p, const struct tt_event *e, size_t which)
{
    const double *u2 = p->values->plate_u2;

    if (e->going != TT_OTHER_PLATE) {
        return 0;
    }
    return which < 2 ? fmax(u2[which] + u2[2 * e->from + which], 1e-12) : FREE;
}

static void enter_column(struct tt_events *f, size_t i, double prior)
{
    const struct tt_problem *p = f->problem;
    const struct tt_gls *g = &p->gls;
    const struct tt_pattern *a = &p->atom[f->atom[i]];
    double *level = f->level + i * g->p, *levels = f->levels + i * g->p;

    tt_gls_against(g, 0, &f->course[i], a, level);
    tt_gls_levels(g, level, levels);
    f->right[i] = tt_gls_right(g, &f->course[i], a);
    for (size_t c = 0; c < g->p; c++) {
        f->right[i] -= levels[c] * g->data[c];
    }
    for (size_t j = 0; j <= i; j++) {
        double sum = tt_gls_product(g, &f->course[i], a, &f->course[j], &p->atom[f->atom[j]]);
        const double *other = f->levels + j * g->p;
        for (size_t c = 0; c < g->p; c++) {
            sum -= level[c] * other[c];
        }
        f->normal[i * f->room + j] = f->normal[j * f->room + i] = sum;
    }
    f->normal[i * f->room + i] += prior > 0 ? 1 / prior : 0;
}

bool tt_events_append(struct tt_events *f, const struct tt_event *e)
{
    const struct tt_hypothesis_of *h = &f->problem->hypothesis[e->hypothesis];
    size_t before = f->columns, more = h->q * tt_event_courses(e);
    double rss = f->rss;

    if (f->n_events == f->room_events || f->columns + more > f->room) {
        return false;
    }
    for (size_t c = 0; c < tt_event_courses(e); c++) {
        for (size_t i = 0; i < h->q; i++) {
            f->course[f->columns] = tt_event_course(f->problem, e, c);
            f->atom[f->columns] = h->atom[i];
            enter_column(f, f->columns, prior_of(f->problem, e, i));
            if (!factor_column(f, f->columns)) {
                f->columns = before;
                f->rss = rss;
                return false;
            }
            f->columns++;
        }
    }
    f->first[f->n_events] = before;
    f->event[f->n_events++] = *e;
    f->first[f->n_events] = f->columns;
    return true;
}

void tt_events_reset(struct tt_events *f)
{
    const struct tt_problem *p = f->problem;

    f->n_events = f->columns = 0;
    f->rss = p->gls.rss;
    for (size_t plate = 1; plate < TT_MOST_PLATES; plate++) {
        struct tt_event e = {
            .hypothesis = p->n_hypotheses - 1, .going = TT_OTHER_PLATE, .from = plate};
        if (p->regressor[4 + plate] != TT_NONE) {
            (void)tt_events_append(f, &e); /* with their priors they can always be told apart */
        }
        e.hypothesis = tt_problem_find(p, TT_PLATE_HEIGHT, TT_NONE);
        if (p->regressor[4 + plate] != TT_NONE && e.hypothesis != TT_NONE) {
            (void)tt_events_append(f, &e); /* but for a plate without heights */
        }
    }
}

void tt_events_copy(struct tt_events *to, const struct tt_events *from, const bool *leave)
{
    size_t p = from->problem->gls.p, n = 0;

    to->problem = from->problem;
    to->n_events = to->columns = 0;
    to->rss = from->problem->gls.rss;
    for (size_t e = 0; e < from->n_events; e++) {
        if (leave != NULL && leave[e]) {
            continue;
        }
        to->event[to->n_events] = from->event[e];
        to->first[to->n_events++] = to->columns;
        for (size_t i = from->first[e]; i < from->first[e + 1]; i++) {
            size_t c = to->columns++;
            to->course[c] = from->course[i];
            to->atom[c] = from->atom[i];
            to->right[c] = from->right[i];
            memcpy(to->level + c * p, from->level + i * p, p * sizeof *to->level);
            memcpy(to->levels + c * p, from->levels + i * p, p * sizeof *to->levels);
            n = 0;
            for (size_t d = 0; d < from->n_events; d++) {
                for (size_t j = from->first[d];
                     j < from->first[d + 1] && (leave == NULL || !leave[d]); j++) {
                    to->normal[c * to->room + n++] = from->normal[i * from->room + j];
                }
            }
            (void)factor_column(to, c);
        }
        to->first[to->n_events] = to->columns;
    }
}

double tt_events_criterion(const struct tt_events *f)
{
    return f->rss + tt_problem_prices(f->problem, f->event, f->n_events);
}

void tt_events_solve(const struct tt_events *f, double *theta, double *covariance)
{
    size_t n = f->columns, room = f->room;

    for (size_t i = n; i-- > 0;) {
        double sum = f->forward[i];
        for (size_t k = i + 1; k < n; k++) {
            sum -= f->factor[i * room + k] * theta[k];
        }
        theta[i] = sum / f->factor[i * room + i];
    }
    for (size_t c = 0; covariance != NULL && c < n; c++) {
        double *x = covariance + c * n; /* factor' ^-1 factor^-1 e_c */
        memset(x, 0, n * sizeof *x);
        x[c] = 1;
        for (size_t j = c; j < n; j++) {
            x[j] /= f->factor[j * room + j];
            for (size_t i = j + 1; i < n && x[j] != 0; i++) {
                x[i] -= f->factor[j * room + i] * x[j];
            }
        }
        for (size_t i = n; i-- > 0;) {
            double sum = x[i];
            for (size_t k = i + 1; k < n; k++) {
                sum -= f->factor[i * room + k] * x[k];
            }
            x[i] = sum / f->factor[i * room + i];
        }
    }
}

size_t tt_events_scan_room(const struct tt_events *f)
{
    return f->room * f->problem->n_atoms + f->problem->gls.p + f->problem->n_atoms;
}

/* r' S^-1 r by Cholesky in place; 0 if a direction is as good as gone of what it was alone. */
static double gain_of(double *s, double *r, const double *alone, size_t q)
{
    double gain = 0;

    for (size_t i = 0; i < q; i++) {
        if (!(alone[i * q + i] > 0) || !(s[i * q + i] > SAME * alone[i * q + i])) {
            return 0;
        }
    }
    for (size_t i = 0; i < q; i++) {
        double left = s[i * q + i];
        for (size_t k = 0; k < i; k++) {
            double x = s[i * q + k];
            for (size_t j = 0; j < k; j++) {
                x -= s[i * q + j] * s[k * q + j];
            }
            s[i * q + k] = x / s[k * q + k];
            left -= s[i * q + k] * s[i * q + k];
            r[i] -= s[i * q + k] * r[k];
        }
        if (!(left > 1e-4 * alone[i * q + i])) {
            return 0;
        }
        s[i * q + i] = sqrt(left);
        r[i] /= s[i * q + i];
        gain += r[i] * r[i];
    }
    return gain;
}

void tt_events_scan(const struct tt_events *f, size_t run, double *work, double *gain)
{
    const struct tt_problem *p = f->problem;
    size_t n = f->columns, atoms = p->n_atoms, room = f->room;
    double *x = work, *v = work + n * atoms, *right = v + p->gls.p;

    memcpy(right, p->own_right + run * atoms, atoms * sizeof *right);
    for (size_t j = 0; j < n; j++) {
        tt_gls_against(&p->gls, run, &f->course[j], &p->atom[f->atom[j]], v);
        tt_gls_less_levels(&p->gls, run, f->levels + j * p->gls.p, v);
        for (size_t a = 0; a < atoms; a++) {
            x[j * atoms + a] = tt_pattern_dot(&p->atom[a], v);
        }
    }
    for (size_t j = 0; j < n; j++) {
        double *of_j = x + j * atoms, over = 1 / f->factor[j * room + j];
        for (size_t a = 0; a < atoms; a++) {
            of_j[a] *= over;
            right[a] -= of_j[a] * f->forward[j];
        }
        for (size_t i = j + 1; i < n; i++) {
            double l = f->factor[j * room + i], *of_i = x + i * atoms;
            if (l == 0) { /* x and y have nothing to do with one another, nor tips' runouts */
                continue;
            }
            for (size_t a = 0; a < atoms; a++) {
                of_i[a] -= l * of_j[a];
            }
        }
    }
    for (size_t h = 0; h < p->n_steps; h++) {
        const struct tt_hypothesis_of *of = &p->hypothesis[h];
        const double *alone = p->own_normal + run * p->own_size + p->own_at[h];
        double s[25], r[5];
        for (size_t i = 0; i < of->q; i++) {
            r[i] = right[of->atom[i]];
            for (size_t k = 0; k <= i; k++) {
                double sum = alone[i * of->q + k];
                for (size_t j = 0; j < n; j++) {
                    sum -= x[j * atoms + of->atom[i]] * x[j * atoms + of->atom[k]];
                }
                s[i * of->q + k] = sum;
            }
        }
        gain[h] = gain_of(s, r, alone, of->q);
    }
}

void tt_events_residuals(const struct tt_events *f, const double *theta, double *residual)
{
    const struct tt_problem *p = f->problem;
    const struct tt_values *v = p->values;
    size_t cells = v->n * v->p;
    double *level = residual + cells, *in = level + v->p; /* room for both behind the residuals */

    memcpy(in, p->gls.data, v->p * sizeof *in);
    for (size_t j = 0; j < f->columns; j++) {
        for (size_t c = 0; c < v->p; c++) {
            in[c] -= f->level[j * v->p + c] * theta[j];
        }
    }
    tt_gls_levels(&p->gls, in, level);
    for (size_t run = 0; run < v->n; run++) {
        for (size_t c = 0; c < v->p; c++) {
            residual[run * v->p + c] =
                v->there[run * v->p + c] ? v->y[run * v->p + c] - level[c] : 0;
        }
    }
    for (size_t j = 0; j < f->columns; j++) {
        const struct tt_pattern *a = &p->atom[f->atom[j]];
        for (size_t run = 0; run < v->n; run++) {
            double x = theta[j] * tt_gls_course(&p->gls, &f->course[j], run);
            for (size_t i = 0; i < a->n && x != 0; i++) {
                size_t at = run * v->p + a->column[i];
                residual[at] -= v->there[at] ? x * a->factor[i] : 0;
            }
        }
    }
}
