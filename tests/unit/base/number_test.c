/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers as text: the grammar, correct rounding against the C library, digits that read back, and
 * all of it again under a locale whose decimal sign is a comma.
 */
#include "config.h"

#include "base/number.h"

#include <check.h>
#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))
#define DRAWS 20000

/* Set by the suite's second run: strtod and printf of the C library then speak another language, so
 * what needs them is left to the first. */
static bool comma_locale;

/* splitmix64 (S. Vigna): draws that are the same everywhere. */
static uint64_t draw(uint64_t *state)
{
    uint64_t z = *state += UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return z ^ (z >> 31);
}

/* Any finite double, all exponents alike. */
static double draw_double(uint64_t *state)
{
    double value = NAN;
    while (!isfinite(value)) {
        uint64_t bits = draw(state);
        memcpy(&value, &bits, sizeof(value));
    }
    return value;
}

static double must_read(const char *text, char point, int *decimals)
{
    double value = NAN;
    ck_assert_msg(tt_number_read(text, strlen(text), point, &value, decimals) == TT_NUMBER_OK,
                  "'%s' is refused", text);
    return value;
}

static const struct {
    const char *text;
    char point;
    double value;
    int decimals;
} readable[] = {
    {"80.2497", '.', 80.2497, 4},
    {"80,2497", ',', 80.2497, 4},
    {"17", '.', 17.0, 0},
    {"17", ',', 17.0, 0},
    {"+17.50", '.', 17.5, 2},
    {"-0.0025", '.', -0.0025, 4},
    {"5.", '.', 5.0, 0},
    {".5", '.', 0.5, 1},
    {"-,25", ',', -0.25, 2},
    {"12e2", '.', 1200.0, -2},
    {"1.25E-2", '.', 0.0125, 4},
    {"1.25e+03", '.', 1250.0, -1},
    {"007.30", '.', 7.3, 2},
    {"0e999", '.', 0.0, -999},
    {"1e-400", '.', 0.0, 400},
    {"9007199254740992", '.', 9007199254740992.0, 0},
    {"9007199254740993", '.', 9007199254740992.0, 0}, /* half-way, to even */
    {"9007199254740995", '.', 9007199254740996.0, 0},
    {"123456789012345678901234567890", '.', 123456789012345678901234567890.0, 0},
    {"0.00000000000000000000000000012345", '.', 1.2345e-28, 32},
    {"1e22", '.', 1e22, -22},
    {"1e23", '.', 1e23, -23},
    {"4.9406564584124654e-324", '.', 4.9406564584124654e-324, 340},
    {"2.4703282292062327e-324", '.', 0.0, 340},
    {"2.4703282292062328e-324", '.', 4.9406564584124654e-324, 340},
    {"2.2250738585072011e-308", '.', 2.2250738585072011e-308, 324},
    {"1.7976931348623157e308", '.', DBL_MAX, -292},
    {"1.7976931348623158e308", '.', DBL_MAX, -292},
    /* exactly half-way between 1 and the next double, and a digit more than half-way */
    {"1.00000000000000011102230246251565404236316680908203125", '.', 1.0, 53},
    {"1.000000000000000111022302462515654042363166809082031250000000000000000001", '.',
     1.0000000000000002, 72},
};

START_TEST(reads_value_and_digits)
{
    for (size_t i = 0; i < COUNT(readable); i++) {
        int decimals = 77;
        double value = must_read(readable[i].text, readable[i].point, &decimals);
        ck_assert_msg(value == readable[i].value, "'%s' gives %a, not %a", readable[i].text, value,
                      readable[i].value);
        ck_assert_msg(decimals == readable[i].decimals, "'%s' has %d decimals, not %d",
                      readable[i].text, decimals, readable[i].decimals);
    }
    ck_assert(signbit(must_read("-0.0", '.', NULL)));
    ck_assert(!signbit(must_read("0.0", '.', NULL)));
}
END_TEST

