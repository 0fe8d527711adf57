/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is drawn in a picture, in a few numbers: of each kind of its elements (name and class) how
 * many there are, and the sums of their numbers; of texts also the words. */
#ifndef DRAWINGS_H
#define DRAWINGS_H

#include <check.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "recorded.h"
#include "tiptrue.h"

enum { MOST_KINDS = 120, KIND_NAME = 40 };

struct drawn_kind {
    char name[KIND_NAME];
    size_t n;
    double sum, weighted; /* of numbers; of numbers times their place in the element */
};

/* Of the element from @at to its '>' at @end. */
static inline struct drawn_kind *drawn_kind_of(struct drawn_kind kinds[], size_t *n, const char *at,
                                               const char *end)
{
    char name[KIND_NAME] = "";
    const char *class = strstr(at, "class=\"");
    size_t length = strcspn(at, " >/"), k = 0;

    snprintf(name, sizeof name, "%.*s.%.*s", (int)length, at,
             class != NULL && class < end ? (int)strcspn(class + 7, "\"") : 0,
             class != NULL ? class + 7 : "");
    while (k < *n && strcmp(kinds[k].name, name) != 0) {
        k++;
    }
    if (k == *n) {
        ck_assert_uint_lt(k, MOST_KINDS);
        kinds[(*n)++] = (struct drawn_kind){0};
        memcpy(kinds[k].name, name, sizeof name);
    }
    return &kinds[k];
}

/* The numbers of an element's attributes from @at to @end. */
static inline void drawn_add(struct drawn_kind *kind, const char *at, const char *end)
{
    size_t place = 0;

    kind->n++;
    while (at < end) {
        char *after;
        bool begins = isdigit((unsigned char)*at) || *at == '-' || *at == '.';
        double value = begins ? strtod(at, &after) : 0;
        if (!begins || after == at) {
            at++;
            continue;
        }
        place++;
        kind->sum += value;
        kind->weighted += value * (double)(place % 7);
        at = after;
    }
}

static inline void drawn_put(struct tt_buffer *to, const char *name, const char *svg)
{
    static struct drawn_kind kinds[MOST_KINDS];
    size_t n = 0;

    for (const char *at = strchr(svg, '<'); at != NULL; at = strchr(at, '<')) {
        const char *end = strchr(++at, '>');
        ck_assert_ptr_nonnull(end);
        if (strncmp(at, "style", 5) == 0) {
            at = strstr(at, "</style");
            continue;
        }
        if (isalpha((unsigned char)*at)) {
            drawn_add(drawn_kind_of(kinds, &n, at, end), at, end);
        }
    }
    for (size_t k = 0; k < n; k++) {
        tt_buffer_printf(to, "%s %s %zu", name, kinds[k].name, kinds[k].n);
        tt_buffer_printf(to, " %.1f %.1f\n", kinds[k].sum, kinds[k].weighted);
    }
}

/* All pictures of @report. */
static inline void drawn_put_all(struct tt_buffer *to, const struct tiptrue_report *report)
{
    for (size_t k = 0; k < tiptrue_report_pictures(report); k++) {
        const char *name;
        char *svg = NULL;
        ck_assert_int_eq(tiptrue_report_picture(report, k, &name, &svg, NULL, NULL), TIPTRUE_OK);
        drawn_put(to, name, svg);
        free(svg);
    }
}

#endif
