/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "placement/board_design.h"

#include <math.h>
#include <string.h>

size_t tt_at_offset(const struct tt_board_design *design, size_t tip)
{
    (void)design;
    return 2 * tip;
}

size_t tt_at_turning(const struct tt_board_design *design, size_t tip)
{
    return 2 * design->n_tips + 2 * tip;
}

size_t tt_at_grid(const struct tt_board_design *design)
{
    return 4 * design->n_tips;
}

/* The middle, and how far the parts reach from it. */
static void measure(struct tt_board_design *design)
{
    double sum = 0.0;
    for (size_t i = 0; i < design->n; i++) {
        design->middle.x_mm += design->board->parts[i].wanted.x_mm / (double)design->n;
        design->middle.y_mm += design->board->parts[i].wanted.y_mm / (double)design->n;
    }
    for (size_t i = 0; i < design->n; i++) {
        const struct tt_part *part = &design->board->parts[i];
        struct tt_part_row *row = &design->rows[i];
        *row = (struct tt_part_row){
            .dx_mm = part->found.x_mm - part->wanted.x_mm,
            .dy_mm = part->found.y_mm - part->wanted.y_mm,
            .cosine = cos(part->rotation_rad),
            .sine = sin(part->rotation_rad),
            .along_x_mm = part->wanted.x_mm - design->middle.x_mm,
            .along_y_mm = part->wanted.y_mm - design->middle.y_mm,
            .tip = part->tip,
        };
        sum += row->along_x_mm * row->along_x_mm + row->along_y_mm * row->along_y_mm;
    }
    design->reach_mm = sqrt(sum / (2.0 * (double)design->n));
}

bool tt_board_design_init(struct tt_board_design *design, const struct tiptrue_board *board,
                          struct tt_arena *arena)
{
    *design = (struct tt_board_design){.board = board,
                                       .n = board->n_parts,
                                       .n_tips = board->n_tips,
                                       .n_unknowns = 4 * board->n_tips + TT_GRID_COLUMNS};
    design->rows = TT_ARENA_NEW(arena, board->n_parts, struct tt_part_row);
    design->weight = TT_ARENA_NEW(arena, board->n_parts, double);
    design->precision = TT_ARENA_NEW(arena, 2 * board->n_tips, double);
    if (design->rows == NULL || design->weight == NULL || design->precision == NULL) {
        return false;
    }
    for (size_t i = 0; i < design->n; i++) {
        design->weight[i] = 1.0;
    }
    for (size_t i = 0; i < 2 * design->n_tips; i++) {
        design->precision[i] = 1.0;
    }
    measure(design);
    return true;
}

bool tt_sums_init(struct tt_sums *sums, size_t n_unknowns, struct tt_arena *arena)
{
    *sums = (struct tt_sums){.n_unknowns = n_unknowns};
    sums->normal = TT_ARENA_NEW(arena, n_unknowns * n_unknowns, double);
    sums->right = TT_ARENA_NEW(arena, n_unknowns, double);
    return sums->normal != NULL && sums->right != NULL;
}

void tt_part_columns(const struct tt_board_design *design, const struct tt_part_row *row,
                     size_t at[TT_PART_COLUMNS], double x[TT_PART_COLUMNS],
                     double y[TT_PART_COLUMNS])
{
    const double of_x[TT_PART_COLUMNS] = {
        1.0, 0.0, row->cosine, -row->sine, row->along_x_mm, 0.0, row->along_y_mm, -row->along_y_mm};
    const double of_y[TT_PART_COLUMNS] = {
        0.0, 1.0, row->sine, row->cosine, 0.0, row->along_y_mm, 0.0, row->along_x_mm};
    for (size_t k = 0; k < 2; k++) {
        at[k] = tt_at_offset(design, row->tip) + k;
        at[2 + k] = tt_at_turning(design, row->tip) + k;
    }
    for (size_t k = 0; k < TT_GRID_COLUMNS; k++) {
        at[4 + k] = tt_at_grid(design) + k;
    }
    memcpy(x, of_x, sizeof(of_x));
    memcpy(y, of_y, sizeof(of_y));
}

/* The lower triangle only. */
static void add_part(struct tt_sums *sums, const struct tt_board_design *design,
                     const struct tt_part_row *row, double weight_x, double weight_y)
{
    size_t at[TT_PART_COLUMNS];
    double x[TT_PART_COLUMNS], y[TT_PART_COLUMNS];
    tt_part_columns(design, row, at, x, y);
    for (size_t i = 0; i < TT_PART_COLUMNS; i++) {
        double wx = weight_x * x[i], wy = weight_y * y[i];
        double *line = &sums->normal[at[i] * sums->n_unknowns];
        for (size_t j = 0; j <= i; j++) {
            line[at[j]] += wx * x[j] + wy * y[j];
        }
        sums->right[at[i]] += wx * row->dx_mm + wy * row->dy_mm;
    }
}

static void mirror(struct tt_sums *sums)
{
    for (size_t i = 0; i < sums->n_unknowns; i++) {
        for (size_t j = 0; j < i; j++) {
            sums->normal[j * sums->n_unknowns + i] = sums->normal[i * sums->n_unknowns + j];
        }
    }
}

void tt_sums_make(struct tt_sums *sums, const struct tt_board_design *design)
{
    size_t p = sums->n_unknowns;
    memset(sums->normal, 0, p * p * sizeof(*sums->normal));
    memset(sums->right, 0, p * sizeof(*sums->right));
    sums->square = sums->weight = 0.0;
    for (size_t i = 0; i < design->n; i++) {
        const struct tt_part_row *row = &design->rows[i];
        double wx = design->weight[i] * design->precision[2 * row->tip];
        double wy = design->weight[i] * design->precision[2 * row->tip + 1];
        if (design->weight[i] > 0.0) {
            add_part(sums, design, row, wx, wy);
        }
        sums->square += wx * row->dx_mm * row->dx_mm + wy * row->dy_mm * row->dy_mm;
        sums->weight += design->weight[i];
    }
    mirror(sums);
}

void tt_part_residual(const struct tt_board_design *design, const double unknowns[], size_t part,
                      double *x_mm, double *y_mm)
{
    const struct tt_part_row *row = &design->rows[part];
    size_t at[TT_PART_COLUMNS];
    double x[TT_PART_COLUMNS], y[TT_PART_COLUMNS];
    tt_part_columns(design, row, at, x, y);
    *x_mm = row->dx_mm;
    *y_mm = row->dy_mm;
    for (size_t k = 0; k < TT_PART_COLUMNS; k++) {
        *x_mm -= x[k] * unknowns[at[k]];
        *y_mm -= y[k] * unknowns[at[k]];
    }
}
