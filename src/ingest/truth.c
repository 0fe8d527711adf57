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
#include "ingest/truth_picture.h"

static const struct tt_bounds shape_order = {2.0, 60.0, false,
                                             "a whole number from 2 on: waves around the tip"};

/* {"x": , "y": } */
static const cJSON *read_xy(struct tt_fields *fields, const cJSON *object, const char *what,
                            const char *key)
{
    static const char *const known[] = {"x", "y", "note"};
    const cJSON *pair = tt_field_object(fields, object, what, key, TT_OPTIONAL);
    if (pair != NULL) {
        tt_field_unknown(fields, pair, key, known, sizeof known / sizeof known[0]);
    }
    return pair;
}

/* By how much a tip's height goes with the cosine (x) and the sine (y) of its rotation. */
static void read_face(struct tt_fields *fields, const cJSON *element, const char *what,
                      struct tt_truth_tip *tip)
{
    const cJSON *face = read_xy(fields, element, what, "face_runout");
    if (face != NULL) {
        (void)tt_field_length(fields, face, "face_runout", "x", TT_REQUIRED, &tt_any_position_mm,
                              &tip->face_runout.x_mm);
        (void)tt_field_length(fields, face, "face_runout", "y", TT_REQUIRED, &tt_any_position_mm,
                              &tip->face_runout.y_mm);
    }
}

/* How the plate rises along machine x and y: mm per m, whatever the file's units. */
static void read_slope(struct tt_fields *fields, struct tiptrue_truth *truth)
{
    static const struct tt_bounds mm_per_m = {-100.0, 100.0, false, "mm per m, -100 to 100"};
    const cJSON *slope = read_xy(fields, fields->json.root, "truth", "slope_mm_per_m");
    if (slope != NULL) {
        (void)tt_field_number(fields, slope, "slope_mm_per_m", "x", TT_REQUIRED, &mm_per_m,
                              &truth->slope_x);
        (void)tt_field_number(fields, slope, "slope_mm_per_m", "y", TT_REQUIRED, &mm_per_m,
                              &truth->slope_y);
        truth->slope_x *= 1e-3;
        truth->slope_y *= 1e-3;
    }
}

static void read_shape(struct tt_fields *fields, const cJSON *element, const char *what,
                       struct tt_truth_tip *tip)
{
    const cJSON *array = tt_field_array(fields, element, what, "shape", TT_OPTIONAL);
    tip->shape = TT_ARENA_NEW(fields->arena, array != NULL ? (size_t)cJSON_GetArraySize(array) : 0,
                              struct tt_truth_shape);
    fields->out_of_memory = fields->out_of_memory || tip->shape == NULL;
    for (const cJSON *term = array != NULL ? array->child : NULL;
         term != NULL && tip->shape != NULL; term = term->next) {
        struct tt_truth_shape *shape = &tip->shape[tip->n_shape];
        double order = 0;
        tt_keys_read(fields, term, what, &tt_truth_shape_keys, shape);
        if (!tt_field_number(fields, term, what, "order", TT_REQUIRED, &shape_order, &order)) {
            continue;
        }
        if ((double)(unsigned)order < order) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, term), shape_order.hint,
                     "%s: 'order' is not a whole number", what);
            continue;
        }
        shape->order = (unsigned)order;
        tip->n_shape++;
    }
}

/* An optional array whose elements name themselves by the first key of their table. */
struct list {
    const char *key;
    const struct tt_keys *keys;
    void **elements; /* receives room for all, of @size bytes each */
    size_t *n, size;
};

/* @element of @list into the next place; what has no name of its own is told. */
static void read_element(struct tt_fields *fields, const struct list *list, const cJSON *element,
                         struct tt_names *names)
{
    const char *kind = list->keys->list[0].key;
    char what[80];

    if (!cJSON_IsObject(element)) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, element), NULL,
                 "a %s of the truth is not an object {...}", kind);
        return;
    }
    snprintf(what, sizeof(what), "a %s of the truth", kind);
    const char *name = tt_field_text(fields, element, what, kind, TT_REQUIRED);
    if (name == NULL) {
        return;
    }
    snprintf(what, sizeof(what), "%s '%s'", kind, tt_shown(name, strlen(name)).text);
    if (tt_names_find(names, name, strlen(name)) != TT_NONE) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, element), "each is named once",
                 "there is a second %s", what);
    } else if (!tt_names_add(names, name)) {
        fields->out_of_memory = true;
    } else {
        void *into = (char *)*list->elements + (*list->n)++ * list->size;
        tt_keys_read(fields, element, what, list->keys, into);
        if (list->keys == &tt_truth_tip_keys) {
            read_shape(fields, element, what, into);
            read_face(fields, element, what, into);
        }
    }
}

