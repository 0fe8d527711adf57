/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the touches from above say about themselves. None of it is about x and y: a finding whose
 * value `quantity` is "height", or whose code is of heights only, leaves the offsets alone. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"
#include "adjust/heights.h"
#include "base/distribution.h"

#define HEIGHT TT_TEXT("quantity", "height")
/* Beyond this a pad is not filmed or worn but mistyped, mm. */
#define BELIEVED_PAD_MM 0.1
/* Probability below which a slope, or pads that do not fit, are told. */
#define SLOPE_IMPROBABLE 1e-3
#define PADS_IMPROBABLE 1e-6
/* Over 100 mm: more than this is worth levelling, and more than that no plate has that is bolted
 * down (common practice, no source). */
#define WORTH_LEVELLING_MM 0.3
#define STEEPEST_MM 2.0
#define WORST_HEIGHT_REPEATABILITY_MM 0.03
#define LEAST_HEIGHT_DOF 4.0

static const char *pad_name(const struct tt_view *view, size_t pad)
{
    return view->plate->pads[view->heights->fit->heights->pads[pad].pad].name;
}

/* ---- what is not determined ---- */

static enum tiptrue_status undetermined(struct tt_view *view, const char *what)
{
    return tt_finding_add_values(
        view, TT_FINDING_HEIGHT_UNDETERMINED, TIPTRUE_WARNING, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("what", what), TT_PLAIN("rows", view->solution->heights)));
}

static enum tiptrue_status undetermined_tips(struct tt_view *view)
{
    const struct tt_heights *h = view->heights->fit->heights;
    struct tiptrue_solution *s = view->solution;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < s->n_tips && status == TIPTRUE_OK; i++) {
        if (s->tips[i].height != NULL && !s->tips[i].height->determined) {
            status = tt_finding_add_values(view, TT_FINDING_HEIGHT_UNDETERMINED, TIPTRUE_ERROR,
                                           TT_ABOUT_TIP(tt_run_tip(view, i)),
                                           TT_VALUES(TT_TEXT("what", "tip")));
        }
    }
    if (status == TIPTRUE_OK && !view->heights->slope_known) {
        status = tt_finding_add_values(
            view, TT_FINDING_HEIGHT_UNDETERMINED, TIPTRUE_WARNING, TT_ABOUT_RUN,
            TT_VALUES(TT_TEXT("what", "slope"), TT_IN_MM("x", h->middle_x_mm),
                      TT_IN_MM("y", h->middle_y_mm)));
    }
    return status;
}

/* ---- the plate ---- */

static enum tiptrue_status slope_of(struct tt_view *view, size_t setup)
{
    const struct tt_height_fit *fit = view->heights->fit;
    size_t at = fit->at_slope[setup], n = fit->n;

    if (at == TT_NONE || !tt_height_slope_is_known(fit, setup)) {
        return TIPTRUE_OK;
    }
    const double *c = fit->covariance;
    struct tt_cov2 cov = {c[at * n + at], c[at * n + at + 1], c[(at + 1) * n + at + 1]};
    double x = fit->x[at], y = fit->x[at + 1], over_mm = 100 * hypot(x, y);
    if (!(tt_plane_upper(tt_cov2_distance2(cov, x, y), fmax(fit->pooled_dof, 0.5)) <
          SLOPE_IMPROBABLE)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_severity severity = over_mm > STEEPEST_MM          ? TIPTRUE_ERROR
                                     : over_mm > WORTH_LEVELLING_MM ? TIPTRUE_WARNING
                                                                    : TIPTRUE_NOTE;
    struct tt_about about = {TT_NONE, TT_NONE, fit->heights->setups[setup], NULL, 0};
    return tt_finding_add_values(
        view, TT_FINDING_SLOPE, severity, about,
        TT_VALUES(TT_TEXT("what", severity == TIPTRUE_ERROR ? "steep" : "slope"),
                  TT_IN_MM("over_100", over_mm), TT_IN_MM("x_over_100", 100 * x),
                  TT_IN_MM("y_over_100", 100 * y), TT_IN_DEG("uphill", atan2(y, x))));
}

/* Pads whose stated heights do not fit one another, none of them freed. */
static enum tiptrue_status pads_fit(struct tt_view *view)
{
    const struct tt_height_fit *fit = view->heights->fit;
    const struct tt_heights *h = fit->heights;
    double chi2 = 0, dof = 0, most = 0;
    size_t worst = 0;

