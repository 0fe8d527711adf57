/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Entering records. A run is known by the digest of its log; a digest of 64 bits may by chance
 * stand for two logs, so the bytes are compared whenever it is met again. A plan and a pattern
 * count among the documents: a corrected plan is no other run.
 */
#include "config.h"

#include <stdio.h>
#include <string.h>

#include "base/digest.h"
#include "history/store/newest.h"
#include "history/store/sql.h"
#include "history/store/store.h"
#include "history/store/summary.h"

/* Logs of more bytes are written and compared piece by piece, so that no second copy of them is in
 * memory. */
#define LARGE_LOG ((size_t)1 << 20)
#define PIECE 16384
/* What a blob can hold (SQLITE_MAX_LENGTH). */
#define LARGEST_LOG 1000000000

/* The number of the run @id, 0 if it is not there, and when it was added. */
static enum tiptrue_status find_run(struct tiptrue_history *store, const char *id,
                                    sqlite3_int64 *run, char since[32], struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT no, added FROM run WHERE id = ?";
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(id)), &statement, &row, error);

    *run = 0;
    if (status == TIPTRUE_OK && row) {
        *run = sqlite3_column_int64(statement, 0);
        tt_copy_word(since, tt_sql_column(statement, 1));
        sqlite3_reset(statement);
    }
    return status;
}

static enum tiptrue_status insert_run(struct tiptrue_history *store, const struct tt_record *record,
                                      sqlite3_int64 *run, struct tiptrue_error *error)
{
    static const char SQL[] = "INSERT INTO run(id, added) VALUES(?, ?)";
    enum tiptrue_status status = tt_sql_do(
        store, SQL, TT_SQL_VALUES(TT_AS_TEXT(record->id), TT_AS_TEXT(record->added)), error);

    if (status == TIPTRUE_OK) {
        *run = sqlite3_last_insert_rowid(store->db);
    }
    return status;
}

/* Compare the stored log with @log, or (@write) fill it in. *same: whether the bytes are equal. */
static enum tiptrue_status pass_log(struct tiptrue_history *store, sqlite3_int64 run,
                                    struct tt_text log, bool write, bool *same,
                                    struct tiptrue_error *error)
{
    sqlite3_blob *blob = NULL;
    char piece[PIECE];
    int code = sqlite3_blob_open(store->db, "main", "log", "text", run, write, &blob);

    *same = code == SQLITE_OK && (size_t)sqlite3_blob_bytes(blob) == log.length;
    for (size_t at = 0; code == SQLITE_OK && *same && at < log.length; at += PIECE) {
        int length = log.length - at < PIECE ? (int)(log.length - at) : PIECE;
        if (write) {
            code = sqlite3_blob_write(blob, log.text + at, length, (int)at);
        } else {
            code = sqlite3_blob_read(blob, piece, length, (int)at);
            *same = code == SQLITE_OK && memcmp(piece, log.text + at, (size_t)length) == 0;
        }
    }
    sqlite3_blob_close(blob);
    return tt_sql_fail(store, code, error);
}

static enum tiptrue_status insert_log(struct tiptrue_history *store, sqlite3_int64 run,
                                      struct tt_text log, struct tiptrue_error *error)
{
    static const char SQL[] = "INSERT INTO log(run, text) VALUES(?, ?)";
    bool large = log.length > LARGE_LOG, same;
    enum tiptrue_status status =
        log.length > LARGEST_LOG
            ? tt_sql_fail(store, SQLITE_TOOBIG, error)
            : tt_sql_do(store, SQL,
                        TT_SQL_VALUES(TT_AS_INTEGER(run),
                                      large ? TT_AS_ROOM(log.length) : TT_AS_BLOB(log)),
                        error);

    return status == TIPTRUE_OK && large ? pass_log(store, run, log, true, &same, error) : status;
}

/* See to it that the log is there; one that is there already must be the same. */
static enum tiptrue_status put_log(struct tiptrue_history *store, sqlite3_int64 run,
                                   const struct tt_record *record, bool *is_new,
                                   struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT 1 FROM log WHERE run = ?";
    bool row, same = true;

    if (record->log.text == NULL) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status =
        tt_sql_any(store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(run)), &row, error);
    *is_new = status == TIPTRUE_OK && !row;
    if (status == TIPTRUE_OK && !row) {
        return insert_log(store, run, record->log, error);
    }
    if (status == TIPTRUE_OK) {
        status = pass_log(store, run, record->log, false, &same, error);
    }
    if (status == TIPTRUE_OK && !same) {
        status = tt_fail(
            error, TIPTRUE_E_DATA, store->path, 0, 0,
            "keep both logs, and add a remark line to one of them",
            "run %s is in the history already with another log: two logs have the same digest",
            record->id);
    }
    return status;
}

