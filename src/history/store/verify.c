/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Looking for damage that SQLite sees (structure, references) and that only the digests show
 * (bytes). */
#include "config.h"

#include <string.h>

#include "base/buffer.h"
#include "base/digest.h"
#include "base/utf8.h"
#include "history/store/sql.h"
#include "history/store/store.h"

struct looker {
    struct tiptrue_history *store;
    void (*told)(void *context, const char *text);
    void *context;
    struct tiptrue_error *error;
};

/* What is wrong with @row, onto @fault; nothing where it is sound. */
typedef void judge_fn(sqlite3_stmt *row, const void *with, struct tt_buffer *fault);

/* @fault in one line, without what steers a terminal: SQLite's own words may be several lines, and
 * names in a damaged file anything. */
static enum tiptrue_status tell(const struct looker *looker, const struct tt_buffer *fault)
{
    struct tt_buffer shown = {0};
    for (char *c = fault->text; c != NULL && *c != '\0'; c++) {
        *c = *c == '\n' ? ' ' : *c;
    }
    tt_buffer_put_escaped(&shown, fault->text != NULL ? fault->text : "");
    bool failed = fault->failed || shown.failed;
    if (!failed && shown.length > 0) {
        looker->told(looker->context, shown.text);
    }
    tt_buffer_clear(&shown);
    return failed ? tt_fail_memory(looker->error) : TIPTRUE_OK;
}

/* Each row of @sql is judged; faults are told. */
static enum tiptrue_status judge_rows(const struct looker *looker, const char *sql, judge_fn *judge,
                                      const void *with)
{
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_get(looker->store, sql, &statement, looker->error);

    while (tt_sql_row(looker->store, statement, &status, looker->error)) {
        struct tt_buffer fault = {0};
        judge(statement, with, &fault);
        status = tell(looker, &fault);
        tt_buffer_clear(&fault);
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(looker->store);
    }
    return status;
}

/* A row that is a fault unless it is @good (NULL: always), and the words before it. */
struct fault_words {
    const char *form, *good;
};

static void judge_fault(sqlite3_stmt *row, const void *with, struct tt_buffer *fault)
{
    const struct fault_words *words = with;
    const char *first = tt_sql_column(row, 0);

    if (first == NULL || words->good == NULL || strcmp(first, words->good) != 0) {
        tt_buffer_puts(fault, words->form);
        tt_buffer_puts(fault, first != NULL ? first : "NULL");
    }
}

static enum tiptrue_status tell_rows(const struct looker *looker, const char *sql, const char *form,
                                     const char *good)
{
    const struct fault_words words = {form, good};
    return judge_rows(looker, sql, judge_fault, &words);
}

/* A row holds a name, a digest and the text it must be of; @with: what it is of. */
static void judge_digest(sqlite3_stmt *row, const void *with, struct tt_buffer *fault)
{
    const char *name = tt_sql_word(row, 0), *stated = tt_sql_word(row, 1);
    struct tt_text text = tt_sql_column_text(row, 2);
    char digest[17];

    tt_digest(text.text != NULL ? text.text : "", text.length, digest);
    if (strcmp(stated, digest) != 0) {
        tt_buffer_printf(fault, "%s %s: its bytes are not those that were stored",
                         (const char *)with, name);
    }
}

static enum tiptrue_status check_digests(const struct looker *looker, const char *sql,
                                         const char *form)
{
    return judge_rows(looker, sql, judge_digest, form);
}

#define TIME                                                                                       \
    " NOT GLOB "                                                                                   \
    "'[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]T[0-9][0-9]:[0-9][0-9]:[0-9][0-9]*[Z0-9]'"
#define DIGEST " GLOB '*[^0-9a-f]*'"

