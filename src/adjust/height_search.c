/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/height_search.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"
#include "adjust/height_climb.h"
#include "adjust/uncertainty.h"
#include "base/distribution.h"

#define MOST_HEIGHT_EXPLANATIONS 96
/* Ends of climbs that are kept of one set of modes. */
#define MOST_HEIGHT_ENDS 4
#define MOST_HEIGHT_EXPANDED 3
#define MOST_HEIGHT_ROUNDS 3
#define MOST_HEIGHT_MODES_CLIMBED 8
#define HEIGHT_WORTH_A_CLIMB (TT_RIVAL_LN + 2.0)
#define HEIGHT_NESTED_LN 2.3
#define HEIGHT_FEW_ASIDE 2
#define HEIGHT_TAIL 5e-4
/* Touches times unknowns squared of all explanations together, from which no more are looked for.
 */
#define MOST_HEIGHT_WORK 3e9

struct search {
    struct tt_arena *arena;
    const struct tt_heights *heights;
    struct tt_height_mode *table;
    size_t n_table;
    struct tt_height_fit *found[MOST_HEIGHT_EXPLANATIONS];
    bool expanded[MOST_HEIGHT_EXPLANATIONS];
    size_t n_found;
    double work;
};

/* ---- explanations ---- */

static bool same_modes(const struct tt_height_fit *a, const struct tt_height_mode modes[], size_t n)
{
    size_t same = 0;

    for (size_t i = 0; i < a->n_modes; i++) {
        for (size_t k = 0; k < n; k++) {
            same += a->modes[i].kind == modes[k].kind && a->modes[i].what == modes[k].what;
        }
    }
    return a->n_modes == n && same == n;
}

/* Whether both call the same touches good. */
static bool same_good(const struct tt_height_fit *a, const struct tt_height_fit *b)
{
    for (size_t i = 0; i < a->heights->n_rows; i++) {
        if ((a->good[i] > 0.5) != (b->good[i] > 0.5)) {
            return false;
        }
    }
    return true;
}

static bool is_tried(const struct search *s, const struct tt_height_mode modes[], size_t n)
{
    for (size_t i = 0; i < s->n_found; i++) {
        if (same_modes(s->found[i], modes, n)) {
            return true;
        }
    }
    return false;
}

/* Keep the end of a climb: of one set of modes the best few ends, of one set of good touches one.
 */
static void keep_end(struct search *s, struct tt_height_fit *fit)
{
    size_t ends = 0, worst = TT_NONE;

    for (size_t i = 0; i < s->n_found; i++) {
        struct tt_height_fit *other = s->found[i];
        if (!same_modes(other, fit->modes, fit->n_modes)) {
            continue;
        }
        if (same_good(other, fit)) {
            s->found[i] = fit->log_evidence > other->log_evidence ? fit : other;
            return;
        }
        ends++;
        worst = worst == TT_NONE || other->log_evidence < s->found[worst]->log_evidence ? i : worst;
    }
    if (ends < MOST_HEIGHT_ENDS && s->n_found < MOST_HEIGHT_EXPLANATIONS) {
        s->found[s->n_found++] = fit;
        return;
    }
    for (size_t i = 0; i < s->n_found && ends < MOST_HEIGHT_ENDS; i++) { /* the list is full */
        worst = worst == TT_NONE || s->found[i]->log_evidence < s->found[worst]->log_evidence
                    ? i
                    : worst;
    }
    if (fit->log_evidence > s->found[worst]->log_evidence) {
        s->found[worst] = fit;
        s->expanded[worst] = false;
    }
}

/* Whether each face runout of @fit rests on more good touches than any numbers would fit. */
static bool faces_are_supported(const struct tt_height_fit *fit)
{
    bool supported = true;

    for (size_t m = 0; m < fit->n_modes; m++) {
        size_t good = 0;
        for (size_t i = 0; i < fit->heights->n_rows; i++) {
            good += fit->heights->rows[i].tip == fit->modes[m].what && fit->good[i] > 0.5;
        }
        supported =
            supported && (fit->modes[m].kind != TT_HEIGHT_FACE || good >= TT_LEAST_FACE_ROWS);
    }
    return supported;
}

/* One climb; its end is kept unless it is an end found before. False: out of memory. */
static bool climb(struct search *s, const struct tt_height_mode modes[], size_t n,
                  struct tt_height_start start)
{
    struct tt_height_fit *fit = TT_ARENA_NEW(s->arena, 1, struct tt_height_fit);

