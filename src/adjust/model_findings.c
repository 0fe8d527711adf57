/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings about the model as a whole: the plate moved or drifted, the rotation runs the other way,
 * a tip is not round, an edge or the yaw is off. */
#include "config.h"

#include <math.h>

#include "adjust/correlated.h"
#include "adjust/findings.h"

/* A shape is impossible if it is by this many standard uncertainties, its own and the radius's: 1
 * in 700 of one that is as large as can be, which no tip in use is. */
#define IMPOSSIBLE_U 3.0
/* Nominal and sighted yaw differ by more than this many of the nominal one's standard
 * uncertainties. */
#define YAW_OFF 4.0
/* A plate turned on purpose stands within this of a quarter turn from the nominal yaw: 5 degrees.
 */
#define TURNED_RAD (5 * TT_PI / 180)

/* Were marks sighted after @row and touches made between? Without, it may as well be the tips that
 * moved; with sightings but no touch after it, or before, the camera. */
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

/* The camera or a tip stands elsewhere from a row on. What the offset is from there on hangs on the
 * fewer rows after it, and on nothing but one of two parts of the log being what it says. */
static enum tiptrue_status moved_on_head(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    bool camera = model->terms.mover == TT_MOVER_CAMERA;
    size_t line = view->run->observations[model->terms.moved_at].line,
           tip = camera ? TT_NONE : model->terms.moved_tip;

    return tt_finding_add_values(view, camera ? TT_FINDING_MOVED_CAMERA : TT_FINDING_MOVED_TIP,
                                 TIPTRUE_ERROR, (struct tt_about){TT_NONE, tip, TT_NONE, &line, 1},
                                 TT_VALUES(TT_TEXT("what", camera           ? "camera"
                                                           : tip == TT_NONE ? "tips"
                                                                            : "tip"),
                                           TT_IN_MM("x", model->x[model->at_moved]),
                                           TT_IN_MM("y", model->x[model->at_moved + 1])));
}

static enum tiptrue_status moved(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    size_t row = model->terms.moved_at, before = 0, touches = 0;

    if (row == TT_NONE) {
        return TIPTRUE_OK;
    }
    if (!tt_plate_moves(model)) {
        return moved_on_head(view);
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        bool same_setup = view->run->observations[model->row[i]].setup == model->moved_setup;
        touches += same_setup;
        before += same_setup && model->row[i] < row;
    }
    size_t line = view->run->observations[row].line;
    bool confirmed = sighted_after(view, row) && before > 0;
    bool far = model->at_turned != TT_NONE;
    const struct tt_value values[] = {TT_TEXT("what", confirmed ? "confirmed" : "unconfirmed"),
                                      TT_PLAIN("after", before),
                                      TT_PLAIN("of", touches),
                                      TT_IN_MM("x", model->x[model->at_moved]),
                                      TT_IN_MM("y", model->x[model->at_moved + 1]),
                                      TT_IN_DEG("turn", far ? model->x[model->at_turned] : 0)};
    size_t n = sizeof values / sizeof values[0];
    return tt_finding_add_values(
        view, TT_FINDING_MOVED_PLATE, confirmed ? TIPTRUE_WARNING : TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, TT_NONE, model->moved_setup, &line, 1}, values, far ? n : n - 1);
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

static enum tiptrue_status drifted(struct tt_view *view)
{
    const struct tt_model *model = view->model;

    if (model->at_drift == TT_NONE) {
        return TIPTRUE_OK;
    }
    bool confirmed = sighted_around(view);
    return tt_finding_add_values(view, TT_FINDING_DRIFT_IN_RUN,
                                 confirmed ? TIPTRUE_WARNING : TIPTRUE_ERROR, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("what", confirmed ? "confirmed" : "unconfirmed"),
                                           TT_IN_MM("x", model->x[model->at_drift]),
                                           TT_IN_MM("y", model->x[model->at_drift + 1])));
}

static enum tiptrue_status sense(struct tt_view *view)
{
    bool clockwise = view->machine->clockwise;

    return !view->model->terms.reversed
               ? TIPTRUE_OK
               : tt_finding_add_values(view, TT_FINDING_ROTATION_SENSE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                       TT_VALUES(TT_TEXT("stated", clockwise ? "cw" : "ccw"),
                                                 TT_TEXT("found", clockwise ? "ccw" : "cw")));
}

