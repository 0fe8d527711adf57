/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The units of a file, and a plate to look at before any run exists. */
#include "config.h"

#include "base/buffer.h"
#include "model/frames.h"
#include "model/machine.h"
#include "model/plate.h"
#include "output/output.h"
#include "output/units.h"
#include "tiptrue.h"

static enum tiptrue_units units_of(double mm_per_unit)
{
    return mm_per_unit == TT_MM_PER_INCH ? TIPTRUE_UNITS_INCH
           : mm_per_unit == TT_MM_PER_UM ? TIPTRUE_UNITS_UM
                                         : TIPTRUE_UNITS_MM;
}

enum tiptrue_units tiptrue_machine_units(const struct tiptrue_machine *machine)
{
    return units_of(machine->mm_per_unit);
}

enum tiptrue_units tiptrue_plate_units(const struct tiptrue_plate *plate)
{
    return units_of(plate->mm_per_unit);
}

enum tiptrue_status tiptrue_plate_view(const struct tiptrue_plate *plate, bool svg,
                                       const struct tiptrue_text_options *options, char **text,
                                       size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};

    if (svg) {
        tt_output_plate_svg(
            plate, tt_units_of(options != NULL ? options->units : TIPTRUE_UNITS_DEFAULT), &buffer);
    } else {
        tt_output_plate_text(plate, options, &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}
