/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run that was just solved, as a record for the store. */
#ifndef TT_APP_SOLVED_H
#define TT_APP_SOLVED_H

#include "base/buffer.h"
#include "base/time.h"
#include "history/store/store.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/record.h"
#include "model/run.h"
#include "model/solution.h"

/* Starts as {0}; the record points into it, and borrows the texts of what it was made of. */
struct tt_solved {
    struct tt_record record;
    struct tt_record_result result;
    char now[TT_TIME_SIZE];
    struct tt_buffer json;
    struct tiptrue_solution *solution; /* read back from it: what the store derives is the same
                                          whether solved here or imported. What the text does not
                                          hold is borrowed from the solution that it was made of */
};

/* @plan and @pattern may be NULL; @solution must live as long as *solved. */
TT_MUST_USE enum tiptrue_status
tt_solved_make(struct tt_solved *solved, const struct tiptrue_plate *plate,
               const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
               const char *pattern, const struct tiptrue_run *run,
               const struct tiptrue_solution *solution, double now_s, struct tiptrue_error *error);
void tt_solved_clear(struct tt_solved *solved);

#endif
