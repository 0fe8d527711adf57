/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* JSON Pointer (RFC 6901) over the places that the strict scanner recorded: values in the order of
 * the text, each with its key and its end, so that what lies in a value follows it. Nothing is
 * copied; a step costs the values that it passes.
 */
#include "config.h"

#include <cjson/cJSON.h>
#include <stdlib.h>
#include <string.h>

#include "export/place_kinds.h"
#include "ingest/json.h"
#include "model/frames.h"

struct tt_json_places {
    struct tt_diagnose diagnose;
    struct tt_json json;
};

static bool scan(struct tt_json_places *kept, const struct tt_config_text *config,
                 struct tiptrue_error *error)
{
    const char *end = config->text + config->length;
    tt_diagnose_init(&kept->diagnose, NULL, error, config->name, config->text, config->length);
    kept->json.diagnose = &kept->diagnose;
    if (!tt_text_check(&kept->diagnose) || !tt_text_is_there(&kept->diagnose)) {
        return false;
    }
    const char *at = tt_json_value(&kept->json, tt_json_blanks(config->text), NULL, 0);
    at = at != NULL ? tt_json_blanks(at) : NULL;
    if (at != NULL && at < end) {
        (void)tt_json_unexpected(&kept->json, at, "the end of the file");
        return false;
    }
    return at != NULL;
}

bool tt_json_places_can_read(const struct tt_config_text *config)
{
    struct tt_json_places kept = {0};
    bool good = scan(&kept, config, NULL);
    tt_json_clear(&kept.json);
    return good;
}

/* What the scanner says is meant for our own files; a stranger's gets the right status, and the way
 * out where there is one. */
static enum tiptrue_status no_json(struct tt_json_places *kept, struct tiptrue_error *error)
{
    bool comment = error->status == TIPTRUE_E_DATA &&
                   (error->text[1] == '/' || error->text[1] == '#') && error->text[0] == '\'';
    if (kept->json.out_of_memory) {
        return tt_fail_memory(error);
    }
    error->status = TIPTRUE_E_CONFIG;
    if (comment) {
        const char hint[] = "JSON has no comments (RFC 8259), and what is read loosely is not "
                            "written to; a place ~REGEX serves any text";
        memcpy(error->hint, hint, sizeof(hint));
    }
    return TIPTRUE_E_CONFIG;
}

static enum tiptrue_status parse(const struct tt_config_text *config, struct tt_json_places **kept,
                                 struct tiptrue_error *error)
{
    struct tt_json_places *made = calloc(1, sizeof(*made));
    struct tiptrue_error fault = {0};
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    if (!scan(made, config, &fault)) {
        enum tiptrue_status status = no_json(made, &fault);
        tt_json_places_free(made);
        return tt_fail(error, status, fault.file, fault.line, fault.column,
                       fault.hint[0] != '\0' ? fault.hint : NULL, "%s", fault.text);
    }
    *kept = made;
    return TIPTRUE_OK;
}

void tt_json_places_free(struct tt_json_places *kept)
{
    if (kept != NULL) {
        tt_json_clear(&kept->json);
        free(kept);
    }
}

/* The value behind @index and all that is in it, or n_where. */
static size_t next_value(const struct tt_json *json, size_t index)
{
    const char *end = json->where[index].end;
    size_t next = index + 1;
    while (next < json->n_where && json->where[next].value < end) {
        next++;
    }
    return next;
}

/* The first value in @index, or TT_NONE. */
static size_t first_inside(const struct tt_json *json, size_t index)
{
    return index + 1 < json->n_where && json->where[index + 1].value < json->where[index].end
               ? index + 1
               : TT_NONE;
}

static size_t next_inside(const struct tt_json *json, size_t index, size_t parent)
{
    size_t next = next_value(json, index);
    return next < json->n_where && json->where[next].value < json->where[parent].end ? next
                                                                                     : TT_NONE;
}

/* Behind the closing quotation mark of the string at @at. */
static const char *string_end(const char *at)
{
    for (at++; *at != '"'; at++) {
        at += *at == '\\';
    }
    return at + 1;
}

/* Whether the key at @key, its escapes resolved, is @token. */
static bool is_key(const char *key, const char *token, bool *out_of_memory)
{
    const char *end = string_end(key);
    size_t length = (size_t)(end - key) - 2;
    if (memchr(key + 1, '\\', length) == NULL) {
        return strlen(token) == length && memcmp(key + 1, token, length) == 0;
    }
    cJSON *item = cJSON_ParseWithLength(key, length + 2);
    *out_of_memory = *out_of_memory || item == NULL;
    bool equal = item != NULL && strcmp(item->valuestring, token) == 0;
    cJSON_Delete(item);
    return equal;
}

/* What is in the value, for a message: keys, or how many elements. */
static enum tiptrue_status missing(const struct tt_config_text *config, const struct tt_json *json,
                                   const char *place, size_t index, struct tiptrue_error *error)
{
    const char *value = json->where[index].value;
    struct tt_list keys = {0};
    struct tt_buffer hint = {0};
    size_t count = 0;
    for (size_t at = first_inside(json, index); at != TT_NONE; at = next_inside(json, at, index)) {
        const char *key = json->where[at].key;
        count++;
        if (key != NULL) {
            const char *end = string_end(key);
            tt_list_add(&keys, tt_shown(key + 1, (size_t)(end - key) - 2).text);
        }
    }
    tt_buffer_printf(&hint, "the pointer reaches line %zu, where there is ",
                     tt_config_text_line(config, (size_t)(value - config->text)));
    if (*value == '{') {
        tt_buffer_printf(&hint,
                         count > 0 ? "an object with the keys: %s" : "an object without keys%s",
                         keys.text);
    } else if (*value == '[') {
        tt_buffer_printf(&hint, "an array of %zu, counted from 0", count);
    } else {
        tt_buffer_printf(&hint, "the value %s",
                         tt_shown(value, (size_t)(json->where[index].end - value)).text);
    }
    enum tiptrue_status status =
        hint.failed ? tt_fail_memory(error) : tt_place_missing(config, place, hint.text, error);
    tt_buffer_clear(&hint);
    return status;
}

