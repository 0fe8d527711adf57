/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The mean of all tips' held offsets, along the direction in which an edge that shifts moves it:
 * where the latest of the earlier runs had it, since a tip was changed or the camera moved, is what
 * this run is expected to show, and how far each of them was from those before it is how well that
 * is known: scatter between runs, their correlation and drifts are all in it. The mean, since a
 * film moves all tips alike.
 */
#include "config.h"

#include "adjust/past_offsets.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#include "base/named.h"

/* The latest so many earlier runs are what is expected: of more, drifts would be in the mean. */
#define LEVEL_RUNS 5
/* Errors of what was expected that are known at least. */
#define LEAST_ERRORS 3
/* The offsets changed where neighbours are so many standard deviations of a difference apart. */
#define JUMP 5.0
/* Less offset for an edge's shift tells nothing. */
#define LEAST_GAIN 0.05
/* Probability that the offsets changed at this very run, and the range in which they may have, all
 * alike: as dense as changes of 10 um are about 0. */
#define CHANGE_CHANCE 0.025
#define CHANGE_RANGE_MM 0.025

/* Steps of a millimetre in which results give lengths. */
#define GIVEN_PER_MM 1e10

double tt_past_given(double mm)
{
    return round(mm * GIVEN_PER_MM) / GIVEN_PER_MM;
}

static bool tells(const struct tt_tip_result *tip)
{
    return tip->edge_response != NULL && tip->has_held && tip->offset_determined_x &&
           tip->offset_determined_y;
}

/* How far a shift of edge @row by 1 mm moves the mean of the offsets, and (@x, @y) the way. 0:
 * there is none. */
static double gain_of(const struct tiptrue_solution *s, size_t row, double *x, double *y)
{
    double n = 0, gain;

    *x = *y = 0;
    for (size_t i = 0; i < s->n_tips; i++) {
        if (tells(&s->tips[i])) {
            *x += s->tips[i].edge_response[3 * row];
            *y += s->tips[i].edge_response[3 * row + 1];
            n++;
        }
    }
    gain = hypot(*x, *y);
    if (!(gain > LEAST_GAIN * n)) {
        return 0;
    }
    *x /= gain;
    *y /= gain;
    return gain / n;
}

/* The held offset of tip @i in @run (NULL: in this one). False: it has none. */
static bool held_in(const struct tiptrue_solution *s, size_t i, const struct tt_past_run *run,
                    struct tt_machine_xy *held)
{
    size_t n = run != NULL ? run->n_tips : 0, k = TT_NAMED(run->tips, n, s->tips[i].name);

    *held = k < n ? run->tips[k].held : s->tips[i].held;
    return run == NULL || k < n;
}

/* The mean offset of the tips in @run (NULL: in this one) along (@x, @y). NaN: not of the same
 * tips. */
static double mean_of(const struct tiptrue_solution *s, const struct tt_past_run *run, double x,
                      double y)
{
    double sum = 0, n = 0;

    for (size_t i = 0; i < s->n_tips; i++) {
        struct tt_machine_xy held;
        if (!tells(&s->tips[i])) {
            continue;
        }
        if (!held_in(s, i, run, &held)) {
            return NAN;
        }
        sum += x * held.x_mm + y * held.y_mm;
        n++;
    }
    return sum / n;
}

/* A difference of neighbouring runs beyond which the offsets changed between them: a tip was
 * changed, the camera moved. By the median of all, of @at, n > 1 numbers. */
static double jump_of(const double at[], size_t n)
{
    double step[TT_MOST_PAST];

    for (size_t i = 0; i + 1 < n; i++) {
        step[i] = fabs(at[i] - at[i + 1]);
    }
    gsl_sort(step, 1, n - 1);
    return JUMP * 1.4826 * step[(n - 1) / 2];
}

/* The mean of the first of the @n numbers @at, up to LEVEL_RUNS and to the first jump, of *k. */
static double level_of(const double at[], size_t n, double jump, double *k)
{
    double sum = at[0];
    size_t i = 1;

    while (i < n && i < LEVEL_RUNS && fabs(at[i] - at[i - 1]) <= jump) {
        sum += at[i++];
    }
    *k = (double)i;
    return sum / *k;
}

struct tt_offsets_earlier tt_past_offsets(const struct tt_view *view,
                                          const struct tt_past_run *const run[], size_t n,
                                          size_t row)
{
    double x, y, k, sum = 0, at[TT_MOST_PAST];
    size_t known = 0, errors = 0;

    if (gain_of(view->solution, row, &x, &y) == 0) {
        return (struct tt_offsets_earlier){0};
    }
    for (size_t i = 0; i < n; i++) {
        double mm = run[i] != NULL ? mean_of(view->solution, run[i], x, y) : NAN;
        if (isfinite(mm)) {
            at[known++] = mm;
        }
    }
    double jump = known > 1 ? jump_of(at, known) : 0;
    for (size_t i = 0; i + 1 < known; i++) {
        double error = at[i] - level_of(at + i + 1, known - i - 1, jump, &k);
        if (fabs(at[i] - at[i + 1]) <= jump) {
            sum += error * error / (1 + 1 / k);
            errors++;
        }
    }
    if (errors < LEAST_ERRORS) {
        return (struct tt_offsets_earlier){0};
    }
    double level = level_of(at, known, jump, &k);
    double u_mm = sqrt(sum / (double)errors * (1 + 1 / k));
    return (struct tt_offsets_earlier){errors + 1, tt_past_given(level), tt_past_given(u_mm)};
}

double tt_past_misfit(const struct tt_view *view, size_t row, double f_mm, double u_mm)
{
    const struct tt_offsets_earlier *earlier = &view->solution->edges[row].earlier.offsets;
    double x, y, gain = gain_of(view->solution, row, &x, &y), dof = (double)earlier->runs - 1;

    if (earlier->runs == 0 || gain == 0) {
        return NAN;
    }
    double off_mm = mean_of(view->solution, NULL, x, y) - earlier->mean_mm - gain * f_mm;
    double scale_mm = hypot(earlier->u_mm, gain * u_mm), t = off_mm / scale_mm;
    /* Student's t, but for what is the same for all edges; and anywhere, if the offsets changed */
    double density = pow(1 + t * t / dof, -0.5 * (dof + 1)) / (scale_mm * sqrt(2 * TT_PI));
    return -2 * log((1 - CHANGE_CHANCE) * density + CHANGE_CHANCE / CHANGE_RANGE_MM);
}

void tt_past_effect(const struct tt_view *view, size_t row, double f_mm, double *most_mm,
                    double *share)
{
    const struct tiptrue_solution *s = view->solution;

    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *tip = &s->tips[i];
        if (tip->edge_response == NULL || !tip->offset_determined_x || !tip->offset_determined_y) {
            continue;
        }
        const double *r = tip->edge_response + 3 * row;
        bool same = tip->change_on_same_plate;
        double u_x_mm = same ? tip->same_plate_expanded_x_mm : tip->expanded_x_mm,
               u_y_mm = same ? tip->same_plate_expanded_y_mm : tip->expanded_y_mm;
        *most_mm = fmax(*most_mm, fabs(f_mm) * hypot(r[0], r[1]));
        *share = fmax(*share, fmax(fabs(f_mm * r[0]) / u_x_mm, fabs(f_mm * r[1]) / u_y_mm));
    }
}
