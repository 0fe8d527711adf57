/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "scene.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DEG (acos(-1) / 180)

struct scene_edge scene_edge_at(const char *name, double x, double y, double normal_deg,
                                double half, bool free_right)
{
    /* to the left of the direction of travel lies what it is turned to by a quarter turn
     * counter-clockwise */
    const double along_deg = free_right ? normal_deg + 90 : normal_deg - 90;
    const double a = half * cos(along_deg * DEG), b = half * sin(along_deg * DEG);
    return (struct scene_edge){.name = name,
                               .from_x = x - a,
                               .from_y = y - b,
                               .to_x = x + a,
                               .to_y = y + b,
                               .free_right = free_right};
}

struct scene scene_plain(void)
{
    struct scene s = {.serial = "0417",
                      .n_marks = 3,
                      .marks = {{.name = "A"},
                                {.name = "B", .x = 43.5, .y = -2.25},
                                {.name = "C", .x = -3.75, .y = 31.5}},
                      .n_edges = 4,
                      .u_touch = 0.003,
                      .u_sight = 0.002,
                      .n_tips = 1,
                      .n_setups = 1,
                      .setups = {{"1", 117.25, 71.8125, 0.3}},
                      .sightings = 2,
                      .rotations = 12,
                      .first_rotation_deg = 7.5,
                      .sweep_deg = 360,
                      .spread = 0.13,
                      .seed = 20260401};
    s.edges[0] = scene_edge_at("left", 13.25, 8.5, 0, 3.5, false);
    s.edges[1] = scene_edge_at("right", 21.75, 8.25, 180, 3.5, true);
    s.edges[2] = scene_edge_at("lower", 17.5, 4.75, 90, 2.75, true);
    s.edges[3] = scene_edge_at("upper", 17.25, 12.5, 270, 2.75, false);
    s.tips[0] = (struct scene_tip){.name = "t1",
                                   .offset_x = -41.3125,
                                   .offset_y = 12.7031,
                                   .runout_x = 0.0312,
                                   .runout_y = -0.0187,
                                   .radius = 0.2481};
    return s;
}

struct scene scene_usual(unsigned long seed)
{
    struct scene s = scene_plain();
    s.sigma_touch = 0.003;
    s.sigma_sight = 0.002;
    s.decimals = 4;
    s.seed = seed;
    return s;
}

struct scene scene_many_edges(unsigned long seed)
{
    static const char *const names[] = {"ne", "nw", "sw", "se"};
    struct scene s = scene_usual(seed);
    for (size_t k = 4; k < 8; k++) {
        s.edges[k] = scene_edge_at(names[k - 4], 30.25 + 1.5 * (double)k, 22.5 - 0.75 * (double)k,
                                   41 + 90 * (double)k, 2.5, k % 2 == 1);
    }
    s.n_edges = 8;
    for (size_t k = 0; k < 8; k++) {
        s.edges[k].u = 0.005;
    }
    return s;
}

struct scene scene_full(void)
{
    struct scene s = scene_plain();
    s.sigma_touch = 0.003;
    s.sigma_sight = 0.002;
    s.n_groups = 2;
    s.groups[0] = (struct scene_group){.name = "routed", .u = 0.018};
    s.groups[1] = (struct scene_group){.name = "drilled", .u = 0.009};
    for (size_t k = 0; k < 3; k++) {
        s.edges[k].u = 0.005 + 0.002 * (double)k;
        s.edges[k].group = "routed";
    }
    s.marks[1].u = 0.007;
    s.marks[2].u = 0.0085;
    s.marks[2].group = "drilled";
    s.n_tips = 2;
    s.tips[0].stated_radius = 0.26;
    s.tips[0].u_radius = 0.02;
    s.tips[1] = (struct scene_tip){.name = "t2",
                                   .offset_x = -19.75,
                                   .offset_y = 13.0625,
                                   .runout_x = -0.145,
                                   .runout_y = 0.0125,
                                   .radius = 0.3105};
    s.n_setups = 2;
    s.setups[0].yaw_deg = 4.25;
    s.setups[1] = (struct scene_setup){"2", 141.5, 88.75, -23.5};
    s.u_rotation_deg = 0.35;
    s.rotations = 7;
    return s;
}

/* ---- what is logged ---- */

struct vector {
    double x, y;
};

static struct vector turn(double angle_deg, double x, double y)
{
    const double c = cos(angle_deg * DEG), s = sin(angle_deg * DEG);
    return (struct vector){c * x - s * y, s * x + c * y};
}

static double thermal_scale(const struct scene *s)
{
    return 1 + s->expansion_ppm_per_K * 1e-6 * (s->temperature_C - s->measured_at_C);
}

static struct vector group_shift(const struct scene *s, const char *name)
{
    for (size_t g = 0; g < s->n_groups && name != NULL; g++) {
        if (strcmp(s->groups[g].name, name) == 0) {
            return (struct vector){s->groups[g].shift_x, s->groups[g].shift_y};
        }
    }
    return (struct vector){0, 0};
}

