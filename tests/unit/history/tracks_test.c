/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Tracks of repeatability and late touches on series with known truth: what is told of scatter that
 * doubles for some runs, of edges that trigger late more and more often, and that quiet histories
 * are left alone. Invented numbers. HISTORIES: of each cell (docs/trend.md: 20000, printed). */
#include "config.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#include "history/series/tracks.h"

enum { EDGES = 6, MOST_RUNS = 400 };

struct story {
    size_t runs, first, last; /* runs first to before last are noisier */
    double factor;            /* by which their standard deviation is larger */
    double touch_dof, sight_dof;
    double restless;      /* standard deviation of ln of a run's own standard deviation */
    double late, late_in; /* share of late touches, and of edge 2 in those runs */
    double late_rise;     /* of edge 2's share, over all weeks */
    double clustered; /* a beta distribution with this a + b draws a run's share; 0: none does */
};

static double chi2_sd(gsl_rng *rng, double dof)
{
    return sqrt(gsl_ran_chisq(rng, dof) / dof);
}

static size_t late_of(gsl_rng *rng, const struct story *s, double share, unsigned touches)
{
    if (s->clustered > 0 && share > 0) {
        share = gsl_ran_beta(rng, share * s->clustered, (1 - share) * s->clustered);
    }
    return gsl_ran_binomial(rng, share, touches);
}

/* One story, told; the caller clears trend->arena. */
static void tell(const struct story *s, gsl_rng *rng, struct tiptrue_trend *trend)
{
    static struct tt_series_run runs[MOST_RUNS];
    static struct tt_series_edge edges[MOST_RUNS][EDGES];
    const struct tt_series series = {.runs = runs, .n_runs = s->runs};

    for (size_t i = 0; i < s->runs; i++) {
        bool in = i >= s->first && i < s->last;
        double scale = exp(gsl_ran_gaussian(rng, s->restless)) * (in ? s->factor : 1);
        runs[i] = (struct tt_series_run){
            .time_s = 1.7e9 + 86400.0 * (double)(i + i / 6),
            .edges = edges[i],
            .n_edges = EDGES,
            .own_touch_mm = 0.0027 * scale * chi2_sd(rng, s->touch_dof),
            .own_touch_dof = s->touch_dof,
            .own_sighting_mm = 0.0016 * chi2_sd(rng, s->sight_dof),
            .own_sighting_dof = s->sight_dof,
        };
        for (size_t k = 0; k < EDGES; k++) {
            double rise = s->late_rise * (double)i / (double)s->runs;
            double share = k == 2 && in ? s->late_in : s->late + (k == 2 ? rise : 0);
            edges[i][k] = (struct tt_series_edge){
                .edge = k, .touches = 12, .late = late_of(rng, s, share, 12)};
        }
    }
    *trend = (struct tiptrue_trend){.n_edges = EDGES};
    ck_assert_int_eq(tt_trend_tracks(trend, &series), TIPTRUE_OK);
}

static size_t histories(size_t few)
{
    const char *wanted = getenv("HISTORIES");
    return wanted != NULL ? (size_t)strtoul(wanted, NULL, 10) : few;
}

static gsl_rng *random_of(unsigned long seed)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, seed);
    return rng;
}

static size_t count_events(const struct tiptrue_trend *trend)
{
    size_t n = 0;
    for (size_t i = 0; i < trend->n_tracks; i++) {
        n += trend->tracks[i].n_events;
    }
    return n;
}

/* At most 0.5 % of quiet histories are told anything; three standard deviations of the count. */
START_TEST(quiet)
{
    static const struct story QUIET[] = {
        {.runs = 60, .touch_dof = 33.4, .sight_dof = 7.2, .late = 0.02, .factor = 1},
        {.runs = 60, .touch_dof = 12.6, .sight_dof = 3.1, .late = 0.002, .factor = 1},
        {.runs = 60, .touch_dof = 95, .sight_dof = 19, .late = 0.12, .factor = 1, .restless = 0.2},
        {.runs = 60,
         .touch_dof = 33.4,
         .sight_dof = 7.2,
         .late = 0.05,
         .factor = 1,
         .restless = 0.1,
         .clustered = 12},
        {.runs = 12, .touch_dof = 21.3, .sight_dof = 5.5, .late = 0.05, .factor = 1},
        {.runs = 200, .touch_dof = 33.4, .sight_dof = 7.2, .late = 0.01, .factor = 1},
    };
    size_t n = histories(150), told = 0;
    gsl_rng *rng = random_of(11 + (unsigned long)_i);

    for (size_t i = 0; i < n; i++) {
        struct tiptrue_trend trend;
        tell(&QUIET[_i], rng, &trend);
        ck_assert_uint_eq(trend.n_tracks, 2 + EDGES);
        told += count_events(&trend) > 0;
        tt_arena_clear(&trend.arena);
    }
    gsl_rng_free(rng);
    printf("quiet %d: %zu of %zu\n", _i, told, n);
    ck_assert_double_le((double)told, 0.005 * (double)n + 3 * sqrt(0.005 * (double)n));
}
END_TEST

