/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a solution makes of an edge that lies elsewhere than the plate file says, to first order at
 * the solution: N^-1 J^T W b with b the residuals of the edge's touches, and N_h^-1 J_h^T W b of
 * the solution with the plate held (held.h). By it the weeks tell a film from a tip that moved. */
#ifndef TT_ADJUST_RESPOND_H
#define TT_ADJUST_RESPOND_H

#include "adjust/findings.h"

/* J^T W b for the touches of edge number @edge of the plate, 1 mm further out, into @c
 * (n_unknowns). Returns b^T W b, 1/mm2. */
double tt_edge_pull(const struct tt_fit *fit, size_t edge, double c[]);

/* For the weeks: fill edge_response of the solution's tips and edges, and what the run's own
 * residuals show of repeatability. After its tips and edges are there, while
 * the fit's system is factored at the solution. False: out of memory. */
TT_MUST_USE bool tt_respond(struct tt_view *view);

#endif