/* The camera over a mark. */
static struct scene_row sight(const struct scene *s, size_t setup, size_t mark)
{
    const struct scene_setup *pose = &s->setups[setup];
    const struct scene_mark *m = &s->marks[mark];
    const struct vector g = group_shift(s, m->group);
    const struct vector arm = turn(pose->yaw_deg, m->x, m->y),
                        shift = turn(pose->yaw_deg, m->shift_x + g.x, m->shift_y + g.y);
    return (struct scene_row){.is_sight = true,
                              .target = mark,
                              .setup = setup,
                              .x = pose->mark_x + thermal_scale(s) * arm.x + shift.x,
                              .y = pose->mark_y + thermal_scale(s) * arm.y + shift.y};
}

/* What lies between the tip's centre and the latch, when the edge's normal points to @normal_deg of
 * the machine. */
static double contact_radius(const struct scene *s, const struct scene_tip *tip, double normal_deg,
                             double rotation_deg, double feed)
{
    const double psi = (normal_deg + 180 - rotation_deg) * DEG, c = cos(normal_deg * DEG),
                 n = sin(normal_deg * DEG);
    double rho = tip->radius + 0.5 * s->lost_motion * (c * c - n * n) - s->latency_s * feed / 60;
    if (tip->order > 0) {
        rho += tip->shape_cos * cos(tip->order * psi) + tip->shape_sin * sin(tip->order * psi);
    }
    return rho;
}

/* The head where the tip's contact point lies on the edge, @share of the way along it. */
static struct scene_row touch(const struct scene *s, size_t setup, size_t edge, size_t t,
                              double rotation_deg, double share, double feed)
{
    const struct scene_setup *pose = &s->setups[setup];
    const struct scene_edge *e = &s->edges[edge];
    const struct scene_tip *tip = &s->tips[t];
    const double along_deg = atan2(e->to_y - e->from_y, e->to_x - e->from_x) / DEG;
    const double plate_normal_deg = e->free_right ? along_deg - 90 : along_deg + 90;
    const struct vector plate_n = turn(plate_normal_deg, 1, 0),
                        n = turn(pose->yaw_deg, plate_n.x, plate_n.y);
    const struct vector g = group_shift(s, e->group);
    const struct vector at = turn(pose->yaw_deg, e->from_x + share * (e->to_x - e->from_x),
                                  e->from_y + share * (e->to_y - e->from_y));
    const double out = e->shift + g.x * plate_n.x + g.y * plate_n.y +
                       contact_radius(s, tip, plate_normal_deg + pose->yaw_deg, rotation_deg, feed);
    const struct vector runout = turn(rotation_deg, tip->runout_x, tip->runout_y);
    return (struct scene_row){
        .target = edge,
        .tip = t,
        .setup = setup,
        .x = pose->mark_x + thermal_scale(s) * at.x + out * n.x - tip->offset_x - runout.x,
        .y = pose->mark_y + thermal_scale(s) * at.y + out * n.y - tip->offset_y - runout.y,
        .rotation_deg = s->clockwise ? -rotation_deg : rotation_deg,
        .feed_mm_min = feed,
        .n_x = n.x,
        .n_y = n.y};
}

void scene_deepen(struct scene_row *row, double mm)
{
    row->x -= mm * row->n_x;
    row->y -= mm * row->n_y;
}

static void add_scatter(const struct scene *s, struct scene_row *row, gsl_rng *random)
{
    if (row->is_sight) {
        row->x += gsl_ran_gaussian(random, s->sigma_sight);
        row->y += gsl_ran_gaussian(random, s->sigma_sight);
    } else {
        scene_deepen(row, gsl_ran_gaussian(random, s->sigma_touch));
    }
}

struct scene_rows scene_simulate(const struct scene *s)
{
    struct scene_rows rows = {0};
    const size_t most =
        s->n_setups * (s->sightings * s->n_marks + s->rotations * s->n_edges * s->n_tips);
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    rows.row = calloc(most, sizeof *rows.row);
    ck_assert(random != NULL && rows.row != NULL);
    gsl_rng_set(random, s->seed);
    for (size_t setup = 0; setup < s->n_setups; setup++) {
        for (size_t i = 0; i < s->sightings * s->n_marks; i++) {
            rows.row[rows.n++] = sight(s, setup, i / s->sightings);
        }
        for (size_t i = 0; i < s->rotations * s->n_edges * s->n_tips; i++) {
            const size_t tip = i % s->n_tips, edge = i / s->n_tips % s->n_edges,
                         turn_index = i / (s->n_tips * s->n_edges);
            const double rotation_deg =
                s->first_rotation_deg + s->sweep_deg * (double)turn_index / (double)s->rotations;
            const double feed = s->feed_mm_min[s->feed_mm_min[1] > 0 ? (turn_index + edge) % 2 : 0];
            rows.row[rows.n++] = touch(s, setup, edge, tip, rotation_deg,
                                       0.3 + s->spread * (double)(turn_index % 4), feed);
        }
    }
    for (size_t i = 0; i < rows.n; i++) {
        add_scatter(s, &rows.row[i], random);
    }
    gsl_rng_free(random);
    return rows;
}

void scene_rows_free(struct scene_rows *rows)
{
    free(rows->row);
    *rows = (struct scene_rows){0};
}