/* What must be told of each: by which track, with which code, in what share of histories. */
static const struct {
    struct story story;
    enum tt_track_kind kind;
    enum tt_track_code code;
    double least;
} TOLD[] = {
    {{.runs = 40,
      .first = 17,
      .last = 22,
      .factor = 2,
      .touch_dof = 33.4,
      .sight_dof = 7.2,
      .late = 0.02,
      .late_in = 0.02},
     TT_TRACK_TOUCH,
     TT_TRACK_NOISY,
     0.98},
    {{.runs = 40,
      .first = 17,
      .last = 22,
      .factor = 2,
      .touch_dof = 12.6,
      .sight_dof = 7.2,
      .restless = 0.1,
      .late = 0.02,
      .late_in = 0.02},
     TT_TRACK_TOUCH,
     TT_TRACK_NOISY,
     0.85},
    {{.runs = 40,
      .first = 35,
      .last = 40,
      .factor = 2,
      .touch_dof = 33.4,
      .sight_dof = 7.2,
      .late = 0.02,
      .late_in = 0.02},
     TT_TRACK_TOUCH,
     TT_TRACK_NOISIER,
     0.98},
    {{.runs = 40,
      .first = 0,
      .last = 9,
      .factor = 2,
      .touch_dof = 33.4,
      .sight_dof = 7.2,
      .late = 0.02,
      .late_in = 0.02},
     TT_TRACK_TOUCH,
     TT_TRACK_WAS_NOISIER,
     0.98},
    {{.runs = 40,
      .first = 12,
      .last = 17,
      .factor = 1,
      .touch_dof = 33.4,
      .sight_dof = 7.2,
      .late = 0.02,
      .late_in = 0.35},
     TT_TRACK_LATE,
     TT_TRACK_NOISY,
     0.84},
    {{.runs = 60,
      .factor = 1,
      .touch_dof = 33.4,
      .sight_dof = 7.2,
      .late = 0.01,
      .late_rise = 0.25},
     TT_TRACK_LATE,
     TT_TRACK_RISES,
     0.86},
};

static bool is_told(const struct tiptrue_trend *trend, int which)
{
    for (size_t i = 0; i < trend->n_tracks; i++) {
        const struct tt_trend_track *t = &trend->tracks[i];
        for (size_t k = 0; k < t->n_events; k++) {
            if (t->kind == TOLD[which].kind && t->events[k].code == TOLD[which].code &&
                (t->kind != TT_TRACK_LATE || t->edge == 2)) {
                return true;
            }
        }
    }
    return false;
}

START_TEST(told)
{
    size_t n = histories(80), right = 0;
    gsl_rng *rng = random_of(101 + (unsigned long)_i);

    for (size_t i = 0; i < n; i++) {
        struct tiptrue_trend trend;
        tell(&TOLD[_i].story, rng, &trend);
        right += is_told(&trend, _i);
        tt_arena_clear(&trend.arena);
    }
    gsl_rng_free(rng);
    printf("told %d: %zu of %zu\n", _i, right, n);
    double least = TOLD[_i].least;
    ck_assert_double_ge((double)right / (double)n,
                        least - 3 * sqrt(least * (1 - least) / (double)n));
}
END_TEST

/* Levels, times and counts of one that is plain: every run alike but five of twice the scatter. */
START_TEST(numbers)
{
    struct tt_series_run runs[40] = {0};
    struct tt_series series = {.runs = runs, .n_runs = 40};
    struct tiptrue_trend trend = {0};

    for (size_t i = 0; i < 40; i++) {
        bool in = i >= 20 && i < 25;
        runs[i] = (struct tt_series_run){.time_s = 1.7e9 + 86400.0 * (double)i,
                                         .own_touch_mm = in ? 0.0062 : 0.0031,
                                         .own_touch_dof = 30};
    }
    runs[33].left_out = true;
    ck_assert_int_eq(tt_trend_tracks(&trend, &series), TIPTRUE_OK);
    ck_assert_uint_eq(trend.n_tracks, 1);
    ck_assert_uint_eq(trend.tracks[0].runs, 39);
    ck_assert_uint_eq(trend.tracks[0].n_events, 1);
    const struct tt_track_event *e = &trend.tracks[0].events[0];
    ck_assert_int_eq(e->code, TT_TRACK_NOISY);
    ck_assert_double_eq(e->from_s, 1.7e9 + 86400.0 * 20);
    ck_assert_double_eq(e->to_s, 1.7e9 + 86400.0 * 24);
    ck_assert_uint_eq(e->runs, 5);
    ck_assert_double_eq_tol(e->value, 0.0062, 1e-12);
    ck_assert_double_eq_tol(e->otherwise, 0.0031, 1e-12);
    ck_assert_double_lt(e->p, 1e-6);
    /* pooled: sqrt((34 + 5 * 4) / 39) times the usual */
    ck_assert_double_eq_tol(trend.tracks[0].value, 0.0031 * sqrt(54.0 / 39), 1e-12);
    tt_arena_clear(&trend.arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("tracks");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 600);
    tcase_add_loop_test(all, quiet, 0, 6);
    tcase_add_loop_test(all, told, 0, (int)(sizeof TOLD / sizeof TOLD[0]));
    tcase_add_test(all, numbers);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
