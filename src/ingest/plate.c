/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.plate/1: marks, groups and edges of a reference plate, each checked by itself and against
 * the others. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/document.h"
#include "ingest/fields.h"
#include "ingest/ingest.h"
#include "ingest/names.h"
#include "model/machine.h"

/* An edge shorter than this has no direction, mm: what remains of two equal points after conversion
 * from inches is far below. */
#define SHORTEST_EDGE_MM 1e-6

static const struct tt_bounds expansion_ppm_per_K = {
    -1000.0, 1000.0, false, "circuit boards have 10 to 20, metals up to 30"};
static const struct tt_bounds temperature_C = {-100.0, 300.0, false,
                                               "degrees Celsius, -100 to 300"};

struct reader {
    struct tt_fields *fields;
    struct tiptrue_plate *plate;
    struct tt_names marks, groups, edges, pads;
};

/* "edge 'east'" for messages, for use within one expression. */
struct what {
    char text[80];
};
static struct what what_of(const char *kind, const char *name)
{
    struct what what;
    snprintf(what.text, sizeof(what.text), "%s '%s'", kind, tt_shown(name, strlen(name)).text);
    return what;
}

/* "use": false puts a damaged feature out of use. */
static bool read_unused(struct reader *reader, const cJSON *element, const char *what)
{
    const cJSON *item = tt_field(reader->fields, element, what, "use", TT_OPTIONAL);
    if (item != NULL && !cJSON_IsBool(item)) {
        tt_field_tell_form(reader->fields, item, what, "use", "true or false");
    }
    return cJSON_IsFalse(item);
}

/* The name of the element, if it has one that no other of its kind has. */
static const char *read_name(struct reader *reader, const cJSON *element, const char *kind,
                             struct tt_names *names)
{
    const char *name = tt_field_name(reader->fields, element, kind);
    if (name == NULL) {
        return NULL;
    }
    if (tt_names_find(names, name, strlen(name)) != TT_NONE) {
        const cJSON *item = cJSON_GetObjectItemCaseSensitive(element, "name");
        tt_fault(reader->fields->diagnose, tt_json_place(&reader->fields->json, item),
                 "names are unique among their kind", "there is a second %s",
                 what_of(kind, name).text);
        return NULL;
    }
    if (!tt_names_add(names, name)) {
        reader->fields->out_of_memory = true;
        return NULL;
    }
    return name;
}

/* Where the group's place is from, if boards told it. */
static void read_learned(struct reader *reader, const cJSON *element, struct tt_group *group)
{
    static const char *const known[] = {"parts", "boards", "run", "placed", "stated_u"};
    static const struct tt_bounds count = {1.0, 1e9, false, "how many parts"};
    const char *what = "learned";
    double parts = 0.0;
    const cJSON *learned =
        tt_field_object(reader->fields, element, "group", "learned", TT_OPTIONAL);
    if (learned != NULL) {
        tt_field_unknown(reader->fields, learned, what, known, sizeof(known) / sizeof(known[0]));
        group->learned_boards = tt_field_text(reader->fields, learned, what, "boards", TT_REQUIRED);
        (void)tt_field_number(reader->fields, learned, what, "parts", TT_REQUIRED, &count, &parts);
        group->learned_parts = (size_t)parts;
    }
}

static void read_group(struct reader *reader, const cJSON *element)
{
    static const char *const known[] = {"name", "u", "tolerance", "learned", "note"};
    struct tt_group group = {0};
    group.name = read_name(reader, element, "group", &reader->groups);
    if (group.name == NULL) {
        return;
    }
    struct what what = what_of("group", group.name);
    tt_field_unknown(reader->fields, element, what.text, known, sizeof(known) / sizeof(known[0]));
    (void)tt_field_u(reader->fields, element, what.text, TT_REQUIRED, &tt_length_mm, &group.u_mm);
    tt_field_warn_large(reader->fields, element, what.text, "u", group.u_mm, TT_LARGEST_STATED_MM);
    read_learned(reader, element, &group);
    reader->plate->groups[reader->plate->n_groups++] = group;
}

/* The group that a mark or an edge belongs to. One whose u is 0 does not move: its members then
 * belong to none. */
