/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers as text: what touches and sightings show, mm and degrees of freedom each; then, by the
 * rows of a run's summary, how many tips and edges there are, of each tip three for each edge, of
 * each edge one for each edge; where the run took none out, the same numbers of lost motion. */
#include "config.h"

#include "history/store/response.h"

#include <string.h>

#include "base/digest.h"
#include "base/number.h"
#include "history/store/newest.h"
#include "history/store/store.h"
#include "model/trend.h"

/* In mm per mm: far below what touches that were left out change in it. */
#define DECIMALS 6

static void write_row(struct tt_buffer *to, const double numbers[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        tt_number_write_rounded(to, numbers[i], DECIMALS);
        tt_buffer_putc(to, ' ');
    }
}

/* False: @from does not know them. */
static bool write_numbers(const struct tiptrue_solution *from, struct tt_buffer *to)
{
    const double own[] = {from->own_touch_mm, from->own_touch_dof, from->own_sighting_mm,
                          from->own_sighting_dof};
    size_t tips = 0;

    for (size_t i = 0; i < 4; i++) {
        tt_number_write(to, own[i]);
        tt_buffer_putc(to, ' ');
    }
    for (size_t i = 0; i < from->n_tips; i++) {
        tips += from->tips[i].verdict != TIPTRUE_NOT_MEASURED;
    }
    tt_buffer_printf(to, "%zu %zu ", tips, from->n_edges);
    for (size_t i = 0; i < from->n_tips; i++) {
        const struct tt_tip_result *tip = &from->tips[i];
        if (tip->verdict == TIPTRUE_NOT_MEASURED) {
            continue;
        }
        if (tip->edge_response == NULL) {
            return false;
        }
        write_row(to, tip->edge_response, 3 * from->n_edges);
    }
    for (size_t i = 0; i < from->n_edges; i++) {
        if (from->edges[i].edge_response == NULL) {
            return false;
        }
        write_row(to, from->edges[i].edge_response, from->n_edges);
    }
    for (size_t i = 0; i < from->n_tips && !from->has_lost_motion; i++) {
        if (from->tips[i].verdict != TIPTRUE_NOT_MEASURED) {
            write_row(to, from->tips[i].edge_response + 3 * from->n_edges, 3);
        }
    }
    for (size_t i = 0; i < from->n_edges && !from->has_lost_motion; i++) {
        write_row(to, from->edges[i].edge_response + from->n_edges, 1);
    }
    return from->n_edges > 0;
}

static enum tiptrue_status write_text(struct tiptrue_history *store, sqlite3_int64 result,
                                      const struct tt_buffer *numbers, struct tiptrue_error *error)
{
    static const char SQL[] =
        "INSERT OR REPLACE INTO response(result, numbers, digest) VALUES(?, ?, ?)";
    const struct tt_text text = {numbers->text != NULL ? numbers->text : "", numbers->length};
    char digest[17];

    tt_digest(text.text, text.length, digest);
    return numbers->failed ? tt_fail_memory(error)
                           : tt_sql_do(store, SQL,
                                       TT_SQL_VALUES(TT_AS_INTEGER(result), TT_AS_BLOB(text),
                                                     TT_AS_TEXT(digest)),
                                       error);
}

enum tiptrue_status tt_response_write(struct tiptrue_history *store, sqlite3_int64 result,
                                      const struct tiptrue_solution *solution,
                                      struct tiptrue_error *error)
{
    struct tt_buffer numbers = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (write_numbers(solution, &numbers)) {
        status = write_text(store, result, &numbers, error);
    }
    tt_buffer_clear(&numbers);
    return status;
}

enum tiptrue_status tt_store_keep_response(struct tiptrue_history *store, const char *id,
                                           const struct tiptrue_solution *solution,
                                           struct tiptrue_error *error)
{
    struct tt_buffer numbers = {0};
    sqlite3_int64 run, result = 0;
    enum tiptrue_status status = tt_store_newest(store, id, &run, &result, error);

    if (solution == NULL || !write_numbers(solution, &numbers)) {
        tt_buffer_reset(&numbers);
        tt_buffer_puts(&numbers, "0 0 0 0 0 0 ");
    }
    if (status == TIPTRUE_OK && result != 0) {
        status = write_text(store, result, &numbers, error);
    }
    tt_buffer_clear(&numbers);
    return status;
}

/* The next number of *text; 0 where there is none. */
static double next_number(const char **text)
{
    size_t length = strcspn(*text, " ");
    double value = 0;

    if (tt_number_read(*text, length, '.', &value, NULL) != TT_NUMBER_OK) {
        value = 0;
    }
    *text += length + ((*text)[length] != '\0');
    return value;
}

/* Of each edge, and behind them of lost motion. */
static struct tt_series_response *make_responses(struct tt_series *series)
{
    struct tt_series_response *made =
        TT_ARENA_NEW(series->arena, series->n_edge_names + 1, struct tt_series_response);

