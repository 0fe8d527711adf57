/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Results that no bench machine, tip or plate has, whatever the files allow: code `implausible`,
 * value `what`. Each bound is far beyond what a good run gives; where a limit is stated that can be
 * meant (up to TT_LARGEST_STATED_MM), the stated one counts instead of the bound. */
#include "config.h"

#include "adjust/plausible.h"

#include <math.h>

#include "base/distribution.h"

/* Contacts of a touch that repeat worse than this do not come from one edge: ten times what a good
 * contact circuit gives. A larger stated repeatability may be exceeded by half. */
#define WORST_REPEATABILITY_MM 0.03
#define OVER_STATED_REPEATABILITY 1.5
/* Fewer degrees of freedom do not tell a repeatability to better than a factor of two. */
#define LEAST_REPEATABILITY_DOF 4.0
/* Expanded uncertainty of an offset. On the same plate only repeatability bears on it: 0.1 mm is
 * thirty times the usual. In total the plate comes in: one known by a fabricator's ±0.1 mm only
 * gives some 0.2 mm, and must pass. */
#define WORST_SAME_PLATE_MM 0.1
#define WORST_TOTAL_MM 0.5
/* A radius is negative when it is so by more than this many standard uncertainties and by more than
 * this length. */
#define NEGATIVE_RADIUS_U 3.0
#define NEGATIVE_RADIUS_MM 0.05
/* A stated radius is the diameter when half of it, or twice, is what was found, within this share,
 * and what was found is this many stated uncertainties away. It was taken off the positions before
 * when less than this share of it is found. */
#define DIAMETER_CLOSENESS 0.1
#define DIAMETER_U 5.0
/* Radii of two tips or more that are all further than that, and than this length, from what is
 * stated, and by the same amount: chi squared of its scatter has this probability at least. */
#define ALIKE_MM 0.05
#define ALIKE_PROBABILITY 0.01
/* A tip whose axis is off by half its radius and a tenth of a millimetre could not pick up a part.
 */
#define RUNOUT_SHARE 0.5
#define WORST_RUNOUT_MM 0.1
/* Ten times the lost motion of worn belts: a machine that has more places no part. */
#define WORST_LOST_MOTION_MM 0.2
/* Standard uncertainties by which a shape must exceed what is geometrically possible. */
#define SHAPE_U 3.0

/* Whether @limit_mm is stated, and small enough to be meant. */
static bool is_meant(bool stated, double limit_mm)
{
    return stated && limit_mm <= TT_LARGEST_STATED_MM;
}

static struct tt_about about_tip(const struct tt_view *view, size_t index)
{
    return (struct tt_about){TT_NONE, tt_run_tip(view, index), TT_NONE, NULL, 0};
}

static enum tiptrue_status repeatability(struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;
    const struct tt_fit *fit = view->fit;
    double stated_mm = view->machine->has_u_touch ? view->machine->u_touch_mm : 0;
    double most_mm =
        fmax(WORST_REPEATABILITY_MM,
             OVER_STATED_REPEATABILITY * (stated_mm <= TT_LARGEST_STATED_MM ? stated_mm : 0));
    double found_mm = sqrt(fmax(fit->scatter_touch_mm2 - fit->noise->touch_digit_var_mm2, 0));

    if (s->touches_used == 0 || !(fit->dof_touch >= LEAST_REPEATABILITY_DOF) ||
        !(found_mm > most_mm)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("what", "repeatability"),
                                           TT_IN_MM("found", found_mm), TT_IN_MM("most", most_mm)));
}

static enum tiptrue_status lost_motion(struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;

    return !s->has_lost_motion || !(fabs(s->lost_motion_mm) > WORST_LOST_MOTION_MM)
               ? TIPTRUE_OK
               : tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                       TT_VALUES(TT_TEXT("what", "lost-motion"),
                                                 TT_IN_MM("found", fabs(s->lost_motion_mm)),
                                                 TT_IN_MM("most", WORST_LOST_MOTION_MM)));
}