/* The number of the document, entered if it is new; 0 for none. */
static enum tiptrue_status put_document(struct tiptrue_history *store, enum tt_document_kind kind,
                                        struct tt_text text, sqlite3_int64 *no,
                                        struct tiptrue_error *error)
{
    static const char FIND[] = "SELECT no FROM document WHERE digest = ? AND kind = ? AND text = ?";
    static const char INSERT[] = "INSERT INTO document(digest, kind, text) VALUES(?, ?, ?)";
    sqlite3_stmt *statement;
    char digest[17];
    bool row = false;
    enum tiptrue_status status = TIPTRUE_OK;

    *no = 0;
    if (text.text == NULL) {
        return TIPTRUE_OK;
    }
    tt_digest(text.text, text.length, digest);
    for (int insert = 0; insert < 2 && !row && status == TIPTRUE_OK; insert++) {
        status = tt_sql_first(store, insert ? INSERT : FIND,
                              TT_SQL_VALUES(TT_AS_TEXT(digest), TT_AS_TEXT(tt_document_words[kind]),
                                            TT_AS_BLOB(text)),
                              &statement, &row, error);
        if (status == TIPTRUE_OK) {
            *no = row ? sqlite3_column_int64(statement, 0) : sqlite3_last_insert_rowid(store->db);
            sqlite3_reset(statement);
        }
    }
    return status;
}

/* Whether a result with this text is there: any, or the result number @only. */
static enum tiptrue_status find_result(struct tiptrue_history *store, sqlite3_int64 run,
                                       const struct tt_record_result *result, const char *digest,
                                       const sqlite3_int64 documents[], sqlite3_int64 only,
                                       bool *found, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT 1 FROM result WHERE run = ?1 AND digest = ?2 AND version = ?3 AND json = ?4"
        " AND plate IS ?5 AND machine IS ?6 AND plan IS ?7 AND pattern IS ?8 AND (?9 IS NULL OR no "
        "= ?9)";

    return tt_sql_any(store, SQL,
                      TT_SQL_VALUES(TT_AS_INTEGER(run), TT_AS_TEXT(digest),
                                    TT_AS_TEXT(result->version), TT_AS_BLOB(result->json),
                                    TT_AS_NUMBER(documents[0]), TT_AS_NUMBER(documents[1]),
                                    TT_AS_NUMBER(documents[2]), TT_AS_NUMBER(documents[3]),
                                    TT_AS_NUMBER(only)),
                      found, error);
}

/* Whether the run has a result with the documents that it came from. */
static enum tiptrue_status is_documented(struct tiptrue_history *store, sqlite3_int64 run,
                                         bool *documented, struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT 1 FROM result WHERE run = ? AND plate IS NOT NULL";

    return tt_sql_any(store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(run)), documented, error);
}

static enum tiptrue_status insert_result(struct tiptrue_history *store, sqlite3_int64 run,
                                         const struct tt_record_result *result, const char *added,
                                         const char *digest, const sqlite3_int64 documents[],
                                         struct tiptrue_error *error)
{
    static const char SQL[] = "INSERT INTO result(run, version, added, plate, machine, plan, "
                              "pattern, verdict, digest, json)"
                              " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?)";

    return tt_sql_do(store, SQL,
                     TT_SQL_VALUES(TT_AS_INTEGER(run), TT_AS_TEXT(result->version),
                                   TT_AS_TEXT(added), TT_AS_NUMBER(documents[0]),
                                   TT_AS_NUMBER(documents[1]), TT_AS_NUMBER(documents[2]),
                                   TT_AS_NUMBER(documents[3]), TT_AS_TEXT(result->verdict),
                                   TT_AS_TEXT(digest), TT_AS_BLOB(result->json)),
                     error);
}

/* Whether the newest result is of the same documents and the same version. */
static bool is_repeated(const struct tt_known_result *newest, const struct tt_record_result *result,
                        const sqlite3_int64 documents[])
{
    return newest->no != 0 && strcmp(newest->version, result->version) == 0 &&
           memcmp(newest->documents, documents, sizeof newest->documents) == 0;
}

