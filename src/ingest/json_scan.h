/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The grammar of RFC 8259, strictly. Faults are told with their place; every value's place is
 * recorded. */
#ifndef TT_INGEST_JSON_SCAN_H
#define TT_INGEST_JSON_SCAN_H

#include "ingest/json.h"

/* Behind blanks. */
const char *tt_json_blanks(const char *at);
/* The value at @at, recorded with the key @key (may be NULL); where it ends, or NULL (fault told,
 * or out of memory). */
const char *tt_json_value(struct tt_json *json, const char *at, const char *key, size_t depth);
/* The key at @at and the colon behind it; where its value begins, or NULL. */
const char *tt_json_pass_key(struct tt_json *json, const char *at);
/* What stands between members or elements: ',' is passed and *more set; @closing is passed and
 * *more cleared; NULL: neither. */
const char *tt_json_between(struct tt_json *json, const char *at, char closing, bool *more);
/* Enter a place; TT_NONE when out of memory. */
size_t tt_json_record(struct tt_json *json, const char *key, const char *value);
/* Tell that @at is not what the grammar wants there. Returns NULL. */
const char *tt_json_unexpected(struct tt_json *json, const char *at, const char *expected);

#endif
