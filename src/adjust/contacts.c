/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings about single contacts: late, early, missing, scattered; and about how the log was taken.
 */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

#include "adjust/findings.h"
#include "base/order.h"

/* With half of all touches off, good and late cannot be told apart (breakdown of any method that is
 * not told which is which). */
#define MOST_OFF_SHARE 0.5
/* Fewer touches of a tip than these, some of them set aside, determine nothing that could
 * contradict them. */
#define LEAST_KEPT 5
/* Nor is a tip's offset known if touches were set aside and the kept ones leave fewer degrees of
 * freedom than one more than those, or than this: as many late ones could stand unseen among them.
 * Larger, and twelve touches with one late one are refused; smaller, and 4 of 15 in 12 000 drawn
 * runs of one to three touches an edge were off by more than 3 U. */
#define LEAST_REDUNDANCY 5.0
/* Late or early by more than this is a wrong row, not a contact. */
#define GROSS_MM 0.5
#define SAME_TURN 2e-4 /* of a turn: 0.07 degrees */
/* The log's digits are coarse when their part of a touch's variance exceeds this. */
#define COARSE_SHARE 0.25

/* Lines of the touches on @edge (TT_NONE: any) for which @which holds. */
typedef bool choose_touch(const struct tt_view *view, size_t touch);

static bool is_late(const struct tt_view *view, size_t i)
{
    return !(view->fit->good[i] > 0) && view->model->residual[i] < 0;
}

static bool is_early(const struct tt_view *view, size_t i)
{
    return !(view->fit->good[i] > 0) && view->model->residual[i] >= 0;
}

struct group {
    size_t edge, touches, used, n;
    size_t *lines;            /* of the chosen */
    double least_mm, most_mm; /* of their depths */
};

static bool gather(const struct tt_view *view, size_t edge, choose_touch *chosen,
                   struct group *group)
{
    *group = (struct group){.edge = edge, .least_mm = INFINITY};
    group->lines = TT_ARENA_NEW(view->scratch, view->model->n_touches, size_t);
    if (group->lines == NULL) {
        return false;
    }
    for (size_t i = 0; i < view->model->n_touches; i++) {
        if (view->model->cells[view->model->cell_of[i]].edge != edge) {
            continue;
        }
        group->touches++;
        group->used += view->fit->good[i] > 0;
        if (chosen(view, i)) {
            double depth = fabs(view->model->residual[i]);
            group->lines[group->n++] = view->run->observations[view->model->row[i]].line;
            group->least_mm = fmin(group->least_mm, depth);
            group->most_mm = fmax(group->most_mm, depth);
        }
    }
    qsort(group->lines, group->n, sizeof *group->lines, tt_by_count);
    return true;
}

static enum tiptrue_status late_edge(struct tt_view *view, size_t edge)
{
    struct group late;

    if (!gather(view, edge, is_late, &late)) {
        return TIPTRUE_E_MEMORY;
    }
    if (late.n == 0) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_LATE_CONTACT, TIPTRUE_WARNING,
        (struct tt_about){edge, TT_NONE, TT_NONE, late.lines, late.n},
        TT_VALUES(TT_TEXT("what", late.most_mm > GROSS_MM ? "gross" : "film"),
                  TT_PLAIN("late", late.n), TT_PLAIN("of", late.touches),
                  TT_IN_MM("depth_min", late.least_mm),
                  TT_IN_MM("depth_max", late.n > 1 ? late.most_mm : NAN)));
}

static enum tiptrue_status early_edge(struct tt_view *view, size_t edge)
{
    struct group early;

    if (!gather(view, edge, is_early, &early)) {
        return TIPTRUE_E_MEMORY;
    }
    if (early.n == 0) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_SCATTERED, TIPTRUE_WARNING,
        (struct tt_about){edge, TT_NONE, TT_NONE, early.lines, early.n},
        TT_VALUES(TT_TEXT("what", early.most_mm > GROSS_MM ? "early-gross" : "early"),
                  TT_PLAIN("early", early.n), TT_PLAIN("of", early.touches),
                  TT_IN_MM("off_max", early.most_mm)));
}

/* Degrees of freedom that the tip's kept touches leave: how many of them could be wrong and be
 * contradicted by the others. */
static double redundancy_of_tip(const struct tt_view *view, size_t index)
{
    size_t block = view->model->tip_block[tt_run_tip(view, index)];
    double sum = 0;

    for (size_t i = 0; i < view->model->n_touches; i++) {
        if (view->model->cells[view->model->cell_of[i]].block == block && view->fit->good[i] > 0) {
            sum += 1 - view->fit->leverage[i];
        }
    }
    return sum;
}

