/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How well sightings repeat, from repeated ones of a mark. */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/explain.h"
#include "base/distribution.h"

/* Sightings that are not stated: a usual camera centres to 3 µm (common practice, no source); its
 * logarithm's standard deviation.
 */
#define USUAL_SIGHTING_MM 3e-3
#define USUAL_SIGHTING_LN_SD 0.6
/* Of a median of squares against their mean, for normal deviates (the median absolute deviation's:
 * P. J. Rousseeuw, C. Croux, J. Am. Stat. Assoc. 88 (1993) 1273-1283). */
#define MEDIAN_EFFICIENCY 0.37

double tt_sighting_variance(const struct tt_search *search, double *dof)
{
    const struct tt_noise *noise = search->noise;
    const struct tiptrue_run *run = search->run;
    const double weight_of_usual = 1 / (USUAL_SIGHTING_LN_SD * USUAL_SIGHTING_LN_SD);
    double weight = weight_of_usual, ln_sd = weight * log(USUAL_SIGHTING_MM);

    /* Half the squared differences of neighbouring sightings of one mark: the median is that of chi
     * squared with 1 dof, 0.455. */
    double *squares = TT_ARENA_NEW(search->arena, 2 * run->n_observations, double);
    size_t n = 0;
    for (size_t i = 1; i < run->n_observations && squares != NULL; i++) {
        const struct tt_observation *b = &run->observations[i];
        for (size_t j = i; b->kind == TT_SIGHT && j-- > 0;) {
            const struct tt_observation *a = &run->observations[j];
            if (a->kind == TT_SIGHT && a->target == b->target && a->setup == b->setup) {
                squares[n++] = 0.5 * (a->h.x_mm - b->h.x_mm) * (a->h.x_mm - b->h.x_mm);
                squares[n++] = 0.5 * (a->h.y_mm - b->h.y_mm) * (a->h.y_mm - b->h.y_mm);
                break;
            }
        }
    }
    if (n > 0) {
        gsl_sort(squares, 1, n);
        double median = 0.5 * (squares[(n - 1) / 2] + squares[n / 2]);
        ln_sd += (double)n * log(sqrt(fmax(median / 0.455 - noise->sight_digit_var_mm2, 1e-8)));
        weight += (double)n;
    }
    double repeated = exp(2 * ln_sd / weight) + noise->sight_digit_var_mm2,
           own = MEDIAN_EFFICIENCY * (double)n;
    double stated = noise->sight_var_mm2 + noise->sight_digit_var_mm2;
    if (noise->sight_known && !(n > 0 && tt_fisher_upper(repeated / stated, own, noise->sight_dof) <
                                             TT_STATED_IMPROBABLE)) {
        *dof = noise->sight_dof;
        return stated;
    }
    *dof = own + 0.5 * weight_of_usual;
    return repeated;
}