static void read_list(struct tt_fields *fields, const struct list *list)
{
    struct tt_names names = {.arena = fields->arena};
    const cJSON *array = tt_field_array(fields, fields->json.root, "truth", list->key, TT_OPTIONAL);
    size_t n = array != NULL ? (size_t)cJSON_GetArraySize(array) : 0;

    *list->elements = tt_arena_get(fields->arena, n, list->size);
    fields->out_of_memory = fields->out_of_memory || *list->elements == NULL;
    for (const cJSON *element = n > 0 ? array->child : NULL; element != NULL;
         element = element->next) {
        if (fields->out_of_memory || tt_diagnose_is_full(fields->diagnose)) {
            return;
        }
        read_element(fields, list, element, &names);
    }
}

/* A depth stands with its share, and is a range. */
static void check_fault(struct tt_fields *fields, const cJSON *touch, const char *depth_key,
                        const struct tt_truth_fault *fault)
{
    const cJSON *depth =
        tt_field(fields, touch, "touch", depth_key, fault->share > 0 ? TT_REQUIRED : TT_OPTIONAL);

    if (depth != NULL && !(fault->from_mm >= 0 && fault->to_mm >= fault->from_mm)) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, depth),
                 "[least, most], neither negative", "touch: '%s' is not a range of depths",
                 depth_key);
    }
}

static void read_lists(struct tt_fields *fields, struct tiptrue_truth *truth)
{
    void *poses, *tips, *edges, *groups, *marks, *pads;
    const struct list lists[] = {
        {"poses", &tt_truth_pose_keys, &poses, &truth->n_poses, sizeof *truth->poses},
        {"tips", &tt_truth_tip_keys, &tips, &truth->n_tips, sizeof *truth->tips},
        {"edges", &tt_truth_edge_keys, &edges, &truth->n_edges, sizeof *truth->edges},
        {"groups", &tt_truth_group_keys, &groups, &truth->n_groups, sizeof *truth->groups},
        {"marks", &tt_truth_mark_keys, &marks, &truth->n_marks, sizeof *truth->marks},
        {"pads", &tt_truth_pad_keys, &pads, &truth->n_pads, sizeof *truth->pads}};

    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        read_list(fields, &lists[i]);
    }
    truth->poses = poses;
    truth->tips = tips;
    truth->edges = edges;
    truth->groups = groups;
    truth->marks = marks;
    truth->pads = pads;
}

static void read_truth(void *object, struct tt_fields *fields)
{
    struct tiptrue_truth *truth = object;
    const cJSON *root = fields->json.root;

    tt_keys_read(fields, root, "truth", &tt_truth_keys, truth);
    read_lists(fields, truth);
    const cJSON *touch =
        tt_keys_read_inner(fields, root, "truth", "touch", &tt_truth_touch_keys, truth);
    if (touch != NULL) {
        check_fault(fields, touch, tt_truth_touch_keys.list[TT_TRUTH_LATE_DEPTH].key, &truth->late);
        check_fault(fields, touch, tt_truth_touch_keys.list[TT_TRUTH_EARLY_DEPTH].key,
                    &truth->early);
    }
    read_slope(fields, truth);
    (void)tt_keys_read_inner(fields, root, "truth", "height", &tt_truth_height_keys, truth);
    (void)tt_keys_read_inner(fields, root, "truth", "sighting", &tt_truth_sighting_keys, truth);
    (void)tt_keys_read_inner(fields, root, "truth", "rotation", &tt_truth_rotation_keys, truth);
    (void)tt_keys_read_inner(fields, root, "truth", "moved", &tt_truth_moved_keys, truth);
    tt_truth_read_picture(fields, &truth->camera);
    tt_truth_read_axes(fields, &truth->axes);
}

enum tiptrue_status tiptrue_truth_read(const char *path, const struct tiptrue_sink *sink,
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