/* Of how many touches of the @index-th tip of the solution too few are left: half set aside, fewer
 * than five, or so few that they could not contradict another one like those. */
static enum tiptrue_status most_off_of_tip(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    size_t aside = tip->touches - tip->used;

    if (aside == 0 ||
        ((double)aside <= MOST_OFF_SHARE * (double)tip->touches && tip->used >= LEAST_KEPT &&
         redundancy_of_tip(view, index) >= fmin((double)aside + 1, LEAST_REDUNDANCY))) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_LATE_CONTACT, TIPTRUE_ERROR, TT_ABOUT_TIP(tt_run_tip(view, index)),
        TT_VALUES(TT_TEXT("what", "most"), TT_PLAIN("aside", aside), TT_PLAIN("of", tip->touches)));
}

static enum tiptrue_status most_off(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        status = most_off_of_tip(view, i);
    }
    return status;
}

static enum tiptrue_status late_and_early(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t j = 0;
         j < view->plate->n_edges && status == TIPTRUE_OK && view->solution->touches_set_aside > 0;
         j++) {
        status = late_edge(view, j);
        status = status == TIPTRUE_OK ? early_edge(view, j) : status;
    }
    return status;
}

static enum tiptrue_status add_scattered(struct tt_view *view, const char *what, double found_mm,
                                         double stated_var_mm2)
{
    return tt_finding_add_values(view, TT_FINDING_SCATTERED, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("what", what), TT_IN_MM("found", found_mm),
                                           TT_IN_MM("stated", sqrt(stated_var_mm2))));
}

static enum tiptrue_status scattered(struct tt_view *view)
{
    const struct tt_noise *noise = view->noise;
    enum tiptrue_status status = TIPTRUE_OK;

    if (noise->touch_known && view->fit->scattered) {
        status = add_scattered(view, "touches", view->solution->u_touch_mm, noise->touch_var_mm2);
    }
    if (status == TIPTRUE_OK && view->fit->sight_scattered) {
        status =
            add_scattered(view, "sightings", view->solution->u_sighting_mm, noise->sight_var_mm2);
    }
    return status;
}

/* Moves that ended without a trip, tip by tip. */
static enum tiptrue_status no_contact(struct tt_view *view)
{
    const struct tiptrue_run *run = view->run;
    size_t *lines = TT_ARENA_NEW(view->scratch, run->n_observations, size_t);
    enum tiptrue_status status = TIPTRUE_OK;

    if (lines == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < run->n_tips && status == TIPTRUE_OK; t++) {
        size_t n = 0, moves = 0;
        for (size_t i = 0; i < run->n_observations; i++) {
            const struct tt_observation *o = &run->observations[i];
            if (o->kind == TT_TOUCH && o->tip == t) {
                moves++;
                if (o->use == TT_USE_NO_CONTACT) {
                    lines[n++] = o->line;
                }
            }
        }
        if (n == 0) {
            continue;
        }
        status = tt_finding_add_values(view, TT_FINDING_NO_CONTACT, TIPTRUE_WARNING,
                                       (struct tt_about){TT_NONE, t, TT_NONE, lines, n},
                                       TT_VALUES(TT_PLAIN("missed", n), TT_PLAIN("of", moves)));
    }
    return status;
}

static enum tiptrue_status coarse_digits(struct tt_view *view)
{
    double digit = view->run->touch_digits.quantum_mm, part = view->noise->touch_digit_var_mm2;

    if (!(digit > view->machine->resolution_mm) ||
        !(part > COARSE_SHARE * view->fit->touch_var_mm2) || !(digit > 2e-4)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_COARSE_DIGITS, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                 TT_VALUES(TT_IN_MM("step", digit)));
}

