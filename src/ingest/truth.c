/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.truth/1: what a simulated run is made from. */
#include "config.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/document.h"
#include "ingest/ingest.h"
#include "ingest/names.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct tt_bounds any_angle_deg = {-360.0, 360.0, false,
                                               "degrees, counter-clockwise seen from above"};
static const struct tt_bounds sigma_deg = {0.0, 360.0, false,
                                           "a standard deviation in degrees, 0 or more"};
static const struct tt_bounds share = {0.0, 1.0, false, "a share, from 0 to 1"};
static const struct tt_bounds shape_order = {2.0, 60.0, false,
                                             "a whole number from 2 on: waves around the tip"};
static const struct tt_bounds latency_s = {-1.0, 1.0, false, "seconds"};
static const struct tt_bounds temperature_C = {-100.0, 300.0, false, "degrees Celsius"};

struct reader {
    struct tt_fields *fields;
    struct tiptrue_truth *truth;
};

/* The elements of an optional array, each of which names itself by @key; @store takes those that
 * are right. */
static void read_each(struct reader *reader, const char *key, const char *kind,
                      void (*store)(struct reader *, const cJSON *, const char *name,
                                    const char *what))
{
    struct tt_fields *fields = reader->fields;
    struct tt_names names = {.arena = fields->arena};
    const cJSON *array = tt_field_array(fields, fields->json.root, "truth", key, TT_OPTIONAL);

    for (const cJSON *element = array != NULL ? array->child : NULL; element != NULL;
         element = element->next) {
        char what[80];
        if (fields->out_of_memory || tt_diagnose_is_full(fields->diagnose)) {
            return;
        }
        if (!cJSON_IsObject(element)) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, element), NULL,
                     "a %s of the truth is not an object {...}", kind);
            continue;
        }
        snprintf(what, sizeof(what), "a %s of the truth", kind);
        const char *name = tt_field_text(fields, element, what, kind, TT_REQUIRED);
        if (name == NULL) {
            continue;
        }
        snprintf(what, sizeof(what), "%s '%s'", kind, tt_shown(name, strlen(name)).text);
        if (tt_names_find(&names, name, strlen(name)) != TT_NONE) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, element), "each is named once",
                     "there is a second %s", what);
        } else if (!tt_names_add(&names, name)) {
            fields->out_of_memory = true;
        } else {
            store(reader, element, name, what);
        }
    }
}

static void store_pose(struct reader *reader, const cJSON *element, const char *name,
                       const char *what)
{
    static const char *const known[] = {"setup", "mark", "yaw_deg", "note"};
    double mark_mm[2] = {0, 0}, yaw_deg = 0;
    tt_field_unknown(reader->fields, element, what, known, COUNT(known));
    (void)tt_field_xy(reader->fields, element, what, "mark", TT_REQUIRED, mark_mm);
    (void)tt_field_number(reader->fields, element, what, "yaw_deg", TT_OPTIONAL, &any_angle_deg,
                          &yaw_deg);
    reader->truth->poses[reader->truth->n_poses++] = (struct tt_truth_pose){
        .setup = name, .mark = {mark_mm[0], mark_mm[1]}, .yaw_rad = tt_rad_from_deg(yaw_deg)};
}

static void read_shape(struct reader *reader, const cJSON *element, const char *what,
                       struct tt_truth_tip *tip)
{
    static const char *const known[] = {"order", "cos", "sin", "note"};
    struct tt_fields *fields = reader->fields;
    const cJSON *array = tt_field_array(fields, element, what, "shape", TT_OPTIONAL);
    tip->shape = TT_ARENA_NEW(fields->arena, array != NULL ? (size_t)cJSON_GetArraySize(array) : 0,
                              struct tt_truth_shape);
    fields->out_of_memory = fields->out_of_memory || tip->shape == NULL;
    for (const cJSON *term = array != NULL ? array->child : NULL;
         term != NULL && tip->shape != NULL; term = term->next) {
        double order = 0;
        struct tt_truth_shape *shape = &tip->shape[tip->n_shape];
        tt_field_unknown(fields, term, what, known, COUNT(known));
        if (!tt_field_number(fields, term, what, "order", TT_REQUIRED, &shape_order, &order)) {
            continue;
        }
        if ((double)(unsigned)order < order) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, term), shape_order.hint,
                     "%s: 'order' is no whole number", what);
            continue;
        }
        shape->order = (unsigned)order;
        (void)tt_field_length(fields, term, what, "cos", TT_OPTIONAL, &tt_any_position_mm,
                              &shape->cos_mm);
        (void)tt_field_length(fields, term, what, "sin", TT_OPTIONAL, &tt_any_position_mm,
                              &shape->sin_mm);
        tip->n_shape++;
    }
}

