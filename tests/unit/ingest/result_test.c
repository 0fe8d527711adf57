/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A result read back: written again it is the same text; what a document of another program may
 * leave out; faults. */
#include "config.h"

#include "collect.h"
#include "ingest/ingest.h"
#include "output/output.h"
#include "output/sample.h"

static enum tiptrue_status read_text(const char *text, struct tiptrue_solution **solution,
                                     struct tt_buffer *told)
{
    const struct tiptrue_sink sink = {collect_told, told};
    return tt_result_read_bytes("result.json", text, strlen(text), &sink, solution, NULL);
}

static void check_same_again(const struct tiptrue_solution *solution)
{
    const struct tiptrue_text_options options = {.observations = true};
    struct tt_buffer first = {0}, again = {0}, told = {0};
    struct tiptrue_solution *back = NULL;

    tt_output_json(solution, &options, &first);
    ck_assert_int_eq(read_text(first.text, &back, &told), TIPTRUE_OK);
    assert_told(&told, "");
    tt_output_json(back, &options, &again);
    ck_assert_str_eq(again.text, first.text);
    tiptrue_solution_free(back);
    tt_buffer_clear(&first);
    tt_buffer_clear(&again);
    tt_buffer_clear(&told);
}

START_TEST(written_and_read_it_is_the_same)
{
    struct sample sample;

    sample_one_tip(&sample);
    sample.tips[0].trials =
        &(struct tt_trials){.n = 2500,
                            .x = {0.0001, 0.0211, -0.0411, 0.0409, 0.0003, 0.0005, 0.0002, true},
                            .y = {0.0002, 0.0222, -0.0433, 0.0437, 0.0007, 0.0006, 0.0004, false},
                            .covered = 0.953};
    sample.tips[0].same_plate_region =
        (struct tt_region){0.0031, 0.0027, tt_rad_from_deg(-37.4), 2.535};
    sample.tips[0].common_u_x_mm = 0.00082;
    sample.tips[0].common_u_y_mm = 0.00093;
    sample.tips[0].same_plate_u_radius_mm = 0.00071;
    check_same_again(&sample.solution);
    sample_two_tips(&sample);
    check_same_again(&sample.solution);
}
END_TEST

/* A height with all that may be said of it; its face runout as a vector too. */
START_TEST(heights_come_back)
{
    struct sample sample;
    struct tt_height_result height = {.touches = 18,
                                      .used = 17,
                                      .determined = true,
                                      .value_mm = -20.7031,
                                      .u_mm = 0.0062,
                                      .expanded_mm = 0.0131,
                                      .dof = 23.7,
                                      .factor = 2.066,
                                      .same_plate_u_mm = 0.0011,
                                      .same_plate_expanded_mm = 0.0023,
                                      .has_face_runout = true,
                                      .face_amplitude_mm = 0.0123,
                                      .u_face_amplitude_mm = 0.0009,
                                      .face_angle_rad = tt_rad_from_deg(137.4),
                                      .has_present = true,
                                      .present_mm = -20.7121,
                                      .change_mm = 0.009,
                                      .change_u_mm = 0.0017,
                                      .change_dof = 19.3,
                                      .p_unchanged = 0.0417,
                                      .has_conformity = true,
                                      .permitted_error_mm = 0.02,
                                      .p_conforming = 0.967,
                                      .has_verdict = true,
                                      .verdict = TIPTRUE_UPDATE};
    struct tt_buffer text = {0}, told = {0};
    struct tiptrue_solution *back = NULL;

    sample_one_tip(&sample);
    sample.tips[0].height = &height;
    sample.solution.heights = 18;
    check_same_again(&sample.solution);
    tt_output_json(&sample.solution, &(struct tiptrue_text_options){0}, &text);
    ck_assert_int_eq(read_text(text.text, &back, &told), TIPTRUE_OK);
    const struct tt_height_result *read = back->tips[0].height;
    ck_assert(read != NULL && read->has_face_runout && read->touches == 18 && read->used == 17);
    ck_assert_double_eq_tol(read->face_runout.x_mm, 0.0123 * cos(tt_rad_from_deg(137.4)), 1e-9);
    ck_assert_double_eq_tol(read->face_runout.y_mm, 0.0123 * sin(tt_rad_from_deg(137.4)), 1e-9);
    ck_assert_double_eq_tol(read->u_face_amplitude_mm, 0.0009, 1e-12);
    ck_assert_double_eq_tol(read->same_plate_u_mm, 0.0011, 1e-12);
    tiptrue_solution_free(back);
    tt_buffer_clear(&text);
    tt_buffer_clear(&told);
}
END_TEST

