/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Entering records. A run is known by the digest of its log; a digest of 64 bits may by chance
 * stand for two logs, so the bytes are compared whenever it is met again. A plan and a pattern
 * count among the documents: a corrected plan is no other run.
 */
#include "config.h"

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

/* A record on its way in. */
struct putting {
    struct tiptrue_history *store;
    const struct tt_record *record;
    enum tt_put how;
    sqlite3_int64 run;             /* its number */
    struct tt_known_result before; /* the result that counted until now */
    sqlite3_int64 last; /* the number that the record's last result was given, 0 if it was there */
    struct tt_put_outcome *outcome;
    struct tiptrue_error *error;
};

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
        tt_copy_word(since, tt_sql_word(statement, 1));
        sqlite3_reset(statement);
    }
    return status;
}

static enum tiptrue_status insert_run(struct putting *p)
{
    static const char SQL[] = "INSERT INTO run(id, added) VALUES(?, ?)";
    enum tiptrue_status status =
        tt_sql_do(p->store, SQL,
                  TT_SQL_VALUES(TT_AS_TEXT(p->record->id), TT_AS_TEXT(p->record->added)), p->error);

    p->run = sqlite3_last_insert_rowid(p->store->db);
    p->outcome->run_is_new = true;
    return status;
}

/* Compare the stored log with the record's, or (@write) fill it in. *same: whether the bytes are
 * equal. */
static enum tiptrue_status pass_log(const struct putting *p, bool write, bool *same)
{
    const struct tt_text log = p->record->log;
    sqlite3_blob *blob = NULL;
    char piece[PIECE];
    int code = sqlite3_blob_open(p->store->db, "main", "log", "text", p->run, write, &blob);

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
    return tt_sql_fail(p->store, code, p->error);
}

static enum tiptrue_status insert_log(const struct putting *p)
{
    static const char SQL[] = "INSERT INTO log(run, text) VALUES(?, ?)";
    const struct tt_text log = p->record->log;
    bool large = log.length > LARGE_LOG, same;
    enum tiptrue_status status =
        log.length > LARGEST_LOG
            ? tt_sql_fail(p->store, SQLITE_TOOBIG, p->error)
            : tt_sql_do(p->store, SQL,
                        TT_SQL_VALUES(TT_AS_INTEGER(p->run),
                                      large ? TT_AS_ROOM(log.length) : TT_AS_BLOB(log)),
                        p->error);

    return status == TIPTRUE_OK && large ? pass_log(p, true, &same) : status;
}

/* See to it that the log is there; one that is there already must be the same. */
static enum tiptrue_status put_log(const struct putting *p)
{
    static const char SQL[] = "SELECT 1 FROM log WHERE run = ?";
    bool row, same = true;

    if (p->record->log.text == NULL) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status =
        tt_sql_any(p->store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(p->run)), &row, p->error);
    p->outcome->log_is_new = status == TIPTRUE_OK && !row;
    if (p->outcome->log_is_new) {
        return insert_log(p);
    }
    if (status == TIPTRUE_OK) {
        status = pass_log(p, false, &same);
    }
    if (status == TIPTRUE_OK && !same) {
        status = tt_fail(
            p->error, TIPTRUE_E_DATA, p->store->path, 0, 0,
            "keep both logs, and add a remark line to one of them",
            "run %s is in the history already with another log: two logs have the same digest",
            p->record->id);
    }
    return status;
}

/* The number of the document, entered if it is new; 0 for none. */
static enum tiptrue_status put_document(const struct putting *p, enum tt_document_kind kind,
                                        struct tt_text text, sqlite3_int64 *no)
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
        status = tt_sql_first(p->store, insert ? INSERT : FIND,
                              TT_SQL_VALUES(TT_AS_TEXT(digest), TT_AS_TEXT(tt_document_words[kind]),
                                            TT_AS_BLOB(text)),
                              &statement, &row, p->error);
        if (status == TIPTRUE_OK) {
            *no =
                row ? sqlite3_column_int64(statement, 0) : sqlite3_last_insert_rowid(p->store->db);
            sqlite3_reset(statement);
        }
    }
    return status;
}

