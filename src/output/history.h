/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is stored, out: whole records as JSON and CSV, lists, and what a new solve changes. */
#ifndef TT_OUTPUT_HISTORY_H
#define TT_OUTPUT_HISTORY_H

#include "base/buffer.h"
#include "model/record.h"
#include "model/solution.h"

/* tiptrue.history/1, one line with its line feed. */
void tt_output_record_json(const struct tt_record *record, struct tt_buffer *buffer);
/* The same as rows of CSV, one for each result; the header row. Rows end with CR LF (RFC 4180). */
void tt_output_record_csv(const struct tt_record *record, struct tt_buffer *buffer);
void tt_output_record_csv_header(struct tt_buffer *buffer);

/* An entry as tiptrue.entry/1, one line with its line feed; as a row of a table, and the table's
 * head. */
void tt_output_entry_json(const struct tt_record_entry *entry, struct tt_buffer *buffer);
void tt_output_entry_text(const struct tt_record_entry *entry,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);
void tt_output_entries_head(const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* What @anew says that @before, the stored result of the same run by the program @version, does
 * not. Returns whether anything changed that is shown: a number in its last printed digit, a
 * verdict, a finding. */
bool tt_output_again_text(const struct tiptrue_solution *before, const char *version,
                          const struct tiptrue_solution *anew,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* A board whole, as a line of an export; as a line of a list, in JSON and for a person. */
void tt_output_board_record_json(const struct tt_board_record *board, struct tt_buffer *buffer);
void tt_output_board_entry_json(const struct tt_board_record *board, struct tt_buffer *buffer);
void tt_output_board_entry_text(const struct tt_board_record *board,
                                const struct tiptrue_text_options *options,
                                struct tt_buffer *buffer);

#endif
