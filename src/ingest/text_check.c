/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Is it text at all: UTF-8, and no NUL. Runs of ASCII pass eight bytes at a time, since all that is
 * usual is ASCII.
 */
#include "config.h"

#include <stdint.h>
#include <string.h>

#include "base/utf8.h"
#include "ingest/diagnose.h"

#define EACH_BYTE(value) (UINT64_C(0x0101010101010101) * (value))

/* Whether eight bytes are all between 0x01 and 0x7F. */
static bool is_plain(const char *at)
{
    uint64_t word;
    memcpy(&word, at, sizeof(word));
    return ((word | (word - EACH_BYTE(1))) & EACH_BYTE(0x80)) == 0;
}

static bool tell_wrong_byte(struct tt_diagnose *diagnose, const char *at)
{
    const unsigned char *first = (const unsigned char *)diagnose->text;
    size_t length = (size_t)(diagnose->end - diagnose->text);
    if (length >= 2 &&
        ((first[0] == 0xFF && first[1] == 0xFE) || (first[0] == 0xFE && first[1] == 0xFF))) {
        tt_fault(diagnose, tt_place_file(diagnose), "save it as UTF-8",
                 "the file is UTF-16 text, and UTF-8 is expected");
    } else if (*at == '\0') {
        tt_fault(diagnose, tt_place_at(diagnose, at), "the file is not text, or was damaged",
                 "a NUL byte, where text is expected");
    } else {
        tt_fault(diagnose, tt_place_at(diagnose, at), "save the file as UTF-8",
                 "byte 0x%02X is not valid UTF-8", (unsigned)(unsigned char)*at);
    }
    return false;
}

bool tt_text_check(struct tt_diagnose *diagnose)
{
    const char *at = diagnose->text, *end = diagnose->end;
    while (at < end) {
        if (end - at >= 8 && is_plain(at)) {
            at += 8;
            continue;
        }
        size_t length = *at == '\0' ? 0 : tt_utf8_within(at, (size_t)(end - at));
        if (length == 0) {
            return tell_wrong_byte(diagnose, at);
        }
        at += length;
    }
    return true;
}

bool tt_text_is_there(struct tt_diagnose *diagnose)
{
    for (const char *at = diagnose->text; at < diagnose->end; at++) {
        if (*at != ' ' && *at != '\t' && *at != '\r' && *at != '\n') {
            return true;
        }
    }
    tt_fault(diagnose, tt_place_file(diagnose), NULL, "the file is empty");
    return false;
}
