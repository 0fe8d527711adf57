/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "planning/choose.h"
#include "planning/scene.h"
#include "planning/propose.h"
#include "planning/view_design.h"

/* Rotations 6 degrees apart: 60 has 2, 3, 4, 5, 6, 10, 12, 15, 20, 30 among its divisors, so that
 * every usual even spread is in it.
 */
#define GRID_ROTATIONS 60
/* Ends and middle of the usable part of an edge: a straight line through its ends tells the yaw
 * best, the middle shows a bent one.
 */
#define GRID_PLACES 3
/* Room beside the tip where nothing is stated: what machines' own errors and tips' runout come to,
 * with a reserve (common practice, no source). */
#define USUAL_MARGIN_MM 0.2

/* ---- the scene ---- */

static struct tt_room room_of(const struct tt_planner *p, size_t tip)
{
    const struct tt_motion *motion = &p->machine->motion;
    struct tt_room room = {.radius_mm = p->machine->tips[tip].radius_mm,
                           .margin_mm = p->options->margin_mm > 0  ? p->options->margin_mm
                                        : motion->margin_mm.stated ? motion->margin_mm.value
                                                                   : USUAL_MARGIN_MM,
                           .start_mm = TT_LEAST_START_MM,
                           .along_axes = motion->has_probing && motion->probing == TT_ALONG_AXES,
                           .yaw_rad = p->machine->yaw_rad};
    if (motion->start_distance_mm.stated) {
        room.start_mm = fmax(motion->start_distance_mm.value, TT_LEAST_START_MM);
    }
    return room;
}

static enum tiptrue_status pick_tips(struct tt_planner *p, struct tiptrue_error *error)
{
    const struct tiptrue_machine *machine = p->machine;

    p->tips = TT_ARENA_NEW(&p->arena, machine->n_tips, size_t);
    p->designs = TT_ARENA_NEW(&p->arena, machine->n_tips, struct tt_design);
    p->counts = TT_ARENA_NEW(&p->arena, machine->n_tips, size_t);
    if (p->tips == NULL || p->designs == NULL || p->counts == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t t = 0; t < machine->n_tips; t++) {
        if (p->options->tip != NULL && strcmp(p->options->tip, machine->tips[t].name) != 0) {
            continue;
        }
        if (!machine->tips[t].has_radius) {
            return tt_fail(error, TIPTRUE_E_DATA, machine->file, 0, 0,
                           "state 'radius' and 'radius_u' of the tip",
                           "no radius is stated of tip '%s': where it fits cannot be told",
                           machine->tips[t].name);
        }
        p->tips[p->n_tips++] = t;
    }
    if (p->n_tips == 0 && p->options->tip != NULL) {
        return tt_fail(error, TIPTRUE_E_USAGE, machine->file, 0, 0,
                       "the machine file names its tips", "the machine has no tip '%s'",
                       p->options->tip);
    }
    return p->n_tips > 0 ? TIPTRUE_OK
                         : tt_fail(error, TIPTRUE_E_DATA, machine->file, 0, 0,
                                   "list them in 'tips', each with 'radius' and 'radius_u'",
                                   "the machine file names no tips to plan for");
}

static enum tiptrue_status set_scene(struct tt_planner *p, struct tiptrue_error *error)
{
    static const char *const SETUPS[] = {"1", "2"};
    static const double TURNED[] = {0, TT_PI};
    const struct tiptrue_machine *machine = p->machine;
    const char **tips = TT_ARENA_NEW(&p->arena, machine->n_tips, const char *),
               **setups = TT_ARENA_NEW(&p->arena, 2, const char *);
    struct tt_machine_xy *offsets = TT_ARENA_NEW(&p->arena, machine->n_tips, struct tt_machine_xy);

    if (tips == NULL || setups == NULL || offsets == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t t = 0; t < machine->n_tips; t++) {
        tips[t] = machine->tips[t].name;
        offsets[t] = machine->tips[t].offset;
    }
    setups[0] = SETUPS[0];
    setups[1] = SETUPS[1];
    p->scene =
        (struct tt_scene){.plate = p->plate,
                          .machine = machine,
                          .tips = tips,
                          .setups = setups,
                          .n_tips = machine->n_tips,
                          .n_setups = p->options->setups == 2 ? 2 : 1,
                          .turned_rad = TURNED,
                          .offsets = offsets,
                          .sightings = p->options->sightings > 0 ? p->options->sightings : 1};
    if (p->scene.n_setups == 2 && tt_plate_marks_in_use(p->plate) < 2) {
        return tt_fail(error, TIPTRUE_E_DATA, p->plate->file, 0, 0,
                       "a plate with two marks, or one setup",
                       "how a second setup is turned is told by two marks, and the plate has one");
    }
    return TIPTRUE_OK;
}

