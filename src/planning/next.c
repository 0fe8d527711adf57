/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The next touches of a run that was begun. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "planning/scene.h"
#include "planning/plan.h"
#include "planning/propose.h"
#include "planning/view_design.h"

/* Touches at a time: few enough that the answer comes before the head has moved, enough that they
 * still face each other. */
#define NEXT_TOUCHES 4
#define MOST_NEXT 240
/* While the touches make up this share of the variance, more of them help. */
#define STILL_WORTH 0.2
/* The first touches of a tip that is not determined yet. */
#define FIRST_TOUCHES (TT_LEAST_ON_EDGE * TT_LEAST_EDGES)
/* A round of sightings must take away this share of the variance, else it is no way to the target.
 */
#define WORTH_SIGHTING 0.02
/* Room beside the tip, and the grid, as in plan.c; fewer rotations, for the answer must come within
 * 20 ms. */
#define USUAL_MARGIN_MM 0.2
#define GRID_ROTATIONS 24
#define GRID_PLACES 3

struct next {
    const struct tiptrue_plate *plate;
    const struct tiptrue_plan_options *options;
    struct tt_adjust_workspace *workspace;
    struct tiptrue_machine machine; /* as stated, with the repeatability that the run showed */
    struct tt_scene scene;
    struct tt_arena arena;
    const struct tiptrue_solution *solution; /* of the run so far */
    struct tiptrue_solution *expected;       /* of run and touches together */
    struct tt_probe *probes;
    size_t n_probes, most;
    size_t *edge_order, n_edges;
    struct tt_design design; /* of the tip that was planned for last */
    bool has_design;
};

/* The scene of the run: its poses and offsets as far as it determines them. */
static enum tiptrue_status set_scene(struct next *n, const struct tiptrue_run *run,
                                     struct tiptrue_error *error)
{
    bool *aside = TT_ARENA_NEW(&n->arena, run->n_observations, bool);
    struct tt_pose *poses = TT_ARENA_NEW(&n->arena, run->n_setups, struct tt_pose);
    struct tt_pose_u *poses_u = TT_ARENA_NEW(&n->arena, run->n_setups, struct tt_pose_u);
    struct tt_machine_xy *offsets = TT_ARENA_NEW(&n->arena, run->n_tips, struct tt_machine_xy);
    double *turned_rad = TT_ARENA_NEW(&n->arena, run->n_setups, double);

    n->edge_order = TT_ARENA_NEW(&n->arena, n->plate->n_edges, size_t);
    if (aside == NULL || poses == NULL || poses_u == NULL || offsets == NULL ||
        turned_rad == NULL || n->edge_order == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        aside[i] = run->observations[i].use != TT_USE || n->solution->rows[i].set_aside;
    }
    for (size_t s = 0; s < run->n_setups; s++) {
        const struct tt_pose_result *pose =
            s < n->solution->n_poses ? &n->solution->poses[s] : NULL;
        bool known = pose != NULL && pose->mark_determined && pose->yaw_determined;
        poses[s] = known ? tt_pose_make(pose->mark, pose->yaw_rad)
                         : tt_pose_make(n->machine.mark, n->machine.yaw_rad);
        poses_u[s] = (struct tt_pose_u){HUGE_VAL, HUGE_VAL};
        if (known) {
            poses_u[s] =
                (struct tt_pose_u){hypot(pose->u_mark_x_mm, pose->u_mark_y_mm), pose->u_yaw_rad};
        }
    }
    for (size_t t = 0; t < run->n_tips; t++) {
        const struct tt_tip_result *tip = tt_solution_tip(n->solution, run->tips[t]);
        bool known = tip != NULL && tip->offset_determined_x && tip->offset_determined_y;
        offsets[t] = known                   ? tip->offset
                     : t < n->machine.n_tips ? n->machine.tips[t].offset
                                             : offsets[t];
    }
    n->scene = (struct tt_scene){.plate = n->plate,
                                 .machine = &n->machine,
                                 .so_far = run,
                                 .aside = aside,
                                 .tips = run->tips,
                                 .setups = run->setups,
                                 .n_tips = run->n_tips,
                                 .n_setups = run->n_setups,
                                 .turned_rad = turned_rad,
                                 .poses = poses,
                                 .poses_u = poses_u,
                                 .offsets = offsets};
    return TIPTRUE_OK;
}

