/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Are the found places those of these parts? Where most lie a millimetre or more from where they
 * were wanted, once each tip's common shift is taken off, no calibration is off: columns are
 * exchanged, an axis counts the other way, the board lay turned, rows have slipped, or it is
 * another board's file. Each such reading is tried; the one that fits is told. And a place that was
 * found where it was wanted, to the last digit, was not measured. */
#include "config.h"

#include <math.h>

#include "placement/work.h"

/* Half of the parts of a machine that places at all lie nearer (common practice, no source). */
#define FAR_MM 1.0
/* Another reading fits when the parts lie this much nearer, and near. */
#define FITS 0.1
/* Places without any error among others with some: so many at least, and so many times as many as
 * have none on one axis alone, which rounding gives; and the middle error of the others is so many
 * of the smallest, or the file is rounded too much to tell. */
#define LEAST_COPIED 3
#define COPIED_RATIO 5
#define FINE 5.0

/* A reading: found is taken for [[xx, xy], [yx, yy]] found + add * wanted, of the row @rows below.
 */
struct reading {
    const char *name; /* in the finding */
    double xx, xy, yx, yy, add;
    int rows;
};

static const struct reading readings[] = {
    {NULL, 1, 0, 0, 1, 0, 0},
    {"placed-exchanged", 0, 1, 1, 0, 0, 0},
    {"placed-mirrored", -1, 0, 0, 1, 0, 0},
    {"placed-mirrored", 1, 0, 0, -1, 0, 0},
    {"placed-mirrored", 0, -1, -1, 0, 0, 0},
    {"placed-turned", -1, 0, 0, -1, 0, 0},
    {"placed-turned", 0, -1, 1, 0, 0, 0},
    {"placed-turned", 0, 1, -1, 0, 0, 0},
    {"placed-deviations", 1, 0, 0, 1, 1, 0},
    {"placed-inches", TT_MM_PER_INCH, 0, 0, TT_MM_PER_INCH, 0, 0},
    {"placed-millimetres", 1 / TT_MM_PER_INCH, 0, 0, 1 / TT_MM_PER_INCH, 0, 0},
    {"placed-next-row", 1, 0, 0, 1, 0, 1},
    {"placed-row-before", 1, 0, 0, 1, 0, -1},
};

/* found - wanted of part @i by a reading; @y: along y. */
static double apart(const struct tiptrue_board *board, const struct reading *r, size_t i, bool y)
{
    size_t n = board->n_parts;
    const struct tt_part *part = &board->parts[i];
    struct tt_machine_xy f = board->parts[(size_t)((ptrdiff_t)(i + n) + r->rows) % n].found;
    return y ? r->yx * f.x_mm + r->yy * f.y_mm + (r->add - 1.0) * part->wanted.y_mm
             : r->xx * f.x_mm + r->xy * f.y_mm + (r->add - 1.0) * part->wanted.x_mm;
}

/* The median distance of the parts from where they were wanted, less each tip's median shift. */
static double typical(const struct tiptrue_board *board, const struct reading *r, double room[],
                      double distance[])
{
    size_t n = board->n_parts;
    for (size_t t = 0; t < board->n_tips; t++) {
        double middle[2];
        for (size_t axis = 0; axis < 2; axis++) {
            size_t count = 0;
            for (size_t i = 0; i < n; i++) {
                if (board->parts[i].tip == t) {
                    room[count++] = apart(board, r, i, axis == 1);
                }
            }
            middle[axis] = tt_placing_median(room, count);
        }
        for (size_t i = 0; i < n; i++) {
            if (board->parts[i].tip == t) {
                distance[i] = hypot(apart(board, r, i, false) - middle[0],
                                    apart(board, r, i, true) - middle[1]);
            }
        }
    }
    return tt_placing_median(distance, n);
}

/* Parts found exactly where they were wanted, where that is no chance; 0 else. */
static size_t copied(const struct tiptrue_board *board, double sizes[])
{
    size_t both = 0, one = 0, n = 0;
    for (size_t i = 0; i < board->n_parts; i++) {
        double x = fabs(apart(board, readings, i, false)),
               y = fabs(apart(board, readings, i, true));
        both += x == 0.0 && y == 0.0;
        one += (x == 0.0) != (y == 0.0);
        if (x > 0.0) {
            sizes[n++] = x;
        }
        if (y > 0.0) {
            sizes[n++] = y;
        }
    }
    double middle = tt_placing_median(sizes, n); /* sorted now */
    bool told =
        both >= LEAST_COPIED && both > COPIED_RATIO * one && n > 0 && middle > FINE * sizes[0];
    return told ? both : 0;
}

bool tt_placing_reading(struct tt_placing *p)
{
    const struct tiptrue_board *board = p->board;
    size_t n = board->n_parts;
    double *room = TT_ARENA_NEW(&p->scratch, n, double),
           *distance = TT_ARENA_NEW(&p->scratch, 2 * n, double);
    struct tt_reading_shown *shown = &p->reading;
    if (room == NULL || distance == NULL) {
        return false;
    }
    shown->copied = copied(board, distance);
    shown->apart_mm = typical(board, readings, room, distance);
    shown->fits_mm = shown->apart_mm;
    shown->is_far = shown->apart_mm > FAR_MM;
    for (size_t k = 1; shown->is_far && k < sizeof(readings) / sizeof(readings[0]); k++) {
        double other = typical(board, &readings[k], room, distance);
        if (other < shown->fits_mm && other < FITS * shown->apart_mm && other < FAR_MM) {
            shown->fits_mm = other;
            shown->fits = readings[k].name;
        }
    }
    return true;
}
