/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the offsets in use come from: which plate each was found with, by what the history knows of
 * exports. */
#include "config.h"

#include "app/ready.h"

#include <cjson/cJSON.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/digest.h"
#include "base/number.h"
#include "base/time.h"
#include "export/edit.h"
#include "export/export.h"
#include "export/replace.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "model/machine.h"
#include "model/series.h"
#include "tiptrue.h"

/* What reading a value back leaves of rounding, inches among it. */
#define SAME_MM 1e-6
/* So many of the latest runs an export that was not entered may be of. */
#define MOST_RUNS 100

void tiptrue_machine_present_none(struct tiptrue_machine *machine)
{
    for (size_t i = 0; i < machine->n_tips; i++) {
        machine->tips[i].has_offset = machine->tips[i].has_runout = false;
        machine->tips[i].offset_plate = NULL;
        machine->tips[i].height_mm.stated = false;
    }
}

struct looking {
    struct tiptrue_history *history;
    double now_s;
    struct tiptrue_machine *machine;
    bool *known; /* of each tip: its plate was found */
    size_t left; /* tips that are not known */
    bool out_of_memory;
};

/* The value of @field in what an export wrote, in mm; NAN: it is not @tip's quantity @axis. */
static double value_of(const cJSON *item, const char *tip, enum tt_quantity axis)
{
    struct tt_export_field field;
    double written;
    int decimals;
    if (!cJSON_IsString(item) ||
        tt_export_field_read(item->string, strlen(item->string), false, &field, NULL) !=
            TIPTRUE_OK ||
        field.quantity != axis || field.has_rotation || strlen(tip) != field.tip_length ||
        memcmp(tip, field.tip, field.tip_length) != 0 ||
        tt_number_read(item->valuestring, strlen(item->valuestring), '.', &written, &decimals) !=
            TT_NUMBER_OK) {
        return NAN;
    }
    return tt_export_field_back(&field, written);
}

/* Whether the export left it as it was. */
static bool is_left(const cJSON *before, const cJSON *item)
{
    const cJSON *then = cJSON_GetObjectItemCaseSensitive(before, item->string);
    return cJSON_IsString(then) && cJSON_IsString(item) &&
           strcmp(then->valuestring, item->valuestring) == 0;
}

/* Whether both axes of the tip were left as they were. */
static bool is_tip_left(const cJSON *before, const cJSON *values, const char *tip)
{
    bool left = before != NULL;
    for (const cJSON *item = values != NULL ? values->child : NULL; item != NULL;
         item = item->next) {
        bool of_tip =
            !isnan(value_of(item, tip, TT_OFFSET_X)) || !isnan(value_of(item, tip, TT_OFFSET_Y));
        left = left && (!of_tip || is_left(before, item));
    }
    return left;
}

bool tt_height_matches(struct tt_text new, const struct tt_tip *tip, bool *written)
{
    cJSON *values = cJSON_ParseWithLength(new.text, new.length);
    bool same = true;
    for (const cJSON *item = values != NULL ? values->child : NULL; item != NULL;
         item = item->next) {
        double z_mm = value_of(item, tip->name, TT_TIP_HEIGHT);
        if (!isnan(z_mm)) {
            *written = true;
            same = tip->height_mm.stated && fabs(z_mm - tip->height_mm.value) <= SAME_MM;
        }
    }
    cJSON_Delete(values);
    return same;
}

void tt_values_match(struct tt_text old, struct tt_text new, const struct tt_tip *tip, bool axis[2])
{
    cJSON *before = cJSON_ParseWithLength(old.text, old.length);
    cJSON *values = cJSON_ParseWithLength(new.text, new.length);
    bool left = is_tip_left(before, values, tip->name);
    for (const cJSON *item = values != NULL && !left ? values->child : NULL; item != NULL;
         item = item->next) {
        double x_mm = value_of(item, tip->name, TT_OFFSET_X),
               y_mm = value_of(item, tip->name, TT_OFFSET_Y);
        axis[0] = axis[0] || fabs(x_mm - tip->offset.x_mm) <= SAME_MM;
        axis[1] = axis[1] || fabs(y_mm - tip->offset.y_mm) <= SAME_MM;
    }
    cJSON_Delete(before);
    cJSON_Delete(values);
}

