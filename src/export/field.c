/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See field.h. The quantity is looked for from the end, so that a tip's name may hold points. */
#include "config.h"

#include "export/field.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "ingest/diagnose.h"

static const char *const quantity_words[TT_QUANTITIES] = {
    [TT_OFFSET_X] = "offset.x",
    [TT_OFFSET_Y] = "offset.y",
    [TT_RUNOUT_X] = "runout.x",
    [TT_RUNOUT_Y] = "runout.y",
    [TT_ECCENTRICITY] = "eccentricity",
    [TT_RADIUS] = "radius",
    [TT_U_X] = "u.x",
    [TT_U_Y] = "u.y",
    [TT_EXPANDED_X] = "expanded.x",
    [TT_EXPANDED_Y] = "expanded.y",
    [TT_TIP_HEIGHT] = "height",
    [TT_TIP_HEIGHT_OVER] = "height-over",
    [TT_CAMERA_SCALE_X] = "camera.scale.x",
    [TT_CAMERA_SCALE_Y] = "camera.scale.y",
    [TT_CAMERA_TURN] = "camera.turn",
    [TT_AXES_SCALE_X] = "axes.scale.x",
    [TT_AXES_SCALE_Y] = "axes.scale.y",
    [TT_AXES_SQUARE] = "axes.square",
};
#define OVER ".height-over."

static const struct {
    const char *word;
    int decimals; /* without the modifier: finer than any bench machine repeats, 0.1 to 0.25 um */
} units[TT_LENGTH_UNITS] = {
    [TT_MM] = {"mm", 4},
    [TT_INCH] = {"inch", 5},
    [TT_UM] = {"um", 1},
};

/* Numbers of the machine that say the same: a tenth of the last digit of what is written. */
#define SAME 1e-8

#define FIELD_HINT                                                                                 \
    "TIP.QUANTITY, such as t1.offset.x:minus:inch:.5; quantities: offset.x|y runout.x|y "          \
    "eccentricity radius u.x|y expanded.x|y height height-over.TIP, or camera.scale.x|y "          \
    "camera.turn axes.scale.x|y axes.square; modifiers: minus mm inch um per-mm .DECIMALS"

static enum tiptrue_status wrong(const struct tt_export_field *field, struct tiptrue_error *error,
                                 const char *why, const char *what, size_t length)
{
    return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, FIELD_HINT, "field '%s': %s%s%s%s",
                   tt_shown(field->text, field->length).text, why, length > 0 ? " '" : "",
                   length > 0 ? tt_shown(what, length).text : "", length > 0 ? "'" : "");
}

static bool is_word(const char *text, size_t length, const char *word)
{
    return strlen(word) == length && memcmp(text, word, length) == 0;
}

struct given {
    bool unit, decimals;
};

static enum tiptrue_status read_modifier(struct tt_export_field *field, struct given *given,
                                         const char *text, size_t length,
                                         struct tiptrue_error *error)
{
    if (is_word(text, length, "minus")) {
        if (field->minus) {
            return wrong(field, error, "'minus' is given twice, which would restore the sign", "",
                         0);
        }
        field->minus = true;
        return TIPTRUE_OK;
    }
    if (is_word(text, length, "per-mm")) {
        field->per_mm = true;
        return TIPTRUE_OK;
    }
    if (length == 2 && text[0] == '.' && text[1] >= '0' && text[1] <= '0' + TT_MOST_DECIMALS) {
        if (given->decimals) {
            return wrong(field, error, "decimals are given twice", "", 0);
        }
        given->decimals = true;
        field->decimals = text[1] - '0';
        return TIPTRUE_OK;
    }
    for (int unit = 0; unit < TT_LENGTH_UNITS; unit++) {
        if (is_word(text, length, units[unit].word)) {
            if (given->unit) {
                return wrong(field, error, "a unit is given twice", "", 0);
            }
            given->unit = true;
            field->unit = (enum tt_length_unit)unit;
            return TIPTRUE_OK;
        }
    }
    return length == 0 ? wrong(field, error, "a colon has nothing after it", "", 0)
                       : wrong(field, error, "an unknown modifier", text, length);
}

static enum tiptrue_status read_modifiers(struct tt_export_field *field, struct given *given,
                                          const char *at, const char *end,
                                          struct tiptrue_error *error)
{
    while (at < end) {
        const char *next = memchr(at + 1, ':', (size_t)(end - at - 1));
        next = next != NULL ? next : end;
        enum tiptrue_status status =
            read_modifier(field, given, at + 1, (size_t)(next - at - 1), error);
        if (status != TIPTRUE_OK) {
            return status;
        }
        at = next;
    }
    return TIPTRUE_OK;
}