/* Each row is a fault. */
static const struct {
    const char *sql, *form, *good;
} ROWS[] = {
    {"PRAGMA integrity_check", "structure: ", "ok"},
    {"SELECT \"table\" || coalesce(' ' || rowid, '') || ' -> ' || parent"
     " FROM pragma_foreign_key_check", /* some tables have no rowid */
     "a reference to nothing: ", NULL},
    {"SELECT id FROM run u WHERE NOT EXISTS(SELECT 1 FROM result r WHERE r.run = u.no)",
     "a run without a result: ", NULL},
    {"SELECT id FROM run u WHERE NOT EXISTS(SELECT 1 FROM summary s WHERE s.run = u.no)"
     " AND NOT EXISTS(SELECT 1 FROM pending p WHERE p.run = u.no)",
     "a run without a summary: ", NULL},
    {"SELECT id FROM run WHERE added" TIME " OR started" TIME, "a time that is none, of run ",
     NULL},
    {"SELECT u.id FROM result r JOIN run u ON u.no = r.run WHERE r.added" TIME,
     "a time that is none, of a result of run ", NULL},
    {"SELECT u.id FROM note n JOIN run u ON u.no = n.run WHERE n.time" TIME,
     "a time that is none, of a note on run ", NULL},
    {"SELECT u.id FROM export e JOIN run u ON u.no = e.run WHERE e.time" TIME,
     "a time that is none, of an export of run ", NULL},
    {"SELECT u.id FROM export e JOIN run u ON u.no = e.run WHERE"
     " length(e.old_digest) <> 16 OR length(e.new_digest) <> 16"
     " OR e.old_digest" DIGEST " OR e.new_digest" DIGEST,
     "a digest that is none, of an export of run ", NULL},
    {"SELECT id FROM board WHERE added" TIME " OR judged" TIME, "a time that is none, of board ",
     NULL},
    {"SELECT id FROM board WHERE instr(CAST(json AS TEXT), '\"id\":\"' || id || '\"') = 0"
     " OR instr(CAST(json AS TEXT), '\"verdict\":\"' || verdict || '\"') = 0"
     " OR instr(CAST(json AS TEXT), '\"parts\":{\"read\":' || parts_read || ',\"used\":' ||"
     " parts_used || ',') = 0",
     "what is noted is not what the judgement says, of board ", NULL},
};

/* Name, digest and text of each row. */
static const struct {
    const char *sql, *form;
} DIGESTS[] = {
    {"SELECT kind || ' document ' || no, digest, text FROM document", "the"},
    {"SELECT u.id, u.id, l.text FROM run u JOIN log l ON l.run = u.no", "the log of run"},
    {"SELECT u.id, r.digest, r.json FROM result r JOIN run u ON u.no = r.run", "a result of run"},
    {"SELECT u.id, e.digest, e.numbers FROM response e JOIN result r ON r.no = e.result"
     " JOIN run u ON u.no = r.run",
     "what is kept of run"},
    {"SELECT machine, digest, numbers FROM scatter", "the scatter that is kept of machine"},
    {"SELECT id, id, text FROM board", "the table of board"},
    {"SELECT id, digest, json FROM board", "the judgement of board"},
    {"SELECT id, said_digest, said FROM board", "the text of board"},
};

/* A part that cannot be read is a fault; what comes after it is looked at, too. */
static enum tiptrue_status go_on(const struct looker *looker, enum tiptrue_status status,
                                 const struct tiptrue_error *why)
{
    if (status == TIPTRUE_E_DATA) {
        looker->told(looker->context, why->text);
        return TIPTRUE_OK;
    }
    return status == TIPTRUE_OK
               ? status
               : tt_fail(looker->error, status, why->file, 0, 0, why->hint, "%s", why->text);
}

enum tiptrue_status tt_store_verify(struct tiptrue_history *store,
                                    void (*told)(void *context, const char *text), void *context,
                                    struct tiptrue_error *error)
{
    const size_t rows = sizeof ROWS / sizeof ROWS[0], digests = sizeof DIGESTS / sizeof DIGESTS[0];
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < rows + digests && status == TIPTRUE_OK; i++) {
        struct tiptrue_error why = {0};
        const struct looker looker = {store, told, context, &why},
                            outer = {store, told, context, error};
        status = i < rows ? tell_rows(&looker, ROWS[i].sql, ROWS[i].form, ROWS[i].good)
                          : check_digests(&looker, DIGESTS[i - rows].sql, DIGESTS[i - rows].form);
        status = go_on(&outer, status, &why);
    }
    return status;
}
