/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Drawn histories with known truth: what is found and named rightly, what is found that is not
 * there, how well scatter and drift are known. A history is a series of results, three tips and
 * four edges on a cross, a run a day: scatter between runs 2 um own and 1 um shared per axis,
 * offsets known to 1 um own and 1 um shared (standard deviations all). changes [HISTORIES] [SEED]
 * [CELL]: a table, then the counts; CELL: the rows whose name holds it.
 */
#include "config.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "history/series/series.h"
#include "history/series/trend.h"
#include "output/text/sentences.h"

#define UM 1e-3
#define EDGES 4
#define MOST_EVENTS 40

/* Z_HOME: all heights; HEIGHT: one; CHANGED moves the height, too, where there are some. */
enum kind { CAMERA, HEAD, POSE, PLATE, SEAT, CHANGED, EDGE, Z_HOME, HEIGHT };

struct event {
    size_t from;
    enum kind kind;
    size_t who;
    double um;
};

struct drawn {
    size_t n, tips;
    double own, shared, ar;    /* between runs, um */
    double season, per_kelvin; /* um; um/K; the log states temperatures */
    bool temperature;
    double drift; /* um a week: of the last tip; of all where `drift_all` */
    bool drift_all;
    size_t period; /* runs of a season */
    struct event event[MOST_EVENTS];
    size_t n_events;
    bool heights; /* of all tips: scatter between runs and in a run 2, 1, 1 and 1 um, as offsets */
    double wear;  /* of the last tip's height, um a week */
    double drift_x, drift_y; /* as drawn */
};

static double gauss(gsl_rng *rng, double um)
{
    return UM * gsl_ran_gaussian(rng, um);
}

/* The next value of an autoregressive process with standard deviation @um. */
static void wander(gsl_rng *rng, double ar, double um, bool first, double *x)
{
    *x = first ? gauss(rng, um) : ar * *x + sqrt(1 - ar * ar) * gauss(rng, um);
}

static void add_event(gsl_rng *rng, const struct event *e, struct tt_series *series,
                      const double angle[3])
{
    double v[2] = {UM * e->um * cos(angle[0]), UM * e->um * sin(angle[0])};
    double w[2] = {UM * e->um * cos(angle[1]), UM * e->um * sin(angle[1])};
    static const double NX[] = {1, 0, -1, 0}, NY[] = {0, 1, 0, -1};
    (void)rng;

    for (size_t i = e->from; i < series->n_runs; i++) {
        struct tt_series_run *run = &series->runs[i];
        for (size_t k = 0; k < run->n_tips; k++) {
            struct tt_series_tip *tip = &run->tips[k];
            if (e->kind == CAMERA || e->kind == HEAD || e->kind == PLATE ||
                ((e->kind == SEAT || e->kind == CHANGED) && e->who == k)) {
                tip->offset.x_mm += v[0];
                tip->offset.y_mm += v[1];
            }
            if (e->kind == Z_HOME || ((e->kind == HEIGHT || e->kind == CHANGED) && e->who == k)) {
                tip->height_mm += UM * e->um;
            }
            if (e->kind == CHANGED && e->who == k) {
                tip->runout.x_mm += w[0];
                tip->runout.y_mm += w[1];
                tip->radius_mm += 0.3 * UM * e->um;
            }
            if (e->kind == EDGE) { /* a film: the edge lies further in, as three quarters of it have
                                      to be shared out */
                tip->offset.x_mm -= 0.5 * UM * e->um * NX[e->who];
                tip->offset.y_mm -= 0.5 * UM * e->um * NY[e->who];
                tip->radius_mm += 0.25 * UM * e->um;
            }
        }
        for (size_t j = 0; j < run->n_edges && e->kind == EDGE; j++) {
            run->edges[j].shift_mm -= 0.25 * UM * e->um * ((j + e->who) % 2 ? -1 : 1);
        }
        if (e->kind == HEAD) {
            run->mark.x_mm += v[0];
            run->mark.y_mm += v[1];
        }
        if (e->kind == POSE || e->kind == PLATE) {
            run->mark.x_mm += w[0];
            run->mark.y_mm += w[1];
            run->yaw_rad += 1e-5 * e->um * angle[2];
        }
    }
}

