/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a run log says about itself as a whole: machine, plate, started, units, operator, note. */
#ifndef TT_INGEST_METADATA_H
#define TT_INGEST_METADATA_H

#include "ingest/builder.h"
#include "ingest/table.h"

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
