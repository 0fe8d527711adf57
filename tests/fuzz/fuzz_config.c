/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes as a configuration, with any place, which is the first line: a value lies within the
 * text, and put in the place of itself it gives the same text; or there is a message. */
#include "config.h"

#include "export/edit.h"
#include "replay.h"

static void check_found(const char *text, size_t length, const char *place)
{
    struct tt_edit edit = {
        .put = {.field = {.text = "t.radius", .length = 8, .quantity = TT_RADIUS, .decimals = 4},
                .place = place},
        .value_mm = 2.385};
    struct tt_edit kept = edit;
    struct tt_arena arena = {0};
    struct tt_buffer to = {0};
    struct tiptrue_error error = {0};
    kept.kept = true;
    if (tt_edits_find("f", text, length, &edit, 1, &arena, &error) != TIPTRUE_OK) {
        FUZZ_ASSERT(error.status == TIPTRUE_E_CONFIG || error.status == TIPTRUE_E_USAGE);
        FUZZ_ASSERT(error.text[0] != '\0' && strlen(error.text) < sizeof(error.text));
    } else {
        FUZZ_ASSERT(edit.span.at + edit.span.length <= length && edit.line > 0);
        FUZZ_ASSERT(tt_edits_find("f", text, length, &kept, 1, &arena, &error) == TIPTRUE_OK);
        tt_edits_apply(text, length, &kept, 1, &to);
        FUZZ_ASSERT(to.length == length && memcmp(to.text, text, length) == 0);
        tt_buffer_reset(&to);
        tt_edits_apply(text, length, &edit, 1, &to);
        FUZZ_ASSERT(to.length == length - edit.span.length + 6);
        /* the place may be another one afterwards, where a path or pattern looks at values; then it
         * must be told, as a fault of the configuration or the place and never of the program */
        error = (struct tiptrue_error){0};
        if (tt_edits_verify("f", text, length, to.text, to.length, &edit, 1, &error) !=
            TIPTRUE_OK) {
            FUZZ_ASSERT(error.status == TIPTRUE_E_CONFIG || error.status == TIPTRUE_E_USAGE);
        }
    }
    tt_buffer_clear(&to);
    tt_arena_clear(&arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *feed = memchr(data, '\n', size);
    size_t length = feed != NULL ? (size_t)(feed - data) : 0;
    if (feed == NULL || memchr(data, '\0', length) != NULL) {
        return 0;
    }
    char *place = malloc(length + 1), *text = malloc(size - length);
    FUZZ_ASSERT(place != NULL && text != NULL);
    memcpy(place, data, length);
    place[length] = '\0';
    memcpy(text, feed + 1, size - length - 1);
    text[size - length - 1] = '\0';
    check_found(text, size - length - 1, place);
    free(place);
    free(text);
    return 0;
}
