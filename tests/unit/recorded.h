/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* For tests that hold numbers which no result shows against those of before: in a file beside the
 * test, which UPDATE=yes in the environment writes anew when they are meant to change. */
#ifndef RECORDED_H
#define RECORDED_H

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "ingest/collect.h"

/* A number to seven digits, a blank before it. */
static inline void recorded_put(struct tt_buffer *to, double value)
{
    tt_buffer_printf(to, isfinite(value) ? " %.7g" : " none", value);
}

/* How near a number must be: to the part @near (it ends an iteration), or to as much of @least
 * where it is smaller; where numbers are @rounded, or to one of the last digit, of which there must
 * be as many. */
struct recorded_rule {
    double near, least;
    bool rounded;
};

/* One of the last digit of the number at @text that ends at @end. */
static inline double recorded_digit(const char *text, const char *end)
{
    const char *point = memchr(text, '.', (size_t)(end - text));

    return point != NULL ? pow(10, -(double)(end - point - 1)) : 0;
}

/* The same for the numbers @a and @b, written from @line and from @expected on. */
static inline bool recorded_is_near(double a, const char *line, const char *end_line, double b,
                                    const char *expected, const char *end_expected,
                                    const struct recorded_rule *rule)
{
    double near = rule->near * (rule->least + fabs(b)), digit;

    if (!rule->rounded) {
        return fabs(a - b) <= near;
    }
    digit = recorded_digit(expected, end_expected);
    return recorded_digit(line, end_line) == digit && fabs(a - b) <= fmax(near, 1.01 * digit);
}

/* Words must be the same, numbers by @rule. */
static inline bool recorded_is_same(const char *line, const char *expected,
                                    const struct recorded_rule *rule)
{
    while (*line != '\0' && *expected != '\0') {
        char *end_line, *end_expected;
        double a = strtod(line, &end_line), b = strtod(expected, &end_expected);
        if (end_line == line || end_expected == expected) {
            if (*line++ != *expected++) {
                return false;
            }
        } else if (!recorded_is_near(a, line, end_line, b, expected, end_expected, rule)) {
            return false;
        } else {
            line = end_line;
            expected = end_expected;
        }
    }
    return *line == *expected;
}

/* Hold the lines of @found, spoiled by it, against those of the file @path below the folder of the
 * sources. A line that begins with "case" names those after it. */
static inline void recorded_compare_by(struct tt_buffer *found, const char *path,
                                       struct recorded_rule rule)
{
    const char *update = getenv("UPDATE");

    if (update != NULL && update[0] != '\0') {
        char *whole = source_path(path);
        FILE *file = fopen(whole, "w");
        ck_assert_ptr_nonnull(file);
        ck_assert_uint_eq(fwrite(found->text, 1, found->length, file), found->length);
        ck_assert_int_eq(fclose(file), 0);
        free(whole);
    }
    char *expected = source_text(path), *save_a, *save_b;
    const char *line = strtok_r(found->text, "\n", &save_a),
               *wanted = strtok_r(expected, "\n", &save_b), *name = "";
    for (; line != NULL && wanted != NULL;
         line = strtok_r(NULL, "\n", &save_a), wanted = strtok_r(NULL, "\n", &save_b)) {
        name = strncmp(line, "case", 4) == 0 ? line : name;
        ck_assert_msg(recorded_is_same(line, wanted, &rule),
                      "%s: '%s' where '%s' was; if it is meant: UPDATE=yes", name, line, wanted);
    }
    ck_assert(line == NULL && wanted == NULL);
    free(expected);
}

/* The same with each number to a part in 100 000. */
static inline void recorded_compare(struct tt_buffer *found, const char *path, double least)
{
    recorded_compare_by(found, path, (struct recorded_rule){1e-5, least, false});
}

#endif