    for (size_t p = 0; p < h->n_pads; p++) {
        bool freed = false;
        for (size_t m = 0; m < fit->n_modes; m++) {
            freed = freed || (fit->at_mode[m] != TT_NONE && fit->at_mode[m] == fit->at_pad[p]);
        }
        if (fit->at_pad[p] == TT_NONE || freed || !(h->pads[p].u_mm > 0)) {
            continue;
        }
        double off = fabs(fit->x[fit->at_pad[p]]) / h->pads[p].u_mm;
        chi2 += off * off;
        dof += 1;
        worst = off > most ? p : worst;
        most = fmax(most, off);
    }
    if (dof == 0 || !(tt_chi2_upper(chi2, dof) < PADS_IMPROBABLE)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_DOES_NOT_FIT, TIPTRUE_ERROR, TT_ABOUT_RUN,
        TT_VALUES(HEIGHT, TT_TEXT("kind", "pads"), TT_PLAIN("chi2", chi2), TT_PLAIN("dof", dof),
                  TT_TEXT("of", pad_name(view, worst)), TT_PLAIN("times_u", most)));
}

/* The finding that an adopted mode is. */
static enum tiptrue_status tell_mode(struct tt_view *view, size_t m)
{
    const struct tt_height_fit *fit = view->heights->fit;
    const struct tt_height_mode *mode = &fit->modes[m];
    const struct tt_heights *h = fit->heights;
    size_t at = fit->at_mode[m];
    double value = at != TT_NONE ? fit->x[at] : 0;

    switch (mode->kind) {
    case TT_HEIGHT_FACE: {
        double b = fit->x[at + 1];
        return tt_finding_add_values(
            view, TT_FINDING_FACE_RUNOUT, TIPTRUE_WARNING, TT_ABOUT_TIP(h->tips[mode->what]),
            TT_VALUES(TT_IN_MM("amplitude", hypot(value, b)), TT_IN_DEG("angle", atan2(b, value))));
    }
    case TT_HEIGHT_PAD:
    case TT_HEIGHT_PAD_FAR:
        return tt_finding_add_values(
            view, TT_FINDING_PAD_OFF, TIPTRUE_WARNING, TT_ABOUT_RUN,
            TT_VALUES(TT_TEXT("what", fabs(value) > BELIEVED_PAD_MM ? "far" : "off"),
                      TT_TEXT("pad", pad_name(view, mode->what)), TT_IN_MM("shift", value),
                      TT_IN_MM("off", fabs(value)), TT_TEXT("way", value > 0 ? "higher" : "lower"),
                      TT_IN_MM("u", h->pads[mode->what].u_mm)));
    case TT_HEIGHT_DRIFT:
        return tt_finding_add_values(
            view, TT_FINDING_DRIFT_IN_RUN, TIPTRUE_ERROR, TT_ABOUT_RUN,
            TT_VALUES(HEIGHT, TT_TEXT("kind", "height"), TT_IN_MM("drift", value)));
    case TT_HEIGHT_MOVE: {
        size_t line = view->run->observations[h->rows[mode->what].row].line;
        return tt_finding_add_values(
            view, TT_FINDING_MOVED_PLATE, TIPTRUE_ERROR,
            (struct tt_about){TT_NONE, TT_NONE, TT_NONE, &line, 1},
            TT_VALUES(HEIGHT, TT_TEXT("kind", "height"), TT_IN_MM("moved", -value)));
    }
    case TT_HEIGHT_LATENCY:
        return tt_finding_add_values(
            view, TT_FINDING_LATENCY, TIPTRUE_WARNING, TT_ABOUT_RUN,
            TT_VALUES(HEIGHT, TT_TEXT("kind", "height"),
                      ((struct tt_value){"latency", TT_UNIT_S, value, NULL, NULL})));
    case TT_HEIGHT_MODES:
        break;
    }
    return TIPTRUE_OK;
}

static struct tt_clause clause_of(const struct tt_view *view, const struct tt_height_mode *mode)
{
    const struct tt_heights *h = view->heights->fit->heights;
    struct tt_clause clause = {.code = TT_CLAUSE_LATENCY};

