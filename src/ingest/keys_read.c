/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Objects of a document by their field tables. */
#include "config.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/named.h"
#include "base/number.h"
#include "ingest/fields.h"
#include "ingest/names.h"
#include "model/frames.h"

/* More than any table has. */
#define MOST_KEYS 40

static const struct tt_bounds any_number = {-HUGE_VAL, HUGE_VAL, false, NULL};
static const struct tt_bounds any_count = {0, INT_MAX, false, "a whole number of at least 0"};

/* Warn of members that are not among the keys. */
static void warn_unknown(struct tt_fields *fields, const cJSON *object, const char *what,
                         const struct tt_keys *keys)
{
    const char *known[MOST_KEYS];
    size_t n = 0;

    for (size_t i = 0; i < 2 * keys->n && n < MOST_KEYS; i++) { /* those that are read come first */
        const struct tt_key *key = &keys->list[i % keys->n];
        if (key->made == (i >= keys->n)) {
            known[n++] = key->key;
        }
    }
    for (const cJSON *member = object->child;
         member != NULL && !tt_diagnose_is_full_of_warnings(fields->diagnose);
         member = member->next) {
        size_t length = strlen(member->string);
        if (tt_named(known, n, sizeof *known, member->string, length) == n) {
            char hint[TT_HINT_SIZE];
            tt_names_hint(known, n, "fields", member->string, length, hint);
            tt_warn(fields->diagnose, tt_json_key_place(&fields->json, member), hint,
                    "%s: unknown field '%s' is not used", what,
                    tt_shown(member->string, length).text);
        }
    }
}

static void put_flag(char *into, size_t place, bool flag)
{
    if (place > 0) {
        memcpy(into + place - 1, &flag, sizeof flag);
    }
}

static void put_number(char *into, size_t at, double value)
{
    memcpy(into + at, &value, sizeof value);
}

/* {"x": ..., "y": ...}, each of which may be null. */
static void read_x_y(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    const struct tt_bounds *bounds = key->bounds != NULL ? key->bounds : &any_number;
    const cJSON *object = tt_field_object(fields, member);
    bool x = false, y = false;
    double value[2] = {0, 0};

    if (object != NULL) {
        const struct tt_key keys[] = {{.key = "x"}, {.key = "y"}};
        const struct tt_member in_x = tt_member_of(object, key->key, &keys[0]),
                               in_y = tt_member_of(object, key->key, &keys[1]);
        x = tt_field_number(fields, &in_x, bounds, &value[0]);
        y = tt_field_number(fields, &in_y, bounds, &value[1]);
    }
    double per = key->per > 0 ? key->per : 1;
    const size_t at[] = {key->at, key->at_y};
    const bool is[] = {x, y};
    for (size_t k = 0; k < 2; k++) {
        if (is[k]) {
            put_number(member->into, at[k], key->squared ? value[k] * value[k] : value[k] / per);
        } else if (key->absent == TT_IS_NAN) {
            put_number(member->into, at[k], NAN);
        }
    }
    put_flag(member->into, key->sets, key->sets_y > 0 ? x : x && y);
    put_flag(member->into, key->sets_y, y);
}

static bool is_pair(const struct tt_key *key)
{
    return key->form == TT_XY_FORM || key->form == TT_TURNS_FORM || key->form == TT_PAIR_FORM;
}

/* Both numbers, or neither. */
static bool read_pair(struct tt_fields *fields, const struct tt_member *member, double unit,
                      const struct tt_bounds *bounds, double value[2])
{
    const cJSON *item = tt_field(fields, member);
    double first = 0.0, second = 0.0;

    if (item == NULL) {
        return false;
    }
    if (!cJSON_IsArray(item) || cJSON_GetArraySize(item) != 2) {
        tt_field_tell_form(fields, member, item,
                           member->key->form == TT_XY_FORM ? "[x, y]" : "[lowest, highest]");
        return false;
    }
    bool good = tt_field_number_of(fields, member, item->child, unit, bounds, &first);
    good = tt_field_number_of(fields, member, item->child->next, unit, bounds, &second) && good;
    if (good) {
        value[0] = first;
        value[1] = second;
    }
    return good;
}

