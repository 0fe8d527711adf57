/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Edges against the earlier runs on the plate. A film over a whole edge looks to one run as an edge
 * that lies further in, which the plate file allows within its u; where the edges were before, the
 * history knows.
 *
 * The found shifts x have the covariance P; N = P^-1 - U^-1 is what the touches tell of them. One
 * edge j that moved by f since changes x by P N e_j f, and x less that of a run of the same design
 * is free of the plate's own errors, with the noise P N P. So f = (P^-1 (x - mean))_j / N_jj, with
 * the variance 1/N_jj, or what it scatters by between the earlier runs, if that is more. Nothing of
 * it enters the offset or its uncertainty: what earlier runs know of the plate all of them share.
 */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#include "adjust/correlated.h"
#include "adjust/findings.h"
#include "adjust/past_offsets.h"
#include "base/cholesky.h"
#include "base/digest.h"
#include "base/distribution.h"
#include "base/named.h"
#include "base/time.h"

/* Earlier runs that are taken at least. */
#define LEAST_PAST 5
/* An earlier run in which an edge lies so many standard deviations from the median has a film
 * itself. */
#define PAST_OUTLIER 4.0
/* A scatter that is larger than the touches explain is drawn to theirs by so many degrees of
 * freedom. */
#define PAST_DOF 12.0
/* Probability that some edge of a clean run is told. */
#define PAST_CHANCE 1e-3
/* Less is not told: another tip's form puts as much into the edges. */
#define LEAST_FILM_MM 0.003
/* Other edges within so much of the best one's squared deviation explain it as well: 100 to 1. */
#define ALIKE_EDGES 9.21
/* An edge of which the touches tell less than its stated u says cannot be judged, this much less
 * in variance. */
#define LEAST_TOLD 0.1

/* The edges that are unknowns and were touched. All is as if none had been found elsewhere. */
struct past {
    struct tt_view *view;
    size_t n, *edge, *row;    /* of the plate; of the solution */
    double *u_mm, *weight;    /* stated; what the run took from 1/u^2 of an edge found elsewhere */
    double *cov, *precision;  /* P, P^-1 */
    double *told, *score;     /* N; P^-1 times the shifts found */
    double *f_mm, *work;      /* [edge]; [run] */
    double *shift_mm;         /* [run][edge] of earlier runs */
    const double *weigh_past; /* P^-1, or N where they determine edges better than this run */
    const struct tt_past_run *run[TT_MOST_PAST]; /* NULL: its offsets are free of an edge */
    size_t runs;
    bool offsets_tell; /* they respond to an edge as those of earlier runs do */
};

/* Edge number @j, in row @row of the solution, with what is stated of it. */
static void enter(struct past *p, size_t j, size_t row)
{
    const struct tt_model *model = p->view->model;

    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (prior->kind == TT_PRIOR_EDGE && prior->what == j) {
            double u_mm = prior->extra > 0 ? p->view->plate->edges[j].u_mm : prior->u;
            if (u_mm > 0) {
                p->edge[p->n] = j;
                p->row[p->n] = row;
                p->weight[p->n] = 1 / (u_mm * u_mm) - 1 / (prior->u * prior->u);
                p->offsets_tell = p->offsets_tell && !(prior->extra > 0);
                p->u_mm[p->n++] = u_mm;
            }
        }
    }
}

/* False: out of memory. p->n 0: there is nothing to be judged. */
static bool begin(struct past *p)
{
    const struct tt_view *view = p->view;
    const struct tiptrue_solution *s = view->solution;
    size_t most = s->n_edges;
    double *rows =
        TT_ARENA_NEW(view->scratch, (4 + 3 * most + TT_MOST_PAST) * most + TT_MOST_PAST, double);

    p->edge = TT_ARENA_NEW(view->scratch, 2 * most, size_t);
    if (rows == NULL || p->edge == NULL) {
        return false;
    }
    p->row = p->edge + most;
    p->u_mm = rows;
    p->weight = p->u_mm + most;
    p->score = p->weight + most;
    p->f_mm = p->score + most;
    p->cov = p->f_mm + most;
    p->precision = p->cov + most * most;
    p->told = p->precision + most * most;
    p->shift_mm = p->told + most * most;
    p->work = p->shift_mm + TT_MOST_PAST * most;
    p->weigh_past = p->precision;
    p->offsets_tell = true;
    for (size_t j = 0, row = 0; j < view->plate->n_edges && row < most; j++) {
        if (strcmp(s->edges[row].name, view->plate->edges[j].name) == 0) {
            if (view->model->at_edge[j] != TT_NONE) {
                enter(p, j, row);
            }
            row++;
        }
    }
    return true;
}