/* The tip that is furthest from the target, counting those of the machine file that were not
 * touched with yet. */
static size_t furthest_tip(const struct next *n, const struct tiptrue_solution *solution)
{
    size_t worst = TT_NONE;
    double worst_mm = -1;

    for (size_t t = 0; t < n->scene.n_tips; t++) {
        const struct tt_tip_result *tip = tt_solution_tip(solution, n->scene.tips[t]);
        double mm = tip != NULL ? tt_same_plate_mm(tip) : HUGE_VAL;
        bool asked = n->options->tip == NULL || strcmp(n->options->tip, n->scene.tips[t]) == 0;
        if (asked && mm > worst_mm) {
            worst_mm = mm;
            worst = t;
        }
    }
    return worst;
}

static bool is_met(const struct next *n, const struct tiptrue_solution *solution)
{
    size_t worst = furthest_tip(n, solution);
    const struct tt_tip_result *tip =
        worst != TT_NONE ? tt_solution_tip(solution, n->scene.tips[worst]) : NULL;

    return tip != NULL && tt_same_plate_mm(tip) <= n->options->target_mm;
}

static enum tiptrue_status set_design(struct next *n, size_t tip, struct tiptrue_error *error)
{
    const struct tt_motion *motion = &n->machine.motion;
    const struct tt_grid grid = {GRID_ROTATIONS, GRID_PLACES};
    struct tt_room room = {.margin_mm = n->options->margin_mm > 0  ? n->options->margin_mm
                                        : motion->margin_mm.stated ? motion->margin_mm.value
                                                                   : USUAL_MARGIN_MM,
                           .start_mm = motion->start_distance_mm.stated
                                           ? motion->start_distance_mm.value
                                           : TT_LEAST_START_MM,
                           .along_axes = motion->has_probing && motion->probing == TT_ALONG_AXES,
                           .yaw_rad = n->scene.poses[0].yaw_rad};
    const struct tt_tip_result *result = tt_solution_tip(n->solution, n->scene.tips[tip]);

    if (tip < n->machine.n_tips && n->machine.tips[tip].has_radius) {
        room.radius_mm = n->machine.tips[tip].radius_mm;
    } else if (result != NULL && result->radius_determined) {
        room.radius_mm = result->contact_radius_mm;
    } else {
        return tt_fail(error, TIPTRUE_E_DATA, n->machine.file, 0, 0,
                       "state 'radius' and 'radius_u' of the tip",
                       "no radius is known of tip '%s': where it fits cannot be told",
                       n->scene.tips[tip]);
    }
    if (n->has_design) {
        tt_design_clear(&n->design);
    }
    n->has_design = false;
    enum tiptrue_status status = tt_design_init(&n->design, &n->scene, tip, &room, grid, error);
    n->has_design = status == TIPTRUE_OK;
    for (size_t k = 0; n->has_design && k < n->design.n_edges; k++) {
        size_t at = 0;
        while (at < n->n_edges && n->edge_order[at] != n->design.edge_order[k]) {
            at++;
        }
        n->edge_order[at] = n->design.edge_order[k];
        n->n_edges += at == n->n_edges;
    }
    return status;
}

static enum tiptrue_status expect(struct next *n, struct tiptrue_error *error)
{
    struct tiptrue_solution *expected = NULL;
    enum tiptrue_status status =
        tt_scene_check(&n->scene, n->probes, n->n_probes, n->workspace, &expected, error);

    if (status == TIPTRUE_OK) {
        tiptrue_solution_free(n->expected);
        n->expected = expected;
    }
    return status;
}

/* What is left of the target's variance for touches and sightings of a tip; negative: what neither
 * of them lessens is too much already. HUGE_VAL where the tip is not determined yet. */
static double left_mm2(const struct next *n, const struct tt_tip_result *tip)
{
    if (tip == NULL || !(tt_same_plate_mm(tip) < HUGE_VAL)) {
        return HUGE_VAL;
    }
    double target_mm = n->options->target_mm / tip->same_plate_factor;
    return target_mm * target_mm - tt_same_plate_parts(tip).rest;
}

