/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board whose parts tell all terms best. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/distribution.h"
#include "base/status.h"
#include "model/machine.h"
#include "model/placement.h"
#include "placement/board_fit.h"
#include "placement/choose.h"
#include "placement/work.h"

/* Parts stay this far from the board's edges, where rails and clamps are (common practice, no
 * source); on a small board a tenth of its side. */
#define MARGIN_MM 5.0
#define MARGIN_SHARE 0.1
/* Two parts closer than this have no room: the smallest ones in common use are 1 mm long, and a
 * measuring device wants to tell neighbours apart. */
#define LEAST_APART_MM 2.0
/* Places to choose from, for each part: more would move parts by less than their neighbours'
 * distance. */
#define CHOICE 2.0
/* What is known of an offset before the parts, mm: nothing that matters, and no loss of digits. */
#define FREE_MM 1.0
/* The repeatability of a part that the ± are told for (common practice, no source): they grow in
 * proportion to it. */
#define REPEATABILITY_MM 0.010
/* As for boards that were measured (placement/values.c, placement/wanted.c). */
#define APART 3.0
#define TOLD 0.5

struct planning {
    const struct tiptrue_board_options *options;
    struct tiptrue_test_board *out;
    struct tt_part_choice choice;
    struct tt_board_design design;
    struct tiptrue_board board; /* the parts, as if they had been measured */
    struct tt_arena scratch;
};

static enum tiptrue_status add_tips(struct planning *p, const struct tiptrue_machine *machine,
                                    struct tiptrue_error *error)
{
    struct tiptrue_test_board *out = p->out;
    out->machine = tt_arena_copy(&out->arena, machine->name);
    out->tips = TT_ARENA_NEW(&out->arena, machine->n_tips, struct tt_test_tip);
    if (out->machine == NULL || out->tips == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < machine->n_tips && out->n_tips < TT_MOST_BOARD_TIPS; i++) {
        const struct tt_tip *tip = &machine->tips[i];
        bool wanted =
            p->options->tip != NULL ? strcmp(tip->name, p->options->tip) == 0 : !tip->not_in_use;
        if (wanted) {
            struct tt_test_tip *added = &out->tips[out->n_tips++];
            added->name = tt_arena_copy(&out->arena, tip->name);
            if (added->name == NULL) {
                return tt_fail_memory(error);
            }
        }
    }
    if (out->n_tips == 0) {
        return tt_fail(error, TIPTRUE_E_USAGE, machine->file, 0, 0,
                       "name the tips that place parts in its \"tips\"", "%s",
                       p->options->tip != NULL ? "the machine has no such tip"
                                               : "the machine file names no tips in use");
    }
    return TIPTRUE_OK;
}

/* The rectangle of the parts' places, and how many there are along each side. */
static enum tiptrue_status lay_out(struct planning *p, const char *file,
                                   struct tiptrue_error *error)
{
    const struct tiptrue_board_options *o = p->options;
    double least = fmin(o->width_mm, o->height_mm);
    double margin = o->margin_mm > 0.0 ? o->margin_mm : fmin(MARGIN_MM, MARGIN_SHARE * least);
    double room = least - 2.0 * margin, needed = ceil(sqrt((double)o->parts));
    double steps =
        fmax(3.0, fmin(ceil(sqrt(CHOICE * (double)o->parts)), 1.0 + floor(room / LEAST_APART_MM)));
    if (!(room > 0.0) || 1.0 + floor(room / LEAST_APART_MM) < fmax(3.0, needed)) {
        return tt_fail(error, TIPTRUE_E_DEGENERATE, file, 0, 0, "a larger board, or fewer parts",
                       "%zu parts have no room on the board, 2 mm apart", o->parts);
    }
    p->choice.low = (struct tt_machine_xy){margin, margin};
    p->choice.high = (struct tt_machine_xy){o->width_mm - margin, o->height_mm - margin};
    p->choice.steps = (size_t)steps;
    p->design.middle = (struct tt_machine_xy){o->width_mm / 2.0, o->height_mm / 2.0};
    p->design.n_tips = p->out->n_tips;
    p->design.n_unknowns = 4 * p->out->n_tips + TT_GRID_COLUMNS;
    return TIPTRUE_OK;
}

static bool choose(struct planning *p, const struct tiptrue_machine *machine)
{
    struct tiptrue_test_board *out = p->out;
    size_t n = p->design.n_unknowns, grid = tt_at_grid(&p->design);
    p->choice.design = &p->design;
    p->choice.u_mm = REPEATABILITY_MM;
    p->choice.clockwise = machine->clockwise;
    p->choice.covariance = TT_ARENA_NEW(&p->scratch, n * n, double);
    out->parts = TT_ARENA_NEW(&out->arena, p->options->parts, struct tt_wanted_part);
    if (p->choice.covariance == NULL || out->parts == NULL) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        double u = i < tt_at_turning(&p->design, 0) ? FREE_MM
                   : i < grid                       ? TT_PRIOR_TURNING_MM
                                                    : TT_PRIOR_GRID;
        p->choice.covariance[i * n + i] = u * u;
    }
    out->n_parts = p->options->parts;
    return tt_parts_choose(&p->choice, out->parts, out->n_parts, &p->scratch);
}

