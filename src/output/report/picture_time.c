/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The axis of time under lanes: days of the reader's time zone. */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "base/time.h"

#define DAY_S 86400.0

/* Ticks are whole days at midnight local time: so many days apart that at most five fit. */
static double days_apart(const struct tt_scale *time)
{
    static const double STEPS[] = {1, 2, 7, 14, 28, 91, 182, 364, 728, 1820, 3640};
    double days = (time->high - time->low) / DAY_S;

    for (size_t i = 0; i < sizeof STEPS / sizeof STEPS[0]; i++) {
        if (days / STEPS[i] <= 5) {
            return STEPS[i];
        }
    }
    return ceil(days / 5);
}

/* The first local midnight that the step falls on, at or after the beginning. Weeks begin on a
 * Monday: 1970-01-05 was one. */
static double first_day(const struct tt_scale *time, const struct tiptrue_zone *zone, double step)
{
    double local = (time->low + (double)tt_local_time(zone, time->low).ahead_s) / DAY_S;

    return step < 7 ? ceil(local) : step * ceil((local - 4) / step) + 4;
}

void tt_draw_days(struct tt_picture *picture, const struct tt_scale *time,
                  const struct tiptrue_zone *zone, double top, double bottom, bool labels)
{
    double step = days_apart(time);
    bool long_time = time->high - time->low > 300 * DAY_S;

    for (double day = first_day(time, zone, step);; day += step) {
        double utc_s = day * DAY_S - (double)tt_local_time(zone, day * DAY_S).ahead_s;
        double x = tt_scale_place(time, utc_s);
        char text[TT_TIME_SIZE];
        if (!(utc_s <= time->high)) {
            break;
        }
        tt_picture_line(picture, "g", x, top, x, bottom);
        tt_time_write(day * DAY_S, text);
        text[long_time ? 7 : 10] = '\0';
        if (labels && x < TT_PICTURE_WIDTH - 26) {
            tt_picture_text(picture, "m", x, bottom + 13, "middle", long_time ? text : text + 5,
                            10);
        }
    }
    tt_picture_line(picture, "f", TT_PLOT_LEFT, bottom, TT_PLOT_RIGHT, bottom);
}

void tt_name_days(struct tt_picture *picture, const struct tt_extent *times,
                  const struct tiptrue_zone *zone, double y)
{
    struct tt_local_time first = tt_local_time(zone, times->low),
                         last = tt_local_time(zone, times->high);

    tt_picture_text(
        picture, "m", TT_PLOT_RIGHT, y, "end",
        tt_picture_words(picture, "%.10s to %.10s, %s", first.text, last.text, last.zone), 42);
}
