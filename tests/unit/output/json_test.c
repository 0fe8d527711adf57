/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The JSON output, read back by cJSON: every value under its key, null where nothing is determined,
 * strings by RFC 8259. */
#include <check.h>
#include <cjson/cJSON.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "output/json/json_write.h"
#include "output/output.h"
#include "sample.h"

#define MICRON 1e-3 /* mm */

/* The output, checked to be one line and one JSON document; for cJSON_Delete. */
static cJSON *document_of(const struct sample *sample, bool observations)
{
    struct tt_buffer buffer = {0};
    struct tiptrue_text_options options = {.observations = observations};
    cJSON *document;

    tt_output_json(&sample->solution, &options, &buffer);
    ck_assert(!buffer.failed);
    ck_assert(strchr(buffer.text, '\n') == NULL);
    document = cJSON_ParseWithOpts(buffer.text, NULL, true);
    ck_assert_msg(document != NULL, "no JSON: %s", buffer.text);
    tt_buffer_clear(&buffer);
    return document;
}

/* What lies at @path, names and numbers separated by '/'. */
static const cJSON *at(const cJSON *document, const char *path)
{
    char step[64];

    while (*path != '\0') {
        size_t length = strcspn(path, "/");
        snprintf(step, sizeof step, "%.*s", (int)length, path);
        document = cJSON_IsArray(document) ? cJSON_GetArrayItem(document, atoi(step))
                                           : cJSON_GetObjectItemCaseSensitive(document, step);
        ck_assert_msg(document != NULL, "nothing at %s", path);
        path += length + (path[length] == '/');
    }
    return document;
}

static void expect_number(const cJSON *document, const char *path, double value)
{
    const cJSON *item = at(document, path);

    ck_assert_msg(cJSON_IsNumber(item), "%s is no number", path);
    ck_assert_msg(fabs(item->valuedouble - value) <= 1e-13 * fmax(1, fabs(value)),
                  "%s is %.17g, not %.17g", path, item->valuedouble, value);
}

static void expect_text(const cJSON *document, const char *path, const char *text)
{
    const cJSON *item = at(document, path);

    ck_assert_msg(cJSON_IsString(item), "%s is no string", path);
    ck_assert_str_eq(item->valuestring, text);
}

static void expect_null(const cJSON *document, const char *path)
{
    ck_assert_msg(cJSON_IsNull(at(document, path)), "%s is not null", path);
}

START_TEST(run_and_poses)
{
    struct sample sample;
    cJSON *d;

    sample_one_tip(&sample);
    d = document_of(&sample, false);
    expect_text(d, "schema", "tiptrue.result/1");
    expect_text(d, "program/name", "tiptrue");
    expect_text(d, "run/id", "0123456789abcdef");
    expect_text(d, "run/file", "run.csv");
    expect_text(d, "run/machine", "bench-2");
    expect_text(d, "run/plate", "plate A");
    expect_text(d, "run/plate_serial", "0007");
    expect_text(d, "run/started", "2026-03-02T07:40:00Z");
    expect_number(d, "run/touches/read", 7);
    expect_number(d, "run/touches/used", 4);
    expect_number(d, "run/touches/set_aside", 3);
    expect_number(d, "run/touches/no_contact", 1);
    expect_number(d, "run/touches/find", 2);
    expect_number(d, "run/touches/warmup", 5);
    expect_number(d, "run/sightings", 6);
    expect_text(d, "poses/0/setup", "1");
    expect_number(d, "poses/0/mark_mm/x", 120.50031);
    expect_number(d, "poses/0/mark_mm/y", 80.24996);
    expect_number(d, "poses/0/u_mark_mm/x", 1.2 * MICRON);
    expect_number(d, "poses/0/u_mark_mm/y", 1.3 * MICRON);
    expect_number(d, "poses/0/yaw_deg", 0.415);
    expect_number(d, "poses/0/u_yaw_deg", 0.0042);
    expect_text(d, "verdict", "update");
    cJSON_Delete(d);
}
END_TEST

