/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Choosing touches: the engine against the solver's own covariance, the exchange against brute
 * force, the constraints; clearance; order. */
#include "config.h"

#include "planning/design.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/ingest.h"
#include "planning/scene.h"
#include "planning/propose.h"

/* Four edges of an opening that is no rectangle; with another last edge, of a slot that is narrow
 * or short. */
#define PLATE(last)                                                                                \
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"M0\", \"marks\": "        \
    "[{\"name\": \"M0\", \"at\": [0, 0]},"                                                         \
    "{\"name\": \"M1\", \"at\": [36.4, 3.1], \"u\": 0.004}], \"groups\": [{\"name\": \"g\", "      \
    "\"u\": 0.011}], \"edges\": ["                                                                 \
    "{\"name\": \"east\", \"from\": [21, -4.2], \"to\": [21.6, 4.1], \"free_side\": \"left\", "    \
    "\"u\": 0.006, \"group\": \"g\"},"                                                             \
    "{\"name\": \"west\", \"from\": [13.7, 4.4], \"to\": [13.9, -3.9], \"free_side\": \"left\", "  \
    "\"u\": 0.006, \"group\": \"g\"},"                                                             \
    "{\"name\": \"north\", \"from\": [20.1, 7.5], \"to\": [15.2, 7.1], \"free_side\": \"left\", "  \
    "\"u\": 0.003, \"group\": "                                                                    \
    "\"g\"}," last "]}"
#define SOUTH                                                                                      \
    "{\"name\": \"south\", \"from\": [14.9, -7.3], \"to\": [20.3, -7.0], \"free_side\": "          \
    "\"left\", \"u\": 0.009}"
#define MACHINE                                                                                    \
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"m\", \"touch\": {\"u\": 0.0027}, "            \
    "\"sighting\": {\"u\": 0.0021},"                                                               \
    "\"yaw\": {\"value_deg\": 3.4, \"u_deg\": 0.7}, \"tips\": [{\"name\": \"a\", \"radius\": "     \
    "0.31, \"radius_u\": 0.02,"                                                                    \
    "\"offset\": [-41.3, 12.7]}, {\"name\": \"b\", \"radius\": 0.22, \"radius_u\": 0.02, "         \
    "\"offset\": [-31.3, 12.2]}]}"

struct world {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tt_scene scene;
    const char *tips[2], *setups[1];
    double turned[1];
    struct tt_machine_xy offsets[2];
    struct tt_adjust_workspace *workspace;
};

