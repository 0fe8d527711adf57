/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The public interface of libtiptrue: each command of the program is a call that a host can make.
 *
 * Units: lengths mm, angles degrees where a name ends in _deg. Frames and signs are those of
 * docs/method.md: the offset o is the tip's axis minus the camera's axis, at one head position, in
 * the machine frame. Ownership: const pointers are borrowed for the call; `T **out` becomes the
 * caller's, to be given to the _free call of its kind; _free(NULL) does nothing. On failure every
 * output is untouched and *error (if not NULL) says why. Threads: calls on different objects may
 * run at the same time; one workspace serves one thread at a time. The library never prints, exits,
 * reads the environment or the clock, or changes the locale. GSL's error handler is process-wide:
 * the library leaves it as it is, and calls only GSL functions whose arguments it has checked. */
#ifndef TIPTRUE_H
#define TIPTRUE_H

#include <stdbool.h>
#include <stddef.h>

#include "tiptrue_base.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The library is built with -fvisibility=hidden: what is declared here is what it exports. */
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

struct tiptrue_plate;
struct tiptrue_machine;
struct tiptrue_plan;
struct tiptrue_run;
struct tiptrue_truth;
struct tiptrue_proposal;
struct tiptrue_workspace;
struct tiptrue_solution;
struct tiptrue_trend;

/* Read a reference plate (tiptrue.plate/1), a machine (tiptrue.machine/1), a plan (tiptrue.plan/1).
 * @path "-" = standard input.
 * @sink may be NULL. TIPTRUE_E_DATA: the faults of the file (up to 20) were told to the sink. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_plate_read(const char *path,
                                                        const struct tiptrue_sink *sink,
                                                        struct tiptrue_plate **plate,
                                                        struct tiptrue_error *error);
void tiptrue_plate_free(struct tiptrue_plate *plate);
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_machine_read(const char *path,
                                                          const struct tiptrue_sink *sink,
                                                          struct tiptrue_machine **machine,
                                                          struct tiptrue_error *error);
void tiptrue_machine_free(struct tiptrue_machine *machine);
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_plan_read(const char *path,
                                                       const struct tiptrue_sink *sink,
                                                       struct tiptrue_plan **plan,
                                                       struct tiptrue_error *error);
void tiptrue_plan_free(struct tiptrue_plan *plan);

/* Read a run log: CSV or JSON by its content; with @plan and @pattern (both or neither), a
 * controller log. @plate and @machine may each be NULL (then names are not checked against them;
 * such a run can be checked, not solved). @pattern: PCRE2, named groups x, y and, where present, z,
 * id, ok. The run borrows neither plate nor machine. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_run_read(const char *path, const struct tiptrue_plate *plate,
                 const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                 const char *pattern, const struct tiptrue_sink *sink, struct tiptrue_run **run,
                 struct tiptrue_error *error);
/* The same; the run also keeps the text of its log, which tiptrue_history_add stores. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_run_read_whole(const char *path, const struct tiptrue_plate *plate,
                       const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                       const char *pattern, const struct tiptrue_sink *sink,
                       struct tiptrue_run **run, struct tiptrue_error *error);
/* Join @n runs, all read with this @plate and @machine and named in the order in which they were
 * made, to one. Setups of one name are one placement of the plate. Rows that are in several logs
 * count once. Lines of the first log stay, those of the k-th (k from 2) have k times a power of ten
 * added, 1000 or more, above every line of any log. The id is the digest of their ids. The joined
 * run borrows nothing and keeps no text of a log, so that tiptrue_history_add refuses it.
 * TIPTRUE_E_DATA: they are not of one machine and plate, or not in order; TIPTRUE_E_USAGE: none is
 * given, or one was read without plate or machine. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_run_join(const struct tiptrue_run *const runs[],
                                                      size_t n, const struct tiptrue_plate *plate,
                                                      const struct tiptrue_machine *machine,
                                                      struct tiptrue_run **joined,
                                                      struct tiptrue_error *error);
void tiptrue_run_free(struct tiptrue_run *run);

/* Memory of a solve, to be used again for the next one. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_workspace_new(struct tiptrue_workspace **workspace,
                                                           struct tiptrue_error *error);
void tiptrue_workspace_free(struct tiptrue_workspace *workspace);

struct tiptrue_between;

struct tiptrue_solve_options {
    bool least_squares; /* switch the robust step off: every touch counts in full (for comparison
                         * with other programs, not for use)
                         */
    size_t monte_carlo; /* trials of a propagation of distributions (JCGM 101) to set beside the
                           stated uncertainty; 0 = none, else
                           >= 100 */
    unsigned long seed; /* of its random numbers */
    const struct tiptrue_between
        *between; /* scatter between the machine's runs, from a history; NULL = none is known */
    const char *const
        *tips; /* the tips that are wanted, n_tips of them; the verdict of the run is theirs. 0: all
                  that the machine file lists and does not say are not in use */
    size_t n_tips;
    bool accept_change; /* an offset may differ from the one in use by more than
                           limits.plausible_change */
};