START_TEST(offset_and_its_uncertainty)
{
    struct sample sample;
    cJSON *d;

    sample_one_tip(&sample);
    d = document_of(&sample, false);
    expect_text(d, "tips/0/tip", "t1");
    expect_number(d, "tips/0/offset_mm/x", -41.30092);
    expect_number(d, "tips/0/offset_mm/y", 12.70036);
    expect_number(d, "tips/0/u_offset_mm/x", 21 * MICRON);
    expect_number(d, "tips/0/u_offset_mm/y", 22 * MICRON);
    expect_number(d, "tips/0/correlation", 8.82 / (21 * 22));
    expect_number(d, "tips/0/covariance_mm2/0/0", 4.41e-4);
    expect_number(d, "tips/0/covariance_mm2/0/1", 8.82e-6);
    expect_number(d, "tips/0/covariance_mm2/1/0", 8.82e-6);
    expect_number(d, "tips/0/covariance_mm2/1/1", 4.84e-4);
    expect_number(d, "tips/0/same_plate/u_offset_mm/x", 1.1 * MICRON);
    expect_number(d, "tips/0/same_plate/u_offset_mm/y", 1.2 * MICRON);
    expect_number(d, "tips/0/same_plate/covariance_mm2/0/1", -3.0e-8);
    expect_number(d, "tips/0/same_plate/dof", 33.5);
    expect_number(d, "tips/0/same_plate/factor", 2.033);
    expect_number(d, "tips/0/same_plate/expanded_mm/x", 2.24 * MICRON);
    expect_number(d, "tips/0/same_plate/expanded_mm/y", 2.44 * MICRON);
    expect_number(d, "tips/0/coverage/probability", 0.95);
    expect_number(d, "tips/0/coverage/dof", 41.25);
    expect_number(d, "tips/0/coverage/factor", 2.019);
    expect_number(d, "tips/0/coverage/expanded_mm/x", 42.4 * MICRON);
    expect_number(d, "tips/0/coverage/expanded_mm/y", 44.4 * MICRON);
    expect_number(d, "tips/0/coverage/region/factor", 2.54);
    expect_number(d, "tips/0/coverage/region/semi_major_mm", 56.1 * MICRON);
    expect_number(d, "tips/0/coverage/region/semi_minor_mm", 53.2 * MICRON);
    expect_number(d, "tips/0/coverage/region/angle_deg", 77);
    cJSON_Delete(d);
}
END_TEST

START_TEST(runout_radius_shape_and_budget)
{
    struct sample sample;
    cJSON *d;

    sample_one_tip(&sample);
    d = document_of(&sample, false);
    expect_number(d, "tips/0/runout/at_zero_mm/x", 31 * MICRON);
    expect_number(d, "tips/0/runout/at_zero_mm/y", -18 * MICRON);
    expect_number(d, "tips/0/runout/eccentricity_mm", 35.85 * MICRON);
    expect_number(d, "tips/0/runout/u_mm", 0.6 * MICRON);
    expect_number(d, "tips/0/runout/angle_deg", -30.14);
    expect_number(d, "tips/0/runout/u_deg", 0.95);
    expect_number(d, "tips/0/contact_radius_mm", 0.24873);
    expect_number(d, "tips/0/u_contact_radius_mm", 4.1 * MICRON);
    expect_number(d, "tips/0/shape/0/order", 2);
    expect_number(d, "tips/0/shape/0/amplitude_mm", 4.1 * MICRON);
    expect_number(d, "tips/0/shape/0/u_mm", 0.5 * MICRON);
    expect_number(d, "tips/0/shape/0/angle_deg", 12.5);
    expect_text(d, "tips/0/budget/1/source", "group shifts");
    expect_text(d, "tips/0/budget/1/code", "group-shifts");
    expect_text(d, "tips/0/budget/1/type", "B");
    expect_text(d, "tips/0/budget/0/type", "A");
    expect_number(d, "tips/0/budget/1/u_mm/x", 20.1 * MICRON);
    expect_number(d, "tips/0/budget/1/u_mm/y", 20.2 * MICRON);
    expect_number(d, "tips/0/prior_share", 0.125);
    cJSON_Delete(d);
}
END_TEST

