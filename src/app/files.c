/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The other files that a machine file names, found from where it is. */
#include "config.h"

#include <glob.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/buffer.h"
#include "base/status.h"
#include "base/time.h"
#include "ingest/diagnose.h"
#include "ingest/ingest.h"
#include "tiptrue.h"

const char *tiptrue_machine_name(const struct tiptrue_machine *machine)
{
    return machine->name;
}

const char *tiptrue_machine_pattern(const struct tiptrue_machine *machine)
{
    return machine->files.pattern;
}

bool tiptrue_machine_has_plate(const struct tiptrue_machine *machine)
{
    return machine->files.n_plates > 0;
}

bool tiptrue_machine_max_age(const struct tiptrue_machine *machine, double *max_age_s)
{
    if (machine->files.has_max_age) {
        *max_age_s = machine->files.max_age_s;
    }
    return machine->files.has_max_age;
}

/* @name as the machine file wrote it, seen from the current folder. */
static enum tiptrue_status beside(const struct tiptrue_machine *machine, const char *name,
                                  char **path, struct tiptrue_error *error)
{
    const char *slash = strrchr(machine->file, '/');
    struct tt_buffer made = {0};
    if (name[0] != '/' && slash != NULL) {
        tt_buffer_add(&made, machine->file, (size_t)(slash + 1 - machine->file));
    }
    tt_buffer_puts(&made, name);
    return tt_buffer_hand_over(&made, path, NULL, error);
}

/* Whether the path @name, as written, may lead out of the folder that it is relative to. */
static bool leads_out(const char *name)
{
    size_t length = strlen(name);
    return name[0] == '/' || strcmp(name, "..") == 0 || strncmp(name, "../", 3) == 0 ||
           strstr(name, "/../") != NULL || (length >= 3 && strcmp(name + length - 3, "/..") == 0);
}

enum tiptrue_status tiptrue_machine_path(const struct tiptrue_machine *machine,
                                         enum tiptrue_machine_file which, char **path,
                                         struct tiptrue_error *error)
{
    static const char *const KEYS[] = {[TIPTRUE_MACHINE_PLAN] = "plan",
                                       [TIPTRUE_MACHINE_HISTORY] = "history",
                                       [TIPTRUE_MACHINE_REPORTS] = "report_folder"};
    const char *const names[] = {[TIPTRUE_MACHINE_PLAN] = machine->files.plan,
                                 [TIPTRUE_MACHINE_HISTORY] = machine->files.history,
                                 [TIPTRUE_MACHINE_REPORTS] = machine->files.report_folder};
    *path = NULL;
    if (names[which] == NULL) {
        return TIPTRUE_OK;
    }
    if (which != TIPTRUE_MACHINE_PLAN && leads_out(names[which])) {
        return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0,
                       which == TIPTRUE_MACHINE_HISTORY
                           ? "name such a file on the command line, by --history"
                           : "name such a file on the command line, by --report",
                       "'%s', '%s', leads out of the machine file's folder", KEYS[which],
                       tt_shown_text(names[which]).text);
    }
    return beside(machine, names[which], path, error);
}

/* Whether the plate at @path is the one that @head states, by serial or, where the log gives only
 * one word for its plate, by either. A plate that cannot be read is none. */
static bool is_plate_of(const char *path, const struct tiptrue_log_head *head)
{
    struct tiptrue_plate *plate = NULL;
    bool same = false;
    if (tiptrue_plate_read(path, NULL, &plate, NULL) != TIPTRUE_OK) {
        return false;
    }
    if (head->plate_serial != NULL) {
        same = plate->serial != NULL && strcmp(plate->serial, head->plate_serial) == 0;
    } else if (head->plate != NULL) {
        same = strcmp(plate->name, head->plate) == 0 ||
               (plate->serial != NULL && strcmp(plate->serial, head->plate) == 0);
    }
    tiptrue_plate_free(plate);
    return same;
}

/* Told that of several plates not one is that of the log, but @found. */
static enum tiptrue_status which_plate(const struct tiptrue_machine *machine,
                                       const struct tiptrue_log_head *head, size_t found,
                                       struct tiptrue_error *error)
{
    static const char HINT[] =
        "let the log say '# plate_serial: ...', or name the plate by --plate";
    const char *word = head == NULL                 ? NULL
                       : head->plate_serial != NULL ? head->plate_serial
                                                    : head->plate;
    size_t n = machine->files.n_plates;
    if (word == NULL) {
        return tt_fail(error, TIPTRUE_E_DATA, machine->file, 0, 0, HINT,
                       "names %zu plates, and the log does not say which of them was touched", n);
    }
    return tt_fail(error, TIPTRUE_E_DATA, machine->file, 0, 0, HINT,
                   found == 0 ? "names %zu plates, and none of them is that of the log, '%s'"
                              : "names %zu plates, and several of them are that of the log, '%s'",
                   n, tt_shown_text(word).text);
}

