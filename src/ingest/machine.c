/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.machine/1: all of it may be left out but schema and name. An uncertainty of 0 would claim
 * perfect knowledge and is refused. */
#include "config.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/camera.h"
#include "ingest/document.h"
#include "ingest/ingest.h"
#include "ingest/motion.h"
#include "ingest/names.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct tt_bounds any_angle_deg = {-360.0, 360.0, false,
                                               "degrees, counter-clockwise seen from above"};
static const struct tt_bounds u_angle_deg = {0.0, 360.0, true,
                                             "a standard uncertainty in degrees, more than 0"};
static const struct tt_bounds u_angle_or_none_deg = {
    0.0, 360.0, false, "a standard uncertainty in degrees, 0 or more"};

static void read_rotation(struct tt_fields *fields, const cJSON *root,
                          struct tiptrue_machine *machine)
{
    static const char *const known[] = {"sense", "u_deg", "note"};
    static const char *const senses[] = {"ccw", "cw"};
    const cJSON *rotation = tt_field_object(fields, root, "machine", "rotation", TT_OPTIONAL);
    double u_deg = 0.0;
    if (rotation != NULL) {
        tt_field_unknown(fields, rotation, "rotation", known, COUNT(known));
        machine->clockwise = tt_field_word(fields, rotation, "rotation", "sense", TT_OPTIONAL,
                                           senses, COUNT(senses), 0) == 1;
        (void)tt_field_number(fields, rotation, "rotation", "u_deg", TT_OPTIONAL,
                              &u_angle_or_none_deg, &u_deg);
    }
    machine->u_rotation_rad = tt_rad_from_deg(u_deg);
}

static const struct tt_bounds dof_bounds = {1.0, 1e9, false, "degrees of freedom, 1 or more"};

/* The "u" and "dof" of "sighting" or "touch". */
static bool read_repeatability(struct tt_fields *fields, const cJSON *root, const char *key,
                               double *u_mm, double *dof)
{
    static const char *const known[] = {"u", "tolerance", "dof", "note"};
    const cJSON *object = tt_field_object(fields, root, "machine", key, TT_OPTIONAL);
    if (object == NULL) {
        return false;
    }
    tt_field_unknown(fields, object, key, known, COUNT(known));
    (void)tt_field_number(fields, object, key, "dof", TT_OPTIONAL, &dof_bounds, dof);
    bool stated = tt_field_u(fields, object, key, TT_OPTIONAL, &tt_positive_length_mm, u_mm);
    if (stated) {
        tt_field_warn_large(fields, object, key, "u", *u_mm, TT_LARGEST_STATED_MM);
    }
    return stated;
}

/* How level plates lie on the machine: a standard uncertainty, in mm of height over 1 m. */
static void read_level(struct tt_fields *fields, const cJSON *root, struct tiptrue_machine *machine)
{
    static const char *const known[] = {"u_mm_per_m", "note"};
    static const struct tt_bounds bounds = {0.0, 1000.0, true, "mm of height over 1 m, above 0"};
    const cJSON *level = tt_field_object(fields, root, "machine", "level", TT_OPTIONAL);

    if (level != NULL) {
        double mm_per_m = 0.0;
        tt_field_unknown(fields, level, "level", known, COUNT(known));
        machine->level_rad.stated =
            tt_field_number(fields, level, "level", "u_mm_per_m", TT_REQUIRED, &bounds, &mm_per_m);
        machine->level_rad.value = 1e-3 * mm_per_m;
    }
}

static void read_yaw(struct tt_fields *fields, const cJSON *root, struct tiptrue_machine *machine)
{
    static const char *const known[] = {"value_deg", "u_deg", "note"};
    const cJSON *yaw = tt_field_object(fields, root, "machine", "yaw", TT_OPTIONAL);
    double value_deg = 0.0, u_deg = 0.0;
    if (yaw == NULL) {
        return;
    }
    tt_field_unknown(fields, yaw, "yaw", known, COUNT(known));
    bool value =
        tt_field_number(fields, yaw, "yaw", "value_deg", TT_REQUIRED, &any_angle_deg, &value_deg);
    bool u = tt_field_number(fields, yaw, "yaw", "u_deg", TT_REQUIRED, &u_angle_deg, &u_deg);
    machine->has_yaw = value && u;
    machine->yaw_rad = tt_rad_from_deg(value_deg);
    machine->u_yaw_rad = tt_rad_from_deg(u_deg);
}

