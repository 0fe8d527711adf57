/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The reference plate: marks the camera sights, conductive edges the tips touch, and how well their
 * places are known. */
#ifndef TT_MODEL_PLATE_H
#define TT_MODEL_PLATE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "model/frames.h"

/* Features made in one operation: they share one unknown shift (x and y) against the plate frame.
 */
struct tt_group {
    const char *name;
    double u_mm;                /* standard uncertainty of the shift, per axis; > 0 */
    const char *learned_boards; /* digests of the boards that its place was learned from, each
                                   behind a blank but the first; NULL: none */
    size_t learned_parts;       /* how many parts these had */
};

struct tt_mark {
    const char *name;
    struct tt_plate_xy at;
    double
        u_mm; /* standard uncertainty per axis; 0 = taken as exact (the reference mark always is) */
    size_t group; /* TT_NONE = none */
    bool unused;  /* damaged: what was sighted of it does not count, nothing is planned on it */
};

enum tt_side { TT_LEFT, TT_RIGHT };

/* The straight line from -> to. n is the unit normal pointing to the free side; n . q = d on the
 * edge. */
struct tt_edge {
    const char *name;
    struct tt_plate_xy from, to;
    enum tt_side free_side; /* seen along from -> to, from above: where the tip arrives from */
    double u_mm;            /* standard uncertainty along n; 0 = taken as exact */
    size_t group;           /* TT_NONE = none */
    double n_x, n_y;        /* plate frame, unit */
    double d_mm;
    bool unused; /* damaged, as a mark */
};

struct tt_pad {
    const char *name;
    bool has_at;
    struct tt_plate_xy at;
    double height_mm; /* above the plane of the reference mark */
    double u_mm;      /* standard uncertainty of that height; 0 = taken as exact */
    bool unused;      /* damaged, as a mark */
};

struct tiptrue_plate {
    const char *file;          /* as named by the caller */
    double mm_per_unit;        /* of the file's lengths */
    const char *name, *serial; /* serial: NULL = not stated */
    struct tt_mark *marks;
    size_t n_marks;
    size_t reference; /* index of the reference mark, which is the origin */
    struct tt_group *groups;
    size_t n_groups;
    struct tt_edge *edges;
    size_t n_edges;
    struct tt_pad *pads;
    size_t n_pads;
    bool has_expansion;
    double expansion_per_K; /* relative */
    double measured_at_C;   /* temperature at which the coordinates hold, degrees Celsius (20 unless
                               stated) */
    struct tt_bytes source; /* the document as read */
    struct tt_arena arena;  /* owns all of the above */
};

/* The plate's thermal scale at @temperature_C: 1 where its expansion is not known. */
static inline double tt_plate_scale(const struct tiptrue_plate *plate, double temperature_C)
{
    return plate->has_expansion
               ? 1 + plate->expansion_per_K * (temperature_C - plate->measured_at_C)
               : 1;
}

/* How many marks are in use. */
static inline size_t tt_plate_marks_in_use(const struct tiptrue_plate *plate)
{
    size_t n = 0;
    for (size_t k = 0; k < plate->n_marks; k++) {
        n += !plate->marks[k].unused;
    }
    return n;
}

/* The @k-th mark in use, k >= 0, counted round and round from mark @first on; one must be in use.
 */
static inline size_t tt_plate_mark_in_use(const struct tiptrue_plate *plate, size_t first, size_t k)
{
    size_t mark = first, left = k % tt_plate_marks_in_use(plate);
    while (plate->marks[mark].unused || left > 0) {
        left -= !plate->marks[mark].unused;
        mark = (mark + 1) % plate->n_marks;
    }
    return mark;
}

#endif