#define RUN                                                                                        \
    "\"schema\": \"tiptrue.result/1\", \"run\": {\"id\": \"00000000000000a7\"}, \"verdict\": "     \
    "\"keep\""

START_TEST(a_tip_of_the_fewest_words)
{
    struct tt_buffer told = {0};
    struct tiptrue_solution *s = NULL;

    ck_assert_int_eq(
        read_text("{" RUN
                  ", \"tips\": [{\"tip\": \"t1\", \"offset_mm\": {\"x\": -41.3012, \"y\": 12.7004},"
                  " \"u_offset_mm\": {\"x\": 0.021, \"y\": 0.023}, \"correlation\": 0.25, "
                  "\"verdict\": \"update\"}]}",
                  &s, &told),
        TIPTRUE_OK);
    assert_told(&told, "");
    ck_assert_uint_eq(s->n_tips, 1);
    ck_assert_double_eq_tol(s->tips[0].cov.xx_mm2, 0.021 * 0.021, 1e-15);
    ck_assert_double_eq_tol(s->tips[0].cov.xy_mm2, 0.25 * 0.021 * 0.023, 1e-15);
    ck_assert_double_eq_tol(s->tips[0].cov.yy_mm2, 0.023 * 0.023, 1e-15);
    /* nothing better is known than that the whole uncertainty is the run's own */
    ck_assert_double_eq(s->tips[0].same_plate_cov.xy_mm2, s->tips[0].cov.xy_mm2);
    ck_assert(isinf(s->tips[0].dof) && isinf(s->tips[0].same_plate_dof));
    ck_assert(!s->tips[0].runout_determined && !s->tips[0].radius_determined &&
              !s->tips[0].has_present);
    ck_assert_int_eq(s->tips[0].verdict, TIPTRUE_UPDATE);
    tiptrue_solution_free(s);
    tt_buffer_clear(&told);
}
END_TEST

#define BETWEEN                                                                                    \
    "{\"source\": \"scatter between runs\", \"type\": \"A\", \"u_mm\": {\"x\": 0.0021, \"y\": "    \
    "0.0034}}"

/* 2026-11-26: `history show --again` wrote behind the end of its memory (rc 134) after the import
 * of a result with 20 000 budget lines for the scatter between runs: each was entered in a table of
 * one place per tip. Readers refuse the second one. */
START_TEST(a_source_has_one_line_in_the_budget)
{
    struct tt_buffer told = {0};
    struct tiptrue_solution *s = NULL;

    ck_assert_int_eq(
        read_text("{" RUN
                  ", \"tips\": [{\"tip\": \"t1\", \"verdict\": \"keep\",\n\"budget\": [" BETWEEN
                  "," BETWEEN "," BETWEEN "]}]}",
                  &s, &told),
        TIPTRUE_E_DATA);
    ck_assert_ptr_null(s);
    assert_told(
        &told,
        "result.json:2:96: error: tip 't1': 'budget' has two lines for 'scatter between runs'\n"
        "  hint: each source contributes one line\n");
    tt_buffer_clear(&told);
}
END_TEST

START_TEST(faults_are_told_with_their_place)
{
    static const char *const texts[][2] = {
        {"{" RUN ", \"tips\": [{\"tip\": \"t1\", \"offset_mm\": {\"x\": 1.5, \"y\": 2.5}, "
         "\"verdict\": \"keep\"}]}",
         "result.json:1:95: error: tip 't1': neither 'covariance_mm2' nor the "
         "standard uncertainty is there\n"
         "  hint: an offset without its uncertainty is of no use\n"},
        {"{" RUN ", \"tips\": [{\"tip\": \"t1\", \"covariance_mm2\": [[1, 3], [3, 2]], "
         "\"verdict\": \"keep\"}]}",
         "result.json:1:127: error: tip 't1': 'covariance_mm2' is not a covariance matrix\n"
         "  hint: symmetric, variances on the diagonal\n"},
        {"{" RUN "}", "result.json:1:1: error: result: 'tips' is missing\n"},
        {"{" RUN ", \"tips\": [{\"tip\": \"t1\", \"verdict\": \"maybe\"}]}",
         "result.json:1:120: error: tip 't1': 'verdict' cannot be 'maybe'\n"
         "  hint: known words: 'keep', 'update', 'repeat', 'not measured'\n"},
        {"{\"schema\": \"tiptrue.plate/1\"}",
         "result.json:1:12: error: schema 'tiptrue.plate/1', where 'tiptrue.result/1' is expected\n"
         "  hint: is it the file that was meant?\n"},
    };

    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct tt_buffer told = {0};
        struct tiptrue_solution *s = NULL;
        ck_assert_int_eq(read_text(texts[i][0], &s, &told), TIPTRUE_E_DATA);
        ck_assert_ptr_null(s);
        assert_told(&told, texts[i][1]);
        tt_buffer_clear(&told);
    }
}
END_TEST

