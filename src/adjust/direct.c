/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/direct.h"

#include <math.h>

#include "adjust/difference.h"
#include "adjust/findings.h"
#include "geometry/line.h"

/* Probability, of all checks of a run together, below which a direct fit disagrees: one clean run
 * in 50 000. Ten times larger, clean runs would be warned of; ten times smaller, an edge must be
 * turned by a tenth more. */
#define DISAGREES 2e-5

/* ---- lines ---- */

/* Place of the tip's centre at touch @i of @cell, along the edge (its normal turned by +90
 * degrees), from the reference mark. */
static double along_edge(const struct tt_model *model, const struct tt_cell *cell, size_t i)
{
    const double *m = model->x + tt_at_pose(cell->setup),
                 *tip = model->x + model->system.first[cell->block];
    const struct tt_touch *touch = &model->touch[i];
    struct tt_machine_xy e = tt_tip_turn(touch->cos_rotation, touch->sin_rotation,
                                         (struct tt_tip_xy){tip[TT_TIP_E_X], tip[TT_TIP_E_Y]});

    return cell->site.n_x * (touch->h.y_mm + tip[TT_TIP_O_Y] + e.y_mm - m[1]) -
           cell->site.n_y * (touch->h.x_mm + tip[TT_TIP_O_X] + e.x_mm - m[0]);
}

/* The contacts of an edge, in the machine frame as the plate stood when it was first touched,
 * counted from the reference mark. */
struct contacts {
    size_t n;
    struct tt_machine_xy *at;
    double *along_mm;
    const struct tt_site *site;
};

static void collect(const struct tt_fit *fit, size_t edge, struct contacts *contacts)
{
    const struct tt_model *model = fit->model;

    contacts->n = 0;
    contacts->site = NULL;
    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        if (cell->edge != edge) {
            continue;
        }
        contacts->site = contacts->site == NULL ? &cell->site : contacts->site;
        const struct tt_site *site = contacts->site;
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            if (fit->good[i] > 0) {
                double along = along_edge(model, cell, i), across = site->d_mm + model->residual[i];
                contacts->along_mm[contacts->n] = along;
                contacts->at[contacts->n++] = (struct tt_machine_xy){
                    site->n_x * across - site->n_y * along, site->n_y * across + site->n_x * along};
            }
        }
    }
}

static bool are_three_places(const struct contacts *contacts, double first_mm, double last_mm)
{
    for (size_t i = 0; i < contacts->n; i++) {
        if (contacts->along_mm[i] >= first_mm + TT_SAME_PLACE_MM &&
            contacts->along_mm[i] <= last_mm - TT_SAME_PLACE_MM) {
            return true;
        }
    }
    return false;
}

static struct tt_direct_line line_of(const struct contacts *contacts)
{
    struct tt_line line;

    if (tt_line_fit(contacts->at, contacts->n, TT_SAME_PLACE_MM, &line) != TIPTRUE_OK) {
        return (struct tt_direct_line){.straightness_mm = NAN};
    }
    double c = cos(line.normal_angle_rad), s = sin(line.normal_angle_rad);
    double low = HUGE_VAL, high = -HUGE_VAL, first = HUGE_VAL, last = -HUGE_VAL;
    for (size_t i = 0; i < contacts->n; i++) {
        double across = c * contacts->at[i].x_mm + s * contacts->at[i].y_mm - line.d_mm;
        double along = contacts->along_mm[i];
        low = across < low ? across : low; /* quicker than fmin, which asks for NaN */
        high = across > high ? across : high;
        first = along < first ? along : first;
        last = along > last ? along : last;
    }
    double n_x = contacts->site->n_x, n_y = contacts->site->n_y;
    return (struct tt_direct_line){
        .spans = true,
        .turned_rad = atan((s * n_x - c * n_y) / (c * n_x + s * n_y)), /* either normal */
        .u_turned_rad = line.u_angle_rad,
        .span_mm = last - first,
        .straightness_mm = are_three_places(contacts, first, last) ? high - low : (double)NAN};
}

bool tt_direct_lines(struct tt_view *view)
{
    size_t n = view->model->n_touches, touched = 0;
    struct contacts contacts = {.at = TT_ARENA_NEW(view->scratch, n, struct tt_machine_xy),
                                .along_mm = TT_ARENA_NEW(view->scratch, n, double)};

    view->lines = TT_ARENA_NEW(view->scratch, view->plate->n_edges, struct tt_direct_line);
    if (contacts.at == NULL || contacts.along_mm == NULL || view->lines == NULL) {
        return false;
    }
    for (size_t j = 0; j < view->plate->n_edges; j++) {
        collect(view->fit, j, &contacts);
        view->lines[j] = line_of(&contacts);
        if (contacts.site != NULL) {
            view->solution->edges[touched++].straightness_mm = view->lines[j].straightness_mm;
        }
    }
    return true;
}

