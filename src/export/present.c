/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The present offsets from where an export would put the new ones: what the machine really uses,
 * whatever the machine file says. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "base/number.h"
#include "export/edit.h"
#include "export/export.h"
#include "ingest/bytes.h"
#include "ingest/diagnose.h"

/* What converting inches back and forth leaves. */
#define ROUNDING_MM 1e-9

#define KINDS 5
#define HEIGHT 4

/* The values found of one tip; NULL = none yet. */
struct found {
    struct tt_export_put put[KINDS]; /* by quantity: offset x, y, runout x, y; height */
    bool has[KINDS];
    double mm[KINDS], last_digit_mm[KINDS];
};

/* Where a quantity is among what was found; TT_NONE: it is no part of what is compared with. */
static size_t kind_of(const struct tt_export_field *field)
{
    return field->has_rotation                ? TT_NONE
           : field->quantity <= TT_RUNOUT_Y   ? (size_t)field->quantity
           : field->quantity == TT_TIP_HEIGHT ? HEIGHT
                                              : TT_NONE;
}

static const char *last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

static enum tiptrue_status choose(const struct tiptrue_machine *machine, const char *config,
                                  const struct tt_export_target **target,
                                  struct tiptrue_error *error)
{
    if (machine->n_exports == 0) {
        return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0,
                       "write \"export\" with the places into the machine file",
                       "has no \"export\", which says where the present offsets are in '%s'",
                       config);
    }
    for (size_t i = 0; i < machine->n_exports; i++) {
        const char *file = machine->exports[i].file;
        if (machine->n_exports == 1 ||
            (file != NULL && strcmp(last_part(file), last_part(config)) == 0)) {
            *target = &machine->exports[i];
            return TIPTRUE_OK;
        }
    }
    return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0,
                   "name the configuration as its \"file\" is called",
                   "exports into several files, none of which is called '%s'", last_part(config));
}

static enum tiptrue_status read_value(struct tt_config *config, const char *text,
                                      const struct tt_export_put *put, struct found *found,
                                      struct tiptrue_error *error)
{
    struct tt_span span;
    double written = 0.0;
    int decimals = 0;
    size_t i = kind_of(&put->field);
    enum tiptrue_status status = tt_config_number(config, put->place, &span, &written, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    (void)tt_number_read(text + span.at, span.length, '.', &written, &decimals);
    double value_mm = tt_export_field_back(&put->field, written);
    double digit_mm = fabs(tt_export_field_back(&put->field, pow(10.0, -decimals)));
    if (found->has[i] && fabs(value_mm - found->mm[i]) > digit_mm + found->last_digit_mm[i]) {
        return tt_fail(error, TIPTRUE_E_CONFIG, tt_config_name(config),
                       tt_config_line(config, span.at), 0, "the machine uses one of them: which?",
                       "places '%s' and '%s' contradict each other", found->put[i].place,
                       put->place);
    }
    if (!found->has[i] || digit_mm < found->last_digit_mm[i]) {
        found->put[i] = *put;
        found->mm[i] = value_mm;
        found->last_digit_mm[i] = digit_mm;
    }
    found->has[i] = true;
    return TIPTRUE_OK;
}

static enum tiptrue_status read_all(const struct tiptrue_machine *machine,
                                    const struct tt_export_target *target, struct tt_config *config,
                                    const char *text, struct found found[],
                                    struct tiptrue_error *error)
{
    for (size_t i = 0; i < target->n_puts; i++) {
        struct tt_export_put put;
        enum tiptrue_status status = tt_put_read(target->puts[i], &put, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
        if (kind_of(&put.field) == TT_NONE) {
            continue;
        }
        size_t tip =
            TT_NAMED_PART(machine->tips, machine->n_tips, put.field.tip, put.field.tip_length);
        if (tip == machine->n_tips) {
            return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0, "list it among the tips",
                           "exports the tip '%s', which is not among its tips",
                           tt_shown(put.field.tip, put.field.tip_length).text);
        }
        status = read_value(config, text, &put, &found[tip], error);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    return TIPTRUE_OK;
}

/* Offsets and runouts of both axes, half of one is worth nothing; heights. */
static enum tiptrue_status enter(struct tiptrue_machine *machine, const struct found found[],
                                 const char *config, struct tiptrue_error *error)
{
    size_t offsets = 0, heights = 0;
    for (size_t i = 0; i < machine->n_tips; i++) {
        const struct found *one = &found[i];
        if (one->has[TT_OFFSET_X] != one->has[TT_OFFSET_Y]) {
            return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0, "put both axes, or none",
                           "exports one axis of the offset of tip '%s' only",
                           machine->tips[i].name);
        }
    }
    for (size_t i = 0; i < machine->n_tips; i++) {
        const struct found *one = &found[i];
        if (one->has[TT_OFFSET_X]) {
            machine->tips[i].has_offset = true;
            machine->tips[i].offset =
                (struct tt_machine_xy){one->mm[TT_OFFSET_X], one->mm[TT_OFFSET_Y]};
            offsets++;
        }
        if (one->has[HEIGHT]) {
            machine->tips[i].height_mm = (struct tt_stated){true, one->mm[HEIGHT]};
            heights++;
        }
        if (one->has[TT_RUNOUT_X] && one->has[TT_RUNOUT_Y]) {
            machine->tips[i].has_runout = true;
            machine->tips[i].runout =
                (struct tt_tip_xy){one->mm[TT_RUNOUT_X], one->mm[TT_RUNOUT_Y]};
        }
    }
    return offsets + heights > 0
               ? TIPTRUE_OK
               : tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0,
                         "put offset.x and offset.y of a tip, without a rotation",
                         "exports no offset that could be read back from '%s'", config);
}