static size_t read_membership(struct reader *reader, const cJSON *element, const char *what)
{
    const char *name = tt_field_text(reader->fields, element, what, "group", TT_OPTIONAL);
    if (name == NULL) {
        return TT_NONE;
    }
    size_t group = tt_names_find(&reader->groups, name, strlen(name));
    if (group == TT_NONE) {
        char hint[TT_HINT_SIZE];
        const cJSON *item = cJSON_GetObjectItemCaseSensitive(element, "group");
        tt_names_hint(reader->groups.texts, reader->groups.count, "groups", name, strlen(name),
                      hint);
        tt_fault(reader->fields->diagnose, tt_json_place(&reader->fields->json, item), hint,
                 "%s: unknown group '%s'", what, tt_shown(name, strlen(name)).text);
        return TT_NONE;
    }
    return group < reader->plate->n_groups && reader->plate->groups[group].u_mm > 0.0 ? group
                                                                                      : TT_NONE;
}

static void read_mark(struct reader *reader, const cJSON *element)
{
    static const char *const known[] = {"name", "at", "u", "tolerance", "group", "use", "note"};
    struct tt_mark mark = {0};
    double at_mm[2] = {0.0, 0.0};
    mark.name = read_name(reader, element, "mark", &reader->marks);
    if (mark.name == NULL) {
        return;
    }
    struct what what = what_of("mark", mark.name);
    tt_field_unknown(reader->fields, element, what.text, known, sizeof(known) / sizeof(known[0]));
    (void)tt_field_xy(reader->fields, element, what.text, "at", TT_REQUIRED, at_mm);
    (void)tt_field_u(reader->fields, element, what.text, TT_OPTIONAL, &tt_length_mm, &mark.u_mm);
    tt_field_warn_large(reader->fields, element, what.text, "u", mark.u_mm, TT_LARGEST_STATED_MM);
    mark.group = read_membership(reader, element, what.text);
    mark.unused = read_unused(reader, element, what.text);
    mark.at = (struct tt_plate_xy){at_mm[0], at_mm[1]};
    reader->plate->marks[reader->plate->n_marks++] = mark;
}

/* The unit normal that points to the free side, and the edge's distance along it from the origin.
 */
static void set_normal(struct tt_edge *edge, double length_mm)
{
    double along_x = (edge->to.x_mm - edge->from.x_mm) / length_mm;
    double along_y = (edge->to.y_mm - edge->from.y_mm) / length_mm;
    double to_free = edge->free_side == TT_LEFT ? 1.0 : -1.0;
    edge->n_x = 0.0 - to_free * along_y; /* not -0 for an upright edge */
    edge->n_y = 0.0 + to_free * along_x;
    edge->d_mm = edge->n_x * (edge->from.x_mm + edge->to.x_mm) / 2.0 +
                 edge->n_y * (edge->from.y_mm + edge->to.y_mm) / 2.0;
}

static void read_edge(struct reader *reader, const cJSON *element)
{
    static const char *const known[] = {"name",      "from",  "to",  "free_side", "u",
                                        "tolerance", "group", "use", "note"};
    static const char *const sides[] = {[TT_LEFT] = "left", [TT_RIGHT] = "right"};
    struct tt_fields *fields = reader->fields;
    struct tt_edge edge = {0};
    double from_mm[2], to_mm[2];
    edge.name = read_name(reader, element, "edge", &reader->edges);
    if (edge.name == NULL) {
        return;
    }
    struct what what = what_of("edge", edge.name);
    tt_field_unknown(fields, element, what.text, known, sizeof(known) / sizeof(known[0]));
    bool from = tt_field_xy(fields, element, what.text, "from", TT_REQUIRED, from_mm);
    bool to = tt_field_xy(fields, element, what.text, "to", TT_REQUIRED, to_mm);
    edge.free_side = (enum tt_side)tt_field_word(fields, element, what.text, "free_side",
                                                 TT_REQUIRED, sides, 2, TT_LEFT);
    (void)tt_field_u(fields, element, what.text, TT_OPTIONAL, &tt_length_mm, &edge.u_mm);
    tt_field_warn_large(fields, element, what.text, "u", edge.u_mm, TT_LARGEST_STATED_MM);
    edge.group = read_membership(reader, element, what.text);
    edge.unused = read_unused(reader, element, what.text);
    if (from && to) {
        edge.from = (struct tt_plate_xy){from_mm[0], from_mm[1]};
        edge.to = (struct tt_plate_xy){to_mm[0], to_mm[1]};
        double length_mm = hypot(to_mm[0] - from_mm[0], to_mm[1] - from_mm[1]);
        if (length_mm < SHORTEST_EDGE_MM) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, element),
                     "'from' and 'to' are two points of the edge, apart", "%s has no length",
                     what.text);
            return;
        }
        set_normal(&edge, length_mm);
    }
    reader->plate->edges[reader->plate->n_edges++] = edge;
}

