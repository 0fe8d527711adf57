/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See history_care.h. */
#include "config.h"

#include "app/history_care.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "app/revive.h"
#include "base/digest.h"
#include "base/time.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "history/series/trend.h"
#include "output/text/sentences.h"

/* ---- which runs ---- */

/* A date or a date-time of RFC 3339; *day: it was a date, whose start is meant. */
static bool read_time(const char *text, double *time_s, bool *day)
{
    char start[32];

    snprintf(start, sizeof start, "%sT00:00:00Z", text);
    *day = tt_time_read(start, strlen(start), time_s);
    return *day || tt_time_read(text, strlen(text), time_s);
}

/* The time that @text says, or that of the run whose id begins with it. @end: the end of a day. */
static enum tiptrue_status find_time(struct tiptrue_history *history, const char *text, bool end,
                                     double *time_s, struct tiptrue_error *error)
{
    struct tiptrue_error why = {0};
    char id[TT_RUN_ID_SIZE];
    bool day;

    if (read_time(text, time_s, &day)) {
        *time_s += day && end ? 86399.999 : 0;
        return TIPTRUE_OK;
    }
    if (tiptrue_history_find(history, text, id, &why) == TIPTRUE_OK) {
        return tt_store_time(history, id, time_s, error);
    }
    return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                   "such as 2026-03-02 or 2026-03-02T07:40:00Z, or the beginning of a run's id",
                   "'%s' is not a date, and not a run of the history", text);
}

enum tiptrue_status tt_history_query(struct tiptrue_history *history,
                                     const struct tiptrue_history_query *from,
                                     struct tt_store_query *query, struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    *query = (struct tt_store_query){0};
    if (from == NULL) {
        return TIPTRUE_OK;
    }
    query->machine = from->machine;
    query->has_since = from->since != NULL;
    query->has_until = from->until != NULL;
    if (query->has_since) {
        status = find_time(history, from->since, false, &query->since_s, error);
    }
    if (status == TIPTRUE_OK && query->has_until) {
        status = find_time(history, from->until, true, &query->until_s, error);
    }
    return status;
}

bool tt_history_bounds(const struct tt_store_query *query, double *since_s)
{
    if (query != NULL && query->has_since) {
        *since_s = query->since_s;
    }
    return query != NULL && query->has_until;
}

void tt_history_cut(struct tt_series *series, double until_s, size_t most_runs)
{
    while (series->n_runs > 0 && series->runs[series->n_runs - 1].time_s > until_s) {
        series->n_runs--;
    }
    if (series->n_runs > most_runs) {
        series->runs += series->n_runs - most_runs;
        series->n_runs = most_runs;
    }
}

struct search {
    const char *machine;
    bool found;
};

static enum tiptrue_status compare_machine(void *context, const char *machine)
{
    struct search *search = context;

    search->found = search->found || strcmp(machine, search->machine) == 0;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_history_known(struct tiptrue_history *history, const char *machine,
                                     struct tiptrue_error *error)
{
    struct search search = {.machine = machine};

    if (machine == NULL) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = tt_store_machines(history, compare_machine, &search, error);
    if (status == TIPTRUE_OK && !search.found) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0,
                         "`tiptrue history list' shows what there is", "no runs of machine '%s'",
                         machine);
    }
    return status;
}