/* The standard uncertainty, or "tolerance" / sqrt(3) (a rectangular distribution, JCGM 100:2008,
 * 4.3.7); both is a fault. */
static bool read_u(struct tt_fields *fields, const struct tt_member *member, double *u_mm)
{
    const struct tt_key key = {.key = "tolerance"};
    const struct tt_member tolerance = tt_member_of(member->object, member->what, &key);

    if (tolerance.item == NULL || member->item == NULL) {
        const struct tt_member *stated = tolerance.item != NULL ? &tolerance : member;
        const cJSON *item = tt_field(fields, stated);
        double unit = fields->mm_per_unit / (stated == member ? 1 : sqrt(3.0));
        return item != NULL &&
               tt_field_number_of(fields, stated, item, unit, member->key->bounds, u_mm);
    }
    tt_fault(fields->diagnose, tt_json_key_place(&fields->json, tolerance.item),
             "'u' is a standard uncertainty, 'tolerance' a half-width; leave one of them",
             "%s: both 'u' and 'tolerance' are stated", member->what);
    return false;
}

/* One or two numbers into @value, which is in the units that are kept. */
static bool read_value(struct tt_fields *fields, const struct tt_member *member, double value[2])
{
    const struct tt_key *key = member->key;
    bool length = key->form == TT_LENGTH_FORM || key->form == TT_XY_FORM,
         angle = key->form == TT_ANGLE_FORM || key->form == TT_TURNS_FORM;
    double unit = length ? fields->mm_per_unit : 1;
    const struct tt_bounds *bounds = key->form == TT_XY_FORM ? &tt_any_position_mm
                                     : key->bounds != NULL   ? key->bounds
                                                             : &any_number;
    bool is = false;

    if (key->form == TT_U_FORM) {
        is = read_u(fields, member, value);
    } else if (is_pair(key)) {
        is = read_pair(fields, member, unit, bounds, value);
    } else {
        const cJSON *item = tt_field(fields, member);
        is = item != NULL && tt_field_number_of(fields, member, item, unit, bounds, value);
    }
    for (int i = 0; i < 2 && angle; i++) {
        value[i] = tt_rad_from_deg(value[i]);
    }
    value[0] = value[0] / (key->per > 0 ? key->per : 1) * (key->times > 0 ? key->times : 1);
    return is;
}

/* Warn where a length is so large that it is probably in another unit; of an uncertainty that is
 * stated as such or as "tolerance". */
static void warn_large(struct tt_fields *fields, const struct tt_member *member, double value_mm)
{
    const cJSON *item = member->item;
    const char *key = member->key->key;
    struct tt_buffer text = {0};
    char hint[TT_HINT_SIZE];

    if (!(value_mm > member->key->large)) {
        return;
    }
    if (item == NULL) {
        key = "tolerance";
        value_mm *= sqrt(3.0);
        item = cJSON_GetObjectItemCaseSensitive(member->object, key);
    }
    tt_number_write_rounded(&text, value_mm, 4);
    tt_buffer_puts(&text, " mm here; if micrometres are meant, write ");
    tt_number_write_rounded(&text, value_mm / fields->mm_per_unit * 1e-3 / fields->mm_per_unit, 6);
    snprintf(hint, sizeof hint, "it means %s", text.failed ? "?" : text.text);
    tt_buffer_clear(&text);
    tt_warn(fields->diagnose, tt_json_place(&fields->json, item), hint,
            "%s: '%s' is %s, far more than is usual", member->what, key,
            tt_field_shown(fields, item).text);
}

static void read_numbers(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    double value[2] = {0, 0};
    bool is = read_value(fields, member, value), pair = is_pair(key);

    if (is) {
        memcpy(member->into + key->at, value, pair ? sizeof value : sizeof value[0]);
    } else if (key->absent != TT_STAYS) {
        put_number(member->into, key->at, key->absent == TT_IS_NAN ? NAN : HUGE_VAL);
    }
    put_flag(member->into, key->sets, is);
    for (int i = 0; i < (pair ? 2 : 1) && key->large > 0; i++) {
        warn_large(fields, member, value[i]);
    }
}