static void read_mark(struct tt_fields *fields, const cJSON *root, struct tiptrue_machine *machine)
{
    static const char *const known[] = {"at", "u", "tolerance", "note"};
    const cJSON *mark = tt_field_object(fields, root, "machine", "mark", TT_OPTIONAL);
    double at_mm[2] = {0.0, 0.0};
    if (mark == NULL) {
        return;
    }
    tt_field_unknown(fields, mark, "mark", known, COUNT(known));
    machine->has_mark = tt_field_xy(fields, mark, "mark", "at", TT_REQUIRED, at_mm);
    machine->mark = (struct tt_machine_xy){at_mm[0], at_mm[1]};
    machine->has_u_mark =
        tt_field_u(fields, mark, "mark", TT_OPTIONAL, &tt_positive_length_mm, &machine->u_mark_mm);
}

/* A stated radius without its uncertainty can be no prior. */
static void read_radius(struct tt_fields *fields, const cJSON *element, const char *what,
                        struct tt_tip *tip)
{
    bool radius = tt_field_length(fields, element, what, "radius", TT_OPTIONAL,
                                  &tt_positive_length_mm, &tip->radius_mm);
    bool u = tt_field_length(fields, element, what, "radius_u", TT_OPTIONAL, &tt_positive_length_mm,
                             &tip->u_radius_mm);
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(element, radius ? "radius" : "radius_u");
    tip->has_radius = radius && u;
    tt_field_warn_large(fields, element, what, "radius", tip->radius_mm, TT_LARGEST_RADIUS_MM);
    tt_field_warn_large(fields, element, what, "radius_u", tip->u_radius_mm, TT_LARGEST_STATED_MM);
    if (radius && !u) {
        tt_warn(fields->diagnose, tt_json_key_place(&fields->json, item),
                "state 'radius_u', its standard uncertainty",
                "%s: 'radius' without 'radius_u' is not used", what);
    } else if (u && !radius) {
        tt_warn(fields->diagnose, tt_json_key_place(&fields->json, item), "state 'radius' too",
                "%s: 'radius_u' without 'radius' is not used", what);
    }
}

static void read_tip(struct tt_fields *fields, const cJSON *element, struct tt_names *names,
                     struct tiptrue_machine *machine)
{
    static const char *const known[] = {"name",   "radius", "radius_u", "offset", "offset_plate",
                                        "runout", "height", "in_use",   "note"};
    struct tt_tip tip = {0};
    double xy_mm[2] = {0.0, 0.0};
    char what[80];
    tip.name = tt_field_name(fields, element, "tip");
    if (tip.name == NULL) {
        return;
    }
    snprintf(what, sizeof(what), "tip '%s'", tt_shown(tip.name, strlen(tip.name)).text);
    if (tt_names_find(names, tip.name, strlen(tip.name)) != TT_NONE) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(element, "name")),
                 "names are unique among their kind", "there is a second %s", what);
        return;
    }
    if (!tt_names_add(names, tip.name)) {
        fields->out_of_memory = true;
        return;
    }
    tt_field_unknown(fields, element, what, known, COUNT(known));
    read_radius(fields, element, what, &tip);
    tip.has_offset = tt_field_xy(fields, element, what, "offset", TT_OPTIONAL, xy_mm);
    tip.offset = (struct tt_machine_xy){xy_mm[0], xy_mm[1]};
    tip.offset_plate = tt_field_text(fields, element, what, "offset_plate", TT_OPTIONAL);
    xy_mm[0] = xy_mm[1] = 0.0;
    tip.has_runout = tt_field_xy(fields, element, what, "runout", TT_OPTIONAL, xy_mm);
    tip.runout = (struct tt_tip_xy){xy_mm[0], xy_mm[1]};
    tip.height_mm.stated = tt_field_length(fields, element, what, "height", TT_OPTIONAL,
                                           &tt_any_position_mm, &tip.height_mm.value);
    const cJSON *in_use = tt_field(fields, element, what, "in_use", TT_OPTIONAL);
    if (in_use != NULL && !cJSON_IsBool(in_use)) {
        tt_field_tell_form(fields, in_use, what, "in_use", "true or false");
    }
    tip.not_in_use = cJSON_IsFalse(in_use);
    machine->tips[machine->n_tips++] = tip;
}

