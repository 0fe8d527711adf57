/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What cannot be of touches from above: places that are not the pad's, changes that no tip makes.
 */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"
#include "adjust/heights.h"

/* A pad is touched this near to its stated place; else it is another one. */
#define OFF_PAD_MM 3.0
/* Edges and pads of a plate lie this near to the plane of its mark: a camera that is in focus on
 * the mark sees them (common practice, no source). */
#define OFF_TOUCH_HEIGHT_MM 10.0

/* ---- where the machine can be ---- */

static bool is_within(double z_mm, double low_mm, double high_mm)
{
    return z_mm >= low_mm && z_mm <= high_mm;
}

/* What else @z_mm may be, that is within. */
static const char *kind_of_range(double z_mm, double low_mm, double high_mm)
{
    return is_within(25.4 * z_mm, low_mm, high_mm) || is_within(z_mm / 25.4, low_mm, high_mm)
               ? "height-range-inch"
           : is_within(-z_mm, low_mm, high_mm) ? "height-range-negative"
                                               : "height-range";
}

enum tiptrue_status tt_height_range(struct tt_view *view)
{
    const struct tt_motion *motion = &view->machine->motion;
    const struct tt_heights *h = view->heights->fit->heights;
    size_t *lines = TT_ARENA_NEW(view->scratch, h->n_rows, size_t), n = 0;
    double low = motion->z_mm.stated ? motion->z_mm.low : -HUGE_VAL,
           high = motion->z_mm.stated ? motion->z_mm.high : HUGE_VAL, worst = 0, most = 0;

    if (lines == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    high = motion->safe_height_mm.stated ? fmin(high, motion->safe_height_mm.value) : high;
    if (motion->touch_height_mm.stated) {
        low = fmax(low, motion->touch_height_mm.value - OFF_TOUCH_HEIGHT_MM);
        high = fmin(high, motion->touch_height_mm.value + OFF_TOUCH_HEIGHT_MM);
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        double off = fmax(low - h->rows[i].z_mm, h->rows[i].z_mm - high);
        if (off > 0) {
            lines[n++] = view->run->observations[h->rows[i].row].line;
            worst = off > most ? h->rows[i].z_mm : worst;
            most = fmax(most, off);
        }
    }
    if (n == 0) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, TT_NONE, TT_NONE, lines, n},
        TT_VALUES(TT_TEXT("quantity", "height"), TT_TEXT("what", kind_of_range(worst, low, high)),
                  TT_IN_MM("found", worst), TT_IN_MM("least", low), TT_IN_MM("most", high)));
}

/* ---- places ---- */

/* The pad of the plate nearest to (@x, @y), plate frame, or TT_NONE. */
static size_t nearest_pad(const struct tiptrue_plate *plate, double x, double y)
{
    size_t best = TT_NONE;
    double least = INFINITY;

    for (size_t p = 0; p < plate->n_pads; p++) {
        double away = plate->pads[p].has_at
                          ? hypot(plate->pads[p].at.x_mm - x, plate->pads[p].at.y_mm - y)
                          : INFINITY;
        best = away < least ? p : best;
        least = fmin(least, away);
    }
    return best;
}

/* How far from its pad's stated place row @i was made, by the head and the tip's offset; *nearest:
 * the pad that lies there. NaN: the offset or the place is not known. */
static double away_from_pad(const struct tt_view *view, const struct tt_height_row *row,
                            size_t *nearest)
{
    const struct tt_model *model = view->model;
    const struct tt_observation *o = &view->run->observations[row->row];
    const double *pose = model->x + tt_at_pose(o->setup);
    size_t block = model->tip_block[o->tip];

    if (block == TT_NONE || !view->plate->pads[o->target].has_at) {
        return NAN;
    }
    const double *tip = model->x + model->system.first[block];
    double x = o->h.x_mm + tip[TT_TIP_O_X] - pose[0], y = o->h.y_mm + tip[TT_TIP_O_Y] - pose[1],
           c = cos(pose[2]), s = sin(pose[2]);
    *nearest = nearest_pad(view->plate, c * x + s * y, c * y - s * x);
    return hypot(x - row->x_mm, y - row->y_mm);
}

enum tiptrue_status tt_height_places(struct tt_view *view, size_t pad)
{
    const struct tt_heights *h = view->heights->fit->heights;
    size_t *lines = TT_ARENA_NEW(view->scratch, h->n_rows, size_t), n = 0, other = TT_NONE;
    double most = 0;

