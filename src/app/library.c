/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls of tiptrue.h, each handed on to its room: the only file that sees all of them. */
#include "config.h"

#include "tiptrue.h"

#include <stdlib.h>

#include "adjust/adjust.h"
#include "adjust/check.h"
#include "base/buffer.h"
#include "base/utf8.h"
#include "base/status.h"
#include "history/series/compare.h"
#include "model/frames.h"
#include "model/machine.h"
#include "model/plate.h"
#include "output/output.h"
#include "output/text/sentences.h"
#include "output/units.h"
#include "planning/plan.h"
#include "planning/program.h"

struct tiptrue_workspace {
    struct tt_adjust_workspace *adjust;
};

const char *tiptrue_version(void)
{
    return PACKAGE_VERSION;
}

enum tiptrue_status tiptrue_workspace_new(struct tiptrue_workspace **workspace,
                                          struct tiptrue_error *error)
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

enum tiptrue_status tiptrue_solve(struct tiptrue_workspace *workspace,
                                  const struct tiptrue_plate *plate,
                                  const struct tiptrue_machine *machine,
                                  const struct tiptrue_run *run,
                                  const struct tiptrue_solve_options *options,
                                  struct tiptrue_solution **solution, struct tiptrue_error *error)
{
    static const struct tiptrue_solve_options ALL_OFF = {0};

