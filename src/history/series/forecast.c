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
#define TWO_SIDED_95 0.975

/* How far the offset is from the one it is compared with, @weeks after the last run, and the
 * uncertainty along that direction. */
struct deviation {
    const struct tt_changes *changes;
    size_t tip;
    double last_week;
    double x, y;      /* the present offset, as the values count; of a height x */
    bool height;      /* the tip's height in place of its offset */
    bool from_update; /* no reference: an update at the last run */
};

static double deviation_at(const struct deviation *d, double weeks, double *u)
{
    const struct tt_tip_drift *drift =
        d->height ? &d->changes->height_drift[d->tip] : &d->changes->drift[d->tip];
    double w2 = weeks * weeks;
    struct tt_moved_by v = {true,           weeks * drift->x, weeks * drift->y,
                            w2 * drift->xx, w2 * drift->xy,   w2 * drift->yy};

    if (!d->from_update) {
        double week = d->last_week + weeks;
        v = d->height ? tt_changes_predict_height(d->changes, d->tip, week)
                      : tt_changes_predict(d->changes, d->tip, week);
        v.x -= d->x;
        v.y -= d->y;
    }
    double size = hypot(v.x, v.y);
    *u = size > 0 ? sqrt(fmax(v.x * v.x * v.xx + 2 * v.x * v.y * v.xy + v.y * v.y * v.yy, 0)) / size
                  : sqrt(v.xx);
    return size;
}

/* The first week at which the deviation plus @k of its uncertainties reaches @limit_mm; false: not
 * within the horizon. */
static bool crossing(const struct deviation *d, double k, double limit_mm, double *weeks)
{
    const int steps = 730; /* half a day each; a slow drift does not turn within one */
    double u, low = 0, high = 0;

    for (int i = 0; i <= steps; i++) {
        high = HORIZON_WEEKS * i / steps;
        if (deviation_at(d, high, &u) + k * u >= limit_mm) {
            break;
        }
        if (i == steps) {
            return false;
        }
        low = high;
    }
    for (int i = 0; i < 40; i++) {
        double middle = 0.5 * (low + high);
        if (deviation_at(d, middle, &u) + k * u >= limit_mm) {
            high = middle;
        } else {
            low = middle;
        }
    }
    *weeks = high;
    return true;
}

/* When the permitted error is reached; @factor: of the deviation's uncertainty at the ends. */
static void settle(const struct deviation *d, bool drifts, double factor, double last_s,
                   struct tt_forecast *f)
{
    double weeks;

    f->from_present = !d->from_update;
    if (!drifts) {
        return;
    }
    f->state = TT_FORECAST_NOT_WITHIN;
    f->has_from = crossing(d, factor, f->permitted_error_mm, &weeks);
    f->from_s = f->has_from ? last_s + weeks * WEEK_S : 0;
    if (crossing(d, 0, f->permitted_error_mm, &weeks)) {
        f->state = TT_FORECAST_DATE;
        f->date_s = last_s + weeks * WEEK_S;
        f->has_to = crossing(d, -factor, f->permitted_error_mm, &weeks);
        f->to_s = f->has_to ? last_s + weeks * WEEK_S : 0;
    }
}

void tt_trend_forecast(const struct tt_changes *c, size_t tip, struct tt_trend_tip *t)
{
    size_t n = c->values.n;
    const struct tt_series_run *last = c->values.run[n - 1];
    struct tt_forecast *f = &t->forecast;
    struct deviation d = {
        .changes = c, .tip = tip, .last_week = c->values.weeks[n - 1], .from_update = true};
    double u, factor = tt_student_quantile(TWO_SIDED_95, tt_changes_dof(c));

    for (size_t run = n; run-- > 0;) {
        if (c->values.run[run]->has_permitted_error) {
            f->permitted_error_mm = c->values.run[run]->permitted_error_mm;
            break;
        }
    }
    if (!(f->permitted_error_mm > 0)) {
        return;
    }
    f->state = TT_FORECAST_NO_DRIFT;
    if (t->has_present && t->n_points > 0) {
        /* values count from the first one (values.c) */
        d.x = t->present.x_mm - t->points[0].offset.x_mm;
        d.y = t->present.y_mm - t->points[0].offset.y_mm;
        d.from_update = false;
        f->over_now = deviation_at(&d, 0, &u) >= f->permitted_error_mm;
        d.from_update = f->over_now;
    }
    settle(&d, t->drift_significant, factor, last->time_s, f);
}

/* When the height will be off by what is permitted. */
static void forecast_height(const struct tt_changes *c, size_t tip, double permitted_mm,
                            struct tt_height_trend *h)
{
    size_t n = c->values.n;
    struct tt_forecast *f = &h->forecast;
    struct deviation d = {.changes = c,
                          .tip = tip,
                          .last_week = c->values.weeks[n - 1],
                          .height = true,
                          .from_update = true};
    double u, factor = tt_student_quantile(TWO_SIDED_95, tt_changes_height_dof(c));

    if (!(permitted_mm > 0) || c->problem == NULL) {
        return;
    }
    f->permitted_error_mm = permitted_mm;
    f->state = TT_FORECAST_NO_DRIFT;
    if (h->has_present) {
        d.x = h->present_mm - h->points[0].height_mm;
        d.from_update = false;
        f->over_now = deviation_at(&d, 0, &u) >= f->permitted_error_mm;
        d.from_update = f->over_now;
    }
    settle(&d, h->drift_significant, factor, c->values.run[n - 1]->time_s, f);
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
            p->id = p->id != NULL ? tt_arena_copy_text(&trend->arena, p->id, strlen(p->id)) : NULL;
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
        h->has_drift = drift->known;
        h->drift_significant = drift->shows;
        h->step_alike = drift->step_alike;
        h->drift_mm_per_week = drift->x;
        h->u_drift_mm_per_week = sqrt(drift->xx);
        h->p_drift = drift->p;
        forecast_height(c, tip, permitted_mm, h);
    }
    return TIPTRUE_OK;
}