/* Whether a result with this text is there: any, or the one that counted until now. */
static enum tiptrue_status find_result(const struct putting *p,
                                       const struct tt_record_result *result, const char *digest,
                                       const sqlite3_int64 documents[], bool *found)
{
    static const char SQL[] =
        "SELECT 1 FROM result WHERE run = ?1 AND digest = ?2 AND version = ?3 AND json = ?4"
        " AND plate IS ?5 AND machine IS ?6 AND plan IS ?7 AND pattern IS ?8 AND (?9 IS NULL OR no "
        "= ?9)";

    return tt_sql_any(p->store, SQL,
                      TT_SQL_VALUES(TT_AS_INTEGER(p->run), TT_AS_TEXT(digest),
                                    TT_AS_TEXT(result->version), TT_AS_BLOB(result->json),
                                    TT_AS_NUMBER(documents[0]), TT_AS_NUMBER(documents[1]),
                                    TT_AS_NUMBER(documents[2]), TT_AS_NUMBER(documents[3]),
                                    TT_AS_NUMBER(p->how == TT_PUT_MERGED ? 0 : p->before.no)),
                      found, p->error);
}

/* Whether the run has a result with the documents that it came from. */
static enum tiptrue_status is_documented(const struct putting *p, bool *documented)
{
    static const char SQL[] = "SELECT 1 FROM result WHERE run = ? AND plate IS NOT NULL";

    return tt_sql_any(p->store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(p->run)), documented, p->error);
}

static enum tiptrue_status insert_result(const struct putting *p,
                                         const struct tt_record_result *result, const char *added,
                                         const char *digest, const sqlite3_int64 documents[])
{
    static const char SQL[] = "INSERT INTO result(run, version, added, plate, machine, plan, "
                              "pattern, verdict, digest, json)"
                              " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?)";

    return tt_sql_do(p->store, SQL,
                     TT_SQL_VALUES(TT_AS_INTEGER(p->run), TT_AS_TEXT(result->version),
                                   TT_AS_TEXT(added), TT_AS_NUMBER(documents[0]),
                                   TT_AS_NUMBER(documents[1]), TT_AS_NUMBER(documents[2]),
                                   TT_AS_NUMBER(documents[3]), TT_AS_TEXT(result->verdict),
                                   TT_AS_TEXT(digest), TT_AS_BLOB(result->json)),
                     p->error);
}

/* Whether the result that counts is of the same documents and the same version. */
static bool is_repeated(const struct tt_known_result *newest, const struct tt_record_result *result,
                        const sqlite3_int64 documents[])
{
    return newest->no != 0 && strcmp(newest->version, result->version) == 0 &&
           memcmp(newest->documents, documents, sizeof newest->documents) == 0;
}

static enum tiptrue_status put_result(struct putting *p, const struct tt_record_result *result)
{
    sqlite3_int64 documents[TT_DOCUMENT_KINDS];
    char digest[17];
    const char *added = result->added;
    enum tiptrue_status status = TIPTRUE_OK;
    bool there = false;

