/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Reading: one run whole, or what a list shows of many. */
#include "config.h"

#include "model/words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "history/store/sql.h"
#include "history/store/store.h"

/* A copy of a column in the record's arena; NULL stays NULL. */
static struct tt_text copy_text(struct tt_record *record, sqlite3_stmt *from, int column,
                                bool *failed)
{
    struct tt_text text = tt_sql_column_text(from, column);

    if (text.text != NULL) {
        text.text = tt_arena_copy_text(&record->arena, text.text, text.length);
        *failed = *failed || text.text == NULL;
    }
    return text;
}

static const char *copy_word(struct tt_record *record, sqlite3_stmt *from, int column, bool *failed)
{
    return copy_text(record, from, column, failed).text;
}

static enum tiptrue_status load_run(struct tiptrue_history *store, const char *id,
                                    sqlite3_int64 *run, struct tt_record *record,
                                    struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT no, added, (SELECT l.text FROM log l WHERE l.run = u.no) FROM run u WHERE id = ?";
    sqlite3_stmt *statement;
    bool row = false, failed = false;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(id)), &statement, error);

    if (status == TIPTRUE_OK) {
        status = tt_sql_next(store, statement, &row, error);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (!row) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0,
                       "history list shows what is there", "there is no run %s", id);
    }
    *run = sqlite3_column_int64(statement, 0);
    snprintf(record->id, sizeof record->id, "%s", id);
    record->added = copy_word(record, statement, 1, &failed);
    record->log = copy_text(record, statement, 2, &failed);
    sqlite3_reset(statement);
    return failed ? tt_fail_memory(error) : TIPTRUE_OK;
}

static bool fill_result(struct tt_record *record, sqlite3_stmt *from,
                        struct tt_record_result *result)
{
    bool failed = false;

    result->version = copy_word(record, from, 0, &failed);
    result->added = copy_word(record, from, 1, &failed);
    result->verdict = copy_word(record, from, 2, &failed);
    result->json = copy_text(record, from, 3, &failed);
    for (int i = 0; i < TT_DOCUMENT_KINDS; i++) {
        result->documents[i] = copy_text(record, from, 4 + i, &failed);
    }
    return !failed;
}

static enum tiptrue_status load_results(struct tiptrue_history *store, sqlite3_int64 run,
                                        bool newest_only, struct tt_record *record,
                                        struct tiptrue_error *error)
{
#define RESULTS                                                                                    \
    "SELECT version, added, verdict, json, (SELECT text FROM document d WHERE d.no = r.plate),"    \
    " (SELECT text FROM document d WHERE d.no = r.machine), (SELECT text FROM document d WHERE "   \
    "d.no = r.plan),"                                                                              \
    " (SELECT text FROM document d WHERE d.no = r.pattern) FROM result r WHERE run = ? ORDER BY "  \
    "r.added"
    static const char ALL[] = RESULTS ", r.no", NEWEST[] = RESULTS " DESC, r.no DESC LIMIT 1";
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_ask(store, newest_only ? NEWEST : ALL,
                                            TT_SQL_VALUES(TT_AS_INTEGER(run)), &statement, error);

    while (tt_sql_row(store, statement, &status, error)) {
        struct tt_record_result *result = tt_arena_more(
            &record->arena, &record->results, &record->n_results, sizeof *record->results);
        if (result == NULL || !fill_result(record, statement, result)) {
            status = tt_fail_memory(error);
        }
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(store);
    }
    return status;
}

static enum tiptrue_status load_exports(struct tiptrue_history *store, sqlite3_int64 run,
                                        struct tt_record *record, struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT time, file, old_digest, new_digest, old_values, new_values "
                              "FROM export WHERE run = ?"
                              " ORDER BY time, no";
    sqlite3_stmt *statement;
    bool failed = false;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(run)), &statement, error);

    while (!failed && tt_sql_row(store, statement, &status, error)) {
        struct tt_record_export *export = tt_arena_more(
            &record->arena, &record->exports, &record->n_exports, sizeof *record->exports);
        if (export == NULL) {
            failed = true;
            break;
        }
        export->time = copy_word(record, statement, 0, &failed);
        export->file = copy_word(record, statement, 1, &failed);
        export->old_digest = copy_word(record, statement, 2, &failed);
        export->new_digest = copy_word(record, statement, 3, &failed);
        export->old_values = copy_text(record, statement, 4, &failed);
        export->new_values = copy_text(record, statement, 5, &failed);
    }
    if (failed) {
        tt_sql_reset_all(store);
        return tt_fail_memory(error);
    }
    return status;
}

enum tiptrue_status tt_store_load(struct tiptrue_history *store, const char *id, bool newest_only,
                                  struct tt_record *record, struct tiptrue_error *error)
{
    sqlite3_int64 run = 0;
    enum tiptrue_status status = load_run(store, id, &run, record, error);

