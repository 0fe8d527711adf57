/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See scale.h. */
#include "config.h"

#include "output/report/scale.h"

#include <math.h>

#define MOST_TICKS 50 /* whatever is asked: more cannot be told apart */
/* A tick that misses an end by less than this share of the step belongs to it: rounding of the
 * division. */
#define TICK_SLACK 1e-6

double tt_scale_round_down(double most)
{
    double power = pow(10, floor(log10(most)));
    double digit = most / power * (1 + TICK_SLACK);

    return (digit >= 5 ? 5 : digit >= 2 ? 2 : 1) * power;
}

/* The smallest round number that is not below @least. */
static double round_up(double least)
{
    double down = tt_scale_round_down(least);
    double power = pow(10, floor(log10(down) + TICK_SLACK)), digit = round(down / power);

    if (down >= least * (1 - TICK_SLACK)) {
        return down;
    }
    return digit < 1.5 ? 2 * power : digit < 3 ? 5 * power : 10 * power;
}

double tt_scale_round_shown(double most, double per)
{
    return tt_scale_round_down(most * per) / per;
}

struct tt_scale tt_scale_make(struct tt_span span)
{
    struct tt_scale scale = {.low = span.low,
                             .high = span.high,
                             .first = span.first,
                             .last = span.last,
                             .per = span.per};
    double ticks = (double)(span.ticks > MOST_TICKS ? MOST_TICKS : span.ticks);

    if (!(span.high - span.low >= span.least)) {
        double middle = 0.5 * (span.low + span.high);
        scale.low = middle - 0.5 * span.least;
        scale.high = middle + 0.5 * span.least;
    }
    double shown = round_up((scale.high - scale.low) * scale.per / ticks);
    scale.step = shown / scale.per;
    if (span.round) {
        scale.low = scale.step * floor(scale.low / scale.step + TICK_SLACK);
        scale.high = scale.step * ceil(scale.high / scale.step - TICK_SLACK);
    }
    double places = -floor(log10(shown) + TICK_SLACK);
    scale.decimals = places > 0 ? (int)places : 0;
    return scale;
}

double tt_scale_place(const struct tt_scale *scale, double value)
{
    return scale->first +
           (value - scale->low) / (scale->high - scale->low) * (scale->last - scale->first);
}

double tt_scale_clip(const struct tt_scale *scale, double value)
{
    return tt_scale_place(scale, fmin(fmax(value, scale->low), scale->high));
}

bool tt_scale_holds(const struct tt_scale *scale, double value)
{
    return value >= scale->low && value <= scale->high;
}

double tt_scale_tick(const struct tt_scale *scale, size_t *n)
{
    double first = ceil(scale->low / scale->step - TICK_SLACK),
           last = floor(scale->high / scale->step + TICK_SLACK);

    *n = last >= first && last - first < 10 * MOST_TICKS ? (size_t)(last - first) + 1 : 0;
    return first * scale->step;
}

void tt_extent_add(struct tt_extent *range, double value)
{
    range->low = range->any ? fmin(range->low, value) : value;
    range->high = range->any ? fmax(range->high, value) : value;
    range->any = true;
}

void tt_extent_span(struct tt_extent *range, double one, double other)
{
    tt_extent_add(range, one);
    tt_extent_add(range, other);
}
