/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A part of the public interface: what stands around a job, so which files belong together, and
 * whether the job may start. Include tiptrue.h, whose rules hold here too. */
#ifndef TT_TIPTRUE_DAILY_H
#define TT_TIPTRUE_DAILY_H

#include "tiptrue.h"

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

/* What a log says of itself before its rows; NULL = not stated. Each is malloc'ed, the caller's, to
 * be given to tiptrue_log_head_clear. */
struct tiptrue_log_head {
    char *machine, *plate, *plate_serial, *started; /* started: RFC 3339, as stated */
    bool is_run_log;  /* a run log by itself (CSV or JSON); false: if anything, a controller's */
    bool is_document; /* JSON, but no run log */
};
/* Look at the beginning of the file @path. Faults are no failure: what cannot be read is not
 * stated, and reading the log tells why. TIPTRUE_E_MEMORY only. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_log_head_read(const char *path, struct tiptrue_log_head *head, struct tiptrue_error *error);
void tiptrue_log_head_clear(struct tiptrue_log_head *head);

/* What a machine file says of itself and of the other files; all live as long as @machine. */
const char *tiptrue_machine_name(const struct tiptrue_machine *machine);
const char *tiptrue_machine_pattern(const struct tiptrue_machine *machine); /* NULL: none */
bool tiptrue_machine_has_plate(const struct tiptrue_machine *machine);
/* Whether it says how old a run may be that a job starts from; then *max_age_s is that. */
bool tiptrue_machine_max_age(const struct tiptrue_machine *machine, double *max_age_s);

enum tiptrue_machine_file {
    TIPTRUE_MACHINE_PLAN,
    TIPTRUE_MACHINE_HISTORY,
    TIPTRUE_MACHINE_REPORTS /* a folder */
};
/* The path of the file that @machine names, seen from the current folder, for free(); *path NULL:
 * it names none. TIPTRUE_E_CONFIG: a history or folder of reports, which are written to, leads out
 * of the machine file's folder. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_machine_path(const struct tiptrue_machine *machine,
                                                          enum tiptrue_machine_file which,
                                                          char **path, struct tiptrue_error *error);
/* The plate file of @machine; of several the one whose serial (or name) @head states. *path as
 * above. TIPTRUE_E_DATA: there are several, and @head (may be NULL) does not choose one. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_machine_plate_path(const struct tiptrue_machine *machine,
                           const struct tiptrue_log_head *head, char **path,
                           struct tiptrue_error *error);
/* Of the files that match the "log" pattern of @machine the one that was started last; logs that do
 * not say when count by the time of the file. *path as above. TIPTRUE_E_NO_INPUT: there is none, or
 * no pattern. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_machine_newest_log(const struct tiptrue_machine *machine, char **path,
                           struct tiptrue_error *error);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif

#ifdef __cplusplus
}
#endif

#endif
