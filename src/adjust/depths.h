/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Late contacts that are alike: a film has one thickness wherever it is met. */
#ifndef TT_ADJUST_DEPTHS_H
#define TT_ADJUST_DEPTHS_H

#include <stddef.h>

/* ln of how much more probable contacts late by @depth_mm (> 0) are where they may have met a film
 * than where each is late by anything of tt_off_density. The film has one thickness but for its own
 * unevenness; which share of the late contacts met it is not known. @touch_var_mm2: variance of a
 * touch. Sorts @depth_mm. */
double tt_log_one_depth(double depth_mm[], size_t n, double touch_var_mm2);

#endif