/* P, N and what goes with them. False: not to be had. */
static bool take_apart(struct past *p)
{
    const struct tt_model *model = p->view->model;
    size_t n = p->n, nb = model->n_border;

    for (size_t i = 0; i < n * n; i++) {
        p->told[i] =
            model->system.c[model->at_edge[p->edge[i / n]] * nb + model->at_edge[p->edge[i % n]]];
    }
    if (n == 0 || !tt_cholesky(p->told, n)) {
        return false;
    }
    tt_cholesky_invert(p->told, n, p->precision);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++) {
            p->score[i] += p->precision[i * n + k] * p->view->solution->edges[p->row[k]].shift_mm;
        }
        p->precision[i * n + i] += p->weight[i];
    }
    memcpy(p->told, p->precision, n * n * sizeof *p->told);
    if (!tt_cholesky(p->told, n)) {
        return false;
    }
    tt_cholesky_invert(p->told, n, p->cov);
    memcpy(p->told, p->precision, n * n * sizeof *p->told);
    for (size_t i = 0; i < n; i++) {
        p->told[i * n + i] -= 1 / (p->u_mm[i] * p->u_mm[i]);
    }
    return true;
}

/* x := (1 - P U^-1) x: what this run makes of edges at x. @only: of those alone; NULL: of all. */
static void see(const struct past *p, const bool only[], double x[])
{
    for (size_t i = 0; i < p->n; i++) {
        p->f_mm[i] = x[i];
    }
    for (size_t k = 0; k < p->n; k++) {
        for (size_t i = 0; i < p->n && (only == NULL || only[k]); i++) {
            x[i] -= p->cov[i * p->n + k] / (p->u_mm[k] * p->u_mm[k]) * p->f_mm[k];
        }
    }
}

/* Whether an earlier run's @u_mm of edge @i is that of this run, or (@better) no larger: by what a
 * shift of the stated u makes of the difference, no more than the noise. */
static bool is_touched_alike(const struct past *p, size_t i, double u_mm, bool better)
{
    double noise_mm2 = p->cov[i * p->n + i], off_mm2 = u_mm * u_mm - noise_mm2;

    for (size_t k = 0; k < p->n; k++) {
        noise_mm2 -= p->cov[i * p->n + k] * p->cov[i * p->n + k] / (p->u_mm[k] * p->u_mm[k]);
    }
    return (better ? off_mm2 : fabs(off_mm2)) <= p->u_mm[i] * sqrt(fmax(noise_mm2, 0));
}

/* The shifts of @run into the next row of p->shift_mm, where it has the same edges, touched alike.
 */
static void take_run(struct past *p, const struct tt_past_run *run, bool better, bool freed[])
{
    const struct tiptrue_solution *s = p->view->solution;
    double *to = p->shift_mm + p->runs * p->n;
    bool alike = run->n_edges == s->n_edges, some = false;

    for (size_t i = 0; i < p->n && alike; i++) {
        size_t k = TT_NAMED(run->edges, run->n_edges, s->edges[p->row[i]].name);
        if (k == run->n_edges) {
            return;
        }
        to[i] = run->edges[k].shift_mm;
        freed[i] = run->edges[k].freed;
        some = some || freed[i];
    }
    for (size_t k = 0; k < run->n_edges && alike && !some; k++) {
        for (size_t i = 0; i < p->n; i++) {
            if (strcmp(run->edges[k].name, s->edges[p->row[i]].name) == 0) {
                alike = alike && is_touched_alike(p, i, run->edges[k].u_mm, better);
            }
        }
    }
    p->run[p->runs] = run;
    if (alike && some) { /* how well it knows its edges tells nothing then */
        see(p, freed, to);
        p->run[p->runs] = NULL;
    }
    p->runs += alike;
}

