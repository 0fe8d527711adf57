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

#endif
