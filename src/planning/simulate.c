/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run out of moves and a truth, by the touch equation of geometry/touch.h. Random numbers are
 * GSL's (mt19937 here, taus2 for the truth: draw.c), and what is drawn is rounded to the nanometre,
 * so that the same seed gives the same bytes on every machine. */
#include "config.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "base/random.h"
#include "geometry/touch.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/run.h"
#include "model/truth.h"
#include "planning/picture.h"
#include "planning/resolve.h"
#include "planning/simulate_parts.h"

/* Repeatability of touches and sightings where neither truth nor machine file states one: the 3 µm
 * that `check` takes. */
#define USUAL_SCATTER_MM 3e-3
/* How far a touch that meets no contact goes on beyond the edge: usual overtravel of a probing move
 * (common practice, no source).
 */
#define OVERTRAVEL_MM 0.5
/* Repeatability of a view where neither truth nor machine file states one, pixels: a usual blob
 * finder (common practice, no source). */
#define USUAL_VIEW_PX 0.2

struct simulation {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_truth *truth;
    struct tt_resolved moves;
    struct tt_arena scratch;
    gsl_rng *random;
    struct tt_pose *poses;            /* by setup */
    const struct tt_truth_tip **tips; /* by tip, NULL = not touched with */
    struct tt_shifts shifts;          /* of the plate's features */
    double touch_sigma_mm, sighting_sigma_mm, height_sigma_mm, rotation_sigma_rad, resolution_mm;
    double scale;
};

static enum tiptrue_status lacks(const struct simulation *s, const char *what, const char *name,
                                 struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_DATA, s->truth->file, 0, 0, "name it in the truth",
                   "the truth says nothing of %s '%s'", what, name);
}

