/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls of tiptrue.h on a report: files are read, solved, sketched and drawn, a history is
 * gathered machine by machine. */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "base/time.h"
#include "geometry/sketch.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "output/report/report.h"
#include "tiptrue.h"

struct tiptrue_report {
    struct tt_report page;
    struct tiptrue_workspace *workspace; /* made when a log is solved first */
};

enum tiptrue_status tiptrue_report_new(const struct tiptrue_zone *zone,
                                       struct tiptrue_report **report, struct tiptrue_error *error)
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

void tiptrue_report_units(struct tiptrue_report *report, enum tiptrue_units units)
{
    report->page.units = tt_units_of(units);
}

void tiptrue_report_free(struct tiptrue_report *report)
{
    if (report != NULL) {
        tt_report_clear(&report->page);
        tiptrue_workspace_free(report->workspace);
        free(report);
    }
}

enum tiptrue_status
tiptrue_report_add_run(struct tiptrue_report *report, const struct tiptrue_plate *plate,
                       const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                       const struct tiptrue_solution *solution, struct tiptrue_error *error)
{
    struct tt_sketch sketch = {0};
    enum tiptrue_status status = tt_sketch_draw(plate, machine, run, solution, &sketch, error);

    if (status == TIPTRUE_OK) {
        const struct tt_scene scene = {
            .plate = plate, .machine = machine, .solution = solution, .sketch = &sketch};
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

static enum tiptrue_status add_result(struct tiptrue_report *report, const char *name,
                                      const struct tt_bytes *bytes, const struct reading *with,
                                      struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status =
        tt_result_read_bytes(name, bytes->text, bytes->length, with->sink, &solution, error);

    if (status == TIPTRUE_OK) {
        status = tiptrue_report_add_run(report, with->plate, with->machine, NULL, solution, error);
    }
    tiptrue_solution_free(solution);
    return status;
}

static enum tiptrue_status add_log(struct tiptrue_report *report, const char *name,
                                   const struct tt_bytes *bytes, const struct reading *with,
                                   struct tiptrue_error *error)
{
    struct tiptrue_run *run = NULL;
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = TIPTRUE_OK;

    if (with->plate == NULL || with->machine == NULL) {
        return tt_fail(error, TIPTRUE_E_USAGE, name, 0, 0,
                       "a result of 'tiptrue solve --json' needs neither",
                       "a run log is solved with its plate and its machine, and the %s is missing",
                       with->plate == NULL ? "plate" : "machine");
    }
    if (report->workspace == NULL) {
        status = tiptrue_workspace_new(&report->workspace, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_run_read_bytes(name, bytes->text, bytes->length, with->plate, with->machine,
                                   with->plan, with->pattern, with->sink, &run, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_solve(report->workspace, with->plate, with->machine, run, NULL, &solution,
                               error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_report_add_run(report, with->plate, with->machine, run, solution, error);
    }
    tiptrue_solution_free(solution);
    tiptrue_run_free(run);
    return status;
}

enum tiptrue_status tiptrue_report_add_file(struct tiptrue_report *report, const char *path,
                                            const struct tiptrue_plate *plate,
                                            const struct tiptrue_machine *machine,
                                            const struct tiptrue_plan *plan, const char *pattern,
                                            const struct tiptrue_sink *sink,
                                            struct tiptrue_error *error)
{
    const struct reading with = {plate, machine, plan, pattern, sink};
    struct tiptrue_error here = {0}; /* the page shows it, also to a caller who does not want it */
    struct tt_bytes bytes = {0};
    enum tiptrue_status status = tt_bytes_read(path, &bytes, &here);

    if (status == TIPTRUE_OK) {
        const char *name = tt_bytes_name(path);
        status = tt_result_is(bytes.text, bytes.length)
                     ? add_result(report, name, &bytes, &with, &here)
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

enum tiptrue_status tiptrue_report_add_trend(struct tiptrue_report *report,
                                             const struct tiptrue_trend *trend,
                                             struct tiptrue_error *error)
{
    tt_report_add_trend(&report->page, trend, NULL, 0);
    return report->page.failed ? tt_fail_memory(error) : TIPTRUE_OK;
}

enum tiptrue_status tiptrue_report_add_board(struct tiptrue_report *report,
                                             const struct tiptrue_placement *placement,
                                             struct tiptrue_error *error)
{
    tt_report_add_board(&report->page, placement);
    return report->page.failed ? tt_fail_memory(error) : TIPTRUE_OK;
}

/* ---- the weeks out of a history ---- */

/* Names of machines, or ids of runs. */
struct names {
    struct tt_arena arena;
    const char **all;
    size_t n;
};

static enum tiptrue_status add_name(struct names *names, const char *name)
{
    const char **made = tt_arena_more(&names->arena, &names->all, &names->n, sizeof *made);

    return made != NULL && (*made = tt_arena_copy(&names->arena, name)) != NULL ? TIPTRUE_OK
                                                                                : TIPTRUE_E_MEMORY;
}

static enum tiptrue_status note_machine(void *context, const char *machine)
{
    return add_name(context, machine);
}

static enum tiptrue_status note_exported(void *context, const struct tt_record_entry *entry)
{
    return entry->exports > 0 ? add_name(context, entry->id) : TIPTRUE_OK;
}

/* When results of one machine were written into configurations. */
struct exports {
    struct tt_arena arena;
    struct tt_weeks_export *all;
    size_t n;
};

static enum tiptrue_status add_exports(struct exports *exports, const struct tt_record *record)
{
    for (size_t i = 0; i < record->n_exports; i++) {
        const struct tt_record_export *from = &record->exports[i];
        double time_s;
        if (!tt_time_read(from->time, strlen(from->time), &time_s)) {
            continue; /* the store's own check tells of it */
        }
        struct tt_weeks_export *export =
            tt_arena_more(&exports->arena, &exports->all, &exports->n, sizeof *export);
        const char *file = tt_arena_copy(&exports->arena, from->file);
        if (export == NULL || file == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        *export = (struct tt_weeks_export){time_s, file};
    }
    return TIPTRUE_OK;
}

/* All exports of the runs of @machine. */
static enum tiptrue_status gather_exports(struct tiptrue_history *history, const char *machine,
                                          struct exports *exports, struct tiptrue_error *error)
{
    const struct tt_store_query query = {.machine = machine};
    struct names runs = {0};
    enum tiptrue_status status = tt_store_list(history, &query, note_exported, &runs, error);

    for (size_t i = 0; status == TIPTRUE_OK && i < runs.n; i++) {
        struct tt_record record = {0};
        status = tt_store_load(history, runs.all[i], false, &record, error);
        if (status == TIPTRUE_OK) {
            status = add_exports(exports, &record);
        }
        tt_record_clear(&record);
    }
    tt_arena_clear(&runs.arena);
    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}

static enum tiptrue_status add_machine(struct tiptrue_report *report,
                                       struct tiptrue_history *history, const char *machine,
                                       struct tiptrue_error *error)
{
    const struct tiptrue_history_query query = {.machine = machine};
    struct exports exports = {0};
    struct tiptrue_trend *trend = NULL;
    enum tiptrue_status status = tiptrue_history_trend(history, &query, NULL, &trend, error);

    if (status == TIPTRUE_OK) {
        status = gather_exports(history, machine, &exports, error);
    }
    if (status == TIPTRUE_OK) {
        tt_report_add_trend(&report->page, trend, exports.all, exports.n);
        status = report->page.failed ? tt_fail_memory(error) : TIPTRUE_OK;
    }
    tiptrue_trend_free(trend);
    tt_arena_clear(&exports.arena);
    return status;
}

enum tiptrue_status tiptrue_report_add_history(struct tiptrue_report *report,
                                               struct tiptrue_history *history, const char *machine,
                                               struct tiptrue_error *error)
{
    struct names machines = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (machine != NULL) {
        return add_machine(report, history, machine, error);
    }
    status = tt_store_machines(history, note_machine, &machines, error);
    if (status == TIPTRUE_E_MEMORY) {
        status = tt_fail_memory(error);
    } else if (status == TIPTRUE_OK && machines.n == 0) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0,
                         "enter runs by `tiptrue solve --history'", "the history holds no runs");
    }
    for (size_t i = 0; status == TIPTRUE_OK && i < machines.n; i++) {
        status = add_machine(report, history, machines.all[i], error);
    }
    tt_arena_clear(&machines.arena);
    return status;
}

enum tiptrue_status tiptrue_report_html(const struct tiptrue_report *report, char **text,
                                        size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_report_write(&report->page, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

size_t tiptrue_report_pictures(const struct tiptrue_report *report)
{
    return report->page.n_pictures;
}

enum tiptrue_status tiptrue_report_picture(const struct tiptrue_report *report, size_t index,
                                           const char **name, char **text, size_t *length,
                                           struct tiptrue_error *error)
{
    const struct tt_picture *picture = &report->page.pictures[index];
    struct tt_buffer buffer = {0};
    enum tiptrue_status status;

    tt_picture_file(picture, &buffer);
    status = tt_buffer_hand_over(&buffer, text, length, error);
    if (status == TIPTRUE_OK) {
        *name = picture->name;
    }
    return status;
}
