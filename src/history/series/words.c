/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/words.h"

#include "base/number.h"

/* From here on, mm, the first decimal of a micrometre is beyond the second digit of the
 * uncertainty. */
#define COARSE_U_MM 0.0095

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
