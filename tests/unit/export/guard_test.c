/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Guards of an export, each from both sides of its bound: what stands in the way, and in which
 * words. With the program: tests/cli/export.py. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <string.h>

#include "../ingest/collect.h"
#include "export/guard.h"
#include "model/machine.h"
#include "model/plate.h"

static struct tt_buffer said;
static const struct tiptrue_sink SINK = {collect_told, &said};

static struct tt_edit edit_of(const char *field, double old_mm, double new_mm)
{
    struct tt_edit edit = {.old_mm = old_mm, .new_mm = new_mm, .line = 7};

    ck_assert_int_eq(tt_export_field_read(field, strlen(field), false, &edit.put.field, NULL),
                     TIPTRUE_OK);
    edit.tip = strncmp(field, "N2", 2) == 0 ? "N2" : "N1";
    return edit;
}

/* What was said and refused since the last time must hold @words and be @refused; NULL: nothing. */
static void check_said(const struct tt_guards *guards, const char *words, size_t refused)
{
    const char *text = said.text != NULL ? said.text : "";

    ck_assert_msg(words == NULL ? said.length == 0 : strstr(text, words) != NULL, "'%s' is not: %s",
                  words != NULL ? words : "nothing", text);
    ck_assert_msg(guards->refusals == refused, "%zu refused: %s", guards->refusals, text);
    tt_buffer_clear(&said);
}

START_TEST(changes)
{
    static const struct {
        const char *field;
        double old_mm, new_mm, most_mm;
        const char *words;
    } CASES[] = {
        {"N1.offset.x", 41.3, 41.5999, 0.3, NULL},
        {"N1.offset.x", 41.3, 41.6001, 0.3,
         "'N1.offset.x' would move by 0.3001 mm, from 41.3 mm to 41.6001 mm; the most allowed is "
         "0.3 "
         "mm"},
        {"N1.offset.x", -41.3, 41.01, 0.3, "is 0.3 mm; it is the old one's negative"},
        {"N1.offset.x", -41.3, 40.99, 0.3, "is 0.3 mm\n"},
        {"N1.offset.x", -41.3, 41.61, 0.3, "is 0.3 mm\n"},
        {"N1.offset.y", 1.7, 1.7 * 25.4 + 0.29, 0.3,
         "; it is the old one x 25.4 (inch taken for mm)"},
        {"N1.offset.y", 1.7, 1.7 * 25.4 - 0.31, 0.3, "is 0.3 mm\n"},
        {"N1.offset.y", 51.7, 51.7 / 25.4 + 0.29, 0.3,
         "; it is the old one / 25.4 (mm taken for inch)"},
        {"N1.offset.y", 51.7, 51.7 / 25.4 - 0.31, 0.3, "is 0.3 mm\n"},
        /* what is near is never further than what is plausible, or than what is allowed */
        {"N1.offset.x", -41.3, 40.99, 4, "is 4 mm\n"},
        {"N1.offset.x", -41.3, 41.19, 0.1, "is 0.1 mm\n"},
        /* the sign turns, though that be allowed */
        {"N1.offset.x", 0.0251, -0.0251, 0.3, "it is the old one's negative"},
        {"N1.offset.x", 0.0249, -0.0249, 0.3, NULL},
        {"N1.offset.x", 0.1, -0.1099, 0.3, "'minus' missing?"},
        {"N1.offset.x", 0.1, -0.1101, 0.3, NULL},
        {"N1.offset.x", 0.1, -0.0901, 0.3, "'minus' missing?"},
        {"N1.offset.x", 0.1, -0.0899, 0.3, NULL},
        {"N1.offset.x", 0.1, -0.1, HUGE_VAL, NULL},
        {"N1.height", -20.7, -21.01, 0.3, "'N1.height' would move by 0.31 mm"},
        {"N1.runout.x", 0.02, 0.9, 0.3, NULL},
    };

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct tt_guards guards = {.sink = &SINK};
        struct tt_edit edit = edit_of(CASES[k].field, CASES[k].old_mm, CASES[k].new_mm);
        tt_guard_change(&guards, "head.ini", &edit, 1, CASES[k].most_mm, false);
        check_said(&guards, CASES[k].words, CASES[k].words != NULL);
    }
}
END_TEST