static void fill_tip(gsl_rng *rng, struct tt_series_tip *tip, const double shared[2],
                     const double own[2])
{
    tip->verdict = TIPTRUE_UPDATE;
    tip->has_offset = tip->has_runout = tip->has_radius = true;
    tip->offset = (struct tt_machine_xy){-41.3 + shared[0] + own[0] + gauss(rng, 1),
                                         12.7 + shared[1] + own[1] + gauss(rng, 1)};
    tip->same_plate_cov = (struct tt_cov2){2 * UM * UM, 0, 2 * UM * UM};
    tip->cov = (struct tt_cov2){20 * UM * UM, 0, 20 * UM * UM};
    tip->common_u_x_mm = tip->common_u_y_mm = UM;
    tip->runout = (struct tt_tip_xy){0.031 + gauss(rng, 1.12), -0.018 + gauss(rng, 1.12)};
    tip->runout_cov = (struct tt_cov2){UM * UM, 0, UM * UM};
    tip->radius_mm = 0.41 + gauss(rng, 1);
    tip->u_radius_mm = UM;
}

static void fill_height(gsl_rng *rng, double off_mm, struct tt_series_tip *tip)
{
    tip->has_height = true;
    tip->height_mm = -12.4 + off_mm + gauss(rng, 1);
    tip->u_height_mm = sqrt(2) * UM;
    tip->full_u_height_mm = 4 * UM;
    tip->common_u_height_mm = UM;
}

static bool make_response(struct tt_series *series, size_t tips)
{
    static const double NX[] = {1, 0, -1, 0}, NY[] = {0, 1, 0, -1};

    series->response = TT_ARENA_NEW(series->arena, EDGES, struct tt_series_response);
    for (size_t j = 0; series->response != NULL && j < EDGES; j++) {
        struct tt_series_response *r = &series->response[j];
        r->offset = TT_ARENA_NEW(series->arena, tips, struct tt_machine_xy);
        r->radius = TT_ARENA_NEW(series->arena, tips, double);
        r->edge = TT_ARENA_NEW(series->arena, EDGES, double);
        for (size_t k = 0; k < tips; k++) {
            r->offset[k] = (struct tt_machine_xy){0.5 * NX[j], 0.5 * NY[j]};
            r->radius[k] = -0.25;
        }
        for (size_t i = 0; i < EDGES; i++) {
            r->edge[i] = (i + j) % 2 ? -0.25 : 0.25;
        }
    }
    return series->response != NULL;
}

static void draw(struct drawn *d, gsl_rng *rng, struct tt_series *series)
{
    static const char *const NAMES[] = {"a", "b", "c", "d", "e", "f", "g", "h"},
                             *const EDGE_NAMES[] = {"e0", "e1", "e2", "e3"};
    double shared[3] = {0}, own[8][3] = {{0}}, t = 0, phase = gsl_ran_flat(rng, 0, 2 * TT_PI),
           a = gsl_ran_flat(rng, 0, 2 * TT_PI);

    d->drift_x = UM * d->drift * cos(a);
    d->drift_y = UM * d->drift * sin(a);
    for (size_t i = 0; i < d->n; i++) {
        struct tt_series_run *run = tt_series_new_run(series, d->tips, EDGES);
        double swing = d->period > 0 ? sin(2 * TT_PI * (double)i / (double)d->period + phase) : 0;
        double kelvin = d->season > 0 && d->per_kelvin > 0 ? d->season / d->per_kelvin * swing
                                                           : gsl_ran_gaussian(rng, 0.7);
        t += 1;
        run->id = "00000000000000a7";
        run->plate = "cross window";
        run->setup = "1";
        run->time_s = 1.7e9 + 86400 * t;
        run->time_stated = run->has_pose = true;
        run->verdict = TIPTRUE_UPDATE;
        run->mark = (struct tt_machine_xy){119 + gauss(rng, 1.5), 75 + gauss(rng, 1.5)};
        run->u_mark_x_mm = run->u_mark_y_mm = 1.5 * UM;
        run->yaw_rad = 0.004 + 1e-5 * gsl_ran_gaussian(rng, 1);
        run->u_yaw_rad = 1e-5;
        run->has_temperature = d->temperature;
        run->temperature_C = 22 + kelvin + gsl_ran_gaussian(rng, 0.2);
        for (int axis = 0; axis < (d->heights ? 3 : 2); axis++) {
            wander(rng, d->ar, d->shared, i == 0, &shared[axis]);
        }
        double z = d->heights ? shared[2] + gauss(rng, 1) : 0;
        double moved[2] = {shared[0] + gauss(rng, 1), shared[1] + gauss(rng, 1)};
        double warm = UM * (d->season > 0 ? d->season * swing : d->per_kelvin * kelvin);
        moved[0] += warm;
        moved[1] += 0.3 * warm;
        for (size_t k = 0; k < d->tips; k++) {
            for (int axis = 0; axis < (d->heights ? 3 : 2); axis++) {
                wander(rng, d->ar, d->own, i == 0, &own[k][axis]);
            }
            run->tips[k].tip = tt_series_tip_index(series, NAMES[k]);
            fill_tip(rng, &run->tips[k], moved, own[k]);
            if (d->heights) {
                fill_height(rng, z + own[k][2], &run->tips[k]);
                run->tips[k].height_mm -= k + 1 == d->tips ? UM * d->wear * t / 7 : 0;
            }
            if (d->drift_all || k + 1 == d->tips) {
                run->tips[k].offset.x_mm += d->drift_x * t / 7;
                run->tips[k].offset.y_mm += d->drift_y * t / 7;
            }
        }
        for (size_t j = 0; j < EDGES; j++) {
            run->edges[j] =
                (struct tt_series_edge){.edge = tt_series_edge_index(series, EDGE_NAMES[j]),
                                        .shift_mm = gauss(rng, 1.5),
                                        .u_shift_mm = 1.5 * UM};
        }
    }
    for (size_t i = 0; i < d->n_events; i++) {
        const double angle[3] = {gsl_ran_flat(rng, 0, 2 * TT_PI), gsl_ran_flat(rng, 0, 2 * TT_PI),
                                 gsl_ran_gaussian(rng, 1)};
        add_event(rng, &d->event[i], series, angle);
    }
}