static bool is_scale(const struct tt_export_field *field)
{
    return field->quantity == TT_CAMERA_SCALE_X || field->quantity == TT_CAMERA_SCALE_Y;
}

bool tt_export_field_is_machine(const struct tt_export_field *field)
{
    return field->quantity >= TT_CAMERA_SCALE_X && field->quantity <= TT_AXES_SQUARE;
}

double tt_machine_field_out(const struct tt_export_field *field, double value)
{
    if (is_scale(field)) {
        return field->per_mm ? 1 / value : value / tt_length_unit_mm(field->unit);
    }
    return field->per_mm ? 1e-3 * value : value;
}

/* The way back. */
static double machine_back(const struct tt_export_field *field, double written)
{
    if (is_scale(field)) {
        return !field->per_mm ? written * tt_length_unit_mm(field->unit)
               : written != 0 ? 1 / written
                              : 0; /* none was set there yet */
    }
    return field->per_mm ? 1e3 * written : written;
}

/* Decimals where the field states none: a thousandth of a pixel over the picture, 0.1 ppm. */
static int machine_decimals(const struct tt_export_field *field)
{
    if (is_scale(field)) {
        return field->per_mm || field->unit == TT_UM ? 4 : field->unit == TT_INCH ? 9 : 7;
    }
    bool fine =
        field->quantity != TT_CAMERA_TURN &&
        (!tt_export_field_is_of_axes(field) || field->per_mm || field->quantity != TT_AXES_SQUARE);
    return fine ? 7 : 4;
}

/* Why the modifiers of @field (has_unit: it has a unit's) cannot be; NULL: they can. */
static const char *machine_misfit(const struct tt_export_field *field, bool has_unit)
{
    bool square = field->quantity == TT_AXES_SQUARE;

    if (field->per_mm && has_unit) {
        return "'per-mm' stands beside a unit";
    }
    if (has_unit && !is_scale(field)) {
        return "it is not a length, and has no unit";
    }
    if (field->per_mm && !is_scale(field) && !square) {
        return "'per-mm' is for scales of the camera, and for axes.square";
    }
    if (field->minus && tt_export_field_is_of_axes(field) && !square) {
        return "'minus' would turn an axis round";
    }
    return NULL;
}

const char *tt_machine_field_stands(const struct tt_export_field *field, double now, double next)
{
    if (!tt_export_field_is_of_axes(field) || fabs(now - next) < SAME) {
        return NULL;
    }
    if (field->quantity == TT_AXES_SQUARE) {
        return fabs(now) < SAME ? NULL
                                : "the run was made with that in force, and the new number is "
                                  "to be added to it";
    }
    return fabs(now) < SAME || fabs(now - 1) < SAME ? NULL
                                                    : "the run was made with that in force, and it "
                                                      "is to be multiplied by the new number";
}

/* What the modifiers leave open depends on the quantity, and not all of them go with each. */
static enum tiptrue_status check_modifiers(struct tt_export_field *field, const struct given *given,
                                           struct tiptrue_error *error)
{
    bool machine = tt_export_field_is_machine(field);
    const char *misfit = machine         ? machine_misfit(field, given->unit)
                         : field->per_mm ? "'per-mm' is for scales of the camera, and for "
                                           "axes.square"
                                         : NULL;
    if (misfit != NULL) {
        return wrong(field, error, misfit, "", 0);
    }
    if (!given->decimals) {
        field->decimals = machine ? machine_decimals(field) : units[field->unit].decimals;
    }
    return TIPTRUE_OK;
}

/* "@90" behind the quantity; *end moves before it. */
static enum tiptrue_status read_rotation(struct tt_export_field *field, const char *head,
                                         const char **end, bool each, struct tiptrue_error *error)
{
    const char *at = *end;
    while (at > head && at[-1] != '@') {
        at--;
    }
    if (at == head) {
        return TIPTRUE_OK;
    }
    size_t length = (size_t)(*end - at);
    bool star = each && is_word(at, length, "*");
    if (!star && tt_number_read(at, length, '.', &field->rotation_deg, NULL) != TT_NUMBER_OK) {
        return TIPTRUE_OK; /* an '@' of the tip's name */
    }
    if (!star && fabs(field->rotation_deg) > 3600.0) {
        return wrong(field, error, "a rotation beyond ten turns", at, length);
    }
    field->has_rotation = true;
    field->each_rotation = star;
    *end = at - 1;
    return TIPTRUE_OK;
}

