/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The outermost object is walked here, member by member: each is checked, then read by cJSON into
 * the tree. A streamed array gets a tree per element, which is given back at once. cJSON's children
 * stand in the order of the text, so that counting through the tree in that order pairs it with the
 * recorded places.
 */
#include "config.h"

#include "ingest/json.h"

#include <limits.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "model/frames.h"

/* Members of one object up to which doubled keys are looked for by comparing all pairs. */
#define FEW_MEMBERS 32

const struct tt_json_where *tt_json_where(const struct tt_json *json, const cJSON *item)
{
    return &json->where[item->valueint];
}

struct tt_place tt_json_place(const struct tt_json *json, const cJSON *item)
{
    return tt_place_at(json->diagnose, tt_json_where(json, item)->value);
}

struct tt_place tt_json_key_place(const struct tt_json *json, const cJSON *item)
{
    const struct tt_json_where *where = tt_json_where(json, item);
    return tt_place_at(json->diagnose, where->key != NULL ? where->key : where->value);
}

/* Enter the indexes of @item and what is in it, in the order of the text, from @index on. Returns
 * the next one. */
static int number_items(cJSON *item, int index)
{
    item->valueint = index++;
    for (cJSON *child = item->child; child != NULL; child = child->next) {
        index = number_items(child, index);
    }
    return index;
}

static void tell_doubled(struct tt_json *json, const cJSON *first, const cJSON *again)
{
    struct tt_place place = tt_json_place(json, first);
    size_t line = place.line;
    tt_fault(json->diagnose, tt_json_key_place(json, again), "leave one of them",
             "key '%s' stands twice in one object, first in line %zu",
             tt_shown_text(again->string).text, line);
}

static int compare_keys(const void *a, const void *b)
{
    const cJSON *const *first = a, *const *second = b;
    int order = strcmp((*first)->string, (*second)->string);
    return order != 0 ? order
                      : ((*first)->valueint > (*second)->valueint) -
                            ((*first)->valueint < (*second)->valueint);
}

/* Many members: by sorting, so that a hostile object costs no square. */
static void find_doubled_by_sorting(struct tt_json *json, const cJSON *object, size_t count)
{
    const cJSON **members = malloc(count * sizeof(*members));
    if (members == NULL) {
        json->out_of_memory = true;
        return;
    }
    size_t n = 0;
    for (const cJSON *member = object->child; member != NULL; member = member->next) {
        members[n++] = member;
    }
    qsort(members, n, sizeof(*members), compare_keys);
    for (size_t i = 1; i < n && !tt_diagnose_is_full(json->diagnose); i++) {
        if (strcmp(members[i - 1]->string, members[i]->string) == 0) {
            tell_doubled(json, members[i - 1], members[i]);
        }
    }
    free(members);
}

static void find_doubled(struct tt_json *json, const cJSON *object)
{
    size_t count = 0;
    for (const cJSON *member = object->child; member != NULL; member = member->next) {
        count++;
    }
    if (count > FEW_MEMBERS) {
        find_doubled_by_sorting(json, object, count);
        return;
    }
    for (const cJSON *member = object->child; member != NULL; member = member->next) {
        const cJSON *earlier = object->child;
        while (earlier != member && strcmp(earlier->string, member->string) != 0) {
            earlier = earlier->next;
        }
        if (earlier != member) {
            tell_doubled(json, earlier, member);
        }
    }
}

/* Doubled keys in @item and in what is in it. */
static void find_all_doubled(struct tt_json *json, const cJSON *item)
{
    if (cJSON_IsObject(item)) {
        find_doubled(json, item);
    }
    for (const cJSON *child = item->child; child != NULL; child = child->next) {
        find_all_doubled(json, child);
    }
}

/* cJSON's tree of the value that was recorded at @index and checked: only memory can be wanting. */
static cJSON *make_tree(struct tt_json *json, size_t index)
{
    const struct tt_json_where *where = &json->where[index];
    cJSON *item = json->n_where < INT_MAX
                      ? cJSON_ParseWithLength(where->value, (size_t)(where->end - where->value))
                      : NULL;
    if (item == NULL) {
        json->out_of_memory = true;
        return NULL;
    }
    number_items(item, (int)index);
    return item;
}