START_TEST(refuses_what_is_no_number)
{
    static const char *const texts[] = {
        "+",   "-",   ".",    "-.",       "e5",    "1e",    "1e+",   "1e-",   ".e5", "nan",
        "NaN", "inf", "-inf", "infinity", "0x1F",  "1.2.3", "1..2",  " 1",    "1 ",  "1,5",
        "1_0", "--1", "+-1",  "1e5.",     "1e5e5", "1e5.5", "12a",   "1'000", "1d5", "\xD9\xA3",
        "1\n", "\t1", "1e 5", "0b11",     "1f",    "5%",    "1.5mm",
    };
    for (size_t i = 0; i < COUNT(texts); i++) {
        double value = 42.5;
        int decimals = 3;
        ck_assert_msg(tt_number_read(texts[i], strlen(texts[i]), '.', &value, &decimals) ==
                          TT_NUMBER_MALFORMED,
                      "'%s' is taken", texts[i]);
        ck_assert(value == 42.5);
        ck_assert_int_eq(decimals, 3);
    }
    double value = 42.5;
    ck_assert_int_eq(tt_number_read("", 0, '.', &value, NULL), TT_NUMBER_EMPTY);
    ck_assert_int_eq(tt_number_read("1.5", 3, ',', &value, NULL), TT_NUMBER_MALFORMED);
    ck_assert_int_eq(tt_number_read("1\0002", 3, '.', &value, NULL), TT_NUMBER_MALFORMED);
    ck_assert(value == 42.5);
}
END_TEST

START_TEST(refuses_what_is_too_large)
{
    static const char *const texts[] = {"1e999", "-1e400", "1.7976931348623159e308",
                                        "1e99999999999999999999", "10e308"};
    for (size_t i = 0; i < COUNT(texts); i++) {
        double value = 42.5;
        ck_assert_int_eq(tt_number_read(texts[i], strlen(texts[i]), '.', &value, NULL),
                         TT_NUMBER_RANGE);
        ck_assert(value == 42.5);
    }
}
END_TEST

START_TEST(reads_only_the_length_given)
{
    double value = 0.0;
    ck_assert_int_eq(tt_number_read("12.75,9", 5, '.', &value, NULL), TT_NUMBER_OK);
    ck_assert(value == 12.75);
}
END_TEST

/* Against the C library, which rounds correctly: random digits, point and exponent, up to lengths
 * far beyond the fast path. */
START_TEST(rounds_as_the_c_library)
{
    uint64_t state = 7;
    static char text[2000];
    for (int i = 0; i < DRAWS; i++) {
        size_t digits = i % 100 == 0 ? 700 + draw(&state) % 400 : 1 + draw(&state) % 25;
        size_t point = draw(&state) % (digits + 1), n = 0;
        for (size_t j = 0; j < digits; j++) {
            if (j == point) {
                text[n++] = '.';
            }
            text[n++] = (char)('0' + draw(&state) % 10);
        }
        snprintf(text + n, sizeof(text) - n, "e%d", (int)(draw(&state) % 600) - 300);
        double expected = strtod(text, NULL), value = NAN;
        enum tt_number_status status = tt_number_read(text, strlen(text), '.', &value, NULL);
        ck_assert_msg(isfinite(expected) ? status == TT_NUMBER_OK && value == expected
                                         : status == TT_NUMBER_RANGE,
                      "'%s' gives %a, not %a", text, value, expected);
    }
}
END_TEST

/* A tie that only the 900th digit breaks: what is cut off must still be seen. */
START_TEST(digits_far_behind_break_a_tie)
{
    static char text[1200] = "9007199254740993.";
    memset(text + 17, '0', 900);
    text[917] = '\0';
    ck_assert(must_read(text, '.', NULL) == 9007199254740992.0);
    text[916] = '1';
    ck_assert(must_read(text, '.', NULL) == 9007199254740994.0);
}
END_TEST

static const char *written(struct tt_buffer *buffer, double value)
{
    tt_buffer_reset(buffer);
    tt_number_write(buffer, value);
    return buffer->text;
}

START_TEST(writes_the_shortest)
{
    static const struct {
        double value;
        const char *text;
    } table[] = {
        {0.1, "0.1"},
        {0.1 + 0.2, "0.30000000000000004"},
        {-41.3012, "-41.3012"},
        {25.4, "25.4"},
        {1e15, "1000000000000000"},
        {1e16, "10000000000000000"},
        {1e17, "1e17"},
        {1e22, "1e22"},
        {1e23, "1e23"},
        {1.5e300, "1.5e300"},
        {123456789.0, "123456789"},
        {0.00001, "0.00001"},
        {0.0000025, "2.5e-6"},
        {1.0 / 3.0, "0.3333333333333333"},
        {-2.0 / 3.0, "-0.6666666666666666"},
        {5e-324, "4.94065645841247e-324"},
        {DBL_MAX, "1.7976931348623157e308"},
        {120.0, "120"},
        {0.0, "0"},
        {-0.0, "-0"},
        {9007199254740993.0, "9007199254740992"},
        {0.000123456789, "0.000123456789"},
        {1.2345e-10, "1.2345e-10"},
    };
    struct tt_buffer buffer = {0};
    for (size_t i = 0; i < COUNT(table); i++) {
        ck_assert_str_eq(written(&buffer, table[i].value), table[i].text);
        double value = must_read(buffer.text, '.', NULL);
        ck_assert(value == table[i].value && signbit(value) == signbit(table[i].value));
    }
    tt_buffer_clear(&buffer);
}
END_TEST

