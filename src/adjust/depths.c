/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/depths.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/mixture.h"
#include "model/frames.h"

/* Probability that late contacts met a film of one thickness, of all causes that they have. Small:
 * four that agree by chance are to be worth nothing; seven of seven are worth e^4.8 all the same.
 * With 0.03, the probability of a film over an edge, 5.3 % of runs with two whole edges late by
 * anything are silently wrong, with this 3.7, without any film 3.4. */
#define FILM_PROBABILITY 1e-3
/* A film is uneven by so many repeatabilities of a contact: 6 µm of 3 µm ones, some 15 % of a usual
 * film (common practice, no source). */
#define FILM_UNEVEN 2.0
/* Its thickness is summed over in steps of STEP standard deviations of a depth, with the contacts
 * within REACH; the share of the late contacts that did not meet it is t^2, t at so many places. */
#define STEP 0.5
#define REACH 4.0
#define SHARES 8
/* Contacts after which products are scaled. */
#define SCALED_AFTER 16

/* A number for each share, all of which are added and multiplied at once. */
typedef double shares __attribute__((vector_size(SHARES * sizeof(double))));

struct film {
    double sd_mm, peak; /* of depths; density at the thickness over that of anything */
    shares free_share, weight;
};

static double sum_of(const shares *all)
{
    double sum = 0;

    for (size_t k = 0; k < SHARES; k++) {
        sum += (*all)[k];
    }
    return sum;
}

/* The mean over shares of what the film makes of @n contacts of about @thickness_mm, and of @far
 * others, times e^-*ln. */
static double mean_at(const struct film *film, const double depth_mm[], size_t n,
                      double thickness_mm, size_t far, double *ln)
{
    shares product = film->weight, power = film->free_share;

    *ln = 0;
    for (size_t i = 0; i < n; i++) {
        double z = (depth_mm[i] - thickness_mm) / film->sd_mm,
               ratio = film->peak * exp(-0.5 * z * z);
        product *= ratio + film->free_share * (1 - ratio);
        if (i % SCALED_AFTER == SCALED_AFTER - 1) {
            double sum = sum_of(&product);
            product /= sum;
            *ln += log(sum);
        }
    }
    for (; far > 0; far /= 2) {
        if (far % 2 > 0) {
            product *= power;
        }
        power *= power;
    }
    return sum_of(&product);
}

double tt_log_one_depth(double depth_mm[], size_t n, double touch_var_mm2)
{
    double scatter_mm = sqrt(touch_var_mm2),
           scale_mm = fmax(DEPTH_SCALE_MM, DEPTH_SCALE_SCATTERS * scatter_mm),
           density = 0.75 / scale_mm;
    struct film film = {.sd_mm = sqrt(1 + FILM_UNEVEN * FILM_UNEVEN) * scatter_mm};
    double step_mm = STEP * film.sd_mm, reach_mm = REACH * film.sd_mm;
    double sum = 1 - FILM_PROBABILITY, most = 0; /* sum: times e^most */

    if (n < 2) {
        return 0;
    }
    film.peak = 1 / (sqrt(2 * TT_PI) * film.sd_mm * density);
    for (size_t k = 0; k < SHARES; k++) {
        double t = ((double)k + 0.5) / SHARES;
        film.free_share[k] = t * t;
        film.weight[k] = 2 * t / SHARES;
    }
    gsl_sort(depth_mm, 1, n);
    double at_mm = fmax(depth_mm[0] - 0.5 * reach_mm, 0),
           end_mm = fmin(depth_mm[n - 1] + 0.5 * reach_mm, scale_mm);
    for (size_t first = 0, last = 0; at_mm < end_mm; at_mm += step_mm) {
        while (last < n && depth_mm[last] < at_mm + reach_mm) {
            last++;
        }
        while (first < last && depth_mm[first] < at_mm - reach_mm) {
            first++;
        }
        if (last - first < 2) { /* alone */
            at_mm = last < n ? fmax(at_mm, depth_mm[last] - reach_mm) : at_mm;
            continue;
        }
        double ln,
            mean = mean_at(&film, depth_mm + first, last - first, at_mm, n - (last - first), &ln);
        if (ln > most) {
            sum *= exp(most - ln);
            most = ln;
        }
        sum += FILM_PROBABILITY * density * step_mm * mean * (ln < most ? exp(ln - most) : 1);
    }
    return most + log(sum);
}
