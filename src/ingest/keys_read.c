/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Objects of a document by their field tables. */
#include "config.h"

#include <string.h>

#include "ingest/fields.h"
#include "model/frames.h"

/* More than any table has. */
#define MOST_KEYS 40

static void warn_unknown(struct tt_fields *fields, const cJSON *object, const char *what,
                         const struct tt_keys *keys)
{
    const char *known[MOST_KEYS];
    size_t n = keys->n < MOST_KEYS ? keys->n : MOST_KEYS;

    for (size_t i = 0; i < n; i++) {
        known[i] = keys->list[i].key;
    }
    tt_field_unknown(fields, object, what, known, n);
}

/* One or two numbers into @value, which is in the units that are kept. */
static bool read_value(struct tt_fields *fields, const cJSON *object, const char *what,
                       const struct tt_key *key, double value[2])
{
    switch (key->form) {
    case TT_NUMBER_FORM:
    case TT_ANGLE_FORM:
        if (!tt_field_number(fields, object, what, key->key, key->need, key->bounds, value)) {
            return false;
        }
        value[0] = key->form == TT_ANGLE_FORM ? tt_rad_from_deg(value[0]) : value[0];
        break;
    case TT_LENGTH_FORM:
        if (!tt_field_length(fields, object, what, key->key, key->need, key->bounds, value)) {
            return false;
        }
        break;
    case TT_XY_FORM:
        return tt_field_xy(fields, object, what, key->key, key->need, value);
    case TT_TURNS_FORM:
        if (!tt_field_pair(fields, object, what, key->key, key->bounds, value)) {
            return false;
        }
        value[0] = tt_rad_from_deg(value[0]);
        value[1] = tt_rad_from_deg(value[1]);
        break;
    case TT_BY_HAND:
    case TT_TEXT_FORM:
        return false;
    }
    value[0] /= key->per > 0 ? key->per : 1;
    return true;
}

static void read_key(struct tt_fields *fields, const cJSON *object, const char *what,
                     const struct tt_key *key, char *into)
{
    double value[2] = {0, 0};

    if (key->form == TT_TEXT_FORM) {
        const char *text = tt_field_text(fields, object, what, key->key, key->need);
        memcpy(into + key->at, &text, sizeof text);
        return;
    }
    bool stated = read_value(fields, object, what, key, value);
    if (stated) {
        bool pair = key->form == TT_XY_FORM || key->form == TT_TURNS_FORM;
        memcpy(into + key->at, value, pair ? sizeof value : sizeof value[0]);
    }
    if (key->stated != TT_NOWHERE) {
        memcpy(into + key->stated, &stated, sizeof stated);
    }
    if (key->large > 0) {
        tt_field_warn_large(fields, object, what, key->key, value[0], key->large);
    }
}

void tt_keys_read(struct tt_fields *fields, const cJSON *object, const char *what,
                  const struct tt_keys *keys, void *into)
{
    warn_unknown(fields, object, what, keys);
    for (size_t i = 0; i < keys->n; i++) {
        if (keys->list[i].form != TT_BY_HAND) {
            read_key(fields, object, what, &keys->list[i], into);
        }
    }
}

const cJSON *tt_keys_read_inner(struct tt_fields *fields, const cJSON *root, const char *what,
                                const char *key, const struct tt_keys *keys, void *into)
{
    const cJSON *object = tt_field_object(fields, root, what, key, TT_OPTIONAL);

    if (object != NULL) {
        tt_keys_read(fields, object, key, keys, into);
    }
    return object;
}
