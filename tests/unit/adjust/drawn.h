/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Scenes drawn at random: how they were touched, what is stated of them, and several faults of any
 * size at once; for tests that hold what comes of them against what was recorded. */
#ifndef DRAWN_H
#define DRAWN_H

#include <math.h>
#include <stdint.h>

#include "scene.h"

/* Uniform in (0, 1), by the linear congruential generator of D. Knuth, MMIX (from memory). */
static inline double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return ((double)(*state >> 11) + 0.5) / 9007199254740992.0;
}

/* Of @most, in one run of @odds; else 0. */
static inline double some(uint64_t *state, double odds, double most)
{
    double drawn = uniform(state), size = uniform(state), sign = uniform(state);
    return drawn * odds < 1 ? (sign < 0.5 ? -most : most) * size : 0;
}

static inline void state_machine(struct scene *s, uint64_t *state)
{
    s->clockwise = uniform(state) < 0.3;
    s->decimals = uniform(state) < 0.5 ? 3 : 4;
    s->resolution = uniform(state) < 0.3 ? 0.002 : 0;
    s->u_touch = uniform(state) < 0.4 ? 0 : 0.002 + 0.003 * uniform(state);
    s->u_sight = uniform(state) < 0.4 ? 0 : 0.001 + 0.002 * uniform(state);
    s->stated_dof = uniform(state) < 0.5 ? 4 + 30 * uniform(state) : 0;
    s->has_yaw = uniform(state) < 0.4;
    s->nominal_yaw_deg = s->setups[0].yaw_deg + 0.4 * uniform(state);
    s->u_yaw_deg = 0.3;
    s->has_mark = uniform(state) < 0.2;
    s->machine_mark_x = s->setups[0].mark_x + 0.05;
    s->machine_mark_y = s->setups[0].mark_y - 0.03;
    s->u_mark = 0.07;
    s->expansion_ppm_per_K = uniform(state) < 0.3 ? 17.3 : 0;
    s->measured_at_C = 20;
    s->temperature_C = 23.7;
    s->feed_mm_min[0] = uniform(state) < 0.5 ? 37 : 0;
    s->feed_mm_min[1] = s->feed_mm_min[0] > 0 && uniform(state) < 0.7 ? 95 : 0;
    s->permitted_error = uniform(state) < 0.3 ? 0.02 : 0;
    s->expanded = uniform(state) < 0.3 ? 0.012 : 0;
    s->runout_limit = uniform(state) < 0.3 ? 0.03 : 0;
}

/* A scene drawn from @state: how it was touched, what is stated, and what is off. */
static inline struct scene scene_drawn(size_t k, uint64_t *state)
{
    struct scene s = k % 3 == 0   ? scene_usual(511 + k)
                     : k % 3 == 1 ? scene_many_edges(511 + k)
                                  : scene_full();

    s.seed = 511 + 3 * k;
    s.rotations = 2 + (size_t)(6 * uniform(state));
    s.sweep_deg = uniform(state) < 0.15 ? 190 : 360;
    s.n_setups = k % 3 == 2 && uniform(state) < 0.5 ? 2 : 1;
    s.sightings = 1 + (size_t)(3 * uniform(state));
    state_machine(&s, state);
    for (size_t j = 0; j < s.n_edges; j++) {
        s.edges[j].u = uniform(state) < 0.2 ? 0 : 0.003 + 0.01 * uniform(state);
        s.edges[j].shift = s.edges[j].u > 0 ? some(state, 1, s.edges[j].u) : 0;
        s.edges[j].shift += some(state, 3.0 * (double)s.n_edges, 0.06);
    }
    s.marks[1].shift_x = some(state, 6, 0.05);
    s.marks[2].shift_y = some(state, 6, 0.05);
    for (size_t t = 0; t < s.n_tips; t++) {
        struct scene_tip *tip = &s.tips[t];
        tip->stated_radius = uniform(state) < 0.5 ? tip->radius + some(state, 2, 0.04) : 0;
        tip->u_radius = tip->stated_radius > 0 ? 0.002 + 0.01 * uniform(state) : 0;
        tip->order = uniform(state) < 0.15 ? 2 + (unsigned)(3 * uniform(state)) : 0;
        tip->shape_cos = 0.02 * uniform(state);
        tip->has_present = uniform(state) < 0.5;
        tip->present_x = tip->offset_x + some(state, 1, 0.03);
        tip->present_y = tip->offset_y + some(state, 1, 0.03);
        tip->present_plate = uniform(state) < 0.5 ? s.serial : NULL;
    }
    s.lost_motion = some(state, 6, 0.03);
    s.latency_s = s.feed_mm_min[1] > 0 ? fabs(some(state, 3, 0.03)) : 0;
    return s;
}

/* What happened between the rows. */
static inline void spoil_drawn(const struct scene *s, struct scene_rows *rows, uint64_t *state)
{
    double film = fabs(some(state, 4, 0.06)), late = fabs(some(state, 2, 0.35)),
           moved_x = some(state, 6, 0.05), moved_y = some(state, 6, 0.05),
           drift = some(state, 6, 4e-4), square = some(state, 8, 8e-4),
           scale = some(state, 8, 8e-4), slipped = some(state, 8, 0.05),
           sight = some(state, 5, 0.05);
    size_t filmed = (size_t)((double)s->n_edges * uniform(state)),
           at = (size_t)((double)rows->n * (0.2 + 0.6 * uniform(state)));

    for (size_t i = 0; i < rows->n; i++) {
        struct scene_row *row = &rows->row[i];
        double x = row->x - s->setups[row->setup].mark_x, y = row->y - s->setups[row->setup].mark_y;
        row->x += (i > at ? moved_x : 0) + drift * (double)i + square * y + scale * x;
        row->y += i > at ? moved_y : 0;
        if (row->is_sight) {
            row->x += i == 1 ? sight : 0;
            continue;
        }
        scene_deepen(row, row->target == filmed ? film : 0);
        scene_deepen(row, uniform(state) < late ? -0.12 * log(uniform(state)) : 0);
        row->x += i > at ? slipped * cos(row->rotation_deg * 0.01745) : 0;
        row->y += i > at ? slipped * sin(row->rotation_deg * 0.01745) : 0;
        row->no_contact = uniform(state) < 0.02;
    }
}

#endif
