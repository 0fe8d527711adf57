/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* When an offset or a height in use will be off by what is permitted; the heights of a trend. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/distribution.h"
#include "history/series/changes.h"
#include "history/series/trend.h"

#define WEEK_S (7 * 86400.0)
/* A forecast goes this far: beyond, nobody plans, and no drift stays the same. */
#define HORIZON_WEEKS (365.0 / 7)
#define TAIL 0.025

/* What an offset or a height is compared with, and what is expected of it. */
struct deviation {
    const struct tt_changes *changes;
    struct tt_prediction found;
    size_t at; /* of its predictions among a rival's */
    double last_week, dof;
    double x, y;      /* the present place, as the values count; of a height x */
    bool from_update; /* no reference: an update at the last run */
};

/* How far it is from that, @weeks after the last run, and the uncertainty along that direction. */
static double deviation_at(const struct deviation *d, const struct tt_prediction *p, double weeks,
                           double *u)
{
    double w2 = weeks * weeks;
    struct tt_moved_by v = {true,
                            weeks * p->value[0][1],
                            weeks * p->value[1][1],
                            w2 * p->covariance[0][1][1],
                            w2 * p->covariance[1][1][1],
                            w2 * p->covariance[2][1][1]};

    if (!d->from_update) {
        v = tt_prediction_at(p, d->last_week + weeks);
        v.x -= d->x;
        v.y -= d->y;
    }
    double size = hypot(v.x, v.y);
    *u = size > 0 ? sqrt(fmax(v.x * v.x * v.xx + 2 * v.x * v.y * v.xy + v.y * v.y * v.yy, 0)) / size
                  : sqrt(v.xx);
    return size;
}

/* The probability that it is @limit_mm off then, all explanations counted. */
static double probability(const struct deviation *d, double weeks, double limit_mm)
{
    double sum = 0, u;

    for (size_t i = 0; i < d->changes->n_rivals; i++) {
        const struct tt_prediction *p = &d->changes->rival[2 * i * d->changes->values.tips + d->at];
        double left = limit_mm - deviation_at(d, p, weeks, &u);
        sum += d->changes->rival_weight[i] *
               (u > 0 ? tt_student_upper(left / u, d->dof) : (double)(left <= 0));
    }
    return sum;
}

/* The first week at which @limit_mm is reached with probability @p, or by what was found where @p
 * is 0; false: not within the horizon. */
static bool crossing(const struct deviation *d, double p, double limit_mm, double *weeks)
{
    const int steps = 146; /* two days and a half each; a slow drift does not turn within one */
    double u, low = 0, high = 0;

    for (int i = 0, halves = 0; halves < 40;) {
        double now = halves > 0 ? 0.5 * (low + high) : HORIZON_WEEKS * i / steps;
        bool reached = p > 0 ? probability(d, now, limit_mm) >= p
                             : deviation_at(d, &d->found, now, &u) >= limit_mm;
        if (!reached && halves == 0 && i++ == steps) {
            return false;
        }
        *(reached ? &high : &low) = now;
        halves += reached || halves > 0;
    }
    *weeks = high;
    return true;
}

/* When the permitted error is reached. */
static void settle(struct deviation *d, bool present, bool drifts, struct tt_forecast *f)
{
    const struct tt_changes *c = d->changes;
    double u, weeks, last_s = c->values.run[c->values.n - 1]->time_s;

    f->state = TT_FORECAST_NO_DRIFT;
    d->last_week = c->values.weeks[c->values.n - 1];
    f->over_now = present && deviation_at(d, &d->found, 0, &u) >= f->permitted_error_mm;
    d->from_update = !present || f->over_now;
    f->from_present = !d->from_update;
    if (!drifts) {
        return;
    }
    f->state = TT_FORECAST_NOT_WITHIN;
    f->has_from = crossing(d, TAIL, f->permitted_error_mm, &weeks);
    f->from_s = f->has_from ? last_s + weeks * WEEK_S : 0;
    if (crossing(d, 0, f->permitted_error_mm, &weeks)) {
        f->state = TT_FORECAST_DATE;
        f->date_s = last_s + weeks * WEEK_S;
        f->from_s = f->has_from ? fmin(f->from_s, f->date_s) : f->date_s;
        f->has_from = true;
        f->has_to = crossing(d, 1 - TAIL, f->permitted_error_mm, &weeks);
        f->to_s = f->has_to ? fmax(last_s + weeks * WEEK_S, f->date_s) : 0;
    }
}

