/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Members of an archive's objects: what its two files share; nobody else includes this. */
#ifndef TT_INGEST_ARCHIVE_PARTS_H
#define TT_INGEST_ARCHIVE_PARTS_H

#include "ingest/fields.h"
#include "model/record.h"

/* A string that may be null, and may be empty. */
struct tt_text tt_archive_text_member(struct tt_fields *fields, const cJSON *object,
                                      const char *what, const char *key);
/* A time as a history writes it; told if it is another. */
const char *tt_archive_time_member(struct tt_fields *fields, const cJSON *object, const char *what,
                                   const char *key);
/* Any JSON, on one line. */
struct tt_text tt_archive_compact_member(struct tt_fields *fields, const cJSON *object,
                                         const char *what, const char *key, enum tt_need need);
/* The key 'id' of a run or a board; told if it is none. */
void tt_archive_read_id(struct tt_fields *fields, const cJSON *object, const char *what,
                        char id[TT_RUN_ID_SIZE]);
/* What the faults of an archive come to; @fields is done with. */
TT_MUST_USE enum tiptrue_status tt_archive_end_of(struct tt_fields *fields, size_t faults_before,
                                                  struct tiptrue_error *error);

#endif
