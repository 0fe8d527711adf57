/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Do the lengths of the log and those of the plate file speak the same unit? */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"
#include "model/words.h"

/* Lengths between sighted marks that differ from the plate's by a factor this close (natural logarithm) to 25.4 or 1000, or one
 * over it, are in another unit. */
#define UNIT_CLOSENESS 0.05
#define UNIT_CLOSENESS_OF_EDGES 0.4 /* the tip's diameter is in the distance between edges */

/* The longest distance between two sighted marks of one setup, and its ratio to the plate's; 0 where none is longer than 1 mm. */
static double mark_ratio(const struct tt_view *view)
{
    const struct tt_model *model = view->model;
    double longest = 1, ratio = 0;

    for (size_t i = 1; i < model->n_sights; i++) {
        const struct tt_sight *a = &model->sights[0], *b = &model->sights[i];
        const struct tt_plate_xy p = view->plate->marks[a->mark].at, q = view->plate->marks[b->mark].at;
        const struct tt_machine_xy f = view->run->observations[a->row].h, g = view->run->observations[b->row].h;
        double on_plate = hypot(q.x_mm - p.x_mm, q.y_mm - p.y_mm);
        if (a->setup == b->setup && on_plate > longest) {
            longest = on_plate;
            ratio = hypot(g.x_mm - f.x_mm, g.y_mm - f.y_mm) / on_plate;
        }
    }
    return ratio;
}

/* Mean head position of a cell's touches along its own normal. */
static double mean_along(const struct tt_model *model, const struct tt_cell *cell, const struct tt_site *site)
{
    double sum = 0;
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        sum += site->n_x * model->touch[i].h.x_mm + site->n_y * model->touch[i].h.y_mm;
    }
    return sum / (double)cell->count;
}

/* The same from the distance between two parallel edges touched with one tip. Twice its radius is in it: unknown here, small
 * against 3 mm. */
static double edge_ratio(const struct tt_view *view)
{
    const struct tt_model *model = view->model;
    double longest = 3, ratio = 0;

    for (size_t i = 0; i < model->n_cells; i++) {
        for (size_t j = 0; j < i && i < 64; j++) {
            const struct tt_cell *a = &model->cells[i], *b = &model->cells[j];
            double cosine = a->site.n_x * b->site.n_x + a->site.n_y * b->site.n_y;
            double apart = fabs(a->site.d_mm - (cosine > 0 ? b->site.d_mm : -b->site.d_mm));
            if (a->block != b->block || a->setup != b->setup || fabs(cosine) < 0.99 || !(apart > longest)) {
                continue;
            }
            longest = apart;
            ratio = fabs(mean_along(model, a, &a->site) - mean_along(model, b, &a->site)) / apart;
        }
    }
    return ratio;
}

enum tiptrue_status tt_findings_of_units(struct tt_view *view, struct tt_buffer *text)
{
    static const struct {
        double factor;
        const char *means;
    } cases[] = {
        {TT_MM_PER_INCH, "the log is in millimetres but read as inches, or the plate file is in inches but read as millimetres"},
        {1 / TT_MM_PER_INCH,
         "the log is in inches but read as millimetres, or the plate file is in millimetres but read as inches"},
        {1000, "the log is in micrometres"},
        {1e-3, "the log is in metres"},
    };
    double by_marks = mark_ratio(view), ratio = by_marks > 0 ? by_marks : edge_ratio(view);

    for (size_t k = 0; k < sizeof cases / sizeof cases[0] && ratio > 0; k++) {
        if (fabs(log(ratio / cases[k].factor)) < (by_marks > 0 ? UNIT_CLOSENESS : UNIT_CLOSENESS_OF_EDGES)) {
            tt_buffer_printf(text, "distances between the %s in the log are ", by_marks > 0 ? "marks" : "edges");
            tt_words_factor(text, ratio);
            tt_buffer_printf(text, " times those of the plate file: probably %s; correct 'units'", cases[k].means);
            view->meaningless = true;
            return tt_finding_add(view, TT_FINDING_UNIT_SUSPECT, TIPTRUE_ERROR, TT_ABOUT_RUN, text);
        }
    }
    return TIPTRUE_OK;
}