void tt_trend_forecast(const struct tt_changes *c, size_t tip, struct tt_trend_tip *t)
{
    struct tt_forecast *f = &t->forecast;
    struct deviation d = {.changes = c, .at = tip, .dof = tt_changes_dof(c)};

    for (size_t run = c->values.n; run-- > 0;) {
        if (c->values.run[run]->has_permitted_error) {
            f->permitted_error_mm = c->values.run[run]->permitted_error_mm;
            break;
        }
    }
    if (!(f->permitted_error_mm > 0)) {
        return;
    }
    bool present = t->has_present && t->n_points > 0;
    if (present) { /* values count from the first one (values.c) */
        d.x = t->present.x_mm - t->points[0].offset.x_mm;
        d.y = t->present.y_mm - t->points[0].offset.y_mm;
    }
    tt_changes_predict(c, tip, false, &d.found);
    settle(&d, present, t->drift_significant, f);
}

/* When the height will be off by what is permitted. */
static void forecast_height(const struct tt_changes *c, size_t tip, double permitted_mm,
                            struct tt_height_trend *h)
{
    struct deviation d = {.changes = c,
                          .at = c->values.tips + tip,
                          .dof = tt_changes_height_dof(c),
                          .x = h->present_mm - h->points[0].height_mm};

    if (!(permitted_mm > 0) || c->problem == NULL) {
        return;
    }
    h->forecast.permitted_error_mm = permitted_mm;
    tt_changes_predict(c, tip, true, &d.found);
    settle(&d, h->has_present, h->drift_significant, &h->forecast);
}

static void add_point(const struct tt_changes *c, size_t run, const struct tt_series_tip *from,
                      struct tt_height_trend *h)
{
    size_t at = run * c->values.p + tt_at_offset(&c->values, from->tip, 2);

    h->points[h->n_points++] =
        (struct tt_height_point){.run = (size_t)(c->values.run[run] - c->values.series->runs),
                                 .time_s = c->values.run[run]->time_s,
                                 .id = c->values.run[run]->id,
                                 .height_mm = from->height_mm,
                                 .u_mm = from->u_height_mm,
                                 .fitted_mm = from->height_mm - c->residual[at]};
}

enum tiptrue_status tt_trend_height(struct tiptrue_trend *trend, const struct tt_changes *c,
                                    size_t tip)
{
    const struct tt_values *v = &c->values;
    struct tt_height_trend *h = &trend->tips[tip].height;
    double permitted_mm = 0, squares = 0;

    h->points = TT_ARENA_NEW(&trend->arena, v->n, struct tt_height_point);
    if (h->points == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t run = 0; run < v->n && v->axes > 2; run++) {
        const struct tt_series_run *of = v->run[run];
        for (size_t i = 0; i < of->n_tips; i++) {
            const struct tt_series_tip *from = &of->tips[i];
            if (from->tip != tip || !v->there[run * v->p + tt_at_offset(v, tip, 2)]) {
                continue;
            }
            add_point(c, run, from, h);
            struct tt_height_point *p = &h->points[h->n_points - 1];
            p->id = tt_arena_copy(&trend->arena, p->id);
            squares += from->u_height_mm * from->u_height_mm;
            if (from->has_present_height) {
                h->has_present = true;
                h->present_mm = from->present_height_mm;
            }
            permitted_mm = from->has_permitted_height ? from->permitted_height_mm : permitted_mm;
        }
    }
    if (h->n_points > 0) {
        const struct tt_tip_drift *drift = &c->height_drift[tip];
        h->within_u_mm = sqrt(squares / (double)h->n_points);
        h->between_mm = tt_changes_height_between(c, tip, &h->u_between_mm);
        h->has_drift = drift->known && h->n_points > 1; /* by rounding alone, of one */
        h->drift_significant = drift->shows;
        h->step_alike = drift->step_alike;
        h->drift_mm_per_week = drift->x;
        h->u_drift_mm_per_week = sqrt(drift->xx);
        h->p_drift = drift->p;
        forecast_height(c, tip, permitted_mm, h);
    }
    return TIPTRUE_OK;
}