/* The larger axis of the expanded uncertainty against its bound; in total or on the same plate. */
static enum tiptrue_status uncertainty(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;
    double least_mm = is_meant(limits->has_expanded, limits->expanded_mm) ? limits->expanded_mm : 0;
    double same_mm = fmax(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm);
    double total_mm = fmax(tip->expanded_x_mm, tip->expanded_y_mm);
    double most_same_mm = fmax(WORST_SAME_PLATE_MM, least_mm);
    double most_total_mm = fmax(WORST_TOTAL_MM, least_mm);
    bool same = same_mm > most_same_mm;

    if (!tip->offset_determined_x || !tip->offset_determined_y ||
        (!same && !(total_mm > most_total_mm))) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, about_tip(view, index),
        TT_VALUES(TT_TEXT("what", same ? "uncertainty" : "uncertainty-total"),
                  TT_IN_MM("found", same ? same_mm : total_mm),
                  TT_IN_MM("most", same ? most_same_mm : most_total_mm)));
}

/* What a radius was taken for, where it is further than DIAMETER_U from the stated one; NULL: it is
 * not, or is another radius (radius-off). */
static const char *taken_for(double found_mm, const struct tt_tip *stated)
{
    double ratio = stated->radius_mm / found_mm;

    return !(fabs(found_mm - stated->radius_mm) > DIAMETER_U * stated->u_radius_mm) ? NULL
           : fabs(ratio / 2 - 1) < DIAMETER_CLOSENESS                ? "radius-diameter"
           : fabs(ratio * 2 - 1) < DIAMETER_CLOSENESS                ? "radius-halved"
           : fabs(found_mm) < DIAMETER_CLOSENESS * stated->radius_mm ? "radius-none"
                                                                     : NULL;
}

static enum tiptrue_status radius(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_tip *stated = tt_stated_tip(view, index);
    double found_mm = tip->contact_radius_mm, u_mm = tip->u_contact_radius_mm;

    if (!tip->radius_determined) {
        return TIPTRUE_OK;
    }
    if (found_mm < -NEGATIVE_RADIUS_U * u_mm && found_mm < -NEGATIVE_RADIUS_MM) {
        return tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
                                     about_tip(view, index),
                                     TT_VALUES(TT_TEXT("what", "radius-negative"),
                                               TT_IN_MM("found", found_mm), TT_IN_MM("u", u_mm)));
    }
    const char *what = stated != NULL && stated->has_radius ? taken_for(found_mm, stated) : NULL;
    if (what == NULL) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
                                 about_tip(view, index),
                                 TT_VALUES(TT_TEXT("what", what), TT_IN_MM("found", found_mm),
                                           TT_IN_MM("stated", stated->radius_mm)));
}

/* What is wrong with the radii of all tips alike is not the tips. */
static enum tiptrue_status radii_alike(struct tt_view *view)
{
    double weights = 0, sum = 0, squares = 0, n = 0;

    for (size_t i = 0; i < view->solution->n_tips; i++) {
        const struct tt_tip_result *tip = &view->solution->tips[i];
        const struct tt_tip *stated = tt_stated_tip(view, i);
        if (!tip->radius_determined || stated == NULL || !stated->has_radius) {
            continue;
        }
        double off_mm = tip->contact_radius_mm - stated->radius_mm, u_mm = stated->u_radius_mm;
        if (!(fabs(off_mm) > fmax(DIAMETER_U * u_mm, ALIKE_MM)) ||
            taken_for(tip->contact_radius_mm, stated) != NULL) {
            return TIPTRUE_OK;
        }
        double weight = 1 / (u_mm * u_mm + tip->u_contact_radius_mm * tip->u_contact_radius_mm);
        weights += weight;
        sum += weight * off_mm;
        squares += weight * off_mm * off_mm;
        n++;
    }
    if (n < 2 || tt_chi2_upper(squares - sum * sum / weights, n - 1) < ALIKE_PROBABILITY) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("what", "radii-alike"), TT_IN_MM("off", sum / weights)));
}

/* Whether the edges @a and @b overlap as seen along @a's normal. */
static bool overlap(const struct tt_edge *a, const struct tt_edge *b)
{
    double along_x = -a->n_y, along_y = a->n_x;
    double a_from = along_x * a->from.x_mm + along_y * a->from.y_mm;
    double a_to = along_x * a->to.x_mm + along_y * a->to.y_mm;
    double b_from = along_x * b->from.x_mm + along_y * b->from.y_mm;
    double b_to = along_x * b->to.x_mm + along_y * b->to.y_mm;

    return fmax(fmin(a_from, a_to), fmin(b_from, b_to)) <
           fmin(fmax(a_from, a_to), fmax(b_from, b_to));
}

