/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The order of an export: which files and places; what is to stand there; locks; what stands there
 * now; guards; new texts, checked in memory; files replaced one after another. Until the last step
 * nothing is written. */
#include "config.h"

#include "export/export.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "export/edit.h"
#include "export/export_parts.h"
#include "export/own.h"
#include "export/replace.h"
#include "ingest/diagnose.h"
#include "ingest/ingest.h"

/* Whether heights are all that is exported, so that the offsets' verdict does not matter. */
static bool only_heights(const struct tt_export_job *job)
{
    bool any = false;
    for (size_t i = 0; i < job->n_files; i++) {
        any = any || job->files[i].n_edits > 0;
        for (size_t j = 0; j < job->files[i].n_edits; j++) {
            if (!tt_export_field_is_height(&job->files[i].edits[j].put.field)) {
                return false;
            }
        }
    }
    return any;
}

/* Nothing of what is exported is to be written. */
static bool nothing_needed(const struct tt_export_job *job)
{
    for (size_t i = 0; i < job->n_files; i++) {
        for (size_t j = 0; j < job->files[i].n_edits; j++) {
            if (!job->files[i].edits[j].kept) {
                return false;
            }
        }
    }
    return only_heights(job) || tt_export_verdict(job->solution, job->options) != TIPTRUE_REPEAT;
}

/* Guards on how far an offset moves: what is plausible, unless the change was accepted when the run
 * was solved; and the option or the target's own limit, which counts where it is stricter. */
static void guard_change(struct tt_export_job *job, const struct tt_export_file *file)
{
    const struct tiptrue_export_options *options = job->options;
    double stated_mm = HUGE_VAL, plausible_mm = HUGE_VAL;

    if (options->has_max_change || (file->profile != NULL && file->profile->has_max_change)) {
        stated_mm = options->has_max_change ? options->max_change_mm : file->profile->max_change_mm;
    }
    if (!job->solution->change_accepted && options->machine != NULL) {
        plausible_mm = tt_plausible_change_mm(&options->machine->limits);
    }
    tt_guard_change(&job->guards, file->path, file->edits, file->n_edits,
                    fmin(stated_mm, plausible_mm), stated_mm > plausible_mm);
    tt_guard_axes(&job->guards, file->path, file->edits, file->n_edits);
}

/* The text that is edited. A file of tiptrue's own is none that a machine reads, but for the
 * machine file itself. */
static enum tiptrue_status look_at_text(struct tt_export_job *job, struct tt_export_file *file,
                                        struct tiptrue_error *error)
{
    const struct tt_bytes *read = tt_target_bytes(file->target);
    const struct tiptrue_machine *machine = job->options->machine;
    file->base = *read;
    if (!tt_own_is(machine, file->path) && tt_own_is_any(file->path, read->text, read->length)) {
        return tt_fail(error, TIPTRUE_E_CONFIG, file->path, 0, 0,
                       "name the machine's configuration, or the machine file by --machine",
                       "is a file of tiptrue's own, and is not written to");
    }
    if (!job->own) {
        return TIPTRUE_OK;
    }
    const struct tt_own_work work = {machine,
                                     job->solution->plate_serial != NULL
                                         ? job->solution->plate_serial
                                     : job->solution->plate != NULL ? job->solution->plate
                                                                    : "",
                                     file->edits, file->n_edits};
    enum tiptrue_status status = tt_own_prepare(&work, read, &file->prepared, error);
    file->base = (struct tt_bytes){file->prepared.text, file->prepared.length};
    return status;
}

