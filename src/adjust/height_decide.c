/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the explanations of the touches from above mean together: as decide.c for the edges. */
#include "config.h"

#include "adjust/height_pool.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"
#include "adjust/uncertainty.h"
#include "base/distribution.h"

#define HEIGHT_NESTED_LN 2.3
#define HEIGHT_FEW_ASIDE 2
#define HEIGHT_TAIL 5e-4
/* ln evidence, times touches beyond a height and a face runout, that a face runout must have more
 * where some of the tip's touches are rejected. */
#define FACE_AMONG_LATE 3.0
#define FACE_UNKNOWNS 3
/* Standard uncertainties of a rival's own that are held with its height. */
#define RIVAL_OPEN 0.5
/* Standard uncertainties within which a rival is held: 95 %, normal. */
#define COVERING 1.96
#define LEAST_APART_MM 1e-5

/* The fit that stands for @found in results, or as a rival: least squares of its good touches.
 * TIPTRUE_E_DEGENERATE: they do not determine it. */
static enum tiptrue_status finish(const struct tt_height_pool *s, const struct tt_height_fit *found,
                                  bool rival, struct tt_height_fit **finished)
{
    struct tt_height_fit *fit = *finished = TT_ARENA_NEW(s->arena, 1, struct tt_height_fit);
    double *good = TT_ARENA_NEW(s->arena, s->heights->n_rows, double);

    if (fit == NULL || good == NULL ||
        tt_height_fit_init(fit, s->arena, s->heights, found->modes, found->n_modes, rival) !=
            TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < s->heights->n_rows; i++) {
        good[i] = found->good[i] > 0.5 ? 1 : 0;
    }
    return tt_height_least_squares(fit, good) ? TIPTRUE_OK : TIPTRUE_E_DEGENERATE;
}

/* One or two touches set aside that are no further off than the good ones' tail are taken back. */
static bool take_back(const struct tt_height_pool *s, struct tt_height_fit *fit)
{
    size_t aside = 0, n = s->heights->n_rows;
    double *good = TT_ARENA_NEW(s->arena, n, double);
    double dof = fmax(fit->pooled_dof, 1);

    if (good == NULL) {
        return false;
    }
    memcpy(good, fit->good, n * sizeof *good);
    double reach = tt_student_quantile(1 - HEIGHT_TAIL / (double)n, dof);
    for (size_t i = 0; i < n; i++) {
        bool near =
            fabs(fit->residual[i]) < reach * sqrt(fit->variance_mm2 * (1 + fit->leverage[i]));
        aside += fit->good[i] == 0;
        good[i] = fit->good[i] == 0 && near ? 1 : good[i];
    }
    if (aside == 0 || aside > HEIGHT_FEW_ASIDE || memcmp(good, fit->good, n * sizeof *good) == 0) {
        return true;
    }
    return tt_height_least_squares(fit, good);
}

static bool has_mode(const struct tt_height_fit *fit, const struct tt_height_mode *mode)
{
    for (size_t m = 0; m < fit->n_modes; m++) {
        if (fit->modes[m].kind == mode->kind && fit->modes[m].what == mode->what) {
            return true;
        }
    }
    return false;
}

static bool adds_to(const struct tt_height_fit *more, const struct tt_height_fit *less)
{
    size_t same = 0;

    for (size_t i = 0; i < less->n_modes; i++) {
        same += has_mode(more, &less->modes[i]);
    }
    return same == less->n_modes && more->n_modes > less->n_modes;
}

/* ln evidence by which explanations are adopted: late touches of a tip look like a face runout, so
 * that one among them must be the more probable by far. */
static double claim(const struct tt_height_fit *fit)
{
    double ln = fit->log_evidence;

    for (size_t m = 0; m < fit->n_modes; m++) {
        size_t good = 0, all = 0;
        for (size_t i = 0; i < fit->heights->n_rows; i++) {
            bool of_tip = fit->heights->rows[i].tip == fit->modes[m].what;
            all += of_tip;
            good += of_tip && fit->good[i] > 0.5;
        }
        if (fit->modes[m].kind == TT_HEIGHT_FACE &&
            (all < TT_LEAST_FACE_ROWS || good <= FACE_UNKNOWNS)) {
            return -INFINITY;
        }
        ln -= fit->modes[m].kind == TT_HEIGHT_FACE && all > good
                  ? FACE_AMONG_LATE / (double)(good - FACE_UNKNOWNS)
                  : 0;
    }
    return ln;
}

const struct tt_height_fit *tt_height_best(const struct tt_height_pool *s)
{
    const struct tt_height_fit *best = s->found[0];

    for (size_t i = 1; i < s->n_found; i++) {
        best = claim(s->found[i]) > claim(best) ? s->found[i] : best;
    }
    return best;
}

