/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The store of runs: one SQLite file in WAL mode with full synchronisation, so that what was
 * committed survives a power failure. Knows no format: texts come in and go out as they are, with
 * the solution that was read from them where it is needed.
 *
 * Several processes may write: they queue, for up to TT_STORE_PATIENCE_MS. A store serves one
 * thread at a time.
 */
#ifndef TT_HISTORY_STORE_STORE_H
#define TT_HISTORY_STORE_STORE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/status.h"
#include "model/between.h"
#include "model/record.h"
#include "model/solution.h"

/* A writer holds the file for some milliseconds; who waits for longer than this waits for a process
 * that hangs. */
#define TT_STORE_PATIENCE_MS 600000

/* Open the history @path; @write makes it where there is none, and brings an older one to the
 * present schema. TIPTRUE_E_NO_INPUT: not there (when not @write); TIPTRUE_E_DATA: no history, or
 * of a newer program; TIPTRUE_E_IO: cannot be opened or made. Without @write a file that may not be
 * written can be read, in a folder that may not be written too. */
TT_MUST_USE enum tiptrue_status tt_store_open(const char *path, bool write,
                                              struct tiptrue_history **store,
                                              struct tiptrue_error *error);

/* How long a call waits for other processes at most, in all (TT_STORE_PATIENCE_MS); @waiting (may
 * be NULL) is called once a second of it has passed. */
void tt_store_wait(struct tiptrue_history *store, unsigned long most_ms,
                   void (*waiting)(void *context, const char *path), void *context);

/* Whether it was opened to write, or had to be brought to the present schema. */
bool tt_store_is_writable(const struct tiptrue_history *store);
const char *tt_store_path(const struct tiptrue_history *store);

/* How a record is entered. */
enum tt_put {
    TT_PUT_SOLVED, /* its one result was worked out now: nothing is written when the newest result
                      is of the same documents and version; it is dated at least as late as the
                      newest one, so that it is the newest then */
    TT_PUT_ANEW,   /* likewise, but only a result with the same text is nothing new */
    TT_PUT_MERGED  /* from elsewhere: what is not there yet is entered, with its own date; a result
                      without documents only  where there is none with them */
};

/* What came of it. */
struct tt_put_outcome {
    bool run_is_new, log_is_new;
    size_t new_results;
    char since[32];                              /* when the run was added; empty for a new one */
    char superseded[32], superseded_version[32]; /* date and version of the result that was the
                                                    newest; empty: there was none */
};

/* Enter a record, in a transaction of its own unless a group is open. @solution is what its last
 * result says. On failure nothing of it is stored. TIPTRUE_E_DATA: its id stands for a run with
 * another log; the result is of least squares, without a verdict. */
TT_MUST_USE enum tiptrue_status tt_store_put(struct tiptrue_history *store,
                                             const struct tt_record *record,
                                             const struct tiptrue_solution *solution,
                                             enum tt_put how, struct tt_put_outcome *outcome,
                                             struct tiptrue_error *error);

