/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls of tiptrue.h, each handed on to its room: the only file that sees all of them. */
#include "config.h"

#include "tiptrue.h"

#include <stdlib.h>

#include "adjust/adjust.h"
#include "adjust/check.h"
#include "base/buffer.h"
#include "base/status.h"
#include "geometry/sketch.h"
#include "history/compare.h"
#include "history/trend.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "output/output.h"
#include "output/report.h"

struct tiptrue_workspace {
    struct tt_adjust_workspace *adjust;
};

const char *tiptrue_version(void)
{
    return PACKAGE_VERSION;
}

enum tiptrue_status tiptrue_plate_read(const char *path, const struct tiptrue_sink *sink, struct tiptrue_plate **plate,
                                       struct tiptrue_error *error)
{
    return tt_plate_read(path, sink, plate, error);
}

enum tiptrue_status tiptrue_machine_read(const char *path, const struct tiptrue_sink *sink, struct tiptrue_machine **machine,
                                         struct tiptrue_error *error)
{
    return tt_machine_read(path, sink, machine, error);
}

enum tiptrue_status tiptrue_plan_read(const char *path, const struct tiptrue_sink *sink, struct tiptrue_plan **plan,
                                      struct tiptrue_error *error)
{
    return tt_plan_read(path, sink, plan, error);
}

enum tiptrue_status tiptrue_run_read(const char *path, const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
                                     const struct tiptrue_plan *plan, const char *pattern, const struct tiptrue_sink *sink,
                                     struct tiptrue_run **run, struct tiptrue_error *error)
{
    return tt_run_read(path, plate, machine, plan, pattern, sink, run, error);
}

enum tiptrue_status tiptrue_run_read_whole(const char *path, const struct tiptrue_plate *plate,
                                           const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                                           const char *pattern, const struct tiptrue_sink *sink, struct tiptrue_run **run,
                                           struct tiptrue_error *error)
{
    return tt_run_read_whole(path, plate, machine, plan, pattern, sink, run, error);
}

enum tiptrue_status tiptrue_workspace_new(struct tiptrue_workspace **workspace, struct tiptrue_error *error)
{
    struct tiptrue_workspace *new = calloc(1, sizeof *new);
    enum tiptrue_status status;

    if (new == NULL) {
        return tt_fail_memory(error);
    }
    status = tt_adjust_workspace_new(&new->adjust, error);
    if (status != TIPTRUE_OK) {
        free(new);
        return status;
    }
    *workspace = new;
    return TIPTRUE_OK;
}

void tiptrue_workspace_free(struct tiptrue_workspace *workspace)
{
    if (workspace != NULL) {
        tt_adjust_workspace_free(workspace->adjust);
        free(workspace);
    }
}

enum tiptrue_status tiptrue_solve(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
                                  const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                                  const struct tiptrue_solve_options *options, struct tiptrue_solution **solution,
                                  struct tiptrue_error *error)
{
    static const struct tiptrue_solve_options ALL_OFF = {0};

    return tt_adjust(workspace->adjust, plate, machine, run, options != NULL ? options : &ALL_OFF, solution, error);
}

enum tiptrue_status tiptrue_solution_read(const char *path, const struct tiptrue_sink *sink, struct tiptrue_solution **solution,
                                          struct tiptrue_error *error)
{
    return tt_result_read(path, sink, solution, error);
}

enum tiptrue_verdict tiptrue_solution_verdict(const struct tiptrue_solution *solution)
{
    return solution->verdict;
}

size_t tiptrue_solution_tips(const struct tiptrue_solution *solution)
{
    return solution->n_tips;
}

static void copy_cov(const struct tt_cov2 *cov, double to_mm2[2][2])
{
    to_mm2[0][0] = cov->xx_mm2;
    to_mm2[0][1] = to_mm2[1][0] = cov->xy_mm2;
    to_mm2[1][1] = cov->yy_mm2;
}

struct tiptrue_tip_result tiptrue_solution_tip(const struct tiptrue_solution *solution, size_t index)
{
    const struct tt_tip_result *from = &solution->tips[index];
    struct tiptrue_tip_result tip = {.tip = from->name, .verdict = from->verdict};

    if (!from->offset_determined_x || !from->offset_determined_y) {
        return tip;
    }
    tip.determined = true;
    tip.offset_mm[0] = from->offset.x_mm;
    tip.offset_mm[1] = from->offset.y_mm;
    copy_cov(&from->cov, tip.cov_offset_mm2);
    copy_cov(&from->same_plate_cov, tip.same_plate_cov_offset_mm2);
    tip.dof = from->dof;
    if (from->runout_determined) {
        tip.runout_mm[0] = from->runout.x_mm;
        tip.runout_mm[1] = from->runout.y_mm;
    }
    if (from->radius_determined) {
        tip.contact_radius_mm = from->contact_radius_mm;
    }
    return tip;
}

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

enum tiptrue_status tiptrue_solution_text(const struct tiptrue_solution *solution, const struct tiptrue_text_options *options,
                                          char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_text(solution, options, &buffer);
    return hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_solution_json(const struct tiptrue_solution *solution, const struct tiptrue_text_options *options,
                                          char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_json(solution, options, &buffer);
    return hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_error_json(const struct tiptrue_error *what, char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_error_json(what, &buffer);
    return hand_over(&buffer, text, length, error);
}

static bool all_determined(const struct tiptrue_solution *expected)
{
    bool determined = true;

    for (size_t i = 0; i < expected->n_tips; i++) {
        determined = determined && expected->tips[i].offset_determined_x && expected->tips[i].offset_determined_y;
    }
    return determined;
}

enum tiptrue_status tiptrue_check(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
                                  const struct tiptrue_machine *machine, const struct tiptrue_run *run, bool json,
                                  const struct tiptrue_text_options *options, bool *determined, char **text, size_t *length,
                                  struct tiptrue_error *error)
{
    struct tiptrue_solution *expected;
    struct tt_buffer buffer = {0};
    enum tiptrue_status status = tt_check(workspace->adjust, plate, machine, run, &expected, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (json) {
        tt_output_check_json(expected, &buffer);
    } else {
        tt_output_check_text(expected, options, &buffer);
    }
    bool all = all_determined(expected);
    tiptrue_solution_free(expected);
    status = hand_over(&buffer, text, length, error);
    if (status == TIPTRUE_OK && determined != NULL) {
        *determined = all;
    }
    return status;
}

enum tiptrue_status tiptrue_compare(const struct tiptrue_solution *a, const struct tiptrue_solution *b,
                                    const struct tiptrue_trend *trend, struct tiptrue_comparison **comparison,
                                    struct tiptrue_error *error)
{
    return tt_compare(a, b, trend, comparison, error);
}

enum tiptrue_status tiptrue_comparison_text(const struct tiptrue_comparison *comparison, bool json,
                                            const struct tiptrue_text_options *options, char **text, size_t *length,
                                            struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (json) {
        tt_output_comparison_json(comparison, &buffer);
    } else {
        tt_output_comparison_text(comparison, options, &buffer);
    }
    return hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_trend_text(const struct tiptrue_trend *trend, bool json, const struct tiptrue_text_options *options,
                                       char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (json) {
        tt_output_trend_json(trend, options, &buffer);
    } else {
        tt_output_trend_text(trend, options, &buffer);
    }
    return hand_over(&buffer, text, length, error);
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
