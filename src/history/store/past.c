/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the runs of a machine found the edges of their plates, and the offsets of their tips. */
#include "config.h"

#include "history/store/store.h"

#include <string.h>

#include "history/store/sql.h"

/* What a row tells, in its column 10. */
enum { IS_EDGE, IS_TIP };

static const char *copy(struct tt_arena *arena, const char *text, bool *failed)
{
    const char *made = tt_arena_copy_text(arena, text, strlen(text));

    *failed = *failed || made == NULL;
    return made;
}

/* The tip in the row that @from stands at: of @run, or of one that touched no edge. */
static bool add_tip(struct tiptrue_between *to, struct tt_past_run *run, sqlite3_stmt *from)
{
    const char *id = tt_sql_word(from, 0);
    bool failed = false;

    if (run != NULL && strcmp(run->id, id) == 0) {
        run->tips[run->n_tips++] =
            (struct tt_past_tip){copy(&to->arena, tt_sql_word(from, 6), &failed),
                                 {sqlite3_column_double(from, 7), sqlite3_column_double(from, 8)}};
    }
    return !failed;
}

/* The edge or tip in the row that @from stands at; an edge begins a run of its own where another
 * one's were before. */
static bool add(struct tiptrue_between *to, sqlite3_stmt *from)
{
    const char *id = tt_sql_word(from, 0);
    struct tt_past_run *run = to->n_past > 0 ? &to->past[to->n_past - 1] : NULL;
    bool failed = false;

    if (sqlite3_column_int(from, 10) == IS_TIP) {
        return add_tip(to, run, from);
    }
    if (run == NULL || strcmp(run->id, id) != 0) {
        size_t n_edges = (size_t)sqlite3_column_int64(from, 4),
               n_tips = (size_t)sqlite3_column_int64(from, 5);
        run = &to->past[to->n_past++];
        *run = (struct tt_past_run){.id = copy(&to->arena, id, &failed),
                                    .plate = copy(&to->arena, tt_sql_word(from, 1), &failed),
                                    .document = copy(&to->arena, tt_sql_word(from, 2), &failed),
                                    .time_s = sqlite3_column_double(from, 3),
                                    .edges = TT_ARENA_NEW(&to->arena, n_edges, struct tt_past_edge),
                                    .tips = TT_ARENA_NEW(&to->arena, n_tips, struct tt_past_tip)};
        failed = failed || run->edges == NULL || run->tips == NULL;
    }
    if (!failed) {
        run->edges[run->n_edges++] =
            (struct tt_past_edge){.name = copy(&to->arena, tt_sql_word(from, 6), &failed),
                                  .shift_mm = sqlite3_column_double(from, 7),
                                  .u_mm = sqlite3_column_double(from, 8),
                                  .freed = sqlite3_column_int(from, 9) != 0};
    }
    return !failed;
}

enum tiptrue_status tt_store_past(struct tiptrue_history *store, const char *machine, size_t most,
                                  struct tiptrue_between *between, struct tiptrue_error *error)
{
    static const char SQL[] =
        "WITH latest AS (SELECT * FROM summary s WHERE machine = ?1 AND left_out IS NULL AND EXISTS"
        " (SELECT 1 FROM tip t WHERE t.machine = ?1 AND t.time_s = s.time_s AND t.run = s.run AND"
        " t.verdict < ?2) ORDER BY time_s DESC, run DESC LIMIT ?3)"
        " SELECT s.id, s.plate_key, d.digest, s.time_s, s.edges, s.tips, e.name, e.shift_mm,"
        " e.u_shift_mm, e.freed, 0, s.run, e.position FROM latest s"
        " JOIN edge e ON e.machine = ?1 AND e.time_s = s.time_s AND e.run = s.run"
        " JOIN result r ON r.no = s.result JOIN document d ON d.no = r.plate"
        " UNION ALL SELECT s.id, NULL, NULL, s.time_s, 0, 0, t.name, t.x_mm, t.y_mm, 0, 1, s.run,"
        " t.position FROM latest s"
        " JOIN tip t ON t.machine = ?1 AND t.time_s = s.time_s AND t.run = s.run"
        " WHERE t.has & 1 AND t.verdict < ?2 ORDER BY 4 DESC, 12 DESC, 11, 13";
    sqlite3_stmt *statement;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL,
                   TT_SQL_VALUES(TT_AS_TEXT(machine != NULL ? machine : ""),
                                 TT_AS_INTEGER(TIPTRUE_REPEAT), TT_AS_COUNT(most)),
                   &statement, error);

    between->past = TT_ARENA_NEW(&between->arena, most, struct tt_past_run);
    if (status == TIPTRUE_OK && between->past == NULL) {
        status = tt_fail_memory(error);
    }
    while (tt_sql_row(store, statement, &status, error)) {
        status = add(between, statement) ? TIPTRUE_OK : tt_fail_memory(error);
    }
    tt_sql_reset_all(store);
    return status;
}
