/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The way back: of one file, or of all that the last export wrote together. */
#include "config.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "export/edit.h"
#include "export/export.h"
#include "export/exported.h"
#include "export/replace_parts.h"

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

/* Date and rest of the newest copy that @path would be put back from, "2026-03-02T074000Z", into
 * @date; "": it is not as an export left it. */
static void date_of_copy(const char *path, char date[32])
{
    struct tt_target *target = NULL;
    struct tt_bytes old = {0};
    char *backup = NULL;
    date[0] = '\0';
    if (tt_target_open(path, &target, NULL) == TIPTRUE_OK &&
        tt_target_backup(target, &backup, &old, NULL) == TIPTRUE_OK) {
        const char *name = strrchr(backup, '/');
        snprintf(date, 32, "%.18s", name + 1 + strlen(target->base) + 1); /* NAME.DATE-... */
    }
    free(backup);
    tt_bytes_clear(&old);
    tt_target_free(target);
}

/* A file of the machine's and the date of the copy that it would be put back from. */
struct dated {
    char *path; /* for free() */
    char date[32];
};

/* All files that the machine's offsets may be in. */
static enum tiptrue_status date_all(const struct tiptrue_machine *machine, struct dated files[],
                                    size_t n, struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    for (size_t i = 0; i < n && status == TIPTRUE_OK; i++) {
        if (machine->n_exports > 0) {
            status = tt_export_path(machine, &machine->exports[i], &files[i].path, error);
        } else if ((files[i].path = strdup(machine->file)) == NULL) {
            status = tt_fail_memory(error);
        }
        if (status == TIPTRUE_OK) {
            date_of_copy(files[i].path, files[i].date);
        }
    }
    return status;
}

/* Those of the newest date, which were written together; where none has one, the first tells why.
 */
static enum tiptrue_status undo_newest(const struct dated files[], size_t n, bool dry_run,
                                       double now_s, struct tt_exported *out,
                                       struct tiptrue_error *error)
{
    const char *newest = "";
    enum tiptrue_status status = TIPTRUE_OK;
    for (size_t i = 0; i < n; i++) {
        newest = strcmp(files[i].date, newest) > 0 ? files[i].date : newest;
    }
    for (size_t i = 0; i < n && status == TIPTRUE_OK; i++) {
        struct tt_target *target = NULL;
        if (strcmp(files[i].date, newest) == 0) {
            status = tt_target_open(files[i].path, &target, error);
            status = status == TIPTRUE_OK ? undo(target, dry_run, now_s, out, error) : status;
            tt_target_free(target);
        }
    }
    return status;
}

enum tiptrue_status tiptrue_ready_undo(const struct tiptrue_machine *machine, bool dry_run,
                                       double now_s, struct tiptrue_exported **exported,
                                       struct tiptrue_error *error)
{
    size_t n = machine->n_exports > 0 ? machine->n_exports : 1;
    struct tt_exported *out = NULL;
    struct dated *files = calloc(n, sizeof *files);
    enum tiptrue_status status =
        files != NULL ? tt_exported_new(&out, error) : tt_fail_memory(error);
    if (status != TIPTRUE_OK) {
        free(files);
        return status;
    }
    status = date_all(machine, files, n, error);
    status = status == TIPTRUE_OK ? undo_newest(files, n, dry_run, now_s, out, error) : status;
    for (size_t i = 0; i < n; i++) {
        free(files[i].path);
    }
    free(files);
    return tt_exported_finish(out, status, exported, error);
}

enum tiptrue_status tiptrue_export_undo(const char *config, bool dry_run, double now_s,
                                        struct tiptrue_exported **exported,
                                        struct tiptrue_error *error)
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