/* Whether touching alone will not bring a tip to the target: with the sightings as they are, more
 * touches would be needed than are planned of a tip at all. */
static bool takes_too_many(const struct next *n, const struct tt_tip_result *tip)
{
    double left = left_mm2(n, tip);

    if (!(left < HUGE_VAL)) {
        return false;
    }
    struct tt_parts parts = tt_same_plate_parts(tip);
    double for_touches = left - parts.sightings, all = parts.touches + parts.sightings + parts.rest;
    if (parts.touches > STILL_WORTH * all) {
        return false; /* while touches are few, their number changes the other parts too */
    }
    return !(for_touches > 0) ||
           (double)tip->used * (parts.touches / for_touches - 1) > (double)MOST_NEXT;
}

/* The best @views into the scene; 0: the fewest that reach the target at the picture's corner. */
static enum tiptrue_status add_views(struct next *n, size_t views, struct tiptrue_error *error)
{
    struct tt_view_wish wish = {.n = views,
                                .corner_mm = n->options->target_view_mm,
                                .n_probes = 1,
                                .workspace = n->workspace};
    enum tiptrue_status status = set_design(n, furthest_tip(n, n->solution), error);

    if (status == TIPTRUE_OK) {
        wish.probes = n->design.candidates;
        status = tt_plan_views(&n->scene, &wish, &n->arena, error);
    }
    return status == TIPTRUE_OK ? expect(n, error) : status;
}

/* Views, where they are asked for and not there already. */
static enum tiptrue_status choose_views(struct next *n, struct tiptrue_error *error)
{
    double target_mm = n->options->target_view_mm;
    bool met = target_mm > 0 && tt_view_corner_mm(n->solution) <= target_mm;

    return n->options->views > 0 || (target_mm > 0 && !met) ? add_views(n, n->options->views, error)
                                                            : TIPTRUE_OK;
}

/* What helps @tip most, of which @result is known: one touch, for the next may be another tip's
 * turn; where it is not determined yet, as many as do. None where nothing helps. */
static enum tiptrue_status add_touches(struct next *n, size_t tip,
                                       const struct tt_tip_result *result,
                                       struct tiptrue_error *error)
{
    enum tiptrue_status status = set_design(n, tip, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (result != NULL && tt_same_plate_mm(result) < HUGE_VAL) {
        n->n_probes += tt_design_next(&n->design, n->probes, n->n_probes, &n->probes[n->n_probes]);
        return TIPTRUE_OK;
    }
    n->design.least_on_edge = TT_LEAST_ON_EDGE;
    status = tt_design_best(&n->design, FIRST_TOUCHES, 1, n->probes + n->n_probes);
    n->n_probes += status == TIPTRUE_OK ? FIRST_TOUCHES : 0;
    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : TIPTRUE_OK;
}

/* Touches for the tip that needs them most, until the target is met or there are as many as were
 * asked for. */
static enum tiptrue_status choose(struct next *n, struct tiptrue_error *error)
{
    bool wanted = n->options->target_mm > 0;
    const struct tiptrue_solution *now = n->expected != NULL ? n->expected : n->solution;
    enum tiptrue_status status = TIPTRUE_OK;

    while (status == TIPTRUE_OK && n->n_probes < n->most && !(wanted && is_met(n, now))) {
        size_t tip = furthest_tip(n, now), before = n->n_probes;
        const struct tt_tip_result *result = tt_solution_tip(now, n->scene.tips[tip]);
        if (wanted && takes_too_many(n, result)) {
            break;
        }
        status = add_touches(n, tip, result, error);
        if (status != TIPTRUE_OK || n->n_probes == before) {
            break;
        }
        status = expect(n, error);
        now = n->expected;
    }
    return status;
}

/* The largest same-plate variance of a tip. */
static double worst_mm2(const struct next *n, const struct tiptrue_solution *solution)
{
    const struct tt_tip_result *tip =
        tt_solution_tip(solution, n->scene.tips[furthest_tip(n, solution)]);
    double mm = tip != NULL ? tt_same_plate_mm(tip) : HUGE_VAL;
    return mm * mm;
}

/* A round of sightings at the start and one at the end, or of views, where the run has those. */
static enum tiptrue_status add_sightings(struct next *n, struct tiptrue_error *error)
{
    if (n->solution->camera.determined) {
        return add_views(n, 2 * tt_plate_marks_in_use(n->plate), error);
    }
    n->scene.sightings = 1;
    return expect(n, error);
}

/* Sightings in place of touches, where each of them helps more. */
static enum tiptrue_status weigh_sightings(struct next *n, struct tiptrue_error *error)
{
    double before = worst_mm2(n, n->solution), by_touch, by_sighting;
    size_t n_probes = n->n_probes, moves = 2 * tt_plate_marks_in_use(n->plate) * n->scene.n_setups;
    enum tiptrue_status status;

