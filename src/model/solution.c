/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The end of a solution; what two of them have in common of the plate. */
#include "config.h"

#include "model/solution.h"

#include <stdlib.h>
#include <math.h>
#include <string.h>

#include "base/named.h"

void tiptrue_solution_free(struct tiptrue_solution *solution)
{
    if (!solution) {
        return;
    }
    /* the arena lies in the block and owns the rest, never the block itself */
    tt_arena_clear(&solution->arena);
    free(solution);
}

static size_t find(struct tt_plate_effects effects, const struct tt_plate_feature *feature)
{
    size_t i = 0;

    while (i < effects.n && (effects.features[i].kind != feature->kind ||
                             effects.features[i].axis != feature->axis ||
                             strcmp(effects.features[i].name, feature->name) != 0)) {
        i++;
    }
    return i;
}

struct tt_cov2 tt_plate_apart(struct tt_plate_effects a, struct tt_plate_effects b)
{
    struct tt_cov2 cov = {0, 0, 0};

    if (a.x == NULL || b.x == NULL) {
        return cov;
    }
    for (size_t k = 0; k < a.n + b.n; k++) { /* those of a, then those that only b has */
        const struct tt_plate_feature *feature = k < a.n ? &a.features[k] : &b.features[k - a.n];
        size_t in_a = find(a, feature), in_b = find(b, feature);
        if (k >= a.n && in_a < a.n) {
            continue;
        }
        double x = (in_a < a.n ? a.x[in_a] : 0) - (in_b < b.n ? b.x[in_b] : 0);
        double y = (in_a < a.n ? a.y[in_a] : 0) - (in_b < b.n ? b.y[in_b] : 0);
        double variance = feature->u_mm * feature->u_mm;
        cov.xx_mm2 += x * x * variance;
        cov.xy_mm2 += x * y * variance;
        cov.yy_mm2 += y * y * variance;
    }
    return cov;
}

const char *tt_reason_name(const struct tt_reason *reason)
{
    static const char *const names[TT_REASON_CODES] = {
        [TT_REASON_NOTHING_PRESENT] = "nothing-present",
        [TT_REASON_WITHIN] = "within",
        [TT_REASON_NOT_WITHIN] = "not-within",
        [TT_REASON_UNCHANGED] = "unchanged",
        [TT_REASON_CHANGED] = "changed",
        [TT_REASON_OUT_OF_REACH] = "out-of-reach",
        [TT_REASON_NO_HEIGHT_PRESENT] = "no-height-present",
        [TT_REASON_HEIGHT_WITHIN] = "height-within",
        [TT_REASON_HEIGHT_NOT_WITHIN] = "height-not-within",
        [TT_REASON_HEIGHT_UNCHANGED] = "height-unchanged",
        [TT_REASON_HEIGHT_CHANGED] = "height-changed"};

    return reason->code == TT_REASON_FINDING ? tt_finding_name(reason->finding->code)
                                             : names[reason->code];
}

double tt_reason_probability(const struct tt_tip_result *tip, enum tt_reason_code code)
{
    bool conformity = code == TT_REASON_WITHIN || code == TT_REASON_NOT_WITHIN,
         change = code == TT_REASON_UNCHANGED || code == TT_REASON_CHANGED;

    if (tip->height != NULL && code >= TT_REASON_HEIGHT_WITHIN) {
        return code <= TT_REASON_HEIGHT_NOT_WITHIN ? tip->height->p_conforming
                                                   : tip->height->p_unchanged;
    }

    return conformity ? tip->p_conforming : change ? tip->p_unchanged : 0;
}

bool tt_tip_is_wanted(const struct tiptrue_solution *solution, const char *name)
{
    size_t n = solution->n_wanted;

    return n == 0 || TT_NAME_AT(solution->wanted, n, name) < n;
}

const struct tt_tip_result *tt_solution_tip(const struct tiptrue_solution *solution,
                                            const char *name)
{
    size_t i = TT_NAMED(solution->tips, solution->n_tips, name);

    return i < solution->n_tips ? &solution->tips[i] : NULL;
}

bool tt_a_height_waits(const struct tiptrue_solution *solution)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *tip = &solution->tips[i];
        if (tt_height_waits(tip) && tt_tip_is_wanted(solution, tip->name)) {
            return true;
        }
    }
    return false;
}

double tt_budget_u_mm(const struct tt_budget_line *line)
{
    return fmax(line->u_x_mm, line->u_y_mm);
}

const struct tt_budget_line *tt_budget_next(const struct tt_tip_result *tip,
                                            const struct tt_budget_line *last)
{
    const struct tt_budget_line *next = NULL;

    for (size_t i = 0; i < tip->n_budget; i++) {
        const struct tt_budget_line *line = &tip->budget[i];
        double u_mm = tt_budget_u_mm(line);
        bool later = last == NULL || u_mm < tt_budget_u_mm(last) ||
                     (u_mm == tt_budget_u_mm(last) && line > last);
        if (later && (next == NULL || u_mm > tt_budget_u_mm(next))) {
            next = line;
        }
    }
    return next;
}