/* Whether two marks or more were sighted or viewed in @setup. */
static bool tells_pose(const struct tiptrue_run *run, size_t setup)
{
    size_t first = TT_NONE;
    bool two = false;

    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (tt_is_sighting(o->kind) && o->use == TT_USE && o->setup == setup) {
            first = first == TT_NONE ? o->target : first;
            two = two || o->target != first;
        }
    }
    return two;
}

/* Usual touches of the first tip, which make a run of sightings or views whole, into p->probes. */
static enum tiptrue_status usual_touches(struct tt_planner *p, struct tiptrue_error *error)
{
    const struct tt_grid grid = {TT_USUAL_TOUCHES, GRID_PLACES};
    struct tt_room room = room_of(p, p->tips[0]);
    struct tt_design usual = {0};
    enum tiptrue_status status = tt_design_init(&usual, &p->scene, p->tips[0], &room, grid, error);

    if (status == TIPTRUE_OK) {
        tt_design_even(&usual, TT_USUAL_TOUCHES, p->probes);
        tt_design_clear(&usual);
    }
    return status;
}

/* Plate and camera where the run that holds sightings or views alone shows them, which is what the
 * solver begins with: @expected is of that run and usual touches. */
static void place_scene(struct tt_planner *p, const struct tiptrue_solution *expected,
                        struct tiptrue_machine *machine, struct tt_pose poses[],
                        struct tt_pose_u poses_u[], double turned_rad[])
{
    *machine = *p->machine;
    tt_view_camera(machine, &expected->camera);
    for (size_t s = 0; s < p->scene.n_setups; s++) {
        const struct tt_pose_result *pose = &expected->poses[s];
        poses[s] = tt_pose_make(pose->mark, pose->yaw_rad);
        poses_u[s] =
            (struct tt_pose_u){hypot(pose->u_mark_x_mm, pose->u_mark_y_mm), pose->u_yaw_rad};
        turned_rad[s] = tt_angle_wrap(pose->yaw_rad - machine->yaw_rad);
    }
    p->machine = p->scene.machine = machine;
    p->scene.poses = poses;
    p->scene.poses_u = poses_u;
}

/* The scene of a run that holds sightings or views alone. */
static enum tiptrue_status use_sightings(struct tt_planner *p, struct tiptrue_error *error)
{
    const struct tiptrue_run *run = p->sighted;
    struct tiptrue_machine *machine = TT_ARENA_NEW(&p->arena, 1, struct tiptrue_machine);
    struct tt_pose *poses = TT_ARENA_NEW(&p->arena, run->n_setups, struct tt_pose);
    struct tt_pose_u *poses_u = TT_ARENA_NEW(&p->arena, run->n_setups, struct tt_pose_u);
    bool *aside = TT_ARENA_NEW(&p->arena, run->n_observations, bool);
    double *turned = TT_ARENA_NEW(&p->arena, run->n_setups, double);
    struct tiptrue_solution *expected = NULL;
    size_t sightings = p->scene.sightings;

    if (machine == NULL || poses == NULL || poses_u == NULL || aside == NULL || turned == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t s = 0; s < run->n_setups; s++) {
        if (!tells_pose(run, s)) {
            return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0,
                           "sight or view two marks or more, far from each other",
                           "where the plate lies in setup '%s' is not told by its sightings",
                           run->setups[s]);
        }
    }
    p->scene.setups = run->setups;
    p->scene.n_setups = run->n_setups;
    p->scene.turned_rad = turned;
    p->scene.so_far = run;
    p->scene.aside = aside;
    p->scene.sightings = 0;
    enum tiptrue_status status = usual_touches(p, error);
    status = status == TIPTRUE_OK ? tt_scene_check(&p->scene, p->probes, TT_USUAL_TOUCHES,
                                                   p->workspace, &expected, error)
                                  : status;
    if (status == TIPTRUE_OK) {
        place_scene(p, expected, machine, poses, poses_u, turned);
    }
    p->scene.so_far = NULL;
    p->scene.sightings = sightings;
    tiptrue_solution_free(expected);
    return status;
}

/* Views of a setup that are wanted: as many as stated, or where nothing is said, as a run that
 * holds views alone has; 0: sightings. */