/* The earlier runs: started before this one, on the same plate by the same plate file. @freed: n of
 * work. */
static void take_runs(struct past *p, bool better, bool freed[])
{
    const struct tt_view *view = p->view;
    const struct tiptrue_solution *s = view->solution;
    const char *started = view->run->started,
               *plate = s->plate_serial != NULL ? s->plate_serial : s->plate;
    char digest[17] = "";
    double time_s;

    if (started == NULL || !tt_time_read(started, strlen(started), &time_s)) {
        time_s = HUGE_VAL; /* it is solved now */
    }
    if (view->plate->source.text != NULL) {
        tt_digest(view->plate->source.text, view->plate->source.length, digest);
    }
    p->runs = 0;
    p->weigh_past = better ? p->told : p->precision;
    for (size_t i = 0; i < view->between->n_past && p->runs < TT_MOST_PAST; i++) {
        const struct tt_past_run *run = &view->between->past[i];
        if (run->time_s < time_s && strcmp(run->plate, plate != NULL ? plate : "") == 0 &&
            strcmp(run->document, digest) == 0 && strcmp(run->id, view->run->id) != 0) {
            take_run(p, run, better, freed);
        }
    }
}

/* Variance of f by the touches, HUGE_VAL where they tell nothing of edge @j. */
static double own_variance(const struct past *p, size_t j)
{
    const struct tt_correlated *correlated = p->view->fit->correlated;
    double told = p->told[j * p->n + j];

    return told * p->u_mm[j] * p->u_mm[j] > LEAST_TOLD
               ? (correlated != NULL ? (1 + correlated->rho) / (1 - correlated->rho) : 1) / told
               : HUGE_VAL;
}

/* f of each edge in the shifts @shift_mm of an earlier run (NULL: in this run's) against @mean_mm;
 * 0 where the touches tell nothing. */
static void fit(const struct past *p, const double shift_mm[], const double mean_mm[], double f[])
{
    const double *weigh = shift_mm != NULL ? p->weigh_past : p->precision;

    for (size_t j = 0; j < p->n; j++) {
        double sum = shift_mm != NULL ? 0 : p->score[j];
        for (size_t k = 0; k < p->n; k++) {
            sum += weigh[j * p->n + k] * ((shift_mm != NULL ? shift_mm[k] : 0) - mean_mm[k]);
        }
        f[j] = isfinite(own_variance(p, j)) ? sum / p->told[j * p->n + j] : 0;
    }
}

static double median(double x[], size_t n)
{
    gsl_sort(x, 1, n);
    return 0.5 * (x[(n - 1) / 2] + x[n / 2]);
}

/* Drop earlier runs that had a film themselves: by median and median deviation. @mean_mm, @sd_mm: n
 * numbers of work each. */
static void drop_outliers(struct past *p, double mean_mm[], double sd_mm[])
{
    size_t kept = 0;

    for (size_t j = 0; j < p->n; j++) {
        for (size_t i = 0; i < p->runs; i++) {
            p->work[i] = p->shift_mm[i * p->n + j];
        }
        mean_mm[j] = median(p->work, p->runs);
    }
    for (size_t j = 0; j < p->n; j++) {
        for (size_t i = 0; i < p->runs; i++) {
            fit(p, p->shift_mm + i * p->n, mean_mm, p->f_mm);
            p->work[i] = fabs(p->f_mm[j]);
        }
        sd_mm[j] = fmax(1.4826 * median(p->work, p->runs), sqrt(own_variance(p, j)));
    }
    for (size_t i = 0; i < p->runs; i++) {
        bool good = true;
        fit(p, p->shift_mm + i * p->n, mean_mm, p->f_mm);
        for (size_t j = 0; j < p->n; j++) {
            good = good && !(fabs(p->f_mm[j]) > PAST_OUTLIER * sd_mm[j]);
        }
        if (good) {
            memmove(p->shift_mm + kept * p->n, p->shift_mm + i * p->n, p->n * sizeof(double));
            p->run[kept++] = p->run[i];
        }
    }
    p->runs = kept;
}

