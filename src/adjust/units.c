/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Do the lengths of the log and those of the plate file speak the same unit? */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"

/* Lengths between sighted marks that differ from the plate's by a factor this close (natural
 * logarithm) to 25.4 or 1000, or one over it, are in another unit. */
#define UNIT_CLOSENESS 0.05
#define UNIT_CLOSENESS_OF_EDGES 0.4 /* the tip's diameter is in the distance between edges */

/* The first of each kind among @n rows or cells, of which @kind_of gives the kind, below @kinds;
 * *n_first of them. NULL: out of memory. */
static const size_t *first_of_each(const struct tt_view *view, size_t n, size_t kinds,
                                   size_t (*kind_of)(const struct tt_view *view, size_t i),
                                   size_t *n_first)
{
    size_t *first = TT_ARENA_NEW(view->scratch, n, size_t);
    bool *seen = TT_ARENA_NEW(view->scratch, kinds, bool);

    *n_first = 0;
    if (first == NULL || seen == NULL) {
        return NULL;
    }
    for (size_t i = 0; i < n; i++) {
        bool *here = &seen[kind_of(view, i)];
        if (!*here) {
            first[(*n_first)++] = i;
        }
        *here = true;
    }
    return first;
}

/* Setup and mark of a sighting; setup, tip and edge of a cell. */
static size_t kind_of_sight(const struct tt_view *view, size_t i)
{
    return view->model->sights[i].setup * view->plate->n_marks + view->model->sights[i].mark;
}

static size_t kind_of_cell(const struct tt_view *view, size_t i)
{
    const struct tt_cell *cell = &view->model->cells[i];
    return (cell->setup * view->model->n_blocks + cell->block) * view->plate->n_edges + cell->edge;
}

/* The longest distance between two sighted marks of one setup, and its ratio to the plate's; 0
 * where none is longer than 1 mm. Negative: out of memory. */
static double mark_ratio(const struct tt_view *view)
{
    const struct tt_model *model = view->model;
    size_t n;
    const size_t *first = first_of_each(view, model->n_sights,
                                        model->n_setups * view->plate->n_marks, kind_of_sight, &n);
    double longest = 1, ratio = 0;

    if (first == NULL) {
        return -1;
    }
    for (size_t k = 1; k < n * n; k++) {
        const struct tt_sight *a = &model->sights[first[k / n]], *b = &model->sights[first[k % n]];
        const struct tt_plate_xy p = view->plate->marks[a->mark].at,
                                 q = view->plate->marks[b->mark].at;
        const struct tt_machine_xy f = view->run->observations[a->row].h,
                                   g = view->run->observations[b->row].h;
        double on_plate = hypot(q.x_mm - p.x_mm, q.y_mm - p.y_mm);
        if (a->setup == b->setup && on_plate > longest) {
            longest = on_plate;
            ratio = hypot(g.x_mm - f.x_mm, g.y_mm - f.y_mm) / on_plate;
        }
    }
    return ratio;
}

/* Mean head position of a cell's touches along its own normal. */
static double mean_along(const struct tt_model *model, const struct tt_cell *cell,
                         const struct tt_site *site)
{
    double sum = 0;
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        sum += site->n_x * model->touch[i].h.x_mm + site->n_y * model->touch[i].h.y_mm;
    }
    return sum / (double)cell->count;
}

/* The same from the distance between two parallel edges touched with one tip. Twice its radius is
 * in it: unknown here, small against 3 mm. Negative: out of memory. */
static double edge_ratio(const struct tt_view *view)
{
    const struct tt_model *model = view->model;
    size_t n;
    const size_t *first =
        first_of_each(view, model->n_cells,
                      model->n_setups * model->n_blocks * view->plate->n_edges, kind_of_cell, &n);
    double longest = 3, ratio = 0;

    if (first == NULL) {
        return -1;
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < i; j++) {
            const struct tt_cell *a = &model->cells[first[i]], *b = &model->cells[first[j]];
            double cosine = a->site.n_x * b->site.n_x + a->site.n_y * b->site.n_y;
            double apart = fabs(a->site.d_mm - (cosine > 0 ? b->site.d_mm : -b->site.d_mm));
            if (a->block != b->block || a->setup != b->setup || fabs(cosine) < 0.99 ||
                !(apart > longest)) {
                continue;
            }
            longest = apart;
            ratio = fabs(mean_along(model, a, &a->site) - mean_along(model, b, &a->site)) / apart;
        }
    }
    return ratio;
}

enum tiptrue_status tt_findings_of_units(struct tt_view *view)
{
    static const struct {
        double factor;
        const char *means;
    } cases[] = {{TT_MM_PER_INCH, "mm-as-inch"},
                 {1 / TT_MM_PER_INCH, "inch-as-mm"},
                 {1000, "micrometres"},
                 {1e-3, "metres"}};
    double by_marks = mark_ratio(view), ratio = by_marks > 0 ? by_marks : edge_ratio(view);

    if (by_marks < 0 || ratio < 0) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t k = 0; k < sizeof cases / sizeof cases[0] && ratio > 0; k++) {
        if (fabs(log(ratio / cases[k].factor)) <
            (by_marks > 0 ? UNIT_CLOSENESS : UNIT_CLOSENESS_OF_EDGES)) {
            view->meaningless = true;
            return tt_finding_add_values(
                view, TT_FINDING_UNIT_SUSPECT, TIPTRUE_ERROR, TT_ABOUT_RUN,
                TT_VALUES(TT_TEXT("what", cases[k].means),
                          TT_TEXT("between", by_marks > 0 ? "marks" : "edges"),
                          TT_PLAIN("ratio", ratio)));
        }
    }
    return TIPTRUE_OK;
}
