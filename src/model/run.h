/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A checked run: what was sighted and touched, in the order of the file.
 *
 * Signs: h is the head position; the picture's middle is at h, the tip's axis at h + o. Rotation is
 * kept as logged (the machine file's sense is applied by geometry/touch.c). A residual is the left
 * side less the right side of the touch equation: negative is late (deeper into the conductor).
 */
#ifndef TT_MODEL_RUN_H
#define TT_MODEL_RUN_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "model/frames.h"

enum tt_kind { TT_SIGHT, TT_TOUCH, TT_HEIGHT, TT_WARMUP, TT_VIEW };

/* Whether a row of @kind says where a mark is: centred, or somewhere in the picture. */
static inline bool tt_is_sighting(enum tt_kind kind)
{
    return kind == TT_SIGHT || kind == TT_VIEW;
}

/* Whether a row takes part in the adjustment. */
enum tt_use {
    TT_USE,            /* yes */
    TT_USE_NO_CONTACT, /* contact = 0: the move ended without a trip */
    TT_USE_FIND,       /* the fast first touch of a pair */
    TT_USE_OTHER       /* warmup, or of a feature that is out of use */
};

struct tt_observation {
    struct tt_machine_xy h;
    double rotation_rad; /* as logged; touches only */
    double feed_mm_s;    /* 0 = not stated */
    double temperature_C;
    double time_s; /* seconds since the first stated time */
    double z_mm;
    double px, py; /* TT_VIEW: where the mark is in the picture, pixels to the right and down from
                      its upper left corner */
    size_t target; /* TT_SIGHT, TT_VIEW: index of the mark; TT_TOUCH, TT_WARMUP: of the edge;
                      TT_HEIGHT: of the pad or TT_NONE */
    size_t tip;    /* index into tt_run.tips, TT_NONE for sightings */
    size_t setup;  /* index into tt_run.setups */
    size_t line;   /* where it stands in the file, 1-based */
    enum tt_kind kind;
    enum tt_use use;
    bool has_temperature, has_time, has_z;
    signed char approach_x, approach_y; /* sign of the last motion, 0 = not stated */
};

/* How the coordinates of one kind of row are printed. */
struct tt_digits {
    double quantum_mm; /* unit of the last printed digit: the largest over the rows (largest digit
                          count seen decides) */
    bool on_grid; /* every coordinate is a whole multiple of the machine's stated resolution from
                     the first one, within half a printed digit; false when no resolution is stated
                     or there are no rows */
};

/* One of several logs that were joined to a run. */
struct tt_log {
    const char *file;
    size_t
        line_offset; /* what was added to its lines, so that a line of the run is one of one log */
};

struct tiptrue_run {
    const char *file; /* of several logs: all names, " + " between */
    char id[17]; /* digest of the file's bytes, 16 hex digits; of several logs: of their ids, '+'
                    between */
    const char *machine, *plate, *plate_serial, *started, *operator_name,
        *note; /* as stated in the file, NULL = not stated */
    struct tt_observation *observations;
    size_t n_observations;
    const char *
        *tips; /* the machine's tips first, in its order, then others in order of appearance */
    size_t n_tips;
    const char **setups; /* in order of appearance */
    size_t n_setups;
    struct tt_digits sighting_digits, touch_digits; /* sighting_digits: of views, too */
    double quantum_px;        /* unit of the last printed digit of px and py; 0 = no views */
    double height_quantum_mm; /* unit of the last printed digit of z in height rows; 0 = none */
    size_t *repeated; /* lines of rows left out, since a block of eight or more was there before;
                         ascending */
    size_t n_repeated;
    struct tt_log
        *logs; /* that it was joined from, in the order of the rows; NULL = it is one log */
    size_t n_logs;
    double first_time_s; /* the first stated time, in seconds since 1970-01-01T00:00:00Z */
    bool has_first_time;
    bool find_inferred; /* fast/slow pairs were recognised by their feeds, not stated */
    bool checked_against_plate, checked_against_machine;
    struct tt_bytes source; /* the log as read, only if it was asked for; else text is NULL */
    struct tt_arena arena;
};

#endif
