/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which findings follow from others, and how a page folds them. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "output/output.h"
#include "output/text/follow.h"
#include "sample.h"

#define MOST 8

/* The sample of two tips (of t1, 3 of 7 touches left out; of t2, none of 8) with findings. */
struct world {
    struct sample sample;
    struct tt_finding findings[MOST];
    struct tt_value values[MOST][3];
};

static struct tt_finding *add(struct world *w, enum tt_finding_code code, const char *kind,
                              size_t tip)
{
    size_t n = w->sample.solution.n_findings++;

    ck_assert_uint_lt(n, MOST);
    w->values[n][0] = TT_TEXT("what", kind);
    w->findings[n] = (struct tt_finding){.code = code,
                                         .severity = TIPTRUE_ERROR,
                                         .text = "something",
                                         .edge = TT_NONE,
                                         .tip = tip,
                                         .setup = TT_NONE,
                                         .values = w->values[n],
                                         .n_values = 1};
    return &w->findings[n];
}

static void give(struct tt_finding *finding, struct tt_value value)
{
    ((struct tt_value *)finding->values)[finding->n_values++] = value;
}

static struct world *new_world(void)
{
    struct world *w = calloc(1, sizeof *w);

    sample_two_tips(&w->sample);
    w->sample.tips[1].touches = w->sample.tips[1].used = 8;
    w->sample.solution.findings = w->findings;
    w->sample.solution.n_findings = 0;
    return w;
}

static bool follows(const struct world *w, const struct tt_finding *finding)
{
    return tt_follows(&w->sample.solution, finding);
}

static char *page_of(const struct world *w, bool touches)
{
    struct tt_buffer buffer = {0};
    struct tiptrue_text_options options = {.utf8 = true, .columns = 80, .observations = touches};

    tt_output_text(&w->sample.solution, &options, &buffer);
    ck_assert(!buffer.failed);
    return buffer.text;
}

START_TEST(what_fits_well_otherwise_explains_all_that_the_fit_says)
{
    struct world *w = new_world();
    struct tt_finding *cause = add(w, TT_FINDING_MIRRORED, "x-sign", TT_NONE),
                      *other = add(w, TT_FINDING_IMPLAUSIBLE, "runout", 1),
                      *mark = add(w, TT_FINDING_MARKS_OFF, "mark", TT_NONE),
                      *lack = add(w, TT_FINDING_UNDETERMINED, "runout", 0),
                      *stated = add(w, TT_FINDING_IMPLAUSIBLE, "statement", 1),
                      *untouched = add(w, TT_FINDING_NOT_TOUCHED, "", TT_NONE),
                      *camera = add(w, TT_FINDING_MOVED_CAMERA, "", TT_NONE),
                      *tip = add(w, TT_FINDING_MOVED_TIP, "", 0);

    give(cause, TT_PLAIN("misfit", 1.87));
    ck_assert(!follows(w, cause));
    ck_assert(follows(w, other) && follows(w, mark) && follows(w, lack));
    ck_assert(follows(w, camera) && follows(w, tip));
    ck_assert(!follows(w, stated) && !follows(w, untouched));
    w->values[0][1].number = 2.13; /* something else is wrong as well, but not by millimetres */
    ck_assert(!follows(w, other) && !follows(w, tip) && follows(w, mark) && follows(w, lack));
    cause->severity = TIPTRUE_WARNING;
    ck_assert(!follows(w, mark) && !follows(w, lack));
    cause->severity = TIPTRUE_ERROR;
    w->values[0][0] = TT_TEXT("what", "radii");
    ck_assert(!follows(w, mark) && !follows(w, lack));
    free(w);
}
END_TEST

/* What is short in the log itself is told beside its other faults. */
START_TEST(a_lack_follows_where_touches_were_left_out)
{
    struct world *w = new_world();
    struct tt_finding *cause = add(w, TT_FINDING_MIRRORED, "y-sign", TT_NONE),
                      *first = add(w, TT_FINDING_FEW_TOUCHES, "quantities", 0),
                      *second = add(w, TT_FINDING_FEW_TOUCHES, "quantities", 1),
                      *alone = add(w, TT_FINDING_LATE_CONTACT, "alone", 1);

    give(cause, TT_PLAIN("misfit", 0.93));
    alone->edge = 1; /* east: 2 of 4 touches left out */
    ck_assert(follows(w, first) && !follows(w, second) && follows(w, alone));
    w->sample.tips[0].touches = 5; /* too few, whatever is left out */
    w->sample.edges[0].used = 4;
    ck_assert(!follows(w, first) && !follows(w, alone));
    free(w);
}
END_TEST

START_TEST(what_is_wrong_with_one_tip_explains_nothing_of_another)
{
    struct world *w = new_world();
    struct tt_finding *cause = add(w, TT_FINDING_DOES_NOT_FIT, "touches", 0),
                      *of_first = add(w, TT_FINDING_LATE_CONTACT, "most", 0),
                      *of_second = add(w, TT_FINDING_LATE_CONTACT, "most", 1),
                      *of_run = add(w, TT_FINDING_SCATTERED, "early-gross", TT_NONE),
                      *mark = add(w, TT_FINDING_MARKS_OFF, "mark", TT_NONE);

    ck_assert(follows(w, of_first) && !follows(w, of_second) && !follows(w, of_run));
    cause->tip = TT_NONE;
    ck_assert(follows(w, of_second) && follows(w, of_run) && !follows(w, mark));
    cause->tip = 0;
    (void)add(w, TT_FINDING_DOES_NOT_FIT, "touches", 1);
    ck_assert(follows(w, of_second) && follows(w, of_run) && !follows(w, mark));
    free(w);
}
END_TEST

