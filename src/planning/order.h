/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* In which order: so that slow drift cancels, the tip's play is taken up one way, and the way is
 * short.
 *
 * Every tip's touches on an edge are parted into two passes. In the first half of a setup the edges
 * follow each other, facing ones in turn, in the second half the same edges come in the opposite
 * order, and so do the tips: the touches of every edge and tip then have the same mean time, that
 * of the sightings at start and end, and a drift that is linear in time shifts them all alike.
 * Within a pass the rotation only grows.
 */
#ifndef TT_PLANNING_ORDER_H
#define TT_PLANNING_ORDER_H

#include "planning/scene.h"

/* Order @probes (of all tips). @edge_order: edges of the plate in the order of a pass (its first
 * n_edges). TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_order(const struct tt_scene *scene, const size_t edge_order[],
                                         size_t n_edges, struct tt_probe probes[], size_t n);

#endif
