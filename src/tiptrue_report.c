/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls of tiptrue.h on a report: files are read, solved, sketched and drawn, a history is gathered machine by machine. */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "base/time.h"
#include "geometry/sketch.h"
#include "history/series.h"
#include "history/store.h"
#include "history/trend.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "output/report.h"
#include "tiptrue.h"

/* Hand a finished text over, or say that memory ran out on the way. */
static enum tiptrue_status hand_over(struct tt_buffer *buffer, char **text, size_t *length, struct tiptrue_error *error)
{
    if (buffer->failed) {
        tt_buffer_clear(buffer);
        return tt_fail_memory(error);
    }
    *text = buffer->text;
    if (length != NULL) {
        *length = buffer->length;
    }
    return TIPTRUE_OK;
}

struct tiptrue_report {
    struct tt_report page;
    struct tiptrue_workspace *workspace; /* made when a log is solved first */
};

enum tiptrue_status tiptrue_report_new(const struct tiptrue_zone *zone, struct tiptrue_report **report, struct tiptrue_error *error)
{
    struct tiptrue_report *new = calloc(1, sizeof *new);

    if (new == NULL) {
        return tt_fail_memory(error);
    }
    if (zone != NULL) {
        new->page.zone = *zone;
    }
    *report = new;
    return TIPTRUE_OK;
}

void tiptrue_report_free(struct tiptrue_report *report)
{
    if (report != NULL) {
        tt_report_clear(&report->page);
        tiptrue_workspace_free(report->workspace);
        free(report);
    }
}

enum tiptrue_status tiptrue_report_add_run(struct tiptrue_report *report, const struct tiptrue_plate *plate,
                                           const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                                           const struct tiptrue_solution *solution, struct tiptrue_error *error)
{
    struct tt_sketch sketch = {0};
    enum tiptrue_status status = tt_sketch_draw(plate, machine, run, solution, &sketch, error);

    if (status == TIPTRUE_OK) {
        const struct tt_scene scene = {.plate = plate, .machine = machine, .solution = solution, .sketch = &sketch};
        tt_report_add_run(&report->page, &scene);
    }
    tt_sketch_clear(&sketch);
    return status;
}

/* What a file of a report is to be read with. */
struct reading {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_plan *plan;
    const char *pattern;
    const struct tiptrue_sink *sink;
};

static enum tiptrue_status add_result(struct tiptrue_report *report, const char *name, const struct tt_bytes *bytes,
                                      const struct reading *with, struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = tt_result_read_bytes(name, bytes->text, bytes->length, with->sink, &solution, error);

    if (status == TIPTRUE_OK) {
        status = tiptrue_report_add_run(report, with->plate, with->machine, NULL, solution, error);
    }
    tiptrue_solution_free(solution);
    return status;
}