START_TEST(changes_of_others)
{
    struct tt_guards guards = {.sink = &SINK};
    struct tt_edit edits[] = {edit_of("N1.offset.x", 41.3, 17.5),
                              edit_of("N2.offset.x", 17.21, 17.22),
                              edit_of("N2.offset.y", 17.51, 17.52)};

    tt_guard_change(&guards, "head.ini", edits, 3, 0.3, false);
    check_said(&guards,
               "head.ini:7: error: 'N1.offset.x' would move by 23.8 mm, from 41.3 mm to 17.5 mm; "
               "the most allowed is 0.3 mm; it is the old one of another tip, 'N2'",
               1);
    edits[0].new_mm = 17.52; /* of the other tip's y it is no likeness, nor at 0.31 mm */
    tt_guard_change(&guards, "head.ini", edits, 3, 0.3, false);
    check_said(&guards, "is 0.3 mm\n", 2);
    edits[0].kept = true;
    tt_guard_change(&guards, "head.ini", edits, 3, 0.3, false);
    check_said(&guards, NULL, 2);
    edits[0] = edit_of("N1.offset.x", 0, 17.5);
    tt_guard_change(&guards, "head.ini", edits, 1, 0.3, true);
    check_said(&guards, NULL, 2);
    tt_guard_change(&guards, "head.ini", edits, 1, 0.3, false);
    check_said(&guards, "from 0 mm", 3);
    guards.forced = TIPTRUE_GUARD_CHANGE;
    tt_guard_change(&guards, "head.ini", edits, 1, 0.3, false);
    check_said(&guards,
               "warning: 'N1.offset.x' would move by 17.5 mm, from 0 mm to 17.5 mm; the most "
               "allowed is 0.3 mm (forced)",
               3);
}
END_TEST

/* 2026-03-02T07:41:04Z is 1772437264. */
START_TEST(ages)
{
    static const struct {
        double now_s, most_s;
        const char *words;
    } CASES[] = {{1772437264 + 3599, 3600, NULL},
                 {1772437264 + 3960, 3600,
                  "started 1.1 h ago, at 2026-03-02T07:41:04Z; the most allowed is 1 h"},
                 {1772437264 - 599, 3600, NULL},
                 {1772437264 - 7200, 3600, "which is 2 h from now"},
                 {1772437264 - 601, 3600, "from now"}};
    struct tiptrue_solution solution = {.started = "2026-03-02T07:41:04Z"};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct tt_guards guards = {.sink = &SINK};
        tt_guard_age(&guards, &solution, CASES[k].most_s, CASES[k].now_s);
        check_said(&guards, CASES[k].words, CASES[k].words != NULL);
    }
    struct tt_guards guards = {.sink = &SINK};
    solution.started = "yesterday";
    tt_guard_age(&guards, &solution, 3600, 1772437264);
    check_said(&guards, "does not say when its run was started", 1);
}
END_TEST

/* Serial numbers tell plates apart, and where neither has one their names do. */
START_TEST(plates)
{
    static const struct {
        const char *serial, *name, *present_serial, *present_name;
        const char *words;
    } CASES[] = {
        {"S6", "pane", "S6", "other", NULL},
        {"S6", "pane", "S7", "pane", "made with the plate 'S6', the present one is 'S7'"},
        {"S6", "pane", NULL, "pane", "made with the plate 'S6', the present one is 'pane'"},
        {NULL, "pane", "S7", "pane", "made with the plate 'pane', the present one is 'S7'"},
        {NULL, "pane", NULL, "pane", NULL},
        {NULL, "pane", NULL, "frame", "made with the plate 'pane', the present one is 'frame'"},
        {NULL, NULL, NULL, "frame", "made with the plate '', the present one is 'frame'"}};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct tt_guards guards = {.sink = &SINK};
        struct tiptrue_solution solution = {.plate_serial = CASES[k].serial,
                                            .plate = CASES[k].name};
        struct tiptrue_plate plate = {.serial = CASES[k].present_serial,
                                      .name = CASES[k].present_name};
        tt_guard_plate(&guards, &solution, NULL, &plate, NULL, 0);
        check_said(&guards, CASES[k].words, CASES[k].words != NULL);
    }
}
END_TEST