/* Significant digits of a written number: zeros before and behind left out. */
static size_t count_digits(const char *text)
{
    size_t n = 0, zeros = 0;
    for (; *text != '\0' && *text != 'e'; text++) {
        if (*text == '0') {
            zeros++;
        } else if (*text >= '1' && *text <= '9') {
            n += 1 + (n > 0 ? zeros : 0);
            zeros = 0;
        } else if (*text == '.' && n == 0) {
            zeros = 0;
        }
    }
    return n;
}

/* Coordinates of few decimals as logs have them, and doubles of any size: all read back, none is
 * longer than printf's 15, 16 or 17.
 */
START_TEST(written_numbers_read_back)
{
    uint64_t state = 11;
    struct tt_buffer buffer = {0};
    for (int i = 0; i < DRAWS; i++) {
        double value = draw_double(&state);
        if (i % 2 == 0) {
            value = (double)((int64_t)(draw(&state) % 4000000000u) - 2000000000) /
                    pow(10.0, (double)(draw(&state) % 10));
        }
        ck_assert_msg(must_read(written(&buffer, value), '.', NULL) == value, "%a is written '%s'",
                      value, buffer.text);
        for (int digits = 15; digits <= 17 && !comma_locale; digits++) {
            char text[64];
            snprintf(text, sizeof(text), "%.*e", digits - 1, value);
            if (strtod(text, NULL) == value) {
                ck_assert_msg(count_digits(buffer.text) <= count_digits(text),
                              "%s is not shorter: %s", text, buffer.text);
                break;
            }
        }
    }
    tt_buffer_clear(&buffer);
}
END_TEST

static const struct {
    double value;
    int decimals;
    bool plus;
    const char *fixed, *rounded;
} rounded[] = {
    {-41.3009, 4, false, "-41.3009", "-41.3009"},
    {12.7004, 4, true, "+12.7004", "12.7004"},
    {0.125, 2, false, "0.13", "0.13"}, /* a tie: away from zero */
    {-0.125, 2, false, "-0.13", "-0.13"},
    {0.375, 2, false, "0.38", "0.38"},
    {2.5, 0, false, "3", "3"},
    {1.005, 2, false, "1.00", "1"}, /* the double lies below the tie */
    {-0.0004, 3, false, "0.000", "0"},
    {-0.0004, 3, true, "+0.000", "0"},
    {-0.0, 2, false, "0.00", "0"},
    {0.0, 0, true, "+0", "0"},
    {9.9996, 3, false, "10.000", "10"},
    {120.0, 0, false, "120", "120"},
    {1200.5, 3, false, "1200.500", "1200.5"},
    {0.02500, 4, false, "0.0250", "0.025"},
    {1e-9, 9, false, "0.000000001", "0.000000001"},
    {123.456789012345, 12, false, "123.456789012345", "123.456789012345"},
    {4503599627370495.5, 0, false, "4503599627370496", "4503599627370496"},
    {9007199254740993.0, 1, false, "9007199254740992.0", "9007199254740992"},
    {9000000.000000001, 12, false, "9000000.000000001863", "9000000.000000002"},
    {1e22, 2, false, "10000000000000000000000.00", "1e22"},
    {-1e22, 2, false, "-10000000000000000000000.00", "-1e22"},
};

START_TEST(writes_fixed_decimals)
{
    struct tt_buffer buffer = {0};
    for (size_t i = 0; i < COUNT(rounded); i++) {
        tt_buffer_reset(&buffer);
        tt_number_write_fixed(&buffer, rounded[i].value, rounded[i].decimals, rounded[i].plus);
        ck_assert_str_eq(buffer.text, rounded[i].fixed);
        ck_assert_str_eq(tt_fixed(rounded[i].value, rounded[i].decimals, rounded[i].plus).text,
                         rounded[i].fixed);
    }
    tt_buffer_clear(&buffer);
    ck_assert_uint_eq(strlen(tt_fixed(-DBL_MAX, 12, false).text), 1 + 309 + 1 + 12);
}
END_TEST

