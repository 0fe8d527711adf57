/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/heights.h"

#include <math.h>
#include <string.h>

#include "base/distribution.h"

/* Part from weak priors that makes a height undetermined. */
#define HEIGHT_UNDETERMINED_MM 0.05

static bool is_determined(const struct tt_view *view, const struct tt_height_worth *worth)
{
    const struct tt_height_fit *fit = view->heights->fit;

    return worth->weak_mm < HEIGHT_UNDETERMINED_MM &&
           (fit->heights->stated_dof > 0 || fit->dof >= 0.5);
}

static void fill_face(const struct tt_height_fit *fit, size_t tip, struct tt_height_result *height)
{
    for (size_t m = 0; m < fit->n_modes; m++) {
        if (fit->modes[m].kind != TT_HEIGHT_FACE || fit->modes[m].what != tip) {
            continue;
        }
        size_t at = fit->at_mode[m], n = fit->n;
        double a = fit->x[at], b = fit->x[at + 1], size = hypot(a, b);
        const double *c = fit->covariance;
        double var = size > 0 ? (a * a * c[at * n + at] + 2 * a * b * c[at * n + at + 1] +
                                 b * b * c[(at + 1) * n + at + 1]) /
                                    (size * size)
                              : c[at * n + at];
        height->has_face_runout = true;
        height->face_runout = (struct tt_tip_xy){a, b};
        height->face_amplitude_mm = size;
        height->u_face_amplitude_mm = sqrt(fmax(var, 0));
        height->face_angle_rad = atan2(b, a);
    }
}

static bool is_exported(const struct tiptrue_machine *machine, const char *tip)
{
    size_t length = strlen(tip);

    for (size_t i = 0; i < machine->n_exports; i++) {
        for (size_t k = 0; k < machine->exports[i].n_puts; k++) {
            const char *put = machine->exports[i].puts[k];
            if (strncmp(put, tip, length) == 0 && strncmp(put + length, ".height", 7) == 0) {
                return true;
            }
        }
    }
    return false;
}

/* What the present height is held against: on the same plate without the pads' errors. */
static void fill_change(const struct tt_view *view, size_t run_tip,
                        const struct tt_height_worth *worth, struct tt_height_result *height)
{
    const struct tiptrue_machine *machine = view->machine;
    const struct tt_stated *permitted = &machine->limits.permitted_height_error_mm;
    const struct tt_tip *tip = run_tip < machine->n_tips ? &machine->tips[run_tip] : NULL;
    const char *serial = view->plate->serial;

    height->has_present = tip != NULL && tip->height_mm.stated;
    height->has_verdict =
        height->has_present || permitted->stated || is_exported(machine, view->run->tips[run_tip]);
    height->present_mm = height->has_present ? tip->height_mm.value : 0;
    if (!height->has_present || !height->determined) {
        return;
    }
    bool same =
        tip->offset_plate != NULL && serial != NULL && strcmp(tip->offset_plate, serial) == 0;
    height->change_mm = height->value_mm - height->present_mm;
    height->change_u_mm = same ? worth->same_plate_u_mm : worth->u_mm;
    height->change_dof = same ? worth->same_plate_dof : worth->dof;
    double u = fmax(height->change_u_mm, 1e-12), t = fabs(height->change_mm) / u;
    height->p_unchanged = 2 * tt_student_upper(t, fmin(height->change_dof, 1e6));
    height->has_conformity = permitted->stated;
    if (permitted->stated) {
        double dof = fmin(height->change_dof, 1e6), e = permitted->value;
        height->permitted_error_mm = e;
        height->p_conforming = tt_student_upper((-e - height->change_mm) / u, dof) -
                               tt_student_upper((e - height->change_mm) / u, dof);
    }
}

static void fill_tip(struct tt_view *view, size_t tip, struct tt_height_result *height)
{
    const struct tt_height_fit *fit = view->heights->fit;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        height->touches += fit->heights->rows[i].tip == tip;
        height->used += fit->heights->rows[i].tip == tip && fit->good[i] > 0;
    }
    struct tt_height_worth worth = tt_height_worth_of(view->heights, tip, TT_NONE);
    height->determined = is_determined(view, &worth);
    height->value_mm = worth.value_mm;
    height->u_mm = worth.u_mm;
    height->dof = worth.dof;
    height->factor = tt_factor_line(worth.dof);
    height->expanded_mm = height->factor * worth.u_mm;
    height->same_plate_u_mm = worth.same_plate_u_mm;
    height->same_plate_expanded_mm = tt_factor_line(worth.same_plate_dof) * worth.same_plate_u_mm;
    fill_face(fit, tip, height);
    fill_change(view, fit->heights->tips[tip], &worth, height);
}