/* The array at @at, element by element; where it ends, or NULL. */
static const char *stream_array(struct tt_json *json, const char *at,
                                const struct tt_json_stream *stream)
{
    struct tt_json element = {.diagnose = json->diagnose};
    at = tt_json_blanks(at + 1);
    bool more = *at != ']';
    at += !more;
    while (more && at != NULL) {
        element.n_where = 0;
        at = tt_json_value(&element, at, NULL, 2);
        element.root = at != NULL ? make_tree(&element, 0) : NULL;
        if (element.root == NULL) {
            at = NULL;
            break;
        }
        find_all_doubled(&element, element.root);
        bool go_on = stream->element(stream->context, json, &element) &&
                     !tt_diagnose_is_full(json->diagnose);
        cJSON_Delete(element.root);
        element.root = NULL;
        at = go_on ? tt_json_between(json, at, ']', &more) : NULL;
    }
    json->out_of_memory = json->out_of_memory || element.out_of_memory;
    tt_json_clear(&element);
    return at;
}

/* The text of the key at @key, its escapes resolved; @end is behind it. */
static char *key_text(const char *key, const char *end)
{
    cJSON *item = cJSON_ParseWithLength(key, (size_t)(end - key));
    char *text = item != NULL ? item->valuestring : NULL;
    if (item != NULL) {
        item->valuestring = NULL;
    }
    cJSON_Delete(item);
    return text;
}

/* The member at @at into the tree; where it ends, or NULL. */
static const char *read_member(struct tt_json *json, const char *at,
                               const struct tt_json_stream *stream)
{
    const char *key = at;
    at = tt_json_pass_key(json, at);
    if (at == NULL) {
        return NULL;
    }
    char *name = key_text(key, at);
    size_t index = json->n_where;
    cJSON *item = NULL;
    if (name != NULL && stream != NULL && strcmp(name, stream->key) == 0 && *at == '[') {
        index = tt_json_record(json, key, at);
        at = index != TT_NONE ? stream_array(json, at, stream) : NULL;
        item = at != NULL ? cJSON_CreateArray() : NULL;
        if (item != NULL) {
            item->valueint = (int)index;
        }
    } else if (name != NULL) {
        at = tt_json_value(json, at, key, 1);
        item = at != NULL ? make_tree(json, index) : NULL;
    }
    if (at != NULL &&
        (item == NULL || name == NULL || !cJSON_AddItemToObject(json->root, name, item))) {
        json->out_of_memory = true;
        cJSON_Delete(item);
        at = NULL;
    }
    cJSON_free(name);
    return at;
}

static const char *read_members(struct tt_json *json, const char *at,
                                const struct tt_json_stream *stream)
{
    at = tt_json_blanks(at + 1);
    bool more = *at != '}';
    at += !more;
    while (more && at != NULL) {
        at = read_member(json, at, stream);
        at = at != NULL ? tt_json_between(json, at, '}', &more) : NULL;
    }
    return at;
}

bool tt_json_read(struct tt_json *json, struct tt_diagnose *diagnose, const char *text,
                  const char *end, const struct tt_json_stream *stream)
{
    *json = (struct tt_json){.diagnose = diagnose};
    const char *at = tt_json_blanks(text);
    if (*at != '{') {
        tt_fault(diagnose, tt_place_at(diagnose, at), "is it the file that was meant?",
                 "'%s', where '{' is expected: this is not a JSON object",
                 tt_shown(at, strcspn(at, "\r\n")).text);
        return false;
    }
    json->root = cJSON_CreateObject();
    if (json->root == NULL || tt_json_record(json, NULL, at) == TT_NONE) {
        json->out_of_memory = true;
        return false;
    }
    at = read_members(json, at, stream);
    if (at != NULL) {
        at = tt_json_blanks(at);
        find_all_doubled(json, json->root);
        at = at < end ? tt_json_unexpected(json, at, "the end of the file") : at;
    }
    return at != NULL && !json->out_of_memory;
}

void tt_json_clear(struct tt_json *json)
{
    cJSON_Delete(json->root);
    free(json->where);
    *json = (struct tt_json){0};
}
