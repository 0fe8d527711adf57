/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A controller's log joined to its plan: by id, in order, without ok, in inches; and that no gap
 * shifts the pairing. Messages: messages_test. */
#include "config.h"

#include "collect.h"
#include "ingest/ingest.h"

#define TOLERANCE 1e-12
#define FULL "(?<id>\\d+) x(?<x>\\S+) y(?<y>\\S+) z(?<z>\\S+) ok(?<ok>[01])"
#define IN_ORDER "x(?<x>\\S+) y(?<y>\\S+) z(?<z>\\S+) ok(?<ok>[01])"

static struct tiptrue_plate *plate;
static struct tiptrue_machine *machine;
static struct tiptrue_plan *plan;
static char *logged;

static void read_all(void)
{
    char *paths[] = {source_path("tests/data/ingest/plate.json"),
                     source_path("tests/data/ingest/machine.json"),
                     source_path("tests/data/ingest/plan.json")};
    ck_assert_int_eq(tiptrue_plate_read(paths[0], NULL, &plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_machine_read(paths[1], NULL, &machine, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_plan_read(paths[2], NULL, &plan, NULL), TIPTRUE_OK);
    logged = source_text("tests/data/ingest/controller.log");
    for (size_t i = 0; i < 3; i++) {
        free(paths[i]);
    }
}

static void free_all(void)
{
    tiptrue_plate_free(plate);
    tiptrue_machine_free(machine);
    tiptrue_plan_free(plan);
    free(logged);
}

static struct tiptrue_run *join(const char *text, const struct tiptrue_plan *with,
                                const char *pattern)
{
    struct tiptrue_run *run = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tt_run_read_bytes("c.log", text, strlen(text), plate, machine,
                                                   with, pattern, NULL, &run, &error);
    ck_assert_msg(status == TIPTRUE_OK, "%s", error.text);
    return run;
}

START_TEST(by_id)
{
    struct tiptrue_run *run = join(logged, plan, FULL);
    static const size_t lines[] = {2, 3, 4, 5, 7, 8, 9, 10};
    static const enum tt_use uses[] = {TT_USE, TT_USE, TT_USE, TT_USE, TT_USE_NO_CONTACT,
                                       TT_USE, TT_USE, TT_USE};
    ck_assert_uint_eq(run->n_observations, 8);
    for (size_t i = 0; i < 8; i++) {
        ck_assert_uint_eq(run->observations[i].line, lines[i]);
        ck_assert_int_eq(run->observations[i].use, uses[i]);
    }
    const struct tt_observation *first = &run->observations[0], *touch = &run->observations[2],
                                *last = &run->observations[7];
    ck_assert_int_eq(first->kind, TT_SIGHT);
    ck_assert_uint_eq(first->target, 0);
    ck_assert_uint_eq(first->tip, TT_NONE);
    ck_assert_int_eq(first->approach_x, -1);
    ck_assert_int_eq(first->approach_y, 1);
    ck_assert_double_eq(first->h.x_mm, 110.512);
    ck_assert_uint_eq(run->observations[1].target, 1);
    ck_assert_double_eq(touch->h.x_mm, 156.412);
    ck_assert_double_eq(touch->h.y_mm, 58.804);
    ck_assert_double_eq_tol(touch->rotation_rad, 15.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq(touch->feed_mm_s, 1.0);
    ck_assert(touch->has_z);
    ck_assert_double_eq(touch->z_mm, -1.2);
    ck_assert_int_eq(last->kind, TT_HEIGHT);
    ck_assert_double_eq(last->z_mm, -3.25);
    ck_assert_uint_eq(run->n_setups, 1);
    ck_assert_str_eq(run->setups[0], "1");
    ck_assert_double_eq(run->touch_digits.quantum_mm, 0.001);
    ck_assert(run->touch_digits.on_grid);
    tiptrue_run_free(run);
}
END_TEST

START_TEST(in_order_is_the_same)
{
    struct tiptrue_run *paired = join(logged, plan, FULL), *in_order = join(logged, plan, IN_ORDER);
    ck_assert_uint_eq(paired->n_observations, in_order->n_observations);
    for (size_t i = 0; i < paired->n_observations; i++) {
        ck_assert_uint_eq(paired->observations[i].target, in_order->observations[i].target);
        ck_assert_double_eq(paired->observations[i].rotation_rad,
                            in_order->observations[i].rotation_rad);
        ck_assert_double_eq(paired->observations[i].h.x_mm, in_order->observations[i].h.x_mm);
        ck_assert_int_eq(paired->observations[i].use, in_order->observations[i].use);
    }
    tiptrue_run_free(paired);
    tiptrue_run_free(in_order);
}
END_TEST

/* Reports in another order than the moves, with CRLF: by id each finds its move. */
START_TEST(ids_pair_in_any_order)
{
    struct tiptrue_run *run =
        join("7 x171.028 y47.612 z0 ok1\r\n3 x156.412 y58.804 z0 ok1\r\n1 x110.512 y64.248 z0 "
             "ok1\r\n2 x1 y2 z0 ok1\r\n"
             "4 x1 y2 z0 ok1\r\n5 x1 y2 z0 ok1\r\n6 x1 y2 z0 ok1\r\n8 x1 y2 z0 ok1",
             plan, FULL);
    ck_assert_uint_eq(run->observations[0].target, 1);
    ck_assert_uint_eq(run->observations[0].tip, 1);
    ck_assert_double_eq_tol(run->observations[0].rotation_rad, 105.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_int_eq(run->observations[1].kind, TT_TOUCH);
    ck_assert_int_eq(run->observations[2].kind, TT_SIGHT);
    ck_assert_uint_eq(run->observations[3].line, 4);
    tiptrue_run_free(run);
}
END_TEST

/* Each line of the log taken out in turn: by id the others keep their moves, in order nothing is
 * paired. */
START_TEST(a_gap_shifts_nothing)
{
    struct tiptrue_run *whole = join(logged, plan, FULL);
    for (size_t i = 0; i + 1 < whole->n_observations; i++) {
        char *text = strdup(logged), *line = text;
        for (size_t j = 1; j < whole->observations[i].line; j++) {
            line = strchr(line, '\n') + 1;
        }
        memmove(line, strchr(line, '\n') + 1, strlen(strchr(line, '\n') + 1) + 1);
        struct tiptrue_run *run = join(text, plan, FULL);
        ck_assert_uint_eq(run->n_observations, whole->n_observations - 1);
        for (size_t j = 0; j < run->n_observations; j++) {
            const struct tt_observation *a = &run->observations[j],
                                        *b = &whole->observations[j < i ? j : j + 1];
            ck_assert_uint_eq(a->target, b->target);
            ck_assert_double_eq(a->rotation_rad, b->rotation_rad);
            ck_assert_double_eq(a->h.y_mm, b->h.y_mm);
        }
        tiptrue_run_free(run);
        run = NULL;
        ck_assert_int_eq(tt_run_read_bytes("c.log", text, strlen(text), plate, machine, plan,
                                           IN_ORDER, NULL, &run, NULL),
                         TIPTRUE_E_DATA);
        ck_assert_ptr_null(run);
        free(text);
    }
    tiptrue_run_free(whole);
}
END_TEST

/* Without ok a touch that reports the place of the one before made no contact; two sightings may
 * agree. */
START_TEST(repeated_reports_without_ok)
{
    static const char text[] = "x110.5 y64.2 z9\nx110.5 y64.2 z9\nx156.4 y58.8 z1\nx156.4 y58.8 "
                               "z1\nx156.4 y58.8 z2\nx171.0 y47.6 z1\n"
                               "x171.0 y47.7 z1\nx171.0 y47.7 z1\n";
    static const enum tt_use uses[] = {TT_USE, TT_USE, TT_USE, TT_USE_NO_CONTACT,
                                       TT_USE, TT_USE, TT_USE, TT_USE_NO_CONTACT};
    struct tiptrue_run *run = join(text, plan, "x(?<x>\\S+) y(?<y>\\S+) z(?<z>\\S+)");
    for (size_t i = 0; i < 8; i++) {
        ck_assert_int_eq(run->observations[i].use, uses[i]);
    }
    tiptrue_run_free(run);
    run = join("x110.5 y64.2 z9 ok1\nx110.5 y64.2 z9 ok1\nx156.4 y58.8 z1 ok1\nx156.4 y58.8 z1 "
               "ok1\nx156.4 y58.8 z2 ok1\nx171.0 "
               "y47.6 z1 ok1\n"
               "x171.0 y47.7 z1 ok1\nx171.0 y47.7 z1 ok1\n",
               plan, IN_ORDER);
    ck_assert_int_eq(run->observations[3].use, TT_USE); /* the log says so itself */
    tiptrue_run_free(run);
}
END_TEST

/* A plan in inches: so is the log. Stages of the plan are kept. */
START_TEST(inches_and_stages)
{
    static const char text[] = "{\"schema\": \"tiptrue.plan/1\", \"units\": \"inch\", \"moves\": ["
                               "{\"kind\": \"touch\", \"target\": \"bank\", \"tip\": \"thin\", "
                               "\"rotation\": 7.5, \"stage\": "
                               "\"find\", \"feed\": 12, \"setup\": 2},"
                               "{\"kind\": \"touch\", \"target\": \"bank\", \"tip\": \"thin\", "
                               "\"rotation\": 7.5, \"stage\": "
                               "\"measure\", \"feed\": 3, \"setup\": 2},"
                               "{\"kind\": \"warmup\", \"target\": \"bank\", \"tip\": \"thin\"}]}";
    struct tiptrue_plan *inches = NULL;
    ck_assert_int_eq(tt_plan_read_bytes("p", text, strlen(text), NULL, &inches, NULL), TIPTRUE_OK);
    struct tiptrue_run *run =
        join("x6.25 y-2.5 z0.125 ok1\nx6.25 y-2.50 z0.125 ok1\nx1 y1 z0 ok0\n", inches, IN_ORDER);
    ck_assert_double_eq_tol(run->observations[1].h.x_mm, 158.75, TOLERANCE);
    ck_assert_double_eq_tol(run->observations[1].h.y_mm, -63.5, TOLERANCE);
    ck_assert_double_eq_tol(run->observations[1].z_mm, 3.175, TOLERANCE);
    ck_assert_double_eq_tol(run->observations[1].feed_mm_s, 3.0 * 25.4 / 60.0, TOLERANCE);
    ck_assert_int_eq(run->observations[0].use, TT_USE_FIND);
    ck_assert_int_eq(run->observations[1].use, TT_USE);
    ck_assert_int_eq(run->observations[2].use, TT_USE_OTHER);
    ck_assert(!run->find_inferred);
    ck_assert_str_eq(run->setups[0], "2");
    ck_assert_double_eq_tol(run->touch_digits.quantum_mm, 0.254, TOLERANCE);
    tiptrue_run_free(run);
    tiptrue_plan_free(inches);
}
END_TEST

START_TEST(wrong_usage)
{
    struct tiptrue_run *run = NULL;
    struct tiptrue_error error = {0}, other = {0}, third = {0};
    ck_assert_int_eq(
        tt_run_read_bytes("c.log", "x", 1, plate, machine, plan, NULL, NULL, &run, &error),
        TIPTRUE_E_USAGE);
    ck_assert_str_eq(
        error.text, "a controller log needs both a plan and a pattern, and the pattern is missing");
    ck_assert_str_eq(error.hint,
                     "the plan says what each move was, the pattern what its report looks like");
    ck_assert_int_eq(tiptrue_run_read("c.log", plate, machine, NULL, "x", NULL, &run, &other),
                     TIPTRUE_E_USAGE);
    ck_assert_str_eq(other.text,
                     "a controller log needs both a plan and a pattern, and the plan is missing");
    char pattern[5000];
    memset(pattern, 'x', sizeof(pattern));
    pattern[4097] = '\0';
    ck_assert_int_eq(
        tt_run_read_bytes("c.log", "x", 1, plate, machine, plan, pattern, NULL, &run, &third),
        TIPTRUE_E_USAGE);
    ck_assert_str_eq(third.text, "the pattern is longer than 4096 characters");
    ck_assert_ptr_null(run);
}
END_TEST

/* Patterns that would try for ever, or eat all memory, end with an error at once. */
START_TEST(hostile_patterns_end)
{
    static const char *const patterns[] = {
        "(?<x>a)(?<y>(a+)+)$b", "(?<x>(a|aa)+)(?<y>c)", "(?<x>(?:a?){60}a{60})(?<y>c)",
        "(?<x>(.*)*)(?<y>\\d)", "(?<x>(?1)a|a)(?<y>b)", "(?<x>((a{0,60}){0,60}){0,60})(?<y>b)",
    };
    char text[300];
    memset(text, 'a', sizeof(text));
    for (size_t i = 0; i < sizeof(patterns) / sizeof(patterns[0]); i++) {
        struct tiptrue_run *run = NULL;
        enum tiptrue_status status = tt_run_read_bytes("c.log", text, sizeof(text), plate, machine,
                                                       plan, patterns[i], NULL, &run, NULL);
        ck_assert_msg(status == TIPTRUE_E_USAGE || status == TIPTRUE_E_DATA, "pattern %zu", i);
        ck_assert_ptr_null(run);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/controller");
    TCase *tests = tcase_create("controller");
    tcase_add_unchecked_fixture(tests, read_all, free_all);
    tcase_add_test(tests, by_id);
    tcase_add_test(tests, in_order_is_the_same);
    tcase_add_test(tests, ids_pair_in_any_order);
    tcase_add_test(tests, a_gap_shifts_nothing);
    tcase_add_test(tests, repeated_reports_without_ok);
    tcase_add_test(tests, inches_and_stages);
    tcase_add_test(tests, wrong_usage);
    tcase_add_test(tests, hostile_patterns_end);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