    if (status == TIPTRUE_OK) {
        status = load_results(store, run, newest_only, record, error);
    }
    if (status == TIPTRUE_OK && record->n_results == 0) {
        status =
            tt_fail(error, TIPTRUE_E_DATA, store->path, 0, 0, NULL, "run %s has no result", id);
    }
    if (status == TIPTRUE_OK && !newest_only) {
        status = load_exports(store, run, record, error);
    }
    if (status != TIPTRUE_OK) {
        tt_record_clear(record);
    }
    return status;
}

static bool is_hexadecimal(const char *text)
{
    size_t length = strspn(text, "0123456789abcdef");
    return length > 0 && length < TT_RUN_ID_SIZE && text[length] == '\0';
}

enum tiptrue_status tiptrue_history_find(struct tiptrue_history *store, const char *text,
                                         char id[TT_RUN_ID_SIZE], struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT id FROM run WHERE id >= ?1 AND id < ?1 || 'g' ORDER BY id LIMIT 2";

    return tt_store_find_id(store, SQL, "run", text, id, error);
}

enum tiptrue_status tt_store_find_id(struct tiptrue_history *store, const char *sql,
                                     const char *what, const char *text, char id[TT_RUN_ID_SIZE],
                                     struct tiptrue_error *error)
{
    char found[2][TT_RUN_ID_SIZE] = {"", ""};
    size_t n = 0;
    sqlite3_stmt *statement;

    if (!is_hexadecimal(text)) {
        return tt_fail(
            error, TIPTRUE_E_USAGE, NULL, 0, 0, "history list shows them",
            "'%s' is not a %s: an id has 16 digits out of 0-9 and a-f, of which the first "
            "few are enough",
            text, what);
    }
    enum tiptrue_status status =
        tt_sql_ask(store, sql, TT_SQL_VALUES(TT_AS_TEXT(text)), &statement, error);
    while (tt_sql_row(store, statement, &status, error)) {
        snprintf(found[n++ % 2], TT_RUN_ID_SIZE, "%s", tt_sql_word(statement, 0));
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (n == 0) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0,
                       "history list shows what is there",
                       "there is no %s whose id begins with '%s'", what, text);
    }
    if (n > 1) {
        return tt_fail(error, TIPTRUE_E_USAGE, store->path, 0, 0, "give more digits",
                       "several runs have an id that begins with '%s': %s, %s ...", text, found[0],
                       found[1]);
    }
    memcpy(id, found[0], TT_RUN_ID_SIZE);
    return TIPTRUE_OK;
}

/* Tips of one run for a list, in memory that grows as needed. */
struct tips {
    struct tt_record_tip *tips;
    struct tt_arena arena;
};

static const char *verdict_word(int verdict)
{
    return tt_verdict_words[verdict >= 0 && verdict < TT_VERDICTS ? verdict : TIPTRUE_REPEAT];
}

static enum tiptrue_status read_tips(struct tiptrue_history *store, sqlite3_stmt *entries,
                                     struct tt_record_entry *entry, struct tips *tips,
                                     struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT name, has & 1, full_x_mm, full_y_mm, verdict FROM tip"
                              " WHERE machine = ? AND time_s = ? AND run = ?"
                              " ORDER BY machine, time_s, run, position";
    sqlite3_stmt *statement;
    size_t room = (size_t)sqlite3_column_int64(entries, 13);
    enum tiptrue_status status = tt_sql_ask(
        store, SQL,
        TT_SQL_VALUES(TT_AS_TEXT(entry->machine), TT_AS_REAL(sqlite3_column_double(entries, 11)),
                      TT_AS_INTEGER(sqlite3_column_int64(entries, 12))),
        &statement, error);

    tt_arena_reset(&tips->arena);
    tips->tips = TT_ARENA_NEW(&tips->arena, room, struct tt_record_tip);
    if (status != TIPTRUE_OK || tips->tips == NULL) {
        return status != TIPTRUE_OK ? status : tt_fail_memory(error);
    }
    entry->n_tips = 0;
    entry->tips = tips->tips;
    while (tt_sql_row(store, statement, &status, error)) {
        const char *name = tt_sql_column(statement, 0);
        if (name != NULL && entry->n_tips < room &&
            (name = tt_arena_copy(&tips->arena, name)) != NULL) {
            tips->tips[entry->n_tips++] = (struct tt_record_tip){
                .name = name,
                .determined = sqlite3_column_int(statement, 1) != 0,
                .x_mm = sqlite3_column_double(statement, 2),
                .y_mm = sqlite3_column_double(statement, 3),
                .verdict = verdict_word(sqlite3_column_int(statement, 4)),
            };
        }
    }
    return status;
}

static void fill_entry(sqlite3_stmt *from, struct tt_record_entry *entry)
{
    snprintf(entry->id, sizeof entry->id, "%s", tt_sql_word(from, 0));
    entry->machine = tt_sql_column(from, 1);
    entry->started = tt_sql_column(from, 2);
    entry->plate = tt_sql_column(from, 3);
    entry->plate_serial = tt_sql_column(from, 4);
    entry->verdict = verdict_word(sqlite3_column_int(from, 5));
    entry->added = tt_sql_column(from, 6);
    entry->solved = tt_sql_column(from, 7);
    entry->version = tt_sql_column(from, 8);
    entry->results = (size_t)sqlite3_column_int64(from, 9);
    entry->has_log = sqlite3_column_int(from, 10) != 0;
    entry->exports = (size_t)sqlite3_column_int64(from, 14);
    entry->excluded = tt_sql_column(from, 15);
    entry->time_s = sqlite3_column_double(from, 11);
}

