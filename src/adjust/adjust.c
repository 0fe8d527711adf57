/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/adjust.h"

#include "adjust/check.h"

#include <stdlib.h>
#include <string.h>

#include "adjust/correlated.h"
#include "adjust/findings.h"
#include "adjust/heights.h"
#include "adjust/monte_carlo.h"

struct tt_adjust_workspace {
    struct tt_arena arena;
};

enum tiptrue_status tt_adjust_workspace_new(struct tt_adjust_workspace **workspace,
                                            struct tiptrue_error *error)
{
    struct tt_adjust_workspace *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    *workspace = made;
    return TIPTRUE_OK;
}

void tt_adjust_workspace_free(struct tt_adjust_workspace *workspace)
{
    if (workspace != NULL) {
        tt_arena_clear(&workspace->arena);
        free(workspace);
    }
}

static enum tiptrue_status no_touch(const struct tiptrue_run *run, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0,
                   "a run needs touches that made contact: check the contact circuit",
                   "the run holds no touch that can be used");
}

/* TIPTRUE_E_USAGE: a tip is asked for that neither machine file nor run knows. */
static enum tiptrue_status check_wanted(const struct tiptrue_machine *machine,
                                        const struct tiptrue_run *run,
                                        const struct tiptrue_solve_options *options,
                                        struct tiptrue_error *error)
{
    for (size_t k = 0; options != NULL && k < options->n_tips; k++) {
        size_t t = 0;
        while (t < run->n_tips && strcmp(run->tips[t], options->tips[k]) != 0) {
            t++;
        }
        if (t == run->n_tips) {
            return tt_fail(error, TIPTRUE_E_USAGE, machine->n_tips > 0 ? machine->file : run->file,
                           0, 0, "a wanted tip is one of the machine file or of the run",
                           "has no tip '%s'", options->tips[k]);
        }
    }
    return TIPTRUE_OK;
}

static bool any_touch_row(const struct tiptrue_run *run)
{
    bool any = false;
    for (size_t i = 0; i < run->n_observations; i++) {
        any = any || run->observations[i].kind == TT_TOUCH;
    }
    return any;
}

/* A selection for a run in which no move made contact: nothing is in it, and the findings say why.
 */
static enum tiptrue_status select_nothing(struct tt_selection *selection, struct tt_arena *arena,
                                          const struct tiptrue_plate *plate,
                                          const struct tiptrue_machine *machine,
                                          const struct tiptrue_run *run, struct tt_noise *noise)
{
    *selection = (struct tt_selection){.robust = true, .weak = true};
    selection->model = TT_ARENA_NEW(arena, 1, struct tt_model);
    selection->fit = TT_ARENA_NEW(arena, 1, struct tt_fit);
    size_t *tip_block = TT_ARENA_NEW(arena, run->n_tips, size_t);
    if (selection->model == NULL || selection->fit == NULL || tip_block == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < run->n_tips; t++) {
        tip_block[t] = TT_NONE;
    }
    *selection->model = (struct tt_model){.plate = plate,
                                          .machine = machine,
                                          .run = run,
                                          .terms = {.moved_at = TT_NONE, .slipped_at = TT_NONE},
                                          .tip_block = tip_block,
                                          .at_lost_motion = TT_NONE,
                                          .at_latency = TT_NONE,
                                          .at_axis = TT_NONE,
                                          .at_slip = TT_NONE,
                                          .at_drift = TT_NONE,
                                          .at_moved = TT_NONE,
                                          .at_turned = TT_NONE};
    *selection->fit = (struct tt_fit){.model = selection->model, .noise = noise};
    return TIPTRUE_OK;
}

/* What findings and numbers of a solution are read from. @stated: the noise as the machine file has
 * it. */
static struct tt_view view_of(const struct tt_selection *selection, const struct tt_noise *stated,
                              struct tiptrue_solution *solution, struct tt_arena *scratch)
{
    return (struct tt_view){.plate = selection->model->plate,
                            .machine = selection->model->machine,
                            .run = selection->model->run,
                            .noise = stated,
                            .selection = selection,
                            .model = selection->model,
                            .fit = selection->fit,
                            .solution = solution,
                            .scratch = scratch};
}

static enum tiptrue_status report(struct tt_view *view, const struct tiptrue_solve_options *options)
{
    enum tiptrue_status status;

    view->options = options;
    view->between = options != NULL ? options->between : NULL;
    status = tt_assemble(view);
    status = status == TIPTRUE_OK ? tt_heights_fill(view) : status;
    view->solution->change_accepted = options != NULL && options->accept_change;
    if (status == TIPTRUE_OK && options != NULL && options->monte_carlo > 0) {
        status = tt_monte_carlo(view, options->monte_carlo, options->seed);
    }
    if (status == TIPTRUE_OK && view->between != NULL && !tt_assemble_between(view)) {
        status = TIPTRUE_E_MEMORY;
    }
    if (status == TIPTRUE_OK && (status = tt_findings(view)) == TIPTRUE_OK) {
        status = tt_verdict(view);
    }
    if (status == TIPTRUE_OK && (status = tt_copy_wanted(view)) == TIPTRUE_OK) {
        status = tt_add_missing_tips(view);
    }
    return status;
}

/* The touches' correlation into the fit, where there is one. */
static enum tiptrue_status find_correlation(const struct tt_selection *selection,
                                            struct tt_arena *arena)
{
    struct tt_correlated *found = TT_ARENA_NEW(arena, 1, struct tt_correlated);