static void read_tips(struct tt_fields *fields, const cJSON *root, struct tiptrue_machine *machine)
{
    struct tt_names names = {.arena = &machine->arena};
    const cJSON *tips = tt_field_array(fields, root, "machine", "tips", TT_OPTIONAL);
    machine->tips = TT_ARENA_NEW(
        &machine->arena, tips != NULL ? (size_t)cJSON_GetArraySize(tips) : 0, struct tt_tip);
    if (machine->tips == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *element = tips != NULL ? tips->child : NULL; element != NULL;
         element = element->next) {
        if (fields->out_of_memory || tt_diagnose_is_full(fields->diagnose)) {
            return;
        }
        read_tip(fields, element, &names, machine);
    }
}

/* One limit: a length, warned of where it is so large that it is probably in another unit. */
static bool read_limit(struct tt_fields *fields, const cJSON *limits, const char *key,
                       double *value_mm)
{
    bool stated = tt_field_length(fields, limits, "limits", key, TT_OPTIONAL,
                                  &tt_positive_length_mm, value_mm);

    if (stated) {
        tt_field_warn_large(fields, limits, "limits", key, *value_mm, TT_LARGEST_STATED_MM);
    }
    return stated;
}

/* How far a part may be from its place: always mm and degrees, as the keys say. */
static void read_placement(struct tt_fields *fields, const cJSON *limits, struct tt_limits *into)
{
    static const char *const known[] = {"permitted_mm", "permitted_deg", "note"};
    static const struct tt_bounds angle_deg = {0.0, 180.0, true, "degrees, more than 0, up to 180"};
    const cJSON *object = tt_field_object(fields, limits, "limits", "placement", TT_OPTIONAL);
    double permitted_deg = 0.0;
    if (object == NULL) {
        return;
    }
    tt_field_unknown(fields, object, "limits.placement", known, COUNT(known));
    into->has_placement_mm =
        tt_field_number(fields, object, "limits.placement", "permitted_mm", TT_OPTIONAL,
                        &tt_positive_length_mm, &into->placement_mm);
    into->has_placement_rad = tt_field_number(fields, object, "limits.placement", "permitted_deg",
                                              TT_OPTIONAL, &angle_deg, &permitted_deg);
    into->placement_rad = tt_rad_from_deg(permitted_deg);
}

static void read_limits(struct tt_fields *fields, const cJSON *root, struct tt_limits *limits)
{
    static const char *const known[] = {
        "permitted_error",        "expanded_uncertainty", "runout",    "plausible_change",
        "permitted_height_error", "permitted_view_error", "placement", "note"};
    const cJSON *object = tt_field_object(fields, root, "machine", "limits", TT_OPTIONAL);
    if (object == NULL) {
        return;
    }
    tt_field_unknown(fields, object, "limits", known, COUNT(known));
    limits->has_permitted_error =
        read_limit(fields, object, "permitted_error", &limits->permitted_error_mm);
    limits->has_expanded = read_limit(fields, object, "expanded_uncertainty", &limits->expanded_mm);
    limits->permitted_height_error_mm.stated = read_limit(fields, object, "permitted_height_error",
                                                          &limits->permitted_height_error_mm.value);
    limits->has_runout = read_limit(fields, object, "runout", &limits->runout_mm);
    limits->has_permitted_view =
        read_limit(fields, object, "permitted_view_error", &limits->permitted_view_mm);
    limits->has_plausible_change =
        tt_field_length(fields, object, "limits", "plausible_change", TT_OPTIONAL,
                        &tt_positive_length_mm, &limits->plausible_change_mm);
    read_placement(fields, object, limits);
}

