/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Shifts in sentences: micrometres, signed, as many decimals as their uncertainty bears. */
#ifndef TT_HISTORY_SERIES_WORDS_H
#define TT_HISTORY_SERIES_WORDS_H

#include "base/buffer.h"

/* "+11.4": two significant digits of @u_mm (JCGM 100:2008, 7.2.6), one decimal at most. */
void tt_words_um_pm(struct tt_buffer *buffer, double value_mm, double u_mm);
/* "(+21.7, -15.6) um". */
void tt_words_shift(struct tt_buffer *buffer, double x_mm, double y_mm, double u_x_mm,
                    double u_y_mm);

#endif
