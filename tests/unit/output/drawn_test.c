/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is written and drawn of runs with several faults of any size: every word and number of the
 * text, and of each picture what drawings.h makes of it, as drawn.txt beside this file has them
 * (recorded.h). Whether they are right, the other tests of this folder and tests/report ask. */
#include "config.h"

#include "adjust/drawn.h"
#include "drawings.h"

enum { RUNS = 24 };

static void put(struct tt_buffer *to, size_t k, const struct scene *s,
                const struct scene_rows *rows)
{
    struct tiptrue_text_options options = {.utf8 = k % 3 > 0,
                                           .observations = k % 4 == 0,
                                           .charts = k % 8 == 0,
                                           .columns = 80,
                                           .rows = 40,
                                           .units =
                                               k % 5 == 4 ? TIPTRUE_UNITS_INCH : TIPTRUE_UNITS_MM};
    struct scene_read read = scene_read(s, rows);
    struct tiptrue_solution *solution = scene_solve(s, rows, false);
    struct tiptrue_report *report = NULL;
    char *text = NULL;

    ck_assert_int_eq(tiptrue_solution_text(solution, &options, &text, NULL, NULL), TIPTRUE_OK);
    tt_buffer_puts(to, text);
    free(text);
    ck_assert_int_eq(tiptrue_report_new(NULL, &report, NULL), TIPTRUE_OK);
    tiptrue_report_units(report, options.units);
    ck_assert_int_eq(
        tiptrue_report_add_run(report, read.plate, read.machine, read.run, solution, NULL),
        TIPTRUE_OK);
    drawn_put_all(to, report);
    tiptrue_report_free(report);
    tiptrue_solution_free(solution);
    scene_read_free(&read);
}

/* Eight edges with long names within @size mm: names must find a place. */
static void crowd(struct scene *s, double size)
{
    static const char *const NAMES[] = {
        "east of the slot",  "north-east", "north",     "north-west corner", "west",
        "south-west corner", "south",      "south-east"};

    s->n_edges = 8;
    for (size_t k = 0; k < 8; k++) {
        double turn = 45.0 * (double)k + 7, x = 17 + size * cos(turn * 0.01745329),
               y = 9 + size * sin(turn * 0.01745329);
        s->edges[k] = scene_edge_at(NAMES[k], x, y, turn + 180, 0.35 * size, k % 2 == 0);
        s->edges[k].u = 0.004;
    }
}

START_TEST(as_before)
{
    struct tt_buffer found = {0};
    uint64_t state = 0x2545f4914f6cdd1du;

    for (size_t k = 0; k < RUNS; k++) {
        struct scene s = scene_drawn(k, &state);
        if (k + 3 > RUNS - 1) {
            crowd(&s, 0.7 + 2.5 * (double)(RUNS - 1 - k));
        }
        struct scene_rows rows = scene_simulate(&s);
        spoil_drawn(&s, &rows, &state);
        tt_buffer_printf(&found, "case %zu\n", k);
        put(&found, k, &s, &rows);
        scene_rows_free(&rows);
    }
    recorded_compare_by(&found, "tests/unit/output/drawn.txt",
                        (struct recorded_rule){2e-4, 1, true});
    tt_buffer_clear(&found);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("output/drawn");
    TCase *tcase = tcase_create("drawn");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, as_before);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