#define FINDING                                                                                    \
    "{" RUN ", \"tips\": [], \"findings\": [{\"code\": \"marks-off\", \"severity\": \"error\","    \
    " \"text\": \"t\", \"values\": "

/* A unit is told by the end of a key; null is not determined; what is no flat object is a fault. */
START_TEST(values_of_findings)
{
    struct tt_buffer told = {0};
    struct tiptrue_solution *s = NULL;

    ck_assert_int_eq(
        read_text(FINDING
                  "{\"found_mm\": 59.13, \"turned_deg\": 12.5, \"of\": 7, \"mark\": \"A_mm\","
                  " \"off_mm\": null, \"_mm\": 3}}]}",
                  &s, &told),
        TIPTRUE_OK);
    assert_told(&told, "");
    const struct tt_finding *f = &s->findings[0];
    ck_assert_uint_eq(f->n_values, 6);
    ck_assert_int_eq(tt_finding_value(f, "found")->unit, TT_UNIT_MM);
    ck_assert_double_eq(tt_finding_value(f, "found")->number, 59.13);
    ck_assert_int_eq(tt_finding_value(f, "turned")->unit, TT_UNIT_RAD);
    ck_assert_double_eq_tol(tt_finding_value(f, "turned")->number, tt_rad_from_deg(12.5), 1e-15);
    ck_assert_double_eq(tt_finding_value(f, "of")->number, 7);
    ck_assert_str_eq(tt_finding_value(f, "mark")->text, "A_mm");
    ck_assert(isnan(tt_finding_value(f, "off")->number));
    ck_assert_ptr_nonnull(tt_finding_value(f, "_mm"));
    ck_assert_ptr_null(tt_finding_value(f, "found_mm"));
    tiptrue_solution_free(s);
    tt_buffer_clear(&told);
}
END_TEST

START_TEST(values_that_are_none)
{
    static const char *const texts[] = {
        "[1]}]}", "{\"a\": [1]}}]}", "{\"a\": true}}]}", "{\"\": 1}}]}",
        "{\"a123456789b123456789c123456789d123456789e123456789f123456789_mm1\": 1}}]}"};

    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct tt_buffer told = {0}, text = {0};
        struct tiptrue_solution *s = NULL;
        tt_buffer_printf(&text, FINDING "%s", texts[i]);
        ck_assert_int_eq(read_text(text.text, &s, &told), TIPTRUE_E_DATA);
        ck_assert_msg(strstr(told.text, "'values'") != NULL, "%s", told.text);
        tt_buffer_clear(&told);
        tt_buffer_clear(&text);
    }
}
END_TEST

/* 2026-11-26: `report' took the first "schema" anywhere in a file for the file's own; history
 * import looked at the outermost object only. A run whose note holds a result was drawn as a
 * result, and refused. Both look at the outermost object now. */
