/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Typed members of JSON objects: every mistake is told, with its place and what would be right.
 * null counts as not there. A member that is wrong is told once and then counts as not there;
 * tt_diagnose.faults says whether anything was.
 */
#ifndef TT_INGEST_FIELDS_H
#define TT_INGEST_FIELDS_H

#include "base/arena.h"
#include "formats/keys.h"
#include "ingest/json.h"
#include "model/frames.h"
#include "model/record.h"

struct tt_fields;

/* What a hook of a key is given: see tt_key.hook and tt_key.before. */
struct tt_member {
    const struct tt_key *key;
    const cJSON *object; /* that the key is of */
    const cJSON *item;   /* what is there, or an element of it; NULL: nothing */
    const char *what;    /* names the object in messages */
    char *into;          /* the struct that the key's places are of, or the element just read */
};
/* false: the element just read is left out. */
typedef bool tt_member_reader(struct tt_fields *fields, const struct tt_member *member);

/* What every reader of a document needs. */
struct tt_fields {
    struct tt_json json;
    struct tt_diagnose *diagnose;
    struct tt_arena *arena; /* texts are copied here */
    double mm_per_unit;
    bool out_of_memory;
    tt_member_reader *const *hooks; /* hooks, by tt_key.hook */
    void *document;                 /* the struct that the whole document becomes, for the hooks */
};

/* The member of @object that is @key; messages call the object @what: "edge 'east'". */
struct tt_member tt_member_of(const cJSON *object, const char *what, const struct tt_key *key);

/* Its item, or NULL (told if it is required). */
const cJSON *tt_field(struct tt_fields *fields, const struct tt_member *member);

/* What the file has there, for messages, within one expression. */
struct tt_shown tt_field_shown(const struct tt_fields *fields, const cJSON *item);

/* A fault at @item; @hint may be NULL. */
void tt_field_fault(struct tt_fields *fields, const cJSON *item, const char *hint,
                    const char *format, ...) TT_PRINTF(4, 5);

/* Tell that @item, of the member or the member itself, is not of the form that is @expected: "a
 * number". */
void tt_field_tell_form(struct tt_fields *fields, const struct tt_member *member, const cJSON *item,
                        const char *expected);

/* A string with at least one character, copied; NULL if there is none. */
const char *tt_field_text(struct tt_fields *fields, const struct tt_member *member);

/* A number, in the file's own unit. */
bool tt_field_number(struct tt_fields *fields, const struct tt_member *member,
                     const struct tt_bounds *bounds, double *value);
/* The same of @item, of the member or the member itself, times @unit; the bounds hold for that. */
bool tt_field_number_of(struct tt_fields *fields, const struct tt_member *member, const cJSON *item,
                        double unit, const struct tt_bounds *bounds, double *value);

/* An object; an array. NULL if there is none. */
const cJSON *tt_field_object(struct tt_fields *fields, const struct tt_member *member);
const cJSON *tt_field_array(struct tt_fields *fields, const struct tt_member *member);

/* One of the @n words: its index; @n if it is none of them. */
size_t tt_field_word(struct tt_fields *fields, const struct tt_member *member,
                     const char *const words[], size_t n);

/* Whether "schema" is @schema; told if not. */
bool tt_field_schema(struct tt_fields *fields, const cJSON *object, const char *schema);

/* All that @keys has a form for, from @object into the struct @into; what is not there stays as it
 * is. Unknown keys are warned of. */
void tt_keys_read(struct tt_fields *fields, const cJSON *object, const char *what,
                  const struct tt_keys *keys, void *into);

/* What reading a plate, a machine, a plan, a truth and a result have in common: a JSON file of a
 * stated schema, into one object. */

/* A kind of document. */
struct tt_document {
    const char *schema;
    void (*read)(void *object, struct tt_fields *fields); /* from fields->json.root, whose schema is
                                                             right and whose units are read */
    size_t size, arena;  /* of the object: its bytes; the place of its arena */
    size_t file, source; /* TT_FLAG of its file's name and of the text, which becomes the object's;
                            0: not kept */
};

/* A new object from the file @path, or from @text where that is not NULL: @path then stands for the
 * file's name. *object: for the free function of its kind. */
TT_MUST_USE enum tiptrue_status tt_document_read(const struct tt_document *document,
                                                 const char *path, const struct tt_text *text,
                                                 const struct tiptrue_sink *sink, void **object,
                                                 struct tiptrue_error *error);

#endif
