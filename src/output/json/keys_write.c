/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Objects of a document by their field tables. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "model/frames.h"
#include "output/json/json_write.h"

static double number_at(const char *from, size_t at)
{
    double value;

    memcpy(&value, from + at, sizeof value);
    return value;
}

static void *pointer_at(const char *from, size_t at)
{
    void *pointer;

    memcpy(&pointer, from + at, sizeof pointer);
    return pointer;
}

static size_t count_at(const char *from, size_t at)
{
    size_t count;

    memcpy(&count, from + at, sizeof count);
    return count;
}

/* [first, second] */
static void write_pair(struct tt_json *json, const struct tt_key *key, const char *from)
{
    tt_json_open(json, '[');
    for (size_t i = 0; i < 2; i++) {
        double value = number_at(from, key->at + i * sizeof value);
        if (key->form == TT_PAIR_FORM) {
            tt_json_number(json, value);
        } else {
            tt_json_fixed(json, key->form == TT_TURNS_FORM ? tt_deg_from_rad(value) : value);
        }
    }
    tt_json_close(json, ']');
}

static void write_x_y(struct tt_json *json, const struct tt_key *key, const char *from)
{
    double x = number_at(from, key->at), y = number_at(from, key->at_y),
           per = key->per > 0 ? key->per : 1;

    tt_json_key_xy_if(json, key->key, tt_key_has_x(key, from), key->squared ? sqrt(x) : x * per,
                      tt_key_has_y(key, from), key->squared ? sqrt(y) : y * per);
}

static void write_number(struct tt_json *json, const struct tt_key *key, const char *from)
{
    double kept = number_at(from, key->at), per = key->per > 0 ? key->per : 1;

    if (key->form == TT_SHORTEST_FORM) {
        tt_json_number(json, kept * per);
    } else {
        tt_json_fixed(json, (key->form == TT_ANGLE_FORM ? tt_deg_from_rad(kept) : kept) * per);
    }
}

static void write_object(struct tt_json *json, const struct tt_keys *keys, const void *from)
{
    if (from == NULL) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_keys(json, keys, from);
    tt_json_close(json, '}');
}

static void write_list(struct tt_json *json, const struct tt_key *key, const char *from)
{
    const char *list = pointer_at(from, key->at);
    size_t n = count_at(from, key->n);

    tt_json_open(json, '[');
    for (size_t i = 0; i < n; i++) {
        write_object(json, key->inner, list + i * key->size);
    }
    tt_json_close(json, ']');
}

/* An index in 4 bytes, or a letter. */
static void write_word(struct tt_json *json, const struct tt_key *key, const char *from)
{
    const char letter[2] = {from[key->at], '\0'};
    unsigned index;

    if (key->form == TT_LETTER_FORM) {
        tt_json_text(json, letter[0] != '\0' ? letter : NULL);
    } else {
        memcpy(&index, from + key->at, sizeof index);
        tt_json_text(json, index < key->words->n ? key->words->words[index] : NULL);
    }
}

static void write_text(struct tt_json *json, const struct tt_key *key, const char *from)
{
    tt_json_text(json, pointer_at(from, key->at));
}

static void write_count(struct tt_json *json, const struct tt_key *key, const char *from)
{
    tt_json_count(json, count_at(from, key->at));
}

static void write_bool(struct tt_json *json, const struct tt_key *key, const char *from)
{
    bool flag;

    memcpy(&flag, from + key->at, sizeof flag);
    tt_json_bool(json, flag);
}

static void write_inner(struct tt_json *json, const struct tt_key *key, const char *from)
{
    write_object(json, key->inner,
                 key->form == TT_POINTER_FORM ? pointer_at(from, key->at) : from + key->at);
}

/* The value behind its key. */
static void (*const by_form[])(struct tt_json *json, const struct tt_key *key, const char *from) = {
    [TT_TEXT_FORM] = write_text,       [TT_NUMBER_FORM] = write_number,
    [TT_SHORTEST_FORM] = write_number, [TT_LENGTH_FORM] = write_number,
    [TT_ANGLE_FORM] = write_number,    [TT_XY_FORM] = write_pair,
    [TT_TURNS_FORM] = write_pair,      [TT_PAIR_FORM] = write_pair,
    [TT_COUNT_FORM] = write_count,     [TT_BOOL_FORM] = write_bool,
    [TT_WORD_FORM] = write_word,       [TT_LETTER_FORM] = write_word,
    [TT_OBJECT_FORM] = write_inner,    [TT_POINTER_FORM] = write_inner,
    [TT_LIST_FORM] = write_list,
};

static void write_member(struct tt_json *json, const struct tt_key *key, const void *from)
{
    if (key->form == TT_HOOK_FORM) {
        json->hooks[key->hook](json, key, from);
    } else if (key->form == TT_X_Y_FORM) {
        write_x_y(json, key, from);
    } else {
        tt_json_key(json, key->key);
        tt_json_value_of(json, key, from);
    }
}

void tt_json_value_of(struct tt_json *json, const struct tt_key *key, const void *from)
{
    by_form[key->form](json, key, from);
}

void tt_json_keys(struct tt_json *json, const struct tt_keys *keys, const void *from)
{
    for (size_t i = 0; i < keys->n; i++) {
        const struct tt_key *key = &keys->list[i];
        if (key->form == TT_BY_HAND || (key->on_request && !json->more)) {
            continue;
        }
        if (tt_key_is_there(key, from)) {
            write_member(json, key, from);
        } else if (keys->null && !key->omitted) {
            tt_json_key(json, key->key);
            tt_json_null(json);
        }
    }
}

void tt_json_key_at(struct tt_json *json, const struct tt_keys *keys, size_t at, const void *from)
{
    for (size_t i = 0; i < keys->n; i++) {
        if (keys->list[i].at == at && keys->list[i].form == TT_LIST_FORM) {
            write_member(json, &keys->list[i], from);
        }
    }
}
