/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plate with four marks, a camera and a tip with a known truth, and the runs they make: for
 * views_test and for the tables of views.c. */
#ifndef VIEW_RUNS_H
#define VIEW_RUNS_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/adjust.h"
#include "ingest/ingest.h"

/* What must be, or the whole scene is wrong. */
static void must(bool good)
{
    if (!good) {
        fputs("view_runs.h: the scene cannot be made\n", stderr);
        exit(EXIT_FAILURE);
    }
}

static const char PLATE[] =
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"pane\", \"reference\": \"A\","
    " \"marks\": [{\"name\": \"A\", \"at\": [0, 0]}, {\"name\": \"B\", \"at\": [60.3, 3.1], \"u\": "
    "0.003},"
    "  {\"name\": \"C\", \"at\": [-4.3, 61.2], \"u\": 0.003}, {\"name\": \"D\", \"at\": [58.1, "
    "62.7], \"u\": 0.003}],"
    " \"edges\": ["
    "  {\"name\": \"e\", \"from\": [34.3, 22.76], \"to\": [31.96, 30.41], \"free_side\": \"left\", "
    "\"u\": 0.006},"
    "  {\"name\": \"n\", \"from\": [29.34, 31.8], \"to\": [21.69, 29.46], \"free_side\": \"left\", "
    "\"u\": 0.006},"
    "  {\"name\": \"w\", \"from\": [20.3, 26.84], \"to\": [22.64, 19.19], \"free_side\": \"left\", "
    "\"u\": 0.006},"
    "  {\"name\": \"s\", \"from\": [25.26, 17.8], \"to\": [32.91, 20.14], \"free_side\": \"left\", "
    "\"u\": 0.006}]}";

static const char MACHINE[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"loom\", \"resolution\": 0.001,"
    " \"sighting\": {\"u\": 0.002}, \"yaw\": {\"value_deg\": 0, \"u_deg\": 2},"
    " \"camera\": {\"size_px\": [1280, 960], \"u_px\": 0.15, \"scale_mm_per_px\": [%s], "
    "\"turn_deg\": %s},"
    " \"tips\": [{\"name\": \"t\", \"radius\": 0.3, \"radius_u\": 0.02}]}";

/* Where in the picture. */
static const double PIXELS[9][2] = {{120, 110},  {1150, 130}, {140, 850}, {800, 560}, {640, 300},
                                    {1160, 870}, {620, 90},   {90, 470},  {1190, 500}};

/* The same about the picture's middle: three, six, nine of them have it as their mean. */
static const double ABOUT_MIDDLE[9][2] = {{120, 295}, {1160, 295}, {640, 850},
                                          {120, 665}, {1160, 665}, {640, 110},
                                          {200, 480}, {1080, 480}, {640, 480}};
static const double (*places)[2] = PIXELS;

struct scene {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_plan plan;
    struct tt_move moves[200];
    struct tiptrue_truth truth;
    struct tt_truth_pose pose;
    struct tt_truth_tip tip;
};

/* @kind of @seen rows for each of @marks marks, then 32 touches. */
static void scene_make(struct scene *s, enum tt_kind kind, size_t marks, size_t seen,
                       const char *scale, const char *turn)
{
    static const char *const MARKS[] = {"A", "B", "C", "D"}, *const EDGES[] = {"e", "n", "w", "s"};
    char machine[1000];

    memset(s, 0, sizeof *s);
    snprintf(machine, sizeof machine, MACHINE, scale, turn);
    must(tt_plate_read_bytes("plate.json", PLATE, strlen(PLATE), NULL, &s->plate, NULL) ==
         TIPTRUE_OK);
    must(tt_machine_read_bytes("machine.json", machine, strlen(machine), NULL, &s->machine, NULL) ==
         TIPTRUE_OK);
    s->plan = (struct tiptrue_plan){.file = "plan.json", .moves = s->moves, .mm_per_unit = 1};
    for (size_t i = 0; i < marks * seen; i++) {
        const double *p = places[i % seen % 9];
        s->moves[s->plan.n_moves++] = (struct tt_move){
            .kind = kind, .target = MARKS[i / seen], .has_pixel = true, .px = p[0], .py = p[1]};
    }
    for (size_t i = 0; i < 32; i++) {
        s->moves[s->plan.n_moves++] =
            (struct tt_move){.kind = TT_TOUCH,
                             .target = EDGES[i / 8],
                             .tip = "t",
                             .rotation_rad = tt_rad_from_deg(5.73 + 45.0 * (double)(i % 8)),
                             .has_rotation = true};
    }
    s->pose = (struct tt_truth_pose){"1", {144.16, 88.46}, 0.012};
    s->tip = (struct tt_truth_tip){
        .name = "t", .offset = {38.61, -16.25}, .runout = {0.012, -0.02}, .radius_mm = 0.31};
    s->truth = (struct tiptrue_truth){.file = "truth.json",
                                      .poses = &s->pose,
                                      .n_poses = 1,
                                      .tips = &s->tip,
                                      .n_tips = 1,
                                      .touch_sigma_mm = {true, 0.0025},
                                      .moved_after = 1};
    s->truth.camera = (struct tt_truth_camera){.stated = true,
                                               .scale_mm = {0.0173, 0.0169},
                                               .turn_rad = tt_rad_from_deg(0.43),
                                               .shear_rad = tt_rad_from_deg(0.07)};
}

static void scene_clear(struct scene *s)
{
    tiptrue_plate_free(s->plate);
    tiptrue_machine_free(s->machine);
}

static struct tiptrue_run *scene_run(struct scene *s, unsigned long seed)
{
    struct tiptrue_run *run = NULL;
    must(tiptrue_simulate(s->plate, s->machine, &s->plan, &s->truth, seed, &run, NULL) ==
         TIPTRUE_OK);
    return run;
}

#endif