/* What a cell counts, of histories unless said otherwise. */
struct counts {
    size_t histories, events, right, found, falsely, drifts, false_drifts, covered, latest,
        latest_right;
    double own2, shared_bias, seconds, between2;
};

static bool is_right(const struct tiptrue_trend *trend, const struct tt_series *series,
                     const struct tt_trend_change *c, const struct event *e)
{
    bool place =
        c->after_s < series->runs[e->from].time_s && c->before_s >= series->runs[e->from].time_s;
    double shift = UM * e->um, off = fabs(c->height_shift_mm - shift);

    if (!place || (c->has_height_shift && off > 6 * c->u_height_shift_mm)) {
        return false;
    }
    switch (e->kind) {
    case CAMERA:
    case HEAD:
        return c->moved == TT_MOVED_ALL_TIPS;
    case POSE:
    case PLATE:
        return c->moved == TT_MOVED_PLATE && c->has_shift == (e->kind == PLATE);
    case EDGE:
        return c->moved == TT_MOVED_EDGE && c->edge == e->who;
    case Z_HOME:
        return c->moved == TT_MOVED_Z_HOME && c->has_height_shift && !c->has_shift;
    case SEAT:
    case CHANGED:
    case HEIGHT:
        break;
    }
    bool known = trend->tips[e->who].height.n_points > 0;
    return c->moved == TT_MOVED_TIP && c->tip == e->who &&
           c->has_runout_shift == (e->kind == CHANGED) && c->has_shift == (e->kind != HEIGHT) &&
           c->has_height_shift == (e->kind == HEIGHT || (known && e->kind == CHANGED));
}

static void count_trend(const struct drawn *d, const struct tt_series *series,
                        const struct tiptrue_trend *trend, struct counts *n)
{
    bool right[MOST_EVENTS] = {false}, falsely = false;

    for (size_t i = 0; i < trend->n_changes; i++) {
        bool any = false;
        for (size_t k = 0; k < d->n_events && !any; k++) {
            if (!right[k] && is_right(trend, series, &trend->changes[i], &d->event[k])) {
                right[k] = any = true;
            }
        }
        falsely = falsely || !any;
    }
    for (size_t k = 0; k < d->n_events; k++) {
        n->right += right[k];
        bool found = false;
        for (size_t i = 0; i < trend->n_changes; i++) {
            const struct tt_trend_change *c = &trend->changes[i];
            found = found || (c->after_s < series->runs[d->event[k].from].time_s &&
                              c->before_s >= series->runs[d->event[k].from].time_s);
        }
        n->found += found;
    }
    n->events += d->n_events;
    n->falsely += falsely;
    bool drifts = false, false_drift = false;
    for (size_t k = 0; k < trend->n_tips; k++) {
        bool true_one = d->drift > 0 && (d->drift_all || k + 1 == d->tips);
        bool worn = d->wear > 0 && k + 1 == d->tips;
        const struct tt_height_trend *z = &trend->tips[k].height;
        drifts = drifts || (true_one && trend->tips[k].drift_significant) ||
                 (worn && z->drift_significant && z->drift_mm_per_week < 0);
        false_drift = false_drift || (!true_one && trend->tips[k].drift_significant) ||
                      (!worn && z->drift_significant);
        n->between2 += 0.5 *
                       (pow(trend->tips[k].between.x_mm, 2) + pow(trend->tips[k].between.y_mm, 2)) /
                       (double)trend->n_tips;
    }
    n->drifts += drifts;
    n->false_drifts += false_drift;
    const struct tt_trend_tip *last = &trend->tips[trend->n_tips - 1];
    const struct tt_height_trend *z = &last->height;
    n->covered += drifts && d->wear > 0 &&
                  fabs(z->drift_mm_per_week + UM * d->wear) < 1.96 * z->u_drift_mm_per_week;
    n->covered += drifts && !(d->wear > 0) &&
                  fabs(last->drift_x_mm_per_week - d->drift_x) < 1.96 * last->u_drift_x_mm_per_week;
    n->latest += trend->latest.differs;
    n->latest_right +=
        trend->latest.differs && d->n_events > 0 && trend->latest.change.moved == TT_MOVED_ALL_TIPS;
    n->histories++;
}

