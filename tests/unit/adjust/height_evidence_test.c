/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The odds of the table of heights' faults, what the search chooses and what it leaves of each
 * height, to seven digits, for runs with a fault of each kind: what height_evidence.txt beside this
 * file says of them. Whether they are right, heights_test.c and height_coverage_test.c ask. When
 * they are meant to change: recorded.h. */
#include "config.h"

#include "../../simulation/height_runs.h"
#include "adjust/height_sets.h"
#include "recorded.h"

/* Which faults a run has besides what its design says. */
enum { NO_MORE, PAD_OFF, DRIFTS, MOVES, FEEDS, FILMED_PAD, LEVELLED, NO_SCATTER, OTHER_FAULTS };
enum { MIXED = 64 };

static void spoil(int what, struct tt_heights *h)
{
    h->feeds_stated = h->feeds_differ = what == FEEDS;
    h->level_rad = (struct tt_stated){what == LEVELLED, 2e-4};
    for (size_t i = 0; i < h->n_rows; i++) {
        struct tt_height_row *row = &h->rows[i];
        row->feed_mm_s = what == FEEDS ? (i % 2 == 0 ? 0.7 : 2.9) : 0;
        row->z_mm += what == PAD_OFF && row->pad == 1 ? 0.033 : 0;
        row->z_mm += what == DRIFTS ? 0.019 * row->clock : 0;
        row->z_mm += what == MOVES && i > h->n_rows / 3 ? -0.021 : 0;
        row->z_mm -= what == FEEDS ? 0.006 * row->feed_mm_s : 0;
        row->z_mm = what == NO_SCATTER ? (row->tip == 0 ? -20.703 : -19.548) : row->z_mm;
        row->z_mm -= what == FILMED_PAD && row->pad == 0 && i % 3 != 0 ? 0.037 : 0;
    }
}

static void put_worth(struct tt_buffer *to, const struct tt_height_choice *choice, size_t tip,
                      size_t over)
{
    struct tt_height_worth w = tt_height_worth_of(choice, tip, over);

    tt_buffer_printf(to, "worth");
    recorded_put(to, 1e3 * w.value_mm);
    recorded_put(to, 1e3 * w.u_mm);
    recorded_put(to, w.dof);
    recorded_put(to, 1e3 * w.same_plate_u_mm);
    recorded_put(to, w.same_plate_dof);
    recorded_put(to, 1e3 * w.weak_mm);
    tt_buffer_putc(to, '\n');
}

static void put_choice(struct tt_buffer *to, const struct tt_height_choice *choice)
{
    const struct tt_height_fit *fit = choice->fit;
    double probabilities = 0;
    size_t aside = 0;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        aside += !(fit->good[i] > 0);
    }
    tt_buffer_printf(to, "chosen, %zu aside, ambiguous %d%d, slope %d:", aside,
                     choice->ambiguous[0], choice->ambiguous[1], choice->slope_known);
    for (size_t m = 0; m < fit->n_modes; m++) {
        tt_buffer_printf(to, " %d/%zu", (int)fit->modes[m].kind, fit->modes[m].what);
        recorded_put(to, fit->at_mode[m] != TT_NONE ? 1e3 * fit->x[fit->at_mode[m]] : 0);
    }
    recorded_put(to, choice->n_parts > 0 ? choice->parts[0].fit->log_evidence : 0);
    recorded_put(to, 1e6 * fit->variance_mm2);
    recorded_put(to, fit->dof);
    recorded_put(to, fit->pooled_dof);
    recorded_put(to, choice->rival != NULL ? choice->rival_odds : 0);
    tt_buffer_printf(to, "\nparts %zu", choice->n_parts);
    for (size_t i = 0; i < choice->n_parts; i++) {
        probabilities += choice->parts[i].probability * choice->parts[i].probability;
    }
    recorded_put(to, probabilities);
    for (size_t t = 0; t < TIPS; t++) {
        recorded_put(to, 1e6 * choice->all_good_mm2[t]);
    }
    tt_buffer_putc(to, '\n');
    put_worth(to, choice, 0, TT_NONE);
    put_worth(to, choice, 1, TT_NONE);
    put_worth(to, choice, 1, 0);
}