    if (lines == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        size_t nearest = TT_NONE;
        double away = h->rows[i].pad == pad ? away_from_pad(view, &h->rows[i], &nearest) : NAN;
        if (away > OFF_PAD_MM) {
            lines[n++] = view->run->observations[h->rows[i].row].line;
            other = nearest != h->pads[pad].pad ? nearest : other;
            most = fmax(most, away);
        }
    }
    if (n == 0) {
        return TIPTRUE_OK;
    }
    const char *name = other != TT_NONE ? view->plate->pads[other].name : "";
    return tt_finding_add_values(view, TT_FINDING_PAD_OFF, TIPTRUE_ERROR,
                                 (struct tt_about){TT_NONE, TT_NONE, TT_NONE, lines, n},
                                 TT_VALUES(TT_TEXT("what", other != TT_NONE ? "name" : "place"),
                                           TT_TEXT("pad", view->plate->pads[h->pads[pad].pad].name),
                                           TT_TEXT("other", name), TT_IN_MM("away", most)));
}

/* ---- changes ---- */

/* Whether every tip's height comes out the same while those in use differ. */
static bool lengths_taken_off(const struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;
    double low = INFINITY, high = -INFINITY, low_in_use = INFINITY, high_in_use = -INFINITY;

    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_height_result *height = s->tips[i].height;
        if (height != NULL && height->determined && height->has_present) {
            low = fmin(low, height->value_mm);
            high = fmax(high, height->value_mm);
            low_in_use = fmin(low_in_use, height->present_mm);
            high_in_use = fmax(high_in_use, height->present_mm);
        }
    }
    double most = tt_plausible_change_mm(&view->machine->limits);
    return high_in_use - low_in_use > most && high - low < 0.3 * (high_in_use - low_in_use);
}

static bool all_alike(const struct tt_view *view, double change_mm)
{
    size_t n = 0, alike = 0;

    for (size_t i = 0; i < view->solution->n_tips; i++) {
        const struct tt_height_result *height = view->solution->tips[i].height;
        if (height != NULL && height->determined && height->has_present) {
            n++;
            alike += fabs(height->change_mm - change_mm) < 0.1;
        }
    }
    return n > 1 && alike == n;
}

/* Another tip's present height near @value_mm. */
static bool of_other_tip(const struct tt_view *view, size_t own, double value_mm)
{
    for (size_t t = 0; t < view->machine->n_tips; t++) {
        const struct tt_stated *present = &view->machine->tips[t].height_mm;
        if (t != own && present->stated && fabs(present->value - value_mm) < 0.1) {
            return true;
        }
    }
    return false;
}

static const char *kind_of_change(const struct tt_view *view, size_t run_tip,
                                  const struct tt_height_result *height)
{
    double ratio = height->present_mm != 0 ? height->value_mm / height->present_mm : 0;

    return fabs(log(fabs(ratio) * 25.4)) < 0.05 || fabs(log(fabs(ratio) / 25.4)) < 0.05
               ? "height-inch"
           : fabs(height->value_mm + height->present_mm) < 0.05 * fabs(height->present_mm) + 0.1
               ? "height-negative"
           : lengths_taken_off(view)                       ? "height-length"
           : of_other_tip(view, run_tip, height->value_mm) ? "height-other-tip"
           : all_alike(view, height->change_mm)            ? "height-all"
                                                           : "height";
}

enum tiptrue_status tt_height_change(struct tt_view *view, size_t index)
{
    const struct tt_height_result *height = view->solution->tips[index].height;
    double most = tt_plausible_change_mm(&view->machine->limits);
    bool accepted = view->options != NULL && view->options->accept_change;

    if (height == NULL || !height->determined || !height->has_present ||
        !(fabs(height->change_mm) > most)) {
        return TIPTRUE_OK;
    }
    size_t run_tip = tt_run_tip(view, index);
    return tt_finding_add_values(
        view, TT_FINDING_CHANGE_IMPLAUSIBLE, accepted ? TIPTRUE_WARNING : TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, run_tip, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("quantity", "height"),
                  TT_TEXT("kind", kind_of_change(view, run_tip, height)),
                  TT_IN_MM("change", height->change_mm), TT_IN_MM("most", most)));
}
