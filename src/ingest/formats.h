/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The formats of a run: each reads the text of builder->diagnose into the builder; faults are told,
 * memory is in out_of_memory. */
#ifndef TT_INGEST_FORMATS_H
#define TT_INGEST_FORMATS_H

#include <stdbool.h>

#include "ingest/builder.h"
#include "ingest/table.h"
#include "model/run.h"

void tt_run_read_csv(struct tt_builder *builder);
/* Only what stands before the rows; whether a header that names the columns was among it. */
bool tt_run_read_csv_head(struct tt_builder *builder);
void tt_run_read_json(struct tt_builder *builder);

/* A controller's log joined to @plan by what @pattern finds.
 * TIPTRUE_E_USAGE: the pattern is wrong, or costs too much; TIPTRUE_OK also when faults were told.
 */
TT_MUST_USE enum tiptrue_status tt_run_read_controller(struct tt_builder *builder,
                                                       const struct tiptrue_plan *plan,
                                                       const char *pattern,
                                                       struct tiptrue_error *error);

/* Rows that a log holds twice, as when a file was pasted or appended once too often: counted once.
 */

/* Take out of run->observations each block of eight rows or more (or the second half of the log, if
 * it is shorter) that equals earlier ones, in all fields and in their order, and name its lines in
 * run->repeated. @scratch: memory. false: out of memory. Cost: linear in the rows. */
bool tt_repeats_drop(struct tiptrue_run *run, struct tt_arena *scratch);

/* What a run log says about itself as a whole: machine, plate, started, units, operator, note. */

#define TT_METADATA 7
extern const char *const tt_metadata_keys[TT_METADATA];

/* Whether @key is one of the keys. */
bool tt_metadata_is_key(const struct tt_cell *key);

/* Enter one item. An unknown key is a warning; a second statement of one is a fault, but notes are
 * joined. An empty value is none.
 */
void tt_metadata_add(struct tt_builder *builder, const struct tt_cell *key,
                     const struct tt_cell *value);

/* Warn where the run names another machine or plate than the files do. */
void tt_metadata_compare(struct tt_builder *builder);

#endif