/* The largest amplitude of order k that a body of mean radius r can have. The touches see its
 * convex hull, whose radius of curvature rho = h + h'' (h: the support function) is nowhere
 * negative; a non-negative function of mean r has no harmonic larger than 2 r, and that of rho is
 * (k^2 - 1) times that of h (H. Groemer, Geometric Applications of Fourier Series and Spherical
 * Harmonics, Cambridge 1996). A straight blade reaches it for k = 2. */
static double most_amplitude(double radius_mm, size_t k)
{
    return 2 * fmax(radius_mm, 0) / ((double)(k * k) - 1);
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

static enum tiptrue_status not_round_tip(struct tt_view *view, size_t index)
{
    static const char *const keys[TT_MOST_ORDER + 1] = {
        [2] = "order_2", [3] = "order_3", [4] = "order_4", [5] = "order_5", [6] = "order_6"};
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_shape_term *impossible = impossible_term(tip);
    struct tt_value values[TT_MOST_ORDER + 4] = {
        TT_TEXT("what", impossible != NULL ? "impossible" : "allowed")};
    size_t n = 1;

    for (size_t k = 0; k < tip->n_shape; k++) {
        values[n++] = TT_IN_MM(keys[tip->shape[k].order], tip->shape[k].amplitude_mm);
    }
    if (impossible != NULL) {
        values[n++] = TT_PLAIN("impossible_order", impossible->order);
        values[n++] = TT_IN_MM("radius", tip->contact_radius_mm);
        values[n++] = TT_IN_MM("most", most_amplitude(tip->contact_radius_mm, impossible->order));
    }
    return tt_finding_add_values(view, TT_FINDING_TIP_NOT_ROUND,
                                 impossible != NULL ? TIPTRUE_ERROR : TIPTRUE_WARNING,
                                 TT_ABOUT_TIP(tt_run_tip(view, index)), values, n);
}

static enum tiptrue_status not_round(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        status = view->solution->tips[i].n_shape > 0 ? not_round_tip(view, i) : TIPTRUE_OK;
    }
    return status;
}

static enum tiptrue_status lost_motion(struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;

    return !s->has_lost_motion
               ? TIPTRUE_OK
               : tt_finding_add_values(
                     view, TT_FINDING_LOST_MOTION, TIPTRUE_WARNING, TT_ABOUT_RUN,
                     TT_VALUES(TT_TEXT("on_x", s->lost_motion_mm > 0 ? "larger" : "smaller"),
                               TT_IN_MM("difference", fabs(s->lost_motion_mm))));
}

static enum tiptrue_status latency(struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;

    return !s->has_latency ? TIPTRUE_OK
                           : tt_finding_add_values(
                                 view, TT_FINDING_LATENCY, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("way", s->latency_s < 0 ? "early" : "late"),
                                           TT_IN_S("latency", fabs(s->latency_s))));
}

static enum tiptrue_status yaw_off(struct tt_view *view)
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
        status = tt_finding_add_values(
            view, TT_FINDING_YAW_OFF, TIPTRUE_WARNING, TT_ABOUT_SETUP(s),
            TT_VALUES(TT_IN_DEG("off", off),
                      TT_TEXT("in_setup", model->n_setups > 1 ? view->run->setups[s] : "")));
    }
    return status;
}

static enum tiptrue_status correlated(struct tt_view *view)
{
    const struct tt_correlated *found = view->fit->correlated;

    return found == NULL
               ? TIPTRUE_OK
               : tt_finding_add_values(
                     view, TT_FINDING_CORRELATED_TOUCHES, TIPTRUE_WARNING, TT_ABOUT_RUN,
                     TT_VALUES(TT_PLAIN("correlation", found->rho), TT_PLAIN("touches", found->n)));
}

enum tiptrue_status tt_findings_of_model(struct tt_view *view)
{
    static tt_finder *const finders[] = {moved,       drifted, sense,   not_round,
                                         lost_motion, latency, yaw_off, correlated};

    return tt_find_all(view, finders, sizeof finders / sizeof finders[0]);
}