static enum tiptrue_status put_result(struct tiptrue_history *store, sqlite3_int64 run,
                                      const struct tt_record_result *result, enum tt_put how,
                                      const struct tt_known_result *newest, bool *is_new,
                                      struct tiptrue_error *error)
{
    sqlite3_int64 documents[TT_DOCUMENT_KINDS];
    char digest[17];
    const char *added = result->added;
    enum tiptrue_status status = TIPTRUE_OK;
    bool there = false;

    for (int i = 0; i < TT_DOCUMENT_KINDS && status == TIPTRUE_OK; i++) {
        status = put_document(store, (enum tt_document_kind)i, result->documents[i], &documents[i],
                              error);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    tt_digest(result->json.text, result->json.length, digest);
    if (how == TT_PUT_SOLVED) {
        there = is_repeated(newest, result, documents);
    } else if (how == TT_PUT_MERGED || newest->no != 0) {
        status = find_result(store, run, result, digest, documents,
                             how == TT_PUT_MERGED ? 0 : newest->no, &there, error);
    }
    if (status == TIPTRUE_OK && !there && documents[0] == 0) {
        status =
            is_documented(store, run, &there,
                          error); /* a bare result adds nothing to one that can be solved again */
    }
    if (how != TT_PUT_MERGED && strcmp(newest->added, added) > 0) {
        added = newest->added; /* the clock was set back */
    }
    *is_new = !there;
    return status == TIPTRUE_OK && !there
               ? insert_result(store, run, result, added, digest, documents, error)
               : status;
}

/* Unless one that is the same in all is there. */
static enum tiptrue_status put_export(struct tiptrue_history *store, sqlite3_int64 run,
                                      const struct tt_record_export *export, bool *is_new,
                                      struct tiptrue_error *error)
{
    static const char FIND[] = "SELECT 1 FROM export WHERE run = ? AND time = ? AND file = ? AND "
                               "old_digest IS ? AND new_digest IS ?"
                               " AND old_values IS ? AND new_values IS ?";
    static const char INSERT[] =
        "INSERT INTO export(run, time, file, old_digest, new_digest, old_values, new_values)"
        " VALUES(?, ?, ?, ?, ?, ?, ?)";
    const struct tt_sql_values values =
        TT_SQL_VALUES(TT_AS_INTEGER(run), TT_AS_TEXT(export->time), TT_AS_TEXT(export->file),
                      TT_AS_TEXT(export->old_digest), TT_AS_TEXT(export->new_digest),
                      TT_AS_WORDS(export->old_values), TT_AS_WORDS(export->new_values));
    bool there;
    enum tiptrue_status status = tt_sql_any(store, FIND, values, &there, error);

    *is_new = !there;
    return status == TIPTRUE_OK && !there ? tt_sql_do(store, INSERT, values, error) : status;
}

/* *last: the number that the record's last result was given, 0 if it was there already. */
static enum tiptrue_status put_parts(struct tiptrue_history *store, sqlite3_int64 run,
                                     const struct tt_record *record, enum tt_put how,
                                     const struct tt_known_result *newest,
                                     struct tt_put_outcome *outcome, sqlite3_int64 *last,
                                     struct tiptrue_error *error)
{
    enum tiptrue_status status = put_log(store, run, record, &outcome->log_is_new, error);
    bool is_new;

    *last = 0;

    for (size_t i = 0; i < record->n_results && status == TIPTRUE_OK; i++) {
        status = put_result(store, run, &record->results[i], how, newest, &is_new, error);
        outcome->new_results += status == TIPTRUE_OK && is_new;
        *last = status == TIPTRUE_OK && is_new ? sqlite3_last_insert_rowid(store->db) : 0;
    }
    for (size_t i = 0; i < record->n_exports && status == TIPTRUE_OK; i++) {
        status = put_export(store, run, &record->exports[i], &is_new, error);
        outcome->new_exports += status == TIPTRUE_OK && is_new;
    }
    return status;
}

/* The summary is derived again when the history is opened to write. */
static enum tiptrue_status put_off(struct tiptrue_history *store, sqlite3_int64 run,
                                   struct tiptrue_error *error)
{
    static const char LATER[] = "INSERT OR IGNORE INTO pending(run) VALUES(?)";
    enum tiptrue_status status = tt_sql_do(store, LATER, TT_SQL_VALUES(TT_AS_INTEGER(run)), error);

    return status;
}

/* When what counts has changed, the summary follows it. @solution is what the result number @last
 * says; another one can become the newest only where several bear the same second, and is read when
 * the history is opened to write. */
static enum tiptrue_status follow(struct tiptrue_history *store, sqlite3_int64 run,
                                  const struct tt_known_result *before, sqlite3_int64 last,
                                  const struct tiptrue_solution *solution,
                                  struct tiptrue_error *error)
{
    struct tt_known_result newest;
    enum tiptrue_status status = tt_find_newest(store, run, &newest, error);

