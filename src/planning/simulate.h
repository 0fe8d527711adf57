/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Runs without a machine: a truth, drawn from what plate and machine file state or given, and the
 * run that a plan's moves make of it.
 *
 * The touch equation is that of geometry/touch.h. Random numbers are GSL's (mt19937 for the run,
 * taus2 for the truth), and what is drawn is rounded to the nanometre, so that the same seed gives
 * the same bytes on every machine.
 */
#ifndef TT_PLANNING_SIMULATE_H
#define TT_PLANNING_SIMULATE_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/run.h"
#include "model/truth.h"

/* Draw a truth for the setups and tips of @plan: what plate and machine file state with an
 * uncertainty is drawn from that as a normal distribution; offset and runout, of which no
 * uncertainty is stated, as docs/formats.md says. @exact: no scatter, no resolution.
 * TIPTRUE_E_DATA: the machine file says too little of a tip. */
TT_MUST_USE enum tiptrue_status tt_truth_draw(const struct tiptrue_plate *plate,
                                              const struct tiptrue_machine *machine,
                                              const struct tiptrue_plan *plan, unsigned long seed,
                                              bool exact, struct tiptrue_truth **truth,
                                              struct tiptrue_error *error);

/* The run that the moves of @plan make of @truth. It is checked against plate and machine.
 * TIPTRUE_E_DATA: names that do not fit.
 */
TT_MUST_USE enum tiptrue_status tt_simulate(const struct tiptrue_plate *plate,
                                            const struct tiptrue_machine *machine,
                                            const struct tiptrue_plan *plan,
                                            const struct tiptrue_truth *truth, unsigned long seed,
                                            struct tiptrue_run **run, struct tiptrue_error *error);

#endif