/* The bounds that a cell has to keep, chance given three standard deviations of a count. */
static void judge(const char *name, const struct drawn *d, const struct counts *n, size_t *passed,
                  size_t *failed)
{
    double h = (double)n->histories,
           right = n->events > 0 ? (double)n->right / (double)n->events : 1;
    bool quiet = d->n_events == 0 && d->season <= 0,
         many = strncmp(name, "many", 4) == 0 || strncmp(name, "block", 5) == 0;
    double most = d->ar > 0.5 ? 0.05 : d->ar > 0 ? 0.025 : 0.01;

    if (quiet && d->drift <= 0 && d->wear <= 0) {
        *((double)n->falsely <= h * most + 3 * sqrt(h * most) ? passed : failed) += 1;
        *((double)n->false_drifts <= h * 0.01 + 3 * sqrt(h * 0.03) ? passed : failed) += 1;
        *((double)n->latest <= h * 0.005 + 3 * sqrt(h * 0.005) ? passed : failed) += 1;
    }
    if (many) {
        *(right >= 0.97 - 3 * sqrt(0.03 / (double)n->events) ? passed : failed) += 1;
        *((double)n->falsely <= h * 0.05 + 3 * sqrt(h * 0.05) ? passed : failed) += 1;
    }
    if (strncmp(name, "heights", 7) == 0 && n->events > 0) {
        *(right >= 0.95 - 3 * sqrt(0.05 / (double)n->events) ? passed : failed) += 1;
        *((double)n->falsely <= h * 0.01 + 3 * sqrt(h * 0.01) ? passed : failed) += 1;
    }
    if (d->drift >= 1 || d->wear >= 1) {
        *((double)n->drifts >= h * 0.9 - 3 * sqrt(h * 0.09) ? passed : failed) += 1;
    }
}

static size_t passed, failed; /* bounds kept, and not */

static void run_cell(const char *name, struct drawn d, size_t histories, unsigned long seed)
{
    static const struct tiptrue_trend_options none = {0};
    struct counts n = {0};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    for (size_t i = 0; i < histories; i++) {
        struct tt_arena arena = {0};
        struct tt_series series = {.arena = &arena};
        struct tiptrue_trend *trend = NULL;
        struct drawn one = d;
        gsl_rng_set(rng, seed + 7919 * i);
        draw(&one, rng, &series);
        if (!make_response(&series, d.tips)) {
            exit(EXIT_FAILURE);
        }
        clock_t begin = clock();
        if (tt_trend_make(&series, series.n_runs, &none, &trend, NULL) != TIPTRUE_OK) {
            exit(EXIT_FAILURE);
        }
        n.seconds += (double)(clock() - begin) / CLOCKS_PER_SEC;
        count_trend(&one, &series, trend, &n);
        if (getenv("SHOW") != NULL && tt_trend_say_changes(trend) == TIPTRUE_OK) {
            for (size_t k = 0; k < trend->n_changes; k++) {
                printf("   %zu: %s\n", i, trend->changes[k].text);
            }
        }
        tiptrue_trend_free(trend);
        tt_arena_clear(&arena);
    }
    gsl_rng_free(rng);
    judge(name, &d, &n, &passed, &failed);
    double h = 100 / (double)n.histories, e = n.events > 0 ? 100 / (double)n.events : 0;
    printf("| %s | %zu | %.1f | %.1f | %.1f | %.1f | %.1f | %.1f | %.1f/%.1f | %+.1f | %.1f |\n",
           name, d.n, e * (double)n.right, e * (double)n.found, h * (double)n.falsely,
           h * (double)n.drifts, h * (double)n.false_drifts,
           n.drifts > 0 ? 100 * (double)n.covered / (double)n.drifts : 0, h * (double)n.latest,
           h * (double)n.latest_right,
           100 * (sqrt(n.between2 / (double)n.histories / UM / UM /
                       (d.own * d.own + d.shared * d.shared)) -
                  1),
           1e3 * n.seconds / (double)n.histories);
    fflush(stdout);
}

