/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/height_search.h"

#include <math.h>
#include <string.h>

#include "adjust/explain_parts.h"
#include "adjust/height_pool.h"

/* Sets of good touches that are kept of one set of modes, and ln evidence behind its best one. */
#define MOST_HEIGHT_ENDS 24
#define HEIGHT_END_WORTH 9.0
/* Repeatabilities that sets are looked for with: stated, and so many times that; else these. */
#define WIDE_SCATTER 2.5
#define TIGHT_SCATTER_MM 1.5e-3
#define WIDE_SCATTER_MM 5e-3
/* ln odds that make a mode come first that touches which are called off may hide. */
#define HEIGHT_HIDDEN_FIRST 100.0
/* ln odds of a mode from which it is tried. */
#define HEIGHT_TRIED_LN (-2.0)
/* Explanations on top of which modes are tried. */
#define MOST_HEIGHT_EXPANDED 6
#define MOST_HEIGHT_MODES_TRIED 8
#define HEIGHT_WORTH_A_TRY (TT_RIVAL_LN + 2.0)
/* Touches times unknowns squared of all sets together, from which no more are looked for. */
#define MOST_HEIGHT_WORK 3e9

/* ---- explanations ---- */

static bool same_modes(const struct tt_height_explanation *a, const struct tt_height_mode modes[],
                       size_t n)
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

static bool is_tried(const struct tt_height_pool *s, const struct tt_height_mode modes[], size_t n)
{
    for (size_t i = 0; i < s->n_found; i++) {
        if (same_modes(&s->found[i], modes, n)) {
            return true;
        }
    }
    return false;
}

/* Whether the touches @good are entered since @first. */
static bool is_entered(const struct tt_height_pool *s, size_t first, const double good[])
{
    for (size_t i = first; i < s->n_found; i++) {
        if (memcmp(s->found[i].good, good, s->heights->n_rows * sizeof *good) == 0) {
            return true;
        }
    }
    return false;
}

/* Enter what @fit says, instead of the least probable since @first where there are many. False: out
 * of memory. */
static bool enter(struct tt_height_pool *s, size_t first, const struct tt_height_fit *fit)
{
    bool full = s->n_found - first == MOST_HEIGHT_ENDS || s->n_found == TT_MOST_HEIGHT_EXPLANATIONS;
    size_t at = full ? first : s->n_found;

    if (is_entered(s, first, fit->good)) {
        return true;
    }
    for (size_t i = first; i < s->n_found && full; i++) {
        at = s->found[i].log_evidence < s->found[at].log_evidence ? i : at;
    }
    if (full && (first == s->n_found || s->found[at].log_evidence > fit->log_evidence)) {
        return true;
    }
    struct tt_height_explanation *e = &s->found[at];
    *e = (struct tt_height_explanation){.n_modes = fit->n_modes,
                                        .good = TT_ARENA_NEW(s->arena, s->heights->n_rows, double),
                                        .log_evidence = fit->log_evidence};
    if (e->good == NULL) {
        return false;
    }
    memcpy(e->modes, fit->modes, sizeof e->modes);
    memcpy(e->good, fit->good, s->heights->n_rows * sizeof *e->good);
    s->n_found += full ? 0 : 1;
    return true;
}

/* Score the sets found of @fit's modes that are not far behind. False: out of memory. */
static bool score_sets(struct tt_height_pool *s, struct tt_height_fit *fit, size_t first,
                       double *best)
{
    double prior = 0;

    for (size_t m = 0; m < fit->n_modes; m++) {
        prior += fit->modes[m].log_p;
    }
    *best = first == 0 ? s->sets.best : fmax(*best, s->sets.best + prior);
    for (size_t i = 0; i < s->sets.n; i++) {
        if (s->sets.log_p[i] + prior < *best - HEIGHT_END_WORTH ||
            is_entered(s, first, s->sets.good[i])) {
            continue;
        }
        memcpy(fit->good, s->sets.good[i], s->heights->n_rows * sizeof *fit->good);
        if (tt_height_score(fit) && !enter(s, first, fit)) {
            return false;
        }
    }
    return true;
}