/* Heights of the tips in the solution. */
static bool fill_tips(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_heights *h = view->heights->fit->heights;

    for (size_t t = 0; t < h->n_tips; t++) {
        for (size_t i = 0; i < s->n_tips; i++) {
            if (strcmp(s->tips[i].name, view->run->tips[h->tips[t]]) != 0) {
                continue;
            }
            s->tips[i].height = TT_ARENA_NEW(&s->arena, 1, struct tt_height_result);
            if (s->tips[i].height == NULL) {
                return false;
            }
            fill_tip(view, t, s->tips[i].height);
        }
    }
    return true;
}

/* Index of the tip with that name among the tips with heights, or TT_NONE. */
static size_t tip_of(const struct tt_view *view, const char *name)
{
    const struct tt_heights *h = view->heights->fit->heights;

    for (size_t t = 0; t < h->n_tips; t++) {
        if (strcmp(view->run->tips[h->tips[t]], name) == 0) {
            return t;
        }
    }
    return TT_NONE;
}

static void fill_differences(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;

    for (size_t i = 0; i < s->n_between_tips; i++) {
        struct tt_tip_difference *d = &s->between_tips[i];
        size_t tip = tip_of(view, d->tip), over = tip_of(view, d->over);
        if (tip == TT_NONE || over == TT_NONE) {
            continue;
        }
        struct tt_height_worth worth = tt_height_worth_of(view->heights, tip, over);
        d->height_determined = is_determined(view, &worth);
        d->height_mm = worth.value_mm;
        d->u_height_mm = worth.u_mm;
        d->expanded_height_mm = tt_factor_line(worth.dof) * worth.u_mm;
    }
}

static void fill_pad(const struct tt_view *view, size_t setup, size_t pad,
                     struct tt_pad_result *result)
{
    const struct tt_height_fit *fit = view->heights->fit;
    size_t at = fit->at_pad[pad], n = fit->n;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        if (fit->heights->rows[i].pad == pad && fit->heights->rows[i].setup == setup) {
            result->touches++;
            result->used += fit->good[i] > 0;
            result->mean_residual_mm += fit->good[i] > 0 ? fit->residual[i] : 0;
        }
    }
    result->mean_residual_mm /= result->used > 0 ? (double)result->used : 1;
    if (at != TT_NONE) {
        result->shift_mm = fit->x[at];
        result->u_shift_mm = sqrt(fmax(fit->covariance[at * n + at], 0));
    }
}

/* Whether the slope of setup @s is known, in its own setup's way (see height_search.c). */
static void fill_slope(const struct tt_view *view, size_t s, struct tt_surface_result *surface)
{
    const struct tt_height_fit *fit = view->heights->fit;
    size_t at = fit->at_slope[s], n = fit->n;

    if (at == TT_NONE) {
        return;
    }
    const double *c = fit->covariance;
    surface->slope_determined = tt_height_slope_is_known(fit, s);
    surface->slope_x = fit->x[at];
    surface->slope_y = fit->x[at + 1];
    surface->u_slope_x = sqrt(fmax(c[at * n + at], 0));
    surface->u_slope_y = sqrt(fmax(c[(at + 1) * n + at + 1], 0));
}

static bool fill_surface(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_heights *h = view->heights->fit->heights;

    s->surface = TT_ARENA_NEW(&s->arena, h->n_setups, struct tt_surface_result);
    if (s->surface == NULL) {
        return false;
    }
    for (size_t k = 0; k < h->n_setups; k++) {
        struct tt_surface_result *surface = &s->surface[s->n_surface++];
        surface->setup = s->setup_names[h->setups[k]];
        surface->pads = TT_ARENA_NEW(&s->arena, h->n_pads, struct tt_pad_result);
        if (surface->pads == NULL) {
            return false;
        }
        fill_slope(view, k, surface);
        for (size_t p = 0; p < h->n_pads; p++) {
            struct tt_pad_result *pad = &surface->pads[surface->n_pads];
            *pad = (struct tt_pad_result){0};
            fill_pad(view, k, p, pad);
            if (pad->touches > 0) {
                const char *name = view->plate->pads[h->pads[p].pad].name;
                pad->name = tt_arena_copy(&s->arena, name);
                if (pad->name == NULL) {
                    return false;
                }
                surface->n_pads++;
            }
        }
    }
    return true;
}

