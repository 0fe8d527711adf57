/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See edit.h. Edits are kept in the order of their places in the text. */
#include "config.h"

#include "export/edit.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "ingest/diagnose.h"

enum tiptrue_status tt_put_read(const char *text, struct tt_export_put *put,
                                struct tiptrue_error *error)
{
    const char *sign = strchr(text, '=');
    if (sign == NULL) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, "such as t1.offset.x:.4=/tips/t1/x",
                       "'%s' is not FIELD=PLACE", tt_shown_text(text).text);
    }
    put->place = sign + 1;
    return tt_export_field_read(text, (size_t)(sign - text), false, &put->field, error);
}

static int compare_places(const void *a, const void *b)
{
    const struct tt_edit *first = a, *second = b;
    return (first->span.at > second->span.at) - (first->span.at < second->span.at);
}

/* Two fields for one value would leave the last one there. */
static enum tiptrue_status check_apart(const char *name, const struct tt_edit edits[], size_t n,
                                       struct tiptrue_error *error)
{
    for (size_t i = 1; i < n; i++) {
        if (edits[i].span.at < edits[i - 1].span.at + edits[i - 1].span.length) {
            return tt_fail(error, TIPTRUE_E_CONFIG, name, edits[i].line, 0,
                           "each value takes one field", "places '%s' and '%s' are the same value",
                           edits[i - 1].put.place, edits[i].put.place);
        }
    }
    return TIPTRUE_OK;
}

/* The number as it will be read back decides what it means. */
static enum tiptrue_status write_new(struct tt_edit *edit, struct tt_arena *arena,
                                     struct tiptrue_error *error)
{
    struct tt_buffer text = {0};
    double written = 0.0;
    tt_export_field_write(&edit->put.field, edit->value_mm, &text);
    bool good =
        !text.failed && tt_number_read(text.text, text.length, '.', &written, NULL) == TT_NUMBER_OK;
    edit->new_text = tt_buffer_keep(&text, arena);
    edit->new_mm = tt_export_field_back(&edit->put.field, written);
    return good && edit->new_text != NULL ? TIPTRUE_OK : tt_fail_memory(error);
}