/* Solve a run: offset, runout circle and contact radius of every tip, with uncertainty, findings
 * and verdict. @options may be NULL (all off). A run that cannot be trusted is not an error: its
 * verdict is `repeat`. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_solve(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
              const struct tiptrue_machine *machine, const struct tiptrue_run *run,
              const struct tiptrue_solve_options *options, struct tiptrue_solution **solution,
              struct tiptrue_error *error);
void tiptrue_solution_free(struct tiptrue_solution *solution);

/* Read a result document (tiptrue.result/1) that was written before: the solution as it was, but
 * for plate and machine, which it does not hold. Of a tip, its name, offset, uncertainty and
 * verdict must be there; the rest may be missing. @path, @sink as above. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_solution_read(const char *path,
                                                           const struct tiptrue_sink *sink,
                                                           struct tiptrue_solution **solution,
                                                           struct tiptrue_error *error);

enum tiptrue_verdict {
    TIPTRUE_KEEP,
    TIPTRUE_UPDATE,
    TIPTRUE_REPEAT,
    TIPTRUE_NOT_MEASURED /* of a tip only: it was not touched and should have been */
};

/* Verdict of the run: the worst of its tips. TIPTRUE_REPEAT, too, where the robust step was off:
 * such a result has no verdict. */
enum tiptrue_verdict tiptrue_solution_verdict(const struct tiptrue_solution *solution);

/* One tip of a solution, in numbers. */
struct tiptrue_tip_result {
    const char *tip;     /* lives as long as the solution */
    bool determined;     /* false: the run does not determine the offset; the fields below are 0 */
    double offset_mm[2]; /* machine frame, x then y */
    double cov_offset_mm2[2][2];            /* full: what the offset is worth */
    double same_plate_cov_offset_mm2[2][2]; /* plate's own errors left out: what a change on this
                                               plate is worth */
    double dof;          /* effective degrees of freedom of the full covariance */
    double runout_mm[2]; /* runout vector at rotation 0, machine frame */
    double contact_radius_mm;
    enum tiptrue_verdict verdict;
};
size_t tiptrue_solution_tips(const struct tiptrue_solution *solution);
/* @index < tiptrue_solution_tips(). */
struct tiptrue_tip_result tiptrue_solution_tip(const struct tiptrue_solution *solution,
                                               size_t index);

#include "tiptrue_units.h"

struct tiptrue_text_options {
    bool colour;        /* ANSI colour; words always say the same */
    bool utf8;          /* µ and ± may be used */
    bool observations;  /* a table of every touch follows (JSON: "observations") */
    unsigned columns;   /* width of the terminal, 0 = unknown (80) */
    unsigned rows;      /* its height, 0 = unknown; only charts ask */
    bool charts, brief; /* with the touches, charts of characters; one line and no more */
    enum tiptrue_units units;
    const struct tiptrue_zone *zone; /* of the times of a trend; NULL: UTC */
};