static bool set_plate(struct looking *looking, size_t tip, const char *plate)
{
    struct tt_arena *arena = &looking->machine->arena;
    looking->machine->tips[tip].offset_plate = tt_arena_copy(arena, plate);
    looking->out_of_memory = looking->out_of_memory ||
                             (plate != NULL && looking->machine->tips[tip].offset_plate == NULL);
    looking->known[tip] = true;
    looking->left--;
    return !looking->out_of_memory;
}

static bool look_at_export(void *context, const struct tt_store_exported *exported)
{
    struct looking *looking = context;
    const struct tt_text *values = &exported->new_values;
    for (size_t i = 0; i < looking->machine->n_tips && values->text != NULL; i++) {
        bool axis[2] = {false, false};
        if (!looking->known[i]) {
            tt_values_match(exported->old_values, *values, &looking->machine->tips[i], axis);
        }
        if (axis[0] && axis[1]) {
            (void)set_plate(looking, i, exported->plate);
        }
    }
    return looking->left > 0 && !looking->out_of_memory;
}

/* Whether @put, filled from the run's offset of the tip, is what stands there now. */
static bool is_of_run(const struct tt_export_put *put, const struct tt_series_tip *from,
                      const struct tt_tip *tip)
{
    bool x = put->field.quantity == TT_OFFSET_X;
    double full_mm = x ? from->full.x_mm : from->full.y_mm,
           now_mm = x ? tip->offset.x_mm : tip->offset.y_mm, written;
    int decimals;
    struct tt_buffer text = {0};
    tt_export_field_write(&put->field, full_mm, &text);
    bool same = !text.failed &&
                tt_number_read(text.text, text.length, '.', &written, &decimals) == TT_NUMBER_OK &&
                fabs(tt_export_field_back(&put->field, written) - now_mm) <= SAME_MM;
    tt_buffer_clear(&text);
    return same;
}

/* Whether all places of the tip in @target hold what @run found, and there are some. */
static bool target_is_of_run(const struct tt_export_target *target, const struct tt_series *series,
                             const struct tt_series_run *run, const struct tt_tip *tip)
{
    size_t same = 0;
    for (size_t i = 0; i < target->n_puts; i++) {
        struct tt_export_put put;
        if (tt_put_read(target->puts[i], &put, NULL) != TIPTRUE_OK ||
            put.field.quantity > TT_OFFSET_Y || put.field.has_rotation ||
            strlen(tip->name) != put.field.tip_length ||
            memcmp(tip->name, put.field.tip, put.field.tip_length) != 0) {
            continue;
        }
        size_t k = 0;
        while (k < run->n_tips && strcmp(series->tip_names[run->tips[k].tip], tip->name) != 0) {
            k++;
        }
        if (k == run->n_tips || !run->tips[k].has_offset || !is_of_run(&put, &run->tips[k], tip)) {
            return false;
        }
        same++;
    }
    return same > 0;
}

/* What an export of @target would have written, as a history keeps it. */
static void add_values(const struct tt_export_target *target, const struct tiptrue_machine *machine,
                       const bool found[], struct tt_buffer *json)
{
    cJSON *values = cJSON_CreateObject();
    for (size_t i = 0; i < target->n_puts; i++) {
        struct tt_export_put put;
        struct tt_buffer field = {0}, text = {0};
        if (tt_put_read(target->puts[i], &put, NULL) != TIPTRUE_OK ||
            put.field.quantity > TT_OFFSET_Y || put.field.has_rotation) {
            continue;
        }
        for (size_t k = 0; k < machine->n_tips; k++) {
            const struct tt_tip *tip = &machine->tips[k];
            if (found[k] && strlen(tip->name) == put.field.tip_length &&
                memcmp(tip->name, put.field.tip, put.field.tip_length) == 0) {
                tt_buffer_add(&field, put.field.text, put.field.length);
                tt_export_field_write(
                    &put.field,
                    put.field.quantity == TT_OFFSET_X ? tip->offset.x_mm : tip->offset.y_mm, &text);
                if (!field.failed && !text.failed) {
                    cJSON_AddStringToObject(values, field.text, text.text);
                }
            }
        }
        tt_buffer_clear(&field);
        tt_buffer_clear(&text);
    }
    char *printed = values != NULL ? cJSON_PrintUnformatted(values) : NULL;
    tt_buffer_puts(json, printed != NULL ? printed : "{}");
    free(printed);
    cJSON_Delete(values);
}

