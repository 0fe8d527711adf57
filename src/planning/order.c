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
#include "config.h"

#include "planning/scene.h"

#include <stdlib.h>

/* A touch with its place in the order, compared from the top down. */
struct placed {
    struct tt_probe probe;
    size_t setup, half, tip, edge; /* tip, edge: place in the half's own order */
    double rotation_rad;
    size_t number; /* as it came: makes the order the same everywhere */
};

static int compare_sizes(size_t a, size_t b)
{
    return (a > b) - (a < b);
}

static int compare(const void *left, const void *right)
{
    const struct placed *a = left, *b = right;
    int by = compare_sizes(a->setup, b->setup);

    by = by != 0 ? by : compare_sizes(a->half, b->half);
    by = by != 0 ? by : compare_sizes(a->tip, b->tip);
    by = by != 0 ? by : compare_sizes(a->edge, b->edge);
    by = by != 0 ? by : (a->rotation_rad > b->rotation_rad) - (a->rotation_rad < b->rotation_rad);
    return by != 0 ? by : compare_sizes(a->number, b->number);
}

/* Touches of one tip and edge, sorted by rotation, go to the two halves in turn, so that both turn
 * all the way round. With an odd number the first half gets one more on every other edge. */
static void part(struct placed placed[], size_t n, size_t n_edges, size_t n_tips)
{
    for (size_t first = 0, groups = 0; first < n; groups++) {
        size_t end = first + 1;
        while (end < n && placed[end].setup == placed[first].setup &&
               placed[end].tip == placed[first].tip && placed[end].edge == placed[first].edge) {
            end++;
        }
        for (size_t i = first; i < end; i++) {
            placed[i].half = (i - first + groups) % 2;
        }
        first = end;
    }
    for (size_t i = 0; i < n; i++) {
        if (placed[i].half == 1) {
            placed[i].edge = n_edges - 1 - placed[i].edge;
            placed[i].tip = n_tips - 1 - placed[i].tip;
        }
    }
}

enum tiptrue_status tt_order(const struct tt_scene *scene, const size_t edge_order[],
                             size_t n_edges, struct tt_probe probes[], size_t n)
{
    struct placed *placed = calloc(n > 0 ? n : 1, sizeof *placed);

    if (placed == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < n; i++) {
        placed[i] = (struct placed){.probe = probes[i],
                                    .setup = probes[i].setup,
                                    .tip = probes[i].tip,
                                    .rotation_rad = probes[i].rotation_rad,
                                    .number = i};
        while (placed[i].edge < n_edges && edge_order[placed[i].edge] != probes[i].edge) {
            placed[i].edge++;
        }
    }
    qsort(placed, n, sizeof *placed, compare);
    part(placed, n, n_edges, scene->n_tips);
    qsort(placed, n, sizeof *placed, compare);
    for (size_t i = 0; i < n; i++) {
        probes[i] = placed[i].probe;
    }
    free(placed);
    return TIPTRUE_OK;
}