static void read_text(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    const char *text = NULL;

    if (key->words != NULL) {
        size_t i = tt_field_word(fields, member, key->words->words, key->words->n);
        text = i < key->words->n ? key->words->words[i] : NULL;
    } else {
        text = tt_field_text(fields, member);
    }
    memcpy(member->into + key->at, &text, sizeof text);
}

static void read_word(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    size_t n = key->words->n, i = tt_field_word(fields, member, key->words->words, n);

    if (i < n && key->form == TT_LETTER_FORM) {
        member->into[key->at] = key->words->words[i][0];
    } else if (i < n) {
        unsigned index = (unsigned)i;
        memcpy(member->into + key->at, &index, sizeof index);
    }
    put_flag(member->into, key->sets, i < n);
}

/* true, or the second one of two words. */
static void read_bool(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    const struct tt_vocabulary *words = key->words;
    bool value;

    if (words != NULL) {
        value = tt_field_word(fields, member, words->words, words->n) == 1;
    } else {
        const cJSON *item = tt_field(fields, member);
        if (item != NULL && !cJSON_IsBool(item)) {
            tt_field_tell_form(fields, member, item, "true or false");
        }
        value = key->negated ? cJSON_IsFalse(item) : cJSON_IsTrue(item);
    }
    put_flag(member->into, key->at + 1, value);
}

static void read_count(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    double value = 0;

    if (tt_field_number(fields, member, key->bounds != NULL ? key->bounds : &any_count, &value)) {
        if (value != floor(value)) {
            tt_field_tell_form(fields, member, member->item, "a whole number");
        }
        size_t count = (size_t)fmin(value, INT_MAX);
        memcpy(member->into + key->at, &count, sizeof count);
    }
}

/* What an object of @keys that is not there leaves behind. */
static void leave_absent(const struct tt_keys *keys, char *into)
{
    for (size_t i = 0; i < keys->n; i++) {
        const struct tt_key *key = &keys->list[i];
        if (key->absent != TT_STAYS) {
            put_number(into, key->at, key->absent == TT_IS_NAN ? NAN : HUGE_VAL);
        }
    }
}

static bool call(struct tt_fields *fields, unsigned hook, const struct tt_member *member)
{
    return hook == 0 || fields->hooks[hook](fields, member);
}

static void read_object(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    const cJSON *object = tt_field_object(fields, member);
    char *into = member->into + key->at;

    if (key->form == TT_POINTER_FORM) {
        into = object != NULL ? tt_arena_get(fields->arena, 1, key->size) : NULL;
        fields->out_of_memory = fields->out_of_memory || (object != NULL && into == NULL);
        memcpy(member->into + key->at, &into, sizeof into);
    }
    (void)call(fields, key->before, member);
    if (object != NULL && into != NULL) {
        const char *own = key->inner->null ? member->what : key->key;
        tt_keys_read(fields, object, key->inner->name != NULL ? key->inner->name : own, key->inner,
                     into);
        (void)call(fields, key->hook,
                   &(struct tt_member){key, member->object, object, member->what, into});
    } else if (into != NULL && key->inner->null) {
        leave_absent(key->inner, into);
    }
    put_flag(member->into, key->sets, object != NULL);
}

/* What an element is called: by its first key, if that is a text that every one must have. */
static const char *name_element(const struct tt_key *key, const cJSON *element, const char *what,
                                size_t number, char name[80])
{
    const struct tt_key *first = &key->inner->list[0];
    const cJSON *text = cJSON_GetObjectItemCaseSensitive(element, first->key);

    if (key->inner->name == NULL) {
        return what;
    }
    if (key->numbered) {
        snprintf(name, 80, "%s %zu", key->inner->name, number);
        return name;
    }
    if (first->form != TT_TEXT_FORM || first->need == TT_OPTIONAL || !cJSON_IsString(text)) {
        return key->inner->name;
    }
    snprintf(name, 80, "%s '%s'", key->inner->name, tt_shown_text(text->valuestring).text);
    return name;
}

