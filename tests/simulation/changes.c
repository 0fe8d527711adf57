/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Thousands of drawn series: how often a quiet machine shows a change, and how often a step is found within five runs, looked for
 * after each of them. Prints a table, then the counts. changes [SERIES] [SEED]; fewer series for a quick look.
 */
#include "config.h"

#include <stdlib.h>

#include "history/changes.h"
#include "history/weeks.h"

/* 10 um, in a direction that is drawn, of tip 0. */
#define STEP_MM 0.01
#define AFTER 5

struct rates {
    size_t quiet, found, found_at_once;
};

static bool is_step(const struct tt_event *e, const struct weeks *w)
{
    bool right = e->what == TT_TIP_SEAT || e->what == TT_TIP_CHANGED || (w->tips == 1 && e->what != TT_POSE);
    return right && (w->tips == 1 || e->tip == 0) && e->first <= w->from && e->last >= w->from;
}

/* Changes that are found in the first @runs runs of @series: all of them, and whether the step of @w is among them. */
static size_t find(const struct tt_series *series, size_t runs, const struct weeks *w, bool *step)
{
    struct tt_arena arena = {0};
    struct tt_series part = *series;
    struct tt_changes changes;
    size_t n = 0;

    part.n_runs = runs;
    if (tt_changes_find(&changes, &part, &arena) != TIPTRUE_OK) {
        fprintf(stderr, "out of memory\n");
        exit(EXIT_FAILURE);
    }
    for (size_t i = 0; i < changes.n_events; i++) {
        if (changes.events[i].to >= changes.n) {
            n++;
            *step = *step || (w->from > 0 && is_step(&changes.events[i], w));
        }
    }
    tt_arena_clear(&arena);
    return n;
}

static void one_series(struct weeks w, gsl_rng *rng, struct rates *rates)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    double angle = gsl_ran_flat(rng, 0, 2 * TT_PI);
    bool none = false, step = false;

    weeks_draw(&w, rng, &series);
    rates->quiet += find(&series, w.runs, &w, &none) > 0;
    series = (struct tt_series){.arena = &arena};
    w.from = w.runs - AFTER;
    w.step_x_mm = STEP_MM * cos(angle);
    w.step_y_mm = STEP_MM * sin(angle);
    weeks_draw(&w, rng, &series);
    find(&series, w.runs, &w, &step);
    rates->found_at_once += step;
    for (size_t runs = w.from + 2; runs < w.runs && !step; runs++) {
        find(&series, runs, &w, &step);
    }
    rates->found += step;
    tt_arena_clear(&arena);
}

int main(int argc, char *argv[])
{
    static const struct weeks KINDS[] = {
        {.tips = 3, .runs = 60, .between_mm = 0.003, .sighting_mm = 0.0007, .touch_mm = 0.00065},
        {.tips = 3, .runs = 60, .between_mm = 0.003, .sighting_mm = 0.002, .touch_mm = 0.00065},
        {.tips = 3, .runs = 40, .between_mm = 0.003, .sighting_mm = 0.002, .touch_mm = 0.00065},
        {.tips = 3, .runs = 20, .between_mm = 0.003, .sighting_mm = 0.002, .touch_mm = 0.00065},
        {.tips = 1, .runs = 60, .between_mm = 0.003, .sighting_mm = 0.0007, .touch_mm = 0.00065},
        {.tips = 8, .runs = 60, .between_mm = 0.003, .sighting_mm = 0.002, .touch_mm = 0.00065},
        {.tips = 3, .runs = 60, .between_mm = 0.003, .sighting_mm = 0.002, .touch_mm = 0.00065, .correlation = 0.3},
    };
    size_t series = argc > 1 ? strtoul(argv[1], NULL, 10) : 1000, passed = 0, failed = 0;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    gsl_rng_set(rng, argc > 2 ? strtoul(argv[2], NULL, 10) : 20);
    printf("| tips | runs | sightings, um | correlated | series | a false change, %% | step found by the 5th run, %% | at the 5th "
           "run, %% |\n");
    printf("|---|---|---|---|---|---|---|---|\n");
    for (size_t k = 0; k < sizeof KINDS / sizeof KINDS[0]; k++) {
        const struct weeks *w = &KINDS[k];
        struct rates rates = {0};
        for (size_t i = 0; i < series; i++) {
            one_series(*w, rng, &rates);
        }
        double n = (double)series, quiet = (double)rates.quiet / n, found = (double)rates.found / n;
        printf("| %zu | %zu | %.1f | %.1f | %zu | %.2f | %.1f | %.1f |\n", w->tips, w->runs, 1e3 * w->sighting_mm, w->correlation,
               series, 100 * quiet, 100 * found, 100 * (double)rates.found_at_once / n);
        /* the bounds hold for 60 independent runs; chance is given three standard deviations of a count */
        if (w->runs == 60 && !(w->correlation > 0)) {
            *(quiet <= 0.01 + 3 * sqrt(0.01 * 0.99 / n) ? &passed : &failed) += 1;
        }
        if (k < 2) {
            *(found >= 0.95 - 3 * sqrt(0.95 * 0.05 / n) ? &passed : &failed) += 1;
        }
        fflush(stdout);
    }
    gsl_rng_free(rng);
    printf("%zu passed, %zu failed\n", passed, failed);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