/* On the free side of an edge n.q > d, so the opening between two that face each other is -d_a -
 * d_b. */
double tt_opening_mm(const struct tt_view *view, size_t block)
{
    const struct tt_model *model = view->model;
    double least_mm = HUGE_VAL;

    for (size_t i = 0; i < model->n_cells; i++) {
        const struct tt_edge *a = &view->plate->edges[model->cells[i].edge];
        for (size_t j = 0; j < i && model->cells[i].block == block; j++) {
            const struct tt_edge *b = &view->plate->edges[model->cells[j].edge];
            double gap_mm = -a->d_mm - b->d_mm;
            bool facing = a->n_x * b->n_x + a->n_y * b->n_y < -0.999 && gap_mm > 0;
            if (model->cells[j].block == block && facing && overlap(a, b)) {
                least_mm = fmin(least_mm, gap_mm);
            }
        }
    }
    return least_mm;
}

static enum tiptrue_status opening(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    double wide_mm = 2 * tip->contact_radius_mm;
    double gap_mm = tt_opening_mm(view, view->model->tip_block[tt_run_tip(view, index)]);

    if (!tip->radius_determined || !(wide_mm > gap_mm)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
                                 about_tip(view, index),
                                 TT_VALUES(TT_TEXT("what", "radius-opening"),
                                           TT_IN_MM("found", wide_mm), TT_IN_MM("most", gap_mm)));
}

static enum tiptrue_status runout(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;
    double most_mm = fmax(WORST_RUNOUT_MM, RUNOUT_SHARE * fabs(tip->contact_radius_mm));

    if (is_meant(limits->has_runout, limits->runout_mm) || !tip->runout_determined ||
        !tip->radius_determined || !(tip->eccentricity_mm > most_mm)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, about_tip(view, index),
        TT_VALUES(TT_TEXT("what", "runout"), TT_IN_MM("found", tip->eccentricity_mm),
                  TT_IN_MM("most", most_mm), TT_IN_MM("radius", tip->contact_radius_mm)));
}

/* The distance of a tip's hull from its axis is the support function of a convex figure, so r + r''
 * >= 0 everywhere, and the amplitude of order k is at most 2 r / (k^2 - 1); a line segment reaches
 * it for 2. */
static enum tiptrue_status shape(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];

    for (size_t k = 0; k < tip->n_shape; k++) {
        const struct tt_shape_term *term = &tip->shape[k];
        double most_mm =
            2 * fmax(tip->contact_radius_mm, 0) / (double)(term->order * term->order - 1);
        if (term->amplitude_mm - SHAPE_U * term->u_amplitude_mm > most_mm) {
            return tt_finding_add_values(
                view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, about_tip(view, index),
                TT_VALUES(TT_TEXT("what", "shape"), TT_PLAIN("order", term->order),
                          TT_IN_MM("found", term->amplitude_mm), TT_IN_MM("most", most_mm)));
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_findings_of_plausibility(struct tt_view *view)
{
    static enum tiptrue_status (*const parts[])(struct tt_view *, size_t) = {
        uncertainty, radius, opening, runout, shape};
    enum tiptrue_status status = repeatability(view);

    status = status == TIPTRUE_OK ? lost_motion(view) : status;
    status = status == TIPTRUE_OK ? radii_alike(view) : status;
    for (size_t i = 0; i < view->solution->n_tips; i++) {
        bool touched = view->model->tip_block[tt_run_tip(view, i)] != TT_NONE;
        for (size_t k = 0; k < sizeof parts / sizeof parts[0] && touched && status == TIPTRUE_OK;
             k++) {
            status = parts[k](view, i);
        }
    }
    if (status == TIPTRUE_OK && (status = tt_findings_of_log(view)) == TIPTRUE_OK) {
        status = tt_findings_of_change(view);
    }
    return status == TIPTRUE_OK ? tt_findings_of_statements(view) : status;
}
