/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A truth drawn from what is stated. */
#include "config.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "base/random.h"
#include "base/status.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/truth.h"
#include "planning/resolve.h"
#include "tiptrue.h"

/* What is not known of a machine is drawn as below; only what a simulation looks like depends on
 * it. A tip that was swapped or bumped stands off by some 10 µm in each axis (common practice, no
 * source). */
#define OFFSET_CHANGE_MM 0.010
/* A tip on a good spindle runs out by some 10 µm in each axis where nothing is stated, and by 3 µm
 * about what is stated. */
#define RUNOUT_MM 0.010
#define RUNOUT_CHANGE_MM 0.003
/* Slope of a plate along each axis where the machine file states no level: 0.5 mm over 1 m (common
 * practice, no source). */
#define USUAL_SLOPE 5e-4
/* A camera that was focused or mounted anew differs from what is stated by so much of its scale, in
 * its turn, and in the angle between its axes (common practice, no source). */
#define SCALE_SHARE 0.01
#define TURN_DEG 0.5
#define SHEAR_DEG 0.05
/* What a truth document can say: a nanometre, and as much at 1 m in degrees. */
#define STEP 1e-6
#define STEP_DEG 1e-7
#define STEP_SCALE_MM 1e-9

static double rounded(double value, double step)
{
    return round(value / step) * step;
}

static double draw(gsl_rng *random, double mean, double u)
{
    return rounded(mean + gsl_ran_gaussian(random, u), STEP);
}

static enum tiptrue_status draw_tip(const struct tiptrue_machine *machine, gsl_rng *random,
                                    const char *name, struct tt_truth_tip *tip,
                                    struct tiptrue_error *error)
{
    size_t t = TT_NAMED(machine->tips, machine->n_tips, name);
    const struct tt_tip *stated = t < machine->n_tips ? &machine->tips[t] : NULL;

    if (stated == NULL || !stated->has_radius || !stated->has_offset) {
        return tt_fail(
            error, TIPTRUE_E_DATA, machine->file, 0, 0,
            "state 'offset', 'radius' and 'radius_u' of the tip, or give the truth by --truth",
            "nothing can be drawn for tip '%s'", name);
    }
    double runout = stated->has_runout ? RUNOUT_CHANGE_MM : RUNOUT_MM;
    tip->name = name;
    tip->offset.x_mm = draw(random, stated->offset.x_mm, OFFSET_CHANGE_MM);
    tip->offset.y_mm = draw(random, stated->offset.y_mm, OFFSET_CHANGE_MM);
    tip->runout.x_mm = draw(random, stated->runout.x_mm, runout);
    tip->runout.y_mm = draw(random, stated->runout.y_mm, runout);
    tip->radius_mm = fmax(draw(random, stated->radius_mm, stated->u_radius_mm), 0);
    return TIPTRUE_OK;
}

/* Those that a move touches with. */
static enum tiptrue_status draw_tips(const struct tiptrue_machine *machine,
                                     const struct tt_resolved *resolved, gsl_rng *random,
                                     struct tiptrue_truth *truth, struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t t = 0; t < resolved->n_tips && status == TIPTRUE_OK; t++) {
        size_t i = 0;
        while (i < resolved->n_moves && resolved->moves[i].tip != t) {
            i++;
        }
        if (i < resolved->n_moves) {
            status =
                draw_tip(machine, random, resolved->tips[t], &truth->tips[truth->n_tips++], error);
        }
    }
    return status;
}

static void draw_poses(const struct tiptrue_machine *machine, const struct tt_resolved *resolved,
                       gsl_rng *random, struct tiptrue_truth *truth)
{
    double u_mm = tt_mark_u_mm(machine);

    for (size_t s = 0; s < resolved->n_setups; s++) {
        struct tt_truth_pose *pose = &truth->poses[truth->n_poses++];
        pose->setup = resolved->setups[s];
        pose->mark.x_mm = draw(random, machine->mark.x_mm, u_mm);
        pose->mark.y_mm = draw(random, machine->mark.y_mm, u_mm);
        double yaw_rad = machine->yaw_rad + resolved->turned_rad[s] +
                         gsl_ran_gaussian(random, machine->u_yaw_rad);
        pose->yaw_rad = tt_rad_from_deg(rounded(tt_deg_from_rad(yaw_rad), STEP_DEG));
    }
}