/* By how much @other is behind @best, ln of the evidences. A tip whose face runs out does so in all
 * its runs: that few tips have it says nothing for any of them, so that as a rival it has even odds
 * beforehand. */
static double behind(const struct tt_height_fit *best, const struct tt_height_fit *other)
{
    double ln = best->log_evidence - other->log_evidence;

    for (size_t m = 0; m < other->n_modes; m++) {
        ln += other->modes[m].kind == TT_HEIGHT_FACE && !has_mode(best, &other->modes[m])
                  ? other->modes[m].log_p - log(0.5)
                  : 0;
    }
    return ln;
}

static bool counts(const struct tt_height_fit *best, const struct tt_height_fit *other)
{
    return other != best &&
           behind(best, other) < (adds_to(other, best) ? HEIGHT_NESTED_LN : TT_RIVAL_LN);
}

/* ---- what rivals leave of a height ---- */

struct decision {
    struct tt_height_choice *choice;
    size_t n_tips;
    double *off; /* of the rival at hand, each tip */
    double *g;   /* room for a gradient and its product */
    const struct tt_height_fit *first;
    double first_odds;
};

static void blame(struct tt_height_choice *choice, const struct tt_height_fit *rival, double odds)
{
    if (choice->rival == NULL || odds < choice->rival_odds) {
        choice->rival = rival;
        choice->rival_odds = odds;
    }
}

/* Differences of a rival's heights from the adopted ones' into the second moment, and what is too
 * far off for it. @odds: against it. */
static void weigh(struct decision *d, const struct tt_height_fit *rival, double share, double odds)
{
    struct tt_height_choice *choice = d->choice;
    size_t n = d->n_tips;
    double *g = d->g, *off = d->off;
    bool any = false;

    for (size_t t = 0; t < n; t++) {
        tt_height_gradient(choice->fit, choice->slope_known, t, TT_NONE, g);
        struct tt_height_sum own = tt_height_sum_of(choice->fit, g, g + choice->fit->n);
        tt_height_gradient(rival, choice->slope_known, t, TT_NONE, g);
        struct tt_height_sum other = tt_height_sum_of(rival, g, g + rival->n);
        off[t] = other.value_mm - own.value_mm;
        double enlarged = own.variance_mm2 + share * off[t] * off[t];
        double mine = tt_factor_line(fmax(choice->fit->pooled_dof, 1)) * sqrt(enlarged),
               its = tt_factor_line(fmax(rival->pooled_dof, 1)) * sqrt(other.variance_mm2);
        bool far = odds < exp(TT_RIVAL_LN) && fabs(off[t]) > mine && fabs(off[t]) > its;
        choice->ambiguous[t] = choice->ambiguous[t] || far;
        any = any || far;
    }
    for (size_t t = 0; t < n; t++) {
        for (size_t u = 0; u < n; u++) {
            choice->rivals_mm2[t * n + u] += share * off[t] * off[u];
        }
    }
    if (any) {
        blame(choice, rival, odds);
    }
}

/* A height on this plate, or a difference, with the variance that its touches leave. */
static struct tt_height_sum on_plate(const struct tt_height_fit *fit, bool slope_known, size_t tip,
                                     size_t over, double *g)
{
    tt_height_gradient(fit, slope_known, tip, over, g);
    struct tt_height_sum sum = tt_height_sum_of(fit, g, g + fit->n);
    sum.variance_mm2 =
        fmax(sum.variance_mm2 - tt_height_part(fit, g + fit->n, TT_HEIGHT_OF_PAD), 0);
    return sum;
}

/* Share of the squared differences that, added to the second moment, makes the height of @tip on
 * this plate, or its difference from @over, hold what @rival says, with some of what it leaves open
 * itself. */
static double to_cover(const struct decision *d, const struct tt_height_fit *rival, size_t tip,
                       size_t over)
{
    const struct tt_height_choice *choice = d->choice;
    size_t n = d->n_tips;
    double apart = fabs(d->off[tip] - (over != TT_NONE ? d->off[over] : 0)),
           has = choice->rivals_mm2[tip * n + tip];

    if (apart < LEAST_APART_MM) {
        return 0;
    }
    struct tt_height_sum own = on_plate(choice->fit, choice->slope_known, tip, over, d->g),
                         its = on_plate(rival, choice->slope_known, tip, over, d->g);
    double need = (apart + fmin(RIVAL_OPEN * sqrt(its.variance_mm2), apart)) / COVERING;
    has += own.variance_mm2;
    has += over != TT_NONE
               ? choice->rivals_mm2[over * n + over] - 2 * choice->rivals_mm2[tip * n + over]
               : 0;
    return (need * need - has) / (apart * apart);
}

