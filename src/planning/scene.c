/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/scene.h"

#include <math.h>

#include "planning/picture.h"

/* Printed digits that are expected of a log: 0.1 µm (common practice, no source). */
#define USUAL_QUANTUM_MM 1e-4
/* And of pixels. */
#define USUAL_QUANTUM_PX 1e-3

/* ---- the run of a scene ---- */

struct tt_pose tt_scene_pose(const struct tt_scene *scene, size_t setup)
{
    if (scene->poses != NULL) {
        return scene->poses[setup];
    }
    return tt_pose_make(scene->machine->mark, scene->machine->yaw_rad + scene->turned_rad[setup]);
}

double tt_scene_u_place(const struct tt_scene *scene, size_t setup, struct tt_plate_xy at)
{
    const struct tiptrue_machine *machine = scene->machine;
    struct tt_pose_u u = {tt_mark_u_mm(machine), machine->has_yaw ? machine->u_yaw_rad : HUGE_VAL};

    u = scene->poses_u != NULL ? scene->poses_u[setup] : u;
    return hypot(u.mark_mm, u.yaw_rad < HUGE_VAL ? u.yaw_rad * hypot(at.x_mm, at.y_mm) : HUGE_VAL);
}

struct tt_machine_xy tt_scene_head(const struct tt_scene *scene, const struct tt_probe *probe)
{
    const struct tt_edge *edge = &scene->plate->edges[probe->edge];
    const struct tiptrue_machine *machine = scene->machine;
    struct tt_pose pose = tt_scene_pose(scene, probe->setup);
    struct tt_machine_xy q = tt_pose_place(&pose, 1, probe->at), o = scene->offsets[probe->tip];
    struct tt_machine_xy n = tt_pose_turn(&pose, (struct tt_plate_xy){edge->n_x, edge->n_y}),
                         e = {0, 0};
    double radius_mm = 0, sense = machine->clockwise ? -1 : 1;

    if (probe->tip < machine->n_tips) {
        const struct tt_tip *tip = &machine->tips[probe->tip];
        radius_mm = tip->radius_mm;
        e = tt_tip_turn(cos(probe->rotation_rad), sense * sin(probe->rotation_rad), tip->runout);
    }
    return (struct tt_machine_xy){q.x_mm + radius_mm * n.x_mm - o.x_mm - e.x_mm,
                                  q.y_mm + radius_mm * n.y_mm - o.y_mm - e.y_mm};
}

struct tt_machine_xy tt_scene_view_head(const struct tt_scene *scene, size_t setup,
                                        const struct tt_view_place *view)
{
    const struct tt_camera *camera = &scene->machine->camera;
    struct tt_truth_camera stated = tt_camera_stated(camera);
    struct tt_pose pose = tt_scene_pose(scene, setup);
    struct tt_machine_xy mark = tt_pose_place(&pose, 1, scene->plate->marks[view->mark].at),
                         aside = tt_picture_place(&stated, camera, view->px, view->py);

    return (struct tt_machine_xy){mark.x_mm - aside.x_mm, mark.y_mm - aside.y_mm};
}

size_t tt_scene_marks(const struct tt_scene *scene)
{
    return scene->n_views > 0 ? scene->n_views
                              : 2 * scene->sightings * tt_plate_marks_in_use(scene->plate);
}

static void add_sightings(const struct tt_scene *scene, struct tiptrue_run *run)
{
    const struct tiptrue_plate *plate = scene->plate;

    for (size_t s = 0; s < scene->n_setups; s++) {
        struct tt_pose pose = tt_scene_pose(scene, s);
        for (size_t k = 0; k < scene->n_views; k++) {
            run->observations[run->n_observations++] =
                (struct tt_observation){.kind = TT_VIEW,
                                        .target = scene->views[k].mark,
                                        .tip = TT_NONE,
                                        .setup = s,
                                        .h = tt_scene_view_head(scene, s, &scene->views[k]),
                                        .px = scene->views[k].px,
                                        .py = scene->views[k].py};
            run->quantum_px = USUAL_QUANTUM_PX;
        }
        for (size_t k = 0; k < tt_scene_marks(scene) - scene->n_views; k++) {
            size_t mark = tt_plate_mark_in_use(plate, 0, k);
            run->observations[run->n_observations++] =
                (struct tt_observation){.kind = TT_SIGHT,
                                        .target = mark,
                                        .tip = TT_NONE,
                                        .setup = s,
                                        .h = tt_pose_place(&pose, 1, plate->marks[mark].at)};
        }
    }
}

/* Rows so far, sightings, touches. */
enum tiptrue_status tt_scene_run(const struct tt_scene *scene, const struct tt_probe probes[],
                                 size_t n, struct tt_arena *arena, struct tiptrue_run *run)
{
    size_t before = scene->so_far != NULL ? scene->so_far->n_observations : 0;
    size_t sightings = tt_scene_marks(scene) * scene->n_setups;

    *run = (struct tiptrue_run){.file = scene->machine->file,
                                .tips = scene->tips,
                                .n_tips = scene->n_tips,
                                .setups = scene->setups,
                                .n_setups = scene->n_setups,
                                .checked_against_plate = true,
                                .checked_against_machine = true};
    run->sighting_digits = run->touch_digits = (struct tt_digits){.quantum_mm = USUAL_QUANTUM_MM};
    run->observations = TT_ARENA_NEW(arena, before + sightings + n, struct tt_observation);
    if (run->observations == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < before; i++) {
        if (!scene->aside[i]) {
            run->observations[run->n_observations++] = scene->so_far->observations[i];
        }
    }
    if (scene->so_far != NULL) {
        run->sighting_digits = scene->so_far->sighting_digits;
        run->touch_digits = scene->so_far->touch_digits;
        run->quantum_px = scene->so_far->quantum_px;
    }
    add_sightings(scene, run);
    for (size_t i = 0; i < n; i++) {
        run->observations[run->n_observations++] =
            (struct tt_observation){.kind = TT_TOUCH,
                                    .target = probes[i].edge,
                                    .tip = probes[i].tip,
                                    .setup = probes[i].setup,
                                    .rotation_rad = probes[i].rotation_rad,
                                    .h = tt_scene_head(scene, &probes[i])};
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_scene_check(const struct tt_scene *scene, const struct tt_probe probes[],
                                   size_t n, struct tt_adjust_workspace *workspace,
                                   struct tiptrue_solution **expected, struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tiptrue_run run;
    enum tiptrue_status status = tt_scene_run(scene, probes, n, &arena, &run);

    status = status == TIPTRUE_OK
                 ? tt_check(workspace, scene->plate, scene->machine, &run, expected, error)
                 : tt_fail_memory(error);
    tt_arena_clear(&arena);
    return status;
}