/* ln odds of every fault of the table at least squares of all touches. */
static void put_odds(struct tt_buffer *to, const struct tt_heights *h, struct tt_arena *arena)
{
    struct tt_height_mode *modes = NULL;
    struct tt_height_fit fit;
    size_t n = 0;

    ck_assert_int_eq(tt_height_fit_init(&fit, arena, h, NULL, 0, true), TIPTRUE_OK);
    ck_assert(tt_height_least_squares(&fit, NULL) && tt_height_table(arena, h, &modes, &n));
    tt_buffer_printf(to, "odds");
    for (size_t k = 0; k < n; k += 1 + k / 8) {
        tt_buffer_printf(to, " %d/%zu", (int)modes[k].kind, modes[k].what);
        recorded_put(to, tt_height_odds(&fit, &modes[k]));
    }
    tt_buffer_printf(to, " clean %d\n", tt_height_looks_clean(&fit));
}

START_TEST(as_before)
{
    const struct design designs[] = {{3, 6, 0, 0, true},
                                     {3, 6, 0.15, 0.014, false},
                                     {2, 3, 0.30, 0, true},
                                     {1, 6, 0.15, 0, false}};
    struct tt_buffer found = {0};
    struct tt_arena arena = {0};

    for (size_t k = 0; k < 4; k++) {
        for (int what = 0; what < OTHER_FAULTS; what++) {
            struct truth truth = {{0}, {0}, {0}};
            struct room room;
            struct tt_heights h;
            struct tt_height_choice choice;
            tt_arena_reset(&arena);
            state = 0x9e3779b97f4a7c15u + 977 * k;
            lay_out(&designs[k], &room, &h);
            draw(&designs[k], &truth);
            make(&designs[k], &truth, &h);
            spoil(what, &h);
            tt_buffer_printf(&found, "case %zu %d\n", k, what);
            put_odds(&found, &h, &arena);
            ck_assert_int_eq(tt_height_choose(&choice, &arena, &h, true), TIPTRUE_OK);
            put_choice(&found, &choice);
        }
    }
    recorded_compare(&found, "tests/unit/adjust/height_evidence.txt", 1);
    tt_buffer_clear(&found);
    tt_arena_clear(&arena);
}
END_TEST

/* Runs of any design with several faults of any size. */
START_TEST(mixed_as_before)
{
    struct tt_buffer found = {0};
    struct tt_arena arena = {0};

    state = 0x2545f4914f6cdd1du;
    for (size_t k = 0; k < MIXED; k++) {
        struct design design = {1 + (size_t)(4 * uniform()), 2 + (size_t)(5 * uniform()),
                                uniform() < 0.5 ? 0.4 * uniform() : 0,
                                uniform() < 0.4 ? 0.03 * uniform() : 0, uniform() < 0.5};
        struct truth truth = {{0}, {0}, {0}};
        struct room room;
        struct tt_heights h;
        struct tt_height_choice choice;
        tt_arena_reset(&arena);
        lay_out(&design, &room, &h);
        draw(&design, &truth);
        make(&design, &truth, &h);
        for (int what = PAD_OFF; what < NO_SCATTER; what++) {
            if (uniform() < 0.15) {
                spoil(what, &h);
            }
        }
        h.feeds_stated = h.feeds_differ = h.rows[0].feed_mm_s > 0;
        h.rotations_stated = uniform() < 0.8;
        h.stated_dof = design.stated ? 3 + 20 * uniform() : 0;
        h.u_latency_s = uniform() < 0.3 ? 4e-4 : 0;
        tt_buffer_printf(&found, "case mixed %zu\n", k);
        put_odds(&found, &h, &arena);
        ck_assert_int_eq(tt_height_choose(&choice, &arena, &h, true), TIPTRUE_OK);
        put_choice(&found, &choice);
    }
    recorded_compare_by(&found, "tests/unit/adjust/height_mixed.txt",
                        (struct recorded_rule){2e-4, 1, false});
    tt_buffer_clear(&found);
    tt_arena_clear(&arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/height_evidence");
    TCase *tcase = tcase_create("evidence");
    tcase_add_test(tcase, as_before);
    tcase_add_test(tcase, mixed_as_before);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
