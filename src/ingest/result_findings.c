/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings of a result: codes, names that are kept as indices, values. */
#include "config.h"

#include "base/named.h"
#include "ingest/result.h"

#include <limits.h>
#include <math.h>
#include <string.h>

/* A code that is not known here (warned): a newer version may know more. */
#define UNKNOWN ((enum tt_finding_code)TT_FINDING_CODES)

bool tt_result_finding_code(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_finding *finding = (void *)member->into;
    const char *name = tt_field_text(fields, member);

    finding->code = UNKNOWN;
    for (int i = 0; name != NULL && i < TT_FINDING_CODES; i++) {
        if (strcmp(name, tt_finding_name((enum tt_finding_code)i)) == 0) {
            finding->code = (enum tt_finding_code)i;
        }
    }
    if (name != NULL && finding->code == UNKNOWN) {
        tt_warn(fields->diagnose, tt_json_place(&fields->json, member->object),
                "was the result written by a newer version?", "%s: unknown code '%s' is left out",
                member->what, tt_shown_text(name).text);
    }
    return true;
}

bool tt_result_finding(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_finding *finding = (const void *)member->into;

    (void)fields;
    return finding->code != UNKNOWN;
}

/* Room for a name more for each finding, behind those of the tips and edges: an edge may be
 * untouched. */
bool tt_result_names(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_solution *s = fields->document;
    size_t n = (size_t)cJSON_GetArraySize(member->item); /* 0: there are none */

    s->tip_names = TT_ARENA_NEW(fields->arena, s->n_tips + n, const char *);
    s->edge_names = TT_ARENA_NEW(fields->arena, s->n_edges + n, const char *);
    s->setup_names = TT_ARENA_NEW(fields->arena, n, const char *);
    if (s->tip_names == NULL || s->edge_names == NULL || s->setup_names == NULL) {
        fields->out_of_memory = true;
        return true;
    }
    for (s->n_tip_names = 0; s->n_tip_names < s->n_tips; s->n_tip_names++) {
        s->tip_names[s->n_tip_names] = s->tips[s->n_tip_names].name;
    }
    for (s->n_edge_names = 0; s->n_edge_names < s->n_edges; s->n_edge_names++) {
        s->edge_names[s->n_edge_names] = s->edges[s->n_edge_names].name;
    }
    return true;
}

/* The index of the name among @names, where it is entered if it is new; TT_NONE: no name. */
static bool read_name(struct tt_fields *fields, const struct tt_member *member, const char **names,
                      size_t *n)
{
    const char *name = tt_field_text(fields, member);
    size_t i = name != NULL ? TT_NAME_AT((const char *const *)names, *n, name) : TT_NONE;

    if (i == *n) {
        names[(*n)++] = name;
    }
    memcpy(member->into + member->key->at, &i, sizeof i);
    return true;
}

bool tt_result_edge_name(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_solution *s = fields->document;

    return read_name(fields, member, s->edge_names, &s->n_edge_names);
}

bool tt_result_tip_name(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_solution *s = fields->document;

    return read_name(fields, member, s->tip_names, &s->n_tip_names);
}

bool tt_result_setup_name(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_solution *s = fields->document;

    return read_name(fields, member, s->setup_names, &s->n_setup_names);
}

bool tt_result_lines(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_finding *finding = (void *)member->into;
    const cJSON *rows = tt_field_array(fields, member);
    size_t n = rows != NULL ? (size_t)cJSON_GetArraySize(rows) : 0,
           *lines = TT_ARENA_NEW(fields->arena, n, size_t);

    fields->out_of_memory = fields->out_of_memory || lines == NULL;
    finding->lines = lines;
    for (const cJSON *row = n > 0 ? rows->child : NULL; row != NULL && lines != NULL;
         row = row->next) {
        if (!cJSON_IsNumber(row) || row->valuedouble < 0 || row->valuedouble > INT_MAX) {
            tt_field_tell_form(fields, member, row, "a list of line numbers");
            break;
        }
        lines[finding->n_lines++] = (size_t)row->valuedouble;
    }
    return true;
}

/* The key of @item, one of "values", without its unit's suffix, copied, or NULL (told, or out of
 * memory). */
static const char *read_key(struct tt_fields *fields, const struct tt_member *member,
                            const cJSON *item, enum tt_unit *unit)
{
    size_t length = strlen(item->string), cut = 0;

    *unit = TT_UNIT_NONE;
    for (int i = 0; i < TT_UNITS && !cJSON_IsString(item); i++) {
        const char *suffix = tt_unit_suffix((enum tt_unit)i);
        size_t n = strlen(suffix);
        if (n > cut && n < length && strcmp(item->string + length - n, suffix) == 0) {
            cut = n;
            *unit = (enum tt_unit)i;
        }
    }
    if (length == 0 || length > TT_LONGEST_KEY) {
        tt_field_tell_form(fields, member, item, "an object with keys of 1 to 63 bytes");
        return NULL;
    }
    const char *key = tt_arena_copy_text(fields->arena, item->string, length - cut);
    fields->out_of_memory = fields->out_of_memory || key == NULL;
    return key;
}