static void cover(struct decision *d, const struct tt_height_fit *rival)
{
    size_t n = d->n_tips;
    double most = 0;

    for (size_t t = 0; t < n; t++) {
        most = fmax(most, to_cover(d, rival, t, TT_NONE));
        for (size_t u = 0; u < t; u++) {
            most = fmax(most, to_cover(d, rival, t, u));
        }
    }
    for (size_t t = 0; t < n; t++) {
        for (size_t u = 0; u < n; u++) {
            d->choice->rivals_mm2[t * n + u] += most * d->off[t] * d->off[u];
        }
    }
}

/* Heights that the rivals leave too little of: as decide.c, the same limit. */
static void doubt(struct decision *d)
{
    struct tt_height_choice *choice = d->choice;

    for (size_t t = 0; t < d->n_tips && d->first != NULL; t++) {
        tt_height_gradient(choice->fit, choice->slope_known, t, TT_NONE, d->g);
        double whole = tt_height_variance(choice->fit, d->g, d->g + choice->fit->n) +
                       choice->rivals_mm2[t * d->n_tips + t];
        if (whole > TT_HEIGHT_LITTLE * TT_HEIGHT_LITTLE * choice->all_good_mm2[t]) {
            choice->ambiguous[t] = true;
            blame(choice, d->first, d->first_odds);
        }
    }
}

static enum tiptrue_status weigh_all(const struct tt_height_pool *s, struct decision *d,
                                     const struct tt_height_fit *best)
{
    double sum = 1;

    for (size_t i = 0; i < s->n_found; i++) {
        sum += counts(best, s->found[i]) ? exp(s->found[i]->log_evidence - best->log_evidence) : 0;
    }
    for (size_t i = 0; i < s->n_found; i++) {
        if (!counts(best, s->found[i])) {
            continue;
        }
        double ratio = exp(s->found[i]->log_evidence - best->log_evidence);
        struct tt_height_fit *rival;
        enum tiptrue_status status = finish(s, s->found[i], true, &rival);
        if (status == TIPTRUE_E_DEGENERATE) {
            continue; /* says nothing of a height */
        }
        if (status != TIPTRUE_OK) {
            return status;
        }
        weigh(d, rival, ratio / sum, 1 / ratio);
        cover(d, rival);
        if (d->first == NULL || 1 / ratio < d->first_odds) {
            d->first = rival;
            d->first_odds = 1 / ratio;
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_height_decide(const struct tt_height_pool *s,
                                     struct tt_height_choice *choice)
{
    const struct tt_height_fit *best = tt_height_best(s);
    struct decision d = {.choice = choice, .n_tips = s->heights->n_tips};
    size_t most = best->n + 2 * TT_MOST_HEIGHT_MODES + s->heights->n_pads;

    d.off = TT_ARENA_NEW(s->arena, d.n_tips, double);
    d.g = TT_ARENA_NEW(s->arena, 2 * most, double);
    if (d.off == NULL || d.g == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    enum tiptrue_status status = finish(s, best, false, &choice->fit);
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (!take_back(s, choice->fit)) {
        return TIPTRUE_E_MEMORY;
    }
    choice->slope_known = tt_height_slope_is_known(choice->fit, 0);
    status = tt_height_all_good(s, choice) ? weigh_all(s, &d, best) : TIPTRUE_E_MEMORY;
    if (status != TIPTRUE_OK) {
        return status;
    }
    doubt(&d);
    return TIPTRUE_OK;
}

/* Variances that the same touches, all good, would give. */
bool tt_height_all_good(const struct tt_height_pool *s, struct tt_height_choice *choice)
{
    struct tt_height_fit fit;
    const struct tt_height_fit *chosen = choice->fit;
    enum tiptrue_status status =
        tt_height_fit_init(&fit, s->arena, s->heights, chosen->modes, chosen->n_modes, false);
    double *g = status == TIPTRUE_OK ? TT_ARENA_NEW(s->arena, 2 * fit.n, double) : NULL;

    if (g == NULL) {
        return false;
    }
    fit.variance_mm2 = chosen->variance_mm2;
    for (size_t i = 0; i < s->heights->n_rows; i++) {
        fit.weight[i] = 1 / fit.variance_mm2;
    }
    if (!tt_height_solve(&fit)) {
        return false;
    }
    for (size_t t = 0; t < s->heights->n_tips; t++) {
        tt_height_gradient(&fit, choice->slope_known, t, TT_NONE, g);
        choice->all_good_mm2[t] = tt_height_variance(&fit, g, g + fit.n);
    }
    return true;
}
