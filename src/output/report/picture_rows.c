/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the pictures of a run share: how a row of the log looks, and how far its residual may lie
 * off. */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "output/page.h"

/* Touches set aside are shown to scale up to so many times the largest residual that is used;
 * beyond, the good ones would be a flat line, and a triangle at the end tells as much. Where they
 * are few, the good ones are the picture; where they are many, as with a film, their depths are. */
#define ASIDE_REACH 12
#define FEW_ASIDE_REACH 4
#define FEW_ASIDE 0.05 /* of the rows */
#define LEAST_REACH_UM 2.0

bool tt_row_is_seen(const struct tt_row_result *row)
{
    return row->use == TT_USE && (row->kind == TT_TOUCH || tt_is_sighting(row->kind));
}

enum tt_shape tt_row_shape(const struct tt_row_result *row)
{
    if (row->use == TT_USE_NO_CONTACT) {
        return TT_MARK_NO_CONTACT;
    }
    if (tt_is_sighting(row->kind)) {
        return TT_MARK_SIGHT;
    }
    return row->set_aside ? TT_MARK_ASIDE : row->weight < 0.5 ? TT_MARK_WEAK : TT_MARK_USED;
}

const char *tt_row_remark(const struct tt_row_result *row)
{
    if (row->use == TT_USE_NO_CONTACT) {
        return "no contact";
    }
    return row->set_aside                               ? "left out"
           : row->kind == TT_TOUCH && row->weight < 0.5 ? "counts less"
                                                        : "";
}

double tt_turn_deg(double rotation_rad)
{
    double turned = fmod(tt_deg_from_rad(rotation_rad), 360);

    turned = turned < 0 ? turned + 360 : turned;
    return turned >= 359.9995 ? 0 : turned; /* as the log's digits show it */
}

void tt_row_tell(struct tt_picture *picture, const struct tt_row_result *row, double value_mm)
{
    const char *remark = tt_row_remark(row);
    struct tt_buffer *out = &picture->svg;

    tt_buffer_printf(out, "line %zu", row->line);
    if (!tt_is_sighting(row->kind)) {
        tt_buffer_printf(out, ", %s" TT_DEGREE,
                         tt_signed(tt_deg_from_rad(row->rotation_rad), 1, false).text);
    }
    if (row->use == TT_USE) {
        tt_picture_say(picture, out, ", %s " TT_UM,
                       tt_signed_small(picture->units, value_mm, 1, true).text);
    }
    if (remark[0] != '\0') {
        tt_buffer_printf(out, ", %s", remark);
    }
}

void tt_row_mark(struct tt_picture *picture, const struct tt_row_result *row,
                 const struct tt_scale *scale, double x, double value_um, double told_mm)
{
    enum tt_shape shape = value_um > scale->high  ? TT_MARK_BEYOND_UP
                          : value_um < scale->low ? TT_MARK_BEYOND_DOWN
                                                  : tt_row_shape(row);

    picture->beyond = picture->beyond || shape == TT_MARK_BEYOND_UP || shape == TT_MARK_BEYOND_DOWN;
    tt_picture_mark(picture, shape, x, tt_scale_clip(scale, value_um));
    tt_row_tell(picture, row, told_mm);
    tt_picture_mark_end(picture, shape);
}

double tt_residual_reach_um(const struct tiptrue_solution *solution, bool with_movement)
{
    double used_um = 0, all_um = 0;
    size_t seen = 0, aside = 0;

    for (size_t i = 0; i < solution->n_rows; i++) {
        const struct tt_row_result *row = &solution->rows[i];
        if (tt_row_is_seen(row)) {
            double off_um =
                1000 * fmax(fabs(row->residual_mm + (with_movement ? row->moved_mm : 0)),
                            fabs(row->residual_y_mm + (with_movement ? row->moved_y_mm : 0)));
            all_um = fmax(all_um, off_um);
            used_um = row->set_aside ? used_um : fmax(used_um, off_um);
            seen++;
            aside += row->set_aside;
        }
    }
    double reach = (double)aside > FEW_ASIDE * (double)seen ? ASIDE_REACH : FEW_ASIDE_REACH;
    return fmax(1.1 * fmin(all_um, reach * fmax(used_um, LEAST_REACH_UM)), LEAST_REACH_UM);
}

void tt_shapes_add(struct tt_shapes *shapes, const struct tt_row_result *row)
{
    shapes->seen[tt_row_shape(row)] = true;
}

double tt_shapes_legend(struct tt_picture *picture, const struct tt_shapes *shapes, double y)
{
    static const struct {
        enum tt_shape shape;
        const char *text;
    } KEYS[] = {{TT_MARK_USED, "used"},      {TT_MARK_WEAK, "counts less"},
                {TT_MARK_ASIDE, "left out"}, {TT_MARK_NO_CONTACT, "no contact"},
                {TT_MARK_SIGHT, "sighting"}, {TT_MARK_BEYOND_DOWN, "off the scale"}};
    double x = TT_KEYS_LEFT;

    for (size_t k = 0; k < sizeof KEYS / sizeof KEYS[0]; k++) {
        if (shapes->seen[KEYS[k].shape] ||
            (KEYS[k].shape == TT_MARK_BEYOND_DOWN && picture->beyond)) {
            if (x + 14 + tt_picture_text_width(KEYS[k].text) > TT_PICTURE_WIDTH) {
                x = TT_KEYS_LEFT;
                y += 16;
            }
            x = tt_picture_key(picture, KEYS[k].shape, x, y, KEYS[k].text);
        }
    }
    return y + 8;
}
