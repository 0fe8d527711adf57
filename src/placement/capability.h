/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Capability of a process for symmetric limits about 0, with what is not known of it for want of
 * parts. Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6; ISO 22514-2 (indices hold
 * for a normal distribution; else the share itself is stated). */
#ifndef TT_PLACEMENT_CAPABILITY_H
#define TT_PLACEMENT_CAPABILITY_H

#include "model/placement.h"

/* Below this p of the Anderson-Darling test the indices of a normal law are not given. A board has
 * three axes for each tip: with 0.05 a normal one would lose an index on every second board. */
#define TT_NORMAL_P 0.01

/* Fewer values have no capability: a standard deviation of three is known to a factor of four. */
#define TT_LEAST_CAPABILITY 5

/* Of @values (n of them, in any order; they are sorted) for limits of -limit and +limit. n below
 * TT_LEAST_CAPABILITY: parts alone is set. */
struct tt_capability_axis tt_capability(double values[], size_t n, double limit);

/* A^2 of @sorted values against the normal law with their mean and standard deviation, as computed;
 * *p: its probability (R. B. D'Agostino and M. A. Stephens, Goodness-of-fit techniques, 1986, table
 * 4.9, with their factor 1 + 0.75 / n + 2.25 / n^2). */
double tt_anderson_darling(const double sorted[], size_t n, double mean, double deviation,
                           double *p);

#endif