/* "t2.height-over.t1" */
static bool read_over(struct tt_export_field *field, const char *head, const char *end)
{
    size_t length = strlen(OVER);
    for (const char *at = head + 1; end - at > (ptrdiff_t)length; at++) {
        if (memcmp(at, OVER, length) == 0) {
            field->quantity = TT_TIP_HEIGHT_OVER;
            field->tip = head;
            field->tip_length = (size_t)(at - head);
            field->over = at + length;
            field->over_length = (size_t)(end - field->over);
            return true;
        }
    }
    return false;
}

static bool read_machine_quantity(struct tt_export_field *field, const char *head, const char *end)
{
    for (int quantity = TT_CAMERA_SCALE_X; quantity < TT_QUANTITIES; quantity++) {
        if (is_word(head, (size_t)(end - head), quantity_words[quantity])) {
            field->quantity = (enum tt_quantity)quantity;
            field->tip = "";
            return true;
        }
    }
    return false;
}

static bool read_quantity(struct tt_export_field *field, const char *head, const char *end)
{
    if (read_machine_quantity(field, head, end)) {
        return true;
    }
    for (int quantity = 0; quantity < TT_TIP_HEIGHT_OVER; quantity++) {
        size_t length = strlen(quantity_words[quantity]);
        if ((size_t)(end - head) <= length + 1) {
            continue; /* no room for a tip's name */
        }
        const char *at = end - length;
        if (at[-1] == '.' && memcmp(at, quantity_words[quantity], length) == 0) {
            field->quantity = (enum tt_quantity)quantity;
            field->tip = head;
            field->tip_length = (size_t)(at - 1 - head);
            return true;
        }
    }
    return read_over(field, head, end);
}

enum tiptrue_status tt_export_field_read(const char *text, size_t length, bool each,
                                         struct tt_export_field *field, struct tiptrue_error *error)
{
    struct tt_export_field made = {.text = text, .length = length};
    const char *head_end = memchr(text, ':', length);
    const char *end = head_end != NULL ? head_end : text + length;
    struct given given = {false, false};
    enum tiptrue_status status = read_modifiers(&made, &given, end, text + length, error);
    status = status == TIPTRUE_OK ? read_rotation(&made, text, &end, each, error) : status;
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (!read_quantity(&made, text, end)) {
        return wrong(&made, error, "no quantity that is known", "", 0);
    }
    if (made.has_rotation && made.quantity > TT_RUNOUT_Y) {
        return wrong(&made, error, "only offset and runout are asked for at a rotation", "", 0);
    }
    if (!each && is_word(made.tip, made.tip_length, "*")) {
        return wrong(&made, error, "'*' (each tip) is for templates", "", 0);
    }
    status = check_modifiers(&made, &given, error);
    if (status == TIPTRUE_OK) {
        *field = made;
    }
    return status;
}

const struct tt_tip_result *tt_export_field_tip(const struct tt_export_field *field,
                                                const struct tiptrue_solution *solution,
                                                struct tiptrue_error *error)
{
    char hint[200] = "tips of the result:";
    for (size_t i = 0; i < solution->n_tips; i++) {
        if (is_word(field->tip, field->tip_length, solution->tips[i].name)) {
            return &solution->tips[i];
        }
    }
    for (size_t i = 0; i < solution->n_tips && strlen(hint) < sizeof(hint) - 80; i++) {
        const char *name = solution->tips[i].name;
        strcat(strcat(strcat(hint, " '"), tt_shown_text(name).text), "'");
    }
    (void)tt_fail(error, TIPTRUE_E_DATA, solution->file, 0, 0, hint,
                  "the result has no tip '%s', which field '%s' names",
                  tt_shown(field->tip, field->tip_length).text,
                  tt_shown(field->text, field->length).text);
    return NULL;
}

void tt_export_field_write(const struct tt_export_field *field, double value_mm,
                           struct tt_buffer *to)
{
    double value = tt_export_field_is_machine(field) ? tt_machine_field_out(field, value_mm)
                   : field->unit == TT_UM            ? value_mm * 1e3
                                                     : value_mm / tt_length_unit_mm(field->unit);
    tt_number_write_fixed(to, field->minus ? -value : value, field->decimals, false);
}

double tt_export_field_back(const struct tt_export_field *field, double written)
{
    if (tt_export_field_is_machine(field)) {
        return machine_back(field, field->minus ? -written : written);
    }
    double value_mm =
        field->unit == TT_UM ? written / 1e3 : written * tt_length_unit_mm(field->unit);
    return field->minus ? -value_mm : value_mm;
}

bool tt_export_field_is_offset(const struct tt_export_field *field)
{
    return field->quantity == TT_OFFSET_X || field->quantity == TT_OFFSET_Y;
}

bool tt_export_field_is_height(const struct tt_export_field *field)
{
    return field->quantity == TT_TIP_HEIGHT || field->quantity == TT_TIP_HEIGHT_OVER;
}
