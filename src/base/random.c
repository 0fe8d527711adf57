/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "base/random.h"

#include <stddef.h>

gsl_rng *tt_random_start(struct tt_random *random, const gsl_rng_type *type, unsigned long seed)
{
    if (type->size > sizeof random->state) {
        return NULL;
    }
    random->gsl = (gsl_rng){.type = type, .state = random->state.bytes};
    gsl_rng_set(&random->gsl, seed);
    return &random->gsl;
}