    struct tiptrue_solution *made;
    enum tiptrue_status status = tt_adjust(workspace->adjust, plate, machine, run,
                                           options != NULL ? options : &ALL_OFF, &made, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (tt_sentences(made) != TIPTRUE_OK) {
        tiptrue_solution_free(made);
        return tt_fail_memory(error);
    }
    *solution = made;
    return TIPTRUE_OK;
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

struct tiptrue_tip_result tiptrue_solution_tip(const struct tiptrue_solution *solution,
                                               size_t index)
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

enum tiptrue_status tiptrue_solution_text(const struct tiptrue_solution *solution,
                                          const struct tiptrue_text_options *options, char **text,
                                          size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_text(solution, options, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_solution_json(const struct tiptrue_solution *solution,
                                          const struct tiptrue_text_options *options, char **text,
                                          size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_json(solution, options, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_error_json(const struct tiptrue_error *what, char **text,
                                       size_t *length, struct tiptrue_error *error)
{
    return tiptrue_errors_json(what, NULL, 0, text, length, error);
}

enum tiptrue_status tiptrue_errors_json(const struct tiptrue_error *what,
                                        const struct tiptrue_error faults[], size_t n, char **text,
                                        size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_error_json(what, n > 0 ? faults : what, n > 0 ? n : 1, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

static bool all_determined(const struct tiptrue_solution *expected)
{
    bool determined = true;

    for (size_t i = 0; i < expected->n_tips; i++) {
        determined = determined && expected->tips[i].offset_determined_x &&
                     expected->tips[i].offset_determined_y;
    }
    return determined;
}

enum tiptrue_status tiptrue_check(struct tiptrue_workspace *workspace,
                                  const struct tiptrue_plate *plate,
                                  const struct tiptrue_machine *machine,
                                  const struct tiptrue_run *run, bool json,
                                  const struct tiptrue_text_options *options, bool *determined,
                                  char **text, size_t *length, struct tiptrue_error *error)
{
    struct tiptrue_solution *expected;
    struct tt_buffer buffer = {0};
    enum tiptrue_status status = tt_check(workspace->adjust, plate, machine, run, &expected, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (tt_sentences(expected) != TIPTRUE_OK) {
        tiptrue_solution_free(expected);
        return tt_fail_memory(error);
    }
    if (json) {
        tt_output_check_json(expected, &buffer);
    } else {
        tt_output_check_text(expected, options, &buffer);
    }
    bool all = all_determined(expected);
    tiptrue_solution_free(expected);
    status = tt_buffer_hand_over(&buffer, text, length, error);
    if (status == TIPTRUE_OK && determined != NULL) {
        *determined = all;
    }
    return status;
}

enum tiptrue_status tiptrue_compare(const struct tiptrue_solution *a,
                                    const struct tiptrue_solution *b,
                                    const struct tiptrue_trend *trend,
                                    struct tiptrue_comparison **comparison,
                                    struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_compare(a, b, trend, comparison, error);

    if (status == TIPTRUE_OK && tt_comparison_say(*comparison) != TIPTRUE_OK) {
        tiptrue_comparison_free(*comparison);
        *comparison = NULL;
        status = tt_fail_memory(error);
    }
    return status;
}

enum tiptrue_status tiptrue_comparison_text(const struct tiptrue_comparison *comparison, bool json,
                                            const struct tiptrue_text_options *options, char **text,
                                            size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (json) {
        tt_output_comparison_json(comparison, &buffer);
    } else {
        tt_output_comparison_text(comparison, options, &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_trend_text(const struct tiptrue_trend *trend, bool json,
                                       const struct tiptrue_text_options *options, char **text,
                                       size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (json) {
        tt_output_trend_json(trend, options, &buffer);
    } else {
        tt_output_trend_text(trend, options, &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_truth_json(const struct tiptrue_truth *truth, char **text,
                                       size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_truth_json(truth, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_run_log(const struct tiptrue_run *run,
                                    const struct tiptrue_plate *plate,
                                    const struct tiptrue_plan *plan, char **text, size_t *length,
                                    struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (plan != NULL) {
        tt_output_controller_log(run, plan, &buffer);
    } else {
        tt_output_run_csv(run, plate, tt_units_of(TIPTRUE_UNITS_DEFAULT), &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}

/* With the sentences of what is expected; a refusal is an error. */
static enum tiptrue_status finish_plan(enum tiptrue_status status,
                                       const struct tiptrue_plate *plate,
                                       struct tiptrue_proposal *made,
                                       struct tiptrue_proposal **proposal,
                                       struct tiptrue_error *error)
{
    if (status == TIPTRUE_OK &&
        (tt_sentences(made->expected) != TIPTRUE_OK || tt_sentences(made->solved) != TIPTRUE_OK)) {
        status = tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK && made->refusal != TT_NOT_REFUSED) {
        status = tt_output_refusal(made, plate->file, error);
    }
    if (status == TIPTRUE_OK) {
        *proposal = made;
    } else {
        tiptrue_proposal_free(made);
    }
    return status;
}

enum tiptrue_status tiptrue_run_csv(const struct tiptrue_run *run,
                                    const struct tiptrue_plate *plate, enum tiptrue_units units,
                                    char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    tt_output_run_csv(run, plate, tt_units_of(units), &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status
tiptrue_plan_make(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
                  const struct tiptrue_machine *machine, const struct tiptrue_plan_options *options,
                  struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct tiptrue_proposal *made = NULL;
    enum tiptrue_status status =
        tt_plan_make(workspace->adjust, plate, machine, options, &made, error);

    return finish_plan(status, plate, made, proposal, error);
}

enum tiptrue_status
tiptrue_plan_next(struct tiptrue_workspace *workspace, const struct tiptrue_plate *plate,
                  const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                  const struct tiptrue_plan_options *options, struct tiptrue_proposal **proposal,
                  struct tiptrue_error *error)
{
    struct tiptrue_proposal *made = NULL;
    enum tiptrue_status status =
        tt_plan_next(workspace->adjust, plate, machine, run, options, &made, error);

    return finish_plan(status, plate, made, proposal, error);
}

bool tiptrue_proposal_is_met(const struct tiptrue_proposal *proposal)
{
    return proposal->met && proposal->view_met;
}

const struct tiptrue_plan *tiptrue_proposal_plan(const struct tiptrue_proposal *proposal)
{
    return &proposal->plan;
}

size_t tiptrue_proposal_moves(const struct tiptrue_proposal *proposal)
{
    return proposal->plan.n_moves;
}

enum tiptrue_status tiptrue_proposal_write(const struct tiptrue_proposal *proposal,
                                           const struct tiptrue_machine *machine,
                                           enum tiptrue_plan_form form,
                                           const struct tiptrue_text_options *options, char **text,
                                           size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    switch (form) {
    case TIPTRUE_PLAN_TEXT:
        tt_output_proposal_text(proposal, options, &buffer);
        break;
    case TIPTRUE_PLAN_JSON:
        tt_output_proposal_json(proposal, &buffer);
        break;
    case TIPTRUE_PLAN_CSV:
        tt_output_proposal_csv(
            proposal, tt_units_of(options != NULL ? options->units : TIPTRUE_UNITS_DEFAULT),
            &buffer);
        break;
    case TIPTRUE_PLAN_RS274:
        status = tt_program_write(proposal, machine, &buffer, error);
        break;
    }
    if (status != TIPTRUE_OK) {
        tt_buffer_clear(&buffer);
        return status;
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}

size_t tiptrue_escape(const char *text, char shown[TIPTRUE_ESCAPE_SIZE])
{
    return tt_escape(text, shown);
}

/* ---- the units of a file, and a plate to look at before any run exists ---- */

static enum tiptrue_units units_of(double mm_per_unit)
{
    return mm_per_unit == TT_MM_PER_INCH ? TIPTRUE_UNITS_INCH
           : mm_per_unit == TT_MM_PER_UM ? TIPTRUE_UNITS_UM
                                         : TIPTRUE_UNITS_MM;
}

enum tiptrue_units tiptrue_machine_units(const struct tiptrue_machine *machine)
{
    return units_of(machine->mm_per_unit);
}

enum tiptrue_units tiptrue_plate_units(const struct tiptrue_plate *plate)
{
    return units_of(plate->mm_per_unit);
}

enum tiptrue_status tiptrue_plate_view(const struct tiptrue_plate *plate, bool svg,
                                       const struct tiptrue_text_options *options, char **text,
                                       size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (svg) {
        tt_output_plate_svg(
            plate, tt_units_of(options != NULL ? options->units : TIPTRUE_UNITS_DEFAULT), &buffer);
    } else {
        tt_output_plate_text(plate, options, &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}
