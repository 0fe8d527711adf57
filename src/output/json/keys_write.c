/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Objects of a document by their field tables. */
#include "config.h"

#include <string.h>

#include "model/frames.h"
#include "output/json/json_write.h"

static double number_at(const char *from, size_t at)
{
    double value;

    memcpy(&value, from + at, sizeof value);
    return value;
}

/* Whether there is something to write: it was stated, or is above 0, if that is asked. */
static bool is_there(const struct tt_key *key, const char *from)
{
    bool stated = true;

    if (key->stated != TT_NOWHERE) {
        memcpy(&stated, from + key->stated, sizeof stated);
    }
    return key->form != TT_BY_HAND && stated &&
           (key->above_0 == TT_NOWHERE || number_at(from, key->above_0) > 0);
}

static void write_key(struct tt_json *json, const struct tt_key *key, const char *from)
{
    const char *text;
    double per = key->per > 0 ? key->per : 1;

    tt_json_key(json, key->key);
    switch (key->form) {
    case TT_TEXT_FORM:
        memcpy(&text, from + key->at, sizeof text);
        tt_json_text(json, text);
        break;
    case TT_NUMBER_FORM:
    case TT_LENGTH_FORM:
        tt_json_fixed(json, number_at(from, key->at) * per);
        break;
    case TT_ANGLE_FORM:
        tt_json_fixed(json, tt_deg_from_rad(number_at(from, key->at)) * per);
        break;
    case TT_XY_FORM:
    case TT_TURNS_FORM:
        tt_json_open(json, '[');
        for (size_t i = 0; i < 2; i++) {
            double value = number_at(from, key->at + i * sizeof value);
            tt_json_fixed(json, key->form == TT_TURNS_FORM ? tt_deg_from_rad(value) : value);
        }
        tt_json_close(json, ']');
        break;
    case TT_BY_HAND:
        break;
    }
}

void tt_json_keys(struct tt_json *json, const struct tt_keys *keys, const void *from)
{
    for (size_t i = 0; i < keys->n; i++) {
        if (is_there(&keys->list[i], from)) {
            write_key(json, &keys->list[i], from);
        }
    }
}