/* Write a solution for a person, or as JSON (tiptrue.result/1, one line without line feed at its
 * end). @options may be NULL (all off). *text is malloc'ed, NUL-terminated, for free(); *length may
 * be NULL. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_solution_text(const struct tiptrue_solution *solution,
                      const struct tiptrue_text_options *options, char **text, size_t *length,
                      struct tiptrue_error *error);
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_solution_json(const struct tiptrue_solution *solution,
                      const struct tiptrue_text_options *options, char **text, size_t *length,
                      struct tiptrue_error *error);

/* Say what a run can and cannot determine, before anything is solved (text for a person, or JSON
 * tiptrue.check/1, one line without line feed at its end). @options may be NULL. *determined (may
 * be NULL) receives whether the touches and what is stated determine the offset of every tip the
 * run touches with. *text and *length as tiptrue_solution_text. TIPTRUE_E_USAGE: the run was not
 * read with @plate and @machine. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_check(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
              const struct tiptrue_machine *machine, const struct tiptrue_run *run, bool json,
              const struct tiptrue_text_options *options, bool *determined, char **text,
              size_t *length, struct tiptrue_error *error);

/* What may keep a result out of a configuration; each can be overridden by its bit. */
enum tiptrue_guard {
    TIPTRUE_GUARD_VERDICT =
        1, /* the run's verdict is repeat; overridden, tips whose verdict is keep are written too */
    TIPTRUE_GUARD_AGE = 2,     /* the run is older than allowed, or its start is not known */
    TIPTRUE_GUARD_MACHINE = 4, /* the result is of another machine */
    TIPTRUE_GUARD_CHANGE = 8,  /* an offset would move by more than allowed */
    TIPTRUE_GUARD_PLATE = 16 /* the result was made with another plate than the present one, or the
                                present offset's */
};

struct tiptrue_export_options {
    const char *into; /* configuration file; NULL: as the machine file's "export" says */
    const char *const
        *put; /* FIELD=PLACE (docs/formats.md), n_put of them; 0: the machine file's */
    size_t n_put;
    const struct tiptrue_machine *machine; /* may be NULL with into and put */
    const struct tiptrue_plate *plate;     /* the present plate; may be NULL */
    double now_s;                          /* the time, seconds from 1970-01-01T00:00:00Z */
    bool has_max_age, has_max_change; /* without them the machine file's hold, if it states any */
    double max_age_s, max_change_mm;
    unsigned force;          /* bits of enum tiptrue_guard */
    const char *const *tips; /* only what goes to these tips' places, n_tips of them; their verdicts
                                count. 0: all */
    size_t n_tips;
    bool dry_run; /* write nothing; the text is a unified diff */
};

/* A configuration that was written. */
struct tiptrue_export_file {
    const char *file, *backup;           /* as it was named; the copy of the old one */
    const char *old_digest, *new_digest; /* XXH64 of their bytes, 16 hexadecimal digits */
    const char *old_values,
        *new_values; /* JSON objects: FIELD to the text that stood, and stands, there */
};

/* What an export did. Strings live as long as it. */
struct tiptrue_exported {
    const char *text; /* for a person, or the unified diff, or the filled template */
    size_t length;
    bool nothing_needed; /* the verdict is keep: nothing was written */
    size_t n_files;      /* written */
    const struct tiptrue_export_file *files;
    bool heights_left; /* a height is to be updated that has no place */
};