static void store_tip(struct reader *reader, const cJSON *element, const char *name,
                      const char *what)
{
    static const char *const known[] = {"tip", "offset", "runout", "radius", "shape", "note"};
    struct tt_truth_tip tip = {.name = name};
    double offset_mm[2] = {0, 0}, runout_mm[2] = {0, 0};
    tt_field_unknown(reader->fields, element, what, known, COUNT(known));
    (void)tt_field_xy(reader->fields, element, what, "offset", TT_REQUIRED, offset_mm);
    (void)tt_field_xy(reader->fields, element, what, "runout", TT_OPTIONAL, runout_mm);
    (void)tt_field_length(reader->fields, element, what, "radius", TT_REQUIRED, &tt_length_mm,
                          &tip.radius_mm);
    read_shape(reader, element, what, &tip);
    tip.offset = (struct tt_machine_xy){offset_mm[0], offset_mm[1]};
    tip.runout = (struct tt_tip_xy){runout_mm[0], runout_mm[1]};
    reader->truth->tips[reader->truth->n_tips++] = tip;
}

static void store_edge(struct reader *reader, const cJSON *element, const char *name,
                       const char *what)
{
    static const char *const known[] = {"edge", "shift", "note"};
    struct tt_truth_edge edge = {.name = name};
    tt_field_unknown(reader->fields, element, what, known, COUNT(known));
    (void)tt_field_length(reader->fields, element, what, "shift", TT_REQUIRED, &tt_any_position_mm,
                          &edge.shift_mm);
    reader->truth->edges[reader->truth->n_edges++] = edge;
}

static struct tt_truth_shift shift_of(struct reader *reader, const cJSON *element, const char *name,
                                      const char *what, const char *kind)
{
    const char *const known[] = {kind, "shift", "note"};
    double shift_mm[2] = {0, 0};
    tt_field_unknown(reader->fields, element, what, known, COUNT(known));
    (void)tt_field_xy(reader->fields, element, what, "shift", TT_REQUIRED, shift_mm);
    return (struct tt_truth_shift){name, {shift_mm[0], shift_mm[1]}};
}

static void store_group(struct reader *reader, const cJSON *element, const char *name,
                        const char *what)
{
    reader->truth->groups[reader->truth->n_groups++] =
        shift_of(reader, element, name, what, "group");
}

static void store_mark(struct reader *reader, const cJSON *element, const char *name,
                       const char *what)
{
    reader->truth->marks[reader->truth->n_marks++] = shift_of(reader, element, name, what, "mark");
}

/* Room for as many as each array has elements. */
static bool make_room(struct reader *reader)
{
    struct tiptrue_truth *truth = reader->truth;
    struct tt_arena *arena = &truth->arena;
    const cJSON *root = reader->fields->json.root;
#define ELEMENTS(key) ((size_t)cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(root, key)))
    truth->poses = TT_ARENA_NEW(arena, ELEMENTS("poses"), struct tt_truth_pose);
    truth->tips = TT_ARENA_NEW(arena, ELEMENTS("tips"), struct tt_truth_tip);
    truth->edges = TT_ARENA_NEW(arena, ELEMENTS("edges"), struct tt_truth_edge);
    truth->groups = TT_ARENA_NEW(arena, ELEMENTS("groups"), struct tt_truth_shift);
    truth->marks = TT_ARENA_NEW(arena, ELEMENTS("marks"), struct tt_truth_shift);
#undef ELEMENTS
    return truth->poses != NULL && truth->tips != NULL && truth->edges != NULL &&
           truth->groups != NULL && truth->marks != NULL;
}

/* "late_share" with "late_depth": [from, to], and the same of early ones. */
static void read_fault(struct tt_fields *fields, const cJSON *touch, const char *share_key,
                       const char *depth_key, struct tt_truth_fault *fault)
{
    double depth_mm[2] = {0, 0};
    (void)tt_field_number(fields, touch, "touch", share_key, TT_OPTIONAL, &share, &fault->share);
    bool depth = tt_field_xy(fields, touch, "touch", depth_key,
                             fault->share > 0 ? TT_REQUIRED : TT_OPTIONAL, depth_mm);
    if (depth && !(depth_mm[0] >= 0 && depth_mm[1] >= depth_mm[0])) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(touch, depth_key)),
                 "[least, most], neither negative", "touch: '%s' is no range of depths", depth_key);
    }
    fault->from_mm = depth_mm[0];
    fault->to_mm = depth_mm[1];
}

static void read_touch(struct reader *reader)
{
    static const char *const known[] = {"sigma",       "late_share",   "late_depth", "early_share",
                                        "early_depth", "missed_share", "note"};
    struct tt_fields *fields = reader->fields;
    struct tiptrue_truth *truth = reader->truth;
    const cJSON *touch = tt_field_object(fields, fields->json.root, "truth", "touch", TT_OPTIONAL);
    if (touch == NULL) {
        return;
    }
    tt_field_unknown(fields, touch, "touch", known, COUNT(known));
    truth->touch_sigma_mm.stated = tt_field_length(fields, touch, "touch", "sigma", TT_OPTIONAL,
                                                   &tt_length_mm, &truth->touch_sigma_mm.value);
    read_fault(fields, touch, "late_share", "late_depth", &truth->late);
    read_fault(fields, touch, "early_share", "early_depth", &truth->early);
    (void)tt_field_number(fields, touch, "touch", "missed_share", TT_OPTIONAL, &share,
                          &truth->missed_share);
}

