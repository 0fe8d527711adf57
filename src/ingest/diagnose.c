/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Places are found only when something is told, by counting line ends from the last place on. */
#include "config.h"

#include "ingest/diagnose.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "ingest/ingest.h"

/* Bytes of a name that a message shows. */
#define SHOWN_BYTES 40

void tt_diagnose_init(struct tt_diagnose *diagnose, const struct tiptrue_sink *sink,
                      struct tiptrue_error *error, const char *file, const char *text,
                      size_t length)
{
    *diagnose = (struct tt_diagnose){
        .sink = sink, .error = error, .file = file, .text = text, .end = text + length};
    diagnose->seen = text;
    diagnose->line = diagnose->column = 1;
}

enum tiptrue_status tt_diagnose_status(const struct tt_diagnose *diagnose)
{
    return diagnose->faults > 0 ? TIPTRUE_E_DATA : TIPTRUE_OK;
}

static size_t count_characters(const char *text, const char *end)
{
    size_t characters = 0;
    for (; text < end; text++) {
        characters += ((unsigned char)*text & 0xC0u) != 0x80u;
    }
    return characters;
}

struct tt_place tt_place_at(struct tt_diagnose *diagnose, const char *at)
{
    if (at < diagnose->seen) {
        diagnose->seen = diagnose->text;
        diagnose->line = diagnose->column = 1;
    }
    for (;;) {
        const char *feed = memchr(diagnose->seen, '\n', (size_t)(at - diagnose->seen));
        if (feed == NULL) {
            break;
        }
        diagnose->seen = feed + 1;
        diagnose->line++;
        diagnose->column = 1;
    }
    diagnose->column += count_characters(diagnose->seen, at);
    diagnose->seen = at;
    return (struct tt_place){diagnose->file, diagnose->line, diagnose->column};
}

struct tt_place tt_place_file(const struct tt_diagnose *diagnose)
{
    return (struct tt_place){diagnose->file, 0, 0};
}

void tt_tell(const struct tiptrue_sink *sink, const struct tiptrue_diagnostic *diagnostic)
{
    if (sink != NULL && sink->told != NULL) {
        sink->told(sink->context, diagnostic);
    }
}

static void tell(const struct tt_diagnose *diagnose, enum tiptrue_severity severity,
                 struct tt_place place, const char *text, const char *hint)
{
    struct tiptrue_diagnostic diagnostic = {severity,     place.file, place.line,
                                            place.column, text,       hint};
    tt_tell(diagnose->sink, &diagnostic);
}

/* Room for a message: as much as tiptrue_error.text holds. */
#define TEXT_SIZE sizeof(((struct tiptrue_error *)0)->text)

/* The @count-th of its severity: those beyond TT_MOST_FAULTS are not told, which is said once. */
static void tell_counted(const struct tt_diagnose *diagnose, enum tiptrue_severity severity,
                         size_t count, struct tt_place place, const char *text, const char *hint)
{
    bool error = severity == TIPTRUE_ERROR;

    if (count <= TT_MOST_FAULTS) {
        tell(diagnose, severity, place, text, hint);
    } else if (count == TT_MOST_FAULTS + 1) {
        tell(diagnose, severity, tt_place_file(diagnose),
             error ? "more errors not shown" : "more warnings not shown",
             error ? "fix these first" : NULL);
    }
}

void tt_fault_list(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
                   const char *format, va_list arguments)
{
    char text[TEXT_SIZE];
    vsnprintf(text, sizeof(text), format, arguments);
    tell_counted(diagnose, TIPTRUE_ERROR, ++diagnose->faults, place, text, hint);
    if (diagnose->faults == 1) {
        (void)tt_fail(diagnose->error, TIPTRUE_E_DATA, place.file, place.line, place.column, hint,
                      "%s", text);
    }
}

void tt_fault(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
              const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    tt_fault_list(diagnose, place, hint, format, arguments);
    va_end(arguments);
}

void tt_warn(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
             const char *format, ...)
{
    char text[TEXT_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof(text), format, arguments);
    va_end(arguments);
    tell_counted(diagnose, TIPTRUE_WARNING, ++diagnose->warnings, place, text, hint);
}

void tt_note(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
             const char *format, ...)
{
    char text[TEXT_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof(text), format, arguments);
    va_end(arguments);
    tell(diagnose, TIPTRUE_NOTE, place, text, hint);
}

bool tt_diagnose_is_full(const struct tt_diagnose *diagnose)
{
    return diagnose->faults > TT_MOST_FAULTS;
}

bool tt_diagnose_is_full_of_warnings(const struct tt_diagnose *diagnose)
{
    return diagnose->warnings > TT_MOST_FAULTS;
}

struct tt_shown tt_shown(const char *text, size_t length)
{
    struct tt_shown shown;
    size_t n = 0, i = 0;
    for (; i < length && n < SHOWN_BYTES; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c < 0x20 || c == 0x7F) {
            n += (size_t)snprintf(shown.text + n, sizeof(shown.text) - n, "\\x%02X", c);
        } else {
            shown.text[n++] = text[i];
        }
    }
    /* the rest of a character that was begun; a text that is no UTF-8 may have more such bytes in a
     * row than any character */
    for (int rest = 3; rest > 0 && i < length && n > 0 && ((unsigned char)text[i] & 0xC0u) == 0x80u;
         rest--) {
        shown.text[n++] = text[i++];
    }
    snprintf(shown.text + n, sizeof(shown.text) - n, "%s", i < length ? "..." : "");
    return shown;
}

struct tt_shown tt_shown_text(const char *text)
{
    return tt_shown(text, strlen(text));
}