    if (!(n->options->target_mm > 0) || !(before < HUGE_VAL) || n->scene.n_views > 0 ||
        is_met(n, n->expected != NULL ? n->expected : n->solution) ||
        !(left_mm2(n, tt_solution_tip(n->solution, n->scene.tips[furthest_tip(n, n->solution)])) >
          0)) {
        return TIPTRUE_OK;
    }
    by_touch = n_probes > 0 ? (before - worst_mm2(n, n->expected)) / (double)n_probes : 0;
    n->n_probes = 0;
    if ((status = add_sightings(n, error)) != TIPTRUE_OK) {
        return status;
    }
    by_sighting = (before - worst_mm2(n, n->expected)) / (double)moves;
    if (by_sighting > by_touch && by_sighting * (double)moves > WORTH_SIGHTING * before) {
        return TIPTRUE_OK;
    }
    n->n_probes = n_probes;
    n->scene.sightings = n->scene.n_views = n->scene.n_views_first = 0;
    return expect(n, error);
}

static enum tiptrue_status propose(struct next *n, const struct tiptrue_run *run,
                                   struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    bool done = n->options->target_mm > 0 && is_met(n, n->solution);
    enum tiptrue_status status = n->expected == NULL ? expect(n, error) : TIPTRUE_OK;
    const struct tt_choice choice = {.scene = &n->scene,
                                     .probes = n->probes,
                                     .n_probes = n->n_probes,
                                     .first_id = run->n_observations + 1,
                                     .target_mm = n->options->target_mm,
                                     .target_view_mm = n->options->target_view_mm,
                                     .designs = &n->design,
                                     .n_designs = n->has_design,
                                     .expected = n->expected};

    if (status == TIPTRUE_OK &&
        tt_order(&n->scene, n->edge_order, n->n_edges, n->probes, n->n_probes) != TIPTRUE_OK) {
        status = tt_fail_memory(error);
    }
    struct tt_choice final = choice;
    final.expected = n->expected;
    status = status == TIPTRUE_OK ? tt_propose(&final, proposal, error) : status;
    if (status == TIPTRUE_OK) {
        n->expected = NULL;
        (*proposal)->next = true;
        (*proposal)->met =
            !(*proposal)->has_target || done || ((*proposal)->met && (*proposal)->plan.n_moves > 0);
    }
    return status;
}

/* Does more of the same mend what @finding says? Two explanations, too: as long as anything is
 * asked for, it may tell them apart.
 */
static bool is_of_number(const struct tt_finding *finding, bool more_asked)
{
    const struct tt_value *what = tt_finding_value(finding, "what");

    switch ((int)finding->code) {
    case TT_FINDING_UNDETERMINED:
    case TT_FINDING_FEW_TOUCHES:
    case TT_FINDING_UNCERTAINTY_OVER:
    case TT_FINDING_PRIOR_BOUND:
    case TT_FINDING_ROTATION_GAP:
    case TT_FINDING_NOT_TOUCHED:
    case TT_FINDING_RUNOUT_OVER:
        return true;
    case TT_FINDING_IMPLAUSIBLE:
        return what != NULL && what->text != NULL && strcmp(what->text, "uncertainty") == 0;
    case TT_FINDING_AMBIGUOUS:
        return more_asked;
    default:
        return false;
    }
}

/* Findings that make the run useless whatever is added to it. */
static void note_findings(const struct tiptrue_solution *solution,
                          struct tiptrue_proposal *proposal)
{
    for (size_t i = 0; i < solution->n_findings; i++) {
        const struct tt_finding *finding = &solution->findings[i];
        if (finding->severity == TIPTRUE_ERROR &&
            !is_of_number(finding, proposal->plan.n_moves > 0)) {
            tt_proposal_note(proposal, (struct tt_note){.code = TT_NOTE_UNUSABLE, .index = i});
            proposal->met = false;
        }
    }
}

static bool any_touch(const struct tiptrue_run *run)
{
    bool any = false;
    for (size_t i = 0; i < run->n_observations; i++) {
        any = any || (run->observations[i].kind == TT_TOUCH && run->observations[i].use == TT_USE);
    }
    return any;
}

/* The run so far, to which touches on edges and views are added. */
static enum tiptrue_status solve_so_far(const struct next *n, const struct tiptrue_run *run,
                                        struct tiptrue_solution **solution,
                                        struct tiptrue_error *error)
{
    return n->options->heights > 0
               ? tt_fail(error, TIPTRUE_E_USAGE, run->file, 0, 0, "plan a whole run with it",
                         "--heights is not for a run that was begun")
               : tt_adjust(n->workspace, n->plate, &n->machine, run, NULL, solution, error);
}

/* Touches at most: none where views alone are wanted. */
static size_t most_touches(const struct tiptrue_plan_options *options)
{
    bool views = options->views > 0 || options->target_view_mm > 0;

    if (options->touches > 0) {
        return options->touches < MOST_NEXT ? options->touches : MOST_NEXT;
    }
    return views && !(options->target_mm > 0) ? 0 : NEXT_TOUCHES;
}

/* Views, touches, and sightings in their place, into @made. */
static enum tiptrue_status plan_next(struct next *n, const struct tiptrue_run *run,
                                     struct tiptrue_proposal **made, struct tiptrue_error *error)
{
    enum tiptrue_status status = choose_views(n, error);

