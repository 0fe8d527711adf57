/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files of a motion program share. */
#ifndef TT_PLANNING_PROGRAM_PARTS_H
#define TT_PLANNING_PROGRAM_PARTS_H

#include "planning/program.h"

/* Decimals of coordinates in a program: 0.1 um, or 0.00001 inch (0.25 um). */
#define TT_MM_DECIMALS 4
#define TT_INCH_DECIMALS 5

struct program {
    const struct tiptrue_proposal *p;
    const struct tiptrue_machine *machine;
    const struct tt_motion *motion;
    struct tt_buffer *out;
    struct tiptrue_error *error;
    const char *tip; /* that is down */
    double rotation_rad;
    bool turned; /* a rotation was set */
    bool inches; /* the machine file is in inches, and so is the program */
    enum tiptrue_status status;
};

/* Units of the program for 1 mm. */
static inline double tt_program_per_mm(const struct program *g)
{
    return g->inches ? 1 / TT_MM_PER_INCH : 1;
}

/* TIPTRUE_E_CONFIG: no program is written, for the reason @text. */
enum tiptrue_status tt_program_refuse(struct program *g, const char *hint, const char *text);

/* Whether the machine file says enough, and edges and pads are where they are expected closely
 * enough. TIPTRUE_E_CONFIG, told: not so. */
TT_MUST_USE enum tiptrue_status tt_program_check(struct program *g);

#endif
