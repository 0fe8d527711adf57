/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The formats of a run: each reads the text of builder->diagnose into the builder; faults are told,
 * memory is in out_of_memory. */
#ifndef TT_INGEST_FORMATS_H
#define TT_INGEST_FORMATS_H

#include "ingest/builder.h"

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

#endif