static void draw_plate(const struct tiptrue_plate *plate, gsl_rng *random,
                       struct tiptrue_truth *truth)
{
    for (size_t j = 0; j < plate->n_edges; j++) {
        truth->edges[truth->n_edges++] =
            (struct tt_truth_edge){plate->edges[j].name, draw(random, 0, plate->edges[j].u_mm)};
    }
    for (size_t g = 0; g < plate->n_groups; g++) {
        double x_mm = draw(random, 0, plate->groups[g].u_mm),
               y_mm = draw(random, 0, plate->groups[g].u_mm);
        truth->groups[truth->n_groups++] =
            (struct tt_truth_shift){plate->groups[g].name, {x_mm, y_mm}};
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        double x_mm = draw(random, 0, plate->marks[k].u_mm),
               y_mm = draw(random, 0, plate->marks[k].u_mm);
        truth->marks[truth->n_marks++] =
            (struct tt_truth_shift){plate->marks[k].name, {x_mm, y_mm}};
    }
}

static bool has_kind(const struct tt_resolved *resolved, enum tt_kind kind)
{
    for (size_t i = 0; i < resolved->n_moves; i++) {
        if (resolved->moves[i].move->kind == kind) {
            return true;
        }
    }
    return false;
}

/* What heights are made from: by pads' u, level, the present heights. */
static enum tiptrue_status draw_heights(const struct tiptrue_plate *plate,
                                        const struct tiptrue_machine *machine, gsl_rng *random,
                                        struct tiptrue_truth *truth, struct tiptrue_error *error)
{
    double level = machine->level_rad.stated ? machine->level_rad.value : USUAL_SLOPE;

    truth->pads = TT_ARENA_NEW(&truth->arena, plate->n_pads, struct tt_truth_edge);
    if (truth->pads == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t p = 0; p < plate->n_pads; p++) {
        truth->pads[truth->n_pads++] =
            (struct tt_truth_edge){plate->pads[p].name, draw(random, 0, plate->pads[p].u_mm)};
    }
    truth->slope_x = rounded(gsl_ran_gaussian(random, level), STEP);
    truth->slope_y = rounded(gsl_ran_gaussian(random, level), STEP);
    for (size_t i = 0; i < truth->n_tips; i++) {
        size_t t = TT_NAMED(machine->tips, machine->n_tips, truth->tips[i].name);
        if (t < machine->n_tips && machine->tips[t].height_mm.stated) {
            double height_mm = draw(random, machine->tips[t].height_mm.value, OFFSET_CHANGE_MM);
            truth->tips[i].height_mm = (struct tt_stated){true, height_mm};
        }
    }
    return TIPTRUE_OK;
}

/* What views see. */
static enum tiptrue_status draw_camera(const struct tiptrue_machine *machine, gsl_rng *random,
                                       struct tt_truth_camera *camera, struct tiptrue_error *error)
{
    const struct tt_camera *stated = &machine->camera;

    if (!stated->present || !stated->has_scale) {
        return tt_fail(error, TIPTRUE_E_DATA, machine->file, 0, 0,
                       "state 'size_px' and 'scale_mm_per_px' of the camera, or give the truth by "
                       "--truth",
                       "nothing can be drawn for the camera");
    }
    *camera = (struct tt_truth_camera){.stated = true, .mirrored = stated->mirrored};
    for (size_t k = 0; k < 2; k++) {
        double scale_mm = stated->scale_mm[k] * (1 + gsl_ran_gaussian(random, SCALE_SHARE));
        camera->scale_mm[k] = rounded(scale_mm, STEP_SCALE_MM);
    }
    double turn_deg = tt_deg_from_rad(stated->turn_rad) + gsl_ran_gaussian(random, TURN_DEG),
           shear_deg = gsl_ran_gaussian(random, SHEAR_DEG);
    camera->turn_rad = tt_rad_from_deg(rounded(turn_deg, STEP_DEG));
    camera->shear_rad = tt_rad_from_deg(rounded(shear_deg, STEP_DEG));
    camera->kappa = rounded(gsl_ran_gaussian(random, stated->u_kappa), STEP);
    return TIPTRUE_OK;
}

