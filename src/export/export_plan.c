/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The first step of an export: which files, and what is to stand where in each. Nothing is opened.
 */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "export/export.h"
#include "export/export_parts.h"
#include "export/field_value.h"
#include "export/own.h"
#include "ingest/diagnose.h"

/* A height that may not be used stays as it is, and refuses no offset. */
static bool is_held(const struct tt_edit *edit)
{
    return edit->verdict >= TIPTRUE_REPEAT && tt_export_field_is_height(&edit->put.field);
}

/* Whose value goes where the edit's put says, and what it is. TIPTRUE_E_DATA: the result has none.
 */
static enum tiptrue_status plan_edit(const struct tt_export_job *job, struct tt_edit *edit,
                                     struct tiptrue_error *error)
{
    const struct tt_export_field *field = &edit->put.field;
    const struct tt_tip_result *tip = NULL;
    bool forced = (job->options->force & TIPTRUE_GUARD_VERDICT) != 0;
    if (!tt_export_field_is_machine(field) &&
        (tip = tt_export_field_tip(field, job->solution, error)) == NULL) {
        return TIPTRUE_E_DATA;
    }
    edit->tip = tip != NULL ? tip->name : "";
    edit->verdict = tt_export_field_verdict(job->solution, field, tip);
    edit->kept = !forced && (edit->verdict == TIPTRUE_KEEP || is_held(edit));
    return edit->kept ? TIPTRUE_OK
                      : tt_export_value(job->solution, field, tip, field->rotation_deg,
                                        &edit->value_mm, error);
}

static enum tiptrue_status read_puts(struct tt_export_job *job, struct tt_export_file *file,
                                     const char *const puts[], size_t n,
                                     struct tiptrue_error *error)
{
    file->edits = TT_ARENA_NEW(&job->arena, n, struct tt_edit);
    if (file->edits == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < n; i++) {
        struct tt_edit *edit = &file->edits[file->n_edits];
        enum tiptrue_status status = tt_put_read(puts[i], &edit->put, error);
        if (status == TIPTRUE_OK && !tt_export_field_is_machine(&edit->put.field) &&
            !tt_export_is_wanted(job->options, job->solution, edit->put.field.tip,
                                 edit->put.field.tip_length)) {
            continue;
        }
        status = status == TIPTRUE_OK ? plan_edit(job, edit, error) : status;
        if (status != TIPTRUE_OK) {
            return status;
        }
        file->n_edits++;
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_export_path(const struct tiptrue_machine *machine,
                                   const struct tt_export_target *target, char **path,
                                   struct tiptrue_error *error)
{
    const char *slash = strrchr(machine->file, '/'), *name = target->file;
    struct tt_buffer made = {0};
    if (name == NULL) {
        return tt_fail(error, TIPTRUE_E_USAGE, machine->file, 0, 0, "name it by --into",
                       "the export of the machine file does not say into which file");
    }
    bool climbs = strcmp(name, "..") == 0 || strncmp(name, "../", 3) == 0 ||
                  strstr(name, "/../") != NULL ||
                  (strlen(name) >= 3 && strcmp(name + strlen(name) - 3, "/..") == 0);
    if (name[0] == '/' || climbs) {
        return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0,
                       "name such a file on the command line, by --into",
                       "'file' of the export, '%s', leads out of the machine file's folder", name);
    }
    tt_buffer_add(&made, machine->file, slash != NULL ? (size_t)(slash + 1 - machine->file) : 0);
    tt_buffer_puts(&made, name);
    return tt_buffer_hand_over(&made, path, NULL, error);
}

static enum tiptrue_status add_profile(struct tt_export_job *job,
                                       const struct tt_export_target *profile,
                                       struct tiptrue_error *error)
{
    struct tt_export_file *file = &job->files[job->n_files++];
    enum tiptrue_status status;
    *file = (struct tt_export_file){.profile = profile, .named = job->options->into != NULL};
    if (file->named) {
        file->path = strdup(job->options->into);
        status = file->path != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    } else {
        status = tt_export_path(job->options->machine, profile, &file->path, error);
    }
    return status == TIPTRUE_OK ? read_puts(job, file, profile->puts, profile->n_puts, error)
                                : status;
}

/* The machine file itself, and the tips that are to be updated. */
static enum tiptrue_status plan_own(struct tt_export_job *job, struct tiptrue_error *error)
{
    const struct tiptrue_solution *solution = job->solution;
    const struct tiptrue_machine *machine = job->options->machine;
    struct tt_export_file *file = &job->files[0];
    job->n_files = 1;
    *file = (struct tt_export_file){.named = true, .path = strdup(machine->file)};
    file->edits = TT_ARENA_NEW(&job->arena, TT_OWN_EDITS * solution->n_tips, struct tt_edit);
    if (file->path == NULL || file->edits == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *tip = &solution->tips[i];
        size_t index = TT_NAMED(machine->tips, machine->n_tips, tip->name);
        if ((tip->offset_verdict != TIPTRUE_UPDATE && !tt_height_waits(tip)) ||
            !tt_export_is_wanted(job->options, solution, tip->name, strlen(tip->name))) {
            continue;
        }
        if (index == machine->n_tips) {
            return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0, "list it among the tips",
                           "has no tip '%s' to write the offset of", tt_shown_text(tip->name).text);
        }
        if (!tt_own_edits(machine, index, tip, &job->arena, file->edits, &file->n_edits)) {
            return tt_fail_memory(error);
        }
    }
    return TIPTRUE_OK;
}