static size_t views_wanted(const struct tt_planner *p)
{
    size_t n = 0;

    for (size_t i = 0; p->sighted != NULL && i < p->sighted->n_observations; i++) {
        n += p->sighted->observations[i].kind == TT_VIEW && p->sighted->observations[i].setup == 0;
    }
    return p->options->views > 0 || p->options->target_view_mm > 0 ? p->options->views
           : n > 0 && n < TT_LEAST_VIEWS                           ? TT_LEAST_VIEWS
           : n > TT_MOST_VIEWS                                     ? TT_MOST_VIEWS
                                                                   : n;
}

/* Views in place of sightings, where they are wanted, for usual touches of the first tip. */
static enum tiptrue_status choose_views(struct tt_planner *p, struct tiptrue_error *error)
{
    const struct tt_view_wish wish = {.n = views_wanted(p),
                                      .corner_mm = p->options->target_view_mm,
                                      .probes = p->probes,
                                      .n_probes = TT_USUAL_TOUCHES,
                                      .workspace = p->workspace};

    if (wish.n == 0 && !(wish.corner_mm > 0)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = usual_touches(p, error);
    return status == TIPTRUE_OK ? tt_plan_views(&p->scene, &wish, &p->arena, error) : status;
}

static enum tiptrue_status init_designs(struct tt_planner *p, struct tiptrue_error *error)
{
    const struct tt_grid grid = {GRID_ROTATIONS, GRID_PLACES};

    for (size_t i = 0; i < p->n_tips; i++) {
        struct tt_room room = room_of(p, p->tips[i]);
        enum tiptrue_status status =
            tt_design_init(&p->designs[i], &p->scene, p->tips[i], &room, grid, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
        p->n_designs = i + 1;
    }
    return TIPTRUE_OK;
}

static void clear_designs(struct tt_planner *p)
{
    for (size_t i = 0; i < p->n_designs; i++) {
        tt_design_clear(&p->designs[i]);
    }
    p->n_designs = 0;
}

/* ---- the whole ---- */

/* The designs are there. */
static enum tiptrue_status enough_touches(const struct tt_planner *p, struct tiptrue_error *error)
{
    size_t least = tt_choose_bound(p), most = p->n_tips * TT_MOST_TOUCHES;

    if (p->options->touches > 0 && p->options->touches < least) {
        return tt_fail(
            error, TIPTRUE_E_USAGE, NULL, 0, 0,
            "eight of each tip: two for its offset, two for its runout, one for its radius, three "
            "to contradict them; "
            "and three on each of four edges, to tell an edge that is off from its touches",
            "%zu touches are too few for %zu tip%s; at least %zu are needed", p->options->touches,
            p->n_tips, p->n_tips == 1 ? "" : "s", least);
    }
    if (p->options->touches > most) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, "no more than 240 for each tip",
                       "%zu touches are more than are planned at once", p->options->touches);
    }
    return TIPTRUE_OK;
}

/* No plan, for what is @expected: it becomes the proposal's. */
static enum tiptrue_status refuse(enum tt_refusal refusal, struct tiptrue_solution *expected,
                                  struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct tiptrue_proposal *made = calloc(1, sizeof *made);

    if (made == NULL) {
        return tt_fail_memory(error);
    }
    made->refusal = refusal;
    made->expected = expected;
    *proposal = made;
    return TIPTRUE_OK;
}

/* The least number of touches with which a run would be used, where @touches, which were asked for,
 * are too few; 0: there is none. */
static enum tiptrue_status too_few(struct tt_planner *p, size_t *least, struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_choose_least(p, p->options->touches + 1, least, error);

    if (status != TIPTRUE_OK || *least == 0) {
        return status;
    }
    return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                   "or state 'touch': {'u': ...} in the machine file",
                   "%zu touches are too few to tell how well contacts repeat, which is not stated; "
                   "at least %zu are needed",
                   p->options->touches, *least);
}

/* @choice, with touches from above where they are wanted. */
static enum tiptrue_status propose(struct tt_planner *p, struct tt_choice choice,
                                   struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    const struct tt_height_wish wish = {p->tips, p->n_tips, p->options->heights};
    struct tt_height_plan heights = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (wish.each > 0) {
        status = tt_plan_heights(&p->scene, &wish, &p->arena, &heights, error);
        choice.heights = &heights;
    }
    return status == TIPTRUE_OK ? tt_propose(&choice, proposal, error) : status;
}