/* Write a solution's numbers into a machine's configuration: only the bytes of the values change,
 * each file is replaced whole or not at all, and the old one stays as a dated copy beside it. Tips
 * whose verdict is keep stay as they are. TIPTRUE_E_USAGE: a field or place cannot be read.
 * TIPTRUE_E_DATA: a guard stands in the way (all are told to the sink), or the run does not
 * determine what is asked for. TIPTRUE_E_CONFIG: a place is not exactly one number. TIPTRUE_E_IO:
 * the file is locked, was changed meanwhile, or cannot be written. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_export(const struct tiptrue_solution *solution,
                                                    const struct tiptrue_export_options *options,
                                                    const struct tiptrue_sink *sink,
                                                    struct tiptrue_exported **exported,
                                                    struct tiptrue_error *error);
/* Put the newest copy back that an export left of the file @config. TIPTRUE_E_CONFIG: the file is
 * not as an export left it. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_export_undo(const char *config, bool dry_run,
                                                         double now_s,
                                                         struct tiptrue_exported **exported,
                                                         struct tiptrue_error *error);
/* Fill the template @path with the solution; nothing is written. Of @options the guards but change
 * hold. TIPTRUE_E_DATA: the template is wrong, with its place. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_template(const struct tiptrue_solution *solution, const char *path,
                 const double rotations_deg[], size_t n_rotations,
                 const struct tiptrue_export_options *options, const struct tiptrue_sink *sink,
                 struct tiptrue_exported **exported, struct tiptrue_error *error);
void tiptrue_exported_free(struct tiptrue_exported *exported);

/* Take the present offsets of the tips from the configuration @config, where the machine file's
 * "export" has its places, in place of those that it states; NULL: from all files that it exports
 * to, if any. TIPTRUE_E_CONFIG: no such places, files or numbers there; *machine is unchanged. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_machine_present(struct tiptrue_machine *machine,
                                                             const char *config,
                                                             struct tiptrue_error *error);
/* Planning: the fewest touches for @target_mm, or the best use of @touches; else 24 a tip. */
struct tiptrue_plan_options {
    double target_mm; /* every tip's expanded uncertainty (95 %) on this plate, each axis */
    size_t touches;   /* of all tips together; in tiptrue_plan_next: at most so many now */
    size_t heights;   /* touches from above of each tip */
    size_t sightings; /* of each mark at the start of a setup, and as many at its end */
    size_t views;     /* of each setup, in place of sightings; or as many as it takes for this: */
    double target_view_mm; /* expanded uncertainty (95 %) at the corner of the picture */
    size_t setups;         /* 1 or 2, the second one turned by 180 degrees */
    double margin_mm;      /* free space beside the tip; 0: the machine file's, else 0.2 mm */
    const char *tip;       /* this one only */
};
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_plan_make(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
                  const struct tiptrue_machine *machine, const struct tiptrue_plan_options *options,
                  struct tiptrue_proposal **proposal, struct tiptrue_error *error);
/* The few touches that help most after @run so far; none where the target is met. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_plan_next(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
                  const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                  const struct tiptrue_plan_options *options, struct tiptrue_proposal **proposal,
                  struct tiptrue_error *error);
void tiptrue_proposal_free(struct tiptrue_proposal *proposal);
/* Whether the target is expected to be met by all tips (true without one); the moves, which live as
 * long as the proposal, and how many they are. */
bool tiptrue_proposal_is_met(const struct tiptrue_proposal *proposal);
const struct tiptrue_plan *tiptrue_proposal_plan(const struct tiptrue_proposal *proposal);
size_t tiptrue_proposal_moves(const struct tiptrue_proposal *proposal);