    p->last = 0;
    for (int i = 0; i < TT_DOCUMENT_KINDS && status == TIPTRUE_OK; i++) {
        status = put_document(p, (enum tt_document_kind)i, result->documents[i], &documents[i]);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    tt_digest(result->json.text, result->json.length, digest);
    if (p->how == TT_PUT_SOLVED) {
        there = is_repeated(&p->before, result, documents);
    } else {
        status = find_result(p, result, digest, documents, &there);
    }
    if (status == TIPTRUE_OK && !there && documents[0] == 0) {
        /* a bare result adds nothing to one that can be solved again */
        status = is_documented(p, &there);
    }
    if (status != TIPTRUE_OK || there) {
        return status;
    }
    if (p->how != TT_PUT_MERGED && strcmp(p->before.added, added) > 0) {
        added = p->before.added; /* the clock was set back */
    }
    status = insert_result(p, result, added, digest, documents);
    if (status == TIPTRUE_OK) {
        p->outcome->new_results++;
        p->last = sqlite3_last_insert_rowid(p->store->db);
    }
    return status;
}

/* Unless one that is the same in all is there. */
static enum tiptrue_status put_export(struct tiptrue_history *store, sqlite3_int64 run,
                                      const struct tt_record_export *export,
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

    return status == TIPTRUE_OK && !there ? tt_sql_do(store, INSERT, values, error) : status;
}

static enum tiptrue_status put_parts(struct putting *p)
{
    enum tiptrue_status status = put_log(p);

    for (size_t i = 0; i < p->record->n_results && status == TIPTRUE_OK; i++) {
        status = put_result(p, &p->record->results[i]);
    }
    for (size_t i = 0; i < p->record->n_exports && status == TIPTRUE_OK; i++) {
        status = put_export(p->store, p->run, &p->record->exports[i], p->error);
    }
    return status;
}

/* The summary is derived again when the history is opened to write. */
static enum tiptrue_status put_off(const struct putting *p)
{
    return tt_sql_do(p->store, "INSERT OR IGNORE INTO pending(run) VALUES(?)",
                     TT_SQL_VALUES(TT_AS_INTEGER(p->run)), p->error);
}

/* When what counts has changed, the summary follows it. @solution is what the record's last result
 * says; another one can become the newest only where several bear the same second, and is read when
 * the history is opened to write. */
static enum tiptrue_status follow(const struct putting *p, const struct tiptrue_solution *solution)
{
    struct tt_known_result newest;
    enum tiptrue_status status = tt_find_newest(p->store, p->run, &newest, p->error);

    if (status != TIPTRUE_OK || newest.no == p->before.no) {
        return status;
    }
    if (newest.no != p->last) {
        return put_off(p);
    }
    status = tt_summary_write(p->store, p->run, newest.no, solution, p->error);
    /* without the plate held it is derived again from the log, so that runs of a plate are compared
     * by one kind of offset */
    return status == TIPTRUE_OK && !tt_solution_has_held(solution) ? put_off(p) : status;
}

static enum tiptrue_status put_all(struct putting *p, const struct tiptrue_solution *solution)
{
    enum tiptrue_status status =
        find_run(p->store, p->record->id, &p->run, p->outcome->since, p->error);

    if (status == TIPTRUE_OK) {
        status =
            p->run == 0 ? insert_run(p) : tt_find_newest(p->store, p->run, &p->before, p->error);
    }
    if (status == TIPTRUE_OK) {
        status = put_parts(p);
    }
    if (status == TIPTRUE_OK) {
        tt_copy_word(p->outcome->superseded, p->before.added);
        tt_copy_word(p->outcome->superseded_version, p->before.version);
        status = follow(p, solution);
    }
    return status;
}

enum tiptrue_status tt_store_put(struct tiptrue_history *store, const struct tt_record *record,
                                 const struct tiptrue_solution *solution, enum tt_put how,
                                 struct tt_put_outcome *outcome, struct tiptrue_error *error)
{
    bool own = !store->in_group;
    struct tt_put_outcome made = {0};
    struct putting putting = {
        .store = store, .record = record, .how = how, .outcome = &made, .error = error};

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
    status = put_all(&putting, solution);
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
    enum tiptrue_status status = tt_store_begin(store, error);

    if (status == TIPTRUE_OK) {
        status = find_run(store, id, &run, since, error);
    }
    if (status == TIPTRUE_OK && run == 0) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0, "solve --history enters it",
                         "run %s is not in the history", id);
    }
    if (status == TIPTRUE_OK) {
        status = put_export(store, run, export, error);
    }
    return tt_store_end(store, status, error);
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
    return tt_store_end(store, status, error);
}