    if (found == NULL || tt_correlated_find(found, arena, selection->fit) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    selection->fit->correlated = found->rho > 0 ? found : NULL;
    return TIPTRUE_OK;
}

/* The selection of the run, @selection->robust or not; once more where views of one place turn out
 * to err alike. */
static enum tiptrue_status choose(struct tt_selection *selection, struct tt_arena *arena,
                                  const struct tiptrue_plate *plate,
                                  const struct tiptrue_machine *machine,
                                  const struct tiptrue_run *run, struct tt_noise *noise)
{
    bool robust = selection->robust;
    enum tiptrue_status status = tt_select(selection, arena, plate, machine, run, noise, robust);

    if (status == TIPTRUE_OK && robust &&
        (noise->view_alike = tt_fit_views_alike(selection->fit)) > 0) {
        status = tt_select(selection, arena, plate, machine, run, noise, robust);
    }
    return status == TIPTRUE_E_DATA && any_touch_row(run)
               ? select_nothing(selection, arena, plate, machine, run, noise)
               : status;
}

enum tiptrue_status tt_adjust(struct tt_adjust_workspace *workspace,
                              const struct tiptrue_plate *plate,
                              const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                              const struct tiptrue_solve_options *options,
                              struct tiptrue_solution **solution, struct tiptrue_error *error)
{
    struct tt_noise noise = tt_noise_of(machine, run), stated = noise;
    struct tt_selection selection = {.robust = options == NULL || !options->least_squares};
    enum tiptrue_status status;

    if (!run->checked_against_plate || !run->checked_against_machine) {
        return tt_fail(error, TIPTRUE_E_USAGE, run->file, 0, 0,
                       "read the run with its plate and machine",
                       "the run was not checked against a plate and a machine");
    }
    if ((status = check_wanted(machine, run, options, error)) != TIPTRUE_OK) {
        return status;
    }
    tt_arena_reset(&workspace->arena);
    status = choose(&selection, &workspace->arena, plate, machine, run, &noise);
    if (status == TIPTRUE_E_DATA) {
        return no_touch(run, error);
    }
    if (status == TIPTRUE_OK && selection.robust) {
        status = find_correlation(&selection, &workspace->arena);
    }
    struct tiptrue_solution *made = status == TIPTRUE_OK ? calloc(1, sizeof *made) : NULL;
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    struct tt_view view = view_of(&selection, &stated, made, &workspace->arena);
    if (report(&view, options) != TIPTRUE_OK) {
        tiptrue_solution_free(made);
        return tt_fail_memory(error);
    }
    *solution = made;
    return TIPTRUE_OK;
}

/* The model of the run at its start values, with weak priors if it needs them. */
static enum tiptrue_status predict(struct tt_selection *selection, struct tt_arena *arena,
                                   const struct tiptrue_plate *plate,
                                   const struct tiptrue_machine *machine,
                                   const struct tiptrue_run *run, const struct tt_noise *noise)
{
    selection->terms = (struct tt_terms){.moved_at = TT_NONE,
                                         .slipped_at = TT_NONE,
                                         .orders = TT_ARENA_NEW(arena, run->n_tips, unsigned)};
    selection->model = TT_ARENA_NEW(arena, 1, struct tt_model);
    selection->fit = TT_ARENA_NEW(arena, 1, struct tt_fit);
    if (selection->terms.orders == NULL || selection->model == NULL || selection->fit == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (int weak = 0; weak < 2; weak++) {
        enum tiptrue_status status = tt_model_build(selection->model, arena, plate, machine, run,
                                                    &selection->terms, weak == 1);
        if (status == TIPTRUE_OK) {
            status = tt_fit_init(selection->fit, arena, selection->model, noise);
        }
        if (status != TIPTRUE_OK || tt_fit_predict(selection->fit)) {
            return status;
        }
    }
    return TIPTRUE_E_DEGENERATE;
}

enum tiptrue_status tt_check(struct tt_adjust_workspace *workspace,
                             const struct tiptrue_plate *plate,
                             const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                             struct tiptrue_solution **expected, struct tiptrue_error *error)
{
    struct tt_noise noise = tt_noise_of(machine, run);
    struct tt_selection selection = {.robust = true};
    enum tiptrue_status status;

    if (!run->checked_against_plate || !run->checked_against_machine) {
        return tt_fail(error, TIPTRUE_E_USAGE, run->file, 0, 0,
                       "read the run with its plate and machine",
                       "the run was not checked against a plate and a machine");
    }
    tt_arena_reset(&workspace->arena);
    status = predict(&selection, &workspace->arena, plate, machine, run, &noise);
    if (status == TIPTRUE_E_DATA) {
        return no_touch(run, error);
    }
    if (status == TIPTRUE_E_DEGENERATE) {
        return tt_fail(error, status, run->file, 0, 0,
                       "are the stated uncertainties of a usual size?",
                       "what this run determines cannot be told: its equations are singular to the "
                       "last digit");
    }
    struct tiptrue_solution *made = status == TIPTRUE_OK ? calloc(1, sizeof *made) : NULL;
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    struct tt_view view = view_of(&selection, &noise, made, &workspace->arena);
    status = tt_assemble(&view);
    status = status == TIPTRUE_OK ? tt_heights_expect(&view) : status;
    if (status == TIPTRUE_OK) {
        status = tt_findings_of_determinacy(&view);
        status = status == TIPTRUE_OK ? tt_findings_of_height_determinacy(&view) : status;
        status = status == TIPTRUE_OK ? tt_findings_of_reach(&view) : status;
    }
    if (status != TIPTRUE_OK) {
        tiptrue_solution_free(made);
        return tt_fail_memory(error);
    }
    *expected = made;
    return TIPTRUE_OK;
}