#define BASE .tips = 3, .own = 2, .shared = 1

/* Heights beside the rest: nothing; each kind with its sign; wear of the last tip. */
static void run_heights(const char *only, size_t histories, unsigned long seed)
{
    static const struct {
        const char *name;
        enum kind kind;
        double um;
    } KINDS[] = {{"z home up", Z_HOME, 15},   {"z home down", Z_HOME, -15},
                 {"tip longer", HEIGHT, 15},  {"tip shorter", HEIGHT, -15},
                 {"changed up", CHANGED, 30}, {"changed down", CHANGED, -30},
                 {"camera", CAMERA, 30},      {"seat", SEAT, 30}};
    static const size_t TIPS[] = {3, 8};
    char name[80];

    for (int ar = 0; ar < 3; ar++) {
        for (size_t n = 20; n <= 60; n += 20) {
            struct drawn d = {
                .n = n, .tips = 3, .own = 3, .shared = 1.5, .ar = 0.3 * ar, .heights = true};
            snprintf(name, sizeof name, "heights quiet ar %.1f n%zu", d.ar, n);
            if (strstr(name, only) != NULL) {
                run_cell(name, d, histories, seed);
            }
        }
    }
    for (size_t i = 0; i < 2 * sizeof KINDS / sizeof KINDS[0]; i++) {
        struct drawn d = {BASE, .n = 40, .heights = true,
                          .event = {{20, KINDS[i / 2].kind, 1, KINDS[i / 2].um}}, .n_events = 1};
        d.tips = TIPS[i % 2];
        snprintf(name, sizeof name, "heights %s, %zu tips", KINDS[i / 2].name, d.tips);
        if (strstr(name, only) != NULL) {
            run_cell(name, d, histories, seed);
        }
    }
    for (int rate = 1; rate <= 3; rate += 2) {
        struct drawn d = {BASE, .n = 60, .heights = true, .wear = rate};
        snprintf(name, sizeof name, "heights wear %d", rate);
        if (strstr(name, only) != NULL) {
            run_cell(name, d, histories, seed);
        }
    }
}

