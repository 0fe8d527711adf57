/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Values hold no line ends, so that line n of one text is line n of the other: no search for what
 * belongs together. */
#include "config.h"

#include "export/edit.h"

#include <stdbool.h>
#include <string.h>

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
