/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* JSON (RFC 8259) written straight into a buffer: commas, escapes and the form of numbers; knows no
 * document.
 *
 * A value that is not determined, or not finite, becomes null. Nothing is allocated beside the
 * buffer itself.
 */
#ifndef TT_OUTPUT_JSON_JSON_WRITE_H
#define TT_OUTPUT_JSON_JSON_WRITE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buffer.h"
#include "formats/keys.h"

/* Starts as {.buffer = b, .first = true}. */
struct tt_json;
/* Writes the member @key of the struct @from, key included: see tt_key.hook. */
typedef void tt_member_writer(struct tt_json *json, const struct tt_key *key, const void *from);

struct tt_json {
    struct tt_buffer *buffer;
    bool first; /* no comma before what comes next: it opens a list, or follows its key */
    bool more;  /* what is written on request only is asked for */
    tt_member_writer *const *hooks; /* hooks, by tt_key.hook; NULL: no table has any */
    const void *document;           /* the struct that is written, for the hooks */
};

/* A document of @schema onto @buffer, open up to its next key. */
struct tt_json tt_json_begin(struct tt_buffer *buffer, const char *schema);
/* @bracket is '{' or '['; the closing one is '}' or ']'. */
void tt_json_open(struct tt_json *json, char bracket);
void tt_json_close(struct tt_json *json, char bracket);
/* @key is a name of ours: printable ASCII without quote or backslash. */
void tt_json_key(struct tt_json *json, const char *key);
void tt_json_null(struct tt_json *json);
void tt_json_bool(struct tt_json *json, bool value);
void tt_json_count(struct tt_json *json, size_t value);
/* NULL becomes null; a byte that is no UTF-8 becomes U+FFFD, as a file's name may hold any byte. */
void tt_json_text(struct tt_json *json, const char *text);
/* The shortest decimal that reads back as @value: for what spans many powers of ten (variances,
 * probabilities). NAN: null, here and below. */
void tt_json_number(struct tt_json *json, double value);
/* @value to 10 decimals: for mm and degrees. A tenth of a picometre is far below any length here,
 * and shorter to read. */
void tt_json_fixed(struct tt_json *json, double value);

/* The same with their keys; _if: null unless @determined. */
void tt_json_key_open(struct tt_json *json, const char *key, char bracket);
/* False: it is null, and nothing is to be written, or open. */
bool tt_json_key_if(struct tt_json *json, const char *key, bool determined);
bool tt_json_key_open_if(struct tt_json *json, const char *key, bool determined, char bracket);
void tt_json_key_bool(struct tt_json *json, const char *key, bool value);
void tt_json_key_text(struct tt_json *json, const char *key, const char *text);
void tt_json_key_count(struct tt_json *json, const char *key, size_t value);
void tt_json_key_number(struct tt_json *json, const char *key, double value);
void tt_json_key_number_if(struct tt_json *json, const char *key, bool determined, double value);
void tt_json_key_fixed(struct tt_json *json, const char *key, double value);
void tt_json_key_fixed_if(struct tt_json *json, const char *key, bool determined, double value);
/* {"x": ..., "y": ...}, in tt_json_fixed's form. */
void tt_json_key_xy_if(struct tt_json *json, const char *key, bool determined_x, double x,
                       bool determined_y, double y);
void tt_json_key_both_if(struct tt_json *json, const char *key, bool determined, double x,
                         double y);
void tt_json_key_xy(struct tt_json *json, const char *key, double x, double y);
/* The text made in @words, which are empty afterwards. */
void tt_json_key_words(struct tt_json *json, const char *key, struct tt_buffer *words);

/* The members of the struct @from that @keys has a form for, in its order: in mm and degrees, in
 * tt_json_fixed's form. */
void tt_json_keys(struct tt_json *json, const struct tt_keys *keys, const void *from);
/* A single key's value, of a form that is no hook's; the list that is kept at @at, with its key. */
void tt_json_value_of(struct tt_json *json, const struct tt_key *key, const void *from);
void tt_json_key_at(struct tt_json *json, const struct tt_keys *keys, size_t at, const void *from);

#endif
