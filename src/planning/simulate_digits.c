/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The digits that a simulated run is printed with. */
#include "config.h"

#include "planning/simulate_parts.h"

#include <math.h>

/* Coordinates are printed so that rounding does not show: a twentieth of the scatter, four to nine
 * decimals of a millimetre. */
#define DIGITS_PER_SCATTER 20.0
#define MOST_DECIMALS 9

int tt_simulate_decimals(double step_mm, double sigma_mm)
{
    int decimals = TT_LEAST_DECIMALS;

    while (decimals < MOST_DECIMALS && !(pow(10, -decimals) <= sigma_mm / DIGITS_PER_SCATTER) &&
           !(step_mm > 0)) {
        decimals++;
    }
    for (; decimals < MOST_DECIMALS && step_mm > 0; decimals++) {
        double scaled = step_mm * pow(10, decimals);
        if (fabs(scaled - round(scaled)) < 1e-6 && round(scaled) >= 1) {
            break;
        }
    }
    return decimals;
}

void tt_simulate_digits(struct tiptrue_run *run, int sighting_decimals, int touch_decimals,
                        int height_decimals)
{
    double z_unit = pow(10, height_decimals);
    for (size_t i = 0; i < run->n_observations; i++) {
        struct tt_observation *o = &run->observations[i];
        double unit = pow(10, tt_is_sighting(o->kind) ? sighting_decimals : touch_decimals);
        run->quantum_px = o->kind == TT_VIEW ? pow(10, -TT_PIXEL_DECIMALS) : run->quantum_px;
        o->h.x_mm = round(o->h.x_mm * unit) / unit;
        o->h.y_mm = round(o->h.y_mm * unit) / unit;
        o->z_mm = o->kind == TT_HEIGHT ? round(o->z_mm * z_unit) / z_unit : o->z_mm;
    }
    run->height_quantum_mm = 1 / z_unit;
    run->sighting_digits = (struct tt_digits){.quantum_mm = pow(10, -sighting_decimals)};
    run->touch_digits = (struct tt_digits){.quantum_mm = pow(10, -touch_decimals), .on_grid = true};
}