static const struct tt_bounds hours = {0.0, 1e6, true, "hours, more than 0"};

/* Element of "export"; what its places mean is the affair of the export. */
static void read_target(struct tt_fields *fields, const cJSON *element,
                        struct tiptrue_machine *machine)
{
    static const char *const known[] = {"file", "put", "max_age_h", "max_change", "note"};
    const char *what = "export of the machine";
    struct tt_export_target target = {0};
    if (!cJSON_IsObject(element)) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, element), NULL,
                 "%s: each element is an object", what);
        return;
    }
    tt_field_unknown(fields, element, what, known, COUNT(known));
    target.file = tt_field_text(fields, element, what, "file", TT_OPTIONAL);
    target.has_max_age =
        tt_field_number(fields, element, what, "max_age_h", TT_OPTIONAL, &hours, &target.max_age_s);
    target.max_age_s *= 3600.0;
    target.has_max_change = tt_field_length(fields, element, what, "max_change", TT_OPTIONAL,
                                            &tt_positive_length_mm, &target.max_change_mm);
    const cJSON *puts = tt_field_array(fields, element, what, "put", TT_REQUIRED);
    target.puts = TT_ARENA_NEW(&machine->arena, puts != NULL ? (size_t)cJSON_GetArraySize(puts) : 0,
                               const char *);
    if (target.puts == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *put = puts != NULL ? puts->child : NULL; put != NULL; put = put->next) {
        if (!cJSON_IsString(put) || strchr(put->valuestring, '=') == NULL) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, put),
                     "such as \"t1.offset.x=/tips/t1/x\"",
                     "%s: each element of 'put' is a text FIELD=PLACE", what);
            continue;
        }
        target.puts[target.n_puts] =
            tt_arena_copy_text(&machine->arena, put->valuestring, strlen(put->valuestring));
        fields->out_of_memory = fields->out_of_memory || target.puts[target.n_puts] == NULL;
        target.n_puts++;
    }
    machine->exports[machine->n_exports++] = target;
}

static void read_export(struct tt_fields *fields, const cJSON *root,
                        struct tiptrue_machine *machine)
{
    const cJSON *list = tt_field_array(fields, root, "machine", "export", TT_OPTIONAL);
    machine->exports =
        TT_ARENA_NEW(&machine->arena, list != NULL ? (size_t)cJSON_GetArraySize(list) : 0,
                     struct tt_export_target);
    if (machine->exports == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *element = list != NULL ? list->child : NULL;
         element != NULL && !fields->out_of_memory; element = element->next) {
        read_target(fields, element, machine);
    }
}

/* "plate": one path, or a list of them. */
static void read_plates(struct tt_fields *fields, const cJSON *root, struct tt_machine_files *files)
{
    static const char expected[] = "a path, or a list of paths";
    const cJSON *item = tt_field(fields, root, "machine", "plate", TT_OPTIONAL);
    const cJSON *first = cJSON_IsArray(item) ? item->child : item;
    size_t most = cJSON_IsArray(item) ? (size_t)cJSON_GetArraySize(item) : 1;
    if (item == NULL) {
        return;
    }
    files->plates = TT_ARENA_NEW(fields->arena, most, const char *);
    if (files->plates == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *path = first; path != NULL && files->n_plates < most; path = path->next) {
        if (!cJSON_IsString(path) || path->valuestring[0] == '\0') {
            tt_field_tell_form(fields, path, "machine", "plate", expected);
            return;
        }
        const char *copy =
            tt_arena_copy_text(fields->arena, path->valuestring, strlen(path->valuestring));
        fields->out_of_memory = fields->out_of_memory || copy == NULL;
        files->plates[files->n_plates++] = copy;
    }
}

