/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which explanations of a run stay beside the best one, at the bounds: how far behind, how alike.
 */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "adjust/explain_parts.h"

enum { ROWS = 3, MOST = 3, BLOCKS = 2 };

/* Explanations whose offsets are known already. */
struct beside {
    struct tt_arena arena;
    struct tt_observation row[ROWS];
    struct tiptrue_run run;
    struct tt_search search;
    struct tt_stage stage;
    struct tt_pool pool;
    double good[MOST][ROWS];
    struct tt_estimate estimate[MOST][BLOCKS];
    struct tt_candidate candidate[MOST];
};

/* @n of them, alike, but that every second touch is good in each second one. */
static void set_up(struct beside *b, size_t n)
{
    *b = (struct beside){.run = {.observations = b->row, .n_observations = ROWS}};
    b->search = (struct tt_search){.arena = &b->arena, .run = &b->run};
    b->stage.model.n_blocks = BLOCKS;
    for (size_t i = 0; i < ROWS; i++) {
        b->row[i].kind = TT_TOUCH;
    }
    for (size_t k = 0; k < n; k++) {
        struct tt_candidate *c = &b->candidate[k];
        for (size_t i = 0; i < ROWS; i++) {
            b->good[k][i] = k % 2 == 1 && i % 2 == 1 ? 0 : 1;
        }
        for (size_t t = 0; t < BLOCKS; t++) {
            b->estimate[k][t] = (struct tt_estimate){
                .offset = {17.3 + 4.1 * (double)t, -8.9},
                .same_plate_expanded_mm = {0.0073, 0.0061},
            };
        }
        *c = (struct tt_candidate){.next = k + 1 < n ? c + 1 : NULL,
                                   .stage = &b->stage,
                                   .good = b->good[k],
                                   .estimates = b->estimate[k],
                                   .log_evidence = -31.7 - 1.3 * (double)k};
    }
    b->pool = (struct tt_pool){
        .search = &b->search, .candidates = b->candidate, .best = b->candidate, .n = n};
}

static size_t not_excluded(struct beside *b)
{
    size_t n;

    ck_assert_ptr_nonnull(tt_not_excluded(&b->pool, &n));
    tt_arena_clear(&b->arena);
    return n;
}

/* Explanations are two where an offset differs by more than a twentieth of U, or U by more than a
 * tenth of it, of any tip along either axis; U is the best one's, of its smaller axis. */
START_TEST(alike_or_not)
{
    static struct beside b;
    static const double U_MM = 0.0061;

    for (int two = 0; two < 2; two++) {
        for (int side = -1; side <= 1; side += 2) {
            for (size_t t = 0; t < BLOCKS; t++) {
                for (int what = 0; what < 4; what++) {
                    double by = side * (what < 2 ? 0.05 : 0.1) * U_MM * (two ? 1.001 : 0.999);
                    set_up(&b, 2);
                    struct tt_estimate *e = &b.estimate[1][t];
                    double *const changed[] = {&e->offset.x_mm, &e->offset.y_mm,
                                               &e->same_plate_expanded_mm.x_mm,
                                               &e->same_plate_expanded_mm.y_mm};
                    *changed[what] += by;
                    ck_assert_msg(not_excluded(&b) == (two ? 2 : 1), "tip %zu, %d, %d", t, what,
                                  side);
                }
            }
        }
    }
    set_up(&b, 2); /* the same touches: one explanation, wherever the climbs ended */
    b.good[1][1] = 1;
    b.estimate[1][0].offset.x_mm += 0.01;
    ck_assert_uint_eq(not_excluded(&b), 1);
}
END_TEST

/* A rival is as probable as one in a hundred (4.6 in ln); one that only adds a mode to the best, as
 * one in ten (2.3) where that keeps every touch, or keeps the same touches and the mode is none of
 * an edge. */
START_TEST(far_behind_or_not)
{
    static const struct {
        enum tt_mode_kind adds; /* TT_MODE_KINDS: nothing */
        bool all_kept, same_touches;
        double within;
    } CASES[] = {
        {TT_MODE_KINDS, true, false, 4.6}, {TT_MODE_MARK, true, false, 2.3},
        {TT_MODE_EDGE, true, false, 2.3},  {TT_MODE_MARK, false, true, 2.3},
        {TT_MODE_EDGE, false, true, 4.6},  {TT_MODE_FILM, false, true, 4.6},
        {TT_MODE_MARK, false, false, 4.6},
    };
    static struct beside b;

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        for (int in = 0; in < 2; in++) {
            set_up(&b, 2);
            b.good[0][2] = CASES[k].all_kept ? 1 : 0.4;
            b.good[1][1] = CASES[k].same_touches ? 1 : 0.3;
            b.good[1][2] = CASES[k].same_touches ? b.good[0][2] : 1;
            b.estimate[1][0].offset.y_mm += 0.02;
            b.candidate[1].n_modes = CASES[k].adds != TT_MODE_KINDS;
            b.candidate[1].modes[0].kind = CASES[k].adds;
            b.candidate[1].log_evidence =
                b.candidate[0].log_evidence - CASES[k].within * (in ? 0.999 : 1.001);
            ck_assert_msg(not_excluded(&b) == (in ? 2 : 1), "case %zu, %d", k, in);
        }
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/rivals");
    TCase *tcase = tcase_create("rivals");
    tcase_add_test(tcase, alike_or_not);
    tcase_add_test(tcase, far_behind_or_not);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
