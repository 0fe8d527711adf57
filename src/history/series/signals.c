/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The control charts of a tip. Limits come from the first runs of each stretch without a change;
 * the limits of a stretch go on until a chart has seen the change that ends it, and then that chart
 * begins anew. A chart that stays beyond its limit gives one signal.
 */
#include "config.h"

#include <math.h>

#include "history/series/chart.h"
#include "history/series/trend.h"

/* Handbook values: three standard deviations; lambda 0.2; k 0.5 and h 5 standard deviations
 * (average run length 465 without a change); T^2 as rare as three standard deviations. */
#define LIMIT 3.0
#define EWMA_LAMBDA 0.2
#define CUSUM_K 0.5
#define CUSUM_H 5.0
#define T2_ALPHA 0.0027
/* Fewer runs give no limits worth having: the standard deviation would be known to a third. */
#define FEWEST_BASELINE 8
/* A change that no chart has seen after so many runs will not be seen by it. */
#define GRACE 5

/* A stretch of points between changes, [from, to). */
struct stretch {
    size_t from, to;
    bool has_limits;
    size_t baseline; /* runs */
    struct tt_baseline limits[2];
    struct tt_t2 t2;
};

struct judge {
    struct tiptrue_trend *trend;
    struct tt_trend_tip *tip;
    bool failed;
};

static void signal_at(struct judge *judge, const struct tt_signal *signal)
{
    struct tt_trend_tip *t = judge->tip;

    struct tt_signal *made =
        tt_arena_more(&judge->trend->arena, &t->signals, &t->n_signals, sizeof *made);

    if (made == NULL) {
        judge->failed = true;
    } else {
        *made = *signal;
    }
}

static double at(const struct tt_trend_point *p, int axis)
{
    return axis == 0 ? p->offset.x_mm : p->offset.y_mm;
}

static bool set_limits(struct judge *judge, struct stretch *s, size_t wanted, double *values[2])
{
    struct tt_trend_tip *t = judge->tip;
    size_t n = s->to - s->from < wanted ? s->to - s->from : wanted;

    s->baseline = n;
    s->has_limits = n >= FEWEST_BASELINE;
    if (n < 2) {
        return s->has_limits;
    }
    for (int axis = 0; axis < 2; axis++) {
        for (size_t i = 0; i < n; i++) {
            values[axis][i] = at(&t->points[s->from + i], axis);
        }
        s->limits[axis] = tt_baseline_of(values[axis], n);
    }
    s->t2 = tt_t2_of(values[0], values[1], n);
    return s->has_limits;
}

/* What one chart says of a value: beyond its limit or not, and by how much the value is off the
 * centre. */
enum { INDIVIDUALS, RANGE, EWMA, CUSUM, KINDS };

struct run_chart {
    struct tt_ewma ewma;
    struct tt_cusum cusum;
    bool beyond[KINDS];
    bool ended[KINDS]; /* it has seen the change at the end of its stretch */
};

static void judge_axis(struct judge *judge, const struct stretch *s, size_t point, int axis,
                       struct run_chart *chart, bool own)
{
    static const enum tt_chart CHARTS[KINDS] = {TT_CHART_INDIVIDUALS, TT_CHART_MOVING_RANGE,
                                                TT_CHART_EWMA, TT_CHART_CUSUM};
    struct tt_trend_tip *t = judge->tip;
    double value = at(&t->points[point], axis), off = value - s->limits[axis].centre;
    double jump = point > s->from || !own ? value - at(&t->points[point - 1], axis) : 0;
    bool now[KINDS];

    now[INDIVIDUALS] = fabs(off) > LIMIT * s->limits[axis].sigma;
    now[RANGE] = fabs(jump) > TT_D4 * s->limits[axis].mean_range;
    now[EWMA] = tt_ewma_next(&chart->ewma, value);
    now[CUSUM] = tt_cusum_next(&chart->cusum, value) != 0;
    const double sizes[KINDS] = {off, jump, chart->ewma.z - s->limits[axis].centre, off};
    for (int k = 0; k < KINDS; k++) {
        if (chart->ended[k]) {
            continue;
        }
        if (now[k] && !chart->beyond[k]) {
            signal_at(judge, &(struct tt_signal){.point = point,
                                                 .chart = CHARTS[k],
                                                 .axis = axis == 0 ? 'x' : 'y',
                                                 .runs = 1,
                                                 .off_mm = sizes[k]});
        } else if (now[k]) {
            for (size_t i = t->n_signals; i-- > 0;) {
                if (t->signals[i].chart == CHARTS[k] &&
                    t->signals[i].axis == (axis == 0 ? 'x' : 'y')) {
                    t->signals[i].runs++;
                    break;
                }
            }
        }
        chart->beyond[k] = now[k];
        chart->ended[k] = !own && now[k];
    }
}

