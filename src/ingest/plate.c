/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.plate/1 by its table (formats/plate.c), and its features checked against each other. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "ingest/fields.h"
#include "ingest/ingest.h"
#include "ingest/names.h"

/* An edge shorter than this has no direction, mm: what remains of two equal points after conversion
 * from inches is far below. */
#define SHORTEST_EDGE_MM 1e-6

/* The name that was looked for in vain, with what it may be: @n structs of @size, which begin with
 * their name. */
static void tell_unknown(struct tt_fields *fields, const struct tt_member *member,
                         const void *known, size_t n, size_t size)
{
    const char *name = member->item->valuestring;
    const char **names = TT_ARENA_NEW(fields->arena, n, const char *);
    bool reference = member->key->hook == TT_BENCH_REFERENCE;
    char hint[TT_HINT_SIZE];

    if (names == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (size_t i = 0; i < n; i++) {
        memcpy(&names[i], (const char *)known + i * size, sizeof names[i]);
    }
    tt_names_hint(names, n, reference ? "marks" : "groups", name, strlen(name), hint);
    if (reference) {
        tt_field_fault(fields, member->item, hint, "unknown reference mark '%s'",
                       tt_shown_text(name).text);
    } else {
        tt_field_fault(fields, member->item, hint, "%s: unknown group '%s'", member->what,
                       tt_shown_text(name).text);
    }
}

/* The group that a mark or an edge belongs to. One whose u is 0 does not move: its members then
 * belong to none. */
static bool read_membership(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tiptrue_plate *plate = fields->document;
    const char *name = tt_field_text(fields, member);
    size_t group = TT_NAMED(plate->groups, plate->n_groups, name), found = TT_NONE;

    if (name != NULL && group == plate->n_groups) {
        tell_unknown(fields, member, plate->groups, plate->n_groups, sizeof plate->groups[0]);
    } else if (name != NULL && plate->groups[group].u_mm > 0) {
        found = group;
    }
    memcpy(member->into + member->key->at, &found, sizeof found);
    return true;
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

static bool check_edge(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_edge *edge = (void *)member->into;
    double length_mm = hypot(edge->to.x_mm - edge->from.x_mm, edge->to.y_mm - edge->from.y_mm);

    if (isnan(length_mm)) {
        return true; /* told already */
    }
    if (length_mm < SHORTEST_EDGE_MM) {
        tt_field_fault(fields, member->item, "'from' and 'to' are two points of the edge, apart",
                       "%s has no length", member->what);
        return false;
    }
    set_normal(edge, length_mm);
    return true;
}

/* The origin by definition: it is there, at (0, 0), and exact. */
static void check_origin(struct tt_fields *fields, const struct tt_member *member,
                         struct tt_mark *mark)
{
    const struct tt_place place = tt_json_place(&fields->json, member->item);
    struct tt_shown name = tt_shown_text(mark->name);

    if (mark->at.x_mm != 0.0 || mark->at.y_mm != 0.0) {
        tt_fault(fields->diagnose, place,
                 "give all positions from the reference mark, which is at [0, 0]",
                 "reference mark '%s' is not at [0, 0]", name.text);
    }
    if (mark->u_mm > 0.0 || mark->group != TT_NONE) {
        tt_warn(
            fields->diagnose, place,
            "the other features' uncertainties are against the reference mark",
            "an uncertainty or a group of the reference mark '%s' is not used: it is the origin",
            name.text);
        mark->u_mm = 0.0;
        mark->group = TT_NONE;
    }
}

static bool read_reference(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_plate *plate = fields->document;
    const char *name = tt_field_text(fields, member);

    if (name == NULL || fields->out_of_memory) { /* marks may be missing that the file has */
        return true;
    }
    plate->reference = TT_NAMED(plate->marks, plate->n_marks, name);
    if (plate->reference == plate->n_marks) {
        tell_unknown(fields, member, plate->marks, plate->n_marks, sizeof plate->marks[0]);
    } else {
        check_origin(fields, member, &plate->marks[plate->reference]);
    }
    return true;
}

static tt_member_reader *const hooks[TT_BENCH_HOOKS] = {
    [TT_BENCH_MEMBER] = read_membership,
    [TT_BENCH_EDGE] = check_edge,
    [TT_BENCH_REFERENCE] = read_reference,
};

static void read_plate(void *object, struct tt_fields *fields)
{
    struct tiptrue_plate *plate = object;

    fields->hooks = hooks;
    fields->document = plate;
    plate->mm_per_unit = fields->mm_per_unit;
    plate->measured_at_C = 20.0; /* the reference temperature of ISO 1 */
    tt_keys_read(fields, fields->json.root, tt_plate_keys.name, &tt_plate_keys, plate);
}

static const struct tt_document PLATE = {.schema = "tiptrue.plate/1",
                                         .read = read_plate,
                                         .size = sizeof(struct tiptrue_plate),
                                         .arena = offsetof(struct tiptrue_plate, arena),
                                         .file = TT_FLAG(struct tiptrue_plate, file),
                                         .source = TT_FLAG(struct tiptrue_plate, source)};

enum tiptrue_status tt_plate_read_bytes(const char *name, const char *text, size_t length,
                                        const struct tiptrue_sink *sink,
                                        struct tiptrue_plate **plate, struct tiptrue_error *error)
{
    const struct tt_text given = {text, length};
    void *made;
    enum tiptrue_status status =
        tt_document_read(&PLATE, name, text != NULL ? &given : NULL, sink, &made, error);

    *plate = status == TIPTRUE_OK ? made : *plate;
    return status;
}

enum tiptrue_status tiptrue_plate_read(const char *path, const struct tiptrue_sink *sink,
                                       struct tiptrue_plate **plate, struct tiptrue_error *error)
{
    return tt_plate_read_bytes(path, NULL, 0, sink, plate, error);
}
