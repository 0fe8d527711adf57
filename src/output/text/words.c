/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "output/text/words.h"

#include <math.h>

#include "base/number.h"
#include "model/frames.h"

/* From here on, mm, the first decimal of a micrometre is beyond the second digit of the
 * uncertainty. */
#define COARSE_U_MM 0.0095
#define CLOSE_TO_AXIS_RAD (15 * TT_PI / 180)

void tt_words_um(struct tt_buffer *buffer, double value_mm)
{
    double value_um = value_mm * 1e3;
    tt_number_write_fixed(buffer, value_um, fabs(value_um) < 9.95 ? 1 : 0, false);
    tt_buffer_puts(buffer, " \xc2\xb5m");
}

void tt_words_length(struct tt_buffer *buffer, double value_mm)
{
    if (fabs(value_mm) < 0.9995) {
        tt_words_um(buffer, value_mm);
    } else {
        tt_buffer_printf(buffer, "%s mm", tt_fixed(value_mm, 3, false).text);
    }
}

void tt_words_um_over(struct tt_buffer *buffer, double value_mm, double limit_mm)
{
    double value_um = value_mm * 1e3, over_um = (value_mm - limit_mm) * 1e3;
    int decimals = over_um < 0.005                          ? 3
                   : over_um < 0.05                         ? 2
                   : over_um < 0.5 || fabs(value_um) < 9.95 ? 1
                                                            : 0;
    tt_buffer_printf(buffer, "%s \xc2\xb5m", tt_fixed(value_um, decimals, false).text);
}

void tt_words_deg(struct tt_buffer *buffer, double angle_rad, int decimals)
{
    tt_number_write_fixed(buffer, tt_deg_from_rad(angle_rad), decimals, false);
    tt_buffer_puts(buffer, "\xc2\xb0");
}

static const char *axis_name(double x, double y)
{
    double angle = atan2(y, x);

    if (fabs(angle) < CLOSE_TO_AXIS_RAD) {
        return "+x";
    }
    if (fabs(angle) > TT_PI - CLOSE_TO_AXIS_RAD) {
        return "-x";
    }
    if (fabs(angle - TT_PI / 2) < CLOSE_TO_AXIS_RAD) {
        return "+y";
    }
    return fabs(angle + TT_PI / 2) < CLOSE_TO_AXIS_RAD ? "-y" : NULL;
}

void tt_words_direction(struct tt_buffer *buffer, double x, double y)
{
    const char *name = axis_name(x, y);

    if (name != NULL) {
        tt_buffer_puts(buffer, name);
        return;
    }
    tt_buffer_puts(buffer, "at ");
    tt_words_deg(buffer, atan2(y, x), 0);
}

void tt_words_line(struct tt_buffer *buffer, double x, double y)
{
    const char *name = axis_name(x, y);

    if (name != NULL) {
        tt_buffer_putc(buffer, name[1]);
        return;
    }
    tt_buffer_puts(buffer, "the line at ");
    tt_words_deg(buffer, x < 0 ? atan2(-y, -x) : atan2(y, x), 0);
}

void tt_words_lines(struct tt_buffer *buffer, const size_t lines[], size_t n)
{
    enum { MOST = 8 };
    size_t shown = n > MOST + 1 ? MOST : n;

    tt_buffer_puts(buffer, n == 1 ? "line " : "lines ");
    for (size_t i = 0; i < shown; i++) {
        if (i > 0) {
            tt_buffer_puts(buffer, i + 1 == n ? " and " : ", ");
        }
        tt_buffer_printf(buffer, "%zu", lines[i]);
    }
    if (n > shown) {
        tt_buffer_printf(buffer, " and %zu more", n - shown);
    }
}

void tt_words_ms(struct tt_buffer *buffer, double value_ms)
{
    tt_buffer_printf(buffer, "%s ms", tt_fixed(value_ms, 1, false).text);
}

/* Never rounded to a certainty: "over 99.9 %", "under 0.1 %". */
void tt_words_percent(struct tt_buffer *buffer, double share)
{
    if (share > 0.999) {
        tt_buffer_puts(buffer, "over 99.9 %");
    } else if (share < 0.001) {
        tt_buffer_puts(buffer, "under 0.1 %");
    } else {
        tt_buffer_printf(buffer, "%s %%", tt_fixed(100 * share, 1, false).text);
    }
}

/* Tenths of a per cent as they are shown; those that are not shown as a number at the ends. */
static double shown_tenths(double share)
{
    return share > 0.999 ? 1000 : share < 0.001 ? 0 : round(1000 * share);
}

bool tt_words_same_percent(double a, double b)
{
    return shown_tenths(a) == shown_tenths(b);
}

void tt_words_factor(struct tt_buffer *buffer, double factor)
{
    tt_number_write_fixed(buffer, factor, factor < 1 ? 4 : 2, false);
}

void tt_words_um_pm(struct tt_buffer *buffer, double value_mm, double u_mm)
{
    tt_number_write_fixed(buffer, 1e3 * value_mm, u_mm < COARSE_U_MM ? 1 : 0, true);
}

void tt_words_shift(struct tt_buffer *buffer, double x_mm, double y_mm, double u_x_mm,
                    double u_y_mm)
{
    tt_buffer_puts(buffer, "(");
    tt_words_um_pm(buffer, x_mm, u_x_mm);
    tt_buffer_puts(buffer, ", ");
    tt_words_um_pm(buffer, y_mm, u_y_mm);
    tt_buffer_puts(buffer, ") \xc2\xb5m");
}
