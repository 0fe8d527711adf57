/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Rotations, temperatures and the plate's expansion in another unit than they are read in. */
#include "config.h"

#include "adjust/plausible.h"

#include <math.h>

/* Rotations of a tip within a turn of radians, 2 pi, taken for degrees: more than half of it, since
 * a run goes round, and at three or more of them. */
#define TURN_OF_RADIANS 6.3
#define LEAST_TURN_OF_RADIANS 3.1
#define LEAST_ROTATIONS 3
/* Rooms, and plates in them, in degrees Celsius; 60 to 100 are degrees Fahrenheit, 270 to 320
 * kelvin. */
#define COLDEST_ROOM_C 0.0
#define WARMEST_ROOM_C 50.0
#define LEAST_KELVIN 200.0
/* No plate expands by less than a thousandth of a ppm per kelvin (glass ceramics: some hundredths);
 * one stated in 1/K has 1e-5. */
#define LEAST_EXPANSION_PER_K 1e-9

/* How many rotations of the tip of @block differ (counted up to three), and their range in degrees.
 */
static size_t rotations_of(const struct tt_view *view, size_t block, double *range_deg)
{
    const struct tt_model *model = view->model;
    double seen[LEAST_ROTATIONS], low = HUGE_VAL, high = -HUGE_VAL;
    size_t n = 0;

    for (size_t i = 0; i < model->n_touches; i++) {
        double rotation = tt_deg_from_rad(view->run->observations[model->row[i]].rotation_rad);
        size_t k = 0;
        if (model->cells[model->cell_of[i]].block != block) {
            continue;
        }
        low = fmin(low, rotation);
        high = fmax(high, rotation);
        while (k < n && fabs(seen[k] - rotation) > 1e-9) {
            k++;
        }
        if (k == n && n < LEAST_ROTATIONS) {
            seen[n++] = rotation;
        }
    }
    *range_deg = high - low;
    return n;
}

static enum tiptrue_status radians(struct tt_view *view)
{
    double widest_deg = 0;
    bool all = view->model->n_blocks > 0;

    for (size_t b = 0; b < view->model->n_blocks && all; b++) {
        double range_deg;
        all = rotations_of(view, b, &range_deg) >= LEAST_ROTATIONS &&
              range_deg <= TURN_OF_RADIANS && range_deg > LEAST_TURN_OF_RADIANS;
        widest_deg = fmax(widest_deg, range_deg);
    }
    if (!all) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("what", "rotations-radians"),
                                           TT_IN_DEG("range", tt_rad_from_deg(widest_deg))));
}

static bool is_of_room(double temperature_C)
{
    return temperature_C >= COLDEST_ROOM_C && temperature_C <= WARMEST_ROOM_C;
}

/* The first row whose temperature is no room's, or the plate file's own temperature. */
static enum tiptrue_status temperature(struct tt_view *view)
{
    const struct tiptrue_run *run = view->run;
    double found_C = view->plate->measured_at_C;
    struct tt_about about = TT_ABOUT_RUN;

    for (size_t i = 0; i < run->n_observations && is_of_room(found_C); i++) {
        if (run->observations[i].has_temperature) {
            found_C = run->observations[i].temperature_C;
            about.lines = &run->observations[i].line;
            about.n_lines = 1;
        }
    }
    if (!view->plate->has_expansion || is_of_room(found_C)) {
        return TIPTRUE_OK; /* or not used */
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, about,
        TT_VALUES(TT_TEXT("what", "temperature"), TT_IN_C("found", found_C),
                  TT_TEXT("where", about.n_lines > 0 ? "log" : "measured_at_C of the plate file"),
                  TT_TEXT("unit", found_C >= LEAST_KELVIN    ? "kelvin"
                                  : found_C > WARMEST_ROOM_C ? "degrees Fahrenheit"
                                                             : "another unit")));
}

static enum tiptrue_status expansion(struct tt_view *view)
{
    double per_K = view->plate->expansion_per_K;

    if (!view->plate->has_expansion || per_K == 0 || fabs(per_K) >= LEAST_EXPANSION_PER_K) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("what", "expansion"),
                  ((struct tt_value){"found", TT_UNIT_PPM_PER_K, per_K * 1e6, NULL, NULL}),
                  ((struct tt_value){"meant", TT_UNIT_PPM_PER_K, per_K * 1e12, NULL, NULL})));
}

enum tiptrue_status tt_findings_of_log(struct tt_view *view)
{
    enum tiptrue_status status = radians(view);

    if (status == TIPTRUE_OK && (status = temperature(view)) == TIPTRUE_OK) {
        status = expansion(view);
    }
    return status;
}
