/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/height_search.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"
#include "adjust/height_climb.h"
#include "adjust/height_pool.h"

/* Ends of climbs that are kept of one set of modes. */
#define MOST_HEIGHT_ENDS 4
#define MOST_HEIGHT_EXPANDED 3
#define MOST_HEIGHT_ROUNDS 3
#define MOST_HEIGHT_MODES_CLIMBED 8
#define HEIGHT_WORTH_A_CLIMB (TT_RIVAL_LN + 2.0)
/* Touches times unknowns squared of all explanations together, from which no more are looked for.
 */
#define MOST_HEIGHT_WORK 3e9
/* Good touches that a face runout rests on at least: one more than its unknowns and the height. */
#define LEAST_FACE_GOOD 3
/* ln likelihood behind the best set of a tip within which others are climbed. */
#define HEIGHT_SET_WORTH 13.0

/* ---- explanations ---- */

static bool same_modes(const struct tt_height_fit *a, const struct tt_height_mode modes[], size_t n)
{
    size_t same = 0;

    for (size_t i = 0; i < a->n_modes; i++) {
        for (size_t k = 0; k < n; k++) {
            same += a->modes[i].kind == modes[k].kind && a->modes[i].what == modes[k].what &&
                    a->modes[i].size == modes[k].size;
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

static bool is_tried(const struct tt_height_pool *s, const struct tt_height_mode modes[], size_t n)
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
static void keep_end(struct tt_height_pool *s, struct tt_height_fit *fit)
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
    if (ends < MOST_HEIGHT_ENDS && s->n_found < TT_MOST_HEIGHT_EXPLANATIONS) {
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
        supported = supported && (fit->modes[m].kind != TT_HEIGHT_FACE || good >= LEAST_FACE_GOOD);
    }
    return supported;
}

/* One climb; its end is kept unless it is an end found before. False: out of memory. */
static bool climb(struct tt_height_pool *s, const struct tt_height_mode modes[], size_t n,
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
static bool climb_all(struct tt_height_pool *s, const struct tt_height_mode modes[], size_t n,
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
static bool climb_plain(struct tt_height_pool *s)
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

static double best_evidence(const struct tt_height_pool *s)
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
static bool expand(struct tt_height_pool *s, const struct tt_height_fit *fit, double *odds,
                   double floor)
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
static bool go_on(struct tt_height_pool *s)
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

/* The best explanation without each of its modes, from the touches that it calls good: what a mode
 * found by the way of others must do without it. */
static bool climb_without(struct tt_height_pool *s)
{
    const struct tt_height_fit *best = tt_height_best(s);

    for (size_t m = 0; m < best->n_modes; m++) {
        struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
        size_t n = 0;
        for (size_t k = 0; k < best->n_modes; k++) {
            modes[n] = best->modes[k];
            n += k != m;
        }
        if (!climb(s, modes, n, (struct tt_height_start){best->good, 0, true})) {
            return false;
        }
    }
    return true;
}

/* The best explanation @best with other touches of @tip good, without its face runout, or with
 * @face. */
static bool climb_sets(struct tt_height_pool *s, const struct tt_height_fit *best, size_t tip,
                       const struct tt_height_mode *face)
{
    struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
    struct tt_height_sets sets;
    size_t n = 0;
    double *keep = TT_ARENA_NEW(s->arena, s->heights->n_rows, double);

    for (size_t m = 0; m < best->n_modes; m++) {
        modes[n] = best->modes[m];
        n += modes[n].kind != TT_HEIGHT_FACE || modes[n].what != tip;
    }
    if (keep == NULL || (face != NULL && n == TT_MOST_HEIGHT_MODES)) {
        return keep != NULL;
    }
    if (face != NULL) {
        modes[n++] = *face;
    }
    tt_height_sets(best, tip, face != NULL ? &face->size : NULL, &sets);
    for (size_t k = 0; k < sets.n && sets.score[k] > sets.score[0] - HEIGHT_SET_WORTH; k++) {
        memcpy(keep, best->good, s->heights->n_rows * sizeof *keep);
        for (size_t i = 0; i < sets.n_rows; i++) {
            keep[sets.row[i]] = sets.with[k] >> i & 1;
        }
        if (!climb(s, modes, n, (struct tt_height_start){keep, 0, true})) {
            return false;
        }
    }
    return true;
}

static bool climb_elements(struct tt_height_pool *s)
{
    const struct tt_height_fit *best = NULL;
    bool good = true;

    for (int round = 0; round < MOST_HEIGHT_ROUNDS && good && best != tt_height_best(s); round++) {
        best = tt_height_best(s);
        for (size_t t = 0; t < s->heights->n_tips && good; t++) {
            good = climb_sets(s, best, t, NULL);
            for (size_t m = 0; m < s->n_table && good; m++) {
                good = s->table[m].kind != TT_HEIGHT_FACE || s->table[m].what != t ||
                       climb_sets(s, best, t, &s->table[m]);
            }
        }
    }
    return good;
}

/* Whether least squares of all touches needs no other explanation. */
static bool stands(struct tt_height_pool *s, struct tt_height_fit *fit)
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

static enum tiptrue_status look_for(struct tt_height_pool *s, struct tt_height_choice *choice)
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
    if (!expand(s, &plain, odds, -2.0) || !go_on(s) || !climb_elements(s) || !climb_without(s)) {
        return TIPTRUE_E_MEMORY;
    }
    return s->n_found > 0 ? tt_height_decide(s, choice) : TIPTRUE_E_DEGENERATE;
}

enum tiptrue_status tt_height_choose(struct tt_height_choice *choice, struct tt_arena *arena,
                                     const struct tt_heights *heights, bool robust)
{
    struct tt_height_pool s = {.arena = arena, .heights = heights};
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
    return status != TIPTRUE_OK              ? status
           : !tt_height_all_good(&s, choice) ? TIPTRUE_E_MEMORY
                                             : TIPTRUE_OK;
}