/* What earlier runs lead to expect of the edges, @mean_mm and the variance @mm2, and of the
 * offsets, into the solution. */
static void give(struct past *p, const double mean_mm[], const double mm2[])
{
    p->offsets_tell = p->offsets_tell && p->weigh_past == p->precision;
    for (size_t j = 0; j < p->n; j++) {
        bool tells = isfinite(own_variance(p, j));
        struct tt_edge_earlier *to = &p->view->solution->edges[p->row[j]].earlier;
        *to = (struct tt_edge_earlier){.runs = p->runs,
                                       .shift_mm = tt_past_given(mean_mm[j]),
                                       .u_mm = tells ? tt_past_given(sqrt(mm2[j])) : 0};
        if (p->offsets_tell) {
            to->offsets = tt_past_offsets(p->view, p->run, p->runs, p->row[j]);
        }
    }
}

/* What is known of the edges from earlier runs, into the solution. False: out of memory. */
static bool sum_up(struct past *p)
{
    double *mean_mm = TT_ARENA_NEW(p->view->scratch, p->n, double),
           *sd_mm = TT_ARENA_NEW(p->view->scratch, p->n, double);
    bool *freed = TT_ARENA_NEW(p->view->scratch, p->n, bool);

    if (mean_mm == NULL || sd_mm == NULL || freed == NULL) {
        return false;
    }
    for (int better = 0; better < 2 && p->runs < LEAST_PAST; better++) {
        take_runs(p, better == 1, freed);
        if (p->runs >= LEAST_PAST) {
            drop_outliers(p, mean_mm, sd_mm);
        }
    }
    if (p->runs < LEAST_PAST) {
        return true;
    }
    for (size_t j = 0; j < p->n; j++) {
        mean_mm[j] = sd_mm[j] = 0;
        for (size_t i = 0; i < p->runs; i++) {
            mean_mm[j] += p->shift_mm[i * p->n + j] / (double)p->runs;
        }
    }
    for (size_t i = 0; i < p->runs; i++) {
        fit(p, p->shift_mm + i * p->n, mean_mm, p->f_mm);
        for (size_t j = 0; j < p->n; j++) {
            sd_mm[j] += p->f_mm[j] * p->f_mm[j] / (double)(p->runs - 1);
        }
    }
    if (p->weigh_past != p->precision) {
        see(p, NULL, mean_mm);
    }
    give(p, mean_mm, sd_mm);
    return true;
}

/* As the result that is solved again had it. */
static void take_back(struct past *p)
{
    const struct tiptrue_between *between = p->view->between;

    for (size_t i = 0; i < p->n; i++) {
        struct tt_edge_result *to = &p->view->solution->edges[p->row[i]];
        size_t k = TT_NAMED(between->edges, between->n_edges, to->name);
        if (k < between->n_edges) {
            to->earlier = between->edges[k].earlier;
        }
    }
}

/* How far an edge lies from where it was, and with what. */
struct moved {
    double f_mm, u_mm, chi2, chance;
    bool alike;  /* a film on it explains the shifts as well as what explains them best */
    double good; /* chi2, less how ill the offsets fit */
};

/* f_mm must be filled. */
static struct moved judge(const struct past *p, size_t j)
{
    const struct tt_edge_earlier *earlier = &p->view->solution->edges[p->row[j]].earlier;
    double own = own_variance(p, j), between = earlier->u_mm * earlier->u_mm,
           dof = (double)earlier->runs - 1, variance = own,
           t_dof = fmin(p->view->scatters.touch.dof, 1e6);

    if (between > own) {
        t_dof = PAST_DOF + dof;
        variance = (PAST_DOF * own + dof * between) / t_dof;
    }
    variance *= 1 + 1 / (double)earlier->runs;
    double chi2 = p->f_mm[j] * p->f_mm[j] / variance;
    return (struct moved){.f_mm = p->f_mm[j],
                          .u_mm = sqrt(variance),
                          .chi2 = chi2,
                          .chance = 2 * (double)p->n * tt_student_upper(sqrt(chi2), t_dof)};
}

