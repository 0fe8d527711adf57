/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings about the model as a whole: the plate moved or drifted, the rotation runs the other way,
 * a tip is not round, an edge or the yaw is off. */
#include "config.h"

#include <math.h>

#include "adjust/correlated.h"
#include "adjust/findings.h"
#include "model/words.h"

/* A shape is impossible if it is by this many standard uncertainties, its own and the radius's: 1
 * in 700 of one that is as large as can be, which no tip in use is. */
#define IMPOSSIBLE_U 3.0
/* Nominal and sighted yaw differ by more than this many of the nominal one's standard
 * uncertainties. */
#define YAW_OFF 4.0
/* A plate turned on purpose stands within this of a quarter turn from the nominal yaw: 5 degrees.
 */
#define TURNED_RAD (5 * TT_PI / 180)

static void words_shift(struct tt_buffer *text, double x_mm, double y_mm)
{
    tt_words_um(text, x_mm);
    tt_buffer_puts(text, " along x and ");
    tt_words_um(text, y_mm);
    tt_buffer_puts(text, " along y");
}

/* Were marks sighted after @row and touches made between? Without, it may as well be the tips that
 * moved; with sightings but no touch after it, the camera. */
static bool sighted_after(const struct tt_view *view, size_t row)
{
    const struct tt_model *model = view->model;
    bool sighted = false, touched = false;

    for (size_t i = 0; i < model->n_sights; i++) {
        sighted = sighted ||
                  (model->sights[i].row >= row && model->sights[i].setup == model->moved_setup);
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        touched = touched || (model->row[i] >= row &&
                              model->cells[model->cell_of[i]].setup == model->moved_setup);
    }
    return sighted && touched;
}

static enum tiptrue_status moved(struct tt_view *view, struct tt_buffer *text)
{
    const struct tt_model *model = view->model;
    size_t row = model->terms.moved_at, before = 0, touches = 0;

    if (row == TT_NONE) {
        return TIPTRUE_OK;
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        bool same_setup = view->run->observations[model->row[i]].setup == model->moved_setup;
        touches += same_setup;
        before += same_setup && model->row[i] < row;
    }
    size_t line = view->run->observations[row].line;
    tt_buffer_printf(text,
                     "the plate or the camera moved within the run, from line %zu on (after %zu of "
                     "%zu touches): by ",
                     line, before, touches);
    words_shift(text, model->x[model->at_moved], model->x[model->at_moved + 1]);
    bool confirmed = sighted_after(view, row);
    tt_buffer_puts(text, confirmed ? "; the marks sighted again say so too, and it was taken into "
                                     "account. Clamp the plate, check the "
                                     "camera's mount before the next run"
                                   : "; clamp the plate, check the camera's mount, and repeat");
    return tt_finding_add(view, TT_FINDING_MOVED_PLATE, confirmed ? TIPTRUE_WARNING : TIPTRUE_ERROR,
                          (struct tt_about){TT_NONE, TT_NONE, model->moved_setup, &line, 1}, text);
}

/* Were marks of every setup sighted before its first touch and after its last? */
static bool sighted_around(const struct tt_view *view)
{
    const struct tt_model *model = view->model;
    bool around = true;

    for (size_t s = 0; s < model->n_setups; s++) {
        size_t first = TT_NONE, last = 0;
        bool before = false, after = false;
        for (size_t i = 0; i < model->n_touches; i++) {
            if (model->cells[model->cell_of[i]].setup == s) {
                first = first == TT_NONE || model->row[i] < first ? model->row[i] : first;
                last = model->row[i] > last ? model->row[i] : last;
            }
        }
        for (size_t i = 0; i < model->n_sights; i++) {
            before = before || (model->sights[i].setup == s && model->sights[i].row < first);
            after = after || (model->sights[i].setup == s && model->sights[i].row > last);
        }
        around = around && (first == TT_NONE || (before && after));
    }
    return around;
}

static enum tiptrue_status drifted(struct tt_view *view, struct tt_buffer *text)
{
    const struct tt_model *model = view->model;

