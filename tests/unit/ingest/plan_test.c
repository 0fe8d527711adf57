/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a plan means, in both units. Its faults: messages_test. */
#include "config.h"

#include "collect.h"
#include "ingest/ingest.h"

#define TOLERANCE 1e-12

static struct tiptrue_plan *read_plan(const char *text)
{
    struct tiptrue_plan *plan = NULL;
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    ck_assert_int_eq(tt_plan_read_bytes("plan.json", text, strlen(text), &sink, &plan, NULL),
                     TIPTRUE_OK);
    assert_told(&told, "");
    tt_buffer_clear(&told);
    return plan;
}

START_TEST(every_field)
{
    char *text = source_text("tests/data/ingest/plan.json");
    struct tiptrue_plan *plan = read_plan(text);
    ck_assert_str_eq(plan->file, "plan.json");
    ck_assert_uint_eq(plan->n_moves, 8);
    ck_assert(!plan->states_stage);
    ck_assert_double_eq(plan->mm_per_unit, 1.0);
    const struct tt_move *first = &plan->moves[0], *touch = &plan->moves[2],
                         *sixth = &plan->moves[5];
    ck_assert_str_eq(first->id, "1");
    ck_assert_int_eq(first->kind, TT_SIGHT);
    ck_assert_str_eq(first->target, "A");
    ck_assert_ptr_null(first->tip);
    ck_assert_ptr_null(first->setup);
    ck_assert_int_eq(first->approach_x, -1);
    ck_assert_int_eq(first->approach_y, 1);
    ck_assert(!first->has_rotation && !first->has_at);
    ck_assert_int_eq(touch->kind, TT_TOUCH);
    ck_assert_str_eq(touch->tip, "thin");
    ck_assert(touch->has_rotation && touch->has_at);
    ck_assert_double_eq_tol(touch->rotation_rad, 15.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq(touch->at.x_mm, 9.0);
    ck_assert_double_eq(touch->at.y_mm, 4.333);
    ck_assert_double_eq(touch->feed_mm_s, 1.0);
    ck_assert_uint_eq(touch->line, 6);
    ck_assert_uint_eq(touch->column, 5);
    ck_assert_str_eq(plan->moves[3].setup, "1");
    ck_assert_str_eq(sixth->id, "6");
    ck_assert_int_eq(plan->moves[7].kind, TT_HEIGHT);
    tiptrue_plan_free(plan);
    tiptrue_plan_free(NULL);
    free(text);
}
END_TEST

START_TEST(ids_stages_and_inches)
{
    struct tiptrue_plan *plan = read_plan(
        "{\"schema\": \"tiptrue.plan/1\", \"units\": \"inch\", \"machine\": \"m\", \"moves\": ["
        "{\"id\": 1.50, \"kind\": \"touch\", \"target\": \"e\", \"tip\": \"t\", \"rotation\": "
        "7.5, \"stage\": \"find\", \"feed\": 12, \"setup\": 2},"
        "{\"id\": \"007\", \"kind\": \"touch\", \"target\": \"e\", \"tip\": \"t\", \"rotation\": "
        "7.5, \"stage\": \"measure\", \"at\": [1, -0.5]},"
        "{\"kind\": \"warmup\", \"target\": \"e\", \"tip\": \"t\", \"approach\": \"0-\"}]}");
    ck_assert(plan->states_stage);
    ck_assert_double_eq(plan->mm_per_unit, 25.4);
    ck_assert_str_eq(plan->moves[0].id, "1.5"); /* the shortest form */
    ck_assert(plan->moves[0].is_find);
    ck_assert_double_eq_tol(plan->moves[0].feed_mm_s, 12.0 * 25.4 / 60.0, TOLERANCE);
    ck_assert_str_eq(plan->moves[0].setup, "2");
    ck_assert_str_eq(plan->moves[1].id, "007");
    ck_assert(!plan->moves[1].is_find);
    ck_assert_double_eq_tol(plan->moves[1].at.x_mm, 25.4, TOLERANCE);
    ck_assert_double_eq_tol(plan->moves[1].at.y_mm, -12.7, TOLERANCE);
    ck_assert_ptr_null(plan->moves[2].id);
    ck_assert_int_eq(plan->moves[2].approach_x, 0);
    ck_assert_int_eq(plan->moves[2].approach_y, -1);
    tiptrue_plan_free(plan);
}
END_TEST

START_TEST(reads_a_file)
{
    struct tiptrue_plan *plan = NULL;
    char *path = source_path("tests/data/ingest/plan.json");
    ck_assert_int_eq(tiptrue_plan_read(path, NULL, &plan, NULL), TIPTRUE_OK);
    ck_assert_str_eq(plan->file, path);
    tiptrue_plan_free(plan);
    free(path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/plan");
    TCase *tests = tcase_create("plan");
    tcase_add_test(tests, every_field);
    tcase_add_test(tests, ids_stages_and_inches);
    tcase_add_test(tests, reads_a_file);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