enum tiptrue_plan_form {
    TIPTRUE_PLAN_TEXT, /* for a person */
    TIPTRUE_PLAN_JSON, /* tiptrue.plan/1, one line without line feed at its end */
    TIPTRUE_PLAN_CSV,  /* the moves, with the head positions to be expected */
    TIPTRUE_PLAN_RS274 /* a motion program (NISTIR 6556). TIPTRUE_E_CONFIG: the machine file's
                          "motion" part does not say enough for it, the plate's place is not known
                          well enough, or a move would leave the stated limits */
};
/* @machine is the one it was planned for. @options (text only) may be NULL. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_proposal_write(const struct tiptrue_proposal *proposal,
                       const struct tiptrue_machine *machine, enum tiptrue_plan_form form,
                       const struct tiptrue_text_options *options, char **text, size_t *length,
                       struct tiptrue_error *error);

/* Simulation: a truth (tiptrue.truth/1) read, or drawn for the moves of @plan from what plate and
 * machine state (@exact: without scatter and resolution); its text as JSON; and the run that the
 * moves make of it. The same seed gives the same bytes everywhere. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_truth_read(const char *path,
                                                        const struct tiptrue_sink *sink,
                                                        struct tiptrue_truth **truth,
                                                        struct tiptrue_error *error);
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_truth_draw(const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
                   const struct tiptrue_plan *plan, unsigned long seed, bool exact,
                   struct tiptrue_truth **truth, struct tiptrue_error *error);
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_truth_json(const struct tiptrue_truth *truth,
                                                        char **text, size_t *length,
                                                        struct tiptrue_error *error);
void tiptrue_truth_free(struct tiptrue_truth *truth);
/* *run is as tiptrue_run_read would have read it: it can be solved, or written as a log. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_simulate(const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
                 const struct tiptrue_plan *plan, const struct tiptrue_truth *truth,
                 unsigned long seed, struct tiptrue_run **run, struct tiptrue_error *error);
/* The log of a simulated run: CSV, or, with @plan (the one it was simulated from), the lines of a
 * motion controller. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_run_log(const struct tiptrue_run *run,
                                                     const struct tiptrue_plate *plate,
                                                     const struct tiptrue_plan *plan, char **text,
                                                     size_t *length, struct tiptrue_error *error);

/* A history: one file that keeps every run with its log, results and documents (docs/history.md).
 * What a call has added is on disk when it returns. Processes that write queue; a history serves
 * one thread at a time. TIPTRUE_E_IO: it cannot be written (disk, rights); it is as it was then. */
struct tiptrue_history;

enum tiptrue_history_access { TIPTRUE_HISTORY_READ, TIPTRUE_HISTORY_WRITE };

/* Open the history @path. To write: it is made where there is none, in a folder that is there. It
 * may be read-only to read. TIPTRUE_E_NO_INPUT: none; _DATA: no history, or of a newer program. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_open(const char *path,
                                                          enum tiptrue_history_access access,
                                                          struct tiptrue_history **history,
                                                          struct tiptrue_error *error);
void tiptrue_history_close(struct tiptrue_history *history);
/* Calls wait for other processes for @most_s (600). @sink outlives @history: a note after 1 s. */
void tiptrue_history_wait(struct tiptrue_history *history, double most_s,
                          const struct tiptrue_sink *sink);

/* Enter a run that was solved: @run read by tiptrue_run_read_whole, the rest as it was solved with.
 * @now_s: seconds since 1970-01-01T00:00:00Z. A run is known by its log: entered again with the
 * same documents and program it stays one entry and nothing is written; with others it stays one
 * run, whose newest result counts. Either is told to @sink (may be NULL) as a note. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_add(struct tiptrue_history *history, const struct tiptrue_plate *plate,
                    const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                    const char *pattern, const struct tiptrue_run *run,
                    const struct tiptrue_solution *solution, double now_s,
                    const struct tiptrue_sink *sink, struct tiptrue_error *error);

/* Whether the run of @solution is in the history. TIPTRUE_E_NO_INPUT: it is not. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_has(struct tiptrue_history *history,
                                                         const struct tiptrue_solution *solution,
                                                         struct tiptrue_error *error);
/* Enter what was exported of it, each file by itself. */
struct tiptrue_exported;
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_add_export(struct tiptrue_history *history, const struct tiptrue_solution *solution,
                           const struct tiptrue_exported *exported, double now_s,
                           struct tiptrue_error *error);

