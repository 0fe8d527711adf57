/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From a solution to what its pictures need: the touch equation read the other way. */
#ifndef TT_GEOMETRY_SKETCH_H
#define TT_GEOMETRY_SKETCH_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/run.h"
#include "model/sketch.h"
#include "model/solution.h"

/* @plate, @machine and @run may each be NULL: places need plate, machine and run, curves plate and
 * machine. @run is the one that
 * @solution is of, or NULL. *sketch is the caller's storage, {0}; to be given to tt_sketch_clear
 * also after a failure. Linear in rows and in tracks. */
TT_MUST_USE enum tiptrue_status
tt_sketch_draw(const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
               const struct tiptrue_run *run, const struct tiptrue_solution *solution,
               struct tt_sketch *sketch, struct tiptrue_error *error);
void tt_sketch_clear(struct tt_sketch *sketch);

#endif
