/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A JSON text (RFC 8259) as cJSON's tree, with the place of every value and key in the file. The
 * grammar is checked here first, strictly: cJSON by itself takes leading zeros, raw control
 * characters, 1e999, doubled keys and text behind the end.
 */
#ifndef TT_INGEST_JSON_H
#define TT_INGEST_JSON_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stddef.h>

#include "ingest/diagnose.h"

/* Arrays and objects may stand in each other this deep. Ours need 5; the limit keeps a hostile file
 * from using up the stack. */
#define TT_JSON_DEPTH 64

/* Where a value stands, and its key if it has one, as pointers into the file's text. */
struct tt_json_where {
    const char *key, *value, *end;
};

struct tt_json;

/* An array of the outermost object that is handed over element by element and not kept, so that its
 * length costs no memory. */
struct tt_json_stream {
    const char *key;
    /* @element->root is the element's tree; what was read of the outermost object before the array
     * is in @whole->root. false: stop reading (a fault was told). */
    bool (*element)(void *context, struct tt_json *whole, struct tt_json *element);
    void *context;
};

struct tt_json {
    struct tt_diagnose *diagnose;
    struct tt_json_where
        *where; /* of values in the order of the text; cJSON's valueint is the index */
    size_t n_where, capacity;
    cJSON *root;
    bool out_of_memory;
};

/* Read the object that fills [text, end); *end is '\0'. @stream may be NULL. true: its grammar is
 * right, and json->root is its tree (doubled keys, and what the stream found, are told all the
 * same). Either way tt_json_clear gives everything back. */
bool tt_json_read(struct tt_json *json, struct tt_diagnose *diagnose, const char *text,
                  const char *end, const struct tt_json_stream *stream);
void tt_json_clear(struct tt_json *json);

const struct tt_json_where *tt_json_where(const struct tt_json *json, const cJSON *item);
/* The place of a value, of its key. */
struct tt_place tt_json_place(const struct tt_json *json, const cJSON *item);
struct tt_place tt_json_key_place(const struct tt_json *json, const cJSON *item);

/* The grammar of RFC 8259, strictly. Faults are told with their place; every value's place is
 * recorded. */

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
