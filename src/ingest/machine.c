/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.machine/1 by its table (formats/machine.c), and what of it is no plain value. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/fields.h"
#include "ingest/ingest.h"

/* A stated radius without its uncertainty can be no prior. */
static bool check_tip(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_tip *tip = (void *)member->into;
    bool radius = tip->has_radius, u = tip->u_radius_mm > 0;
    const char *stated = radius ? "radius" : "radius_u", *missing = radius ? "radius_u" : "radius";

    tip->has_radius = radius && u;
    if (radius != u) {
        tt_warn(fields->diagnose,
                tt_json_key_place(&fields->json,
                                  cJSON_GetObjectItemCaseSensitive(member->item, stated)),
                radius ? "state 'radius_u', its standard uncertainty" : "state 'radius' too",
                "%s: '%s' without '%s' is not used", member->what, stated, missing);
    }
    return true;
}

static bool check_camera(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_camera *camera = (void *)member->into;

    (void)fields;
    if (isnan(camera->centre_px[0])) {
        camera->centre_px[0] = 0.5 * camera->size_px[0];
        camera->centre_px[1] = 0.5 * camera->size_px[1];
    }
    return true;
}

static void check_range(struct tt_fields *fields, const struct tt_member *member, const char *key,
                        const struct tt_range *range)
{
    if (range->stated && !(range->low < range->high)) {
        tt_field_fault(fields, cJSON_GetObjectItemCaseSensitive(member->item, key),
                       "[lowest, highest]", "%s: '%s' is not a range", member->key->inner->name,
                       key);
    }
}

static bool check_ranges(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_motion *motion = (const void *)member->into;

    check_range(fields, member, "x", &motion->x_mm);
    check_range(fields, member, "y", &motion->y_mm);
    check_range(fields, member, "z", &motion->z_mm);
    check_range(fields, member, "rotation", &motion->rotation_rad);
    return true;
}

static bool read_puts(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_export_target *target = (void *)member->into;
    const cJSON *puts = tt_field_array(fields, member);
    size_t n = puts != NULL ? (size_t)cJSON_GetArraySize(puts) : 0;

    target->puts = TT_ARENA_NEW(fields->arena, n, const char *);
    fields->out_of_memory = fields->out_of_memory || target->puts == NULL;
    for (const cJSON *put = n > 0 ? puts->child : NULL; put != NULL && !fields->out_of_memory;
         put = put->next) {
        if (!cJSON_IsString(put) || strchr(put->valuestring, '=') == NULL) {
            tt_field_fault(fields, put, "such as \"t1.offset.x=/tips/t1/x\"",
                           "%s: each element of '%s' is a text FIELD=PLACE", member->what,
                           member->key->key);
            continue;
        }
        const char *copy = tt_arena_copy(fields->arena, put->valuestring);
        fields->out_of_memory = fields->out_of_memory || copy == NULL;
        target->puts[target->n_puts++] = copy;
    }
    return true;
}

/* One path, or a list of them. */
static bool read_plates(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_machine *machine = (void *)member->into;
    struct tt_machine_files *files = &machine->files;
    bool list = cJSON_IsArray(member->item);
    const cJSON *first = list ? member->item->child : member->item;
    size_t most = list ? (size_t)cJSON_GetArraySize(member->item) : 1;

    files->plates = first != NULL ? TT_ARENA_NEW(fields->arena, most, const char *) : NULL;
    fields->out_of_memory = fields->out_of_memory || (first != NULL && files->plates == NULL);
    for (const cJSON *path = first;
         path != NULL && files->n_plates < most && !fields->out_of_memory; path = path->next) {
        if (!cJSON_IsString(path) || path->valuestring[0] == '\0') {
            tt_field_tell_form(fields, member, path, "a path, or a list of paths");
            break;
        }
        const char *copy = tt_arena_copy(fields->arena, path->valuestring);
        fields->out_of_memory = copy == NULL;
        files->plates[files->n_plates++] = copy;
    }
    return true;
}

static tt_member_reader *const hooks[TT_BENCH_HOOKS] = {
    [TT_BENCH_PLATES] = read_plates,  [TT_BENCH_PUTS] = read_puts,      [TT_BENCH_TIP] = check_tip,
    [TT_BENCH_CAMERA] = check_camera, [TT_BENCH_RANGES] = check_ranges,
};

static void read_machine(void *object, struct tt_fields *fields)
{
    struct tiptrue_machine *machine = object;

    fields->hooks = hooks;
    fields->document = machine;
    machine->mm_per_unit = fields->mm_per_unit;
    tt_keys_read(fields, fields->json.root, tt_machine_keys.name, &tt_machine_keys, machine);
}

static const struct tt_document MACHINE = {.schema = "tiptrue.machine/1",
                                           .read = read_machine,
                                           .size = sizeof(struct tiptrue_machine),
                                           .arena = offsetof(struct tiptrue_machine, arena),
                                           .file = TT_FLAG(struct tiptrue_machine, file),
                                           .source = TT_FLAG(struct tiptrue_machine, source)};

enum tiptrue_status tt_machine_read_bytes(const char *name, const char *text, size_t length,
                                          const struct tiptrue_sink *sink,
                                          struct tiptrue_machine **machine,
                                          struct tiptrue_error *error)
{
    const struct tt_text given = {text, length};
    void *made;
    enum tiptrue_status status =
        tt_document_read(&MACHINE, name, text != NULL ? &given : NULL, sink, &made, error);

    *machine = status == TIPTRUE_OK ? made : *machine;
    return status;
}

enum tiptrue_status tiptrue_machine_read(const char *path, const struct tiptrue_sink *sink,
                                         struct tiptrue_machine **machine,
                                         struct tiptrue_error *error)
{
    return tt_machine_read_bytes(path, NULL, 0, sink, machine, error);
}