/* An export that left its copy but is not in the history: the program was ended in between. It is
 * entered now. */
static enum tiptrue_status enter(struct looking *looking, const struct tt_export_target *target,
                                 const char *id, const bool found[], bool *entered,
                                 struct tiptrue_error *error)
{
    struct tt_target *file = NULL;
    struct tt_bytes old = {0};
    char *path = NULL, *copy = NULL, time[TT_TIME_SIZE], old_digest[17], new_digest[17];
    struct tt_buffer values = {0};
    enum tiptrue_status status = tt_export_path(looking->machine, target, &path, error);
    *entered = status == TIPTRUE_OK && tt_target_open(path, &file, NULL) == TIPTRUE_OK &&
               tt_target_backup(file, &copy, &old, NULL) == TIPTRUE_OK;
    if (status == TIPTRUE_OK && *entered) {
        const struct tt_bytes *now = tt_target_bytes(file);
        tt_digest(old.text, old.length, old_digest);
        tt_digest(now->text, now->length, new_digest);
        tt_time_write(looking->now_s, time);
        add_values(target, looking->machine, found, &values);
        const struct tt_record_export record = {
            .time = time,
            .file = path,
            .old_digest = old_digest,
            .new_digest = new_digest,
            .old_values = {"{}", 2},
            .new_values = {values.text, values.length},
        };
        status = values.failed ? tt_fail_memory(error)
                               : tt_store_add_export(looking->history, id, &record, error);
    }
    tt_buffer_clear(&values);
    tt_target_free(file);
    tt_bytes_clear(&old);
    free(copy);
    free(path);
    return status;
}

/* Exports of @target that are not in the history: the newest run whose numbers stand there. */
static enum tiptrue_status look_at_target(struct looking *looking,
                                          const struct tt_export_target *target,
                                          const struct tt_series *series,
                                          struct tiptrue_error *error)
{
    struct tiptrue_machine *machine = looking->machine;
    bool *found = TT_ARENA_NEW(series->arena, machine->n_tips, bool);
    enum tiptrue_status status = found != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    for (size_t r = series->n_runs; r-- > 0 && status == TIPTRUE_OK && looking->left > 0;) {
        const struct tt_series_run *run = &series->runs[r];
        bool any = false, entered = false;
        for (size_t i = 0; i < machine->n_tips; i++) {
            found[i] =
                !looking->known[i] && target_is_of_run(target, series, run, &machine->tips[i]);
            any = any || found[i];
        }
        if (any) {
            status = enter(looking, target, run->id, found, &entered, error);
        }
        for (size_t i = 0; i < machine->n_tips && entered; i++) {
            if (found[i] && !set_plate(looking, i, run->plate)) {
                status = tt_fail_memory(error);
            }
        }
    }
    return status;
}

enum tiptrue_status tiptrue_history_present(struct tiptrue_history *history,
                                            struct tiptrue_machine *machine, double now_s,
                                            struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = machine->name};
    struct looking looking = {.history = history,
                              .now_s = now_s,
                              .machine = machine,
                              .known = TT_ARENA_NEW(&arena, machine->n_tips, bool)};
    enum tiptrue_status status = looking.known != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    for (size_t i = 0; i < machine->n_tips && status == TIPTRUE_OK; i++) {
        looking.known[i] = !machine->tips[i].has_offset;
        looking.left += machine->tips[i].has_offset;
    }
    if (status == TIPTRUE_OK && looking.left > 0) {
        status = tt_store_exports(history, machine->name, look_at_export, &looking, error);
    }
    if (status == TIPTRUE_OK && looking.left > 0 && machine->n_exports > 0 &&
        tt_store_is_writable(history)) {
        status = tt_store_series(history, machine->name, -HUGE_VAL, MOST_RUNS, &series, error);
        for (size_t i = 0; i < machine->n_exports && status == TIPTRUE_OK; i++) {
            status = look_at_target(&looking, &machine->exports[i], &series, error);
        }
    }
    tt_arena_clear(&arena);
    return status == TIPTRUE_OK && looking.out_of_memory ? tt_fail_memory(error) : status;
}
