/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.plan/1: the moves of which a controller's log prints one report each. Names are resolved
 * when a log is joined. */
#include "config.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "ingest/document.h"
#include "ingest/ingest.h"
#include "ingest/kinds.h"
#include "ingest/units.h"
#include "ingest/names.h"
#include "model/machine.h"

struct reader {
    struct tt_fields *fields;
    struct tiptrue_plan *plan;
    struct tt_names ids;
};

/* A member that is text or a number, as text; NULL if it is not there, or wrong (told). */
static const char *read_text_or_number(struct reader *reader, const cJSON *element,
                                       const char *what, const char *key, bool shortest)
{
    struct tt_fields *fields = reader->fields;
    const cJSON *item = tt_field(fields, element, what, key, TT_OPTIONAL);
    if (item == NULL) {
        return NULL;
    }
    if (cJSON_IsString(item)) {
        return tt_field_text(fields, element, what, key, TT_OPTIONAL);
    }
    if (!cJSON_IsNumber(item)) {
        tt_field_tell_form(fields, item, what, key, "a string or a number");
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
    const char *text =
        buffer.failed ? NULL : tt_arena_copy_text(fields->arena, buffer.text, buffer.length);
    fields->out_of_memory = fields->out_of_memory || text == NULL;
    tt_buffer_clear(&buffer);
    return text;
}

static void check_id(struct reader *reader, const cJSON *element, const char *what, const char *id)
{
    struct tt_fields *fields = reader->fields;
    if (id == NULL) {
        return;
    }
    if (tt_names_find(&reader->ids, id, strlen(id)) != TT_NONE) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(element, "id")),
                 "each move has an id of its own", "%s: id '%s' appears twice", what,
                 tt_shown(id, strlen(id)).text);
    } else if (!tt_names_add(&reader->ids, id)) {
        fields->out_of_memory = true;
    }
}

static void read_approach(struct reader *reader, const cJSON *element, const char *what,
                          struct tt_move *move)
{
    struct tt_fields *fields = reader->fields;
    const char *approach = tt_field_text(fields, element, what, "approach", TT_OPTIONAL);
    if (approach != NULL &&
        !tt_approach_read(approach, strlen(approach), &move->approach_x, &move->approach_y)) {
        tt_fault(
            fields->diagnose,
            tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(element, "approach")),
            TT_APPROACH_HINT, "%s: 'approach' cannot be '%s'", what,
            tt_shown(approach, strlen(approach)).text);
    }
}

static void read_feed(struct reader *reader, const cJSON *element, const char *what,
                      struct tt_move *move)
{
    double feed_mm_per_min = 0.0;
    if (tt_field_length(reader->fields, element, what, "feed", TT_OPTIONAL, &tt_feed_mm_per_min,
                        &feed_mm_per_min)) {
        move->feed_mm_s = feed_mm_per_min / 60.0;
    }
}

/* Where in the picture a view wants its mark: "px" and "py", both or neither. */
static void read_pixel(struct reader *reader, const cJSON *element, const char *what,
                       struct tt_move *move)
{
    static const struct tt_bounds pixels = {0.0, TT_MOST_PIXELS, false,
                                            "pixels from the picture's upper left corner"};
    struct tt_fields *fields = reader->fields;
    bool any = cJSON_HasObjectItem(element, "px") || cJSON_HasObjectItem(element, "py");
    enum tt_need need = any ? TT_REQUIRED : TT_OPTIONAL;
    bool px = tt_field_number(fields, element, what, "px", need, &pixels, &move->px);
    bool py = tt_field_number(fields, element, what, "py", need, &pixels, &move->py);

    move->has_pixel = px && py;
}

static void read_move(struct reader *reader, const cJSON *element, size_t number)
{
    static const char *const known[] = {"id",    "kind", "target", "tip",  "rotation",
                                        "setup", "at",   "stage",  "feed", "approach",
                                        "px",    "py",   "note"};
    struct tt_fields *fields = reader->fields;
    struct tt_move move = {0};
    double rotation_deg = 0.0, at_mm[2] = {0.0, 0.0};
    char what[32];
    snprintf(what, sizeof(what), "move %zu", number);
    struct tt_place place = tt_json_place(&fields->json, element);
    if (!cJSON_IsObject(element)) {
        tt_fault(fields->diagnose, place, NULL, "%s is not an object {...}", what);
        return;
    }
    tt_field_unknown(fields, element, what, known, sizeof(known) / sizeof(known[0]));
    move.id = read_text_or_number(reader, element, what, "id", true);
    check_id(reader, element, what, move.id);
    move.kind = (enum tt_kind)tt_field_word(fields, element, what, "kind", TT_REQUIRED,
                                            tt_kind_words, TT_KINDS, TT_SIGHT);
    move.target = tt_field_text(fields, element, what, "target", TT_REQUIRED);
    move.tip =
        tt_field_text(fields, element, what, "tip",
                      move.kind == TT_TOUCH || move.kind == TT_WARMUP ? TT_REQUIRED : TT_OPTIONAL);
    move.setup = read_text_or_number(reader, element, what, "setup", false);
    move.has_rotation = tt_field_number(fields, element, what, "rotation",
                                        move.kind == TT_TOUCH ? TT_REQUIRED : TT_OPTIONAL,
                                        &tt_rotation_deg, &rotation_deg);
    move.rotation_rad = tt_rad_from_deg(rotation_deg);
    read_feed(reader, element, what, &move);
    read_approach(reader, element, what, &move);
    move.is_find = tt_field_word(fields, element, what, "stage", TT_OPTIONAL, tt_stage_words,
                                 TT_STAGES, 1) == 0;
    reader->plan->states_stage =
        reader->plan->states_stage || cJSON_HasObjectItem(element, "stage");
    move.has_at = tt_field_xy(fields, element, what, "at", TT_OPTIONAL, at_mm);
    move.at = (struct tt_plate_xy){at_mm[0], at_mm[1]};
    read_pixel(reader, element, what, &move);
    move.line = place.line;
    move.column = place.column;
    reader->plan->moves[reader->plan->n_moves++] = move;
}