static void read_pad(struct reader *reader, const cJSON *element)
{
    static const char *const known[] = {"name", "at", "height", "u", "tolerance", "use", "note"};
    struct tt_pad pad = {0};
    double at_mm[2] = {0, 0};
    pad.name = read_name(reader, element, "pad", &reader->pads);
    if (pad.name != NULL) {
        struct what what = what_of("pad", pad.name);
        tt_field_unknown(reader->fields, element, what.text, known,
                         sizeof(known) / sizeof(known[0]));
        pad.has_at = tt_field_xy(reader->fields, element, what.text, "at", TT_OPTIONAL, at_mm);
        pad.at = (struct tt_plate_xy){at_mm[0], at_mm[1]};
        (void)tt_field_length(reader->fields, element, what.text, "height", TT_OPTIONAL,
                              &tt_any_position_mm, &pad.height_mm);
        (void)tt_field_u(reader->fields, element, what.text, TT_OPTIONAL, &tt_length_mm, &pad.u_mm);
        tt_field_warn_large(reader->fields, element, what.text, "u", pad.u_mm,
                            TT_LARGEST_STATED_MM);
        pad.unused = read_unused(reader, element, what.text);
        reader->plate->pads[reader->plate->n_pads++] = pad;
    }
}

/* Each element of the array @key by @read; the room for them was got from the arena. */
static void read_elements(struct reader *reader, const cJSON *array,
                          void (*read)(struct reader *, const cJSON *))
{
    for (const cJSON *element = array != NULL ? array->child : NULL; element != NULL;
         element = element->next) {
        if (reader->fields->out_of_memory || tt_diagnose_is_full(reader->fields->diagnose)) {
            return;
        }
        read(reader, element);
    }
}

static void *room_for(struct reader *reader, const cJSON *array, size_t size)
{
    void *room = tt_arena_get(&reader->plate->arena,
                              array != NULL ? (size_t)cJSON_GetArraySize(array) : 0, size);
    reader->fields->out_of_memory = reader->fields->out_of_memory || room == NULL;
    return room;
}

/* The reference mark is the origin by definition: it is there, at (0, 0), and exact. */
static void read_reference(struct reader *reader, const cJSON *root)
{
    struct tt_fields *fields = reader->fields;
    struct tiptrue_plate *plate = reader->plate;
    const char *name = tt_field_text(fields, root, "plate", "reference", TT_REQUIRED);
    if (name == NULL) {
        return;
    }
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(root, "reference");
    plate->reference = TT_NONE;
    for (size_t i = 0; i < plate->n_marks && plate->reference == TT_NONE; i++) {
        plate->reference = strcmp(plate->marks[i].name, name) == 0 ? i : TT_NONE;
    }
    if (plate->reference == TT_NONE) {
        char hint[TT_HINT_SIZE];
        tt_names_hint(reader->marks.texts, reader->marks.count, "marks", name, strlen(name), hint);
        tt_fault(fields->diagnose, tt_json_place(&fields->json, item), hint,
                 "unknown reference mark '%s'", tt_shown(name, strlen(name)).text);
        return;
    }
    struct tt_mark *mark = &plate->marks[plate->reference];
    if (mark->at.x_mm != 0.0 || mark->at.y_mm != 0.0) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, item),
                 "give all positions from the reference mark, which is at [0, 0]",
                 "reference mark '%s' is not at [0, 0]", tt_shown(name, strlen(name)).text);
    }
    if (mark->u_mm > 0.0 || mark->group != TT_NONE) {
        tt_warn(
            fields->diagnose, tt_json_place(&fields->json, item),
            "the other features' uncertainties are against the reference mark",
            "an uncertainty or a group of the reference mark '%s' is not used: it is the origin",
            tt_shown(name, strlen(name)).text);
        mark->u_mm = 0.0;
        mark->group = TT_NONE;
    }
}

