/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Series of runs with known truth, drawn: one run a day, Sundays off, of tips that scatter between
 * runs. Invented numbers. */
#ifndef WEEKS_H
#define WEEKS_H

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>

#include "history/series/series.h"

#define WEEKS_START_S 1.7e9
#define WEEKS_MOST_TIPS 8

struct weeks {
    size_t tips, runs;
    double between_mm, sighting_mm,
        touch_mm; /* per axis: own of each tip and run; shared by the tips of a run; own, stated */
    double correlation; /* from run to run, of what is between */
    /* a step of tip 0 (or of all, with the pose) from the run @from on */
    size_t from;
    bool all, pose;
    double step_x_mm, step_y_mm, runout_step_mm, mark_step_mm;
    double drift_mm_per_week; /* of the last tip along y */
    double wear_mm_per_week;  /* of tip 0's contact radius */
    double
        permitted_mm; /* 0: none is stated; the last tip is then in use at its first true offset */
};

static inline size_t weeks_day(size_t run)
{
    return run + run / 6;
}

static inline void weeks_tip(const struct weeks *w, gsl_rng *rng, size_t run, size_t k,
                             const double shared[2], double wander[2], struct tt_series_tip *tip)
{
    double kept = sqrt(1 - w->correlation * w->correlation);
    bool moved = w->from > 0 && run >= w->from && (w->all || k == 0);

    for (int axis = 0; axis < 2; axis++) {
        wander[axis] =
            run == 0 ? gsl_ran_gaussian(rng, w->between_mm)
                     : w->correlation * wander[axis] + gsl_ran_gaussian(rng, kept * w->between_mm);
    }
    tip->verdict = TIPTRUE_UPDATE;
    tip->has_offset = tip->has_runout = tip->has_radius = true;
    tip->offset.x_mm = -41.3 + 17.2 * (double)k + shared[0] + wander[0] +
                       gsl_ran_gaussian(rng, w->touch_mm) + (moved ? w->step_x_mm : 0);
    tip->offset.y_mm = 12.7 + shared[1] + wander[1] + gsl_ran_gaussian(rng, w->touch_mm) +
                       (moved ? w->step_y_mm : 0) +
                       (k + 1 == w->tips ? w->drift_mm_per_week * (double)weeks_day(run) / 7 : 0);
    double variance = w->touch_mm * w->touch_mm + w->sighting_mm * w->sighting_mm;
    tip->same_plate_cov = (struct tt_cov2){variance, 0, variance};
    tip->cov = (struct tt_cov2){variance + 4e-4, 0, variance + 4e-4};
    tip->common_u_x_mm = tip->common_u_y_mm = w->sighting_mm;
    bool bent = moved && !w->all;
    tip->runout =
        (struct tt_tip_xy){0.031 + gsl_ran_gaussian(rng, 0.0007) + (bent ? w->runout_step_mm : 0),
                           -0.018 + gsl_ran_gaussian(rng, 0.0007)};
    tip->runout_cov = (struct tt_cov2){4.2e-7, 0, 4.2e-7};
    tip->radius_mm = 0.41 + gsl_ran_gaussian(rng, 0.0005);
    tip->u_radius_mm = 0.0005;
    tip->radius_mm -= k == 0 ? w->wear_mm_per_week * (double)weeks_day(run) / 7 : 0;
    tip->has_present = w->permitted_mm > 0;
    tip->present = (struct tt_machine_xy){-41.3 + 17.2 * (double)k, 12.7};
}

/* @series starts as {.arena = ...}. */
static inline void weeks_draw(const struct weeks *w, gsl_rng *rng, struct tt_series *series)
{
    static const char *const NAMES[WEEKS_MOST_TIPS] = {"wide",  "narrow", "long",  "soft",
                                                       "steel", "cup",    "brass", "spare"};
    double wander[WEEKS_MOST_TIPS][2] = {{0}};

    for (size_t i = 0; i < w->runs; i++) {
        struct tt_series_run *run = tt_series_new_run(series, w->tips, 0);
        double shared[2] = {gsl_ran_gaussian(rng, w->sighting_mm),
                            gsl_ran_gaussian(rng, w->sighting_mm)};
        bool moved = w->from > 0 && i >= w->from && w->pose;
        run->id = "00000000000000a7";
        run->plate = "cross window";
        run->time_s = WEEKS_START_S + 86400.0 * (double)weeks_day(i);
        run->time_stated = true;
        run->verdict = TIPTRUE_UPDATE;
        run->has_pose = true;
        run->has_permitted_error = w->permitted_mm > 0;
        run->permitted_error_mm = w->permitted_mm;
        run->setup = "1";
        run->mark = (struct tt_machine_xy){119.1 + gsl_ran_gaussian(rng, 0.012) +
                                               (moved ? w->mark_step_mm : 0),
                                           75.7 + gsl_ran_gaussian(rng, 0.012)};
        run->yaw_rad = 0.004 + gsl_ran_gaussian(rng, 1e-4);
        run->u_mark_x_mm = run->u_mark_y_mm = 0.002;
        run->u_yaw_rad = 1.1e-4;
        for (size_t k = 0; k < w->tips; k++) {
            run->tips[k].tip = tt_series_tip_index(series, NAMES[k]);
            weeks_tip(w, rng, i, k, shared, wander[k], &run->tips[k]);
        }
    }
}

#endif