START_TEST(exchanged_tips_explain_their_own_statements)
{
    struct world *w = new_world();
    struct tt_finding *cause = add(w, TT_FINDING_TIPS_EXCHANGED, "offset", TT_NONE),
                      *first = add(w, TT_FINDING_CHANGE_IMPLAUSIBLE, "other-tip", 0),
                      *second = add(w, TT_FINDING_RADIUS_OFF, "held", 1);

    give(cause, TT_TEXT("first", "t0"));
    give(cause, TT_TEXT("second", "t2"));
    ck_assert(!follows(w, first) && follows(w, second));
    w->values[0][1].text = "t1";
    ck_assert(follows(w, first) && follows(w, second));
    free(w);
}
END_TEST

/* One thing leads to another; heights are touched otherwise, and stand by themselves. */
START_TEST(a_chain_of_causes)
{
    struct world *w = new_world();
    struct tt_finding *plate = add(w, TT_FINDING_OTHER_PLATE, "", TT_NONE),
                      *gross = add(w, TT_FINDING_DOES_NOT_FIT, "touches", 0),
                      *most = add(w, TT_FINDING_LATE_CONTACT, "most", 0),
                      *lack = add(w, TT_FINDING_UNDETERMINED, "offset-place", 0),
                      *height = add(w, TT_FINDING_LATE_CONTACT, "", 0);

    give(height, TT_TEXT("quantity", "height"));
    ck_assert(!follows(w, plate) && follows(w, gross) && follows(w, most) && follows(w, lack));
    ck_assert(!follows(w, height));
    gross->severity = TIPTRUE_NOTE; /* a plate of the same kind: it fits */
    most->severity = TIPTRUE_WARNING;
    ck_assert(!follows(w, lack) && !follows(w, most));
    free(w);
}
END_TEST

/* A list of touches says nothing more where most are off for a mistake that is named. */
START_TEST(touches_left_out_are_listed_where_that_tells_something)
{
    struct world *w = new_world();
    struct tiptrue_solution *s = &w->sample.solution;
    struct tt_finding *cause = add(w, TT_FINDING_DOES_NOT_FIT, "touches", 0),
                      *unit = add(w, TT_FINDING_UNIT_SUSPECT, "", TT_NONE);

    unit->severity = TIPTRUE_NOTE;
    s->touches_read = 15;
    s->touches_set_aside = 8;
    ck_assert(!tt_left_out_follow(s)); /* t2 has none of these */
    cause->tip = TT_NONE;
    ck_assert(tt_left_out_follow(s));
    s->touches_set_aside = 7;
    ck_assert(!tt_left_out_follow(s));
    unit->severity = TIPTRUE_ERROR;
    ck_assert(tt_left_out_follow(s));
    free(w);
}
END_TEST

START_TEST(a_page_folds_unless_all_is_asked_for)
{
    struct world *w = new_world();
    struct tt_finding *cause = add(w, TT_FINDING_MIRRORED, "x-sign", TT_NONE),
                      *reason = add(w, TT_FINDING_FEW_TOUCHES, "quantities", 0);

    add(w, TT_FINDING_LATE_CONTACT, "film", TT_NONE)->severity = TIPTRUE_WARNING;
    add(w, TT_FINDING_LATE_CONTACT, "gross", TT_NONE)->severity = TIPTRUE_WARNING;
    give(cause, TT_PLAIN("misfit", 0.93));
    cause->text = "x is counted the other way";
    reason->text = "too few";
    w->sample.tips[0].verdict = w->sample.tips[0].offset_verdict = TIPTRUE_REPEAT;
    w->sample.reasons[0] = (struct tt_reason){TT_REASON_FINDING, reason, "few-touches: too few"};
    w->sample.reasons_2[0] = (struct tt_reason){TT_REASON_FINDING, cause, "mirrored: x"};
    char *page = page_of(w, false);
    ck_assert(strstr(page, "t1 and t2\n"
                           "  t2: mirrored: x\n"
                           "  3 more findings probably follow from the above, or cannot be judged "
                           "until it\n"
                           "    is put right: few-touches, late-contact (`tiptrue solve "
                           "--touches' shows\n"
                           "    them)\n\nrun.csv") != NULL);
    ck_assert(strstr(page, "too few") == NULL && strstr(page, "Findings:") == NULL);
    ck_assert(strstr(page, "Left out:") == NULL && strstr(page, "3 left out") != NULL);
    ck_assert(strstr(page, "Next: correct what is named first, then solve this log") != NULL);
    free(page);
    page = page_of(w, true);
    ck_assert(strstr(page, "t1 and t2\n  t2: mirrored: x\n  t1: few-touches: too few\n\n") != NULL);
    ck_assert(strstr(page, "Findings:\n  warning, late-contact") != NULL);
    ck_assert(strstr(page, "Left out:") != NULL && strstr(page, "more finding") == NULL);
    free(page);
    free(w);
}
END_TEST

int main(void)
{
    const TTest *const TESTS[] = {what_fits_well_otherwise_explains_all_that_the_fit_says,
                                  a_lack_follows_where_touches_were_left_out,
                                  what_is_wrong_with_one_tip_explains_nothing_of_another,
                                  exchanged_tips_explain_their_own_statements,
                                  a_chain_of_causes,
                                  touches_left_out_are_listed_where_that_tells_something,
                                  a_page_folds_unless_all_is_asked_for};
    Suite *suite = suite_create("output/follow");
    TCase *cases = tcase_create("follow");
    SRunner *runner;
    int failed;

    for (size_t i = 0; i < SAMPLE_COUNT(TESTS); i++) {
        tcase_add_test(cases, TESTS[i]);
    }
    suite_add_tcase(suite, cases);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
