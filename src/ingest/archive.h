/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a history imports: what a file is by its content, and the exports of a history as records.
 * Results in them are not looked into here. */
#ifndef TT_INGEST_ARCHIVE_H
#define TT_INGEST_ARCHIVE_H

#include "ingest/diagnose.h"
#include "model/record.h"

enum tt_archive_kind {
    TT_ARCHIVE_LOG, /* a run log, of whatever format */
    TT_ARCHIVE_CSV, /* an export as CSV */
    TT_ARCHIVE_JSON /* a document that names its schema, or several, one on each line */
};

/* By the first characters; a document tiptrue.run/1 is a log. */
enum tt_archive_kind tt_archive_kind(const char *text, const char *end);

/* The object that begins at @text (behind blanks): where it ends, or NULL if it does not. *schema:
 * what it names as its schema, at its outermost level, "" if nothing; cut to @size. The grammar is
 * not checked. */
const char *tt_archive_object(const char *text, const char *end, char schema[], size_t size);

/* The object in [text, end), tiptrue.history/1, as a record (starts as {0}); *end must be '\0' for
 * the call. TIPTRUE_E_DATA: faults were told. */
TT_MUST_USE enum tiptrue_status tt_archive_read_record(struct tt_diagnose *diagnose,
                                                       const char *text, const char *end,
                                                       struct tt_record *record,
                                                       struct tiptrue_error *error);

/* A result document in [text, end) as a record without log: its id and version, and its text
 * without blanks between values. */
TT_MUST_USE enum tiptrue_status tt_archive_read_result(struct tt_diagnose *diagnose,
                                                       const char *text, const char *end,
                                                       struct tt_record *record,
                                                       struct tiptrue_error *error);

/* Rows of an export as CSV: *at is behind the header row or a record, and is moved behind the next
 * one. *more false: there was none. */
TT_MUST_USE enum tiptrue_status tt_archive_read_csv(struct tt_diagnose *diagnose, const char **at,
                                                    bool *more, struct tt_record *record,
                                                    struct tiptrue_error *error);
/* Behind the header row. */
const char *tt_archive_csv_begin(const char *text, const char *end);

/* Likewise a board, its texts in @arena. */
TT_MUST_USE enum tiptrue_status tt_archive_read_board(struct tt_diagnose *diagnose,
                                                      const char *text, const char *end,
                                                      struct tt_arena *arena,
                                                      struct tt_board_record *board,
                                                      struct tiptrue_error *error);

#endif