    if (model->at_drift == TT_NONE) {
        return TIPTRUE_OK;
    }
    tt_buffer_puts(text, "the plate drifted against the camera during the run, by ");
    words_shift(text, model->x[model->at_drift], model->x[model->at_drift + 1]);
    bool confirmed = sighted_around(view);
    tt_buffer_puts(
        text, confirmed ? " from its first row to its last; the marks sighted again say so too, "
                          "and it was taken into account. "
                          "Let the machine warm up before the next run"
                        : " from its first row to its last; let the machine warm up, and repeat");
    return tt_finding_add(view, TT_FINDING_DRIFT_IN_RUN,
                          confirmed ? TIPTRUE_WARNING : TIPTRUE_ERROR, TT_ABOUT_RUN, text);
}

static enum tiptrue_status sense(struct tt_view *view, struct tt_buffer *text)
{
    if (!view->model->terms.reversed) {
        return TIPTRUE_OK;
    }
    const char *stated = view->machine->clockwise ? "cw" : "ccw",
               *other = view->machine->clockwise ? "ccw" : "cw";
    tt_buffer_printf(text,
                     "the touches fit clearly better with the sense of rotation turned round: the "
                     "machine file says '%s', the run says '%s'. "
                     "Turn a "
                     "tip by hand command and look from above, then correct 'rotation': {'sense': "
                     "...}; the numbers shown are for '%s'",
                     stated, other, other);
    return tt_finding_add(view, TT_FINDING_ROTATION_SENSE, TIPTRUE_ERROR, TT_ABOUT_RUN, text);
}

/* The largest amplitude of order k that a body of mean radius r can have. The touches see its
 * convex hull, whose radius of curvature rho = h + h'' (h: the support function) is nowhere
 * negative; a non-negative function of mean r has no harmonic larger than 2 r, and that of rho is
 * (k^2 - 1) times that of h (H. Groemer, Geometric Applications of Fourier Series and Spherical
 * Harmonics, Cambridge 1996). A straight blade reaches it for k = 2. */
static double most_amplitude(double radius_mm, unsigned k)
{
    return 2 * fmax(radius_mm, 0) / (k * k - 1.0);
}

/* The term of a tip's shape that no tip of its radius can have, both taken to the near end of their
 * uncertainty; NULL = none. */
static const struct tt_shape_term *impossible_term(const struct tt_tip_result *tip)
{
    double radius_mm = tip->contact_radius_mm + IMPOSSIBLE_U * tip->u_contact_radius_mm;

    for (size_t k = 0; k < tip->n_shape && tip->radius_determined; k++) {
        const struct tt_shape_term *term = &tip->shape[k];
        if (term->amplitude_mm - IMPOSSIBLE_U * term->u_amplitude_mm >
            most_amplitude(radius_mm, term->order)) {
            return term;
        }
    }
    return NULL;
}

static enum tiptrue_status not_round(struct tt_view *view, struct tt_buffer *text)
{
    static const char *const shapes[] = {[2] = "oval",
                                         [3] = "three-lobed",
                                         [4] = "four-lobed",
                                         [5] = "five-lobed",
                                         [6] = "six-lobed"};
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        const struct tt_tip_result *tip = &view->solution->tips[i];
        if (tip->n_shape == 0) {
            continue;
        }
        tt_buffer_printf(text, "'%s' is not round: ", tip->name);
        for (size_t k = 0; k < tip->n_shape; k++) {
            tt_buffer_printf(text, "%s%s by ", k == 0 ? "" : ", ", shapes[tip->shape[k].order]);
            tt_words_um(text, tip->shape[k].amplitude_mm);
        }
        const struct tt_shape_term *impossible = impossible_term(tip);
        if (impossible == NULL) {
            tt_buffer_puts(
                text,
                " (amplitude); its shape was taken into account. Look at it for wear or dirt");
        } else {
            tt_buffer_printf(
                text, " (amplitude); no tip can be %s by that much with a contact radius of ",
                shapes[impossible->order]);
            tt_words_um(text, tip->contact_radius_mm);
            tt_buffer_puts(text, " (at most ");
            tt_words_um(text, most_amplitude(tip->contact_radius_mm, impossible->order));
            tt_buffer_puts(text, "): some touches are wrong, or belong to other edges, tips or "
                                 "rotations than the log says; check "
                                 "the log, then repeat the run");
        }
        status = tt_finding_add(
            view, TT_FINDING_TIP_NOT_ROUND, impossible != NULL ? TIPTRUE_ERROR : TIPTRUE_WARNING,
            (struct tt_about){TT_NONE, tt_run_tip(view, i), TT_NONE, NULL, 0}, text);
    }
    return status;
}