/* "values": numbers, texts, null for what is not determined. Results of earlier versions have none.
 */
bool tt_result_values(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_finding *made = (void *)member->into;
    const cJSON *object = tt_field_object(fields, member);
    size_t n = object != NULL ? (size_t)cJSON_GetArraySize(object) : 0;
    struct tt_value *values = TT_ARENA_NEW(fields->arena, n, struct tt_value);

    fields->out_of_memory = fields->out_of_memory || values == NULL;
    for (const cJSON *item = n > 0 ? object->child : NULL; item != NULL && values != NULL;
         item = item->next) {
        struct tt_value *value = &values[made->n_values];
        if (!cJSON_IsNumber(item) && !cJSON_IsString(item) && !cJSON_IsNull(item)) {
            tt_field_tell_form(fields, member, item, "an object of numbers and texts");
            return true;
        }
        if ((value->key = read_key(fields, member, item, &value->unit)) == NULL) {
            return true;
        }
        if (cJSON_IsString(item)) {
            value->text = tt_arena_copy(fields->arena, item->valuestring);
            fields->out_of_memory = fields->out_of_memory || value->text == NULL;
        } else {
            double number = cJSON_IsNumber(item) ? item->valuedouble : NAN;
            value->number = value->unit == TT_UNIT_RAD ? tt_rad_from_deg(number) : number;
        }
        made->n_values++;
    }
    made->values = values;
    return true;
}

/* Why a tip has its verdict, of a result that was read: it has no more than the texts. */

/* What the numbers say of a tip that need not be measured again. */
static enum tt_reason_code reason_by_numbers(const struct tt_tip_result *tip)
{
    bool keep = tip->offset_verdict == TIPTRUE_KEEP;

    if (!tip->has_present) {
        return TT_REASON_NOTHING_PRESENT;
    }
    if (tip->has_conformity) {
        return keep ? TT_REASON_WITHIN : TT_REASON_NOT_WITHIN;
    }
    return keep ? TT_REASON_UNCHANGED : TT_REASON_CHANGED;
}

static enum tt_reason_code reason_by_height(const struct tt_height_result *height)
{
    bool keep = height->verdict == TIPTRUE_KEEP;

    if (!height->has_present) {
        return TT_REASON_NO_HEIGHT_PRESENT;
    }
    if (height->has_conformity) {
        return keep ? TT_REASON_HEIGHT_WITHIN : TT_REASON_HEIGHT_NOT_WITHIN;
    }
    return keep ? TT_REASON_HEIGHT_UNCHANGED : TT_REASON_HEIGHT_CHANGED;
}

/* The next error finding about @tip or about no tip, from the @from-th on, of heights or not; NULL:
 * there is none. */
static const struct tt_finding *next_error(const struct tiptrue_solution *s,
                                           const struct tt_tip_result *tip, bool of_heights,
                                           size_t *from)
{
    while (*from < s->n_findings) {
        const struct tt_finding *finding = &s->findings[(*from)++];
        if (finding->severity == TIPTRUE_ERROR && tt_finding_is_of_heights(finding) == of_heights &&
            (finding->tip == TT_NONE || strcmp(s->tip_names[finding->tip], tip->name) == 0)) {
            return finding;
        }
    }
    return NULL;
}

/* What the @at-th reason says that is of no finding; @last: the last one, and a height counts. */
static enum tt_reason_code code_at(const struct tt_tip_result *tip, size_t at, bool last)
{
    bool repeat = tip->offset_verdict == TIPTRUE_REPEAT;

    if (at == 0 && !repeat) {
        return reason_by_numbers(tip);
    }
    return last ? reason_by_height(tip->height) : TT_REASON_OUT_OF_REACH;
}

static void sort_reasons(const struct tiptrue_solution *solution, struct tt_tip_result *tip)
{
    bool counts = tip->height != NULL && tip->height->has_verdict;
    bool repeat = tip->offset_verdict == TIPTRUE_REPEAT,
         repeat_height = counts && tip->height->verdict == TIPTRUE_REPEAT;
    size_t at = 0, at_height = 0;

    for (size_t i = 0; i < tip->n_reasons; i++) {
        struct tt_reason *reason = &tip->reasons[i];
        reason->finding = repeat ? next_error(solution, tip, false, &at) : NULL;
        if (reason->finding == NULL && repeat_height && (repeat || i > 0)) {
            reason->finding = next_error(solution, tip, true, &at_height);
        }
        bool last = counts && !repeat_height && i + 1 == tip->n_reasons;
        reason->code = reason->finding != NULL ? TT_REASON_FINDING : code_at(tip, i, last);
    }
}

void tt_result_sort_reasons(struct tiptrue_solution *solution)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        sort_reasons(solution, &solution->tips[i]);
    }
}