START_TEST(a_nested_schema_is_not_the_documents)
{
    static const struct {
        const char *text;
        bool is;
    } cases[] = {
        {"{\"schema\": \"tiptrue.result/1\", \"run\": {}}", true},
        {"\xef\xbb\xbf \n{\"run\": {\"schema\": \"tiptrue.run/1\"}, \"schema\" : "
         "\"tiptrue.result/1\"}",
         true},
        {"{\"note\": {\"schema\": \"tiptrue.result/1\"}, \"schema\": \"tiptrue.run/1\"}", false},
        {"{\"note\": [\"schema\", {\"schema\": \"tiptrue.result/1\"}]}", false},
        {"{\"note\": \"\\\"schema\\\": \\\"tiptrue.result/1\\\"\", \"schema\": \"tiptrue.run/1\"}",
         false},
        {"# \"schema\": \"tiptrue.result/1\"\nkind,target\n", false},
        {"", false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert_msg(tt_result_is(cases[i].text, strlen(cases[i].text)) == cases[i].is, "%s",
                      cases[i].text);
    }
}
END_TEST

#define TIP(MEMBERS) "{" RUN ",\n\"tips\": [{\"tip\": \"t1\", " MEMBERS ", \"verdict\": \"keep\"}]}"
#define AT_1_2 "\"offset_mm\": {\"x\": 1, \"y\": 2}, \"u_offset_mm\": {\"x\": 0.01, \"y\": 0.02}"
#define TRIAL_AXIS                                                                                 \
    "{\"u_mm\": 0.01, \"mean_mm\": 0, \"interval_mm\": [-0.02, 0.02], \"difference_mm\": 0, "      \
    "\"tolerance_mm\": 0.001,"                                                                     \
    " \"u_difference_mm\": 0.001, \"agrees\": true}"
#define TRIALS(N, COVERED)                                                                         \
    "\"monte_carlo\": {\"trials\": " N ", \"x\": " TRIAL_AXIS ", \"y\": " TRIAL_AXIS               \
    ", \"region_coverage\": " COVERED "}"

/* 2026-11-26: results that no computation gives were taken: with a correlation of 5 `compare' found
 * no difference of any size, and one of no trials was shown as "± .nf %". What rounding can do to
 * the end of a range passes. */
START_TEST(what_cannot_be_is_refused)
{
    static const struct {
        const char *text, *told; /* NULL: good */
    } cases[] = {
        {TIP(AT_1_2 ", \"correlation\": 5"), "tip 't1': 'correlation' cannot be 5"},
        {TIP(AT_1_2 ", \"correlation\": -1.01"), "'correlation'"},
        {TIP(AT_1_2 ", \"correlation\": -1.0000000000000002"), NULL},
        {TIP("\"offset_mm\": {\"x\": 1, \"y\": 2}, \"u_offset_mm\": {\"x\": 0.01, \"y\": -0.02}"),
         "u_offset_mm: 'y' cannot be -0.02"},
        {TIP(AT_1_2 ", " TRIALS("0", "0.95")), "'trials' cannot be 0"},
        {TIP(AT_1_2 ", " TRIALS("1", "0.95")), "'trials' cannot be 1"},
        {TIP(AT_1_2 ", " TRIALS("2", "1")), NULL},
        {TIP(AT_1_2 ", " TRIALS("200", "1.2")), "'region_coverage'"},
        {TIP(AT_1_2 ", \"p_unchanged\": 1.5"), "'p_unchanged'"},
        {TIP(AT_1_2 ", \"prior_share\": -0.5"), "'prior_share'"},
        {TIP(AT_1_2 ", \"coverage\": {\"probability\": 0.68}"),
         "tip 't1': 'probability' cannot be 0.68"},
        {TIP(AT_1_2 ", \"coverage\": {\"probability\": 0.95}"), NULL},
        {TIP(AT_1_2 ", \"conformity\": {\"permitted_error_mm\": -0.03}"),
         "'permitted_error_mm' cannot be -0.03"},
        {TIP(AT_1_2 ", \"contact_radius_mm\": 0.4, \"u_contact_radius_mm\": -0.01"),
         "'u_contact_radius_mm'"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct tt_buffer told = {0};
        struct tiptrue_solution *s = NULL;
        enum tiptrue_status status = read_text(cases[i].text, &s, &told);
        ck_assert_msg(status == (cases[i].told != NULL ? TIPTRUE_E_DATA : TIPTRUE_OK), "%s: %s",
                      cases[i].text, told.text);
        ck_assert_msg(cases[i].told == NULL || strstr(told.text, cases[i].told) != NULL, "%s: %s",
                      cases[i].text, told.text);
        tiptrue_solution_free(s);
        tt_buffer_clear(&told);
    }
}
END_TEST

START_TEST(a_code_of_a_newer_version_is_left_out)
{
    struct tt_buffer told = {0};
    struct tiptrue_solution *s = NULL;

    ck_assert_int_eq(
        read_text(
            "{" RUN
            ", \"tips\": [], \"findings\": [{\"code\": \"loose-bracket\", \"severity\": \"note\","
            " \"text\": \"t\"}]}",
            &s, &told),
        TIPTRUE_OK);
    ck_assert_uint_eq(s->n_findings, 0);
    assert_told(&told,
                "result.json:1:111: warning: finding: unknown code 'loose-bracket' is left out\n"
                "  hint: was the result written by a newer version?\n");
    tiptrue_solution_free(s);
    tt_buffer_clear(&told);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/result");
    TCase *tcase = tcase_create("all");
    tcase_add_test(tcase, written_and_read_it_is_the_same);
    tcase_add_test(tcase, heights_come_back);
    tcase_add_test(tcase, a_tip_of_the_fewest_words);
    tcase_add_test(tcase, a_source_has_one_line_in_the_budget);
    tcase_add_test(tcase, faults_are_told_with_their_place);
    tcase_add_test(tcase, values_of_findings);
    tcase_add_test(tcase, values_that_are_none);
    tcase_add_test(tcase, a_nested_schema_is_not_the_documents);
    tcase_add_test(tcase, what_cannot_be_is_refused);
    tcase_add_test(tcase, a_code_of_a_newer_version_is_left_out);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
