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

/* What the offsets in use are compared from. */

/* Forget the offsets in use: there are none yet. */
void tiptrue_machine_present_none(struct tiptrue_machine *machine);
/* Say with which plates the offsets in use, as @machine has them, were found: where an export that
 * @history knows wrote what stands there now, with the plate of the exported run; else as the
 * machine file says (tiptrue_machine_present). An export that was written but, since the program
 * was ended, not entered, is entered now, dated @now_s (writable histories only). */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_present(struct tiptrue_history *history,
                                                             struct tiptrue_machine *machine,
                                                             double now_s,
                                                             struct tiptrue_error *error);

/* Before a job: may it start? */

enum tiptrue_readiness {
    TIPTRUE_READY_START,  /* the offsets in use are kept, or the new ones were written and read back
                           */
    TIPTRUE_READY_UPDATE, /* new offsets are to be written first */
    TIPTRUE_READY_STOP    /* the run must be repeated */
};

struct tiptrue_ready;

struct tiptrue_ready_options {
    double now_s; /* seconds from 1970-01-01T00:00:00Z */
    bool has_max_age;
    double max_age_s;        /* a run started longer ago is refused */
    const char *const *tips; /* the tips that are wanted, n_tips of them; 0: all in use */
    size_t n_tips;
    bool accept_change;  /* as in tiptrue_solve_options */
    const char *pattern; /* with which the run was read, NULL: none */
};

/* What a run is judged with; plan may be NULL. */
struct tiptrue_ready_inputs {
    struct tiptrue_workspace *workspace;
    struct tiptrue_history *history;
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_plan *plan;
    const struct tiptrue_run *run; /* read by tiptrue_run_read_whole */
};

/* Judge the run: solve it with what the history knows, enter it there, hold it against the runs
 * before it. *ready becomes the caller's; it borrows plate and machine. TIPTRUE_E_DATA: the run is
 * stale, its clock is wrong, or the history has a later one of this machine (a run that is not
 * known yet is entered all the same). */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_ready_make(const struct tiptrue_ready_inputs *inputs,
                                                        const struct tiptrue_ready_options *options,
                                                        const struct tiptrue_sink *sink,
                                                        struct tiptrue_ready **ready,
                                                        struct tiptrue_error *error);
void tiptrue_ready_free(struct tiptrue_ready *ready);
enum tiptrue_readiness tiptrue_ready_state(const struct tiptrue_ready *ready);
/* Both live as long as @ready; the id is that of the run. */
const struct tiptrue_solution *tiptrue_ready_solution(const struct tiptrue_ready *ready);
const char *tiptrue_ready_id(const struct tiptrue_ready *ready);

/* Write the new offsets (TIPTRUE_READY_UPDATE only) where the machine has them: into what its file
 * exports to, else into the machine file itself; read them back, and enter the export into
 * @history. Then the state is TIPTRUE_READY_START. @dry_run: the change as a unified diff, which
 * tiptrue_ready_diff then gives, and nothing is written. Failures as tiptrue_export; TIPTRUE_E_IO
 * where what was read back differs: the old file is put back. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_ready_write(struct tiptrue_ready *ready, struct tiptrue_history *history, bool dry_run,
                    double now_s, const struct tiptrue_sink *sink, struct tiptrue_error *error);
/* "" before tiptrue_ready_write; lives as long as @ready. */
const char *tiptrue_ready_diff(const struct tiptrue_ready *ready);

/* One file and how it was found, for what is shown. */
struct tiptrue_used_file {
    const char *what, *path, *how; /* "plate", "plates/CW-17.json", "by the machine file" */
};

/* The answer, for a person (at most twelve lines; @brief: one), or as JSON (tiptrue.ready/1, one
 * line without line feed at its end). @options may be NULL. *text and *length as
 * tiptrue_solution_text. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_ready_text(const struct tiptrue_ready *ready,
                                                        bool brief,
                                                        const struct tiptrue_text_options *options,
                                                        char **text, size_t *length,
                                                        struct tiptrue_error *error);
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_ready_json(const struct tiptrue_ready *ready,
                                                        const struct tiptrue_used_file files[],
                                                        size_t n_files, char **text, size_t *length,
                                                        struct tiptrue_error *error);

/* Put back what the last export of @machine replaced: of several files those that were written
 * together last. *exported->text says what was put back. TIPTRUE_E_CONFIG: none is as an export
 * left it. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_ready_undo(const struct tiptrue_machine *machine,
                                                        bool dry_run, double now_s,
                                                        struct tiptrue_exported **exported,
                                                        struct tiptrue_error *error);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif

#ifdef __cplusplus
}
#endif

#endif