START_TEST(present_offset_and_verdict)
{
    struct sample sample;
    cJSON *d;

    sample_one_tip(&sample);
    d = document_of(&sample, false);
    expect_number(d, "tips/0/present_mm/x", -41.2455);
    expect_number(d, "tips/0/present_mm/y", 12.69);
    expect_number(d, "tips/0/change_mm/x", -55.42 * MICRON);
    expect_number(d, "tips/0/change_mm/y", 10.36 * MICRON);
    expect_number(d, "tips/0/p_unchanged", 0.0123);
    expect_number(d, "tips/0/conformity/permitted_error_mm", 30 * MICRON);
    expect_number(d, "tips/0/conformity/probability", 0.0345);
    expect_text(d, "tips/0/verdict", "update");
    expect_text(d, "tips/0/reasons/0",
                "the offset in use may be off by more than the permitted error of 0.03 mm");
    cJSON_Delete(d);

    sample.tips[0].has_present = sample.tips[0].has_conformity = false;
    d = document_of(&sample, false);
    expect_null(d, "tips/0/present_mm");
    expect_null(d, "tips/0/change_mm");
    expect_null(d, "tips/0/p_unchanged");
    expect_null(d, "tips/0/conformity");
    cJSON_Delete(d);
}
END_TEST

START_TEST(repeatability_effects_edges_and_findings)
{
    struct sample sample;
    cJSON *d;

    sample_one_tip(&sample);
    sample.solution.has_latency = true;
    sample.solution.latency_s = 0.00321;
    sample.solution.u_latency_s = 0.00012;
    d = document_of(&sample, false);
    expect_number(d, "touch_repeatability_mm/u", 2.8 * MICRON);
    expect_number(d, "touch_repeatability_mm/dof", 81.5);
    expect_number(d, "sighting_repeatability_mm/u", 3.1 * MICRON);
    expect_null(d, "sighting_repeatability_mm/dof"); /* stated: infinitely many */
    expect_null(d, "lost_motion");
    expect_number(d, "latency/value_s", 0.00321);
    expect_number(d, "latency/u_s", 0.00012);
    expect_text(d, "edges/1/edge", "north");
    expect_number(d, "edges/1/touches", 3);
    expect_number(d, "edges/1/used", 2);
    expect_number(d, "edges/1/mean_residual_mm", 0.5 * MICRON);
    expect_number(d, "edges/1/rms_residual_mm", 2.9 * MICRON);
    expect_number(d, "edges/0/straightness_mm", 6.3 * MICRON);
    expect_null(d, "edges/1/straightness_mm");
    expect_number(d, "edges/1/shift_mm", -1.3 * MICRON);
    expect_number(d, "edges/1/u_shift_mm", 7.2 * MICRON);
    expect_text(d, "findings/0/code", "late-contact");
    expect_text(d, "findings/0/severity", "warning");
    expect_text(d, "findings/0/edge", "east");
    expect_text(d, "findings/0/tip", "t1");
    expect_null(d, "findings/0/setup");
    expect_number(d, "findings/0/rows/1", 6);
    ck_assert_int_eq(cJSON_GetArraySize(at(d, "findings/0/rows")), 3);
    expect_number(d, "findings/0/values/late", 2);
    expect_number(d, "findings/0/values/depth_mm", 0.0433);
    expect_number(d, "findings/0/values/turned_deg", -13.7);
    expect_text(d, "findings/0/values/seen_as", "film_mm");
    ck_assert_int_eq(cJSON_GetArraySize(at(d, "findings/1/values")), 0);
    expect_text(d, "findings/1/severity", "note");
    expect_null(d, "findings/1/edge");
    cJSON_Delete(d);
}
END_TEST

