/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is wrong or odd in a file, told to the caller's sink with its place, and counted: up to
 * TT_MOST_FAULTS faults and as many warnings. */
#ifndef TT_INGEST_DIAGNOSE_H
#define TT_INGEST_DIAGNOSE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/buffer.h"
#include "base/status.h"

/* A hint put together from what is known; the size of tiptrue_error.hint. */
#define TT_HINT_SIZE 256

struct tt_place {
    const char *file;
    size_t line, column; /* 1-based, in characters; 0 = none */
};

struct tt_diagnose {
    const struct tiptrue_sink *sink; /* may be NULL */
    struct tiptrue_error *error;     /* may be NULL; receives the first fault */
    const char *file;
    const char *text, *end; /* the file's text, without its byte order mark */
    const char *seen;       /* the last place asked for, so that asking in order costs one pass */
    size_t line, column;    /* of it */
    size_t faults, warnings;
};

/* Tell @diagnostic to @sink, which may be NULL or one that is told nothing. */
void tt_tell(const struct tiptrue_sink *sink, const struct tiptrue_diagnostic *diagnostic);

void tt_diagnose_init(struct tt_diagnose *diagnose, const struct tiptrue_sink *sink,
                      struct tiptrue_error *error, const char *file, const char *text,
                      size_t length);

/* The same of a file's bytes: a byte order mark is no part of the text. */
void tt_diagnose_bytes(struct tt_diagnose *diagnose, const struct tiptrue_sink *sink,
                       struct tiptrue_error *error, const char *file, const struct tt_bytes *bytes);
/* TIPTRUE_E_DATA where there were faults. */
TT_MUST_USE enum tiptrue_status tt_diagnose_status(const struct tt_diagnose *diagnose);

/* The place of @at, which points into the text or to its end. */
struct tt_place tt_place_at(struct tt_diagnose *diagnose, const char *at);
/* The file as a whole. */
struct tt_place tt_place_file(const struct tt_diagnose *diagnose);

/* @hint may be NULL. One fault more than TT_MOST_FAULTS becomes a closing line that says so, and
 * later ones are dropped. */
void tt_fault(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
              const char *format, ...) TT_PRINTF(4, 5);
void tt_fault_list(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
                   const char *format, va_list arguments) TT_PRINTF(4, 0);
void tt_warn(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
             const char *format, ...) TT_PRINTF(4, 5);
void tt_note(struct tt_diagnose *diagnose, struct tt_place place, const char *hint,
             const char *format, ...) TT_PRINTF(4, 5);

/* No further fault will be told: reading on is of no use. */
bool tt_diagnose_is_full(const struct tt_diagnose *diagnose);
/* No further warning will be told: working one out is of no use. */
bool tt_diagnose_is_full_of_warnings(const struct tt_diagnose *diagnose);

/* The text as it can be shown in a message: control characters as \xNN, cut after about 40 bytes
 * with "...". For use within one expression: tt_shown(text, length).text. */
struct tt_shown {
    char text[64];
};
struct tt_shown tt_shown(const char *text, size_t length);
struct tt_shown tt_shown_text(const char *text);

/* Whether the text is free of NUL bytes and valid UTF-8; what is not is told as one fault. */
bool tt_text_check(struct tt_diagnose *diagnose);
/* Whether there is anything but blanks in it; told if not. */
bool tt_text_is_there(struct tt_diagnose *diagnose);

#endif