/* "setups": [{"setup": "2", "turned_deg": 180}]. */
static void read_setups(struct reader *reader, const cJSON *root)
{
    static const char *const known[] = {"setup", "turned_deg", "note"};
    static const struct tt_bounds turned = {-360.0, 360.0, false,
                                            "degrees, counter-clockwise seen from above"};
    struct tt_fields *fields = reader->fields;
    struct tiptrue_plan *plan = reader->plan;
    const cJSON *setups = tt_field_array(fields, root, "plan", "setups", TT_OPTIONAL);
    plan->setups =
        TT_ARENA_NEW(&plan->arena, setups != NULL ? (size_t)cJSON_GetArraySize(setups) : 0,
                     struct tt_plan_setup);
    fields->out_of_memory = fields->out_of_memory || plan->setups == NULL;
    for (const cJSON *element = setups != NULL ? setups->child : NULL;
         element != NULL && plan->setups != NULL; element = element->next) {
        double turned_deg = 0.0;
        if (!cJSON_IsObject(element)) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, element), NULL,
                     "a setup of the plan is not an object {...}");
            continue;
        }
        tt_field_unknown(fields, element, "setup", known, sizeof(known) / sizeof(known[0]));
        const char *name = read_text_or_number(reader, element, "setup", "setup", false);
        if (tt_field_number(fields, element, "setup", "turned_deg", TT_REQUIRED, &turned,
                            &turned_deg) &&
            name != NULL) {
            plan->setups[plan->n_setups++] =
                (struct tt_plan_setup){name, tt_rad_from_deg(turned_deg)};
        }
    }
}

/* "log_units": what the controller counts in, where that is not the plan's unit. */
static void read_log_units(struct tt_fields *fields, const cJSON *root, struct tiptrue_plan *plan)
{
    const char *word = tt_field_text(fields, root, "plan", "log_units", TT_OPTIONAL);

    if (word != NULL && !tt_units_read(word, strlen(word), &plan->log_mm_per_unit)) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(root, "log_units")),
                 TT_UNITS_HINT, "unknown units '%s'", tt_shown(word, strlen(word)).text);
    }
}

/* What `plan` writes besides moves and setups is for people. */
static void read_plan(void *object, struct tt_fields *fields)
{
    static const char *const known[] = {
        "schema",     "log_units", "units",      "moves",    "name",      "machine",
        "plate",      "note",      "setups",     "touches",  "sightings", "target",
        "target_met", "tips",      "limited_by", "left_out", "notes",     "heights",   "camera"};
    struct tiptrue_plan *plan = object;
    struct reader reader = {fields, plan, {.arena = &plan->arena}};
    const cJSON *root = fields->json.root;
    tt_field_unknown(fields, root, "plan", known, sizeof(known) / sizeof(known[0]));
    plan->mm_per_unit = fields->mm_per_unit;
    read_log_units(fields, root, plan);
    read_setups(&reader, root);
    const cJSON *moves = tt_field_array(fields, root, "plan", "moves", TT_REQUIRED);
    if (moves == NULL) {
        return;
    }
    if (moves->child == NULL) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, moves), NULL,
                 "the plan has no moves");
    }
    plan->moves = TT_ARENA_NEW(&plan->arena, (size_t)cJSON_GetArraySize(moves), struct tt_move);
    if (plan->moves == NULL) {
        fields->out_of_memory = true;
        return;
    }
    size_t number = 0;
    for (const cJSON *element = moves->child; element != NULL; element = element->next) {
        if (fields->out_of_memory || tt_diagnose_is_full(fields->diagnose)) {
            return;
        }
        read_move(&reader, element, ++number);
    }
}

static enum tiptrue_status finish(enum tiptrue_status status, struct tiptrue_plan *made,
                                  struct tiptrue_plan **plan)
{
    if (status == TIPTRUE_OK) {
        *plan = made;
    } else {
        tiptrue_plan_free(made);
    }
    return status;
}

enum tiptrue_status tt_plan_read_bytes(const char *name, const char *text, size_t length,
                                       const struct tiptrue_sink *sink, struct tiptrue_plan **plan,
                                       struct tiptrue_error *error)
{
    struct tiptrue_plan *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.plan/1", read_plan,   made,
                                         &made->arena,     &made->file, &made->source};
    return finish(tt_document_read_bytes(&document, name, text, length, sink, error), made, plan);
}

enum tiptrue_status tt_plan_read(const char *path, const struct tiptrue_sink *sink,
                                 struct tiptrue_plan **plan, struct tiptrue_error *error)
{
    struct tiptrue_plan *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.plan/1", read_plan,   made,
                                         &made->arena,     &made->file, &made->source};
    return finish(tt_document_read(&document, path, sink, error), made, plan);
}