    if (s->work > MOST_HEIGHT_WORK) {
        return true;
    }
    if (fit == NULL ||
        tt_height_fit_init(fit, s->arena, s->heights, modes, n, true) != TIPTRUE_OK) {
        return false;
    }
    s->work += 12.0 * (double)s->heights->n_rows * (double)(fit->n * fit->n);
    if (tt_height_climb(fit, start) && faces_are_supported(fit)) {
        keep_end(s, fit);
    }
    return true;
}

/* All climbs of one set of modes; @keep: weights of the explanation that it came from, or NULL. */
static bool climb_all(struct search *s, const struct tt_height_mode modes[], size_t n,
                      const double keep[])
{
    static const double LEVELS[] = {0, 0.5, 0.7, 0.85};
    bool good = true, own = s->heights->stated_dof == 0;

    for (size_t k = 0; k < sizeof LEVELS / sizeof LEVELS[0] && good; k++) {
        good = climb(s, modes, n, (struct tt_height_start){NULL, LEVELS[k], false}) &&
               (!own || climb(s, modes, n, (struct tt_height_start){NULL, LEVELS[k], true}));
    }
    return good && (keep == NULL || climb(s, modes, n, (struct tt_height_start){keep, 0, false}));
}

/* The plain explanation, also with each pad left out of the start. */
static bool climb_plain(struct search *s)
{
    const struct tt_heights *h = s->heights;
    double *keep = TT_ARENA_NEW(s->arena, h->n_rows, double);
    bool good = keep != NULL && climb_all(s, NULL, 0, NULL);

    for (size_t p = 0; p < h->n_pads && h->n_pads > 1 && good; p++) {
        for (size_t i = 0; i < h->n_rows; i++) {
            keep[i] = h->rows[i].pad == p ? 0 : 1;
        }
        good = climb(s, NULL, 0, (struct tt_height_start){keep, 0.7, false});
    }
    return good;
}

static double best_evidence(const struct search *s)
{
    double best = -INFINITY;

    for (size_t i = 0; i < s->n_found; i++) {
        best = fmax(best, s->found[i]->log_evidence);
    }
    return best;
}

static bool concerns(const struct tt_height_fit *fit, const struct tt_height_mode *mode)
{
    bool of_pad = mode->kind == TT_HEIGHT_PAD || mode->kind == TT_HEIGHT_PAD_FAR;

    for (size_t m = 0; m < fit->n_modes; m++) {
        const struct tt_height_mode *other = &fit->modes[m];
        bool other_of_pad = other->kind == TT_HEIGHT_PAD || other->kind == TT_HEIGHT_PAD_FAR;
        if ((of_pad && other_of_pad && mode->what == other->what) ||
            (mode->kind == other->kind &&
             (mode->what == other->what || mode->kind == TT_HEIGHT_MOVE))) {
            return true;
        }
    }
    return false;
}

/* Try the modes that come within reach of the best explanation on top of @fit, by its odds @odds of
 * each in the table. */
static bool expand(struct search *s, const struct tt_height_fit *fit, double *odds, double floor)
{
    bool good = true;

    for (size_t k = 0; k < MOST_HEIGHT_MODES_CLIMBED && good; k++) {
        size_t best = s->n_table;
        for (size_t m = 0; m < s->n_table; m++) {
            best = odds[m] > floor && (best == s->n_table || odds[m] > odds[best]) ? m : best;
        }
        if (best == s->n_table) {
            break;
        }
        odds[best] = -INFINITY;
        struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
        memcpy(modes, fit->modes, fit->n_modes * sizeof *modes);
        modes[fit->n_modes] = s->table[best];
        if (!is_tried(s, modes, fit->n_modes + 1)) {
            good = climb_all(s, modes, fit->n_modes + 1, fit->good);
        }
    }
    return good;
}

/* Rounds of the table at the best explanations that were not asked yet. */
static bool go_on(struct search *s)
{
    double *odds = TT_ARENA_NEW(s->arena, s->n_table, double);

    for (int k = 0; k < MOST_HEIGHT_ROUNDS * MOST_HEIGHT_EXPANDED; k++) {
        double best = best_evidence(s);
        size_t at = s->n_found;
        for (size_t i = 0; i < s->n_found; i++) {
            bool better =
                at == s->n_found || s->found[i]->log_evidence > s->found[at]->log_evidence;
            at = !s->expanded[i] && s->found[i]->n_modes < TT_MOST_HEIGHT_MODES && better ? i : at;
        }
        if (odds == NULL || at == s->n_found) {
            return odds != NULL;
        }
        struct tt_height_fit *fit = s->found[at];
        s->expanded[at] = true;
        for (size_t m = 0; m < s->n_table; m++) {
            odds[m] = concerns(fit, &s->table[m]) ? -INFINITY : tt_height_odds(fit, &s->table[m]);
        }
        double floor = fmin(best - fit->log_evidence - HEIGHT_WORTH_A_CLIMB, -2.0);
        floor = fmax(floor, -HEIGHT_WORTH_A_CLIMB);
        if (!expand(s, fit, odds, floor)) {
            return false;
        }
    }
    return true;
}