/* Where the other files are, and how old a run may be that a job starts from. */
static void read_files(struct tt_fields *fields, const cJSON *root, struct tt_machine_files *files)
{
    static const char *const known[] = {"max_age_h", "note"};
    const cJSON *ready = tt_field_object(fields, root, "machine", "ready", TT_OPTIONAL);
    read_plates(fields, root, files);
    files->plan = tt_field_text(fields, root, "machine", "plan", TT_OPTIONAL);
    files->pattern = tt_field_text(fields, root, "machine", "pattern", TT_OPTIONAL);
    files->log = tt_field_text(fields, root, "machine", "log", TT_OPTIONAL);
    files->history = tt_field_text(fields, root, "machine", "history", TT_OPTIONAL);
    files->report_folder = tt_field_text(fields, root, "machine", "report_folder", TT_OPTIONAL);
    if (ready != NULL) {
        tt_field_unknown(fields, ready, "ready", known, COUNT(known));
        files->has_max_age = tt_field_number(fields, ready, "ready", "max_age_h", TT_OPTIONAL,
                                             &hours, &files->max_age_s);
        files->max_age_s *= 3600.0;
    }
}

static void read_machine(void *object, struct tt_fields *fields)
{
    static const char *const known[] = {
        "schema", "name",    "units", "rotation", "resolution",    "sighting", "touch",  "height",
        "level",  "yaw",     "mark",  "tips",     "limits",        "export",   "motion", "plate",
        "plan",   "pattern", "log",   "history",  "report_folder", "ready",    "camera", "note"};
    struct tiptrue_machine *machine = object;
    const cJSON *root = fields->json.root;
    tt_field_unknown(fields, root, "machine", known, COUNT(known));
    machine->name = tt_field_text(fields, root, "machine", "name", TT_REQUIRED);
    machine->mm_per_unit = fields->mm_per_unit;
    read_rotation(fields, root, machine);
    (void)tt_field_length(fields, root, "machine", "resolution", TT_OPTIONAL,
                          &tt_positive_length_mm, &machine->resolution_mm);
    tt_field_warn_large(fields, root, "machine", "resolution", machine->resolution_mm,
                        TT_COARSEST_RESOLUTION_MM);
    machine->has_u_sighting = read_repeatability(fields, root, "sighting", &machine->u_sighting_mm,
                                                 &machine->sighting_dof);
    machine->has_u_touch =
        read_repeatability(fields, root, "touch", &machine->u_touch_mm, &machine->touch_dof);
    machine->u_height_mm.stated = read_repeatability(
        fields, root, "height", &machine->u_height_mm.value, &machine->height_dof);
    read_level(fields, root, machine);
    read_yaw(fields, root, machine);
    read_mark(fields, root, machine);
    read_tips(fields, root, machine);
    read_limits(fields, root, &machine->limits);
    read_export(fields, root, machine);
    tt_camera_read(fields, root, &machine->camera);
    tt_motion_read(fields, root, &machine->motion);
    read_files(fields, root, &machine->files);
}

static enum tiptrue_status finish(enum tiptrue_status status, struct tiptrue_machine *made,
                                  struct tiptrue_machine **machine)
{
    if (status == TIPTRUE_OK) {
        *machine = made;
    } else {
        tiptrue_machine_free(made);
    }
    return status;
}

enum tiptrue_status tt_machine_read_bytes(const char *name, const char *text, size_t length,
                                          const struct tiptrue_sink *sink,
                                          struct tiptrue_machine **machine,
                                          struct tiptrue_error *error)
{
    struct tiptrue_machine *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.machine/1", read_machine, made,
                                         &made->arena,        &made->file,  &made->source};
    return finish(tt_document_read_bytes(&document, name, text, length, sink, error), made,
                  machine);
}

enum tiptrue_status tt_machine_read(const char *path, const struct tiptrue_sink *sink,
                                    struct tiptrue_machine **machine, struct tiptrue_error *error)
{
    struct tiptrue_machine *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.machine/1", read_machine, made,
                                         &made->arena,        &made->file,  &made->source};
    return finish(tt_document_read(&document, path, sink, error), made, machine);
}