#define TIPTRUE_RUN_ID_SIZE 17 /* 16 hexadecimal digits and NUL */
/* The run whose id begins with @text. TIPTRUE_E_NO_INPUT: there is none; TIPTRUE_E_USAGE: several,
 * or it is no id. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_find(struct tiptrue_history *history,
                                                          const char *text,
                                                          char id[TIPTRUE_RUN_ID_SIZE],
                                                          struct tiptrue_error *error);

enum tiptrue_history_part {
    TIPTRUE_HISTORY_RESULT, /* the newest one, as JSON; the others are what it came from */
    TIPTRUE_HISTORY_LOG,
    TIPTRUE_HISTORY_PLATE,
    TIPTRUE_HISTORY_MACHINE,
    TIPTRUE_HISTORY_PLAN,
    TIPTRUE_HISTORY_PATTERN
};
/* A part of the run @id, byte by byte; *text as tiptrue_solution_text. TIPTRUE_E_NO_INPUT: it has
 * no such part. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_get(struct tiptrue_history *history, const char *id, enum tiptrue_history_part part,
                    char **text, size_t *length, struct tiptrue_error *error);
/* The newest result of the run @id. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_solution(struct tiptrue_history *history,
                                                              const char *id,
                                                              struct tiptrue_solution **solution,
                                                              struct tiptrue_error *error);
/* What the run @id is compared by: the same or, where that is from before results had an offset
 * with the plate held, the run solved again from its stored log (if there is one). Nothing is
 * stored. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_comparable(struct tiptrue_history *history,
                                                                const char *id,
                                                                struct tiptrue_solution **solution,
                                                                struct tiptrue_error *error);

/* Which runs. */
struct tiptrue_history_query {
    const char *machine;       /* NULL = all */
    const char *since, *until; /* NULL = all; dates or date-times (RFC 3339), or ids of runs */
    size_t runs;               /* the latest so many of these; 0 = all */
};
/* Receives text piece by piece; what it returns goes on (TIPTRUE_OK) or ends the call. */
struct tiptrue_writer {
    enum tiptrue_status (*write)(void *context, const char *text, size_t length);
    void *context;
};
/* List runs in order of time: a table for a person, or lines of JSON (tiptrue.entry/1). @options
 * may be NULL. TIPTRUE_E_USAGE: @query->since is no time. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_list(struct tiptrue_history *history, const struct tiptrue_history_query *query,
                     bool json, const struct tiptrue_text_options *options,
                     const struct tiptrue_writer *writer, struct tiptrue_error *error);
/* The ids of the runs, in order of time: *ids is malloc'ed, for free(). @query may be NULL. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_ids(struct tiptrue_history *history,
                                                         const struct tiptrue_history_query *query,
                                                         char (**ids)[TIPTRUE_RUN_ID_SIZE],
                                                         size_t *n, struct tiptrue_error *error);
/* Write runs out, whole, in order of time, for tiptrue_history_import: JSON lines or CSV. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_export(struct tiptrue_history *history, const struct tiptrue_history_query *query,
                       bool csv, const struct tiptrue_writer *writer, struct tiptrue_error *error);

/* Solve the stored run @id anew and say what that changes, in text. @replace: enter the new result,
 * dated @now_s, if it differs. *text and *length as tiptrue_solution_text; *changed (may be NULL):
 * whether anything shown changed. TIPTRUE_E_NO_INPUT: log or documents are not stored. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_again(struct tiptrue_history *history, struct tiptrue_workspace *workspace,
                      const char *id, bool replace, double now_s,
                      const struct tiptrue_text_options *options, bool *changed, char **text,
                      size_t *length, struct tiptrue_error *error);

struct tiptrue_import_options {
    const struct tiptrue_plate
        *plate; /* these four: for run logs, which are solved; NULL: there are none */
    const struct tiptrue_machine *machine;
    const struct tiptrue_plan *plan;
    const char *pattern;
    double now_s;
    bool pass_documents; /* pass over plates, machines and plans among the files, as in a folder;
                            else they are faults */
};
/* What became of one file; strings live during the call. */
struct tiptrue_import_report {
    const char *path;
    enum tiptrue_status status; /* of the file; what could be read of it was added all the same */
    bool passed;                /* it holds nothing to import */
    size_t new_runs, new_results, known_runs, new_boards, known_boards;
};
/* Import files: exports of a history, results (one, or one on each line), run logs. Faults go to
 * @sink; @reported is told of each file once what came of it is on disk. The status is that of the
 * worst file; TIPTRUE_E_IO of the history ends the import. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_import(
    struct tiptrue_history *history, struct tiptrue_workspace *workspace, const char *const paths[],
    size_t n_paths, const struct tiptrue_import_options *options, const struct tiptrue_sink *sink,
    void (*reported)(void *context, const struct tiptrue_import_report *report), void *context,
    struct tiptrue_error *error);

struct tiptrue_history_counts {
    size_t runs, logs, results, documents, exports, boards;
    size_t faults;
};
/* Something to be remembered of the run @id (whole, tiptrue_history_find): results and log stay as
 * they are. @text: why it is excluded; its start as it should have been (RFC 3339); a note; NULL
 * where it is included again. TIPTRUE_E_USAGE: no time. */