/* Member @token of the object, which must be one. */
static enum tiptrue_status step_object(const struct tt_config_text *config,
                                       const struct tt_json *json, const char *place,
                                       const char *token, size_t *index,
                                       struct tiptrue_error *error)
{
    struct tt_list where = {0};
    size_t found = TT_NONE, count = 0;
    bool out_of_memory = false;
    for (size_t at = first_inside(json, *index); at != TT_NONE;
         at = next_inside(json, at, *index)) {
        if (is_key(json->where[at].key, token, &out_of_memory)) {
            tt_list_add_line(&where, config, (size_t)(json->where[at].key - config->text));
            found = at;
            count++;
        }
    }
    if (out_of_memory) {
        return tt_fail_memory(error);
    }
    if (count == 0) {
        return missing(config, json, place, *index, error);
    }
    if (count > 1) {
        return tt_place_doubled(config, place, count, &where, error);
    }
    *index = found;
    return TIPTRUE_OK;
}

/* Element @token of the array: digits without a needless zero (RFC 6901, section 4). */
static enum tiptrue_status step_array(const struct tt_config_text *config,
                                      const struct tt_json *json, const char *place,
                                      const char *token, size_t *index, struct tiptrue_error *error)
{
    size_t length = strlen(token), at = TT_NONE;
    if (length > 0 && strspn(token, "0123456789") == length && length < 10 &&
        (token[0] != '0' || length == 1)) {
        at = first_inside(json, *index);
        for (unsigned long left = strtoul(token, NULL, 10); left > 0 && at != TT_NONE; left--) {
            at = next_inside(json, at, *index);
        }
    }
    if (at == TT_NONE) {
        return missing(config, json, place, *index, error);
    }
    *index = at;
    return TIPTRUE_OK;
}

/* "~1" is '/', "~0" is '~'; false: another '~'. */
static bool unescape(char *token)
{
    char *to = token;
    for (const char *at = token; *at != '\0'; at++) {
        char c = *at;
        if (c == '~') {
            at++;
            if (*at != '0' && *at != '1') {
                return false;
            }
            c = *at == '1' ? '/' : '~';
        }
        *to++ = c;
    }
    *to = '\0';
    return true;
}

static enum tiptrue_status walk(const struct tt_config_text *config, const struct tt_json *json,
                                const char *place, char *pointer, size_t *index,
                                struct tiptrue_error *error)
{
    for (char *token = pointer; token != NULL;) {
        char *next = strchr(token, '/');
        if (next != NULL) {
            *next++ = '\0';
        }
        if (!unescape(token)) {
            return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                           "in a JSON Pointer ~0 stands for '~', ~1 for '/' (RFC 6901)",
                           "place '%s': a '~' without 0 or 1 behind it", place);
        }
        char kind = *json->where[*index].value;
        enum tiptrue_status status =
            kind == '{'   ? step_object(config, json, place, token, index, error)
            : kind == '[' ? step_array(config, json, place, token, index, error)
                          : missing(config, json, place, *index, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
        token = next;
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status resolve(const struct tt_config_text *config, const struct tt_json *json,
                                   const char *place, size_t *index, struct tiptrue_error *error)
{
    *index = 0;
    if (place[0] == '\0') {
        return TIPTRUE_OK;
    }
    if (place[0] != '/') {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                       "such as /tips/0/x; or ~REGEX for any text",
                       "place '%s': the configuration is JSON, where a place is a JSON Pointer "
                       "(RFC 6901) that begins with '/'",
                       place);
    }
    char *pointer = strdup(place + 1);
    if (pointer == NULL) {
        return tt_fail_memory(error);
    }
    enum tiptrue_status status = walk(config, json, place, pointer, index, error);
    free(pointer);
    return status;
}

enum tiptrue_status tt_json_places_find(const struct tt_config_text *config,
                                        struct tt_json_places **kept, const char *place,
                                        struct tt_span *span, struct tiptrue_error *error)
{
    size_t index;
    enum tiptrue_status status = *kept == NULL ? parse(config, kept, error) : TIPTRUE_OK;
    status = status == TIPTRUE_OK ? resolve(config, &(*kept)->json, place, &index, error) : status;
    if (status != TIPTRUE_OK) {
        return status;
    }
    const struct tt_json_where *where = &(*kept)->json.where[index];
    if (*where->value == '{' || *where->value == '[') {
        return tt_fail(error, TIPTRUE_E_CONFIG, config->name,
                       tt_config_text_line(config, (size_t)(where->value - config->text)), 0,
                       "let the pointer go on to the number",
                       "place '%s' is %s, where a number is meant", place,
                       *where->value == '{' ? "an object" : "an array");
    }
    *span = (struct tt_span){(size_t)(where->value - config->text),
                             (size_t)(where->end - where->value)};
    return TIPTRUE_OK;
}
