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
#include "history/compare.h"
#include "history/trend.h"
#include "ingest/ingest.h"
#include "output/output.h"

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