    for (size_t i = 0; made != NULL && i <= series->n_edge_names; i++) {
        made[i].offset = TT_ARENA_NEW(series->arena, series->n_tip_names, struct tt_machine_xy);
        made[i].radius = TT_ARENA_NEW(series->arena, series->n_tip_names, double);
        made[i].edge = TT_ARENA_NEW(series->arena, series->n_edge_names, double);
        if (made[i].offset == NULL || made[i].radius == NULL || made[i].edge == NULL) {
            return NULL;
        }
    }
    return made;
}

static bool has_tip(const struct tt_series_run *run, size_t tip)
{
    size_t i = 0;

    while (i < run->n_tips && run->tips[i].tip != tip) {
        i++;
    }
    return i < run->n_tips;
}

/* Tips that @run does not have. */
static void fill_others(const struct tt_series *series, const struct tt_series_run *run,
                        struct tt_series_response *r)
{
    struct tt_machine_xy offset = {0, 0};
    double radius = 0;

    for (size_t i = 0; i < run->n_tips; i++) {
        size_t tip = run->tips[i].tip;
        offset.x_mm += r->offset[tip].x_mm / (double)run->n_tips;
        offset.y_mm += r->offset[tip].y_mm / (double)run->n_tips;
        radius += r->radius[tip] / (double)run->n_tips;
    }
    for (size_t tip = 0; tip < series->n_tip_names; tip++) {
        if (!has_tip(run, tip)) {
            r->offset[tip] = offset;
            r->radius[tip] = radius;
        }
    }
}

static void read_tip(const char **text, struct tt_series_response *r, size_t tip)
{
    r->offset[tip].x_mm = next_number(text);
    r->offset[tip].y_mm = next_number(text);
    r->radius[tip] = next_number(text);
}

/* Nothing is read where the numbers are not of such a run. */
static enum tiptrue_status read_numbers(const char *text, struct tt_series *series,
                                        const struct tt_series_run *run,
                                        struct tiptrue_error *error)
{
    struct tt_series_response *made = make_responses(series);

    if (text == NULL || made == NULL) {
        return tt_fail_memory(error);
    }
    for (int i = 0; i < 4; i++) {
        (void)next_number(&text);
    }
    double tips = next_number(&text), edges = next_number(&text);
    if (tips != (double)run->n_tips || edges != (double)run->n_edges) {
        return TIPTRUE_OK;
    }
    for (size_t i = 0; i < run->n_tips; i++) {
        for (size_t k = 0; k < run->n_edges; k++) {
            read_tip(&text, &made[run->edges[k].edge], run->tips[i].tip);
        }
    }
    for (size_t i = 0; i < run->n_edges; i++) {
        for (size_t k = 0; k < run->n_edges; k++) {
            made[run->edges[k].edge].edge[run->edges[i].edge] = next_number(&text);
        }
    }
    for (size_t k = 0; k < run->n_edges; k++) {
        fill_others(series, run, &made[run->edges[k].edge]);
    }
    series->response = made;
    if (*text != '\0') {
        series->lost_motion = &made[series->n_edge_names];
    }
    for (size_t i = 0; i < run->n_tips; i++) {
        read_tip(&text, &made[series->n_edge_names], run->tips[i].tip);
    }
    for (size_t i = 0; i < run->n_edges; i++) {
        made[series->n_edge_names].edge[run->edges[i].edge] = next_number(&text);
    }
    fill_others(series, run, &made[series->n_edge_names]);
    return TIPTRUE_OK;
}

enum tiptrue_status tt_response_take(struct tt_series *series, const struct tt_series_run *run,
                                     const struct tiptrue_solution *solution,
                                     struct tiptrue_error *error)
{
    struct tt_buffer numbers = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (write_numbers(solution, &numbers)) {
        status = read_numbers(numbers.failed ? NULL : numbers.text, series, run, error);
    }
    tt_buffer_clear(&numbers);
    return status;
}