/* ---- what the choice means ---- */

/* The fit that stands for @found in results: least squares of its good touches. */
static struct tt_height_fit *finish(struct search *s, const struct tt_height_fit *found)
{
    struct tt_height_fit *fit = TT_ARENA_NEW(s->arena, 1, struct tt_height_fit);
    double *good = TT_ARENA_NEW(s->arena, s->heights->n_rows, double);

    if (fit == NULL || good == NULL ||
        tt_height_fit_init(fit, s->arena, s->heights, found->modes, found->n_modes, false) !=
            TIPTRUE_OK) {
        return NULL;
    }
    for (size_t i = 0; i < s->heights->n_rows; i++) {
        good[i] = found->good[i] > 0.5 ? 1 : 0;
    }
    return tt_height_least_squares(fit, good) ? fit : NULL;
}

/* One or two touches set aside that are no further off than the good ones' tail are taken back. */
static bool take_back(const struct search *s, struct tt_height_fit *fit)
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

static bool adds_to(const struct tt_height_fit *more, const struct tt_height_fit *less)
{
    size_t same = 0;

    for (size_t i = 0; i < less->n_modes; i++) {
        for (size_t k = 0; k < more->n_modes; k++) {
            same += less->modes[i].kind == more->modes[k].kind &&
                    less->modes[i].what == more->modes[k].what;
        }
    }
    return same == less->n_modes && more->n_modes > less->n_modes;
}

/* Differences of a rival's heights from the adopted ones' into the second moment, and what is too
 * far off for it. */
static bool weigh(const struct search *s, struct tt_height_choice *choice,
                  const struct tt_height_fit *rival, double share, double odds)
{
    size_t n = s->heights->n_tips, room = choice->fit->n > rival->n ? choice->fit->n : rival->n;
    double *g = TT_ARENA_NEW(s->arena, 2 * room, double), *off = TT_ARENA_NEW(s->arena, n, double);
    double most = 0;

    if (g == NULL || off == NULL) {
        return false;
    }
    for (size_t t = 0; t < n; t++) {
        tt_height_gradient(choice->fit, choice->slope_known, t, TT_NONE, g);
        struct tt_height_sum own = tt_height_sum_of(choice->fit, g, g + room);
        tt_height_gradient(rival, choice->slope_known, t, TT_NONE, g);
        struct tt_height_sum other = tt_height_sum_of(rival, g, g + room);
        off[t] = other.value_mm - own.value_mm;
        double enlarged = own.variance_mm2 + share * off[t] * off[t];
        double mine = tt_factor_line(fmax(choice->fit->pooled_dof, 1)) * sqrt(enlarged),
               its = tt_factor_line(fmax(rival->pooled_dof, 1)) * sqrt(other.variance_mm2);
        bool far = fabs(off[t]) > mine && fabs(off[t]) > its;
        choice->ambiguous[t] = choice->ambiguous[t] || far;
        most = far ? fmax(most, fabs(off[t])) : most;
    }
    for (size_t t = 0; t < n; t++) {
        for (size_t u = 0; u < n; u++) {
            choice->rivals_mm2[t * n + u] += share * off[t] * off[u];
        }
    }
    if (most > 0 && (choice->rival == NULL || odds < choice->rival_odds)) {
        choice->rival = rival;
        choice->rival_odds = odds;
    }
    return true;
}

static bool counts(const struct tt_height_fit *best, const struct tt_height_fit *other)
{
    double behind = best->log_evidence - other->log_evidence;

    return other != best && behind < (adds_to(other, best) ? HEIGHT_NESTED_LN : TT_RIVAL_LN);
}

/* The best explanation without each of its modes, from the touches that it calls good: what a mode
 * found by the way of others must do without it. */
static bool climb_without(struct search *s)
{
    size_t best = 0;

    for (size_t i = 1; i < s->n_found; i++) {
        best = s->found[i]->log_evidence > s->found[best]->log_evidence ? i : best;
    }
    for (size_t m = 0; m < s->found[best]->n_modes; m++) {
        struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
        size_t n = 0;
        for (size_t k = 0; k < s->found[best]->n_modes; k++) {
            modes[n] = s->found[best]->modes[k];
            n += k != m;
        }
        if (!climb(s, modes, n, (struct tt_height_start){s->found[best]->good, 0, true})) {
            return false;
        }
    }
    return true;
}

