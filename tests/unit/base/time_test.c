/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* RFC 3339: the examples of its section 5.8, the calendar against the C library, and what is no
 * time. */
#include "config.h"

#include "base/time.h"

#include <math.h>
#include <time.h>

#include "ingest/collect.h"

static double seconds_of(const char *text)
{
    double seconds = NAN;
    ck_assert_msg(tt_time_read(text, strlen(text), &seconds), "'%s' is refused", text);
    return seconds;
}

START_TEST(examples_of_the_standard)
{
    /* RFC 3339, section 5.8; seconds by date -u +%s */
    ck_assert_double_eq_tol(seconds_of("1985-04-12T23:20:50.52Z"), 482196050.52, 1e-6);
    ck_assert_double_eq(seconds_of("1996-12-19T16:39:57-08:00"), 851042397.0);
    ck_assert_double_eq(seconds_of("1996-12-20T00:39:57Z"), 851042397.0);
    ck_assert_double_eq(seconds_of("1990-12-31T23:59:60Z"), 662688000.0);
    ck_assert_double_eq(seconds_of("1990-12-31T15:59:60-08:00"), 662688000.0);
    ck_assert_double_eq_tol(seconds_of("1937-01-01T12:00:27.87+00:20"), -1041337172.13, 1e-6);
}
END_TEST

START_TEST(other_ways_to_write)
{
    double expected = seconds_of("2026-03-02T07:41:12Z");
    ck_assert_double_eq(seconds_of("2026-03-02t07:41:12z"), expected);
    ck_assert_double_eq(seconds_of("2026-03-02 07:41:12Z"), expected);
    ck_assert_double_eq(seconds_of("2026-03-02T08:41:12+01:00"), expected);
    ck_assert_double_eq(seconds_of("2026-03-01T19:11:12-12:30"), expected);
    ck_assert_double_eq_tol(seconds_of("2026-03-02T07:41:12.123456Z") - expected, 0.123456, 5e-7);
}
END_TEST

/* Every 37th day of the years that can be written, against gmtime_r. */
START_TEST(calendar_as_the_c_library)
{
    for (time_t day = -719528; day < 2932896; day += 37) {
        time_t seconds = day * 86400 + 45296;
        struct tm parts;
        char text[64];
        ck_assert_ptr_nonnull(gmtime_r(&seconds, &parts));
        snprintf(text, sizeof(text), "%04d-%02d-%02dT%02d:%02d:%02dZ", parts.tm_year + 1900,
                 parts.tm_mon + 1, parts.tm_mday, parts.tm_hour, parts.tm_min, parts.tm_sec);
        ck_assert_double_eq(seconds_of(text), (double)seconds);
        char written[TT_TIME_SIZE];
        tt_time_write((double)seconds + 0.75, written);
        ck_assert_str_eq(written, text);
    }
}
END_TEST

START_TEST(refuses_what_is_no_time)
{
    static const char *const texts[] = {
        "",
        "2026",
        "2026-03-02",
        "2026-03-02T07:41:12",
        "2026-03-02T07:41Z",
        "2026-3-2T07:41:12Z",
        "26-03-02T07:41:12Z",
        "2026-00-02T07:41:12Z",
        "2026-13-02T07:41:12Z",
        "2026-02-29T07:41:12Z",
        "1900-02-29T07:41:12Z",
        "2026-04-31T07:41:12Z",
        "2026-03-00T07:41:12Z",
        "2026-03-02T24:00:00Z",
        "2026-03-02T07:60:12Z",
        "2026-03-02T07:41:61Z",
        "2026-03-02T07:41:12.Z",
        "2026-03-02T07:41:12,5Z",
        "2026-03-02T07:41:12+1:00",
        "2026-03-02T07:41:12+0100",
        "2026-03-02T07:41:12+24:00",
        "2026-03-02T07:41:12+01:60",
        "2026-03-02T07:41:12Z ",
        " 2026-03-02T07:41:12Z",
        "2026-03-02T07:41:12ZZ",
        "2026/03/02T07:41:12Z",
        "02.03.2026 07:41:12",
        "-026-03-02T07:41:12Z",
    };
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        double seconds = 42.5;
        ck_assert_msg(!tt_time_read(texts[i], strlen(texts[i]), &seconds), "'%s' is taken",
                      texts[i]);
        ck_assert_double_eq(seconds, 42.5);
    }
    double seconds;
    ck_assert(tt_time_read("2000-02-29T07:41:12Z", 20, &seconds));
    for (size_t length = 0; length < 20; length++) {
        ck_assert(!tt_time_read("2000-02-29T07:41:12Z", length, &seconds));
    }
}
END_TEST

/* What is beyond four digits of a year stands at the calendar's ends: 9999-12-31T23:59:59Z is
 * 253402300799 s, 0000-01-01T00:00:00Z -62167219200 s, by date -u +%s. */
START_TEST(ends_of_the_calendar)
{
    static const struct {
        double seconds;
        const char *written;
    } OF[] = {{253402300798.7, "9999-12-31T23:59:58Z"}, {253402300799.9, "9999-12-31T23:59:59Z"},
              {253402300800.3, "9999-12-31T23:59:59Z"}, {1e300, "9999-12-31T23:59:59Z"},
              {-62167219199.0, "0000-01-01T00:00:01Z"}, {-62167219200.3, "0000-01-01T00:00:00Z"},
              {-62167305600.0, "0000-01-01T00:00:00Z"}};
    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        char written[TT_TIME_SIZE];
        tt_time_write(OF[i].seconds, written);
        ck_assert_str_eq(written, OF[i].written);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/time");
    TCase *tests = tcase_create("time");
    tcase_add_test(tests, examples_of_the_standard);
    tcase_add_test(tests, other_ways_to_write);
    tcase_add_test(tests, calendar_as_the_c_library);
    tcase_add_test(tests, refuses_what_is_no_time);
    tcase_add_test(tests, ends_of_the_calendar);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