static bool has_height_place(const struct tt_export_job *job, const struct tt_tip_result *tip)
{
    for (size_t k = 0; k < job->n_files; k++) {
        for (size_t j = 0; j < job->files[k].n_edits; j++) {
            const struct tt_edit *edit = &job->files[k].edits[j];
            if (strcmp(edit->tip, tip->name) == 0 && tt_export_field_is_height(&edit->put.field)) {
                return true;
            }
        }
    }
    return false;
}

/* Whether there is a place for anything of @tip but its height; for which axes of its offset. */
static bool offset_places(const struct tt_export_job *job, const struct tt_tip_result *tip,
                          bool axis[2])
{
    bool any = axis[0] = axis[1] = false;
    for (size_t k = 0; k < job->n_files; k++) {
        for (size_t j = 0; j < job->files[k].n_edits; j++) {
            const struct tt_edit *edit = &job->files[k].edits[j];
            if (strcmp(edit->tip, tip->name) == 0 && !tt_export_field_is_height(&edit->put.field)) {
                any = true;
                axis[0] = axis[0] || edit->put.field.quantity == TT_OFFSET_X;
                axis[1] = axis[1] || edit->put.field.quantity == TT_OFFSET_Y;
            }
        }
    }
    return any;
}

enum tiptrue_status tt_export_check_places(struct tt_export_job *job, struct tiptrue_error *error)
{
    if (job->options->n_put > 0) {
        return TIPTRUE_OK; /* whoever names places chooses what goes there */
    }
    for (size_t i = 0; i < job->solution->n_tips; i++) {
        const struct tt_tip_result *tip = &job->solution->tips[i];
        if (!tt_export_is_wanted(job->options, job->solution, tip->name, strlen(tip->name))) {
            continue;
        }
        if (tt_height_waits(tip) && !has_height_place(job, tip)) {
            tt_guard_height_places(&job->guards, tip);
            job->out->heights_left = true;
        }
        if (tip->offset_verdict != TIPTRUE_UPDATE) {
            continue;
        }
        bool axis[2], any = offset_places(job, tip, axis);
        if (axis[0] != axis[1] || !any) {
            return tt_fail(error, TIPTRUE_E_CONFIG,
                           job->options->machine != NULL ? job->options->machine->file : NULL, 0, 0,
                           "put offset.x and offset.y of it, or choose the tips by --tip",
                           any ? "only one axis of the offset of tip '%s' has a place, and it is "
                                 "to be updated"
                               : "tip '%s' is to be updated, and its offset has no place",
                           tt_shown_text(tip->name).text);
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_export_plan(struct tt_export_job *job, struct tiptrue_error *error)
{
    const struct tiptrue_export_options *options = job->options;
    const struct tiptrue_machine *machine = options->machine;
    size_t n_profiles = machine != NULL ? machine->n_exports : 0;
    job->files = TT_ARENA_NEW(&job->arena, n_profiles + 1, struct tt_export_file);
    if (job->files == NULL) {
        return tt_fail_memory(error);
    }
    if (job->own) {
        return plan_own(job, error);
    }
    if (options->n_put > 0) {
        if (options->into == NULL) {
            return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, NULL,
                           "--put needs --into: the file that the value is put into");
        }
        job->n_files = 1;
        job->files[0].named = true;
        job->files[0].path = strdup(options->into);
        return job->files[0].path != NULL
                   ? read_puts(job, &job->files[0], options->put, options->n_put, error)
                   : tt_fail_memory(error);
    }
    if (n_profiles == 0) {
        return tt_fail(
            error, TIPTRUE_E_USAGE, machine != NULL ? machine->file : NULL, 0, 0,
            "give --into FILE --put FIELD=PLACE, or write \"export\" into the machine file",
            machine != NULL ? "has no \"export\", and --put names no place"
                            : "neither --put nor a machine file names a place");
    }
    if (options->into != NULL && n_profiles > 1) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                       "leave --into out, or name the places by --put",
                       "--into names one file, the machine file exports into %zu", n_profiles);
    }
    for (size_t i = 0; i < n_profiles; i++) {
        enum tiptrue_status status = add_profile(job, &machine->exports[i], error);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    return TIPTRUE_OK;
}
