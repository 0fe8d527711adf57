/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Reports of one feature lie near each other, those of different features far apart. So for every place where the gap could be, the two are
 * paired around it, and the way from each report to the one before of the same feature and tip is added up: the gap is where the sum
 * is least. Which move within one feature is wanting does not show in that, so the answer is a range of moves. Cost linear in the moves.
 */
#include "config.h"

#include "ingest/parting.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "ingest/kinds.h"

/* How far back the move before of the same feature is looked for. Plans that mix more features than this are placed less well. */
#define LOOK_BACK 64

#define TWO_REASONS "controllers that do not log failed moves, and logs that leave out a line equal to the one before, do this; " \
                    "ids in the reports make the pairing sure"

struct parting {
    const struct tiptrue_plan *plan;
    const struct tt_reports *reports;
    size_t missing_reports, missing_moves; /* one of them is 0 */
    double *before, *behind;               /* by place of the gap: length of the way up to it, and from behind it on */
    size_t n_places;
};

static bool is_same(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static bool is_same_feature(const struct tt_move *a, const struct tt_move *b)
{
    return a->kind == b->kind && is_same(a->target, b->target) && is_same(a->tip, b->tip) && is_same(a->setup, b->setup);
}

/* The move before @index, not before @first, of the same feature; TT_NONE if there is none near. */
static size_t move_before(const struct tiptrue_plan *plan, size_t index, size_t first)
{
    for (size_t i = index; i > first && index - i < LOOK_BACK; i--) {
        if (is_same_feature(&plan->moves[i - 1], &plan->moves[index])) {
            return i - 1;
        }
    }
    return TT_NONE;
}

static double way(const struct parting *parting, size_t report, size_t to_report)
{
    const struct tt_report *a = &parting->reports->items[report], *b = &parting->reports->items[to_report];
    return hypot(a->x - b->x, a->y - b->y);
}

/* Fill before[] and behind[]. Place k: the first k moves and reports are paired one to one, then the gap. */
static void add_up(struct parting *parting)
{
    const struct tiptrue_plan *plan = parting->plan;
    size_t n = parting->n_places - 1;
    parting->before[0] = 0.0;
    for (size_t k = 0; k < n; k++) {
        size_t earlier = move_before(plan, k, 0);
        parting->before[k + 1] = parting->before[k] + (earlier != TT_NONE ? way(parting, k, earlier) : 0.0);
    }
    parting->behind[n] = 0.0;
    for (size_t k = n; k > 0; k--) {
        parting->behind[k - 1] = parting->behind[k];
    }
    /* Behind the gap at place k, move j is paired with report j - missing_reports + missing_moves. */
    for (size_t j = plan->n_moves; j > parting->missing_reports; j--) {
        size_t move = j - 1, place = move - parting->missing_reports;
        size_t earlier = move_before(plan, move, 0);
        double length = 0.0;
        if (earlier != TT_NONE && earlier >= parting->missing_reports) {
            size_t report = move - parting->missing_reports + parting->missing_moves;
            length = way(parting, report, earlier - parting->missing_reports + parting->missing_moves);
        }
        /* The way from @earlier counts where both lie behind the gap: places up to @earlier's. */
        size_t last = earlier != TT_NONE && earlier >= parting->missing_reports ? earlier - parting->missing_reports : TT_NONE;
        (void)place;
        if (last != TT_NONE) {
            parting->behind[last] += length;
        }
    }
    for (size_t k = n; k > 0; k--) {
        parting->behind[k - 1] += parting->behind[k];
    }
}
