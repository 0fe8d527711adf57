/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is asked of a fit: what an event of it moves and gains, and the scales that it leaves. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/changes_parts.h"

enum tiptrue_status tt_noise_of_fit(const struct tt_events *f, struct tt_series_noise *noise,
                                    struct tt_arena *arena)
{
    const struct tt_problem *p = f->problem;
    const struct tt_values *v = p->values;
    double *theta = TT_ARENA_NEW(arena, f->room, double),
           *residual = TT_ARENA_NEW(arena, (v->n + 2) * v->p, double);
    bool *boundary = TT_ARENA_NEW(arena, v->n + 1, bool);
    double parameters[TT_CLASSES] = {0};

    if (!theta || !residual || !boundary) {
        return TIPTRUE_E_MEMORY;
    }
    tt_events_solve(f, theta, NULL);
    tt_events_residuals(f, theta, residual);
    for (size_t i = 0; i < f->n_events; i++) {
        const struct tt_event *e = &f->event[i];
        tt_problem_count(p, e, parameters);
        if (e->going == TT_STEP) {
            boundary[e->from] = true;
            boundary[e->to] = true; /* n is nobody's */
        }
    }
    return tt_noise_from_residuals(noise, p->gls.noise, v, residual, parameters, boundary, arena);
}

struct tt_moved_by tt_pair_of(const struct tt_changes *c, size_t at)
{
    size_t n = c->fit.columns;
    return (struct tt_moved_by){true,
                                c->theta[at],
                                c->theta[at + 1],
                                c->covariance[at * n + at],
                                c->covariance[at * n + at + 1],
                                c->covariance[(at + 1) * n + at + 1]};
}

struct tt_moved_by tt_number_of(const struct tt_changes *c, size_t at)
{
    return (struct tt_moved_by){true, c->theta[at], 0, c->covariance[at * c->fit.columns + at], 0,
                                0};
}

/* The mean of what an edge's shift does to the offsets. */
static struct tt_moved_by offset_by_edge(const struct tt_changes *c, size_t edge,
                                         const struct tt_moved_by *shift)
{
    const struct tt_values *v = &c->values;
    double r[2] = {0, 0};

    for (size_t axis = 0; axis < 2; axis++) {
        for (size_t tip = 0; tip < v->tips; tip++) {
            r[axis] += v->response[edge * v->p + tt_at_offset(v, tip, axis)] / (double)v->tips;
        }
    }
    return (struct tt_moved_by){r[0] != 0 || r[1] != 0,  r[0] * shift->x,
                                r[1] * shift->x,         r[0] * r[0] * shift->xx,
                                r[0] * r[1] * shift->xx, r[1] * r[1] * shift->xx};
}

void tt_fill_shifts(const struct tt_changes *c, size_t event, struct tt_change *change)
{
    size_t at = c->fit.first[event];

    switch (change->what) {
    case TT_CAMERA_MARK:
        change->mark = tt_pair_of(c, at);
        change->offset = tt_pair_of(c, at);
        break;
    case TT_CHANGED:
        change->runout = tt_pair_of(c, at + 2);
        change->radius = tt_number_of(c, at + 4);
        change->offset = tt_pair_of(c, at);
        break;
    case TT_CAMERA:
    case TT_SEAT:
        change->offset = tt_pair_of(c, at);
        break;
    case TT_ALL_HEIGHTS:
    case TT_ONE_HEIGHT:
        change->height = tt_number_of(c, at);
        break;
    case TT_POSE:
        change->mark = tt_pair_of(c, at);
        change->yaw = tt_number_of(c, at + 2);
        break;
    case TT_EDGE:
        change->edge = tt_number_of(c, at);
        change->offset = offset_by_edge(c, change->who, &change->edge);
        break;
    case TT_LOST_MOTION:
        change->edge = tt_number_of(c, at);
        change->offset = offset_by_edge(c, c->values.edges, &change->edge);
        break;
    case TT_WEAR:
    case TT_PLATE_LEVEL:
    case TT_PLATE_HEIGHT:
        break;
    }
}

double tt_gain_of(const struct tt_events *f, size_t event, struct tt_events *rest, bool *leave)
{
    memset(leave, 0, f->n_events * sizeof *leave);
    leave[event] = true;
    tt_events_copy(rest, f, leave);
    return fmax(rest->rss - f->rss, 0);
}

enum tiptrue_status tt_questions_prepare(struct tt_questions *q, const struct tt_problem *p,
                                         size_t events, size_t columns, struct tt_arena *arena)
{
    enum tiptrue_status status = tt_events_init(&q->rest, p, events, columns);

    if (status == TIPTRUE_OK) {
        status = tt_events_init(&q->trial, p, events, columns);
    }
    q->leave = TT_ARENA_NEW(arena, events + 2 * TT_MOST_PLATES, bool);
    q->gain = TT_ARENA_NEW(arena, p->n_hypotheses, double);
    q->work =
        status == TIPTRUE_OK ? TT_ARENA_NEW(arena, tt_events_scan_room(&q->rest), double) : NULL;
    return q->leave && q->gain && q->work ? status : TIPTRUE_E_MEMORY;
}