/* The probable sets of good touches with these modes. False: out of memory. */
static bool try_modes(struct tt_height_pool *s, const struct tt_height_mode modes[], size_t n)
{
    const struct tt_heights *h = s->heights;
    double stated = sqrt(h->stated_mm2 + h->digit_mm2);
    const double sd[] = {h->stated_dof > 0 ? stated : TIGHT_SCATTER_MM,
                         h->stated_dof > 0 ? WIDE_SCATTER * stated : WIDE_SCATTER_MM};
    size_t first = s->n_found;
    struct tt_height_fit fit;
    bool good = true;

    if (s->work > MOST_HEIGHT_WORK) {
        return true;
    }
    if (tt_height_fit_init(&fit, s->arena, h, modes, n, true) != TIPTRUE_OK) {
        return false;
    }
    s->work += 3.0 * TT_MOST_HEIGHT_SETS * (double)h->n_rows * (double)(fit.n * fit.n);
    for (size_t k = 0; k < sizeof sd / sizeof sd[0] && good; k++) {
        tt_height_sets_find(&s->sets, &fit, sd[k]);
        good = score_sets(s, &fit, first, &s->best[k]);
    }
    return good;
}

/* Whether @mode is there, or something instead of it. */
static bool concerns(const struct tt_height_explanation *e, const struct tt_height_mode *mode)
{
    bool of_pad = mode->kind == TT_HEIGHT_PAD || mode->kind == TT_HEIGHT_PAD_FAR;

    for (size_t m = 0; m < e->n_modes; m++) {
        const struct tt_height_mode *other = &e->modes[m];
        bool other_of_pad = other->kind == TT_HEIGHT_PAD || other->kind == TT_HEIGHT_PAD_FAR;
        if ((of_pad && other_of_pad && mode->what == other->what) ||
            (mode->kind == other->kind &&
             (mode->what == other->what || mode->kind == TT_HEIGHT_MOVE))) {
            return true;
        }
    }
    return false;
}

/* Whether @mode may be hidden by touches that are called off. */
static bool may_be_hidden(const struct tt_height_pool *s, const double good[],
                          const struct tt_height_mode *mode)
{
    bool face = mode->kind == TT_HEIGHT_FACE, hidden = false,
         pad = (mode->kind == TT_HEIGHT_PAD || mode->kind == TT_HEIGHT_PAD_FAR) &&
               s->heights->n_pads > 1;

    for (size_t i = 0; i < s->heights->n_rows; i++) {
        const struct tt_height_row *row = &s->heights->rows[i];
        bool here = (face && row->tip == mode->what) || (pad && row->pad == mode->what);
        hidden = hidden || (here && good[i] == 0);
    }
    return hidden;
}

/* Try on top of @e the modes that come within @floor by their odds there, and, if @hidden, those
 * that it may hide. */
static bool expand(struct tt_height_pool *s, const struct tt_height_explanation *e, double floor,
                   bool hidden)
{
    double *odds = TT_ARENA_NEW(s->arena, s->n_table, double);
    struct tt_height_fit fit;
    bool good = true;

    if (odds == NULL ||
        tt_height_fit_init(&fit, s->arena, s->heights, e->modes, e->n_modes, true) != TIPTRUE_OK) {
        return false;
    }
    if (!tt_height_least_squares(&fit, e->good)) {
        return true;
    }
    for (size_t m = 0; m < s->n_table; m++) {
        odds[m] = concerns(e, &s->table[m]) ? -INFINITY : tt_height_odds(&fit, &s->table[m]);
        odds[m] += hidden && may_be_hidden(s, fit.good, &s->table[m]) ? HEIGHT_HIDDEN_FIRST : 0;
    }
    for (size_t k = 0; k < MOST_HEIGHT_MODES_TRIED && good; k++) {
        size_t best = 0;
        for (size_t m = 1; m < s->n_table; m++) {
            best = odds[m] > odds[best] ? m : best;
        }
        if (!(odds[best] > floor)) {
            break;
        }
        odds[best] = -INFINITY;
        struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
        memcpy(modes, e->modes, e->n_modes * sizeof *modes);
        modes[e->n_modes] = s->table[best];
        good = is_tried(s, modes, e->n_modes + 1) || try_modes(s, modes, e->n_modes + 1);
    }
    return good;
}

static struct tt_height_explanation *best_of(struct tt_height_pool *s, bool to_expand)
{
    struct tt_height_explanation *best = NULL;

    for (size_t i = 0; i < s->n_found; i++) {
        struct tt_height_explanation *e = &s->found[i];
        bool asked = !to_expand || (!e->expanded && e->n_modes < TT_MOST_HEIGHT_MODES);
        best = asked && (best == NULL || e->log_evidence > best->log_evidence) ? e : best;
    }
    return best;
}