static void judge_stretch(struct judge *judge, const struct stretch *s)
{
    struct tt_trend_tip *t = judge->tip;
    struct run_chart chart[2] = {0};
    bool beyond = false, ended = false;

    if (!s->has_limits) {
        return;
    }
    for (int axis = 0; axis < 2; axis++) {
        chart[axis].ewma = tt_ewma_begin(s->limits[axis], EWMA_LAMBDA, LIMIT);
        chart[axis].cusum = tt_cusum_begin(s->limits[axis], CUSUM_K, CUSUM_H);
    }
    double limit = tt_t2_limit(&s->t2, T2_ALPHA);
    for (size_t i = s->from; i < t->n_points && i < s->to + GRACE; i++) {
        struct tt_trend_point *p = &t->points[i];
        bool own = i < s->to;
        double t2 = tt_t2_distance(&s->t2, p->offset.x_mm, p->offset.y_mm);
        if (i >= s->from + s->baseline) {
            judge_axis(judge, s, i, 0, &chart[0], own);
            judge_axis(judge, s, i, 1, &chart[1], own);
            bool now = t2 > limit;
            if (now && !beyond && !ended) {
                signal_at(judge, &(struct tt_signal){.point = i, .chart = TT_CHART_T2, .runs = 1});
            }
            beyond = now;
            ended = ended || (now && !own);
        }
        if (own) {
            p->in_baseline = i < s->from + s->baseline;
            p->centre = (struct tt_machine_xy){s->limits[0].centre, s->limits[1].centre};
            p->limit_x_mm = LIMIT * s->limits[0].sigma;
            p->limit_y_mm = LIMIT * s->limits[1].sigma;
            p->ewma = (struct tt_machine_xy){chart[0].ewma.z, chart[1].ewma.z};
            p->ewma_limit_x_mm = tt_ewma_limit(&chart[0].ewma);
            p->ewma_limit_y_mm = tt_ewma_limit(&chart[1].ewma);
            p->t2 = t2;
            p->t2_limit = limit;
        }
    }
}

/* Whether a change moves the offset of @tip. */
static bool concerns(const struct tt_change *change, size_t tip)
{
    bool own = change->what == TT_SEAT || change->what == TT_CHANGED;
    return change->what != TT_POSE && (!own || change->who == tip);
}

/* Whether the level of @tip changed with run @run of the changes, or the plate did. */
static bool begins_stretch(const struct tt_changes *c, size_t tip, size_t run)
{
    for (size_t i = 0; i < c->n_changes; i++) {
        const struct tt_change *change = &c->change[i];
        if (concerns(change, tip) && change->from == run && change->to >= c->values.n) {
            return true;
        }
    }
    return run > 0 && c->values.plate[run] != c->values.plate[run - 1];
}

/* Single runs that stand apart, as found together with the changes. */
static void add_single_runs(struct judge *judge, const struct tt_changes *c, size_t tip)
{
    for (size_t i = 0; i < c->n_changes; i++) {
        const struct tt_change *change = &c->change[i];
        if (change->to >= c->values.n || !concerns(change, tip)) {
            continue;
        }
        for (size_t k = 0; k < judge->tip->n_points; k++) {
            if (judge->tip->points[k].run ==
                (size_t)(c->values.run[change->from] - c->values.series->runs)) {
                signal_at(judge, &(struct tt_signal){.point = k,
                                                     .chart = TT_CHART_RUN,
                                                     .runs = 1,
                                                     .of_one_tip = change->who == tip &&
                                                                   change->what != TT_EDGE});
            }
        }
    }
}

static void sort_signals(struct tt_trend_tip *t)
{
    for (size_t i = 1; i < t->n_signals; i++) {
        struct tt_signal s = t->signals[i];
        size_t k = i;
        for (; k > 0 && t->signals[k - 1].point > s.point; k--) {
            t->signals[k] = t->signals[k - 1];
        }
        t->signals[k] = s;
    }
}

enum tiptrue_status tt_trend_judge_points(struct tiptrue_trend *trend, const struct tt_changes *c,
                                          size_t tip, size_t baseline_runs)
{
    struct judge judge = {.trend = trend, .tip = &trend->tips[tip]};
    struct tt_trend_tip *t = judge.tip;
    double *values[2] = {TT_ARENA_NEW(c->arena, c->values.n, double),
                         TT_ARENA_NEW(c->arena, c->values.n, double)};
    size_t point = 0;

    if (values[0] == NULL || values[1] == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    struct stretch s = {0};
    bool pending = false; /* a change came with a run that this tip was not in */
    for (size_t run = 0; run < c->values.n; run++) {
        pending = pending || (run > 0 && begins_stretch(c, tip, run));
        if (!tt_changes_has(c, run, tip)) {
            continue;
        }
        if (pending && point > s.from) {
            s.to = point;
            set_limits(&judge, &s, baseline_runs, values);
            judge_stretch(&judge, &s);
            s = (struct stretch){.from = point};
        }
        pending = false;
        point++;
    }
    s.to = point;
    if (point > s.from) {
        set_limits(&judge, &s, baseline_runs, values);
        judge_stretch(&judge, &s);
        t->baseline_runs = s.has_limits ? s.baseline : 0;
        t->baseline_from_s = t->points[s.from].time_s;
        t->baseline_to_s = t->points[s.from + s.baseline - 1].time_s;
    }
    add_single_runs(&judge, c, tip);
    sort_signals(t);
    return judge.failed ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}