START_TEST(observations_only_when_asked)
{
    struct sample sample;
    cJSON *d;

    sample_one_tip(&sample);
    d = document_of(&sample, false);
    ck_assert_ptr_null(cJSON_GetObjectItemCaseSensitive(d, "observations"));
    cJSON_Delete(d);
    d = document_of(&sample, true);
    ck_assert_int_eq(cJSON_GetArraySize(at(d, "observations")), 8);
    expect_number(d, "observations/0/residual_mm/x", 1.1 * MICRON);
    expect_number(d, "observations/0/residual_mm/y", -2.3 * MICRON);
    expect_null(d, "observations/0/tip");
    expect_null(d, "observations/0/rotation_deg");
    expect_number(d, "observations/1/line", 5);
    expect_text(d, "observations/1/kind", "touch");
    expect_text(d, "observations/1/target", "east");
    expect_text(d, "observations/1/tip", "t1");
    expect_number(d, "observations/1/rotation_deg", 37.5);
    expect_number(d, "observations/1/residual_mm", -64.1 * MICRON);
    expect_number(d, "observations/1/weight", 0);
    ck_assert(cJSON_IsTrue(at(d, "observations/1/set_aside")));
    expect_number(d, "observations/4/weight", 0.875);
    ck_assert(cJSON_IsFalse(at(d, "observations/4/set_aside")));
    expect_null(d, "observations/5/residual_mm"); /* no contact */
    expect_text(d, "observations/5/use", "no-contact");
    expect_text(d, "observations/6/use", "find");
    expect_text(d, "observations/7/kind", "height");
    cJSON_Delete(d);
}
END_TEST

START_TEST(not_determined_is_null)
{
    static const char *const NULLS[] = {"offset_mm/x",
                                        "u_offset_mm/x",
                                        "correlation",
                                        "covariance_mm2/0/0",
                                        "covariance_mm2/0/1",
                                        "covariance_mm2/1/0",
                                        "same_plate/u_offset_mm/x",
                                        "same_plate/covariance_mm2/0/1",
                                        "same_plate/expanded_mm/x",
                                        "same_plate/dof",
                                        "coverage/expanded_mm/x",
                                        "coverage/region",
                                        "coverage/dof",
                                        "runout/at_zero_mm/x",
                                        "runout/at_zero_mm/y",
                                        "runout/eccentricity_mm",
                                        "runout/u_mm",
                                        "runout/angle_deg",
                                        "runout/u_deg",
                                        "contact_radius_mm",
                                        "u_contact_radius_mm",
                                        "present_mm",
                                        "change_mm",
                                        "p_unchanged"};
    struct sample sample;
    cJSON *d;

    sample_two_tips(&sample);
    sample.poses[0].yaw_determined = false;
    d = document_of(&sample, false);
    for (size_t i = 0; i < SAMPLE_COUNT(NULLS); i++) {
        expect_null(at(d, "tips/1"), NULLS[i]);
    }
    expect_number(d, "tips/1/offset_mm/y", -7.25049);
    expect_number(d, "tips/1/u_offset_mm/y", 7 * MICRON);
    expect_number(d, "tips/1/covariance_mm2/1/1", 4.9e-5);
    expect_number(d, "tips/1/same_plate/u_offset_mm/y", 5 * MICRON);
    expect_number(d, "tips/1/coverage/expanded_mm/y", 13.72 * MICRON);
    expect_null(d, "poses/0/yaw_deg");
    expect_null(d, "poses/0/u_yaw_deg");
    expect_text(d, "tips/1/verdict", "repeat");
    expect_text(d, "verdict", "repeat");
    cJSON_Delete(d);
}
END_TEST

START_TEST(strings_are_escaped)
{
    static const struct {
        const char *text, *json;
    } CASES[] = {
        {"a\"b\\c/d", "\"a\\\"b\\\\c/d\""},
        {"\n\t\r\x1f\x7f", "\"\\n\\t\\u000d\\u001f\x7f\""},
        {"\xc3\xbc\xe2\x82\xac\xf0\x9f\x94\xa7", "\"\xc3\xbc\xe2\x82\xac\xf0\x9f\x94\xa7\""},
        {"x\xffy\xc3", "\"x\xef\xbf\xbdy\xef\xbf\xbd\""},
        {"\xed\xa0\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\""}, /* a surrogate */
        {"\xc0\xaf", "\"\xef\xbf\xbd\xef\xbf\xbd\""},                 /* overlong */
        {"\xf4\x90\x80\x80", "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\""},
        {"\xf4\x8f\xbf\xbf\xe0\xa0\x80", "\"\xf4\x8f\xbf\xbf\xe0\xa0\x80\""},
        {"", "\"\""},
        {NULL, "null"},
    };

    for (size_t i = 0; i < SAMPLE_COUNT(CASES); i++) {
        struct tt_buffer buffer = {0};
        struct tt_json json = {.buffer = &buffer, .first = true};
        tt_json_text(&json, CASES[i].text);
        ck_assert_str_eq(buffer.text, CASES[i].json);
        tt_buffer_clear(&buffer);
    }
}
END_TEST