/* What stands in the configuration @path at the places of @target, into @found. */
static enum tiptrue_status read_target(const struct tiptrue_machine *machine,
                                       const struct tt_export_target *target, const char *path,
                                       struct found found[], struct tiptrue_error *error)
{
    struct tt_bytes bytes = {0};
    struct tt_config *config = NULL;
    enum tiptrue_status status = tt_bytes_read(path, &bytes, error);
    status = status == TIPTRUE_OK ? tt_config_new(path, bytes.text, bytes.length, &config, error)
                                  : status;
    if (status == TIPTRUE_OK) {
        status = read_all(machine, target, config, bytes.text, found, error);
    }
    tt_config_free(config);
    tt_bytes_clear(&bytes);
    return status;
}

/* All files of the machine file's export. */
static enum tiptrue_status read_targets(const struct tiptrue_machine *machine, struct found found[],
                                        struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    for (size_t i = 0; i < machine->n_exports && status == TIPTRUE_OK; i++) {
        struct tiptrue_error why = {0};
        char *path = NULL;
        status = tt_export_path(machine, &machine->exports[i], &path, &why);
        if (status == TIPTRUE_OK) {
            status = read_target(machine, &machine->exports[i], path, found, &why);
        }
        free(path);
        if (status != TIPTRUE_OK && status != TIPTRUE_E_MEMORY) {
            status = TIPTRUE_E_CONFIG; /* never another value in its stead without a word */
            (void)tt_fail(error, status, why.file, why.line, why.column,
                          "say where the offsets in use are: --present CONFIG, --present machine "
                          "(as the machine file states them), or --present none",
                          "%s", why.text);
        } else if (status != TIPTRUE_OK) {
            (void)tt_fail_memory(error);
        }
    }
    return status;
}

/* Where what stands in the configuration is not what the machine file states, to the printed
 * digits, nobody knows with which plate it was found. */
static void doubt_plates(struct tiptrue_machine *machine, const struct found found[])
{
    for (size_t i = 0; i < machine->n_tips; i++) {
        struct tt_tip *tip = &machine->tips[i];
        const double stated_mm[] = {tip->offset.x_mm, tip->offset.y_mm};
        for (size_t axis = TT_OFFSET_X; axis <= TT_OFFSET_Y && found[i].has[axis]; axis++) {
            double most_mm = 0.5 * found[i].last_digit_mm[axis] + ROUNDING_MM;
            if (!tip->has_offset ||
                !(fabs(stated_mm[axis - TT_OFFSET_X] - found[i].mm[axis]) <= most_mm)) {
                tip->offset_plate = NULL;
            }
        }
    }
}

enum tiptrue_status tiptrue_machine_present(struct tiptrue_machine *machine, const char *path,
                                            struct tiptrue_error *error)
{
    const struct tt_export_target *target = NULL;
    struct tt_arena arena = {0};
    enum tiptrue_status status = path != NULL ? choose(machine, path, &target, error) : TIPTRUE_OK;
    if (status != TIPTRUE_OK || (path == NULL && machine->n_exports == 0)) {
        return status;
    }
    struct found *found = TT_ARENA_NEW(&arena, machine->n_tips, struct found);
    if (found == NULL) {
        return tt_fail_memory(error);
    }
    status = path != NULL ? read_target(machine, target, path, found, error)
                          : read_targets(machine, found, error);
    if (status == TIPTRUE_OK) {
        doubt_plates(machine, found);
        status = enter(machine, found, path != NULL ? path : "the files of its export", error);
    }
    tt_arena_clear(&arena);
    return status;
}
