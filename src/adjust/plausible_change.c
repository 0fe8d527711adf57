/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Offsets against those in use, and against each other: a change that no tip makes by itself, with
 * what the new offset is like, since that tells what was probably done. */
#include "config.h"

#include "adjust/plausible.h"

#include <math.h>

/* No machine has a tip within this of its camera's axis: where an offset is, the tip's own
 * positions were logged, or the tip was sighted instead of the mark. */
#define NO_OFFSET_MM 1.0
/* Two tips of one run that are nearer than this are one tip: separate tips are at least their radii
 * apart. */
#define SAME_TIP_MM 0.1
/* An offset is like another one within this; times 25.4 within this share. */
#define LIKE_MM 0.3
#define LIKE_SHARE 0.01

static bool near_xy(struct tt_machine_xy a, double x_mm, double y_mm)
{
    return hypot(a.x_mm - x_mm, a.y_mm - y_mm) < LIKE_MM;
}

static bool is_scaled(struct tt_machine_xy o, struct tt_machine_xy p, double factor)
{
    double size_mm = hypot(o.x_mm, o.y_mm);

    return size_mm > LIKE_MM &&
           hypot(o.x_mm - factor * p.x_mm, o.y_mm - factor * p.y_mm) < LIKE_SHARE * size_mm;
}

/* What a new offset @o is like, the one in use being @p; NULL = nothing known. */
static const char *likeness(struct tt_machine_xy o, struct tt_machine_xy p)
{
    if (hypot(o.x_mm, o.y_mm) < NO_OFFSET_MM) {
        return "zero";
    }
    if (near_xy(o, -p.x_mm, -p.y_mm)) {
        return "negative";
    }
    if (near_xy(o, p.y_mm, p.x_mm)) {
        return "xy-exchanged";
    }
    if (near_xy(o, -p.x_mm, p.y_mm)) {
        return "x-sign";
    }
    if (near_xy(o, p.x_mm, -p.y_mm)) {
        return "y-sign";
    }
    if (near_xy(o, -p.y_mm, p.x_mm) || near_xy(o, p.y_mm, -p.x_mm)) {
        return "quarter-turn";
    }
    return is_scaled(o, p, TT_MM_PER_INCH) || is_scaled(o, p, 1 / TT_MM_PER_INCH) ? "inch" : NULL;
}

static bool is_determined(const struct tt_tip_result *tip)
{
    return tip->offset_determined_x && tip->offset_determined_y;
}

/* The tip of the machine file, not that of @tip, whose offset in use is what was found, or NULL. */
static const struct tt_tip *other_tip(const struct tt_view *view, size_t run_tip,
                                      const struct tt_tip_result *tip)
{
    for (size_t t = 0; t < view->machine->n_tips; t++) {
        const struct tt_tip *other = &view->machine->tips[t];
        if (t != run_tip && other->has_offset &&
            near_xy(tip->offset, other->offset.x_mm, other->offset.y_mm)) {
            return other;
        }
    }
    return NULL;
}

/* Whether every tip of the run with an offset in use, two or more, changed by what @tip did. */
static bool changed_alike(const struct tiptrue_solution *s, const struct tt_tip_result *tip)
{
    size_t n = 0;

    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *other = &s->tips[i];
        if (!other->has_present || !is_determined(other)) {
            continue;
        }
        if (hypot(other->change.x_mm - tip->change.x_mm, other->change.y_mm - tip->change.y_mm) >=
            SAME_TIP_MM) {
            return false;
        }
        n++;
    }
    return n > 1;
}

/* Whether a tip of the run changed by more than @most_mm. */
static bool one_beyond(const struct tiptrue_solution *s, double most_mm)
{
    bool beyond = false;

    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *tip = &s->tips[i];
        beyond = beyond || (tip->has_present && is_determined(tip) &&
                            hypot(tip->change.x_mm, tip->change.y_mm) > most_mm);
    }
    return beyond;
}

/* What moved all tips alike moved those, too, that are just within what is plausible. */
static enum tiptrue_status change(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    double most_mm = tt_plausible_change_mm(&view->machine->limits);
    double change_mm = hypot(tip->change.x_mm, tip->change.y_mm);
    size_t run_tip = tt_run_tip(view, index);

    if (!tip->has_present || !is_determined(tip)) {
        return TIPTRUE_OK;
    }
    bool within = !(change_mm > most_mm);
    if (within && (view->solution->change_accepted || !one_beyond(view->solution, most_mm) ||
                   !changed_alike(view->solution, tip))) {
        return TIPTRUE_OK;
    }
    const struct tt_tip *other = within ? NULL : other_tip(view, run_tip, tip);
    const char *like = within                               ? "with-others"
                       : other != NULL                      ? "other-tip"
                       : changed_alike(view->solution, tip) ? "all-tips"
                                                            : likeness(tip->offset, tip->present);
    if (view->solution->change_accepted) {
        like = "accepted";
    }
    return tt_finding_add_values(
        view, TT_FINDING_CHANGE_IMPLAUSIBLE,
        view->solution->change_accepted ? TIPTRUE_WARNING : TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, run_tip, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("kind", like != NULL ? like : "unknown"), TT_IN_MM("change", change_mm),
                  TT_IN_MM("x", tip->change.x_mm), TT_IN_MM("y", tip->change.y_mm),
                  TT_IN_MM("most", most_mm), TT_TEXT("other", other != NULL ? other->name : "")));
}

/* Without an offset in use: an offset of nothing. */
static enum tiptrue_status no_offset(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    double size_mm = hypot(tip->offset.x_mm, tip->offset.y_mm);

    if (tip->has_present || !is_determined(tip) || !(size_mm < NO_OFFSET_MM)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, tt_run_tip(view, index), TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("what", "offset-zero"), TT_IN_MM("found", size_mm),
                  TT_IN_MM("least", NO_OFFSET_MM)));
}

/* Whether the offsets in use of two tips say that they are at one place: two tips for one holder.
 */
static bool share_a_place(const struct tt_tip_result *a, const struct tt_tip_result *b)
{
    return a->has_present && b->has_present &&
           near_xy(a->present, b->present.x_mm, b->present.y_mm);
}

static enum tiptrue_status same_tip(struct tt_view *view, size_t index)
{
    const struct tiptrue_solution *s = view->solution;
    const struct tt_tip_result *tip = &s->tips[index];

    for (size_t k = 0; k < index && is_determined(tip); k++) {
        const struct tt_tip_result *other = &s->tips[k];
        double apart_mm =
            hypot(tip->offset.x_mm - other->offset.x_mm, tip->offset.y_mm - other->offset.y_mm);
        if (is_determined(other) && apart_mm < SAME_TIP_MM && !share_a_place(tip, other)) {
            return tt_finding_add_values(
                view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
                (struct tt_about){TT_NONE, tt_run_tip(view, index), TT_NONE, NULL, 0},
                TT_VALUES(TT_TEXT("what", "same-tip"), TT_TEXT("other", other->name),
                          TT_IN_MM("apart", apart_mm), TT_IN_MM("least", SAME_TIP_MM)));
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_findings_of_change(struct tt_view *view)
{
    static enum tiptrue_status (*const parts[])(struct tt_view *, size_t) = {change, no_offset,
                                                                             same_tip};
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips; i++) {
        for (size_t k = 0; k < sizeof parts / sizeof parts[0] && status == TIPTRUE_OK; k++) {
            status = parts[k](view, i);
        }
    }
    return status;
}