/* Whether the element at @into has a name that none before has, where names are to differ (told).
 */
static bool is_unique(struct tt_fields *fields, const struct tt_key *key, const cJSON *item,
                      const char *what, const char *into, struct tt_names *names)
{
    const struct tt_key *first = &key->inner->list[0];
    const char *name;

    memcpy(&name, into + first->at, sizeof name);
    if (!key->unique) {
        return true;
    }
    if (name != NULL && tt_names_find(names, name, strlen(name)) != TT_NONE) {
        tt_field_fault(fields, cJSON_GetObjectItemCaseSensitive(item, first->key),
                       "names are unique among their kind", "there is a second %s", what);
        return false;
    }
    if (name != NULL && !tt_names_add(names, name)) {
        fields->out_of_memory = true;
    }
    return name != NULL;
}

static void read_list(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    const cJSON *array = tt_field_array(fields, member);
    size_t room = array != NULL ? (size_t)cJSON_GetArraySize(array) : 0, n = 0;
    char *list = tt_arena_get(fields->arena, room, key->size);
    struct tt_names names = {.arena = fields->arena};

    fields->out_of_memory = fields->out_of_memory || list == NULL;
    memcpy(member->into + key->at, &list, sizeof list);
    (void)call(fields, key->before,
               &(struct tt_member){key, member->object, array, member->what, member->into});
    for (const cJSON *item = array != NULL ? array->child : NULL;
         item != NULL && !fields->out_of_memory && !tt_diagnose_is_full(fields->diagnose);
         item = item->next) {
        char name[80], *into = list + n * key->size;
        if (!cJSON_IsObject(item)) {
            tt_field_fault(fields, item, NULL,
                           "%s: an element of '%s' is %s, and an object {...} is expected",
                           member->what, key->key, tt_field_shown(fields, item).text);
            continue;
        }
        const char *what = name_element(key, item, member->what, n + 1, name);
        tt_keys_read(fields, item, what, key->inner, into);
        bool good =
            is_unique(fields, key, item, what, into, &names) &&
            call(fields, key->hook, &(struct tt_member){key, member->object, item, what, into});
        if (good) {
            n++;
        } else {
            memset(into, 0, key->size);
        }
        memcpy(member->into + key->n, &n, sizeof n);
    }
}

static void read_by_hook(struct tt_fields *fields, const struct tt_member *member)
{
    (void)call(fields, member->key->hook, member);
}

/* NULL: by hand. */
static void (*const by_form[])(struct tt_fields *fields, const struct tt_member *member) = {
    [TT_BY_HAND] = NULL,
    [TT_HOOK_FORM] = read_by_hook,
    [TT_TEXT_FORM] = read_text,
    [TT_NUMBER_FORM] = read_numbers,
    [TT_SHORTEST_FORM] = read_numbers,
    [TT_LENGTH_FORM] = read_numbers,
    [TT_ANGLE_FORM] = read_numbers,
    [TT_XY_FORM] = read_numbers,
    [TT_TURNS_FORM] = read_numbers,
    [TT_PAIR_FORM] = read_numbers,
    [TT_U_FORM] = read_numbers,
    [TT_X_Y_FORM] = read_x_y,
    [TT_COUNT_FORM] = read_count,
    [TT_BOOL_FORM] = read_bool,
    [TT_WORD_FORM] = read_word,
    [TT_LETTER_FORM] = read_word,
    [TT_OBJECT_FORM] = read_object,
    [TT_POINTER_FORM] = read_object,
    [TT_LIST_FORM] = read_list,
};

void tt_keys_read(struct tt_fields *fields, const cJSON *object, const char *what,
                  const struct tt_keys *keys, void *into)
{
    warn_unknown(fields, object, what, keys);
    for (size_t i = 0; i < 2 * keys->n; i++) {
        const struct tt_key *key = &keys->list[i % keys->n];
        if (key->first == (i < keys->n) && !key->made && by_form[key->form] != NULL) {
            struct tt_member member = tt_member_of(object, what, key);
            member.into = into;
            by_form[key->form](fields, &member);
        }
    }
}
