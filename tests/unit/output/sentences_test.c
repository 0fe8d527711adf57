/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sentences of findings: every new code has one, values stand in it with their units, a tip's
 * reasons follow its errors. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "model/proposal.h"
#include "output/text/sentences.h"
#include "sample.h"

static struct tt_finding marks_off(const struct tt_value *values, size_t n)
{
    return (struct tt_finding){.code = TT_FINDING_MARKS_OFF,
                               .severity = TIPTRUE_ERROR,
                               .edge = TT_NONE,
                               .tip = TT_NONE,
                               .setup = TT_NONE,
                               .values = values,
                               .n_values = n};
}

/* The sentence of one value under the key "v". */
static void expect_value(struct tt_value value, const char *words)
{
    struct sample sample;
    struct tt_buffer buffer = {0};
    struct tt_finding finding = marks_off(&value, 1);

    sample_one_tip(&sample);
    tt_sentence(&buffer, &sample.solution, &finding);
    ck_assert_ptr_nonnull(buffer.text);
    ck_assert_msg(strstr(buffer.text, words) != NULL, "'%s' is not in: %s", words, buffer.text);
    tt_buffer_clear(&buffer);
}

START_TEST(values_with_their_units)
{
    expect_value((struct tt_value){"found", TT_UNIT_MM, 0.0274, NULL, NULL},
                 "(found 27 \xc2\xb5m)");
    expect_value((struct tt_value){"found", TT_UNIT_MM, -59.1347, NULL, NULL},
                 "(found -59.135 mm)");
    expect_value((struct tt_value){"turned_by", TT_UNIT_RAD, tt_rad_from_deg(3.4), NULL, NULL},
                 "(turned by 3.40\xc2\xb0)");
    expect_value((struct tt_value){"of", TT_UNIT_NONE, 1348, NULL, NULL}, "(of 1348)");
    expect_value((struct tt_value){"p", TT_UNIT_SHARE, 0.123, NULL, NULL}, "(p 12.3 %)");
    expect_value((struct tt_value){"at", TT_UNIT_C, 293.15, NULL, NULL}, "(at 293 \xc2\xb0"
                                                                         "C)");
    expect_value((struct tt_value){"mark", TT_UNIT_NONE, 0, "{lines} [B]", NULL},
                 "(mark {lines} [B])");
    expect_value((struct tt_value){"off", TT_UNIT_MM, NAN, NULL, NULL}, "(off ?)");
}
END_TEST

/* A code that output has to find words for says something, with and without a subject. */
START_TEST(every_code_without_a_text_has_words)
{
    for (int code = TT_FINDING_DOES_NOT_FIT; code < TT_FINDING_CODES; code++) {
        struct sample sample;
        struct tt_buffer with = {0}, without = {0};
        sample_one_tip(&sample);
        struct tt_value value = {"what", TT_UNIT_NONE, 0, "never heard of", NULL};
        struct tt_finding finding = marks_off(&value, 1);
        finding.code = (enum tt_finding_code)code;
        tt_sentence(&without, &sample.solution, &finding);
        finding.tip = 0;
        finding.edge = 1;
        tt_sentence(&with, &sample.solution, &finding);
        ck_assert_msg(without.length > 20 && with.length >= without.length, "%s: '%s'",
                      tt_finding_name(finding.code), without.text != NULL ? without.text : "");
        ck_assert_msg(strpbrk(with.text, "{}[]") == NULL, "%s", with.text);
        tt_buffer_clear(&with);
        tt_buffer_clear(&without);
    }
}
END_TEST

START_TEST(texts_and_reasons_are_filled_in)
{
    struct sample sample;
    struct tt_value value = {"found", TT_UNIT_MM, 57.5, NULL, NULL};

    sample_two_tips(&sample);
    struct tiptrue_solution *s = &sample.solution;
    struct tt_finding findings[3] = {marks_off(&value, 1), marks_off(&value, 1),
                                     marks_off(&value, 1)};
    findings[1].tip = 1;
    findings[1].text = "as it was";
    findings[2].severity = TIPTRUE_WARNING;
    s->findings = findings;
    s->n_findings = 3;
    struct tt_reason reasons[3] = {{.code = TT_REASON_FINDING, .finding = &findings[0]},
                                   {.code = TT_REASON_FINDING, .finding = &findings[1]},
                                   {.code = TT_REASON_NOT_WITHIN}};
    s->tips[0].reasons = reasons;
    s->tips[0].n_reasons = 3;
    ck_assert_int_eq(tt_sentences(s), TIPTRUE_OK);
    ck_assert_ptr_nonnull(strstr(findings[0].text, "57.500 mm"));
    ck_assert_str_eq(findings[1].text, "as it was");
    ck_assert_ptr_nonnull(findings[2].text);
    ck_assert_ptr_nonnull(strstr(reasons[0].text, "marks-off: the marks"));
    ck_assert_str_eq(reasons[1].text, "marks-off: as it was");
    ck_assert_str_eq(reasons[2].text, "the offset in use may be off by more than 30 \xc2\xb5m "
                                      "(chance that it is within: 3.5 %; 95 % needed)");
    tt_arena_clear(&s->arena);
}
END_TEST

START_TEST(whole_texts_stay_as_they_are)
{
    struct sample sample;

    sample_one_tip(&sample);
    const char *before = sample.solution.tips[0].reasons[0].text;
    sample.solution.tips[0].verdict = TIPTRUE_REPEAT;
    sample.solution.tips[0].offset_verdict = TIPTRUE_REPEAT;
    ck_assert_int_eq(tt_sentences(&sample.solution), TIPTRUE_OK);
    ck_assert_ptr_eq(sample.solution.tips[0].reasons[0].text, before);
    ck_assert_ptr_null(sample.solution.arena.first);
}
END_TEST

/* Why no plan is made: the first finding of what is expected, or the edges. */
START_TEST(plans_that_are_refused)
{
    struct tt_finding finding = marks_off(NULL, 0);
    struct tiptrue_solution expected = {.findings = &finding, .n_findings = 1};
    struct tiptrue_proposal proposal = {.refusal = TT_REFUSED_UNUSED, .expected = &expected};
    struct tiptrue_error error = {0};

    finding.text = "of three edges 100 % are in one line";
    ck_assert_int_eq(tt_output_refusal(&proposal, "p7.json", &error), TIPTRUE_E_DEGENERATE);
    ck_assert_str_eq(error.text,
                     "no run on this plate would be used: of three edges 100 % are in one line");
    ck_assert_str_eq(error.hint, "more edges, or better known ones");
    ck_assert_str_eq(error.file, "p7.json");
    expected.n_findings = 0;
    error = (struct tiptrue_error){0};
    proposal.refusal = TT_REFUSED_UNDETERMINED;
    ck_assert_int_eq(tt_output_refusal(&proposal, "p7.json", &error), TIPTRUE_E_DEGENERATE);
    ck_assert_str_eq(error.text,
                     "no touches on this plate determine the offset: its edges do not suffice");
    ck_assert_str_eq(error.hint,
                     "edges in two directions, and marks that tell where the plate lies");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("output/sentences");
    TCase *tcase = tcase_create("all");
    tcase_add_test(tcase, values_with_their_units);
    tcase_add_test(tcase, every_code_without_a_text_has_words);
    tcase_add_test(tcase, texts_and_reasons_are_filled_in);
    tcase_add_test(tcase, whole_texts_stay_as_they_are);
    tcase_add_test(tcase, plans_that_are_refused);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