static enum tiptrue_status lost_motion(struct tt_view *view, struct tt_buffer *text)
{
    const struct tiptrue_solution *s = view->solution;

    if (!s->has_lost_motion) {
        return TIPTRUE_OK;
    }
    tt_buffer_puts(text, "the contact radius is ");
    tt_words_um(text, fabs(s->lost_motion_mm));
    tt_buffer_printf(text,
                     " %s on edges that are met along x than along y: lost motion of the machine's "
                     "axes. Opposed touches cancel it in the "
                     "offset",
                     s->lost_motion_mm > 0 ? "larger" : "smaller");
    return tt_finding_add(view, TT_FINDING_LOST_MOTION, TIPTRUE_WARNING, TT_ABOUT_RUN, text);
}

static enum tiptrue_status latency(struct tt_view *view, struct tt_buffer *text)
{
    const struct tiptrue_solution *s = view->solution;

    if (!s->has_latency) {
        return TIPTRUE_OK;
    }
    tt_buffer_puts(text, "the position depends on the feed: the contact is latched ");
    /* Milliseconds; words.h knows lengths only, and a thousandth is a thousandth. */
    double latency_ms = s->latency_s * 1e3;
    tt_buffer_printf(text, "%s", latency_ms < 0 ? "early by " : "late by ");
    tt_words_ms(text, fabs(latency_ms));
    tt_buffer_puts(text, "; it was taken into account. Touch at one slow feed to be rid of it");
    return tt_finding_add(view, TT_FINDING_LATENCY, TIPTRUE_WARNING, TT_ABOUT_RUN, text);
}

static enum tiptrue_status yaw_off(struct tt_view *view, struct tt_buffer *text)
{
    const struct tt_model *model = view->model;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t s = 0; s < model->n_setups && status == TIPTRUE_OK && view->machine->has_yaw; s++) {
        double off = tt_angle_wrap(model->x[tt_at_pose(s) + 2] - view->machine->yaw_rad);
        double quarters = fabs(remainder(off, TT_PI / 2));
        bool turned = fabs(off) > TT_PI / 4 && quarters < TURNED_RAD;
        bool known = model->yaw_sighted[s] || model->terms.yaw_free[s];
        if (!known || turned || !(fabs(off) > YAW_OFF * view->machine->u_yaw_rad)) {
            continue;
        }
        tt_buffer_printf(text, "the plate%s%s stands turned by ",
                         model->n_setups > 1 ? " in setup " : "",
                         model->n_setups > 1 ? view->run->setups[s] : "");
        tt_words_deg(text, off, 2);
        tt_buffer_puts(text, " against the nominal yaw, more than its stated uncertainty allows; "
                             "the run was believed. Check how the plate is "
                             "bolted, and which marks were sighted");
        status = tt_finding_add(view, TT_FINDING_YAW_OFF, TIPTRUE_WARNING,
                                (struct tt_about){TT_NONE, TT_NONE, s, NULL, 0}, text);
    }
    return status;
}

static enum tiptrue_status correlated(struct tt_view *view, struct tt_buffer *text)
{
    const struct tt_correlated *found = view->fit->correlated;

    (void)text;
    return found == NULL
               ? TIPTRUE_OK
               : tt_finding_add_values(
                     view, TT_FINDING_CORRELATED_TOUCHES, TIPTRUE_WARNING, TT_ABOUT_RUN,
                     TT_VALUES(TT_PLAIN("correlation", found->rho), TT_PLAIN("touches", found->n)));
}

enum tiptrue_status tt_findings_of_model(struct tt_view *view, struct tt_buffer *text)
{
    static enum tiptrue_status (*const parts[])(struct tt_view *, struct tt_buffer *) = {
        moved, drifted, sense, not_round, lost_motion, latency, yaw_off, correlated};
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t k = 0; k < sizeof parts / sizeof parts[0] && status == TIPTRUE_OK; k++) {
        status = parts[k](view, text);
    }
    return status;
}