int main(int argc, char *argv[])
{
    size_t histories = argc > 1 ? strtoul(argv[1], NULL, 10) : 100;
    unsigned long seed = argc > 2 ? strtoul(argv[2], NULL, 10) : 20;
    const char *only = argc > 3 ? argv[3] : "";
    static const size_t LENGTHS[] = {10, 20, 40, 60, 100};
    char name[80];

    printf("| cell | runs | right | found | false | drift | false drift | covered | latest/right | "
           "between | ms |\n");
    for (size_t i = 0; i < 5; i++) {
        for (int ar = 0; ar < 3; ar++) {
            struct drawn d = {.n = LENGTHS[i], .tips = 3, .own = 3, .shared = 1.5, .ar = 0.3 * ar};
            snprintf(name, sizeof name, "quiet ar %.1f n%zu", d.ar, d.n);
            if (strstr(name, only) != NULL) {
                run_cell(name, d, histories, seed);
            }
        }
    }
    for (int logged = 0; logged < 2; logged++) {
        for (size_t i = 2; i < 5; i++) {
            struct drawn d = {BASE,
                              .n = LENGTHS[i],
                              .season = 15,
                              .per_kelvin = 1.5,
                              .temperature = logged,
                              .period = 100};
            snprintf(name, sizeof name, "season %s n%zu", logged ? "logged" : "silent", d.n);
            if (strstr(name, only) != NULL) {
                run_cell(name, d, histories, seed);
            }
        }
    }
    static const char *const KINDS[] = {"camera", "head",    "pose", "plate",
                                        "seat",   "changed", "edge"};
    for (int kind = 0; kind < 7; kind++) {
        for (size_t i = 0; i < 3; i++) {
            for (int size = 0; size < 3; size++) {
                for (int at = 0; at < 3; at++) {
                    static const double SIZES[] = {5, 10, 30};
                    size_t n = LENGTHS[i], from = at == 0 ? 1 : at == 1 ? n / 2 : n - 1;
                    struct drawn d = {BASE, .n = n,
                                      .event = {{from, (enum kind)kind, 1, SIZES[size]}},
                                      .n_events = 1};
                    if ((at != 1 && size == 0) || (at == 0 && size < 2)) {
                        continue;
                    }
                    snprintf(name, sizeof name, "%s %.0f %s n%zu", KINDS[kind], SIZES[size],
                             at == 0   ? "second"
                             : at == 1 ? "middle"
                                       : "last",
                             n);
                    if (strstr(name, only) != NULL) {
                        run_cell(name, d, histories, seed);
                    }
                }
            }
        }
    }
    static const size_t MANY[][2] = {{4, 40},   {8, 40},   {12, 40},  {20, 200},
                                     {30, 400}, {30, 400}, {30, 1000}};
    static const size_t QUIET[][2] = {{400, 3}, {2000, 3}, {400, 8}, {10000, 3}};
    for (size_t i = 0; i < 4; i++) {
        struct drawn d = {.own = 2, .shared = 1, .n = QUIET[i][0], .tips = QUIET[i][1]};
        snprintf(name, sizeof name, "speed quiet %zu runs %zu tips", d.n, d.tips);
        if (strstr(name, only) != NULL) {
            run_cell(name, d, histories, seed);
        }
    }
    for (size_t i = 0; i < 7; i++) {
        struct drawn d = {BASE, .n = MANY[i][1], .n_events = MANY[i][0]};
        d.tips = i == 5 ? 8 : 3;
        for (size_t k = 0; k < d.n_events; k++) {
            static const enum kind MIXED[] = {CAMERA, SEAT, CHANGED, EDGE, SEAT, CAMERA, POSE};
            d.event[k] =
                (struct event){(k + 1) * d.n / (d.n_events + 1), MIXED[k % 7], (k * 5) % 3, 30};
        }
        snprintf(name, sizeof name, "many %zu in %zu, %zu tips", d.n_events, d.n, d.tips);
        if (strstr(name, only) != NULL) {
            run_cell(name, d, histories, seed);
        }
    }
    static const size_t BLOCKS[] = {5, 20, 100};
    for (size_t i = 0; i < 3; i++) {
        size_t n = 40 + 2 * BLOCKS[i];
        struct drawn d = {BASE, .n = n,
                          .event = {{20, CAMERA, 0, 30}, {20 + BLOCKS[i], CAMERA, 0, 30}},
                          .n_events = 2};
        snprintf(name, sizeof name, "block %zu", BLOCKS[i]);
        if (strstr(name, only) != NULL) {
            run_cell(name, d, histories, seed);
        }
    }
    {
        struct drawn d = {BASE, .n = 60, .n_events = 5};
        for (size_t k = 0; k < 5; k++) {
            d.event[k] = (struct event){10 * (k + 1), SEAT, 1, 10};
        }
        if (strstr("stairs", only) != NULL) {
            run_cell("stairs", d, histories, seed);
        }
        static const struct event PAIRS[][2] = {{{20, SEAT, 0, 30}, {20, SEAT, 2, 30}},
                                                {{20, SEAT, 0, 30}, {20, CAMERA, 0, 30}},
                                                {{20, CHANGED, 0, 30}, {20, EDGE, 2, 30}},
                                                {{20, SEAT, 0, 30}, {20, CHANGED, 2, 30}}};
        for (size_t i = 0; i < 4; i++) {
            d = (struct drawn){BASE, .n = 40, .event = {PAIRS[i][0], PAIRS[i][1]}, .n_events = 2};
            snprintf(name, sizeof name, "two %zu", i);
            if (strstr(name, only) != NULL) {
                run_cell(name, d, histories, seed);
            }
        }
    }
    for (int all = 0; all < 2; all++) {
        static const double RATES[] = {0.3, 1, 3};
        for (int i = 0; i < 3; i++) {
            struct drawn d = {BASE, .n = 60, .drift = RATES[i], .drift_all = all};
            snprintf(name, sizeof name, "drift %s %.1f", all ? "all" : "tip", RATES[i]);
            if (strstr(name, only) != NULL) {
                run_cell(name, d, histories, seed);
            }
        }
    }
    run_heights(only, histories, seed);
    printf("%zu passed, %zu failed\n", passed, failed);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
