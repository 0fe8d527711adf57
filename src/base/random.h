/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A generator of GSL in memory of its own: gsl_rng_alloc ends the process when there is none (GSL's
 * default handler). */
#ifndef TT_BASE_RANDOM_H
#define TT_BASE_RANDOM_H

#include <gsl/gsl_rng.h>

/* Room for the state of the Mersenne twister (624 words and an index), the largest that is used
 * here. */
#define TT_RANDOM_STATE_SIZE 5120

/* Not to be copied or moved: @gsl points into it. */
struct tt_random {
    gsl_rng gsl;
    union {
        unsigned long align;
        unsigned char bytes[TT_RANDOM_STATE_SIZE];
    } state;
};

/* Begin the sequence of @seed, the same as gsl_rng_set's. @type: gsl_rng_mt19937 or gsl_rng_taus2.
 * Returns &random->gsl, for GSL's own calls; nothing is to be freed. NULL: this GSL's state of
 * @type is larger than the room for it. */
gsl_rng *tt_random_start(struct tt_random *random, const gsl_rng_type *type, unsigned long seed);

#endif
