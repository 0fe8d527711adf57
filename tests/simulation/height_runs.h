/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Touches from above with a known truth, solved again and again: how often a height, on one plate
 * and of two tips, lies within its +-; what is found that is not there; whether face runout is
 * found.
 *
 * Truth is drawn as the files state it: pads by their u, a slope of 0.5 mm/m, late touches 15 to
 * 120 um too deep, contacts that repeat to 2 um, steps of 1 um.
 */
#ifndef HEIGHT_RUNS_H
#define HEIGHT_RUNS_H

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "adjust/height_search.h"
#include "adjust/uncertainty.h"
#include "model/frames.h"

#define TIPS 2
#define SIGMA_MM 2e-3
#define PAD_U_MM 4e-3

struct design {
    size_t pads, touches;
    double late, face_mm;
    bool stated;
};

struct tally {
    size_t runs, total, same_plate, between, used, face, other, ambiguous, few, undetermined, aside;
    size_t beyond;        /* 3 U: of the height or of the difference */
    size_t slope, slopes; /* within U; asked: two of a run in which the slope is known */
    double squares, stated, bound;
};

static const double PLACES[4][2] = {{14.2, 7.7}, {49.5, 22.1}, {9.3, 41.6}, {50.4, 44.2}};

/* Uniform and normal numbers of a generator of our own (xorshift64*: S. Vigna, ACM TOMS 42, 2016;
 * Box and Muller), so that no library's state is shared. */
static uint64_t state = 88172645463325252u;
static double uniform(void)
{
    state ^= state >> 12;
    state ^= state << 25;
    state ^= state >> 27;
    return ((double)((state * 2685821657736338717u) >> 11) + 0.5) / 9007199254740992.0;
}
static double normal(void)
{
    return sqrt(-2 * log(uniform())) * cos(2 * TT_PI * uniform());
}

struct truth {
    double height[TIPS], slope[2], pad[4];
};

static void draw(const struct design *d, struct truth *truth)
{
    truth->height[0] = -20.7031 + 0.01 * normal();
    truth->height[1] = -19.5476 + 0.01 * normal();
    truth->slope[0] = 5e-4 * normal();
    truth->slope[1] = 5e-4 * normal();
    for (size_t p = 0; p < d->pads; p++) {
        truth->pad[p] = PAD_U_MM * normal();
    }
}

/* A run of @d into @h, whose arrays have room. */
static void make(const struct design *d, const struct truth *truth, struct tt_heights *h)
{
    double span = 2 * TT_PI / (double)d->touches;

    h->n_rows = 0;
    for (size_t t = 0; t < TIPS; t++) {
        for (size_t p = 0; p < d->pads; p++) {
            for (size_t k = 0; k < d->touches; k++) {
                struct tt_height_row *row = &h->rows[h->n_rows++];
                double theta = 0.3 + span * (double)k, c = cos(theta), s = sin(theta);
                double x = PLACES[p][0], y = PLACES[p][1];
                double z = truth->height[t] + truth->slope[0] * x + truth->slope[1] * y +
                           h->pads[p].height_mm + truth->pad[p] + SIGMA_MM * normal();
                z += t == 0 ? d->face_mm * cos(theta - 1.1) : 0;
                z -= uniform() < d->late ? 0.015 + 0.105 * uniform() : 0;
                *row = (struct tt_height_row){.tip = t,
                                              .pad = p,
                                              .z_mm = rint(z * 1e3) * 1e-3,
                                              .x_mm = x,
                                              .y_mm = y,
                                              .cosine = c,
                                              .sine = s};
            }
        }
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        h->rows[i].clock = (double)i / (double)(h->n_rows - 1) - 0.5;
    }
    for (size_t t = 0; t < TIPS; t++) {
        h->tip_about_mm[t] = truth->height[t] + 0.01 * normal();
    }
}

/* Slopes within their U. */
static void judge_slope(const struct tt_height_choice *choice, const struct truth *truth,
                        struct tally *tally)
{
    const struct tt_height_fit *fit = choice->fit;
    double g[128], cg[128];

    for (size_t k = 0; k < 2 && choice->slope_known; k++) {
        memset(g, 0, fit->n * sizeof *g);
        g[fit->at_slope[0] + k] = 1;
        struct tt_height_sum slope = tt_height_sum_of(fit, g, cg);
        double touch = slope.variance_mm2 - tt_height_part(fit, cg, TT_HEIGHT_OF_PAD),
               share = slope.variance_mm2 / fmax(touch, 1e-30),
               factor = tt_factor_line(fit->pooled_dof * share * share);
        tally->slopes++;
        tally->slope += fabs(slope.value_mm - truth->slope[k]) < factor * sqrt(slope.variance_mm2);
    }
}