/* Modes on top of the best explanations, each set of modes once. */
static bool go_on(struct tt_height_pool *s)
{
    bool good = true;

    for (int k = 0; k < MOST_HEIGHT_EXPANDED && good; k++) {
        const struct tt_height_explanation *best = best_of(s, false), *at = best_of(s, true);
        if (at == NULL) {
            break;
        }
        struct tt_height_explanation e = *at;
        for (size_t i = 0; i < s->n_found; i++) {
            struct tt_height_explanation *same = &s->found[i];
            same->expanded = same->expanded || same_modes(same, e.modes, e.n_modes);
        }
        double floor =
            fmin(best->log_evidence - e.log_evidence - HEIGHT_WORTH_A_TRY, HEIGHT_TRIED_LN);
        good = expand(s, &e, fmax(floor, -HEIGHT_WORTH_A_TRY),
                      best->log_evidence - e.log_evidence < TT_RIVAL_LN);
    }
    return good;
}

/* The best explanation without each of its modes, and with others instead: another pad, say, that
 * explains as much. */
static bool replace_modes(struct tt_height_pool *s)
{
    const struct tt_height_explanation *found = best_of(s, false);
    bool good = true;

    if (found == NULL) {
        return true;
    }
    const struct tt_height_explanation best = *found;
    for (size_t m = 0; m < best.n_modes && good; m++) {
        struct tt_height_explanation e = best;
        e.n_modes = 0;
        for (size_t k = 0; k < best.n_modes; k++) {
            e.modes[e.n_modes] = best.modes[k];
            e.n_modes += k != m;
        }
        good = (is_tried(s, e.modes, e.n_modes) || try_modes(s, e.modes, e.n_modes)) &&
               expand(s, &e, HEIGHT_TRIED_LN, true);
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

static enum tiptrue_status look_for(struct tt_height_pool *s, struct tt_height_choice *choice,
                                    size_t most_unknowns)
{
    struct tt_height_explanation all = {.good = TT_ARENA_NEW(s->arena, s->heights->n_rows, double)};

    if (all.good == NULL || !tt_height_sets_init(&s->sets, s->arena, s->heights, most_unknowns) ||
        !try_modes(s, NULL, 0)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < s->heights->n_rows; i++) {
        all.good[i] = 1;
    }
    if (!expand(s, &all, HEIGHT_TRIED_LN, true) || !go_on(s) || !replace_modes(s)) {
        return TIPTRUE_E_MEMORY;
    }
    return tt_height_decide(s, choice);
}

enum tiptrue_status tt_height_choose(struct tt_height_choice *choice, struct tt_arena *arena,
                                     const struct tt_heights *heights, bool robust)
{
    struct tt_height_pool *s = TT_ARENA_NEW(arena, 1, struct tt_height_pool);
    struct tt_height_fit first;
    enum tiptrue_status status = TIPTRUE_OK;

    *choice = (struct tt_height_choice){0};
    choice->ambiguous = TT_ARENA_NEW(arena, heights->n_tips, bool);
    choice->all_good_mm2 = TT_ARENA_NEW(arena, heights->n_tips, double);
    choice->fit = TT_ARENA_NEW(arena, 1, struct tt_height_fit);
    if (s == NULL || choice->ambiguous == NULL || choice->all_good_mm2 == NULL ||
        choice->fit == NULL || !tt_height_table(arena, heights, &s->table, &s->n_table) ||
        tt_height_fit_init(&first, arena, heights, NULL, 0, true) != TIPTRUE_OK ||
        tt_height_fit_init(choice->fit, arena, heights, NULL, 0, false) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    size_t most = first.n + 2 * TT_MOST_HEIGHT_MODES;
    choice->g = TT_ARENA_NEW(arena, 2 * most, double);
    s->arena = arena;
    s->heights = heights;
    if (choice->g == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if (!tt_height_least_squares(&first, NULL) || !tt_height_least_squares(choice->fit, NULL)) {
        return TIPTRUE_E_DEGENERATE;
    }
    if (robust && !stands(s, &first)) {
        status = look_for(s, choice, most);
    } else {
        choice->slope_known = tt_height_slope_is_known(choice->fit, 0);
    }
    return status != TIPTRUE_OK             ? status
           : !tt_height_all_good(s, choice) ? TIPTRUE_E_MEMORY
                                            : TIPTRUE_OK;
}
