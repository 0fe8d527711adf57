/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a height is worth: value, variance by source, degrees of freedom. */
#include "config.h"

#include "adjust/height_search.h"

#include <math.h>
#include <string.h>

#include "adjust/uncertainty.h"

/* So many of a tip's touches may be rejected. */
#define MOST_HEIGHT_OFF_SHARE 0.5
/* Standard deviations of a normal distribution that hold 95 %. */
#define NORMAL_95 1.959963984540054
/* How often faces run out is known to this factor only: U holds 95 % with a face runout of either
 * tip so many times less, and more, probable. */
#define FACE_ODDS 3.0
/* Halvings of an interval that is looked into: 1 mm to 1 pm. */
#define HALVINGS 30
#define LEAST_HEIGHT_SD_MM 1e-7

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

/* What one explanation says. */
static struct tt_height_worth worth_in(const struct tt_height_choice *choice,
                                       const struct tt_height_fit *fit, size_t tip, size_t over)
{
    double *g = choice->g, *cg = g + fit->n;

    tt_height_gradient(fit, choice->slope_known, tip, over, g);
    struct tt_height_sum sum = tt_height_sum_of(fit, g, cg);
    double weak = tt_height_part(fit, cg, TT_HEIGHT_OF_NOTHING),
           pads = tt_height_part(fit, cg, TT_HEIGHT_OF_PAD),
           stated = tt_height_part(fit, cg, TT_HEIGHT_OF_LEVEL) +
                    tt_height_part(fit, cg, TT_HEIGHT_OF_LATENCY);
    double whole = sum.variance_mm2, touch = fmax(whole - pads - stated - weak, 0),
           held = fmax(whole - pads, 0);
    return (struct tt_height_worth){sum.value_mm,
                                    sqrt(whole),
                                    effective_dof(fit, touch, whole),
                                    sqrt(held),
                                    effective_dof(fit, touch, held),
                                    sqrt(fmax(weak, 0))};
}

/* Probability that the height lies above @value_mm. */
static double above(const struct tt_height_choice *choice, bool same_plate, double value_mm)
{
    double sum = 0;

    for (size_t i = 0; i < choice->n_parts; i++) {
        const struct tt_height_part *part = &choice->parts[i];
        double sd = same_plate ? part->same_plate_sd_mm : part->sd_mm;
        sum += part->weight * 0.5 * erfc((value_mm - part->value_mm) / (sqrt(2) * sd));
    }
    return sum;
}

static double median(const struct tt_height_choice *choice)
{
    double low = INFINITY, high = -INFINITY;

    for (size_t i = 0; i < choice->n_parts; i++) {
        low = fmin(low, choice->parts[i].value_mm);
        high = fmax(high, choice->parts[i].value_mm);
    }
    for (int k = 0; k < HALVINGS; k++) {
        double middle = 0.5 * (low + high);
        bool lower = above(choice, true, middle) > 0.5;
        low = lower ? middle : low;
        high = lower ? high : middle;
    }
    return 0.5 * (low + high);
}

/* Half-width about @value_mm that holds 95 %. */
static double half_width(const struct tt_height_choice *choice, bool same_plate, double value_mm)
{
    double low = 0, high = 0;

    for (size_t i = 0; i < choice->n_parts; i++) { /* all of them hold 95 % */
        const struct tt_height_part *part = &choice->parts[i];
        high = fmax(high, fabs(part->value_mm - value_mm) +
                              NORMAL_95 * (same_plate ? part->same_plate_sd_mm : part->sd_mm));
    }
    for (int k = 0; k < HALVINGS; k++) {
        double middle = 0.5 * (low + high);
        bool wider = above(choice, same_plate, value_mm - middle) -
                         above(choice, same_plate, value_mm + middle) <
                     0.95;
        low = wider ? middle : low;
        high = wider ? high : middle;
    }
    return high;
}

/* Whether @part has a face runout of @tip, or of @over. */
static bool has_face(const struct tt_height_part *part, size_t tip, size_t over)
{
    bool has = false;

    for (size_t m = 0; m < part->fit->n_modes; m++) {
        const struct tt_height_mode *mode = &part->fit->modes[m];
        has = has || (mode->kind == TT_HEIGHT_FACE && (mode->what == tip || mode->what == over));
    }
    return has;
}

/* Weights of the parts with face runouts of @tip or @over @times as probable. */
static void weigh(const struct tt_height_choice *choice, size_t tip, size_t over, double times)
{
    double sum = 0;

    for (size_t i = 0; i < choice->n_parts; i++) {
        struct tt_height_part *part = &choice->parts[i];
        part->weight = part->probability * (has_face(part, tip, over) ? times : 1);
        sum += part->weight;
    }
    for (size_t i = 0; i < choice->n_parts; i++) {
        choice->parts[i].weight /= sum;
    }
}

struct tt_height_worth tt_height_worth_of(const struct tt_height_choice *choice, size_t tip,
                                          size_t over)
{
    struct tt_height_worth worth = worth_in(choice, choice->fit, tip, over);

    if (choice->n_parts == 0) {
        return worth;
    }
    for (size_t i = 0; i < choice->n_parts; i++) {
        struct tt_height_part *part = &choice->parts[i];
        struct tt_height_worth its = worth_in(choice, part->fit, tip, over);
        part->value_mm = its.value_mm;
        part->sd_mm = fmax(tt_factor_line(its.dof) * its.u_mm / NORMAL_95, LEAST_HEIGHT_SD_MM);
        part->same_plate_sd_mm =
            fmax(tt_factor_line(its.same_plate_dof) * its.same_plate_u_mm / NORMAL_95,
                 LEAST_HEIGHT_SD_MM);
    }
    double width = 0, same_plate = 0;
    weigh(choice, tip, over, 1);
    worth.value_mm = median(choice);
    for (int k = -1; k <= 1; k++) {
        weigh(choice, tip, over, pow(FACE_ODDS, k));
        width = fmax(width, half_width(choice, false, worth.value_mm));
        same_plate = fmax(same_plate, half_width(choice, true, worth.value_mm));
    }
    worth.u_mm = width / tt_factor_line(worth.dof);
    worth.same_plate_u_mm = same_plate / tt_factor_line(worth.same_plate_dof);
    return worth;
}

bool tt_height_too_few(const struct tt_height_choice *choice, size_t tip, size_t *all, size_t *kept)
{
    const struct tt_height_fit *fit = choice->fit;

    *all = *kept = 0;
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        *all += fit->heights->rows[i].tip == tip;
        *kept += fit->heights->rows[i].tip == tip && fit->good[i] > 0;
    }
    tt_height_gradient(fit, choice->slope_known, tip, TT_NONE, choice->g);
    double variance = tt_height_variance(fit, choice->g, choice->g + fit->n),
           aside = (double)(*all - *kept);
    bool little = variance > TT_HEIGHT_LITTLE * TT_HEIGHT_LITTLE * choice->all_good_mm2[tip];
    return aside > 0 && (little || aside > MOST_HEIGHT_OFF_SHARE * (double)*all || *kept == 0);
}