/* The edge that is told where @best explains the shifts best: a film makes late, so one of those
 * that do as well, if there is one; of them the one that the offsets fit best. */
static size_t choose(const struct past *p, struct moved moved[], size_t best)
{
    bool known = p->offsets_tell;
    size_t at = best;

    for (size_t j = 0; j < p->n; j++) {
        struct moved *m = &moved[j];
        m->alike = m->f_mm < 0 && moved[best].chi2 - m->chi2 < ALIKE_EDGES;
        m->good = m->chi2 - tt_past_misfit(p->view, p->row[j], m->f_mm, m->u_mm);
        known = known && (isfinite(m->good) || !m->alike);
    }
    for (size_t j = 0; j < p->n; j++) {
        moved[j].good = known ? moved[j].good : moved[j].chi2;
        if (moved[j].alike && (!moved[at].alike || moved[j].good > moved[at].good)) {
            at = j;
        }
    }
    return at;
}

static enum tiptrue_status tell(struct past *p, struct moved moved[], size_t best)
{
    const struct tiptrue_solution *s = p->view->solution;
    struct tt_clauses others = {TT_ARENA_NEW(p->view->scratch, p->n, struct tt_clause), 0};
    double most_mm = 0, share = 0;
    size_t at = choose(p, moved, best);
    bool later = moved[at].f_mm < 0;

    if (others.clause == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_past_effect(p->view, p->row[at], moved[at].f_mm, &most_mm, &share);
    for (size_t j = 0; j < p->n && later; j++) {
        if (j != at && moved[j].alike && moved[at].good - moved[j].good < ALIKE_EDGES) {
            others.clause[others.n++] =
                (struct tt_clause){TT_CLAUSE_EDGE, s->edges[p->row[j]].name, 0, 0};
            tt_past_effect(p->view, p->row[j], moved[j].f_mm, &most_mm, &share);
        }
    }
    return tt_finding_add_values(
        p->view, TT_FINDING_EDGE_FILM, later && share > 1 ? TIPTRUE_ERROR : TIPTRUE_WARNING,
        (struct tt_about){p->edge[at], TT_NONE, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("what", later ? "later" : "earlier"), TT_IN_MM("shift", moved[at].f_mm),
                  TT_IN_MM("off", fabs(moved[at].f_mm)), TT_IN_MM("u", moved[at].u_mm),
                  TT_PLAIN("runs", s->edges[p->row[at]].earlier.runs), TT_IN_MM("effect", most_mm),
                  TT_CLAUSES("others", &others)));
}

/* Hold the edges against where they were. */
static enum tiptrue_status look(struct past *p)
{
    const struct tiptrue_solution *s = p->view->solution;
    struct moved *moved = TT_ARENA_NEW(p->view->scratch, p->n, struct moved);
    double *mean_mm = TT_ARENA_NEW(p->view->scratch, p->n, double);
    size_t best = 0;

    if (moved == NULL || mean_mm == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t j = 0; j < p->n; j++) {
        mean_mm[j] = s->edges[p->row[j]].earlier.shift_mm;
        if (s->edges[p->row[j]].earlier.runs < LEAST_PAST) {
            return TIPTRUE_OK;
        }
    }
    fit(p, NULL, mean_mm, p->f_mm);
    for (size_t j = 0; j < p->n; j++) {
        moved[j] = judge(p, j);
        best = moved[j].chi2 > moved[best].chi2 ? j : best;
    }
    return moved[best].chance < PAST_CHANCE && fabs(moved[best].f_mm) > LEAST_FILM_MM
               ? tell(p, moved, best)
               : TIPTRUE_OK;
}

enum tiptrue_status tt_findings_of_past(struct tt_view *view)
{
    struct past p = {.view = view};

    if (view->between == NULL || !view->selection->robust || view->solution->n_edges == 0) {
        return TIPTRUE_OK;
    }
    if (!begin(&p)) {
        return TIPTRUE_E_MEMORY;
    }
    if (!take_apart(&p)) {
        return TIPTRUE_OK;
    }
    if (view->between->edges != NULL) {
        take_back(&p);
    } else if (!sum_up(&p)) {
        return TIPTRUE_E_MEMORY;
    }
    return look(&p);
}