static enum tiptrue_status add_log(struct tiptrue_report *report, const char *name, const struct tt_bytes *bytes,
                                   const struct reading *with, struct tiptrue_error *error)
{
    struct tiptrue_run *run = NULL;
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = TIPTRUE_OK;

    if (with->plate == NULL || with->machine == NULL) {
        return tt_fail(error, TIPTRUE_E_USAGE, name, 0, 0, "a result of 'tiptrue solve --json' needs neither",
                       "a run log is solved with its plate and its machine, and the %s is missing",
                       with->plate == NULL ? "plate" : "machine");
    }
    if (report->workspace == NULL) {
        status = tiptrue_workspace_new(&report->workspace, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_run_read_bytes(name, bytes->text, bytes->length, with->plate, with->machine, with->plan, with->pattern,
                                   with->sink, &run, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_solve(report->workspace, with->plate, with->machine, run, NULL, &solution, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_report_add_run(report, with->plate, with->machine, run, solution, error);
    }
    tiptrue_solution_free(solution);
    tiptrue_run_free(run);
    return status;
}

enum tiptrue_status tiptrue_report_add_file(struct tiptrue_report *report, const char *path, const struct tiptrue_plate *plate,
                                            const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                                            const char *pattern, const struct tiptrue_sink *sink, struct tiptrue_error *error)
{
    const struct reading with = {plate, machine, plan, pattern, sink};
    struct tiptrue_error here = {0}; /* the page shows it, also to a caller who does not want it */
    struct tt_bytes bytes = {0};
    enum tiptrue_status status = tt_bytes_read(path, &bytes, &here);

    if (status == TIPTRUE_OK) {
        const char *name = tt_bytes_name(path);
        status = tt_result_is(bytes.text, bytes.length) ? add_result(report, name, &bytes, &with, &here)
                                                        : add_log(report, name, &bytes, &with, &here);
        tt_bytes_clear(&bytes);
    }
    if (status != TIPTRUE_OK && status != TIPTRUE_E_USAGE && status != TIPTRUE_E_MEMORY) {
        tt_report_add_fault(&report->page, tt_bytes_name(path), &here);
    }
    if (status != TIPTRUE_OK && error != NULL && error->status == TIPTRUE_OK) {
        *error = here;
    }
    return status;
}

enum tiptrue_status tiptrue_report_add_trend(struct tiptrue_report *report, const struct tiptrue_trend *trend,
                                             struct tiptrue_error *error)
{
    tt_report_add_trend(&report->page, trend, NULL, 0);
    return report->page.failed ? tt_fail_memory(error) : TIPTRUE_OK;
}

/* ---- the weeks out of a history ---- */

/* A run as the list of the history names it. */
struct listed {
    char id[TT_RUN_ID_SIZE];
    const char *machine; /* NULL = not stated */
    double added_s;
    bool taken;
};

struct listing {
    struct tt_arena arena;
    struct listed *runs;
    size_t n, room;
};

static double seconds_of(const char *text)
{
    double seconds = 0;

    return text != NULL && tt_time_read(text, strlen(text), &seconds) ? seconds : 0;
}

static enum tiptrue_status enlist(void *context, const struct tt_record_entry *entry)
{
    struct listing *listing = context;

    if (listing->n == listing->room) {
        size_t room = listing->room > 0 ? 2 * listing->room : 64;
        struct listed *runs = tt_arena_grow(&listing->arena, listing->runs, room, sizeof *runs);
        if (runs == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        listing->runs = runs;
        listing->room = room;
    }
    struct listed *run = &listing->runs[listing->n++];
    *run = (struct listed){.added_s = seconds_of(entry->added)};
    memcpy(run->id, entry->id, sizeof run->id);
    if (entry->machine != NULL) {
        run->machine = tt_arena_copy_text(&listing->arena, entry->machine, strlen(entry->machine));
        return run->machine != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
    }
    return TIPTRUE_OK;
}

/* The runs of one machine, gathered. */
struct weeks {
    struct tt_arena arena;
    struct tt_series series;
    struct tt_weeks_export *exports;
    size_t n_exports, room_exports;
};

static enum tiptrue_status gather_exports(struct weeks *weeks, const struct tt_record *record)
{
    for (size_t i = 0; i < record->n_exports; i++) {
        if (weeks->n_exports == weeks->room_exports) {
            size_t room = weeks->room_exports > 0 ? 2 * weeks->room_exports : 16;
            struct tt_weeks_export *exports = tt_arena_grow(&weeks->arena, weeks->exports, room, sizeof *exports);
            if (exports == NULL) {
                return TIPTRUE_E_MEMORY;
            }
            weeks->exports = exports;
            weeks->room_exports = room;
        }
        const struct tt_record_export *from = &record->exports[i];
        const char *file = tt_arena_copy_text(&weeks->arena, from->file, strlen(from->file));
        if (file == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        weeks->exports[weeks->n_exports++] = (struct tt_weeks_export){seconds_of(from->time), file};
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status gather_run(struct weeks *weeks, struct tiptrue_history *history, const struct listed *run,
                                      struct tiptrue_error *error)
{
    struct tt_record record = {0};
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = tt_store_load(history, run->id, true, &record, error);

    if (status == TIPTRUE_OK && record.n_results > 0) {
        const struct tt_text *json = &record.results[record.n_results - 1].json;
        status = tt_result_read_bytes(run->id, json->text, json->length, NULL, &solution, error);
    }
    if (status == TIPTRUE_OK && solution != NULL) {
        status = tt_series_add(&weeks->series, solution, run->added_s, error);
    }
    if (status == TIPTRUE_OK && gather_exports(weeks, &record) != TIPTRUE_OK) {
        status = tt_fail_memory(error);
    }
    tiptrue_solution_free(solution);
    tt_record_clear(&record);
    return status;
}

static bool is_same_machine(const char *name, const char *other)
{
    return name == NULL || other == NULL ? name == other : strcmp(name, other) == 0;
}

/* All runs of the machine of run @first, which are marked as taken. */
static enum tiptrue_status add_machine(struct tiptrue_report *report, struct tiptrue_history *history, struct listing *listing,
                                       size_t first, struct tiptrue_error *error)
{
    static const struct tiptrue_trend_options ALL_DEFAULT = {0};
    const char *machine = listing->runs[first].machine;
    struct weeks weeks = {0};
    struct tiptrue_trend *trend = NULL;
    enum tiptrue_status status = TIPTRUE_OK;
    size_t n = 0;

    weeks.series = (struct tt_series){.machine = machine, .arena = &weeks.arena};
    for (size_t i = first; status == TIPTRUE_OK && i < listing->n; i++) {
        if (is_same_machine(listing->runs[i].machine, machine)) {
            listing->runs[i].taken = true;
            status = gather_run(&weeks, history, &listing->runs[i], error);
            n++;
        }
    }
    if (status == TIPTRUE_OK) {
        tt_series_sort(&weeks.series);
        status = tt_trend_make(&weeks.series, n, &ALL_DEFAULT, &trend, error);
    }
    if (status == TIPTRUE_OK) {
        tt_report_add_trend(&report->page, trend, weeks.exports, weeks.n_exports);
        status = report->page.failed ? tt_fail_memory(error) : TIPTRUE_OK;
    }
    tiptrue_trend_free(trend);
    tt_arena_clear(&weeks.arena);
    return status;
}

enum tiptrue_status tiptrue_report_add_history(struct tiptrue_report *report, struct tiptrue_history *history, const char *machine,
                                               struct tiptrue_error *error)
{
    const struct tt_store_query query = {.machine = machine};
    struct listing listing = {0};
    enum tiptrue_status status = tt_store_list(history, &query, enlist, &listing, error);

    if (status == TIPTRUE_E_MEMORY) {
        status = tt_fail_memory(error);
    } else if (status == TIPTRUE_OK && listing.n == 0) {
        status = machine != NULL ? tt_fail(error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0, "see 'tiptrue history list'",
                                           "the history holds no run of the machine '%s'", machine)
                                 : tt_fail(error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0,
                                           "'tiptrue solve --history' enters them", "the history holds no run");
    }
    for (size_t i = 0; status == TIPTRUE_OK && i < listing.n; i++) {
        if (!listing.runs[i].taken) {
            status = add_machine(report, history, &listing, i, error);
        }
    }
    tt_arena_clear(&listing.arena);
    return status;
}

enum tiptrue_status tiptrue_report_html(const struct tiptrue_report *report, char **text, size_t *length,
                                        struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_report_write(&report->page, &buffer);
    return hand_over(&buffer, text, length, error);
}

size_t tiptrue_report_pictures(const struct tiptrue_report *report)
{
    return report->page.n_pictures;
}

enum tiptrue_status tiptrue_report_picture(const struct tiptrue_report *report, size_t index, const char **name, char **text,
                                           size_t *length, struct tiptrue_error *error)
{
    const struct tt_picture *picture = &report->page.pictures[index];
    struct tt_buffer buffer = {0};
    enum tiptrue_status status;

    tt_picture_file(picture, &buffer);
    status = hand_over(&buffer, text, length, error);
    if (status == TIPTRUE_OK) {
        *name = picture->name;
    }
    return status;
}