static enum tiptrue_status finish(struct tt_planner *p, size_t first_id,
                                  struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct tiptrue_solution *expected = NULL;
    size_t *edges = TT_ARENA_NEW(&p->arena, p->plate->n_edges, size_t), n_edges = 0;
    enum tiptrue_status status = TIPTRUE_OK;

    if (edges == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < p->n_designs;
         i++) { /* the order of the first tip, then edges that only others fit */
        for (size_t k = 0; k < p->designs[i].n_edges; k++) {
            size_t edge = p->designs[i].edge_order[k], at = 0;
            while (at < n_edges && edges[at] != edge) {
                at++;
            }
            edges[at] = edge;
            n_edges += at == n_edges;
        }
    }
    tt_choose_gather(p);
    if (tt_order(&p->scene, edges, n_edges, p->probes, p->n_probes) != TIPTRUE_OK) {
        return tt_fail_memory(error);
    }
    status = tt_scene_check(&p->scene, p->probes, p->n_probes, p->workspace, &expected, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    enum tt_refusal refusal = TT_NOT_REFUSED;
    size_t least = 1;
    if (!(tt_same_plate_mm(tt_worst_tip(expected)) < HUGE_VAL)) {
        refusal = TT_REFUSED_UNDETERMINED;
    } else if (p->options->touches > 0 && !tt_plan_is_sound(expected)) {
        status = too_few(p, &least, error);
        refusal = least == 0 ? TT_REFUSED_UNUSED : TT_NOT_REFUSED;
    }
    const struct tt_choice choice = {.scene = &p->scene,
                                     .probes = p->probes,
                                     .n_probes = p->n_probes,
                                     .first_id = first_id,
                                     .target_mm = p->options->target_mm,
                                     .target_view_mm = p->options->target_view_mm,
                                     .designs = p->designs,
                                     .n_designs = p->n_designs,
                                     .expected = expected};
    if (status == TIPTRUE_OK) {
        status = refusal == TT_NOT_REFUSED ? propose(p, choice, proposal, error)
                                           : refuse(refusal, expected, proposal, error);
    }
    if (status != TIPTRUE_OK) {
        tiptrue_solution_free(expected);
    }
    return status;
}

static enum tiptrue_status make_room(struct tt_planner *p, struct tiptrue_error *error)
{
    p->chosen = TT_ARENA_NEW(&p->arena, p->n_tips * (TT_MOST_TOUCHES + 1), struct tt_probe);
    p->probes = TT_ARENA_NEW(&p->arena, p->n_tips * (TT_MOST_TOUCHES + 1), struct tt_probe);
    p->scratch = TT_ARENA_NEW(&p->arena, TT_MOST_TOUCHES + 1, struct tt_probe);
    return p->chosen != NULL && p->probes != NULL && p->scratch != NULL ? TIPTRUE_OK
                                                                        : tt_fail_memory(error);
}

static enum tiptrue_status plan(struct tt_planner *p, struct tiptrue_proposal **proposal,
                                struct tiptrue_error *error)
{
    struct tiptrue_proposal *made = NULL;
    enum tiptrue_status status;

    if ((status = pick_tips(p, error)) == TIPTRUE_OK &&
        (status = set_scene(p, error)) == TIPTRUE_OK &&
        (status = make_room(p, error)) == TIPTRUE_OK &&
        (status = p->sighted != NULL ? use_sightings(p, error) : TIPTRUE_OK) == TIPTRUE_OK &&
        (status = choose_views(p, error)) == TIPTRUE_OK &&
        (status = init_designs(p, error)) == TIPTRUE_OK &&
        (status = enough_touches(p, error)) == TIPTRUE_OK &&
        (status = tt_choose(p, error)) == TIPTRUE_OK &&
        (status = finish(p, 1, &made, error)) == TIPTRUE_OK) {
        made->default_touches = p->options->touches == 0 && !(p->options->target_mm > 0);
        *proposal = made;
    }
    clear_designs(p);
    tt_arena_clear(&p->arena);
    return status;
}

enum tiptrue_status tt_plan_make(struct tt_adjust_workspace *workspace,
                                 const struct tiptrue_plate *plate,
                                 const struct tiptrue_machine *machine,
                                 const struct tiptrue_plan_options *options,
                                 struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct tt_planner p = {
        .plate = plate, .machine = machine, .options = options, .workspace = workspace};

    return plan(&p, proposal, error);
}

enum tiptrue_status tt_plan_sighted(struct tt_adjust_workspace *workspace,
                                    const struct tiptrue_plate *plate,
                                    const struct tiptrue_machine *machine,
                                    const struct tiptrue_run *run,
                                    const struct tiptrue_plan_options *options,
                                    struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct tt_planner p = {.plate = plate,
                           .machine = machine,
                           .options = options,
                           .workspace = workspace,
                           .sighted = run};

    return plan(&p, proposal, error);
}