enum tiptrue_history_word {
    TIPTRUE_HISTORY_EXCLUDE, /* kept out of trends and out of the scatter between runs */
    TIPTRUE_HISTORY_INCLUDE, /* taken in again, whatever its clock says */
    TIPTRUE_HISTORY_STARTED,
    TIPTRUE_HISTORY_NOTE
};
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_say(struct tiptrue_history *history, const char *id, enum tiptrue_history_word word,
                    const char *text, double now_s, struct tiptrue_error *error);

/* Look for damage: structure, references, every digest, and whether every result can be read.
 * Faults go to @sink as errors. TIPTRUE_E_DATA: there are some. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_verify(struct tiptrue_history *history,
                                                            const struct tiptrue_sink *sink,
                                                            struct tiptrue_history_counts *counts,
                                                            struct tiptrue_error *error);

struct tiptrue_comparison;

/* Two results against each other: is the difference real? @trend (may be NULL) brings in the
 * scatter between runs. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_compare(const struct tiptrue_solution *a,
                                                     const struct tiptrue_solution *b,
                                                     const struct tiptrue_trend *trend,
                                                     struct tiptrue_comparison **comparison,
                                                     struct tiptrue_error *error);
void tiptrue_comparison_free(struct tiptrue_comparison *comparison);
/* For a person, or as JSON (tiptrue.compare/1). *text and *length as tiptrue_solution_text. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_comparison_text(const struct tiptrue_comparison *comparison, bool json,
                        const struct tiptrue_text_options *options, char **text, size_t *length,
                        struct tiptrue_error *error);

struct tiptrue_trend_options {
    size_t baseline_runs; /* limits of the control charts come from so many runs, the first after
                             each change; 0 = 20 */
    size_t most_runs;     /* only the latest so many are looked at; 0 = 2000 */
    const char *tip; /* only this tip is shown (all are needed to tell what moved); NULL = all */
};
/* What the runs of a machine say over time: scatter, control charts, changes, drift, forecast
 * (docs/history.md). @query->machine NULL: the only machine of the history. TIPTRUE_E_USAGE: it has
 * several, or no such tip, or since is no time; TIPTRUE_E_NO_INPUT: no runs of that machine. Cost:
 * 10 ms for 70 runs of three tips, 50 ms for 400. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_trend(struct tiptrue_history *history, const struct tiptrue_history_query *query,
                      const struct tiptrue_trend_options *options, struct tiptrue_trend **trend,
                      struct tiptrue_error *error);
void tiptrue_trend_free(struct tiptrue_trend *trend);

/* What the latest run of @machine shows against the runs before it, as a sentence for a person, for
 * free(); *text NULL: too few runs to say. *differs: whether it is off what they lead to expect, by
 * a test that one quiet run in two hundred fails at most. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_latest(struct tiptrue_history *history, const struct tiptrue_machine *machine,
                       const struct tiptrue_text_options *options, char **text, bool *differs,
                       struct tiptrue_error *error);

/* Scatter between the runs of @machine (as its name stands in the results), for
 * tiptrue_solve_options: from its latest runs, of tips with at least 8 of them. Fewer: *between has
 * no tips. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_between(struct tiptrue_history *history,
                                                             const struct tiptrue_machine *machine,
                                                             struct tiptrue_between **between,
                                                             struct tiptrue_error *error);
void tiptrue_between_free(struct tiptrue_between *between);
/* For a person, or as JSON (tiptrue.trend/1); options->observations: every point too. *text,
 * *length as tiptrue_solution_text. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_trend_text(const struct tiptrue_trend *trend,
                                                        bool json,
                                                        const struct tiptrue_text_options *options,
                                                        char **text, size_t *length,
                                                        struct tiptrue_error *error);

/* A report: one page of HTML that needs nothing beside it (no script, nothing to load), with its
 * pictures as inline SVG. */
