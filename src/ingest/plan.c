/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.plan/1: the moves of which a controller's log prints one report each. Names are resolved
 * when a log is joined. */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "ingest/fields.h"
#include "ingest/ingest.h"
#include "ingest/units.h"
#include "ingest/names.h"

/* What one plan is read with. */
struct reader {
    struct tiptrue_plan *plan;
    struct tt_names ids;
};

/* A member that is text or a number, as text; NULL if it is not there, or wrong (told). */
static const char *read_text_or_number(struct tt_fields *fields, const struct tt_member *member,
                                       bool shortest)
{
    const cJSON *item = member->item;
    if (item == NULL || cJSON_IsString(item)) {
        return tt_field_text(fields, member);
    }
    if (!cJSON_IsNumber(item)) {
        tt_field_tell_form(fields, member, item, "a string or a number");
        return NULL;
    }
    const struct tt_json_where *where = tt_json_where(&fields->json, item);
    struct tt_buffer buffer = {0};
    double value = 0.0;
    (void)tt_number_read(where->value, (size_t)(where->end - where->value), '.', &value, NULL);
    if (shortest) {
        tt_number_write(&buffer, value);
    } else {
        tt_buffer_add(&buffer, where->value, (size_t)(where->end - where->value));
    }
    const char *text = tt_buffer_keep(&buffer, fields->arena);
    fields->out_of_memory = fields->out_of_memory || text == NULL;
    return text;
}

static bool read_setup(struct tt_fields *fields, const struct tt_member *member)
{
    const char *name = read_text_or_number(fields, member, false);
    memcpy(member->into + member->key->at, &name, sizeof name);
    return true;
}

static bool read_id(struct tt_fields *fields, const struct tt_member *member)
{
    struct reader *reader = fields->document;
    const char *id = read_text_or_number(fields, member, true);

    memcpy(member->into + member->key->at, &id, sizeof id);
    if (id != NULL && tt_names_find(&reader->ids, id, strlen(id)) != TT_NONE) {
        tt_field_fault(fields, member->item, "each move has an id of its own",
                       "%s: id '%s' appears twice", member->what, tt_shown_text(id).text);
    } else if (id != NULL && !tt_names_add(&reader->ids, id)) {
        fields->out_of_memory = true;
    }
    return true;
}

static bool read_stage(struct tt_fields *fields, const struct tt_member *member)
{
    struct reader *reader = fields->document;
    struct tt_move *move = (void *)member->into;

    move->is_find = tt_field_word(fields, member, tt_stage_words, TT_STAGES) == 0;
    reader->plan->states_stage =
        reader->plan->states_stage || cJSON_HasObjectItem(member->object, "stage");
    return true;
}

static void read_approach(struct tt_fields *fields, const struct tt_member *member,
                          struct tt_move *move)
{
    const struct tt_key key = {.key = "approach"};
    const struct tt_member stated = tt_member_of(member->item, member->what, &key);
    const char *approach = tt_field_text(fields, &stated);

    if (approach != NULL &&
        !tt_approach_read(approach, strlen(approach), &move->approach_x, &move->approach_y)) {
        tt_field_fault(fields, stated.item, TT_APPROACH_HINT, "%s: 'approach' cannot be '%s'",
                       member->what, tt_shown_text(approach).text);
    }
}

/* What a move of its kind must have, and of "px" and "py" both or neither. */
static bool check_move(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_move *move = (void *)member->into;
    const cJSON *item = member->item;
    bool touch = move->kind == TT_TOUCH, px = cJSON_HasObjectItem(item, "px"),
         py = cJSON_HasObjectItem(item, "py");
    const struct {
        bool needed;
        const char *key;
    } NEEDS[] = {
        {touch || move->kind == TT_WARMUP, "tip"}, {touch, "rotation"}, {py, "px"}, {px, "py"}};
    struct tt_place place = tt_json_place(&fields->json, item);

    for (size_t i = 0; i < sizeof NEEDS / sizeof NEEDS[0]; i++) {
        if (NEEDS[i].needed) {
            const struct tt_key key = {.key = NEEDS[i].key, .need = TT_REQUIRED};
            const struct tt_member needed = tt_member_of(item, member->what, &key);
            (void)tt_field(fields, &needed);
        }
    }
    read_approach(fields, member, move);
    move->line = place.line;
    move->column = place.column;
    return true;
}

/* "log_units": what the controller counts in, where that is not the plan's unit. */
static bool read_log_units(struct tt_fields *fields, const struct tt_member *member)
{
    struct reader *reader = fields->document;
    const char *word = tt_field_text(fields, member);

    if (word != NULL && !tt_units_read(word, strlen(word), &reader->plan->log_mm_per_unit)) {
        tt_field_fault(fields, member->item, TT_UNITS_HINT, "unknown units '%s'",
                       tt_shown_text(word).text);
    }
    return true;
}

/* One that is not named is none. */
static bool is_named(struct tt_fields *fields, const struct tt_member *member)
{
    (void)fields;
    return ((const struct tt_plan_setup *)(void *)member->into)->name != NULL;
}

static tt_member_reader *const hooks[TT_PLAN_HOOKS] = {
    [TT_PLAN_ID] = read_id,         [TT_PLAN_SETUP] = read_setup,
    [TT_PLAN_STAGE] = read_stage,   [TT_PLAN_LOG_UNITS] = read_log_units,
    [TT_PLAN_PLACEMENT] = is_named, [TT_PLAN_MOVE] = check_move,
};

/* What `plan` writes besides moves and setups is for people. */
static void read_plan(void *object, struct tt_fields *fields)
{
    struct tiptrue_plan *plan = object;
    struct reader reader = {plan, {.arena = &plan->arena}};
    const cJSON *root = fields->json.root, *moves = cJSON_GetObjectItemCaseSensitive(root, "moves");

    fields->hooks = hooks;
    fields->document = &reader;
    plan->mm_per_unit = fields->mm_per_unit;
    tt_keys_read(fields, root, tt_plan_keys.name, &tt_plan_keys, plan);
    if (cJSON_IsArray(moves) && moves->child == NULL) {
        tt_field_fault(fields, moves, NULL, "the plan has no moves");
    }
}

static const struct tt_document PLAN = {.schema = "tiptrue.plan/1",
                                        .read = read_plan,
                                        .size = sizeof(struct tiptrue_plan),
                                        .arena = offsetof(struct tiptrue_plan, arena),
                                        .file = TT_FLAG(struct tiptrue_plan, file),
                                        .source = TT_FLAG(struct tiptrue_plan, source)};

enum tiptrue_status tt_plan_read_bytes(const char *name, const char *text, size_t length,
                                       const struct tiptrue_sink *sink, struct tiptrue_plan **plan,
                                       struct tiptrue_error *error)
{
    const struct tt_text given = {text, length};
    void *made;
    enum tiptrue_status status =
        tt_document_read(&PLAN, name, text != NULL ? &given : NULL, sink, &made, error);

    *plan = status == TIPTRUE_OK ? made : *plan;
    return status;
}

enum tiptrue_status tiptrue_plan_read(const char *path, const struct tiptrue_sink *sink,
                                      struct tiptrue_plan **plan, struct tiptrue_error *error)
{
    return tt_plan_read_bytes(path, NULL, 0, sink, plan, error);
}