START_TEST(numbers_read_back)
{
    for (int k = 1; k < 2000; k++) {
        double value = (k % 2 == 0 ? 1 : -1) * 0.1 * k * exp(0.01 * k - 12), back[2];
        struct tt_buffer buffer = {0};
        struct tt_json json = {.buffer = &buffer, .first = true};
        tt_json_open(&json, '[');
        tt_json_number(&json, value);
        tt_json_fixed(&json, value);
        tt_json_close(&json, ']');
        ck_assert_int_eq(sscanf(buffer.text, "[%lf,%lf]", &back[0], &back[1]), 2);
        ck_assert_double_eq(back[0], value);
        ck_assert_double_eq_tol(back[1], value, 0.5e-10 + 4e-16 * fabs(value));
        tt_buffer_clear(&buffer);
    }
}
END_TEST

START_TEST(what_is_not_finite_is_null)
{
    struct tt_buffer buffer = {0};
    struct tt_json json = {.buffer = &buffer, .first = true};

    tt_json_open(&json, '[');
    tt_json_number(&json, HUGE_VAL);
    tt_json_fixed(&json, -HUGE_VAL);
    tt_json_count(&json, 1234567890);
    tt_json_close(&json, ']');
    ck_assert_str_eq(buffer.text, "[null,null,1234567890]");
    tt_buffer_clear(&buffer);
}
END_TEST

START_TEST(an_error_is_a_document_too)
{
    struct tiptrue_error error = {
        .status = TIPTRUE_E_DATA, .line = 17, .column = 24, .file = "a \"run\".csv"};
    struct tt_buffer buffer = {0};

    strcpy(error.text, "rotation 'inf' is not a finite number");
    strcpy(error.hint, "degrees, counter-clockwise seen from above");
    tt_output_error_json(&error, (struct tiptrue_error[]){error, {.line = 18, .text = "cut"}}, 2,
                         &buffer);
    ck_assert_str_eq(
        buffer.text,
        "{\"schema\":\"tiptrue.error/1\",\"file\":\"a "
        "\\\"run\\\".csv\",\"line\":17,\"column\":24,\"code\":\"data\","
        "\"text\":\"rotation 'inf' is not a finite number\",\"hint\":\"degrees, "
        "counter-clockwise seen from above\",\"faults\":[{\"file\":\"a "
        "\\\"run\\\".csv\",\"line\":17,\"column\":24,\"text\":\"rotation 'inf' is not a "
        "finite number\",\"hint\":\"degrees, counter-clockwise seen from above\"},"
        "{\"file\":null,\"line\":18,\"column\":null,\"text\":\"cut\",\"hint\":null}]}");
    tt_buffer_reset(&buffer);
    error = (struct tiptrue_error){.status = TIPTRUE_E_MEMORY, .text = "out of memory"};
    tt_output_error_json(&error, &error, 1, &buffer);
    ck_assert_str_eq(
        buffer.text,
        "{\"schema\":\"tiptrue.error/"
        "1\",\"file\":null,\"line\":null,\"column\":null,\"code\":\"memory\","
        "\"text\":\"out of memory\",\"hint\":null,\"faults\":[{\"file\":null,\"line\":null,"
        "\"column\":null,\"text\":\"out of memory\",\"hint\":null}]}");
    tt_buffer_clear(&buffer);
}
END_TEST

int main(void)
{
    const TTest *const TESTS[] = {run_and_poses,
                                  offset_and_its_uncertainty,
                                  runout_radius_shape_and_budget,
                                  present_offset_and_verdict,
                                  repeatability_effects_edges_and_findings,
                                  observations_only_when_asked,
                                  not_determined_is_null,
                                  strings_are_escaped,
                                  numbers_read_back,
                                  what_is_not_finite_is_null,
                                  an_error_is_a_document_too};
    Suite *suite = suite_create("output/json");
    TCase *cases = tcase_create("json");
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
