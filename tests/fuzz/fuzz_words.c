/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes behind a first one that says what they are: 'f' a FIELD, 'F' one of a template; 't' a
 * time, 'c' one of day; 'p' a pattern, up to a line feed, and the line that it is for. */
#include "config.h"

#include <math.h>

#include "base/buffer.h"
#include "base/time.h"
#include "export/field.h"
#include "ingest/diagnose.h"
#include "ingest/pattern.h"
#include "replay.h"

static void read_field(const char *text, size_t size, bool each)
{
    struct tt_export_field field;
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tt_export_field_read(text, size, each, &field, &error);
    FUZZ_ASSERT(status == TIPTRUE_OK || status == TIPTRUE_E_USAGE);
    if (status == TIPTRUE_OK) {
        struct tt_buffer written = {0};
        FUZZ_ASSERT(field.quantity < TT_QUANTITIES && field.unit < TT_LENGTH_UNITS &&
                    field.decimals >= 0 && field.decimals <= TT_MOST_DECIMALS);
        FUZZ_ASSERT(field.length == size && (!field.has_rotation || isfinite(field.rotation_deg)));
        tt_export_field_write(&field, 1.2345678, &written);
        FUZZ_ASSERT(!written.failed && written.length > 0);
        tt_buffer_clear(&written);
    } else {
        FUZZ_ASSERT(error.text[0] != '\0' && strpbrk(error.text, "\n\r\033") == NULL);
    }
}

static void read_time(const char *text, size_t size)
{
    double seconds = 0.0, again = 0.0;
    char written[TT_TIME_SIZE];
    if (tt_time_read(text, size, &seconds)) {
        FUZZ_ASSERT(isfinite(seconds));
        tt_time_write(seconds, written);
        FUZZ_ASSERT(tt_time_read(written, strlen(written), &again));
        FUZZ_ASSERT(fabs(again - floor(seconds)) < 1.0 || fabs(seconds) > 6e10);
    }
}

static void read_clock(const char *text, size_t size)
{
    double seconds = 0.0;
    FUZZ_ASSERT(!tt_time_read_clock(text, size, &seconds) ||
                (seconds >= 0.0 && seconds <= 86401.0));
}

static void read_pattern(const char *text, size_t size)
{
    const char *end = memchr(text, '\n', size);
    size_t length = end != NULL ? (size_t)(end - text) : size;
    struct tt_diagnose diagnose;
    struct tt_pattern *pattern = NULL;
    struct tiptrue_error error = {0};
    char *regex = malloc(length + 1);
    FUZZ_ASSERT(regex != NULL);
    memcpy(regex, text, length);
    regex[length] = '\0';
    tt_diagnose_init(&diagnose, NULL, NULL, "l", text, size);
    if (!tt_text_check(&diagnose)) { /* as before every pattern and log */
        free(regex);
        return;
    }
    tt_diagnose_init(&diagnose, NULL, &error, "p", regex, length);
    if (tt_pattern_new(regex, &diagnose, &pattern, &error) == TIPTRUE_OK && end != NULL) {
        struct tt_cell groups[TT_GROUPS];
        const char *line = end + 1;
        size_t rest = size - length - 1, from = 0, behind = 0;
        bool found = true;
        while (found && from <= rest &&
               tt_pattern_find(pattern, line, rest, from, &found, groups, &behind, &error) ==
                   TIPTRUE_OK &&
               found) {
            FUZZ_ASSERT(behind <= rest);
            from = behind > from ? behind : from + 1;
            while (from < rest && ((unsigned char)line[from] & 0xC0) == 0x80) {
                from++;
            }
        }
    }
    tt_pattern_free(pattern);
    free(regex);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *text = (const char *)data + 1;
    switch (size > 0 ? data[0] : 0) {
    case 'f':
    case 'F':
        read_field(text, size - 1, data[0] == 'F');
        break;
    case 't':
        read_time(text, size - 1);
        break;
    case 'c':
        read_clock(text, size - 1);
        break;
    case 'p':
        read_pattern(text, size - 1);
        break;
    default:
        break;
    }
    return 0;
}
