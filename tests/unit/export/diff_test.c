/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The change as it is shown: the hunks that diff -u of GNU diffutils makes of the same two texts;
 * those below were made by it. */
#include "config.h"

#include "export/edit.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Twenty lines, those in @changed (counted from 1, 0 at the end) with another value; the last one
 * without a line end where @open. */
static void write_text(struct tt_buffer *to, const int changed[], bool open)
{
    for (int line = 1; line <= 20; line++) {
        bool other = false;
        for (const int *at = changed; *at != 0; at++) {
            other = other || *at == line;
        }
        tt_buffer_printf(to, "k%d=%d%s", line, other ? 7 * line : 3 * line,
                         line == 20 && open ? "" : "\n");
    }
}

static void check_diff(const int changed[], bool open, const char *expected)
{
    struct tt_buffer old = {0}, new = {0}, diff = {0};
    write_text(&old, (const int[]){0}, open);
    write_text(&new, changed, open);
    tt_diff_write("head.ini", old.text, old.length, new.text, new.length, &diff);
    ck_assert_str_eq(diff.text != NULL ? diff.text : "", expected);
    tt_buffer_clear(&old);
    tt_buffer_clear(&new);
    tt_buffer_clear(&diff);
}

START_TEST(nothing)
{
    check_diff((const int[]){0}, false, "");
    check_diff((const int[]){0}, true, "");
}
END_TEST

START_TEST(at_the_ends)
{
    check_diff((const int[]){1, 0}, false,
               "--- head.ini\n+++ head.ini\n@@ -1,4 +1,4 @@\n-k1=3\n+k1=7\n k2=6\n k3=9\n k4=12\n");
    check_diff((const int[]){20, 0}, false,
               "--- head.ini\n+++ head.ini\n@@ -17,4 +17,4 @@\n k17=51\n k18=54\n k19=57\n"
               "-k20=60\n+k20=140\n");
    check_diff((const int[]){20, 0}, true,
               "--- head.ini\n+++ head.ini\n@@ -17,4 +17,4 @@\n k17=51\n k18=54\n k19=57\n"
               "-k20=60\n\\ No newline at end of file\n+k20=140\n\\ No newline at end of file\n");
    check_diff((const int[]){17, 0}, true,
               "--- head.ini\n+++ head.ini\n@@ -14,7 +14,7 @@\n k14=42\n k15=45\n k16=48\n-k17=51\n"
               "+k17=119\n k18=54\n k19=57\n k20=60\n\\ No newline at end of file\n");
}
END_TEST

/* Changes with six lines between them share a hunk, with seven they do not. */
START_TEST(two_changes)
{
    check_diff((const int[]){5, 12, 0}, false,
               "--- head.ini\n+++ head.ini\n@@ -2,14 +2,14 @@\n k2=6\n k3=9\n k4=12\n-k5=15\n"
               "+k5=35\n k6=18\n k7=21\n k8=24\n k9=27\n k10=30\n k11=33\n-k12=36\n+k12=84\n"
               " k13=39\n k14=42\n k15=45\n");
    check_diff((const int[]){5, 13, 0}, false,
               "--- head.ini\n+++ head.ini\n@@ -2,7 +2,7 @@\n k2=6\n k3=9\n k4=12\n-k5=15\n+k5=35\n"
               " k6=18\n k7=21\n k8=24\n@@ -10,7 +10,7 @@\n k10=30\n k11=33\n k12=36\n-k13=39\n"
               "+k13=91\n k14=42\n k15=45\n k16=48\n");
}
END_TEST

START_TEST(neighbours)
{
    check_diff((const int[]){9, 10, 12, 0}, false,
               "--- head.ini\n+++ head.ini\n@@ -6,10 +6,10 @@\n k6=18\n k7=21\n k8=24\n-k9=27\n"
               "-k10=30\n+k9=63\n+k10=70\n k11=33\n-k12=36\n+k12=84\n k13=39\n k14=42\n k15=45\n");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/diff");
    TCase *tcase = tcase_create("diff");
    tcase_add_test(tcase, nothing);
    tcase_add_test(tcase, at_the_ends);
    tcase_add_test(tcase, two_changes);
    tcase_add_test(tcase, neighbours);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