    status = status == TIPTRUE_OK ? choose(n, error) : status;
    status = status == TIPTRUE_OK ? weigh_sightings(n, error) : status;
    return status == TIPTRUE_OK ? propose(n, run, made, error) : status;
}

enum tiptrue_status tt_plan_next(struct tt_adjust_workspace *workspace,
                                 const struct tiptrue_plate *plate,
                                 const struct tiptrue_machine *machine,
                                 const struct tiptrue_run *run,
                                 const struct tiptrue_plan_options *options,
                                 struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct next n = {
        .plate = plate, .options = options, .workspace = workspace, .machine = *machine};
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_proposal *made = NULL;
    enum tiptrue_status status;

    if (!any_touch(run)) {
        return tt_plan_sighted(workspace, plate, machine, run, options, proposal, error);
    }
    status = solve_so_far(&n, run, &solution, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    n.solution = solution;
    tt_view_camera(&n.machine, &solution->camera);
    n.most = most_touches(options);
    n.probes = TT_ARENA_NEW(&n.arena, n.most + FIRST_TOUCHES, struct tt_probe);
    if (solution->has_u_touch && solution->u_touch_mm > 0) {
        n.machine.has_u_touch = true;
        n.machine.u_touch_mm = solution->u_touch_mm;
    }
    status = n.probes != NULL ? set_scene(&n, run, error) : tt_fail_memory(error);
    if (status == TIPTRUE_OK && options->tip != NULL && furthest_tip(&n, solution) == TT_NONE) {
        status = tt_fail(error, TIPTRUE_E_USAGE, run->file, 0, 0,
                         "the machine file and the run name the tips", "there is no tip '%s'",
                         options->tip);
    }
    if (status == TIPTRUE_OK && (status = plan_next(&n, run, &made, error)) == TIPTRUE_OK) {
        note_findings(solution, made);
        made->solved = solution;
        solution = NULL;
        *proposal = made;
    }
    if (n.has_design) {
        tt_design_clear(&n.design);
    }
    tiptrue_solution_free(n.expected);
    tiptrue_solution_free(solution);
    tt_arena_clear(&n.arena);
    return status;
}
