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
/* Marks that differ alike from what they were before were seen from another place, where they
 * differ by so much more than from each other that it is this improbable otherwise; and where a
 * stated repeatability says so, too. */
#define MOVED_IMPROBABLE 5e-3
#define MOVED_STATED 0.05

/* Squares of what sightings differ by, as variances of a coordinate; and what is drawn from them.
 */
struct squares {
    double *mm2;
    size_t n;
    double sd_mm, dof; /* of a coordinate, without digits, drawn to a usual one */
};

static void squares_add(struct squares *s, double d_x, double d_y, double share)
{
    s->mm2[s->n++] = share * d_x * d_x;
    s->mm2[s->n++] = share * d_y * d_y;
}

/* The median is that of chi squared with 1 dof, 0.455. */
static void squares_draw(struct squares *s, const struct tt_noise *noise)
{
    const double weight_of_usual = 1 / (USUAL_SIGHTING_LN_SD * USUAL_SIGHTING_LN_SD);
    double weight = weight_of_usual + (double)s->n,
           ln_sd = weight_of_usual * log(USUAL_SIGHTING_MM);

    if (s->n > 0) {
        gsl_sort(s->mm2, 1, s->n);
        double median = 0.5 * (s->mm2[(s->n - 1) / 2] + s->mm2[s->n / 2]);
        ln_sd += (double)s->n * log(sqrt(fmax(median / 0.455 - noise->sight_digit_var_mm2, 1e-8)));
    }
    s->sd_mm = exp(ln_sd / weight);
    s->dof = MEDIAN_EFFICIENCY * (double)s->n + 0.5 * weight_of_usual;
}

/* The sighting before row @i of the same mark and setup; NULL: none. */
static const struct tt_observation *sighted_before(const struct tiptrue_run *run, size_t i)
{
    const struct tt_observation *b = &run->observations[i];

    for (size_t j = i; b->kind == TT_SIGHT && j-- > 0;) {
        const struct tt_observation *a = &run->observations[j];
        if (a->kind == TT_SIGHT && a->target == b->target && a->setup == b->setup) {
            return a;
        }
    }
    return NULL;
}

/* What neighbouring sightings of one mark differ by, into @repeated; and what two marks sighted
 * after one another differ by more than each other, into @alike: there the plate or the camera may
 * have moved between. */
static void collect_squares(const struct tiptrue_run *run, struct squares *repeated,
                            struct squares *alike)
{
    const struct tt_observation *last = NULL;
    double last_x = 0, last_y = 0;

    for (size_t i = 1; i < run->n_observations; i++) {
        const struct tt_observation *b = &run->observations[i], *a = sighted_before(run, i);
        if (a == NULL) {
            continue;
        }
        double d_x = b->h.x_mm - a->h.x_mm, d_y = b->h.y_mm - a->h.y_mm;
        squares_add(repeated, d_x, d_y, 0.5);
        if (last != NULL && last->setup == b->setup && last->target != b->target) {
            squares_add(alike, d_x - last_x, d_y - last_y, 0.25);
        }
        last = b;
        last_x = d_x;
        last_y = d_y;
    }
}

/* Is the stated repeatability contradicted by what is drawn? */
static bool contradicts(const struct squares *own, const struct tt_noise *noise)
{
    double stated = noise->sight_var_mm2 + noise->sight_digit_var_mm2,
           found = own->sd_mm * own->sd_mm + noise->sight_digit_var_mm2;

    return own->n > 0 && tt_fisher_upper(found / stated, MEDIAN_EFFICIENCY * (double)own->n,
                                         noise->sight_dof) < TT_STATED_IMPROBABLE;
}

/* Do marks differ alike from what they were before? */
static bool moved_alike(const struct squares *repeated, const struct squares *alike,
                        const struct tt_noise *noise)
{
    double ratio = repeated->sd_mm / alike->sd_mm;
    bool as_stated = noise->sight_known && !contradicts(alike, noise);

    return alike->n > 0 && tt_fisher_upper(ratio * ratio, repeated->dof, alike->dof) <
                               (as_stated ? MOVED_STATED : MOVED_IMPROBABLE);
}

double tt_sighting_variance(const struct tt_search *search, double *dof)
{
    const struct tt_noise *noise = search->noise;
    size_t most = 2 * search->run->n_observations;
    struct squares repeated = {.mm2 = TT_ARENA_NEW(search->arena, most, double)},
                   alike = {.mm2 = TT_ARENA_NEW(search->arena, most, double)};

    if (repeated.mm2 != NULL && alike.mm2 != NULL) {
        collect_squares(search->run, &repeated, &alike);
    }
    squares_draw(&repeated, noise);
    squares_draw(&alike, noise);
    const struct squares *own = moved_alike(&repeated, &alike, noise) ? &alike : &repeated;
    if (noise->sight_known && !contradicts(own, noise)) {
        *dof = noise->sight_dof;
        return noise->sight_var_mm2 + noise->sight_digit_var_mm2;
    }
    *dof = own->dof;
    return own->sd_mm * own->sd_mm + noise->sight_digit_var_mm2;
}
