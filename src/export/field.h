/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A FIELD: which number of a solution is meant, and how it is to stand in the configuration. Both
 * directions: a solution's number as text, and a configuration's text as millimetres of the machine
 * frame.
 *
 *   FIELD = ( MACHINE_QUANTITY | TIP_FIELD ) { ":" MODIFIER }
 *   TIP_FIELD = TIP "." ( QUANTITY [ "@" ROTATION ] | "height-over." TIP )
 *
 * MACHINE_QUANTITY, of no tip, is the camera's picture or the axes. Their numbers are in
 *
 *   camera.scale.x, .y   mm per pixel, along the picture's axes
 *   camera.turn          degrees counter-clockwise, of the picture's x against the machine's
 *   axes.scale.x, .y     1: what to multiply the steps per millimetre by, 1/(1 + error)
 *   axes.square          mm per m by which the y axis leans counter-clockwise
 *
 * Signs are those of the solution (offset: axis of the tip less axis of the camera, machine frame);
 * only `minus` turns one round.
 */
#ifndef TT_EXPORT_FIELD_H
#define TT_EXPORT_FIELD_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buffer.h"
#include "model/frames.h"
#include "model/solution.h"

enum tt_quantity {
    TT_OFFSET_X,
    TT_OFFSET_Y,
    TT_RUNOUT_X,
    TT_RUNOUT_Y,
    TT_ECCENTRICITY,
    TT_RADIUS,
    TT_U_X,
    TT_U_Y,
    TT_EXPANDED_X,
    TT_EXPANDED_Y,
    TT_TIP_HEIGHT,
    TT_TIP_HEIGHT_OVER, /* height of the tip less that of another */
    TT_CAMERA_SCALE_X,  /* from here on of the machine, not of a tip */
    TT_CAMERA_SCALE_Y,
    TT_CAMERA_TURN,
    TT_AXES_SCALE_X,
    TT_AXES_SCALE_Y,
    TT_AXES_SQUARE,
    TT_QUANTITIES /* how many */
};

enum tt_length_unit { TT_MM, TT_INCH, TT_UM, TT_LENGTH_UNITS };
/* mm of @unit. */
static inline double tt_length_unit_mm(enum tt_length_unit unit)
{
    static const double MM[] = {[TT_MM] = 1.0, [TT_INCH] = TT_MM_PER_INCH, [TT_UM] = 1e-3};

    return MM[unit];
}

struct tt_export_field {
    const char *text; /* the whole FIELD as written; borrowed, like tip */
    size_t length;
    const char *tip; /* "*": each tip (templates); "": of the machine */
    size_t tip_length;
    const char *over; /* of TT_TIP_HEIGHT_OVER: the other tip; else NULL */
    size_t over_length;
    enum tt_quantity quantity;
    bool has_rotation, each_rotation; /* at a rotation; at each of those asked for (templates) */
    double rotation_deg;              /* as the machine counts it */
    bool minus, per_mm;               /* per_mm: pixels per mm; mm per mm */
    enum tt_length_unit unit;
    int decimals;
};

/* Most decimals that may be asked for: 1e-9 mm is below all that is measured. */
#define TT_MOST_DECIMALS 9

/* Read the FIELD that fills text[0..length). @each: tip and rotation may be '*'. TIPTRUE_E_USAGE:
 * it is none. */
TT_MUST_USE enum tiptrue_status tt_export_field_read(const char *text, size_t length, bool each,
                                                     struct tt_export_field *field,
                                                     struct tiptrue_error *error);

/* The tip that the field names, or NULL (told, with those there are). TIPTRUE_E_DATA through
 * *error. */
const struct tt_tip_result *tt_export_field_tip(const struct tt_export_field *field,
                                                const struct tiptrue_solution *solution,
                                                struct tiptrue_error *error);

/* A number in mm as the field wants it written: sign, unit, decimals (rounded half away from zero).
 */
void tt_export_field_write(const struct tt_export_field *field, double value_mm,
                           struct tt_buffer *to);
/* The way back: mm of what the configuration means by @written. */
double tt_export_field_back(const struct tt_export_field *field, double written);

/* Whether the quantity is an offset; whether it is a height, or a difference of two. --max-change
 * limits the change of both. */
bool tt_export_field_is_offset(const struct tt_export_field *field);
bool tt_export_field_is_height(const struct tt_export_field *field);

/* Whether the quantity is the machine's, of no tip; of its axes. */
bool tt_export_field_is_machine(const struct tt_export_field *field);
static inline bool tt_export_field_is_of_axes(const struct tt_export_field *field)
{
    return field->quantity >= TT_AXES_SCALE_X && field->quantity <= TT_AXES_SQUARE;
}

/* @value, of the machine, as the field's modifiers want it, its sign apart. */
double tt_machine_field_out(const struct tt_export_field *field, double value);

/* Why @now, which stands where @field is to be put, must not be replaced by its number; NULL: it
 * may. The axes' numbers are found with what stands there in force: they come on top of it. */
const char *tt_machine_field_stands(const struct tt_export_field *field, double now, double next);

#endif