enum tiptrue_status tt_store_response(struct tiptrue_history *store, struct tt_series *series,
                                      const struct tt_series_run *run, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT numbers FROM response WHERE result ="
        " (SELECT s.result FROM summary s JOIN run r ON s.run = r.no WHERE r.id = ?)";
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(run->id)), &statement, &row, error);

    if (status == TIPTRUE_OK && row) {
        status = read_numbers(tt_sql_column(statement, 0), series, run, error);
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_store_scatter(struct tiptrue_history *store, const struct tt_series *series,
                                     const char of[17], bool *known,
                                     struct tiptrue_between *between, struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT numbers FROM scatter WHERE machine = ? AND of = ?";
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_first(
        store, SQL,
        TT_SQL_VALUES(TT_AS_TEXT(series->machine != NULL ? series->machine : ""), TT_AS_TEXT(of)),
        &statement, known, error);

    if (status != TIPTRUE_OK || !*known) {
        return status;
    }
    const char *text = tt_sql_word(statement, 0);
    between->tips = TT_ARENA_NEW(&between->arena, series->n_tip_names, struct tt_between_tip);
    while (between->tips != NULL && *text != '\0' && status == TIPTRUE_OK) {
        size_t tip = (size_t)next_number(&text);
        const char *name = tip < series->n_tip_names ? series->tip_names[tip] : "";
        struct tt_between_tip *to = &between->tips[between->n_tips];
        to->name = tt_arena_copy(&between->arena, name);
        to->u_x_mm = next_number(&text);
        to->u_y_mm = next_number(&text);
        to->dof = next_number(&text);
        between->n_tips += tip < series->n_tip_names && between->n_tips < series->n_tip_names;
        status = to->name != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    }
    sqlite3_reset(statement);
    return between->tips != NULL ? status : tt_fail_memory(error);
}

enum tiptrue_status tt_store_keep_scatter(struct tiptrue_history *store,
                                          const struct tiptrue_trend *trend,
                                          struct tiptrue_error *error)
{
    static const char SQL[] =
        "INSERT INTO scatter(machine, of, numbers, digest) VALUES(?, ?, ?, ?)"
        " ON CONFLICT(machine) DO UPDATE SET of = excluded.of, numbers = excluded.numbers,"
        " digest = excluded.digest WHERE of <> excluded.of";
    const struct tiptrue_between *between = &trend->between;
    struct tt_buffer numbers = {0};

    for (size_t i = 0, tip = 0; i < between->n_tips; i++) {
        while (strcmp(trend->tips[tip].name, between->tips[i].name) != 0) {
            tip++; /* both in the order of the series */
        }
        const double row[] = {(double)tip, between->tips[i].u_x_mm, between->tips[i].u_y_mm,
                              between->tips[i].dof};
        for (size_t k = 0; k < 4; k++) {
            tt_number_write(&numbers, row[k]);
            tt_buffer_putc(&numbers, ' ');
        }
    }
    const struct tt_text text = {numbers.text != NULL ? numbers.text : "", numbers.length};
    char digest[17];
    tt_digest(text.text, text.length, digest);
    enum tiptrue_status status =
        numbers.failed
            ? tt_fail_memory(error)
            : tt_sql_do(store, SQL,
                        TT_SQL_VALUES(TT_AS_TEXT(trend->machine != NULL ? trend->machine : ""),
                                      TT_AS_TEXT(trend->between_of), TT_AS_BLOB(text),
                                      TT_AS_TEXT(digest)),
                        error);
    tt_buffer_clear(&numbers);
    return status;
}

/* Both go by time and run number; runs of one second may differ in their order. */
static struct tt_series_run *find_run(const struct tt_series *series, const char *id, size_t *at)
{
    for (size_t i = 0; i < series->n_runs; i++) {
        struct tt_series_run *run = &series->runs[(*at + i) % series->n_runs];
        if (strcmp(run->id, id) == 0) {
            *at = (*at + i + 1) % series->n_runs;
            return run;
        }
    }
    return NULL;
}

enum tiptrue_status tt_store_repeatability(struct tiptrue_history *store, struct tt_series *series,
                                           struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT s.id, e.numbers, l.run FROM summary s LEFT JOIN response e ON e.result = s.result"
        " LEFT JOIN log l ON l.run = s.run WHERE s.machine = ? AND s.time_s >= ?"
        " ORDER BY s.machine, s.time_s, s.run";
    sqlite3_stmt *statement;
    size_t at = 0;

    if (series->n_runs == 0) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = tt_sql_ask(
        store, SQL, TT_SQL_VALUES(TT_AS_TEXT(series->machine), TT_AS_REAL(series->runs[0].time_s)),
        &statement, error);
    while (tt_sql_row(store, statement, &status, error)) {
        const char *text = tt_sql_column(statement, 1);
        struct tt_series_run *run = find_run(series, tt_sql_word(statement, 0), &at);
        if (run != NULL && text != NULL) {
            run->own_touch_mm = next_number(&text);
            run->own_touch_dof = next_number(&text);
            run->own_sighting_mm = next_number(&text);
            run->own_sighting_dof = next_number(&text);
        } else if (run != NULL) {
            run->can_tell = sqlite3_column_type(statement, 2) != SQLITE_NULL;
        }
    }
    tt_sql_reset_all(store);
    return status;
}

void tt_response_own(const struct tiptrue_solution *from, struct tt_series_run *run)
{
    run->own_touch_mm = from->own_touch_mm;
    run->own_touch_dof = from->own_touch_dof;
    run->own_sighting_mm = from->own_sighting_mm;
    run->own_sighting_dof = from->own_sighting_dof;
}