/* An offset in use that was found with another plate, of a tip whose offset is exported. */
START_TEST(plates_of_offsets)
{
    struct tt_tip tips[] = {{.name = "N1", .offset_plate = "S5"},
                            {.name = "N2", .offset_plate = "S6"}};
    struct tiptrue_machine machine = {.name = "loom", .tips = tips, .n_tips = 2};
    struct tiptrue_solution solution = {.plate_serial = "S6", .machine = "loom"};
    struct tt_guards guards = {.sink = &SINK};
    struct tt_edit edits[] = {edit_of("N2.offset.x", 17.21, 17.22),
                              edit_of("N1.runout.x", 0, 0.01)};

    tt_guard_plate(&guards, &solution, &machine, NULL, edits, 2);
    check_said(&guards, NULL, 0);
    edits[0] = edit_of("N1.offset.y", 12.7, 12.71);
    tt_guard_plate(&guards, &solution, &machine, NULL, edits, 2);
    check_said(
        &guards,
        "present offset of tip 'N1' was found with the plate 'S5', the result was made with 'S6'",
        1);
    edits[0].kept = true;
    tt_guard_plate(&guards, &solution, &machine, NULL, edits, 2);
    check_said(&guards, NULL, 1);
    tt_guard_machine(&guards, &solution, &machine);
    check_said(&guards, NULL, 1);
    machine.name = "loom 2";
    tt_guard_machine(&guards, &solution, &machine);
    check_said(&guards, "the result is of the machine 'loom', the machine file of 'loom 2'", 2);
    tt_guard_machine(&guards, &solution, NULL);
    check_said(&guards, "no machine file is named", 2);
}
END_TEST

/* The worst offset's verdict of the wanted tips, which a height's does not enter. */
START_TEST(verdicts)
{
    const char *names[] = {"N1"}, *wanted[] = {"N2"};
    struct tt_tip_result tips[] = {
        {.name = "N1", .offset_verdict = TIPTRUE_UPDATE, .verdict = TIPTRUE_REPEAT},
        {.name = "N2", .offset_verdict = TIPTRUE_REPEAT, .verdict = TIPTRUE_REPEAT}};
    struct tiptrue_solution solution = {.tips = tips, .n_tips = 2, .verdict = TIPTRUE_KEEP};
    struct tiptrue_export_options all = {0}, first = {.tips = names, .n_tips = 1};
    struct tt_guards guards = {.sink = &SINK};

    ck_assert_int_eq(tt_export_verdict(&solution, &first), TIPTRUE_UPDATE);
    ck_assert_int_eq(tt_export_verdict(&solution, &all), TIPTRUE_REPEAT);
    tt_guard_verdict(&guards, &solution, &all);
    check_said(&guards, "the verdict of the run is repeat", 1);
    tt_guard_verdict(&guards, &solution, &first);
    check_said(&guards, NULL, 1);
    solution.wanted = wanted;
    solution.n_wanted = 1;
    ck_assert_int_eq(tt_export_verdict(&solution, &all), TIPTRUE_REPEAT);
    solution.wanted = names;
    ck_assert_int_eq(tt_export_verdict(&solution, &all), TIPTRUE_UPDATE);
    solution.least_squares = true;
    guards.forced = TIPTRUE_GUARD_VERDICT;
    tt_guard_verdict(&guards, &solution, &all);
    check_said(&guards, "the result is of --least-squares", 2);
    solution.n_tips = 0;
    ck_assert_int_eq(tt_export_verdict(&solution, &all), TIPTRUE_KEEP);
}
END_TEST

START_TEST(heights)
{
    struct tt_guards guards = {.sink = &SINK};
    struct tt_edit edit = edit_of("N1.height", -20.7, -20.71);

    tt_guard_heights(&guards, &edit, 1, true);
    check_said(&guards, NULL, 0);
    edit.verdict = TIPTRUE_REPEAT;
    edit.kept = true;
    tt_guard_heights(&guards, &edit, 1, false);
    check_said(&guards, "warning: 'N1.height': its verdict is repeat, it may not be used", 0);
    tt_guard_heights(&guards, &edit, 1, true);
    check_said(&guards, "error: 'N1.height': its verdict is repeat, it may not be used", 1);
    edit = edit_of("N1.offset.x", -20.7, -20.71);
    edit.verdict = TIPTRUE_REPEAT;
    tt_guard_heights(&guards, &edit, 1, true);
    check_said(&guards, NULL, 1);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/guard");
    TCase *tcase = tcase_create("guard");
    tcase_add_test(tcase, changes);
    tcase_add_test(tcase, changes_of_others);
    tcase_add_test(tcase, ages);
    tcase_add_test(tcase, plates);
    tcase_add_test(tcase, plates_of_offsets);
    tcase_add_test(tcase, verdicts);
    tcase_add_test(tcase, heights);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