    switch (mode->kind) {
    case TT_HEIGHT_FACE:
        clause.code = TT_CLAUSE_FACE;
        clause.name = view->run->tips[h->tips[mode->what]];
        break;
    case TT_HEIGHT_PAD:
    case TT_HEIGHT_PAD_FAR:
        clause.code = TT_CLAUSE_PAD;
        clause.name = pad_name(view, mode->what);
        break;
    case TT_HEIGHT_DRIFT:
        clause.code = TT_CLAUSE_HEIGHTS_DRIFTED;
        break;
    case TT_HEIGHT_MOVE:
        clause.code = TT_CLAUSE_HEIGHTS_MOVED;
        clause.number = view->run->observations[h->rows[mode->what].row].line;
        break;
    case TT_HEIGHT_LATENCY:
    case TT_HEIGHT_MODES:
        break;
    }
    return clause;
}

/* What an explanation says; false: out of memory. */
static bool put_clauses(const struct tt_view *view, const struct tt_height_fit *fit,
                        struct tt_clauses *to)
{
    const struct tt_heights *h = fit->heights;
    struct tt_clause off = {.code = TT_CLAUSE_TOUCHES_OF_ALL, .of = h->n_rows};

    to->clause = TT_ARENA_NEW(view->scratch, fit->n_modes + 1, struct tt_clause);
    if (to->clause == NULL) {
        return false;
    }
    for (size_t m = 0; m < fit->n_modes; m++) {
        to->clause[to->n++] = clause_of(view, &fit->modes[m]);
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        off.number += !(fit->good[i] > 0);
    }
    if (off.number == 0) {
        off.code = TT_CLAUSE_ALL_GOOD;
    }
    if (off.number > 0 || fit->n_modes == 0) {
        to->clause[to->n++] = off;
    }
    return true;
}

static enum tiptrue_status ambiguous(struct tt_view *view)
{
    const struct tt_height_choice *choice = view->heights;
    const struct tt_heights *h = choice->fit->heights;
    struct tt_clauses best = {0}, rival = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (choice->rival == NULL) {
        return TIPTRUE_OK;
    }
    if (!put_clauses(view, choice->fit, &best) || !put_clauses(view, choice->rival, &rival)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < h->n_tips && status == TIPTRUE_OK; t++) {
        if (choice->ambiguous[t]) {
            status = tt_finding_add_values(
                view, TT_FINDING_AMBIGUOUS, TIPTRUE_ERROR, TT_ABOUT_TIP(h->tips[t]),
                TT_VALUES(HEIGHT, TT_TEXT("kind", "height"), TT_CLAUSES("best", &best),
                          TT_CLAUSES("rival", &rival), TT_PLAIN("odds", choice->rival_odds)));
        }
    }
    return status;
}

/* ---- single touches ---- */

/* Touches of a pad that were set aside on one side. */
static enum tiptrue_status off_on_pad(struct tt_view *view, size_t pad, bool late)
{
    const struct tt_height_fit *fit = view->heights->fit;
    const struct tt_heights *h = fit->heights;
    size_t *lines = TT_ARENA_NEW(view->scratch, h->n_rows, size_t), n = 0, all = 0;
    double least = INFINITY, most = 0;