START_TEST(writes_without_trailing_zeros)
{
    struct tt_buffer buffer = {0};
    for (size_t i = 0; i < COUNT(rounded); i++) {
        tt_buffer_reset(&buffer);
        tt_number_write_rounded(&buffer, rounded[i].value, rounded[i].decimals);
        ck_assert_str_eq(buffer.text, rounded[i].rounded);
    }
    tt_buffer_clear(&buffer);
}
END_TEST

/* Against printf, which rounds the exact value too and differs in ties alone; a tie has the digits
 * of a power of two. */
START_TEST(fixed_decimals_as_printf)
{
    uint64_t state = 13;
    struct tt_buffer buffer = {0};
    for (int i = 0; i < DRAWS; i++) {
        int decimals = (int)(draw(&state) % 13);
        double value = ldexp((double)(draw(&state) >> 11), -(int)(draw(&state) % 60)) *
                       (i % 2 == 0 ? 1.0 : -1.0);
        char text[400];
        snprintf(text, sizeof(text), "%.*f", decimals, value);
        tt_buffer_reset(&buffer);
        tt_number_write_fixed(&buffer, value, decimals, false);
        double shift = ldexp(fabs(value) * pow(10.0, decimals), 1);
        bool may_be_tie = shift >= 9007199254740992.0 || shift == floor(shift);
        if (!may_be_tie && strpbrk(text, "123456789") != NULL) {
            ck_assert_str_eq(buffer.text, text);
        }
    }
    tt_buffer_clear(&buffer);
}
END_TEST

/* What write_rounded wrote reads back as the double nearest to that decimal, whichever way it is
 * read. */
START_TEST(rounded_numbers_read_back)
{
    uint64_t state = 17;
    struct tt_buffer buffer = {0}, again = {0};
    for (int i = 0; i < DRAWS; i++) {
        double value = ldexp((double)(draw(&state) >> 11), -40) - 4096.0;
        tt_buffer_reset(&buffer);
        tt_buffer_reset(&again);
        tt_number_write_rounded(&buffer, value, 6);
        double read = must_read(buffer.text, '.', NULL);
        ck_assert_double_le(fabs(read - value), 0.5000001e-6);
        tt_number_write_rounded(&again, read, 6);
        ck_assert_str_eq(buffer.text, again.text);
    }
    tt_buffer_clear(&buffer);
    tt_buffer_clear(&again);
}
END_TEST

/* A locale made for the test, with a comma as decimal sign; left behind as the process's locale. */
static void enter_comma_locale(void)
{
    char folder[] = "locale-XXXXXX", command[200];
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(command, sizeof(command), "localedef -i de_DE -f UTF-8 ./%s/de_DE.UTF-8", folder);
    int status = system(command);
    ck_assert_msg(status == 0, "'%s' fails; it is in the package locales", command);
    ck_assert_int_eq(setenv("LOCPATH", folder, 1), 0);
    const char *locale = setlocale(LC_ALL, "de_DE.UTF-8");
    snprintf(command, sizeof(command), "rm -r ./%s", folder);
    ck_assert_int_eq(system(command), 0);
    ck_assert_ptr_nonnull(locale);
    ck_assert(strtod("1.5", NULL) == 1.0); /* as a host in that country has it */
    ck_assert(strtod("1,5", NULL) == 1.5);
    comma_locale = true;
}

static void leave_comma_locale(void)
{
    setlocale(LC_ALL, "C");
    unsetenv("LOCPATH");
    comma_locale = false;
}

int main(void)
{
    Suite *suite = suite_create("base/number");
    TCase *tests = tcase_create("number"),
          *comma = tcase_create("number under a locale with a comma");
    tcase_set_timeout(comma, 60); /* making a locale takes seconds on a busy machine */
    tcase_add_unchecked_fixture(comma, enter_comma_locale, leave_comma_locale);
    tcase_add_test(tests, rounds_as_the_c_library);
    tcase_add_test(tests, fixed_decimals_as_printf);
    TCase *both[] = {tests, comma};
    for (size_t i = 0; i < COUNT(both); i++) {
        tcase_add_test(both[i], reads_value_and_digits);
        tcase_add_test(both[i], refuses_what_is_no_number);
        tcase_add_test(both[i], refuses_what_is_too_large);
        tcase_add_test(both[i], reads_only_the_length_given);
        tcase_add_test(both[i], digits_far_behind_break_a_tie);
        tcase_add_test(both[i], writes_the_shortest);
        tcase_add_test(both[i], written_numbers_read_back);
        tcase_add_test(both[i], writes_fixed_decimals);
        tcase_add_test(both[i], writes_without_trailing_zeros);
        tcase_add_test(both[i], rounded_numbers_read_back);
        suite_add_tcase(suite, both[i]);
    }
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