/* The covariance that a fit of these parts has, about their own middle. */
static bool fit_parts(struct planning *p, struct tt_board_fit *fit, struct tt_board_design *design)
{
    const struct tiptrue_test_board *out = p->out;
    p->board = (struct tiptrue_board){.n_parts = out->n_parts, .n_tips = out->n_tips};
    p->board.parts = TT_ARENA_NEW(&p->scratch, out->n_parts, struct tt_part);
    for (size_t i = 0; p->board.parts != NULL && i < out->n_parts; i++) {
        const struct tt_wanted_part *part = &out->parts[i];
        double turn = p->choice.clockwise ? -part->rotation_rad : part->rotation_rad;
        p->board.parts[i] = (struct tt_part){
            .tip = part->tip, .wanted = part->at, .found = part->at, .rotation_rad = turn};
        out->tips[part->tip].parts++;
    }
    if (p->board.parts == NULL || !tt_board_design_init(design, &p->board, &p->scratch) ||
        !tt_board_fit_init(fit, design, &p->scratch)) {
        return false;
    }
    for (size_t i = 0; i < 2 * design->n_tips; i++) {
        design->precision[i] = 1.0 / (REPEATABILITY_MM * REPEATABILITY_MM);
    }
    return tt_board_fit_solve(fit, design);
}

static void expect(struct planning *p, const struct tt_board_fit *fit,
                   const struct tt_board_design *design)
{
    struct tiptrue_test_board *out = p->out;
    size_t grid = tt_at_grid(design);
    out->u_mm = REPEATABILITY_MM;
    out->dof = fmax(fit->dof, 0.0);
    double k = out->dof >= 1.0 ? tt_student_quantile(0.5 + 0.5 * TT_PLACED_COVERAGE, out->dof) : 0;
    for (size_t t = 0; t < out->n_tips; t++) {
        size_t o = tt_at_offset(design, t), c = tt_at_turning(design, t);
        struct tt_test_tip *tip = &out->tips[t];
        tip->offset_mm =
            (struct tt_pair){k * tt_board_fit_u(fit, o), k * tt_board_fit_u(fit, o + 1)};
        tip->turning_mm =
            (struct tt_pair){k * tt_board_fit_u(fit, c), k * tt_board_fit_u(fit, c + 1)};
        tip->apart = tip->parts > 0 && fmax(tt_board_fit_u(fit, o), tt_board_fit_u(fit, o + 1)) <=
                                           APART * REPEATABILITY_MM / sqrt((double)tip->parts);
    }
    out->scale_x = k * tt_board_fit_u(fit, grid + TT_GRID_SCALE_X);
    out->scale_y = k * tt_board_fit_u(fit, grid + TT_GRID_SCALE_Y);
    out->shear = k * tt_board_fit_u(fit, grid + TT_GRID_SHEAR);
    out->turn = k * tt_board_fit_u(fit, grid + TT_GRID_TURN);
    out->grid_told = true;
    for (size_t i = 0; i < TT_GRID_COLUMNS; i++) {
        out->grid_told =
            out->grid_told && pow(tt_board_fit_u(fit, grid + i) / TT_PRIOR_GRID, 2.0) <= TOLD;
    }
}

enum tiptrue_status tiptrue_test_board_make(const struct tiptrue_machine *machine,
                                            const struct tiptrue_board_options *options,
                                            struct tiptrue_test_board **board,
                                            struct tiptrue_error *error)
{
    struct planning p = {.options = options, .out = calloc(1, sizeof(*p.out))};
    struct tt_board_fit fit;
    struct tt_board_design design;
    if (p.out == NULL) {
        return tt_fail_memory(error);
    }
    p.out->width_mm = options->width_mm;
    p.out->height_mm = options->height_mm;
    enum tiptrue_status status = add_tips(&p, machine, error);
    if (status == TIPTRUE_OK) {
        status = lay_out(&p, machine->file, error);
    }
    if (status == TIPTRUE_OK) {
        status = choose(&p, machine) && fit_parts(&p, &fit, &design) ? TIPTRUE_OK
                                                                     : tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        expect(&p, &fit, &design);
        *board = p.out;
    } else {
        tiptrue_test_board_free(p.out);
    }
    tt_arena_clear(&p.scratch);
    return status;
}

void tiptrue_test_board_free(struct tiptrue_test_board *board)
{
    if (board != NULL) {
        tt_arena_clear(&board->arena);
        free(board);
    }
}