/* Sightings of a setup that were all reached from the same side. */
static enum tiptrue_status one_sided_sightings(struct tt_view *view)
{
    const struct tiptrue_run *run = view->run;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t s = 0; s < run->n_setups && status == TIPTRUE_OK; s++) {
        int low_x = 2, high_x = -2, low_y = 2, high_y = -2;
        bool stated = false;
        for (size_t i = 0; i < run->n_observations; i++) {
            const struct tt_observation *o = &run->observations[i];
            if (tt_is_sighting(o->kind) && o->setup == s &&
                (o->approach_x != 0 || o->approach_y != 0)) {
                stated = true;
                low_x = o->approach_x < low_x ? o->approach_x : low_x;
                high_x = o->approach_x > high_x ? o->approach_x : high_x;
                low_y = o->approach_y < low_y ? o->approach_y : low_y;
                high_y = o->approach_y > high_y ? o->approach_y : high_y;
            }
        }
        bool x = stated && low_x == high_x && low_x != 0,
             y = stated && low_y == high_y && low_y != 0;
        if (!x && !y) {
            continue;
        }
        status = tt_finding_add_values(
            view, TT_FINDING_SIGHTINGS_ONE_SIDED, TIPTRUE_WARNING, TT_ABOUT_SETUP(s),
            TT_VALUES(TT_TEXT("along", x && y ? "xy"
                                       : x    ? "x"
                                              : "y"),
                      TT_TEXT("of_setup", run->n_setups > 1 ? run->setups[s] : "")));
    }
    return status;
}

/* How many rotations @touches of a cell were made at if they are evenly spaced around the turn,
 * each once or oftener; else 0. */
static size_t even_rotations(const struct tt_view *view, const struct tt_cell *cell, double turns[])
{
    size_t n = 0;

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        double turn =
            fmod(view->run->observations[view->model->row[i]].rotation_rad / (2 * TT_PI), 1);
        turns[n++] = turn < 0 ? turn + 1 : turn;
    }
    gsl_sort(turns, 1, n);
    size_t distinct = 0;
    for (size_t i = 0; i < n; i++) {
        if (distinct == 0 || turns[i] - turns[distinct - 1] > SAME_TURN) {
            turns[distinct++] = turns[i];
        }
    }
    if (distinct > 1 && turns[0] + 1 - turns[distinct - 1] < SAME_TURN) {
        distinct--;
    }
    for (size_t i = 1; i < distinct; i++) {
        if (fabs(turns[i] - turns[0] - (double)i / (double)distinct) > 2 * SAME_TURN) {
            return 0;
        }
    }
    return distinct;
}

/* The number of evenly spaced rotations at which the tip of block @b was touched on each of its
 * edges; 0 where the edges differ. */
static size_t common_rotations(const struct tt_view *view, size_t b, double turns[])
{
    const struct tt_model *model = view->model;
    size_t common = 0, cells = 0;

    for (size_t c = 0; c < model->n_cells; c++) {
        if (model->cells[c].block != b) {
            continue;
        }
        size_t n = even_rotations(view, &model->cells[c], turns);
        common = cells == 0 || n == common ? n : 0;
        cells++;
        if (common == 0) {
            return 0;
        }
    }
    return common;
}

/* An odd number N of evenly spaced rotations on facing edges: the tip's N-th harmonic does not
 * cancel from the offset (the touch equation, summed over the rotations). Three are the fewest that
 * determine a runout circle at all and are left in peace. */
static enum tiptrue_status odd_rotations(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    double *turns = TT_ARENA_NEW(view->scratch, model->n_touches, double);
    enum tiptrue_status status = TIPTRUE_OK;

    if (turns == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t b = 0; b < model->n_blocks && status == TIPTRUE_OK; b++) {
        size_t odd = common_rotations(view, b, turns);
        if (odd % 2 == 0 || odd <= 3) {
            continue;
        }
        status = tt_finding_add_values(view, TT_FINDING_ODD_ROTATIONS, TIPTRUE_NOTE,
                                       TT_ABOUT_TIP(model->block_tip[b]),
                                       TT_VALUES(TT_PLAIN("rotations", odd)));
    }
    return status;
}

double tt_largest_share_aside(const struct tt_view *view)
{
    const struct tt_model *model = view->model;
    double most = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        double touches = 0, aside = 0;
        for (size_t i = 0; i < model->n_touches; i++) {
            bool of_tip = model->cells[model->cell_of[i]].block == b;
            touches += of_tip;
            aside += of_tip && !(view->fit->good[i] > 0);
        }
        most = fmax(most, touches > 0 ? aside / touches : 0);
    }
    return most;
}

enum tiptrue_status tt_findings_of_contacts(struct tt_view *view)
{
    static tt_finder *const finders[] = {most_off,           late_and_early, scattered,
                                         no_contact,         coarse_digits,  odd_rotations,
                                         one_sided_sightings};

    return tt_find_all(view, finders, sizeof finders / sizeof finders[0]);
}