/* A group: what is put between is on disk after the commit, all or nothing. */
TT_MUST_USE enum tiptrue_status tt_store_begin(struct tiptrue_history *store,
                                               struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_store_commit(struct tiptrue_history *store,
                                                struct tiptrue_error *error);
void tt_store_rollback(struct tiptrue_history *store);
/* The one if @status is TIPTRUE_OK, else the other; the status of both. */
TT_MUST_USE enum tiptrue_status tt_store_end(struct tiptrue_history *store,
                                             enum tiptrue_status status,
                                             struct tiptrue_error *error);
/* All that is read until the rollback is of one moment, whatever others write. */
TT_MUST_USE enum tiptrue_status tt_store_begin_reading(struct tiptrue_history *store,
                                                       struct tiptrue_error *error);

/* Note that a result of the run @id was written into a configuration. TIPTRUE_E_NO_INPUT: there is
 * no such run. */
TT_MUST_USE enum tiptrue_status tt_store_add_export(struct tiptrue_history *store, const char *id,
                                                    const struct tt_record_export *export,
                                                    struct tiptrue_error *error);

/* What is said of a run. Its results and its log stay as they are; the summary follows at the next
 * tt_store_summarise. */
enum tt_saying {
    TT_SAY_EXCLUDE, /* keep it out of trends; the text is why */
    TT_SAY_INCLUDE, /* take it in again, whatever its clock says; no text */
    TT_SAY_STARTED, /* its start as it should have been, RFC 3339; its clock is no longer doubted */
    TT_SAY_NOTE,    /* a note */
    TT_SAY_DOUBT    /* what is wrong with its clock: it is kept out of trends */
};
TT_MUST_USE enum tiptrue_status tt_store_say(struct tiptrue_history *store, const char *id,
                                             enum tt_saying what, const char *text, double now_s,
                                             struct tiptrue_error *error);

/* When the run @id was made (its start, or when it was entered), seconds since 1970.
 * TIPTRUE_E_NO_INPUT: there is no such run. */
TT_MUST_USE enum tiptrue_status tt_store_time(struct tiptrue_history *store, const char *id,
                                              double *time_s, struct tiptrue_error *error);

/* Hand over each note of a run of @machine, in the order in which they were made: the run's id and
 * time (seconds since 1970), and the text. They live during the call, whose status ends the reading
 * where it is not TIPTRUE_OK. */
TT_MUST_USE enum tiptrue_status tt_store_notes(
    struct tiptrue_history *store, const char *machine,
    enum tiptrue_status (*each)(void *context, const char *id, double time_s, const char *text),
    void *context, struct tiptrue_error *error);

/* Whether the run @id is there. */
TT_MUST_USE enum tiptrue_status tt_store_knows(struct tiptrue_history *store, const char *id,
                                               bool *known, struct tiptrue_error *error);

/* The latest start of a run of @machine that counts; *found false: there is none. */
TT_MUST_USE enum tiptrue_status tt_store_latest_start(struct tiptrue_history *store,
                                                      const char *machine, bool *found,
                                                      double *time_s, struct tiptrue_error *error);

/* Whether another run of @machine than @id that counts was made after @time_s (since 1970). */
TT_MUST_USE enum tiptrue_status tt_store_has_later(struct tiptrue_history *store,
                                                   const char *machine, double time_s,
                                                   const char *id, bool *later,
                                                   struct tiptrue_error *error);

/* As tiptrue_history_find, of another table, whose ids, two of those that begin with ?1, @sql
 * selects; @what names one of them in messages. @sql: a string that lives as long as the store. */
TT_MUST_USE enum tiptrue_status tt_store_find_id(struct tiptrue_history *store, const char *sql,
                                                 const char *what, const char *text,
                                                 char id[TT_RUN_ID_SIZE],
                                                 struct tiptrue_error *error);

/* All of the run @id, into *record (starts as {0}), for tt_record_clear. @newest_only: only the
 * newest result, and no exports. */
TT_MUST_USE enum tiptrue_status tt_store_load(struct tiptrue_history *store, const char *id,
                                              bool newest_only, struct tt_record *record,
                                              struct tiptrue_error *error);

/* Which runs, in order of time; runs at the same time in order of their id. */
struct tt_store_query {
    const char *machine; /* NULL = all */
    bool has_since, has_until;
    double since_s, until_s; /* seconds since 1970; both are within */
};

/* Hand over each run; @each returns what goes on: TIPTRUE_OK, or a status that ends the reading and
 * is returned. The entry lives during the call. */
TT_MUST_USE enum tiptrue_status
tt_store_list(struct tiptrue_history *store, const struct tt_store_query *query,
              enum tiptrue_status (*each)(void *context, const struct tt_record_entry *entry),
              void *context, struct tiptrue_error *error);

/* The id of a run whose newest result has no summary, as after a step of the schema; *found false:
 * there is none. */
TT_MUST_USE enum tiptrue_status tt_store_next_unsummarised(struct tiptrue_history *store,
                                                           char id[TT_RUN_ID_SIZE], bool *found,
                                                           struct tiptrue_error *error);
/* Write the summary of the run @id anew: @solution is what its newest result says. */
TT_MUST_USE enum tiptrue_status tt_store_summarise(struct tiptrue_history *store, const char *id,
                                                   const struct tiptrue_solution *solution,
                                                   struct tiptrue_error *error);

struct tt_store_counts {
    size_t runs, logs, results, documents, exports, boards;
};
/* How much there is. */
TT_MUST_USE enum tiptrue_status tt_store_count(struct tiptrue_history *store,
                                               struct tt_store_counts *counts,
                                               struct tiptrue_error *error);

/* Look for damage: the file's structure, references, digests of documents, logs and results. Each
 * fault goes to @told as a sentence. Reads all of the file. */
TT_MUST_USE enum tiptrue_status tt_store_verify(struct tiptrue_history *store,
                                                void (*told)(void *context, const char *text),
                                                void *context, struct tiptrue_error *error);

/* Whether what is summed up of the run @id is what @solution, its newest result, says: *where is
 * the name of the first column that differs, NULL if none does; it lives until the next call.
 * Nothing in the file is changed; tt_store_check_end gives the temporary tables back. */
TT_MUST_USE enum tiptrue_status tt_store_check_summary(struct tiptrue_history *store,
                                                       const char *id,
                                                       const struct tiptrue_solution *solution,
                                                       const char **where,
                                                       struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_store_check_end(struct tiptrue_history *store,
                                                   struct tiptrue_error *error);

/* What was written into the configurations of a machine. */

/* One export; texts live during the call. */
struct tt_store_exported {
    const char *run, *plate; /* id; serial of its plate, else the plate's name */
    const char *time, *file;
    struct tt_text old_values, new_values; /* JSON: FIELD to what stood, and stands, as text */
};

/* Hand every export of runs of @machine to @each, newest first, until it returns false. */
TT_MUST_USE enum tiptrue_status
tt_store_exports(struct tiptrue_history *store, const char *machine,
                 bool (*each)(void *context, const struct tt_store_exported *exported),
                 void *context, struct tiptrue_error *error);

/* Fill between->past with the latest @most runs of @machine that are not left out and of which some
 * tip may be used: where all are refused, an edge may lie anywhere. */
TT_MUST_USE enum tiptrue_status tt_store_past(struct tiptrue_history *store, const char *machine,
                                              size_t most, struct tiptrue_between *between,
                                              struct tiptrue_error *error);

/* Boards with parts, beside the runs. */

/* What came of entering one. */
struct tt_board_outcome {
    bool is_new, judged_anew; /* neither: nothing was written */
    char since[32];           /* when it was added; empty for a new one */
};

/* Enter a board, in a transaction of its own unless a group is open. One that is there already with
 * the same judgement by the same version is left as it is; another judgement replaces the one there
 * was, unless that is later. TIPTRUE_E_DATA: its id stands for another table. */
TT_MUST_USE enum tiptrue_status tt_store_put_board(struct tiptrue_history *store,
                                                   const struct tt_board_record *board,
                                                   struct tt_board_outcome *outcome,
                                                   struct tiptrue_error *error);

/* Hand over each board that @query (its times are of boards) asks for, in order of time, without
 * table, json and said; texts live during the call, whose status ends the reading where it is not
 * TIPTRUE_OK. */
TT_MUST_USE enum tiptrue_status
tt_store_boards(struct tiptrue_history *store, const struct tt_store_query *query,
                enum tiptrue_status (*each)(void *context, const struct tt_board_record *board),
                void *context, struct tiptrue_error *error);

/* All of the board @id, its texts in @arena. TIPTRUE_E_NO_INPUT: there is none. */
TT_MUST_USE enum tiptrue_status tt_store_load_board(struct tiptrue_history *store, const char *id,
                                                    struct tt_arena *arena,
                                                    struct tt_board_record *board,
                                                    struct tiptrue_error *error);

/* The board whose id begins with @text, as tiptrue_history_find has runs. */
TT_MUST_USE enum tiptrue_status tt_store_find_board(struct tiptrue_history *store, const char *text,
                                                    char id[TT_RUN_ID_SIZE],
                                                    struct tiptrue_error *error);

#endif