static void judge(const struct tt_height_choice *choice, const struct truth *truth,
                  struct tally *tally)
{
    const struct tt_height_fit *fit = choice->fit;
    const struct tt_heights *h = fit->heights;
    double g[128], middle = choice->slope_known ? 0
                                                : truth->slope[0] * h->middle_x_mm +
                                                      truth->slope[1] * h->middle_y_mm;

    tally->runs++;
    for (size_t m = 0; m < fit->n_modes; m++) {
        tally->face += fit->modes[m].kind == TT_HEIGHT_FACE && fit->modes[m].what == 0;
        tally->other += fit->modes[m].kind != TT_HEIGHT_FACE || fit->modes[m].what != 0;
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        tally->aside += !(fit->good[i] > 0);
    }
    if (choice->ambiguous[0] || choice->ambiguous[1]) {
        tally->ambiguous++;
        return;
    }
    size_t all, kept;
    if (tt_height_too_few(choice, 1, &all, &kept)) { /* which the program refuses, too */
        tally->few++;
        return;
    }
    struct tt_height_worth w = tt_height_worth_of(choice, 1, TT_NONE);
    double off = w.value_mm - truth->height[1] - middle;
    if (!(w.weak_mm < 0.05)) {
        tally->undetermined++;
        return;
    }
    tally->used++;
    judge_slope(choice, truth, tally);
    tally->total += fabs(off) < tt_factor_line(w.dof) * w.u_mm;
    bool beyond = fabs(off) > 3 * tt_factor_line(w.dof) * w.u_mm;
    tally->squares += off * off;
    tally->stated += w.u_mm * w.u_mm;
    /* what pads that lie as stated would leave: the pads' own part of the error taken off */
    double pads = 0;
    tt_height_gradient(fit, choice->slope_known, 1, TT_NONE, g);
    tally->bound += tt_height_variance(fit, g, g + fit->n);
    for (size_t p = 0; p < h->n_pads; p++) {
        size_t at = fit->at_pad[p];
        pads += at != TT_NONE
                    ? -g[fit->n + at] / (fit->prior_u[at] * fit->prior_u[at]) * truth->pad[p]
                    : 0;
    }
    tally->same_plate += fabs(off - pads) < tt_factor_line(w.same_plate_dof) * w.same_plate_u_mm;
    w = tt_height_worth_of(choice, 1, 0);
    off = w.value_mm - (truth->height[1] - truth->height[0]);
    tally->between += fabs(off) < tt_factor_line(w.dof) * w.u_mm;
    beyond = beyond || fabs(off) > 3 * tt_factor_line(w.dof) * w.u_mm;
    tally->beyond += beyond;
}

/* What the heights of a design point to. */
struct room {
    struct tt_height_row rows[TIPS * 4 * 12];
    struct tt_height_pad pads[4];
    size_t tips[TIPS], setups[1];
    double about[TIPS];
    bool slope[1];
};

static void lay_out(const struct design *d, struct room *room, struct tt_heights *h)
{
    *room = (struct room){.tips = {0, 1}, .slope = {d->pads > 1}};
    *h = (struct tt_heights){.rows = room->rows,
                             .tips = room->tips,
                             .tip_about_mm = room->about,
                             .n_tips = TIPS,
                             .pads = room->pads,
                             .n_pads = d->pads,
                             .setups = room->setups,
                             .n_setups = 1,
                             .has_slope = room->slope,
                             .stated_mm2 = SIGMA_MM * SIGMA_MM,
                             .stated_dof = d->stated ? 10 : 0,
                             .digit_mm2 = 1e-6 / 12,
                             .rotations_stated = true};
    for (size_t p = 0; p < d->pads; p++) {
        room->pads[p] = (struct tt_height_pad){p, 0.01 * (double)p, PAD_U_MM, true};
        h->middle_x_mm += PLACES[p][0] / (double)d->pads;
        h->middle_y_mm += PLACES[p][1] / (double)d->pads;
    }
}

static inline void run_design(const struct design *d, size_t runs, struct tally *tally)
{
    struct tt_arena arena = {0};
    struct room room;
    struct tt_heights h;

    *tally = (struct tally){0};
    lay_out(d, &room, &h);
    for (size_t k = 0; k < runs; k++) {
        struct truth truth = {{0}, {0}, {0}};
        struct tt_height_choice choice;
        draw(d, &truth);
        make(d, &truth, &h);
        tt_arena_reset(&arena);
        if (tt_height_choose(&choice, &arena, &h, true) != TIPTRUE_OK) {
            tally->undetermined++;
            continue;
        }
        judge(&choice, &truth, tally);
    }
    tt_arena_clear(&arena);
}

#endif
