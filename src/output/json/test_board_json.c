/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board to be placed, as tiptrue.test-board/1 and as the table of its parts. */
#include "config.h"

#include "output/output.h"

#include "base/utf8.h"
#include "base/number.h"
#include "output/json/json_result.h"

#define PPM 1e6
#define PER_M 1e3
/* 1 um, and 0.25 um of inches: parts are placed to some of them. */
#define DECIMALS_MM 3
#define DECIMALS_INCH 5

static void write_parts(struct tt_json *json, const struct tiptrue_test_board *b)
{
    tt_json_key_open(json, "parts", '[');
    for (size_t i = 0; i < b->n_parts; i++) {
        tt_json_part(json, b->tips[b->parts[i].tip].name, &b->parts[i]);
    }
    tt_json_close(json, ']');
}

static void write_tips(struct tt_json *json, const struct tiptrue_test_board *b, bool known)
{
    tt_json_key_open(json, "tips", '[');
    for (size_t t = 0; t < b->n_tips; t++) {
        const struct tt_test_tip *tip = &b->tips[t];
        tt_json_open(json, '{');
        tt_json_key_text(json, "tip", tip->name);
        tt_json_key_count(json, "parts", tip->parts);
        tt_json_key_both_if(json, "expanded_offset_mm", known, tip->offset_mm.x, tip->offset_mm.y);
        tt_json_key_both_if(json, "expanded_turning_mm", known, tip->turning_mm.x,
                            tip->turning_mm.y);
        tt_json_key_bool(json, "offset_apart_from_turning", tip->apart);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

void tt_output_test_board_json(const struct tiptrue_test_board *b, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.test-board/1");
    bool known = b->dof >= 1.0;

    tt_json_key_text(&json, "machine", b->machine);
    tt_json_key_xy(&json, "board_mm", b->width_mm, b->height_mm);
    tt_json_key_fixed(&json, "repeatability_mm", b->u_mm);
    tt_json_key_number(&json, "dof", b->dof);
    write_tips(&json, b, known);
    tt_json_key_open(&json, "grid", '{');
    tt_json_key_bool(&json, "told", b->grid_told);
    tt_json_key_fixed_if(&json, "expanded_scale_x_ppm", known, PPM * b->scale_x);
    tt_json_key_fixed_if(&json, "expanded_scale_y_ppm", known, PPM * b->scale_y);
    tt_json_key_fixed_if(&json, "expanded_shear_mm_per_m", known, PER_M * b->shear);
    tt_json_key_fixed_if(&json, "expanded_turn_mm_per_m", known, PER_M * b->turn);
    tt_json_close(&json, '}');
    write_parts(&json, b);
    tt_json_close(&json, '}');
}

void tt_output_test_board_csv(const struct tiptrue_test_board *b, const struct tt_units *units,
                              struct tt_buffer *buffer)
{
    bool inch = units->per_mm != 1;
    tt_buffer_puts(buffer, "# machine: ");
    tt_buffer_put_escaped(buffer, b->machine);
    tt_buffer_puts(buffer, "\n# frame: board\n");
    if (inch) {
        tt_buffer_printf(buffer, "# units: %s\n", units->word);
    }
    tt_buffer_puts(buffer, "part,tip,rotation,x,y,found_x,found_y,found_rotation\n");
    for (size_t i = 0; i < b->n_parts; i++) {
        const struct tt_wanted_part *part = &b->parts[i];
        tt_buffer_printf(buffer, "P%zu,", i + 1);
        tt_csv_name(buffer, b->tips[part->tip].name);
        tt_buffer_putc(buffer, ',');
        tt_number_write_rounded(buffer, tt_deg_from_rad(part->rotation_rad), 3);
        tt_buffer_putc(buffer, ',');
        tt_number_write_rounded(buffer, part->at.x_mm * units->per_mm,
                                inch ? DECIMALS_INCH : DECIMALS_MM);
        tt_buffer_putc(buffer, ',');
        tt_number_write_rounded(buffer, part->at.y_mm * units->per_mm,
                                inch ? DECIMALS_INCH : DECIMALS_MM);
        tt_buffer_puts(buffer, ",,,\n");
    }
}