static enum tiptrue_status decide(struct search *s, struct tt_height_choice *choice)
{
    const struct tt_height_fit *best = s->found[0];
    double sum = 1;

    for (size_t i = 1; i < s->n_found; i++) {
        best = s->found[i]->log_evidence > best->log_evidence ? s->found[i] : best;
    }
    choice->fit = finish(s, best);
    if (choice->fit == NULL || !take_back(s, choice->fit)) {
        return TIPTRUE_E_MEMORY;
    }
    choice->slope_known = tt_height_slope_is_known(choice->fit, 0);
    for (size_t i = 0; i < s->n_found; i++) {
        sum += counts(best, s->found[i]) ? exp(s->found[i]->log_evidence - best->log_evidence) : 0;
    }
    for (size_t i = 0; i < s->n_found; i++) {
        if (!counts(best, s->found[i])) {
            continue;
        }
        double ratio = exp(s->found[i]->log_evidence - best->log_evidence);
        const struct tt_height_fit *rival = finish(s, s->found[i]);
        if (rival == NULL || !weigh(s, choice, rival, ratio / sum, 1 / ratio)) {
            return TIPTRUE_E_MEMORY;
        }
    }
    return TIPTRUE_OK;
}

/* Variances that the same touches, all good, would give. */
static bool fill_all_good(struct search *s, struct tt_height_choice *choice)
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

/* Whether least squares of all touches needs no other explanation. */
static bool stands(struct search *s, struct tt_height_fit *fit)
{
    if (!tt_height_looks_clean(fit)) {
        return false;
    }
    for (size_t m = 0; m < s->n_table; m++) {
        if (tt_height_odds(fit, &s->table[m]) > 0) {
            return false;
        }
    }
    return true;
}

static enum tiptrue_status look_for(struct search *s, struct tt_height_choice *choice)
{
    double *odds = TT_ARENA_NEW(s->arena, s->n_table, double);
    struct tt_height_fit plain;

    if (odds == NULL ||
        tt_height_fit_init(&plain, s->arena, s->heights, NULL, 0, true) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    if (!tt_height_least_squares(&plain, NULL)) {
        return TIPTRUE_E_DEGENERATE;
    }
    if (!climb_plain(s)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t m = 0; m < s->n_table; m++) {
        odds[m] = tt_height_odds(&plain, &s->table[m]);
    }
    if (!expand(s, &plain, odds, -2.0) || !go_on(s) || !climb_without(s)) {
        return TIPTRUE_E_MEMORY;
    }
    return s->n_found > 0 ? decide(s, choice) : TIPTRUE_E_DEGENERATE;
}

enum tiptrue_status tt_height_choose(struct tt_height_choice *choice, struct tt_arena *arena,
                                     const struct tt_heights *heights, bool robust)
{
    struct search s = {.arena = arena, .heights = heights};
    struct tt_height_fit first;
    enum tiptrue_status status = TIPTRUE_OK;

    *choice = (struct tt_height_choice){0};
    choice->rivals_mm2 = TT_ARENA_NEW(arena, heights->n_tips * heights->n_tips, double);
    choice->ambiguous = TT_ARENA_NEW(arena, heights->n_tips, bool);
    choice->all_good_mm2 = TT_ARENA_NEW(arena, heights->n_tips, double);
    choice->fit = TT_ARENA_NEW(arena, 1, struct tt_height_fit);
    if (choice->rivals_mm2 == NULL || choice->ambiguous == NULL || choice->all_good_mm2 == NULL ||
        choice->fit == NULL || !tt_height_table(arena, heights, &s.table, &s.n_table) ||
        tt_height_fit_init(&first, arena, heights, NULL, 0, true) != TIPTRUE_OK ||
        tt_height_fit_init(choice->fit, arena, heights, NULL, 0, false) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    if (!tt_height_least_squares(&first, NULL) || !tt_height_least_squares(choice->fit, NULL)) {
        return TIPTRUE_E_DEGENERATE;
    }
    if (robust && !stands(&s, &first)) {
        status = look_for(&s, choice);
    } else {
        choice->slope_known = tt_height_slope_is_known(choice->fit, 0);
    }
    return status != TIPTRUE_OK         ? status
           : !fill_all_good(&s, choice) ? TIPTRUE_E_MEMORY
                                        : TIPTRUE_OK;
}