static enum tiptrue_status fill(const struct tiptrue_plate *plate,
                                const struct tiptrue_machine *machine,
                                const struct tiptrue_plan *plan, gsl_rng *random,
                                struct tiptrue_truth *truth, struct tiptrue_error *error)
{
    struct tt_arena *arena = &truth->arena;
    struct tt_resolved resolved;
    enum tiptrue_status status = tt_plan_resolve(plan, plate, machine, arena, &resolved, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    truth->file = "-";
    truth->poses = TT_ARENA_NEW(arena, resolved.n_setups, struct tt_truth_pose);
    truth->tips = TT_ARENA_NEW(arena, resolved.n_tips, struct tt_truth_tip);
    truth->edges = TT_ARENA_NEW(arena, plate->n_edges, struct tt_truth_edge);
    truth->groups = TT_ARENA_NEW(arena, plate->n_groups, struct tt_truth_shift);
    truth->marks = TT_ARENA_NEW(arena, plate->n_marks, struct tt_truth_shift);
    if (truth->poses == NULL || truth->tips == NULL || truth->edges == NULL ||
        truth->groups == NULL || truth->marks == NULL) {
        return tt_fail_memory(error);
    }
    draw_poses(machine, &resolved, random, truth);
    status = draw_tips(machine, &resolved, random, truth, error);
    draw_plate(plate, random, truth);
    if (status == TIPTRUE_OK && has_kind(&resolved, TT_HEIGHT)) {
        status = draw_heights(plate, machine, random, truth, error);
    }
    if (status == TIPTRUE_OK && has_kind(&resolved, TT_VIEW)) {
        status = draw_camera(machine, random, &truth->camera, error);
    }
    return status;
}

/* Texts of the truth are its own: it outlives plate, machine and plan. */
static bool own_texts(struct tiptrue_truth *truth)
{
    bool good = true;
    struct tt_arena *arena = &truth->arena;

    for (size_t i = 0; i < truth->n_poses; i++) {
        truth->poses[i].setup = tt_arena_keep(arena, truth->poses[i].setup, &good);
    }
    for (size_t i = 0; i < truth->n_tips; i++) {
        truth->tips[i].name = tt_arena_keep(arena, truth->tips[i].name, &good);
    }
    for (size_t i = 0; i < truth->n_edges; i++) {
        truth->edges[i].name = tt_arena_keep(arena, truth->edges[i].name, &good);
    }
    for (size_t i = 0; i < truth->n_groups; i++) {
        truth->groups[i].name = tt_arena_keep(arena, truth->groups[i].name, &good);
    }
    for (size_t i = 0; i < truth->n_marks; i++) {
        truth->marks[i].name = tt_arena_keep(arena, truth->marks[i].name, &good);
    }
    for (size_t i = 0; i < truth->n_pads; i++) {
        truth->pads[i].name = tt_arena_keep(arena, truth->pads[i].name, &good);
    }
    return good;
}

enum tiptrue_status tiptrue_truth_draw(const struct tiptrue_plate *plate,
                                       const struct tiptrue_machine *machine,
                                       const struct tiptrue_plan *plan, unsigned long seed,
                                       bool exact, struct tiptrue_truth **truth,
                                       struct tiptrue_error *error)
{
    struct tiptrue_truth *made = calloc(1, sizeof *made);
    struct tt_random memory;
    gsl_rng *random = tt_random_start(&memory, gsl_rng_taus2, seed);
    enum tiptrue_status status;

    if (made == NULL || random == NULL) {
        free(made);
        return tt_fail_memory(error);
    }
    status = fill(plate, machine, plan, random, made, error);
    if (exact) {
        made->touch_sigma_mm.stated = made->sighting_sigma_mm.stated =
            made->rotation_sigma_rad.stated = made->resolution_mm.stated = true;
        made->height_sigma_mm.stated = made->n_pads > 0;
        made->camera.sigma_px.stated = made->camera.stated;
    }
    if (status == TIPTRUE_OK && !own_texts(made)) {
        status = tt_fail_memory(error);
    }
    if (status != TIPTRUE_OK) {
        tiptrue_truth_free(made);
        return status;
    }
    *truth = made;
    return TIPTRUE_OK;
}