    if (status != TIPTRUE_OK || newest.no == before->no) {
        return status;
    }
    if (newest.no != last) {
        return put_off(store, run, error);
    }
    status = tt_summary_write(store, run, newest.no, solution, error);
    /* without the plate held it is derived again from the log, so that runs of a plate are compared
     * by one kind of offset */
    return status == TIPTRUE_OK && !tt_solution_has_held(solution) ? put_off(store, run, error)
                                                                   : status;
}

static enum tiptrue_status put_all(struct tiptrue_history *store, const struct tt_record *record,
                                   const struct tiptrue_solution *solution, enum tt_put how,
                                   struct tt_put_outcome *outcome, struct tiptrue_error *error)
{
    struct tt_known_result newest = {0};
    sqlite3_int64 run, last;
    enum tiptrue_status status = find_run(store, record->id, &run, outcome->since, error);

    if (status == TIPTRUE_OK && run == 0) {
        outcome->run_is_new = true;
        status = insert_run(store, record, &run, error);
    } else if (status == TIPTRUE_OK) {
        status = tt_find_newest(store, run, &newest, error);
    }
    if (status == TIPTRUE_OK) {
        status = put_parts(store, run, record, how, &newest, outcome, &last, error);
    }
    if (status == TIPTRUE_OK) {
        tt_copy_word(outcome->superseded, newest.added);
        tt_copy_word(outcome->superseded_version, newest.version);
        status = follow(store, run, &newest, last, solution, error);
    }
    return status;
}

enum tiptrue_status tt_store_put(struct tiptrue_history *store, const struct tt_record *record,
                                 const struct tiptrue_solution *solution, enum tt_put how,
                                 struct tt_put_outcome *outcome, struct tiptrue_error *error)
{
    bool own = !store->in_group;
    struct tt_put_outcome made = {0};

    if (solution->least_squares) {
        return tt_fail(error, TIPTRUE_E_DATA, NULL, 0, 0,
                       "enter the result of solve without --least-squares",
                       "run %s: its result is of --least-squares, for comparison with other "
                       "programs; a history takes none",
                       record->id);
    }
    enum tiptrue_status status =
        own ? tt_store_begin(store, error) : tt_sql_run(store, "SAVEPOINT put", error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    status = put_all(store, record, solution, how, &made, error);
    if (status == TIPTRUE_OK) {
        status = own ? tt_store_commit(store, error) : tt_sql_run(store, "RELEASE put", error);
    }
    if (status == TIPTRUE_OK) {
        *outcome = made;
    } else if (own) {
        tt_store_rollback(store);
    } else if (!sqlite3_get_autocommit(
                   store->db)) { /* else the whole group was rolled back by SQLite itself */
        tt_sql_reset_all(store);
        sqlite3_exec(store->db, "ROLLBACK TO put; RELEASE put", NULL, NULL, NULL);
    }
    return status;
}

enum tiptrue_status tt_store_add_export(struct tiptrue_history *store, const char *id,
                                        const struct tt_record_export *export,
                                        struct tiptrue_error *error)
{
    char since[32] = "";
    sqlite3_int64 run = 0;
    bool is_new;
    enum tiptrue_status status = tt_store_begin(store, error);

    if (status == TIPTRUE_OK) {
        status = find_run(store, id, &run, since, error);
    }
    if (status == TIPTRUE_OK && run == 0) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0, "solve --history enters it",
                         "run %s is not in the history", id);
    }
    if (status == TIPTRUE_OK) {
        status = put_export(store, run, export, &is_new, error);
    }
    if (status == TIPTRUE_OK) {
        return tt_store_commit(store, error);
    }
    tt_store_rollback(store);
    return status;
}

enum tiptrue_status tt_store_summarise(struct tiptrue_history *store, const char *id,
                                       const struct tiptrue_solution *solution,
                                       struct tiptrue_error *error)
{
    sqlite3_int64 run, result = 0;
    enum tiptrue_status status = tt_store_begin(store, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_newest(store, id, &run, &result, error);
    }
    if (status == TIPTRUE_OK && result != 0) {
        status = tt_summary_write(store, run, result, solution, error);
    }
    if (status == TIPTRUE_OK) {
        return tt_store_commit(store, error);
    }
    tt_store_rollback(store);
    return status;
}