static enum tiptrue_status place_poses(struct simulation *s, struct tiptrue_error *error)
{
    for (size_t k = 0; k < s->moves.n_setups; k++) {
        const struct tt_truth_pose *found = NULL;
        for (size_t i = 0; i < s->truth->n_poses; i++) {
            found = strcmp(s->truth->poses[i].setup, s->moves.setups[k]) == 0 ? &s->truth->poses[i]
                                                                              : found;
        }
        if (found == NULL) {
            return lacks(s, "setup", s->moves.setups[k], error);
        }
        s->poses[k] = tt_pose_make(found->mark, found->yaw_rad);
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status place_tips(struct simulation *s, struct tiptrue_error *error)
{
    for (size_t i = 0; i < s->moves.n_moves; i++) {
        size_t tip = s->moves.moves[i].tip;
        if (tip == TT_NONE) {
            continue;
        }
        size_t k = TT_NAMED(s->truth->tips, s->truth->n_tips, s->moves.tips[tip]);
        if (k == s->truth->n_tips) {
            return lacks(s, "tip", s->moves.tips[tip], error);
        }
        s->tips[tip] = &s->truth->tips[k];
    }
    for (size_t t = 0; t < s->moves.n_tips; t++) {
        for (size_t k = 0; s->tips[t] != NULL && k < s->tips[t]->n_shape; k++) {
            if (s->tips[t]->shape[k].order < 2) {
                return tt_fail(error, TIPTRUE_E_DATA, s->truth->file, 0, 0, "orders count from 2",
                               "a shape has order %zu", s->tips[t]->shape[k].order);
            }
        }
    }
    return TIPTRUE_OK;
}

static void choose_noise(struct simulation *s)
{
    const struct tiptrue_truth *truth = s->truth;
    const struct tiptrue_machine *machine = s->machine;

    s->touch_sigma_mm = truth->touch_sigma_mm.stated ? truth->touch_sigma_mm.value
                        : machine->has_u_touch       ? machine->u_touch_mm
                                                     : USUAL_SCATTER_MM;
    s->height_sigma_mm = truth->height_sigma_mm.stated ? truth->height_sigma_mm.value
                         : machine->u_height_mm.stated ? machine->u_height_mm.value
                                                       : s->touch_sigma_mm;
    s->sighting_sigma_mm = truth->sighting_sigma_mm.stated ? truth->sighting_sigma_mm.value
                           : machine->has_u_sighting       ? machine->u_sighting_mm
                                                           : USUAL_SCATTER_MM;
    s->rotation_sigma_rad = truth->rotation_sigma_rad.stated ? truth->rotation_sigma_rad.value
                                                             : machine->u_rotation_rad;
    s->resolution_mm =
        truth->resolution_mm.stated ? truth->resolution_mm.value : machine->resolution_mm;
    s->scale = 1;
    if (truth->temperature_C.stated && s->plate->has_expansion) {
        s->scale +=
            s->plate->expansion_per_K * (truth->temperature_C.value - s->plate->measured_at_C);
    }
}

/* Whether the truth, and the machine file, say what @move needs. */
static enum tiptrue_status check_move(const struct simulation *s,
                                      const struct tt_resolved_move *move,
                                      struct tiptrue_error *error)
{
    if (move->move->kind == TT_HEIGHT && !s->tips[move->tip]->height_mm.stated) {
        return lacks(s, "the height of", s->moves.tips[move->tip], error);
    }
    if (move->move->kind == TT_VIEW && !s->truth->camera.stated) {
        return lacks(s, "the", "camera", error);
    }
    if (move->move->kind == TT_VIEW && !s->machine->camera.present) {
        return tt_fail(error, TIPTRUE_E_DATA, s->machine->file, 0, 0,
                       "state \"camera\": {\"size_px\": [wide, high]}",
                       "the plan has views, and the machine file does not state its camera");
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status prepare(struct simulation *s, const struct tiptrue_plan *plan,
                                   struct tiptrue_error *error)
{
    enum tiptrue_status status =
        tt_plan_resolve(plan, s->plate, s->machine, &s->scratch, &s->moves, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    s->poses = TT_ARENA_NEW(&s->scratch, s->moves.n_setups, struct tt_pose);
    s->tips = TT_ARENA_NEW(&s->scratch, s->moves.n_tips, const struct tt_truth_tip *);
    if (s->poses == NULL || s->tips == NULL) {
        return tt_fail_memory(error);
    }
    if ((status = place_poses(s, error)) == TIPTRUE_OK &&
        (status = place_tips(s, error)) == TIPTRUE_OK) {
        status = tt_simulate_shifts(s->plate, s->truth, &s->scratch, &s->shifts, error);
    }
    choose_noise(s);
    for (size_t i = 0; i < s->moves.n_moves && status == TIPTRUE_OK; i++) {
        status = check_move(s, &s->moves.moves[i], error);
    }
    return status;
}

/* ---- observations ---- */

/* The pose of @setup when row @row of @n is made: drift in the order of the rows, a move from a row
 * on. */
static struct tt_pose pose_at(const struct simulation *s, size_t setup, size_t row, size_t n)
{
    struct tt_pose pose = s->poses[setup];
    double clock = n > 1 ? (double)row / (double)(n - 1) - 0.5 : 0;
    bool moved = (double)row >= s->truth->moved_after * (double)n;

    pose.mark.x_mm += clock * s->truth->drift.x_mm + (moved ? s->truth->moved.x_mm : 0);
    pose.mark.y_mm += clock * s->truth->drift.y_mm + (moved ? s->truth->moved.y_mm : 0);
    return pose;
}

static struct tt_plate_xy group_shift(const struct simulation *s, size_t group)
{
    return group != TT_NONE ? s->shifts.group[group] : (struct tt_plate_xy){0, 0};
}

/* The head goes where the mark is wanted in the picture, by what is known of the camera beforehand;
 * where it then is in the picture is seen. */
static void view_mark(struct simulation *s, const struct tt_resolved_move *move,
                      struct tt_machine_xy from, struct tt_observation *o)
{
    const struct tt_camera *camera = &s->machine->camera;
    const struct tt_truth_camera *truth = &s->truth->camera;
    struct tt_truth_camera known = camera->has_scale ? tt_camera_stated(camera) : *truth;
    bool wanted = move->move->has_pixel;
    double px = wanted ? move->move->px : camera->centre_px[0],
           py = wanted ? move->move->py : camera->centre_px[1],
           sigma_px = truth->sigma_px.stated ? truth->sigma_px.value
                      : camera->u_px > 0     ? camera->u_px
                                             : USUAL_VIEW_PX;

    struct tt_machine_xy mark = o->h, aside = tt_picture_place(&known, camera, px, py);
    double unit = pow(10, TT_LEAST_DECIMALS);
    struct tt_machine_xy head = tt_axes_report(
        &s->truth->axes, (struct tt_machine_xy){mark.x_mm - aside.x_mm, mark.y_mm - aside.y_mm},
        from);
    o->h = (struct tt_machine_xy){round(head.x_mm * unit) / unit, round(head.y_mm * unit) / unit};
    head = tt_axes_truth(&s->truth->axes, o->h, from);
    tt_picture_pixel(truth, camera,
                     (struct tt_machine_xy){mark.x_mm - head.x_mm, mark.y_mm - head.y_mm}, &o->px,
                     &o->py);
    o->px += gsl_ran_gaussian(s->random, sigma_px);
    o->py += gsl_ran_gaussian(s->random, sigma_px);
    double digit = pow(10, TT_PIXEL_DECIMALS);
    o->px = round(o->px * digit) / digit;
    o->py = round(o->py * digit) / digit;
}

static void sight(struct simulation *s, const struct tt_resolved_move *move, struct tt_pose pose,
                  struct tt_observation *o)
{
    const struct tt_mark *mark = &s->plate->marks[move->target];
    struct tt_plate_xy g = group_shift(s, mark->group), own = s->shifts.mark[move->target];
    struct tt_plate_xy at = {s->scale * mark->at.x_mm + g.x_mm + own.x_mm,
                             s->scale * mark->at.y_mm + g.y_mm + own.y_mm};

    o->h = tt_pose_place(&pose, 1, at);
    if (o->kind == TT_VIEW) {
        view_mark(s, move, s->poses[move->setup].mark, o);
        return;
    }
    if (tt_axes_are_off(&s->truth->axes)) {
        o->h = tt_axes_report(&s->truth->axes, o->h, s->poses[move->setup].mark);
    }
    o->h.x_mm += gsl_ran_gaussian(s->random, s->sighting_sigma_mm);
    o->h.y_mm += gsl_ran_gaussian(s->random, s->sighting_sigma_mm);
}

/* A touch as axes that are off report it: the tip's axis, in their own units of motion. */
static void report_touch(const struct simulation *s, const struct tt_resolved_move *move,
                         struct tt_observation *o)
{
    struct tt_machine_xy offset = s->tips[move->tip]->offset,
                         axis = {o->h.x_mm + offset.x_mm, o->h.y_mm + offset.y_mm};

    axis = tt_axes_report(&s->truth->axes, axis, s->poses[move->setup].mark);
    o->h = (struct tt_machine_xy){axis.x_mm - offset.x_mm, axis.y_mm - offset.y_mm};
}

/* By how much a touch is late (> 0) or early (< 0). All is drawn whatever the shares, so that they
 * do not change the rest. */
static double draw_depth(struct simulation *s)
{
    const struct tt_truth_fault *late = &s->truth->late, *early = &s->truth->early;
    double chance = gsl_rng_uniform(s->random), depth = gsl_rng_uniform(s->random);

    if (chance < late->share) {
        return late->from_mm + depth * (late->to_mm - late->from_mm);
    }
    return chance >= 1 - early->share ? -(early->from_mm + depth * (early->to_mm - early->from_mm))
                                      : 0;
}

static double rho_of_shape(const struct tt_site *site, const struct tt_touch *touch,
                           const struct tt_truth_tip *tip)
{
    double rho = 0, c, n;

    for (size_t k = 0; k < tip->n_shape; k++) {
        tt_touch_shape_angle(site, touch, (unsigned)tip->shape[k].order, &c, &n);
        rho += tip->shape[k].cos_mm * c + tip->shape[k].sin_mm * n;
    }
    return rho;
}

static double on_step(const struct simulation *s, double mm)
{
    return s->resolution_mm > 0 ? round(mm / s->resolution_mm) * s->resolution_mm : mm;
}

/* The head's place on the tip's way along the edge's normal through @move->at where the touch
 * equation holds. */
static void touch(struct simulation *s, const struct tt_resolved_move *move, struct tt_pose pose,
                  struct tt_observation *o)
{
    const struct tt_edge *edge = &s->plate->edges[move->target];
    const struct tt_truth_tip *tip = s->tips[move->tip];
    struct tt_site site = tt_site_make(&pose, edge->n_x, edge->n_y, edge->d_mm);
    double scatter_mm = gsl_ran_gaussian(s->random, s->touch_sigma_mm);
    double rotation_rad = (s->machine->clockwise ? -1 : 1) * o->rotation_rad +
                          gsl_ran_gaussian(s->random, s->rotation_sigma_rad);
    double depth_mm = draw_depth(s), along_mm;
    bool missed = gsl_rng_uniform(s->random) < s->truth->missed_share;
    struct tt_touch contact = {.cos_rotation = cos(rotation_rad),
                               .sin_rotation = sin(rotation_rad),
                               .scale = s->scale,
                               .feed_mm_s = o->feed_mm_s};
    struct tt_touch_slope slope = {0};
    struct tt_touch_state state = {.mark = pose.mark,
                                   .offset = tip->offset,
                                   .runout = tip->runout,
                                   .group_shift = group_shift(s, edge->group),
                                   .shift_mm = s->shifts.edge_mm[move->target],
                                   .radius_mm = tip->radius_mm + rho_of_shape(&site, &contact, tip),
                                   .lost_motion_mm = s->truth->lost_motion_mm,
                                   .latency_s = s->truth->latency_s};
    struct tt_machine_xy q = tt_pose_place(&pose, s->scale, move->at);
    struct tt_machine_xy e = tt_tip_turn(contact.cos_rotation, contact.sin_rotation, tip->runout);

    /* the centre over the place on the edge; then back along the normal by what the equation says
     * is missing */
    contact.h = (struct tt_machine_xy){q.x_mm - tip->offset.x_mm - e.x_mm,
                                       q.y_mm - tip->offset.y_mm - e.y_mm};
    along_mm = scatter_mm - depth_mm - tt_touch_residual(&site, &contact, &state, &slope) -
               (missed ? OVERTRAVEL_MM : 0);
    o->h = (struct tt_machine_xy){contact.h.x_mm + along_mm * site.n_x,
                                  contact.h.y_mm + along_mm * site.n_y};
    if (tt_axes_are_off(&s->truth->axes)) {
        report_touch(s, move, o);
    }
    o->h = (struct tt_machine_xy){on_step(s, o->h.x_mm), on_step(s, o->h.y_mm)};
    if (missed && o->use == TT_USE) {
        o->use = TT_USE_NO_CONTACT;
    }
}

/* The tip comes down until the contact latches; without contact it goes on. */
static void height(struct simulation *s, const struct tt_resolved_move *move, struct tt_pose pose,
                   struct tt_observation *o)
{
    double scatter_mm = gsl_ran_gaussian(s->random, s->height_sigma_mm);
    double rotation_rad = (s->machine->clockwise ? -1 : 1) * o->rotation_rad +
                          gsl_ran_gaussian(s->random, s->rotation_sigma_rad);
    double depth_mm = draw_depth(s);
    bool missed = gsl_rng_uniform(s->random) < s->truth->missed_share;
    const struct tt_descent descent = {.tip = s->tips[move->tip],
                                       .pad = &s->plate->pads[move->target],
                                       .pad_shift_mm = s->shifts.pad_mm[move->target],
                                       .slope_x = s->truth->slope_x,
                                       .slope_y = s->truth->slope_y,
                                       .latency_s = s->truth->latency_s,
                                       .feed_mm_s = o->feed_mm_s,
                                       .rotation_rad = rotation_rad,
                                       .scale = s->scale};
    double z_mm = tt_descend(&descent, &pose, &o->h);

    o->z_mm = on_step(s, z_mm + scatter_mm - depth_mm - (missed ? OVERTRAVEL_MM : 0));
    o->h = (struct tt_machine_xy){on_step(s, o->h.x_mm), on_step(s, o->h.y_mm)};
    o->use = missed && o->use == TT_USE ? TT_USE_NO_CONTACT : o->use;
}

/* ---- the run ---- */

static void observe(struct simulation *s, struct tiptrue_run *run)
{
    for (size_t i = 0; i < s->moves.n_moves; i++) {
        const struct tt_resolved_move *move = &s->moves.moves[i];
        struct tt_observation *o = &run->observations[run->n_observations++];
        struct tt_pose pose = pose_at(s, move->setup, i, s->moves.n_moves);
        *o = (struct tt_observation){.kind = move->move->kind,
                                     .target = move->target,
                                     .tip = move->tip,
                                     .setup = move->setup,
                                     .line = i + 1,
                                     .rotation_rad = move->move->rotation_rad,
                                     .feed_mm_s = move->move->feed_mm_s,
                                     .has_temperature = s->truth->temperature_C.stated,
                                     .temperature_C = s->truth->temperature_C.value,
                                     .approach_x = move->move->approach_x,
                                     .approach_y = move->move->approach_y};
        o->use = move->move->kind == TT_WARMUP ? TT_USE_OTHER
                 : move->move->is_find         ? TT_USE_FIND
                                               : TT_USE;
        o->z_mm = s->machine->motion.touch_height_mm.value; /* 0 where none is stated */
        if (tt_is_sighting(o->kind)) {
            o->z_mm = s->machine->motion.safe_height_mm.value;
            sight(s, move, pose, o);
        } else if (o->kind == TT_HEIGHT) {
            height(s, move, pose, o);
        } else {
            touch(s, move, pose, o);
        }
    }
}

/* The names a run has, as its own. */
static bool name_run(const struct simulation *s, const struct tiptrue_plan *plan,
                     struct tiptrue_run *run)
{
    struct tt_arena *arena = &run->arena;
    bool good = true;
#define COPY(text) ((text) == NULL ? NULL : tt_arena_copy_text(arena, (text), strlen(text)))
    run->file = COPY(plan->file);
    run->machine = COPY(s->machine->name);
    run->plate = COPY(s->plate->name);
    run->tips = TT_ARENA_NEW(arena, s->moves.n_tips, const char *);
    run->setups = TT_ARENA_NEW(arena, s->moves.n_setups, const char *);
    run->observations = TT_ARENA_NEW(arena, s->moves.n_moves, struct tt_observation);
    if (run->tips == NULL || run->setups == NULL || run->observations == NULL ||
        run->file == NULL) {
        return false;
    }
    for (size_t t = 0; t < s->moves.n_tips; t++) {
        run->tips[run->n_tips++] = COPY(s->moves.tips[t]);
        good = good && run->tips[t] != NULL;
    }
    for (size_t k = 0; k < s->moves.n_setups; k++) {
        run->setups[run->n_setups++] = COPY(s->moves.setups[k]);
        good = good && run->setups[k] != NULL;
    }
#undef COPY
    return good;
}

enum tiptrue_status tiptrue_simulate(const struct tiptrue_plate *plate,
                                     const struct tiptrue_machine *machine,
                                     const struct tiptrue_plan *plan,
                                     const struct tiptrue_truth *truth, unsigned long seed,
                                     struct tiptrue_run **run, struct tiptrue_error *error)
{
    struct simulation s = {.plate = plate, .machine = machine, .truth = truth};
    struct tt_random memory;
    struct tiptrue_run *made = calloc(1, sizeof *made);
    s.random = tt_random_start(&memory, gsl_rng_mt19937, seed);
    enum tiptrue_status status =
        s.random != NULL && made != NULL ? prepare(&s, plan, error) : tt_fail_memory(error);

    if (status == TIPTRUE_OK && !name_run(&s, plan, made)) {
        status = tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        observe(&s, made);
        tt_simulate_digits(made, tt_simulate_decimals(0, s.sighting_sigma_mm),
                           tt_simulate_decimals(s.resolution_mm, s.touch_sigma_mm),
                           tt_simulate_decimals(s.resolution_mm, s.height_sigma_mm));
        made->checked_against_plate = made->checked_against_machine = true;
        *run = made;
        made = NULL;
    }
    tiptrue_run_free(made);
    tt_arena_clear(&s.scratch);
    return status;
}