enum tiptrue_status tiptrue_machine_plate_path(const struct tiptrue_machine *machine,
                                               const struct tiptrue_log_head *head, char **path,
                                               struct tiptrue_error *error)
{
    const struct tt_machine_files *files = &machine->files;
    enum tiptrue_status status = TIPTRUE_OK;
    size_t found = 0;
    char *chosen = NULL;
    if (files->n_plates == 1) {
        return beside(machine, files->plates[0], path, error);
    }
    for (size_t i = 0; i < files->n_plates && head != NULL && status == TIPTRUE_OK; i++) {
        char *candidate = NULL;
        status = beside(machine, files->plates[i], &candidate, error);
        if (status == TIPTRUE_OK && is_plate_of(candidate, head)) {
            found++;
            free(chosen);
            chosen = candidate;
        } else {
            free(candidate);
        }
    }
    if (status == TIPTRUE_OK && files->n_plates > 0 && found != 1) {
        status = which_plate(machine, head, found, error);
    }
    if (status != TIPTRUE_OK) {
        free(chosen);
        return status;
    }
    *path = chosen;
    return TIPTRUE_OK;
}

/* When the log at @path was started, seconds from 1970-01-01T00:00:00Z; -HUGE_VAL: it is no file.
 */
static enum tiptrue_status start_of(const char *path, double *started_s,
                                    struct tiptrue_error *error)
{
    struct tiptrue_log_head head;
    struct stat about;
    *started_s = -HUGE_VAL;
    if (stat(path, &about) != 0 || !S_ISREG(about.st_mode)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = tiptrue_log_head_read(path, &head, error);
    if (status == TIPTRUE_OK) {
        if (head.started == NULL || !tt_time_read(head.started, strlen(head.started), started_s)) {
            *started_s = (double)about.st_mtim.tv_sec + 1e-9 * (double)about.st_mtim.tv_nsec;
        }
        tiptrue_log_head_clear(&head);
    }
    return status;
}

/* The "log" pattern, seen from the current folder; what is special to glob is not so in the
 * folder's own name. */
static enum tiptrue_status pattern_beside(const struct tiptrue_machine *machine, char **pattern,
                                          struct tiptrue_error *error)
{
    const char *name = machine->files.log, *slash = strrchr(machine->file, '/');
    struct tt_buffer made = {0};
    for (const char *at = machine->file; name[0] != '/' && slash != NULL && at <= slash; at++) {
        if (strchr("*?[\\", *at) != NULL) {
            tt_buffer_putc(&made, '\\');
        }
        tt_buffer_putc(&made, *at);
    }
    tt_buffer_puts(&made, name);
    return tt_buffer_hand_over(&made, pattern, NULL, error);
}

enum tiptrue_status tiptrue_machine_newest_log(const struct tiptrue_machine *machine, char **path,
                                               struct tiptrue_error *error)
{
    glob_t found = {0};
    char *pattern = NULL;
    double newest_s = -HUGE_VAL;
    size_t newest = 0;
    if (machine->files.log == NULL) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, machine->file, 0, 0,
                       "name the log, or let the machine file say \"log\": \"logs/*.csv\"",
                       "does not say where the logs are, and no log is named");
    }
    enum tiptrue_status status = pattern_beside(machine, &pattern, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    int code = glob(pattern, 0, NULL, &found); /* by name: of equal starts the last one counts */
    if (code == GLOB_NOSPACE) {
        status = tt_fail_memory(error);
    }
    for (size_t i = 0; code == 0 && i < found.gl_pathc && status == TIPTRUE_OK; i++) {
        double started_s;
        status = start_of(found.gl_pathv[i], &started_s, error);
        if (status == TIPTRUE_OK && started_s >= newest_s && started_s > -HUGE_VAL) {
            newest_s = started_s;
            newest = i;
        }
    }
    if (status == TIPTRUE_OK && newest_s == -HUGE_VAL) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, machine->file, 0, 0,
                         "name the log, or correct \"log\"", "no file matches its \"log\", '%s'",
                         tt_shown_text(pattern).text);
    } else if (status == TIPTRUE_OK) {
        *path = strdup(found.gl_pathv[newest]);
        status = *path != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    }
    globfree(&found);
    free(pattern);
    return status;
}