struct tiptrue_report;

/* An empty report. @zone NULL: UTC. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_report_new(const struct tiptrue_zone *zone,
                                                        struct tiptrue_report **report,
                                                        struct tiptrue_error *error);
/* Add a run. @plate, @machine and @run may be NULL: then what needs them is not drawn, and the page
 * says so. @run is the one that
 * @solution is of. Nothing is borrowed beyond the call. Cost is linear in the touches. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_report_add_run(struct tiptrue_report *report, const struct tiptrue_plate *plate,
                       const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                       const struct tiptrue_solution *solution, struct tiptrue_error *error);
/* Add what the file @path holds, a run log (solved here: @plate and @machine, for a controller's
 * log @plan and @pattern) or a result document (@plate and @machine may be NULL), told apart by
 * content. "-" = standard input. @sink may be NULL. A file with a fault takes its place on the page
 * with the first of its faults, and its status is returned. TIPTRUE_E_USAGE: a run log without
 * @plate or @machine; nothing is added. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_report_add_file(struct tiptrue_report *report, const char *path,
                        const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
                        const struct tiptrue_plan *plan, const char *pattern,
                        const struct tiptrue_sink *sink, struct tiptrue_error *error);
/* Add the weeks of a machine: what @trend found, and the course of every tip's offset, runout and
 * contact radius. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_report_add_trend(struct tiptrue_report *report,
                                                              const struct tiptrue_trend *trend,
                                                              struct tiptrue_error *error);
/* Add the weeks of each machine that @history holds runs of, or of @machine alone (NULL = all), its
 * exports marked. TIPTRUE_E_NO_INPUT: there is no such run. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_report_add_history(struct tiptrue_report *report,
                                                                struct tiptrue_history *history,
                                                                const char *machine,
                                                                struct tiptrue_error *error);
/* The page; *text, *length as tiptrue_solution_text. The same input gives the same bytes. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_report_html(const struct tiptrue_report *report,
                                                         char **text, size_t *length,
                                                         struct tiptrue_error *error);
/* Its pictures, each as a document of its own (SVG). *name: of a file, ASCII without ending; lives
 * as long as the report. @index < tiptrue_report_pictures(). */
size_t tiptrue_report_pictures(const struct tiptrue_report *report);
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_report_picture(const struct tiptrue_report *report,
                                                            size_t index, const char **name,
                                                            char **text, size_t *length,
                                                            struct tiptrue_error *error);
void tiptrue_report_free(struct tiptrue_report *report);
#include "tiptrue_tools.h"
#include "tiptrue_board.h"
#if defined(__GNUC__)
#pragma GCC visibility pop
#endif

#ifdef __cplusplus
}
#endif
#include "tiptrue_daily.h"
#endif