static void read_sigmas(struct reader *reader)
{
    static const char *const known_sighting[] = {"sigma", "note"}, *const known_rotation[] = {
                                                                       "sigma_deg", "note"};
    struct tt_fields *fields = reader->fields;
    struct tiptrue_truth *truth = reader->truth;
    const cJSON *root = fields->json.root;
    const cJSON *sighting = tt_field_object(fields, root, "truth", "sighting", TT_OPTIONAL);
    const cJSON *rotation = tt_field_object(fields, root, "truth", "rotation", TT_OPTIONAL);
    if (sighting != NULL) {
        tt_field_unknown(fields, sighting, "sighting", known_sighting, COUNT(known_sighting));
        truth->sighting_sigma_mm.stated =
            tt_field_length(fields, sighting, "sighting", "sigma", TT_REQUIRED, &tt_length_mm,
                            &truth->sighting_sigma_mm.value);
    }
    if (rotation != NULL) {
        double value_deg = 0;
        tt_field_unknown(fields, rotation, "rotation", known_rotation, COUNT(known_rotation));
        truth->rotation_sigma_rad.stated = tt_field_number(
            fields, rotation, "rotation", "sigma_deg", TT_REQUIRED, &sigma_deg, &value_deg);
        truth->rotation_sigma_rad.value = tt_rad_from_deg(value_deg);
    }
    truth->resolution_mm.stated = tt_field_length(fields, root, "truth", "resolution", TT_OPTIONAL,
                                                  &tt_length_mm, &truth->resolution_mm.value);
    truth->temperature_C.stated =
        tt_field_number(fields, root, "truth", "temperature_C", TT_OPTIONAL, &temperature_C,
                        &truth->temperature_C.value);
}

/* What goes on during the run. */
static void read_course(struct reader *reader)
{
    static const char *const known[] = {"after", "by", "note"};
    struct tt_fields *fields = reader->fields;
    struct tiptrue_truth *truth = reader->truth;
    const cJSON *root = fields->json.root,
                *moved = tt_field_object(fields, root, "truth", "moved", TT_OPTIONAL);
    double drift_mm[2] = {0, 0}, by_mm[2] = {0, 0};
    (void)tt_field_length(fields, root, "truth", "lost_motion", TT_OPTIONAL, &tt_any_position_mm,
                          &truth->lost_motion_mm);
    (void)tt_field_number(fields, root, "truth", "latency_s", TT_OPTIONAL, &latency_s,
                          &truth->latency_s);
    (void)tt_field_xy(fields, root, "truth", "drift", TT_OPTIONAL, drift_mm);
    if (moved != NULL) {
        tt_field_unknown(fields, moved, "moved", known, COUNT(known));
        (void)tt_field_number(fields, moved, "moved", "after", TT_REQUIRED, &share,
                              &truth->moved_after);
        (void)tt_field_xy(fields, moved, "moved", "by", TT_REQUIRED, by_mm);
    }
    truth->drift = (struct tt_machine_xy){drift_mm[0], drift_mm[1]};
    truth->moved = (struct tt_machine_xy){by_mm[0], by_mm[1]};
}

static void read_truth(void *object, struct tt_fields *fields)
{
    static const char *const known[] = {
        "schema",    "units", "poses",    "tips",          "edges",      "groups",
        "marks",     "touch", "sighting", "rotation",      "resolution", "lost_motion",
        "latency_s", "drift", "moved",    "temperature_C", "note"};
    struct reader reader = {fields, object};
    if (!make_room(&reader)) {
        fields->out_of_memory = true;
        return;
    }
    tt_field_unknown(fields, fields->json.root, "truth", known, COUNT(known));
    read_each(&reader, "poses", "setup", store_pose);
    read_each(&reader, "tips", "tip", store_tip);
    read_each(&reader, "edges", "edge", store_edge);
    read_each(&reader, "groups", "group", store_group);
    read_each(&reader, "marks", "mark", store_mark);
    read_touch(&reader);
    read_sigmas(&reader);
    read_course(&reader);
}

enum tiptrue_status tt_truth_read(const char *path, const struct tiptrue_sink *sink,
                                  struct tiptrue_truth **truth, struct tiptrue_error *error)
{
    struct tiptrue_truth *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.truth/1", read_truth,  made,
                                         &made->arena,      &made->file, NULL};
    enum tiptrue_status status = tt_document_read(&document, path, sink, error);
    if (status == TIPTRUE_OK) {
        *truth = made;
    } else {
        tiptrue_truth_free(made);
    }
    return status;
}
