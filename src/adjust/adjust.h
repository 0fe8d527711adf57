/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The adjustment: from a checked run to a solution. Knows no files. The model is that of
 * docs/method.md. */
#ifndef TT_ADJUST_ADJUST_H
#define TT_ADJUST_ADJUST_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/run.h"
#include "model/solution.h"

struct tt_adjust_workspace;

TT_MUST_USE enum tiptrue_status tt_adjust_workspace_new(struct tt_adjust_workspace **workspace,
                                                        struct tiptrue_error *error);
void tt_adjust_workspace_free(struct tt_adjust_workspace *workspace);

/* Solve @run, which was checked against @plate and @machine. *solution becomes the caller's
 * (tiptrue_solution_free). TIPTRUE_E_USAGE: the run was not checked against them. TIPTRUE_E_DATA:
 * it holds no touch at all. Cost: linear in rows and in tips. */
TT_MUST_USE enum tiptrue_status
tt_adjust(struct tt_adjust_workspace *workspace, const struct tiptrue_plate *plate,
          const struct tiptrue_machine *machine, const struct tiptrue_run *run,
          const struct tiptrue_solve_options *options, struct tiptrue_solution **solution,
          struct tiptrue_error *error);

#endif