enum tiptrue_status tt_store_list(struct tiptrue_history *store, const struct tt_store_query *query,
                                  enum tiptrue_status (*each)(void *context,
                                                              const struct tt_record_entry *entry),
                                  void *context, struct tiptrue_error *error)
{
#define ENTRIES                                                                                    \
    "SELECT s.id, s.machine, s.started, s.plate, s.plate_serial, s.verdict, u.added, r.added, "    \
    "r.version,"                                                                                   \
    " (SELECT count(*) FROM result x WHERE x.run = s.run), EXISTS(SELECT 1 FROM log l WHERE "      \
    "l.run = s.run), s.time_s, s.run,"                                                             \
    " s.tips, (SELECT count(*) FROM export e WHERE e.run = s.run), s.left_out"                     \
    " FROM summary s CROSS JOIN run u ON u.no = s.run CROSS JOIN result r ON r.no = s.result"
    static const char ALL[] =
        ENTRIES " WHERE s.time_s >= ?1 AND s.time_s <= ?3 ORDER BY s.time_s, s.id";
    static const char OF_MACHINE[] =
        ENTRIES " WHERE s.machine = ?2 AND s.time_s >= ?1 AND s.time_s <= ?3"
                " ORDER BY s.time_s, s.id";
    sqlite3_stmt *statement;
    struct tips tips = {0};
    enum tiptrue_status status =
        tt_sql_ask(store, query->machine != NULL ? OF_MACHINE : ALL,
                   TT_SQL_VALUES(TT_AS_REAL(query->has_since ? query->since_s : -HUGE_VAL),
                                 TT_AS_TEXT(query->machine),
                                 TT_AS_REAL(query->has_until ? query->until_s : HUGE_VAL)),
                   &statement, error);

    while (tt_sql_row(store, statement, &status, error)) {
        struct tt_record_entry entry = {0};
        fill_entry(statement, &entry);
        status = read_tips(store, statement, &entry, &tips, error);
        if (status == TIPTRUE_OK) {
            status = each(context, &entry);
        }
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(store);
    }
    tt_arena_clear(&tips.arena);
    return status;
}

enum tiptrue_status tt_store_next_unsummarised(struct tiptrue_history *store,
                                               char id[TT_RUN_ID_SIZE], bool *found,
                                               struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT id FROM run WHERE no = (SELECT min(run) FROM pending)";
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_get(store, SQL, &statement, error);

    if (status == TIPTRUE_OK) {
        status = tt_sql_next(store, statement, found, error);
    }
    if (status == TIPTRUE_OK && *found) {
        snprintf(id, TT_RUN_ID_SIZE, "%s", tt_sql_word(statement, 0));
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_store_count(struct tiptrue_history *store, struct tt_store_counts *counts,
                                   struct tiptrue_error *error)
{
    static const char *const SQL[] = {
        "SELECT count(*) FROM run",    "SELECT count(*) FROM log",
        "SELECT count(*) FROM result", "SELECT count(*) FROM document",
        "SELECT count(*) FROM export", "SELECT count(*) FROM board"};
    size_t *const to[] = {&counts->runs,      &counts->logs,    &counts->results,
                          &counts->documents, &counts->exports, &counts->boards};
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < sizeof SQL / sizeof SQL[0] && status == TIPTRUE_OK; i++) {
        sqlite3_int64 number = 0;
        status = tt_sql_number(store, SQL[i], &number, error);
        *to[i] = (size_t)number;
    }
    return status;
}

/* ---- what was written into the configurations of a machine, newest first ---- */

/* More exports than this are not gone back: the offset in use is of one of the last. */
#define MOST_EXPORTS 500

enum tiptrue_status tt_store_exports(struct tiptrue_history *store, const char *machine,
                                     bool (*each)(void *context,
                                                  const struct tt_store_exported *exported),
                                     void *context, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT summary.id, summary.plate_key, export.time, export.file, export.old_values, "
        "export.new_values"
        " FROM export JOIN summary ON summary.run = export.run WHERE summary.machine = ?"
        " ORDER BY export.no DESC LIMIT ?";
    sqlite3_stmt *statement;
    bool more = true;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(machine), TT_AS_INTEGER(MOST_EXPORTS)),
                   &statement, error);

    while (more && tt_sql_row(store, statement, &status, error)) {
        const struct tt_store_exported exported = {
            .run = tt_sql_column(statement, 0),
            .plate = tt_sql_column(statement, 1),
            .time = tt_sql_column(statement, 2),
            .file = tt_sql_column(statement, 3),
            .old_values = tt_sql_column_text(statement, 4),
            .new_values = tt_sql_column_text(statement, 5),
        };
        more = each(context, &exported);
    }
    tt_sql_reset_all(store);
    return status;
}