static void fill_rows(struct tt_view *view)
{
    const struct tt_height_fit *fit = view->heights->fit;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        struct tt_row_result *row = &view->solution->rows[fit->heights->rows[i].row];
        row->tip =
            view->solution->tip_names[view->run->observations[fit->heights->rows[i].row].tip];
        row->residual_mm = fit->residual[i];
        row->weight = fit->good[i];
        row->set_aside = !(fit->good[i] > 0);
    }
}

static void fill_scatter(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_height_fit *fit = view->heights->fit;
    const struct tt_heights *h = fit->heights;
    bool own = h->stated_dof == 0 || fit->contradicted;

    s->has_u_height = !own || fit->dof >= 0.5;
    s->u_height_mm = sqrt(own ? fmax(fit->variance_mm2 - h->digit_mm2, 0) : h->stated_mm2);
    s->dof_height = own ? fit->dof : HUGE_VAL;
    s->stated_dof_height = h->stated_dof;
}

/* The fit that good touches with the stated repeatability will be; without one, with the first
 * guess. False: singular. */
static bool predict(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double first_mm2 = TT_FIRST_HEIGHT_SCATTER_MM * TT_FIRST_HEIGHT_SCATTER_MM;

    fit->variance_mm2 = (h->stated_dof > 0 ? h->stated_mm2 : first_mm2) + h->digit_mm2;
    for (size_t i = 0; i < h->n_rows; i++) {
        fit->good[i] = 1;
        fit->weight[i] = 1 / fit->variance_mm2;
    }
    if (!tt_height_solve(fit)) {
        return false;
    }
    fit->dof = fmax((double)h->n_rows - fit->spent, 0);
    fit->pooled_dof = fit->dof + h->stated_dof;
    return true;
}

enum tiptrue_status tt_heights_expect(struct tt_view *view)
{
    struct tt_heights *heights = TT_ARENA_NEW(view->scratch, 1, struct tt_heights);
    struct tt_height_choice *choice = TT_ARENA_NEW(view->scratch, 1, struct tt_height_choice);

    if (view->solution->heights == 0) {
        return TIPTRUE_OK;
    }
    if (heights == NULL || choice == NULL || tt_heights_collect(view, heights) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    if (heights->n_rows == 0) {
        return TIPTRUE_OK;
    }
    choice->fit = TT_ARENA_NEW(view->scratch, 1, struct tt_height_fit);
    if (choice->fit == NULL ||
        tt_height_fit_init(choice->fit, view->scratch, heights, NULL, 0, false) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    choice->g = TT_ARENA_NEW(view->scratch, 2 * choice->fit->n, double);
    if (choice->g == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if (!predict(choice->fit)) {
        return TIPTRUE_OK; /* told: height-undetermined */
    }
    choice->slope_known = tt_height_slope_is_known(choice->fit, 0);
    view->heights = choice;
    fill_differences(view);
    return fill_tips(view) && fill_surface(view) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

enum tiptrue_status tt_heights_fill(struct tt_view *view)
{
    enum tiptrue_status status;

    if (view->solution->heights == 0 || view->model->x == NULL) {
        return TIPTRUE_OK;
    }
    struct tt_heights *heights = TT_ARENA_NEW(view->scratch, 1, struct tt_heights);
    struct tt_height_choice *choice = TT_ARENA_NEW(view->scratch, 1, struct tt_height_choice);
    if (heights == NULL || choice == NULL || tt_heights_collect(view, heights) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    if (heights->n_rows == 0) {
        return TIPTRUE_OK;
    }
    status = tt_height_choose(choice, view->scratch, heights, view->selection->robust);
    if (status == TIPTRUE_E_DEGENERATE) {
        return TIPTRUE_OK; /* told: height-undetermined */
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    view->heights = choice;
    fill_rows(view);
    fill_scatter(view);
    fill_differences(view);
    return fill_tips(view) && fill_surface(view) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