    if (lines == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        double r = fit->residual[i];
        all += h->rows[i].pad == pad;
        if (h->rows[i].pad == pad && !(fit->good[i] > 0) && (r < 0) == late) {
            lines[n++] = view->run->observations[h->rows[i].row].line;
            least = fmin(least, fabs(r));
            most = fmax(most, fabs(r));
        }
    }
    if (n == 0) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, late ? TT_FINDING_LATE_CONTACT : TT_FINDING_SCATTERED, TIPTRUE_WARNING,
        (struct tt_about){TT_NONE, TT_NONE, TT_NONE, lines, n},
        TT_VALUES(HEIGHT,
                  TT_TEXT("what", !late    ? "pad-early"
                                  : n == 1 ? "pad-one"
                                           : "pad"),
                  TT_TEXT("pad", pad_name(view, pad)), TT_PLAIN(late ? "late" : "early", n),
                  TT_PLAIN("of", all), TT_IN_MM("depth_min", least), TT_IN_MM("depth_max", most)));
}

static enum tiptrue_status kept_of_tip(struct tt_view *view, size_t t)
{
    const struct tt_height_choice *choice = view->heights;
    const struct tt_height_fit *fit = choice->fit;
    size_t all, kept;

    if (!tt_height_too_few(choice, t, &all, &kept)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_LATE_CONTACT, TIPTRUE_ERROR,
                                 TT_ABOUT_TIP(fit->heights->tips[t]),
                                 TT_VALUES(HEIGHT, TT_TEXT("what", "height-few"),
                                           TT_PLAIN("aside", all - kept), TT_PLAIN("of", all)));
}

static enum tiptrue_status repeatability(struct tt_view *view)
{
    const struct tt_height_fit *fit = view->heights->fit;
    const struct tt_heights *h = fit->heights;
    double found = view->solution->u_height_mm, stated = sqrt(h->stated_mm2);

    if (fit->contradicted) {
        enum tiptrue_status status =
            tt_finding_add_values(view, TT_FINDING_SCATTERED, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                  TT_VALUES(HEIGHT, TT_TEXT("what", "height"),
                                            TT_IN_MM("found", found), TT_IN_MM("stated", stated)));
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    double most = fmax(WORST_HEIGHT_REPEATABILITY_MM, 1.5 * stated);
    if (!(found > most) || fit->dof < LEAST_HEIGHT_DOF) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                 TT_VALUES(HEIGHT, TT_TEXT("what", "height-repeatability"),
                                           TT_IN_MM("found", found), TT_IN_MM("most", most)));
}

/* ---- all ---- */

static enum tiptrue_status of_tips(struct tt_view *view)
{
    enum tiptrue_status status = undetermined_tips(view);

    for (size_t t = 0; t < view->heights->fit->heights->n_tips && status == TIPTRUE_OK; t++) {
        status = kept_of_tip(view, t);
    }
    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        status = tt_height_change(view, i);
    }
    return status;
}

static enum tiptrue_status of_pads(struct tt_view *view)
{
    const struct tt_heights *h = view->heights->fit->heights;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t p = 0; p < h->n_pads && status == TIPTRUE_OK; p++) {
        if ((status = off_on_pad(view, p, true)) == TIPTRUE_OK &&
            (status = off_on_pad(view, p, false)) == TIPTRUE_OK) {
            status = tt_height_places(view, p);
        }
    }
    for (size_t k = 0; k < h->n_setups && status == TIPTRUE_OK; k++) {
        status = slope_of(view, k);
    }
    return status == TIPTRUE_OK ? pads_fit(view) : status;
}

enum tiptrue_status tt_findings_of_height_determinacy(struct tt_view *view)
{
    return view->solution->heights == 0 ? TIPTRUE_OK
           : view->heights == NULL
               ? undetermined(view, view->plate->n_pads == 0 ? "no-pads" : "no-rows")
               : undetermined_tips(view);
}

enum tiptrue_status tt_findings_of_heights(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    if (view->solution->heights == 0 || view->heights == NULL) {
        return tt_findings_of_height_determinacy(view);
    }
    for (size_t m = 0; m < view->heights->fit->n_modes && status == TIPTRUE_OK; m++) {
        status = tell_mode(view, m);
    }
    if (status == TIPTRUE_OK && (status = ambiguous(view)) == TIPTRUE_OK &&
        (status = of_tips(view)) == TIPTRUE_OK && (status = of_pads(view)) == TIPTRUE_OK &&
        (status = repeatability(view)) == TIPTRUE_OK) {
        status = tt_height_range(view);
    }
    return status;
}