static void read_features(struct reader *reader, const cJSON *root)
{
    struct tt_fields *fields = reader->fields;
    struct tiptrue_plate *plate = reader->plate;
    const cJSON *groups = tt_field_array(fields, root, "plate", "groups", TT_OPTIONAL);
    const cJSON *marks = tt_field_array(fields, root, "plate", "marks", TT_REQUIRED);
    const cJSON *edges = tt_field_array(fields, root, "plate", "edges", TT_REQUIRED);
    const cJSON *pads = tt_field_array(fields, root, "plate", "pads", TT_OPTIONAL);
    plate->groups = room_for(reader, groups, sizeof(*plate->groups));
    plate->marks = room_for(reader, marks, sizeof(*plate->marks));
    plate->edges = room_for(reader, edges, sizeof(*plate->edges));
    plate->pads = room_for(reader, pads, sizeof(*plate->pads));
    if (fields->out_of_memory) {
        return;
    }
    read_elements(reader, groups, read_group);
    read_elements(reader, marks, read_mark);
    read_elements(reader, edges, read_edge);
    read_elements(reader, pads, read_pad);
}

static void read_plate(void *object, struct tt_fields *fields)
{
    static const char *const known[] = {
        "schema",        "name",   "serial", "units", "reference",
        "marks",         "groups", "edges",  "pads",  "expansion_ppm_per_K",
        "measured_at_C", "note"};
    struct tiptrue_plate *plate = object;
    struct reader reader = {.fields = fields, .plate = plate};
    reader.marks.arena = reader.groups.arena = reader.edges.arena = reader.pads.arena =
        &plate->arena;
    const cJSON *root = fields->json.root;
    double expansion = 0.0;
    tt_field_unknown(fields, root, "plate", known, sizeof(known) / sizeof(known[0]));
    plate->mm_per_unit = fields->mm_per_unit;
    plate->name = tt_field_text(fields, root, "plate", "name", TT_REQUIRED);
    plate->serial = tt_field_text(fields, root, "plate", "serial", TT_OPTIONAL);
    read_features(&reader, root);
    if (!fields->out_of_memory) { /* else marks are missing that the file has */
        read_reference(&reader, root);
    }
    plate->has_expansion = tt_field_number(fields, root, "plate", "expansion_ppm_per_K",
                                           TT_OPTIONAL, &expansion_ppm_per_K, &expansion);
    plate->expansion_per_K = expansion * 1e-6;
    plate->measured_at_C = 20.0; /* the reference temperature of ISO 1 */
    (void)tt_field_number(fields, root, "plate", "measured_at_C", TT_OPTIONAL, &temperature_C,
                          &plate->measured_at_C);
}

static enum tiptrue_status finish(enum tiptrue_status status, struct tiptrue_plate *made,
                                  struct tiptrue_plate **plate)
{
    if (status == TIPTRUE_OK) {
        *plate = made;
    } else {
        tiptrue_plate_free(made);
    }
    return status;
}

enum tiptrue_status tt_plate_read_bytes(const char *name, const char *text, size_t length,
                                        const struct tiptrue_sink *sink,
                                        struct tiptrue_plate **plate, struct tiptrue_error *error)
{
    struct tiptrue_plate *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.plate/1", read_plate,  made,
                                         &made->arena,      &made->file, &made->source};
    return finish(tt_document_read_bytes(&document, name, text, length, sink, error), made, plate);
}

enum tiptrue_status tt_plate_read(const char *path, const struct tiptrue_sink *sink,
                                  struct tiptrue_plate **plate, struct tiptrue_error *error)
{
    struct tiptrue_plate *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.plate/1", read_plate,  made,
                                         &made->arena,      &made->file, &made->source};
    return finish(tt_document_read(&document, path, sink, error), made, plate);
}
