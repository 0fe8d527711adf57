/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What an export wrote, against what stands there. */
#ifndef TT_APP_PRESENT_H
#define TT_APP_PRESENT_H

#include <stdbool.h>
#include <stddef.h>

#include "model/machine.h"

#include "model/record.h"

/* Which axes of @tip's offset in use are what @new, the values of an export (JSON: FIELD to text),
 * says: axis[0] x, axis[1] y are set where they are, and else left. Of a tip that the export only
 * left as it was (@old says the same; its text may be NULL) nothing is said. */
void tt_values_match(struct tt_text old, struct tt_text new, const struct tt_tip *tip,
                     bool axis[2]);

/* Whether @tip's height in use is what @new says, or @new says nothing of it; *written is set where
 * it does, and else left. */
bool tt_height_matches(struct tt_text new, const struct tt_tip *tip, bool *written);

#endif
