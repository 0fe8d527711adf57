/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plate as it was understood, before any run exists: in words with a drawing of characters, and
 * as a picture (SVG). In both the conductor is hatched, so that a free side that was stated wrongly
 * is seen; x points right and y up, seen from above. */
#ifndef TT_OUTPUT_REPORT_PLATE_VIEW_H
#define TT_OUTPUT_REPORT_PLATE_VIEW_H

#include "base/buffer.h"
#include "model/plate.h"
#include "output/units.h"
#include "tiptrue.h"

/* @options may be NULL. */
void tt_output_plate_text(const struct tiptrue_plate *plate,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);
/* A document of its own; lengths that it tells are in @units. */
void tt_output_plate_svg(const struct tiptrue_plate *plate, const struct tt_units *units,
                         struct tt_buffer *buffer);

#endif