static void world_init(struct world *w, const char *plate)
{
    *w = (struct world){.tips = {"a", "b"}, .setups = {"1"}};
    ck_assert_int_eq(tt_plate_read_bytes("plate.json", plate, strlen(plate), NULL, &w->plate, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(
        tt_machine_read_bytes("machine.json", MACHINE, strlen(MACHINE), NULL, &w->machine, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_adjust_workspace_new(&w->workspace, NULL), TIPTRUE_OK);
    w->offsets[0] = w->machine->tips[0].offset;
    w->offsets[1] = w->machine->tips[1].offset;
    w->scene = (struct tt_scene){.plate = w->plate,
                                 .machine = w->machine,
                                 .tips = w->tips,
                                 .setups = w->setups,
                                 .n_tips = 2,
                                 .n_setups = 1,
                                 .turned_rad = w->turned,
                                 .offsets = w->offsets,
                                 .sightings = 1};
}

static void world_clear(struct world *w)
{
    tiptrue_plate_free(w->plate);
    tiptrue_machine_free(w->machine);
    tt_adjust_workspace_free(w->workspace);
}

static const struct tt_room ROOM = {.radius_mm = 0.31, .margin_mm = 0.2, .start_mm = 0.37};

/* Same-plate trace that the solver's covariance code expects; *u_runout_mm (may be NULL) of the
 * runout's worse axis. */
static double traces_of(struct world *w, const struct tt_probe probes[], size_t n,
                        double *u_runout_mm)
{
    struct tiptrue_solution *expected;
    ck_assert_int_eq(tt_scene_check(&w->scene, probes, n, w->workspace, &expected, NULL),
                     TIPTRUE_OK);
    const struct tt_cov2 *cov = &expected->tips[0].same_plate_cov;
    double trace =
        tt_same_plate_mm(&expected->tips[0]) < HUGE_VAL ? cov->xx_mm2 + cov->yy_mm2 : HUGE_VAL;
    if (u_runout_mm != NULL) {
        *u_runout_mm = expected->tips[0].u_eccentricity_mm;
    }
    tiptrue_solution_free(expected);
    return trace;
}

static double trace_of(struct world *w, const struct tt_probe probes[], size_t n)
{
    return traces_of(w, probes, n, NULL);
}

/* ---- the engine ---- */

START_TEST(engine_is_the_solver)
{
    struct world w;
    struct tt_design design;
    struct tt_engine engine;
    struct tt_probe probes[24];

    world_init(&w, PLATE(SOUTH));
    ck_assert_int_eq(tt_design_init(&design, &w.scene, 0, &ROOM, (struct tt_grid){10, 2}, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(
        tt_engine_init(&engine, &w.scene, 0, design.candidates, design.n_candidates, 0),
        TIPTRUE_OK);
    size_t *counts = calloc(design.n_candidates, sizeof *counts), n = 0;
    for (size_t i = 0; i < 13; i++) {
        size_t k = (i * 29 + 7) % design.n_candidates;
        counts[k]++;
        probes[n++] = design.candidates[k];
    }
    ck_assert(tt_engine_set(&engine, counts));
    /* the score holds a millionth of the full trace besides */
    ck_assert_double_eq_tol(tt_engine_score(&engine) / trace_of(&w, probes, n), 1, 1e-3);
    /* one touch more, asked and done; then one of the first away */
    probes[n++] = design.candidates[17];
    double with = tt_engine_score_with(&engine, 17, HUGE_VAL), exact = trace_of(&w, probes, n);
    ck_assert_double_eq_tol(with / exact, 1, 1e-3);
    ck_assert(tt_engine_change(&engine, 17, 1));
    ck_assert_double_eq_tol(tt_engine_score(&engine) / with, 1, 1e-9);
    ck_assert(tt_engine_change(&engine, 7, -1));
    memmove(probes, probes + 1, (n - 1) * sizeof *probes);
    ck_assert_double_eq_tol(tt_engine_score(&engine) / trace_of(&w, probes, n - 1), 1, 1e-3);
    free(counts);
    tt_engine_clear(&engine);
    tt_design_clear(&design);
    world_clear(&w);
}
END_TEST

START_TEST(last_touch_stays)
{
    struct world w;
    struct tt_design design;
    struct tt_engine engine;

    world_init(&w, PLATE(SOUTH));
    ck_assert_int_eq(tt_design_init(&design, &w.scene, 0, &ROOM, (struct tt_grid){3, 1}, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(
        tt_engine_init(&engine, &w.scene, 0, design.candidates, design.n_candidates, 0),
        TIPTRUE_OK);
    size_t counts[12] = {
        1, 1, 1, 1, 0, 0,
        1, 0, 0, 0, 0, 0}; /* five touches for five unknowns: the only one of its edge */
    ck_assert_uint_eq(design.n_candidates, 12);
    w.machine->tips[0].has_radius = false;
    tt_engine_clear(&engine);
    ck_assert_int_eq(
        tt_engine_init(&engine, &w.scene, 0, design.candidates, design.n_candidates, 0),
        TIPTRUE_OK);
    ck_assert(tt_engine_set(&engine, counts));
    double before = tt_engine_score(&engine);
    ck_assert(!tt_engine_change(&engine, 6, -1));
    ck_assert_double_eq(tt_engine_score(&engine), before);
    counts[6] = 0;
    ck_assert(!tt_engine_set(&engine, counts));
    tt_engine_clear(&engine);
    tt_design_clear(&design);
    world_clear(&w);
}
END_TEST

/* ---- against brute force ---- */

struct search {
    struct tt_engine *engine;
    size_t *counts, *used, n, rotations;
    double best;
};

static void search_from(struct search *s, size_t from, size_t left)
{
    if (left == 0) {
        memset(s->used, 0, s->rotations * sizeof *s->used);
        for (size_t k = 0; k < s->n; k++) {
            s->used[k % s->rotations] += s->counts[k];
        }
        if (tt_widest_gap(s->used, s->rotations) <= 1.0 / 3 + 1e-9 &&
            tt_engine_set(s->engine, s->counts)) {
            s->best = fmin(s->best, tt_engine_score(s->engine));
        }
        return;
    }
    for (size_t k = from; k < s->n; k++) { /* no touch twice */
        s->counts[k] = 1;
        search_from(s, k + 1, left - 1);
        s->counts[k] = 0;
    }
}

/* The exchange's touches over the best of all that there are, as traces: its efficiency. */
static double efficiency(const char *plate, struct tt_grid grid, size_t touches)
{
    struct world w;
    struct tt_design design;
    struct tt_engine plain;
    struct tt_probe probes[16];

    world_init(&w, plate);
    ck_assert_int_eq(tt_design_init(&design, &w.scene, 0, &ROOM, grid, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_design_best(&design, touches, 20, probes), TIPTRUE_OK);
    ck_assert_int_eq(tt_engine_init(&plain, &w.scene, 0, design.candidates, design.n_candidates, 0),
                     TIPTRUE_OK);
    plain.full_limit_mm2 = design.engine.full_limit_mm2;
    plain.runout_limit_mm2 = design.engine.runout_limit_mm2;
    plain.plate_even_mm2 = design.engine.plate_even_mm2;
    ck_assert(tt_engine_set(&plain, design.counts));
    double found = tt_engine_score(&plain);
    struct search s = {.engine = &plain,
                       .counts = calloc(design.n_candidates, sizeof(size_t)),
                       .used = calloc(grid.rotations, sizeof(size_t)),
                       .n = design.n_candidates,
                       .rotations = grid.rotations,
                       .best = HUGE_VAL};
    search_from(&s, 0, touches);
    free(s.counts);
    free(s.used);
    tt_engine_clear(&plain);
    tt_design_clear(&design);
    world_clear(&w);
    return s.best / found;
}

START_TEST(as_good_as_brute_force)
{
    const struct {
        const char *what, *plate;
        struct tt_grid grid;
        size_t touches;
    } cases[] = {
        {"four edges, thirds, 6 touches", PLATE(SOUTH), {3, 1}, 6},
        {"four edges, thirds, 7 touches", PLATE(SOUTH), {3, 1}, 7},
        {"three edges, sixths, 6 touches",
         PLATE("{\"name\": \"s\", \"from\": [1, 1], \"to\": [1.2, 1], \"free_side\": \"left\"}"),
         {6, 1},
         6},
        {"three edges, thirds, two places, 6 touches",
         PLATE("{\"name\": \"s\", \"from\": [1, 1], \"to\": [1.2, 1], \"free_side\": \"left\"}"),
         {3, 2},
         6},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double share = efficiency(cases[i].plate, cases[i].grid, cases[i].touches);
        printf("%s: %.4f of the best efficiency\n", cases[i].what, share);
        ck_assert_msg(share >= 0.98 && share <= 1 + 1e-9, "%s: %.4f of the best efficiency",
                      cases[i].what, share);
    }
}
END_TEST

START_TEST(turns_all_the_way_round)
{
    struct world w;
    struct tt_design design;
    struct tt_probe probes[31];

    world_init(&w, PLATE(SOUTH));
    ck_assert_int_eq(tt_design_init(&design, &w.scene, 0, &ROOM, (struct tt_grid){60, 3}, NULL),
                     TIPTRUE_OK);
    for (size_t n = TT_LEAST_TOUCHES; n <= 31; n += 5) {
        size_t used[60] = {0};
        ck_assert_int_eq(tt_design_best(&design, n, 2, probes), TIPTRUE_OK);
        for (size_t i = 0; i < n; i++) {
            used[(size_t)lround(probes[i].rotation_rad / (2 * TT_PI) * 60) % 60]++;
        }
        ck_assert_double_le(tt_widest_gap(used, 60), 1.0 / 3 + 1e-9);
        for (size_t i = 0; i < n; i++) {
            for (size_t k = 0; k < i; k++) {
                ck_assert_msg(memcmp(&probes[i], &probes[k], sizeof probes[i]) != 0,
                              "%zu touches: one of them twice", n);
            }
        }
        struct tt_probe even[31];
        double u_even, u_best;
        tt_design_even(&design, n, even);
        double even_trace = traces_of(&w, even, n, &u_even);
        ck_assert_msg(traces_of(&w, probes, n, &u_best) <= even_trace * 1.001,
                      "%zu touches: worse than evenly spread", n);
        ck_assert_msg(u_best <= u_even * 1.35,
                      "%zu touches: u of the runout %g, evenly spread %g mm", n, u_best, u_even);
    }
    tt_design_clear(&design);
    world_clear(&w);
}
END_TEST

START_TEST(gaps)
{
    const size_t none[7] = {0}, one[7] = {0, 0, 3, 0, 0, 0, 0},
                 three[9] = {1, 0, 0, 2, 0, 0, 0, 1, 0};
    ck_assert_double_eq(tt_widest_gap(none, 7), 1);
    ck_assert_double_eq(tt_widest_gap(one, 7), 1);
    ck_assert_double_eq(tt_widest_gap(three, 9), 4.0 / 9);
}
END_TEST

START_TEST(next_helps_and_is_new)
{
    struct world w;
    struct tt_design design;
    struct tt_probe probes[12];

    world_init(&w, PLATE(SOUTH));
    ck_assert_int_eq(tt_design_init(&design, &w.scene, 0, &ROOM, (struct tt_grid){24, 3}, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(tt_design_best(&design, 7, 1, probes), TIPTRUE_OK);
    double before = trace_of(&w, probes, 7);
    for (size_t n = 7; n < 12; n++) {
        ck_assert(tt_design_next(&design, probes, n, &probes[n]));
        for (size_t i = 0; i < n; i++) {
            ck_assert(memcmp(&probes[i], &probes[n], sizeof probes[i]) != 0);
        }
        double now = trace_of(&w, probes, n + 1);
        ck_assert_double_lt(now, before);
        before = now;
    }
    ck_assert(!tt_design_next(&design, probes, 0,
                              &probes[0])); /* from nothing: no single touch determines anything */
    tt_design_clear(&design);
    world_clear(&w);
}
END_TEST

/* ---- clearance ---- */

static const char *reason_of(const char *plate, struct tt_room room, size_t edge, size_t *n_spots)
{
    static char text[256];
    struct world w;
    struct tt_arena arena = {0};
    struct tt_spot spots[64];
    const char *reasons[8];

    world_init(&w, plate);
    ck_assert_int_eq(tt_spots_find(w.plate, &room, 3, &arena, spots, n_spots, reasons), TIPTRUE_OK);
    snprintf(text, sizeof text, "%s", reasons[edge] != NULL ? reasons[edge] : "");
    const struct tt_edge *e = &w.plate->edges[edge];
    double need_mm = room.radius_mm + room.margin_mm;
    size_t all = *n_spots;
    *n_spots = 0;
    for (const struct tt_spot *s = spots; s < spots + all; s++) {
        if (s->edge == edge) {
            ck_assert_double_ge(hypot(s->at.x_mm - e->from.x_mm, s->at.y_mm - e->from.y_mm),
                                need_mm - 1e-9);
            ck_assert_double_ge(hypot(s->at.x_mm - e->to.x_mm, s->at.y_mm - e->to.y_mm),
                                need_mm - 1e-9);
            ck_assert_double_eq_tol(e->n_x * s->at.x_mm + e->n_y * s->at.y_mm, e->d_mm, 1e-9);
            ++*n_spots;
        }
    }
    tt_arena_clear(&arena);
    world_clear(&w);
    return text;
}

/* An edge that faces "north" from @gap_mm below it. */
#define FACING(y)                                                                                  \
    "{\"name\": \"sill\", \"from\": [15.2, " y "], \"to\": [20.1, " y "], \"free_side\": "         \
    "\"left\"}"

START_TEST(narrow_and_short)
{
    struct tt_room room = {.radius_mm = 0.5, .margin_mm = 0.15, .start_mm = 0.3};
    size_t n;

    ck_assert_str_eq(reason_of(PLATE(SOUTH), room, 2, &n), "");
    ck_assert_uint_eq(n, 3);
    /* the tip's start stands 0.5 + 0.3 off the north edge, the disc reaches 0.65 further */
    ck_assert_str_eq(reason_of(PLATE(FACING("6.2")), room, 2, &n),
                     "has no place for the tip: between its start, 0.3 mm off, and the contact, "
                     "edge 'sill' comes within 0.45 mm of its "
                     "axis, and radius and margin need 0.65 mm");
    ck_assert_str_eq(reason_of(PLATE(FACING("5.5")), room, 2, &n), "");
    ck_assert_uint_gt(n, 0);
    ck_assert_str_eq(
        reason_of(
            PLATE(
                "{\"name\": \"s\", \"from\": [1, 1], \"to\": [2.25, 1], \"free_side\": \"left\"}"),
            room, 3, &n),
        "is 1.25 mm long, and a tip of radius 0.5 mm with a margin of 0.15 mm needs 1.3 mm");
    /* an edge that the start would jump over is met on the way */
    ck_assert_str_ne(reason_of(PLATE(FACING("7.05")), room, 2, &n), "");
    room.along_axes = true;
    ck_assert_str_eq(reason_of(PLATE(SOUTH), room, 0, &n),
                     "is not parallel to a machine axis; this machine probes along its axes only");
    room.yaw_rad =
        tt_rad_from_deg(4.1); /* turned so, it is upright: atan(0.6 / 8.3) is 4.13 degrees */
    ck_assert_str_eq(reason_of(PLATE(SOUTH), room, 0, &n), "");
}
END_TEST

/* ---- order ---- */

START_TEST(drift_cancels)
{
    struct world w;
    struct tt_design design[2];
    struct tt_probe probes[48];
    double mean[2][4] = {{0}};
    size_t count[2][4] = {{0}}, n = 48;

    world_init(&w, PLATE(SOUTH));
    for (size_t t = 0; t < 2; t++) {
        ck_assert_int_eq(
            tt_design_init(&design[t], &w.scene, t, &ROOM, (struct tt_grid){60, 3}, NULL),
            TIPTRUE_OK);
        tt_design_even(&design[t], 24, probes + 24 * t);
    }
    ck_assert_int_eq(tt_order(&w.scene, design[0].edge_order, design[0].n_edges, probes, n),
                     TIPTRUE_OK);
    for (size_t i = 0; i < n; i++) {
        mean[probes[i].tip][probes[i].edge] += (double)i;
        count[probes[i].tip][probes[i].edge]++;
        bool same_pass = i > 0 && probes[i].tip == probes[i - 1].tip &&
                         probes[i].edge == probes[i - 1].edge && i != 24;
        ck_assert(!same_pass || probes[i].rotation_rad > probes[i - 1].rotation_rad);
    }
    for (size_t t = 0; t < 2; t++) {
        for (size_t j = 0; j < 4; j++) {
            ck_assert_uint_eq(count[t][j], 6);
            ck_assert_double_eq_tol(mean[t][j] / 6, 0.5 * 47,
                                    1e-9); /* every edge and tip in the middle of the run */
        }
    }
    /* facing edges one after the other */
    const struct tt_edge *first = &w.plate->edges[probes[0].edge],
                         *second = &w.plate->edges[probes[3].edge];
    ck_assert_double_lt(first->n_x * second->n_x + first->n_y * second->n_y, -0.99);
    tt_design_clear(&design[0]);
    tt_design_clear(&design[1]);
    world_clear(&w);
}
END_TEST

/* Where the head is at a contact, from the definitions of docs/formats.md: the tip's centre, head
 * and offset and runout as turned, is a radius off the edge on its free side. Both senses. */
START_TEST(head_at_a_contact)
{
    struct world w;
    world_init(&w, PLATE(SOUTH));
    w.turned[0] = 0.71;
    w.machine->tips[1].runout = (struct tt_tip_xy){0.143, -0.087};
    for (size_t k = 0; k < 16; k++) {
        const struct tt_edge *edge = &w.plate->edges[k % 4];
        double share = 0.13 + 0.05 * (double)k, theta = 0.37 + 1.93 * (double)k;
        struct tt_probe probe = {.tip = 1, .edge = k % 4, .rotation_rad = theta};
        probe.at.x_mm = edge->from.x_mm + share * (edge->to.x_mm - edge->from.x_mm);
        probe.at.y_mm = edge->from.y_mm + share * (edge->to.y_mm - edge->from.y_mm);
        w.machine->clockwise = k >= 8;
        struct tt_machine_xy head = tt_scene_head(&w.scene, &probe);
        double yaw = tt_rad_from_deg(3.4) + 0.71, turned = k >= 8 ? -theta : theta,
               along_x = cos(yaw) * edge->n_x - sin(yaw) * edge->n_y,
               along_y = sin(yaw) * edge->n_x + cos(yaw) * edge->n_y,
               x = head.x_mm - 31.3 + 0.143 * cos(turned) + 0.087 * sin(turned),
               y = head.y_mm + 12.2 + 0.143 * sin(turned) - 0.087 * cos(turned);
        struct tt_machine_xy mark = tt_scene_pose(&w.scene, 0).mark;
        double on_x = x - mark.x_mm - 0.22 * along_x, on_y = y - mark.y_mm - 0.22 * along_y;
        ck_assert_double_eq_tol(cos(yaw) * on_x + sin(yaw) * on_y, probe.at.x_mm, 1e-9);
        ck_assert_double_eq_tol(cos(yaw) * on_y - sin(yaw) * on_x, probe.at.y_mm, 1e-9);
    }
    world_clear(&w);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("design");
    TCase *engine = tcase_create("engine");
    tcase_add_test(engine, engine_is_the_solver);
    tcase_add_test(engine, last_touch_stays);
    suite_add_tcase(suite, engine);
    TCase *exchange = tcase_create("exchange");
    tcase_add_test(exchange, as_good_as_brute_force);
    tcase_add_test(exchange, turns_all_the_way_round);
    tcase_add_test(exchange, gaps);
    tcase_add_test(exchange, next_helps_and_is_new);
    suite_add_tcase(suite, exchange);
    TCase *room = tcase_create("room and order");
    tcase_add_test(room, narrow_and_short);
    tcase_add_test(room, drift_cancels);
    tcase_add_test(room, head_at_a_contact);
    suite_add_tcase(suite, room);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