enum tiptrue_status tiptrue_history_changed(struct tiptrue_history *history,
                                            const struct tiptrue_trend *trend, const char *since,
                                            bool *changed, struct tiptrue_error *error)
{
    double since_s = trend->first_s;
    enum tiptrue_status status =
        since != NULL ? find_time(history, since, false, &since_s, error) : TIPTRUE_OK;

    if (status != TIPTRUE_OK) {
        return status;
    }
    *changed = trend->latest.differs && trend->last_s > since_s;
    for (size_t i = 0; i < trend->n_changes; i++) {
        *changed = *changed || trend->changes[i].before_s > since_s;
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_history_trend_of(const struct tt_series *series, size_t stored,
                                        const struct tiptrue_trend_options *options,
                                        struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    struct tiptrue_trend *made = NULL;
    enum tiptrue_status status = tt_trend_make(series, stored, options, &made, error);

    if (status == TIPTRUE_OK && tt_trend_say_changes(made) != TIPTRUE_OK) {
        status = tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        *trend = made;
    } else {
        tiptrue_trend_free(made);
    }
    return status;
}

static enum tiptrue_status add_note(void *context, const char *id, double time_s, const char *text)
{
    struct tiptrue_trend *trend = context;
    const struct tt_trend_event note = {
        .code = TT_EVENT_NOTE, .time_s = time_s, .id = id, .what = text};

    return time_s < trend->first_s || time_s > trend->last_s || tt_trend_add_event(trend, &note)
               ? TIPTRUE_OK
               : TIPTRUE_E_MEMORY;
}

enum tiptrue_status tt_history_notes(struct tiptrue_history *history, struct tiptrue_trend *trend,
                                     struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_store_notes(history, trend->machine, add_note, trend, error);

    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}

/* ---- what is said of a run ---- */

enum tiptrue_status tiptrue_history_say(struct tiptrue_history *history, const char *id,
                                        enum tiptrue_history_word word, const char *text,
                                        double now_s, struct tiptrue_error *error)
{
    static const enum tt_saying SAYINGS[] = {[TIPTRUE_HISTORY_EXCLUDE] = TT_SAY_EXCLUDE,
                                             [TIPTRUE_HISTORY_INCLUDE] = TT_SAY_INCLUDE,
                                             [TIPTRUE_HISTORY_STARTED] = TT_SAY_STARTED,
                                             [TIPTRUE_HISTORY_NOTE] = TT_SAY_NOTE};
    double time_s;

    if (word == TIPTRUE_HISTORY_STARTED && !tt_time_read(text, strlen(text), &time_s)) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, "write 2026-03-02T07:41:12Z",
                       "'%s' is not a readable time", text);
    }
    enum tiptrue_status status = tt_store_say(history, id, SAYINGS[word], text, now_s, error);
    return status == TIPTRUE_OK ? tt_history_catch_up(history, error) : status;
}

/* ---- the same log with other line ends ---- */

/* @text with each line end (CR LF, LF, or CR alone) as @end into @out, which has room for twice as
 * much. Returns its length. */
static size_t put_lines(const char *text, size_t length, const char *end, char *out)
{
    size_t at = 0, n = strlen(end);

    for (size_t i = 0; i < length; i++) {
        if (text[i] != '\r' && text[i] != '\n') {
            out[at++] = text[i];
            continue;
        }
        i += text[i] == '\r' && i + 1 < length && text[i + 1] == '\n';
        memcpy(out + at, end, n);
        at += n;
    }
    return at;
}

enum tiptrue_status tt_history_twin(struct tiptrue_history *history, const struct tiptrue_run *run,
                                    char id[TT_RUN_ID_SIZE], struct tiptrue_error *error)
{
    static const char *const ENDS[] = {"\n", "\r\n"};
    const struct tt_bytes *log = &run->source;
    char *other = malloc(2 * log->length + 1);
    bool known = false;
    enum tiptrue_status status =
        other != NULL ? tt_store_knows(history, run->id, &known, error) : tt_fail_memory(error);

    id[0] = '\0';
    for (size_t i = 0; i < 2 && status == TIPTRUE_OK && !known; i++) {
        char twin[TT_RUN_ID_SIZE];
        tt_digest(other, put_lines(log->text, log->length, ENDS[i], other), twin);
        status = tt_store_knows(history, twin, &known, error);
        if (status == TIPTRUE_OK && known) {
            memcpy(id, twin, TT_RUN_ID_SIZE);
        }
    }
    free(other);
    return status;
}
