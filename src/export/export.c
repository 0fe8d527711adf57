/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The order of an export: which files and places; what is to stand there; locks; what stands there
 * now; guards; new texts, checked in memory; files replaced one after another. Until the last step
 * nothing is written. */
#include "config.h"

#include "export/export.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "export/diff.h"
#include "export/edit.h"
#include "export/exported.h"
#include "export/guard.h"
#include "export/replace.h"

/* One file and what goes into it. */
struct file {
    char *path;                             /* for free() */
    bool named;                             /* by the caller, not by the machine file */
    const struct tt_export_target *profile; /* NULL: there is none */
    struct tt_target *target;
    struct tt_edit *edits;
    size_t n_edits;
    struct tt_buffer new;
    bool changes;
};

struct job {
    const struct tiptrue_solution *solution;
    const struct tiptrue_export_options *options;
    struct file *files;
    size_t n_files;
    struct tt_arena arena;
    struct tt_guards guards;
    struct tt_exported *out;
};

static enum tiptrue_status read_puts(struct job *job, struct file *file, const char *const puts[],
                                     size_t n, struct tiptrue_error *error)
{
    const struct tiptrue_solution *solution = job->solution;
    bool clockwise =
        solution->rotation_sense != NULL && strcmp(solution->rotation_sense, "cw") == 0;
    file->edits = TT_ARENA_NEW(&job->arena, n, struct tt_edit);
    if (file->edits == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < n; i++) {
        struct tt_edit *edit = &file->edits[file->n_edits];
        enum tiptrue_status status = tt_put_read(puts[i], &edit->put, error);
        if (status == TIPTRUE_OK &&
            !tt_export_is_wanted(job->options, solution, edit->put.field.tip,
                                 edit->put.field.tip_length)) {
            continue;
        }
        const struct tt_tip_result *tip =
            status == TIPTRUE_OK ? tt_export_field_tip(&edit->put.field, solution, error) : NULL;
        if (tip == NULL) {
            return status != TIPTRUE_OK ? status : TIPTRUE_E_DATA;
        }
        if (edit->put.field.has_rotation && solution->rotation_sense == NULL) {
            return tt_export_no_sense(&edit->put.field, error);
        }
        edit->tip = tip->name;
        edit->kept =
            tip->verdict == TIPTRUE_KEEP && (job->options->force & TIPTRUE_GUARD_VERDICT) == 0;
        status = edit->kept
                     ? TIPTRUE_OK
                     : tt_export_field_value(&edit->put.field, tip, edit->put.field.rotation_deg,
                                             clockwise, &edit->value_mm, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
        file->n_edits++;
    }
    return TIPTRUE_OK;
}

/* "file" of a profile: a name beside the machine file, never one that leads elsewhere. */
static enum tiptrue_status profile_path(const struct tiptrue_machine *machine, const char *name,
                                        char **path, struct tiptrue_error *error)
{
    const char *slash = strrchr(machine->file, '/');
    struct tt_buffer made = {0};
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
    if (made.failed) {
        tt_buffer_clear(&made);
        return tt_fail_memory(error);
    }
    *path = made.text;
    return TIPTRUE_OK;
}

static enum tiptrue_status add_profile(struct job *job, const struct tt_export_target *profile,
                                       struct tiptrue_error *error)
{
    struct file *file = &job->files[job->n_files++];
    enum tiptrue_status status;
    *file = (struct file){.profile = profile, .named = job->options->into != NULL};
    if (profile->file == NULL && !file->named) {
        return tt_fail(error, TIPTRUE_E_USAGE, job->options->machine->file, 0, 0,
                       "name it by --into",
                       "the export of the machine file does not say into which file");
    }
    if (file->named) {
        file->path = strdup(job->options->into);
        status = file->path != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    } else {
        status = profile_path(job->options->machine, profile->file, &file->path, error);
    }
    return status == TIPTRUE_OK ? read_puts(job, file, profile->puts, profile->n_puts, error)
                                : status;
}

/* Files and places: of the command line, or of the machine file. */
static enum tiptrue_status plan(struct job *job, struct tiptrue_error *error)
{
    const struct tiptrue_export_options *options = job->options;
    const struct tiptrue_machine *machine = options->machine;
    size_t n_profiles = machine != NULL ? machine->n_exports : 0;
    job->files = TT_ARENA_NEW(&job->arena, n_profiles + 1, struct file);
    if (job->files == NULL) {
        return tt_fail_memory(error);
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

/* The verdict is keep for every tip that is exported. */
static bool nothing_needed(const struct job *job)
{
    for (size_t i = 0; i < job->n_files; i++) {
        for (size_t j = 0; j < job->files[i].n_edits; j++) {
            if (!job->files[i].edits[j].kept) {
                return false;
            }
        }
    }
    return tt_export_verdict(job->solution, job->options) != TIPTRUE_REPEAT;
}

/* Guards on how far an offset moves: what is plausible, unless the change was accepted when the run
 * was solved; and the option or the target's own limit, which counts where it is stricter. */
static void guard_change(struct job *job, const struct file *file)
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
}

/* What stands in the file now, and the guards that depend on it. */
static enum tiptrue_status look(struct job *job, struct file *file, struct tiptrue_error *error)
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
    const struct tt_bytes *bytes = tt_target_bytes(file->target);
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
    file->changes = file->new.length != bytes->length ||
                    memcmp(file->new.text, bytes->text, bytes->length) != 0;
    return tt_edits_verify(file->path, bytes->text, bytes->length, file->new.text, file->new.length,
                           file->edits, file->n_edits, error);
}

/* The guards that the files' contents have no part in. */
static void guard(struct job *job)
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
    tt_guard_verdict(&job->guards, job->solution, options);
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
static void report_values(struct job *job, const struct file *file)
{
    struct tt_buffer *to = &job->out->text;
    for (size_t i = 0; i < file->n_edits; i++) {
        const struct tt_edit *edit = &file->edits[i];
        tt_buffer_printf(to, "%s:%zu: ", file->path, edit->line);
        tt_buffer_add(to, edit->put.field.text, edit->put.field.length);
        if (edit->kept) {
            tt_buffer_printf(to, " stays %s (the verdict of %s is keep)\n", edit->old_text,
                             edit->tip);
            continue;
        }
        tt_buffer_printf(to, " %s -> %s (change ", edit->old_text, edit->new_text);
        tt_number_write_fixed(to, edit->new_mm - edit->old_mm, 5, true);
        tt_buffer_puts(to, " mm)\n");
    }
}

/* What the last check before the replacement works with. */
struct last_look {
    struct job *job;
    struct file *file;
};

/* The new file, as it lies on the disk, is what was meant. What there is to say of it is put down
 * now: behind the replacement nothing may fail for want of memory. */
static enum tiptrue_status last_look(void *context, const char *text, size_t length,
                                     const char *backup, struct tiptrue_error *error)
{
    struct last_look *look_at = context;
    struct tt_exported *out = look_at->job->out;
    const struct file *file = look_at->file;
    const struct tt_bytes *old = tt_target_bytes(file->target);
    enum tiptrue_status status = tt_edits_verify(file->path, old->text, old->length, text, length,
                                                 file->edits, file->n_edits, error);
    if (status == TIPTRUE_OK) {
        status = tt_exported_add(out, file->path, backup, old, &file->new, file->edits,
                                 file->n_edits, error);
    }
    tt_buffer_printf(&out->text, "%s: written; the old file is %s\n", file->path, backup);
    return status == TIPTRUE_OK && out->text.failed ? tt_fail_memory(error) : status;
}

static enum tiptrue_status write_file(struct job *job, struct file *file,
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

/* All files, or the first that fails: those before it are told, and have their copies. */
static enum tiptrue_status write_files(struct job *job, struct tiptrue_error *error)
{
    for (size_t i = 0; i < job->n_files; i++) {
        report_values(job, &job->files[i]);
        enum tiptrue_status status = write_file(job, &job->files[i], error);
        if (status != TIPTRUE_OK && job->out->n_files > 0 && job->guards.sink != NULL &&
            job->guards.sink->told != NULL) {
            const struct tiptrue_diagnostic told = {TIPTRUE_WARNING,
                                                    job->out->files[0].file,
                                                    0,
                                                    0,
                                                    "was written before the export failed",
                                                    "--undo puts the old file back"};
            job->guards.sink->told(job->guards.sink->context, &told);
        }
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    return TIPTRUE_OK;
}

static void show_files(struct job *job)
{
    for (size_t i = 0; i < job->n_files; i++) {
        const struct tt_bytes *old = tt_target_bytes(job->files[i].target);
        tt_diff_write(job->files[i].path, old->text, old->length, job->files[i].new.text,
                      job->files[i].new.length, &job->out->text);
    }
}

static enum tiptrue_status run(struct job *job, struct tiptrue_error *error)
{
    enum tiptrue_status status = plan(job, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    guard(job);
    if (job->guards.refusals == 0 && nothing_needed(job)) {
        job->out->nothing_needed = true;
        tt_buffer_puts(&job->out->text,
                       "nothing to do: the verdict is keep, the present offsets stay\n");
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

static void clear(struct job *job)
{
    for (size_t i = 0; i < job->n_files; i++) {
        tt_target_free(job->files[i].target);
        tt_buffer_clear(&job->files[i].new);
        free(job->files[i].path);
    }
    tt_arena_clear(&job->arena);
}

enum tiptrue_status tt_export(const struct tiptrue_solution *solution,
                              const struct tiptrue_export_options *options,
                              const struct tiptrue_sink *sink, struct tiptrue_exported **exported,
                              struct tiptrue_error *error)
{
    struct tt_exported *out = NULL;
    enum tiptrue_status status = tt_exported_new(&out, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    struct job job = {.solution = solution,
                      .options = options,
                      .guards = {.sink = sink, .forced = options->force, .error = error},
                      .out = out};
    status = run(&job, error);
    clear(&job);
    return tt_exported_finish(out, status, exported, error);
}

static enum tiptrue_status undo(struct tt_target *target, bool dry_run, double now_s,
                                struct tt_exported *out, struct tiptrue_error *error)
{
    char *backup = NULL;
    struct tt_bytes old = {0};
    const struct tt_bytes *present = tt_target_bytes(target);
    enum tiptrue_status status = tt_target_backup(target, &backup, &old, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (dry_run) {
        tt_diff_write(tt_target_name(target), present->text, present->length, old.text, old.length,
                      &out->text);
    } else {
        tt_buffer_printf(&out->text, "%s: put back from %s\n", tt_target_name(target), backup);
        status = out->text.failed
                     ? tt_fail_memory(error)
                     : tt_target_replace(target, old.text, old.length, now_s, NULL, NULL, error);
    }
    free(backup);
    tt_bytes_clear(&old);
    return status;
}

enum tiptrue_status tt_export_undo(const char *config, bool dry_run, double now_s,
                                   struct tiptrue_exported **exported, struct tiptrue_error *error)
{
    struct tt_exported *out = NULL;
    struct tt_target *target = NULL;
    enum tiptrue_status status = tt_exported_new(&out, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    status = tt_target_open(config, &target, error);
    status = status == TIPTRUE_OK ? undo(target, dry_run, now_s, out, error) : status;
    tt_target_free(target);
    return tt_exported_finish(out, status, exported, error);
}