static enum tiptrue_status find(struct tt_config *config, const char *text, struct tt_edit *edit,
                                struct tt_arena *arena, struct tiptrue_error *error)
{
    double old = 0.0;
    enum tiptrue_status status =
        tt_config_number(config, edit->put.place, &edit->span, &old, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    edit->line = tt_config_line(config, edit->span.at);
    edit->old_mm = tt_export_field_back(&edit->put.field, old);
    edit->old_text = tt_arena_copy_text(arena, text + edit->span.at, edit->span.length);
    if (edit->old_text == NULL) {
        return tt_fail_memory(error);
    }
    if (edit->kept) {
        edit->new_text = edit->old_text;
        edit->new_mm = edit->old_mm;
        return TIPTRUE_OK;
    }
    return write_new(edit, arena, error);
}

enum tiptrue_status tt_edits_find(const char *name, const char *text, size_t length,
                                  struct tt_edit edits[], size_t n, struct tt_arena *arena,
                                  struct tiptrue_error *error)
{
    struct tt_config *config = NULL;
    enum tiptrue_status status = tt_config_new(name, text, length, &config, error);
    for (size_t i = 0; i < n && status == TIPTRUE_OK; i++) {
        status = find(config, text, &edits[i], arena, error);
    }
    tt_config_free(config);
    if (status != TIPTRUE_OK) {
        return status;
    }
    qsort(edits, n, sizeof(edits[0]), compare_places);
    return check_apart(name, edits, n, error);
}

void tt_edits_apply(const char *text, size_t length, struct tt_edit edits[], size_t n,
                    struct tt_buffer *to)
{
    size_t at = 0;
    for (size_t i = 0; i < n; i++) {
        tt_buffer_add(to, text + at, edits[i].span.at - at);
        edits[i].new_at = to->length;
        tt_buffer_puts(to, edits[i].new_text);
        at = edits[i].span.at + edits[i].span.length;
    }
    tt_buffer_add(to, text + at, length - at);
}

/* Whether all bytes outside the values are the same. */
static bool rest_is_equal(const char *old, size_t old_length, const char *new, size_t new_length,
                          const struct tt_edit edits[], size_t n)
{
    size_t at_old = 0, at_new = 0;
    for (size_t i = 0; i < n; i++) {
        size_t between = edits[i].span.at - at_old;
        if (at_new + between != edits[i].new_at || edits[i].new_at > new_length ||
            memcmp(old + at_old, new + at_new, between) != 0) {
            return false;
        }
        at_old = edits[i].span.at + edits[i].span.length;
        at_new = edits[i].new_at + strlen(edits[i].new_text);
    }
    return at_new <= new_length && old_length - at_old == new_length - at_new &&
           memcmp(old + at_old, new + at_new, old_length - at_old) == 0;
}

static enum tiptrue_status verify_one(struct tt_config *config, const char *name,
                                      const struct tt_edit *edit, struct tiptrue_error *error)
{
    struct tt_span span = {0, 0};
    double found = 0.0, meant = 0.0;
    enum tiptrue_status status = tt_config_number(config, edit->put.place, &span, &found, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    bool readable =
        tt_number_read(edit->new_text, strlen(edit->new_text), '.', &meant, NULL) == TT_NUMBER_OK;
    if (!readable || span.at != edit->new_at || span.length != strlen(edit->new_text) ||
        found < meant || found > meant) {
        return tt_fail(error, TIPTRUE_E_CONFIG, name, edit->line, 0,
                       "name the value in another way; nothing was written",
                       "place '%s' would no longer be the value that was put there",
                       edit->put.place);
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_edits_verify(const char *name, const char *old, size_t old_length,
                                    const char *new, size_t new_length,
                                    const struct tt_edit edits[], size_t n,
                                    struct tiptrue_error *error)
{
    struct tt_config *config = NULL;
    enum tiptrue_status status = tt_config_new(name, new, new_length, &config, error);
    for (size_t i = 0; i < n && status == TIPTRUE_OK; i++) {
        status = verify_one(config, name, &edits[i], error);
    }
    tt_config_free(config);
    if (status == TIPTRUE_OK && !rest_is_equal(old, old_length, new, new_length, edits, n)) {
        status =
            tt_fail(error, TIPTRUE_E_INTERNAL, name, 0, 0, "please report it; nothing was written",
                    "more than the values would change");
    }
    return status;
}

/* Values hold no line ends, so that line n of one text is line n of the other: no search for what
 * belongs together. */

/* Lines shown before and behind a change, as diff -u has them. */
#define CONTEXT 3

/* A text being read by lines. */
struct lines {
    const char *at, *end;
};

struct line {
    const char *text; /* with its line feed */
    size_t length;
};

static struct line next_line(struct lines *lines)
{
    const char *feed = memchr(lines->at, '\n', (size_t)(lines->end - lines->at));
    const char *next = feed != NULL ? feed + 1 : lines->end;
    struct line line = {lines->at, (size_t)(next - lines->at)};
    lines->at = next;
    return line;
}

static bool is_equal(struct line a, struct line b)
{
    return a.length == b.length && memcmp(a.text, b.text, a.length) == 0;
}

static void put(struct tt_buffer *to, char sign, struct line line)
{
    tt_buffer_putc(to, sign);
    tt_buffer_add(to, line.text, line.length);
    if (line.length == 0 || line.text[line.length - 1] != '\n') {
        tt_buffer_puts(to, "\n\\ No newline at end of file\n");
    }
}

/* Lines [first, last] of both, counted from 0, with @old and @new at @first. */
static void put_hunk(struct lines old, struct lines new, size_t first, size_t last,
                     struct tt_buffer *to)
{
    size_t count = last - first + 1;
    tt_buffer_printf(to, "@@ -%zu,%zu +%zu,%zu @@\n", first + 1, count, first + 1, count);
    for (size_t i = first; i <= last;) {
        struct lines run_old = old, run_new = new;
        size_t changed = 0;
        while (i + changed <= last && !is_equal(next_line(&run_old), next_line(&run_new))) {
            changed++;
        }
        if (changed == 0) {
            put(to, ' ', next_line(&old));
            (void)next_line(&new);
            i++;
            continue;
        }
        for (size_t j = 0; j < changed; j++) {
            put(to, '-', next_line(&old));
        }
        for (size_t j = 0; j < changed; j++) {
            put(to, '+', next_line(&new));
        }
        i += changed;
    }
}

void tt_diff_write(const char *name, const char *old, size_t old_length, const char *new,
                   size_t new_length, struct tt_buffer *to)
{
    struct lines a = {old, old + old_length}, b = {new, new + new_length};
    struct lines first_a = a, first_b = b; /* at line @first */
    size_t first = 0, last_change = 0, line = 0;
    bool open = false, titled = false;
    for (; a.at < a.end && b.at < b.end; line++) {
        bool equal = is_equal(next_line(&a), next_line(&b));
        if (!equal && !titled) {
            tt_buffer_printf(to, "--- %s\n+++ %s\n", name, name);
            titled = true;
        }
        if (open && equal && line - last_change > 2 * CONTEXT) {
            put_hunk(first_a, first_b, first, last_change + CONTEXT, to);
            open = false;
        }
        if (!equal) {
            open = true;
            last_change = line;
        }
        /* until a change opens a hunk, its beginning trails CONTEXT lines behind */
        while (!open && first + CONTEXT < line + 1) {
            (void)next_line(&first_a);
            (void)next_line(&first_b);
            first++;
        }
    }
    if (open) {
        size_t last = last_change + CONTEXT < line ? last_change + CONTEXT : line - 1;
        put_hunk(first_a, first_b, first, last, to);
    }
}
