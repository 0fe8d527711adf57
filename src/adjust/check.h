/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a run can determine, from which edges were touched where, before any of its coordinates is
 * believed. */
#ifndef TT_ADJUST_CHECK_H
#define TT_ADJUST_CHECK_H

#include "adjust/adjust.h"

/* The least of which a run is made, one rule for plan, check and solve. A tip needs six touches:
 * two for its offset, two for its runout, one for its radius, and one to contradict them. Where no
 * repeatability of touches is stated, the run must tell it: with fewer degrees of freedom than 2.5
 * the coverage factor is larger than 4, and single runs are judged by a scatter that is near 0 by
 * chance (of plans with 2 expected, 5 % of the simulated runs were refused, with 3 none of 360). */
#define TT_LEAST_TOUCHES 6
/* A plan has more, since what a run may do without is not enough to tell which of its touches is
 * off: of simulated runs with six touches of each of three tips 18 % end in `ambiguous`, with eight
 * none of 100. An edge is touched three times or not at all (with several tips, twice by each), and
 * four edges are touched where the plate has them: with one or two on each of eight edges 41 % of
 * the runs end so, with three on each of four edges 0.3 % of 1350. */
#define TT_LEAST_PLANNED 8
#define TT_LEAST_ON_EDGE 3
#define TT_LEAST_ON_EDGE_EACH 2
#define TT_LEAST_EDGES 4
#define TT_LEAST_SCATTER_DOF 2.5

/* As tt_adjust, but without solving: *expected holds per tip which quantities are determined and
 * the uncertainty to be expected, the budget, and the findings about determinacy. Estimates,
 * residuals and verdicts in it mean nothing. Where the machine file states no repeatability, 3 µm
 * are taken for touches and sightings (a usual one: common practice, no source). */
TT_MUST_USE enum tiptrue_status
tt_check(struct tt_adjust_workspace *workspace, const struct tiptrue_plate *plate,
         const struct tiptrue_machine *machine, const struct tiptrue_run *run,
         struct tiptrue_solution **expected, struct tiptrue_error *error);

#endif