/* What stands in the file now, and the guards that depend on it. */
static enum tiptrue_status look(struct tt_export_job *job, struct tt_export_file *file,
                                struct tiptrue_error *error)
{
    const struct tiptrue_export_options *options = job->options;
    bool beside = true;
    enum tiptrue_status status = tt_target_open(file->path, &file->target, error);
    if (status == TIPTRUE_OK && !file->named) {
        status = tt_target_is_beside(file->target, options->machine->file, &beside, error);
    }
    if (status == TIPTRUE_OK && !beside) {
        status = tt_fail(error, TIPTRUE_E_CONFIG, file->path, 0, 0,
                         "name such a file on the command line, by --into",
                         "is a link that leads out of the machine file's folder");
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    status = look_at_text(job, file, error);
    const struct tt_bytes *bytes = &file->base;
    if (status != TIPTRUE_OK) {
        return status;
    }
    status = tt_edits_find(file->path, bytes->text, bytes->length, file->edits, file->n_edits,
                           &job->arena, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    guard_change(job, file);
    tt_edits_apply(bytes->text, bytes->length, file->edits, file->n_edits, &file->new);
    if (file->new.failed) {
        return tt_fail_memory(error);
    }
    const struct tt_bytes *read = tt_target_bytes(file->target);
    file->changes =
        file->new.length != read->length || memcmp(file->new.text, read->text, read->length) != 0;
    return tt_edits_verify(file->path, bytes->text, bytes->length, file->new.text, file->new.length,
                           file->edits, file->n_edits, error);
}

/* The guards that the files' contents have no part in. */
static void guard(struct tt_export_job *job)
{
    const struct tiptrue_export_options *options = job->options;
    bool has_age = options->has_max_age;
    double max_age_s = options->max_age_s;
    for (size_t i = 0; i < job->n_files && !options->has_max_age; i++) {
        const struct tt_export_target *profile = job->files[i].profile;
        if (profile != NULL && profile->has_max_age &&
            (!has_age || profile->max_age_s < max_age_s)) {
            has_age = true;
            max_age_s = profile->max_age_s;
        }
    }
    bool alone = only_heights(job);
    if (!alone || job->solution->least_squares) {
        tt_guard_verdict(&job->guards, job->solution, options);
    }
    for (size_t i = 0; i < job->n_files; i++) {
        tt_guard_heights(&job->guards, job->files[i].edits, job->files[i].n_edits, alone);
    }
    tt_guard_machine(&job->guards, job->solution, options->machine);
    if (has_age) {
        tt_guard_age(&job->guards, job->solution, max_age_s, options->now_s);
    }
    for (size_t i = 0; i < job->n_files; i++) {
        tt_guard_plate(&job->guards, job->solution, options->machine,
                       i == 0 ? options->plate : NULL, job->files[i].edits, job->files[i].n_edits);
    }
}

/* "t1.offset.x  -41.3000 -> -41.3012  (line 12, change -0.0012 mm)" for each value. */
static void report_values(struct tt_export_job *job, const struct tt_export_file *file)
{
    struct tt_buffer *to = &job->out->text;
    for (size_t i = 0; i < file->n_edits; i++) {
        const struct tt_edit *edit = &file->edits[i];
        tt_buffer_printf(to, "%s:%zu: ", file->path, edit->line);
        tt_buffer_add(to, edit->put.field.text, edit->put.field.length);
        bool machine = tt_export_field_is_machine(&edit->put.field);
        if (edit->kept && machine) {
            tt_buffer_printf(to, " stays %s (it is not shown to be off)\n", edit->old_text);
            continue;
        }
        if (edit->kept) {
            tt_buffer_printf(to, " stays %s (the verdict of %s is %s)\n", edit->old_text, edit->tip,
                             edit->verdict == TIPTRUE_KEEP ? "keep" : "repeat");
            continue;
        }
        tt_buffer_printf(to, " %s -> %s (change ", edit->old_text, edit->new_text);
        tt_number_write_fixed(to, edit->new_mm - edit->old_mm, machine ? 7 : 5, true);
        tt_buffer_puts(to, machine ? ")\n" : " mm)\n");
    }
}

/* What the last check before the replacement works with. */
struct last_look {
    struct tt_export_job *job;
    struct tt_export_file *file;
};

/* The new file, as it lies on the disk, is what was meant. What there is to say of it is put down
 * now: behind the replacement nothing may fail for want of memory. */
static enum tiptrue_status last_look(void *context, const char *text, size_t length,
                                     const char *backup, struct tiptrue_error *error)
{
    struct last_look *look_at = context;
    struct tt_exported *out = look_at->job->out;
    const struct tt_export_file *file = look_at->file;
    const struct tt_bytes *old = tt_target_bytes(file->target);
    enum tiptrue_status status = tt_edits_verify(file->path, file->base.text, file->base.length,
                                                 text, length, file->edits, file->n_edits, error);
    if (status == TIPTRUE_OK && look_at->job->own) {
        struct tiptrue_machine *machine = NULL;
        status = tt_machine_read_bytes(file->path, text, length, NULL, &machine, error);
        tiptrue_machine_free(machine);
    }
    if (status == TIPTRUE_OK) {
        status = tt_exported_add(out, file->path, backup, old, &file->new, file->edits,
                                 file->n_edits, error);
    }
    tt_buffer_printf(&out->text, "%s: written; the old file is %s\n", file->path, backup);
    return status == TIPTRUE_OK && out->text.failed ? tt_fail_memory(error) : status;
}

static enum tiptrue_status write_file(struct tt_export_job *job, struct tt_export_file *file,
                                      struct tiptrue_error *error)
{
    struct last_look context = {job, file};
    const struct tt_check check = {last_look, &context};
    size_t written = job->out->n_files;
    char *backup = NULL;
    if (!file->changes) {
        tt_buffer_printf(&job->out->text, "%s: holds these values already; not written\n",
                         file->path);
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = tt_target_replace(file->target, file->new.text, file->new.length,
                                                   job->options->now_s, &check, &backup, error);
    free(backup);
    if (status != TIPTRUE_OK) {
        job->out->n_files = written;
    }
    return status;
}

/* The files that were written before one failed get their old text back: all, or none. What cannot
 * be put back is told. */
static void put_back(struct tt_export_job *job)
{
    for (size_t i = job->out->n_files; i-- > 0;) {
        const char *path = job->out->files[i].file;
        struct tiptrue_exported *undone = NULL;
        struct tiptrue_diagnostic told = {TIPTRUE_WARNING,
                                          path,
                                          0,
                                          0,
                                          "was written before the export failed, and is as it was "
                                          "before again",
                                          NULL};
        if (tiptrue_export_undo(path, false, job->options->now_s, &undone, NULL) != TIPTRUE_OK) {
            told.text = "was written before the export failed";
            told.hint = "--undo puts the old file back";
        }
        tiptrue_exported_free(undone);
        tt_tell(job->guards.sink, &told);
    }
}

static enum tiptrue_status write_files(struct tt_export_job *job, struct tiptrue_error *error)
{
    for (size_t i = 0; i < job->n_files; i++) {
        report_values(job, &job->files[i]);
        enum tiptrue_status status = write_file(job, &job->files[i], error);
        if (status != TIPTRUE_OK) {
            put_back(job);
            return status;
        }
    }
    return TIPTRUE_OK;
}

static void show_files(struct tt_export_job *job)
{
    for (size_t i = 0; i < job->n_files; i++) {
        const struct tt_bytes *old = tt_target_bytes(job->files[i].target);
        tt_diff_write(job->files[i].path, old->text, old->length, job->files[i].new.text,
                      job->files[i].new.length, &job->out->text);
    }
}

static enum tiptrue_status run(struct tt_export_job *job, struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_export_plan(job, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    guard(job);
    if (job->guards.refusals == 0) {
        status = tt_export_check_places(job, error);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (job->guards.refusals == 0 && nothing_needed(job)) {
        job->out->nothing_needed = true;
        tt_buffer_puts(&job->out->text,
                       job->solution->verdict == TIPTRUE_KEEP
                           ? "nothing to do: the verdict is keep, the present offsets stay\n"
                           : "nothing to do: what is exported stays as it is\n");
        return TIPTRUE_OK;
    }
    for (size_t i = 0; i < job->n_files && status == TIPTRUE_OK; i++) {
        status = look(job, &job->files[i], error);
    }
    if (status != TIPTRUE_OK || job->guards.refusals > 0) {
        return status != TIPTRUE_OK ? status : TIPTRUE_E_DATA;
    }
    if (job->options->dry_run) {
        show_files(job);
        return TIPTRUE_OK;
    }
    return write_files(job, error);
}

static void clear(struct tt_export_job *job)
{
    for (size_t i = 0; i < job->n_files; i++) {
        tt_target_free(job->files[i].target);
        tt_buffer_clear(&job->files[i].new);
        tt_buffer_clear(&job->files[i].prepared);
        free(job->files[i].path);
    }
    tt_arena_clear(&job->arena);
}

static enum tiptrue_status run_job(const struct tiptrue_solution *solution,
                                   const struct tiptrue_export_options *options, bool own,
                                   const struct tiptrue_sink *sink,
                                   struct tiptrue_exported **exported, struct tiptrue_error *error)
{
    struct tt_exported *out = NULL;
    enum tiptrue_status status = tt_exported_new(&out, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    struct tt_export_job job = {.solution = solution,
                                .options = options,
                                .own = own,
                                .guards = {.sink = sink, .forced = options->force, .error = error},
                                .out = out};
    status = run(&job, error);
    clear(&job);
    return tt_exported_finish(out, status, exported, error);
}

enum tiptrue_status tiptrue_export(const struct tiptrue_solution *solution,
                                   const struct tiptrue_export_options *options,
                                   const struct tiptrue_sink *sink,
                                   struct tiptrue_exported **exported, struct tiptrue_error *error)
{
    return run_job(solution, options, false, sink, exported, error);
}

enum tiptrue_status tt_export_own(const struct tiptrue_solution *solution,
                                  const struct tiptrue_export_options *options,
                                  const struct tiptrue_sink *sink,
                                  struct tiptrue_exported **exported, struct tiptrue_error *error)
{
    return run_job(solution, options, true, sink, exported, error);
}
