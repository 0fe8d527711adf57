/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The scale of an axis: from values to places of a picture, with ticks at round numbers (1, 2 or 5
 * times a power of ten). */
#ifndef TT_OUTPUT_REPORT_SCALE_H
#define TT_OUTPUT_REPORT_SCALE_H

#include <stdbool.h>
#include <stddef.h>

struct tt_scale {
    double low, high;   /* values at the ends */
    double first, last; /* places of these ends; first > last for an axis that points up */
    double step;        /* between ticks */
    int decimals;       /* that a tick's number needs */
    double per;         /* what is shown of one unit of the values: ticks are round there */
};

/* What an axis is to show: values from @low to @high, ends that are equal set apart by @least, on
 * places @first to @last, with about @ticks ticks; with @round the ends move out to ticks. All
 * finite, @least > 0, @ticks >= 1, @per as above (1 where they are no lengths). */
struct tt_span {
    double low, high, least;
    double first, last;
    size_t ticks;
    bool round;
    double per;
};

/* The scale of such an axis. */
struct tt_scale tt_scale_make(struct tt_span span);
/* Place of @value, also beyond the ends. */
double tt_scale_place(const struct tt_scale *scale, double value);
/* The same, at the nearer end where it is beyond. */
double tt_scale_clip(const struct tt_scale *scale, double value);
bool tt_scale_holds(const struct tt_scale *scale, double value);
/* The first tick at or above the low end, and how many there are. */
double tt_scale_tick(const struct tt_scale *scale, size_t *n);
/* The largest of 1, 2, 5 times a power of ten that is not above @most > 0; and the same of what is
 * shown, @per of it for one unit of @most and of the result. */
double tt_scale_round_down(double most);
double tt_scale_round_shown(double most, double per);

/* A range that grows by what is added; starts as {0}. */
struct tt_extent {
    bool any;
    double low, high;
};
void tt_extent_add(struct tt_extent *range, double value);
void tt_extent_span(struct tt_extent *range, double one, double other);

#endif
