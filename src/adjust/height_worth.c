/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a height is worth: value, variance by source, degrees of freedom. */
#include "config.h"

#include "adjust/height_search.h"

#include <math.h>
#include <string.h>

/* So many of a tip's touches may be rejected. */
#define MOST_HEIGHT_OFF_SHARE 0.5

void tt_height_gradient(const struct tt_height_fit *fit, bool slope_known, size_t tip, size_t over,
                        double g[])
{
    memset(g, 0, fit->n * sizeof *g);
    g[tip] = 1;
    if (over != TT_NONE) {
        g[over] -= 1;
        return; /* at whatever place: the slope cancels */
    }
    if (!slope_known && fit->at_slope[0] != TT_NONE) {
        g[fit->at_slope[0]] = fit->heights->middle_x_mm;
        g[fit->at_slope[0] + 1] = fit->heights->middle_y_mm;
    }
}

struct tt_height_sum tt_height_sum_of(const struct tt_height_fit *fit, const double g[],
                                      double cg[])
{
    struct tt_height_sum sum = {0, tt_height_variance(fit, g, cg)};

    for (size_t j = 0; j < fit->n; j++) {
        sum.value_mm += g[j] * fit->x[j];
    }
    return sum;
}

bool tt_height_slope_is_known(const struct tt_height_fit *fit, size_t setup)
{
    size_t at = fit->at_slope[setup], n = fit->n;

    if (at == TT_NONE) {
        return false;
    }
    const double *c = fit->covariance;
    double xx = c[at * n + at], xy = c[at * n + at + 1], yy = c[(at + 1) * n + at + 1];
    double worst = 0.5 * (xx + yy) + hypot(0.5 * (xx - yy), xy);
    return fit->heights->level_rad.stated || worst < TT_SLOPE_KNOWN_RAD * TT_SLOPE_KNOWN_RAD;
}

/* Degrees of freedom of @whole, of which @touch comes from touches (JCGM 100:2008 G.4.1). */
static double effective_dof(const struct tt_height_fit *fit, double touch, double whole)
{
    return touch > 0 && whole > 0 ? fmax(fit->pooled_dof, 0.5) * (whole / touch) * (whole / touch)
                                  : HUGE_VAL;
}

struct tt_height_worth tt_height_worth_of(const struct tt_height_choice *choice, size_t tip,
                                          size_t over, double *g)
{
    const struct tt_height_fit *fit = choice->fit;
    size_t n = fit->heights->n_tips;
    double *cg = g + fit->n, rivals = choice->rivals_mm2[tip * n + tip];

    tt_height_gradient(fit, choice->slope_known, tip, over, g);
    struct tt_height_sum sum = tt_height_sum_of(fit, g, cg);
    if (over != TT_NONE) {
        rivals += choice->rivals_mm2[over * n + over] - 2 * choice->rivals_mm2[tip * n + over];
    }
    double weak = tt_height_part(fit, cg, TT_HEIGHT_OF_NOTHING),
           pads = tt_height_part(fit, cg, TT_HEIGHT_OF_PAD),
           stated = tt_height_part(fit, cg, TT_HEIGHT_OF_LEVEL) +
                    tt_height_part(fit, cg, TT_HEIGHT_OF_LATENCY);
    double touch = fmax(sum.variance_mm2 - pads - stated - weak, 0),
           whole = sum.variance_mm2 + fmax(rivals, 0), held = fmax(whole - pads, 0);
    return (struct tt_height_worth){sum.value_mm,
                                    sqrt(whole),
                                    effective_dof(fit, touch, whole),
                                    sqrt(held),
                                    effective_dof(fit, touch, held),
                                    sqrt(fmax(weak, 0))};
}

bool tt_height_too_few(const struct tt_height_choice *choice, size_t tip, double *g, size_t *all,
                       size_t *kept)
{
    const struct tt_height_fit *fit = choice->fit;

    *all = *kept = 0;
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        *all += fit->heights->rows[i].tip == tip;
        *kept += fit->heights->rows[i].tip == tip && fit->good[i] > 0;
    }
    tt_height_gradient(fit, choice->slope_known, tip, TT_NONE, g);
    double variance = tt_height_variance(fit, g, g + fit->n), aside = (double)(*all - *kept);
    bool little = variance > TT_HEIGHT_LITTLE * TT_HEIGHT_LITTLE * choice->all_good_mm2[tip];
    return aside > 0 && (little || aside > MOST_HEIGHT_OFF_SHARE * (double)*all || *kept == 0);
}