/* ---- an edge ---- */

/* z: places along the edge from their mean. Returns the sum of their squares. */
static double lever_of(const struct tt_fit *fit, size_t edge, double z[])
{
    const struct tt_model *model = fit->model;
    double sum = 0, n = 0, squares = 0;

    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        if (cell->edge == edge && fit->good[i] > 0) {
            z[i] = along_edge(model, cell, i);
            sum += z[i];
            n++;
        }
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        if (model->cells[model->cell_of[i]].edge == edge && fit->good[i] > 0) {
            z[i] -= sum / n;
            squares += z[i] * z[i];
        }
    }
    return squares;
}

static struct tt_effect effect_of_turn(const struct tt_view *view, struct tt_difference *f,
                                       double turned_rad)
{
    const struct tt_model *model = view->model;
    struct tt_effect effect = {0, 0};

    tt_difference_project(model, f->z[0], view->fit->weight, f->c[0]);
    tt_system_solve(&model->system, f->c[0], f->solved);
    for (size_t t = 0; t < view->solution->n_tips; t++) {
        size_t block = model->tip_block[tt_run_tip(view, t)];
        if (block != TT_NONE) {
            const double *o = f->solved + model->system.first[block] + TT_TIP_O_X;
            tt_effect_add(&effect, &view->solution->tips[t], turned_rad * o[0], turned_rad * o[1]);
        }
    }
    return effect;
}

/* A line that lies as the adjustment has its edge, within the line's own expanded uncertainty, does
 * not disagree, whatever both have in common: most need not be looked at further. */
static enum tiptrue_status check_line(struct tt_view *view, size_t edge, struct tt_difference *f,
                                      double most_p)
{
    const struct tt_direct_line *line = &view->lines[edge];

    if (!line->spans || !(fabs(line->turned_rad) > TT_DIRECT_EXPANDED * line->u_turned_rad)) {
        return TIPTRUE_OK;
    }
    tt_difference_clear(f, view->model, 1);
    double squares_mm2 = lever_of(view->fit, edge, f->z[0]), d = squares_mm2 * line->turned_rad;
    tt_difference_find(f, view->fit);
    double u_rad = sqrt(fmax(f->left[0][0], 0)) / squares_mm2;
    if (!(tt_difference_chance(f, &d, view->scatters.touch.dof) < most_p)) {
        return TIPTRUE_OK; /* or nothing is left to compare with */
    }
    /* the fit takes up the rest */
    double turn_rad = line->turned_rad * f->own[0][0] / f->left[0][0];
    struct tt_effect effect = effect_of_turn(view, f, turn_rad);
    return tt_finding_add_values(
        view, TT_FINDING_FIT_DISAGREES, tt_effect_severity(effect),
        (struct tt_about){edge, TT_NONE, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("what", "line"), TT_IN_DEG("turned", line->turned_rad),
                  TT_IN_MM("apart", fabs(line->turned_rad) * line->span_mm),
                  TT_IN_MM("u", u_rad * line->span_mm), TT_IN_MM("over", line->span_mm),
                  TT_IN_MM("effect", effect.mm)));
}

enum tiptrue_status tt_findings_of_direct_fits(struct tt_view *view)
{
    size_t n_edges = view->plate->n_edges, checks = view->solution->n_tips;
    struct tt_difference f;
    enum tiptrue_status status = TIPTRUE_OK;

    if (view->model->n_touches == 0 || !view->selection->robust) {
        return TIPTRUE_OK; /* least squares of everything: no touch is left out, nothing fits */
    }
    if (!tt_difference_init(&f, view->scratch, view->model)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t j = 0; j < n_edges; j++) {
        checks += view->lines[j].spans;
    }
    double most_p = DISAGREES / (double)(checks > 0 ? checks : 1);
    for (size_t j = 0; j < n_edges && status == TIPTRUE_OK; j++) {
        status = check_line(view, j, &f, most_p);
    }
    for (size_t t = 0; t < view->solution->n_tips && status == TIPTRUE_OK; t++) {
        status = tt_direct_check_circle(view, t, &f, most_p);
    }
    return status;
}
