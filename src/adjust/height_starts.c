/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Starts of climbs from elemental sets: a height through each touch of a tip, a height and a face
 * runout through each three, the rest as it is; what lies with them is good. Source: P. J.
 * Rousseeuw and A. M. Leroy, Robust Regression and Outlier Detection, Wiley 1987, section 5.1. */
#include "config.h"

#include "adjust/height_climb.h"

#include <math.h>

#include "adjust/mixture.h"
#include "model/frames.h"

/* Rotations whose determinant is smaller tell no face runout. */
#define LEAST_ELEMENT 0.3
#define ELEMENT_LATE 0.3
#define ELEMENT_EARLY 0.01

struct elements {
    size_t n;
    size_t row[TT_MOST_HEIGHT_ELEMENTS];
    double value[TT_MOST_HEIGHT_ELEMENTS], cosine[TT_MOST_HEIGHT_ELEMENTS],
        sine[TT_MOST_HEIGHT_ELEMENTS], sd;
};

/* What the touches of @tip say by themselves: less all but its height and face runout. */
static bool fill_elements(const struct tt_height_fit *fit, size_t tip, struct elements *e)
{
    const struct tt_heights *h = fit->heights;
    double usual = TT_FIRST_HEIGHT_SCATTER_MM, sd = sqrt(fit->variance_mm2);

    e->n = 0;
    e->sd = h->stated_dof > 0 ? sd : fmin(sd, usual);
    for (size_t i = 0; i < h->n_rows; i++) {
        if (h->rows[i].tip != tip) {
            continue;
        }
        if (e->n == TT_MOST_HEIGHT_ELEMENTS) {
            return false;
        }
        double value = fit->residual[i] + fit->x[tip];
        for (size_t m = 0; m < fit->n_modes; m++) {
            double second, first = tt_height_column(h, &fit->modes[m], i, &second);
            value += fit->modes[m].kind == TT_HEIGHT_FACE
                         ? first * fit->x[fit->at_mode[m]] + second * fit->x[fit->at_mode[m] + 1]
                         : 0;
        }
        e->row[e->n] = i;
        e->value[e->n] = value;
        e->cosine[e->n] = h->rows[i].cosine;
        e->sine[e->n++] = h->rows[i].sine;
    }
    return true;
}

/* ln likelihood of the touches about @at, height and face runout; bits of those that lie with
 * them in *with. */
static double likelihood(const struct elements *e, const double at[3], unsigned *with)
{
    double sum = 0;

    *with = 0;
    for (size_t i = 0; i < e->n; i++) {
        double r = e->value[i] - at[0] - at[1] * e->cosine[i] - at[2] * e->sine[i];
        double t = r / e->sd, peak = (1 - ELEMENT_LATE - ELEMENT_EARLY) / (sqrt(2 * TT_PI) * e->sd);
        double off = (r < 0 ? ELEMENT_LATE : ELEMENT_EARLY) * tt_off_density(r, e->sd);
        sum += log(peak * exp(-0.5 * t * t) + off);
        *with |= fabs(t) < OFF_FROM_SCATTERS ? 1u << i : 0;
    }
    return sum;
}

/* Height and face runout through three touches. False: their rotations do not tell it. */
static bool through_three(const struct elements *e, size_t i, size_t j, size_t k, double at[3])
{
    double c1 = e->cosine[j] - e->cosine[i], s1 = e->sine[j] - e->sine[i],
           c2 = e->cosine[k] - e->cosine[i], s2 = e->sine[k] - e->sine[i],
           v1 = e->value[j] - e->value[i], v2 = e->value[k] - e->value[i], det = c1 * s2 - c2 * s1;

    if (fabs(det) < LEAST_ELEMENT) {
        return false;
    }
    at[1] = (v1 * s2 - v2 * s1) / det;
    at[2] = (c1 * v2 - c2 * v1) / det;
    at[0] = e->value[i] - at[1] * e->cosine[i] - at[2] * e->sine[i];
    return true;
}

/* Enter the set @with among the best @most, each once. */
static void enter(struct tt_height_sets *sets, unsigned with, double score)
{
    size_t at = sets->n;

    for (size_t k = 0; k < sets->n; k++) {
        if (sets->with[k] == with) {
            at = k;
            score = fmax(score, sets->score[k]);
        }
    }
    if (at == TT_MOST_HEIGHT_SETS) {
        at--;
        if (score < sets->score[at]) {
            return;
        }
    } else if (at == sets->n) {
        sets->n++;
    }
    while (at > 0 && sets->score[at - 1] < score) {
        sets->with[at] = sets->with[at - 1];
        sets->score[at] = sets->score[at - 1];
        at--;
    }
    sets->with[at] = with;
    sets->score[at] = score;
}

void tt_height_sets(const struct tt_height_fit *fit, size_t tip, const double *face_mm,
                    struct tt_height_sets *sets)
{
    struct elements e;
    unsigned with;

    sets->n = 0;
    if (!fill_elements(fit, tip, &e)) {
        return;
    }
    for (size_t i = 0; i < e.n && face_mm == NULL; i++) {
        double at[3] = {e.value[i], 0, 0}, score = likelihood(&e, at, &with);
        enter(sets, with, score);
    }
    for (size_t i = 0; i < e.n && face_mm != NULL; i++) {
        for (size_t j = i + 1; j < e.n; j++) {
            for (size_t k = j + 1; k < e.n; k++) {
                double at[3];
                if (through_three(&e, i, j, k, at)) {
                    double score = likelihood(&e, at, &with), f = *face_mm * *face_mm;
                    enter(sets, with, score - 0.5 * (at[1] * at[1] + at[2] * at[2]) / f);
                }
            }
        }
    }
    for (size_t k = 0; k < e.n; k++) {
        sets->row[k] = e.row[k];
    }
    sets->n_rows = e.n;
}
