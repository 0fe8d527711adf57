/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Every bound of judgement at its place: a finding that is told on one side of the bound is not
 * told a ten thousandth of it further, or told otherwise. The finders look at a view that is filled
 * here by hand, in which nothing is to be found; each row of the table changes one number of it,
 * and what else must be otherwise for that bound to count. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/findings.h"
#include "adjust/heights.h"
#include "adjust/plausible.h"

enum { TIPS = 2, EDGES = 2, PADS = 2, ROWS = 6, UNKNOWNS = 10 };

/* Everything that the finders look at, in one piece: a number of it is told by its offset. */
struct stage {
    struct tiptrue_plate plate;
    struct tt_edge edge[EDGES];
    struct tt_mark mark[1];
    struct tt_group group[1];
    struct tt_pad pad[PADS];
    struct tiptrue_machine machine;
    struct tt_tip stated[TIPS];
    struct tiptrue_run run;
    const char *names[TIPS];
    struct tt_observation row[ROWS];
    struct tt_noise noise;
    struct tt_model model;
    struct tt_cell cell[EDGES * TIPS];
    size_t touch_row[ROWS], cell_of[ROWS], tip_block[TIPS], block_tip[TIPS], first[TIPS];
    double residual[ROWS], good[ROWS], leverage[ROWS], x[UNKNOWNS];
    double tip_cov[TIPS][TT_TIP_SHAPE * TT_TIP_SHAPE];
    bool yaw_sighted[1];
    struct tt_fit fit;
    struct tt_heights heights;
    struct tt_height_row height_row[ROWS];
    struct tt_height_pad height_pad[PADS];
    size_t height_tip[TIPS], height_setup[1], at_slope[1], at_level[1], at_pad[PADS];
    double height_x[UNKNOWNS], height_c[UNKNOWNS * UNKNOWNS], height_good[ROWS];
    double height_residual[ROWS], all_good[TIPS], height_room[2 * UNKNOWNS];
    bool height_ambiguous[TIPS];
    struct tt_height_fit height_fit;
    struct tt_height_choice choice;
    struct tiptrue_solution solution;
    struct tt_tip_result tip[TIPS];
    struct tt_height_result height[TIPS];
    struct tt_shape_term shape[1];
    struct tt_arena scratch;
    struct tt_view view;
};

static void fill_tips(struct stage *s)
{
    static const char *const NAMES[TIPS] = {"N1", "N2"};

    for (size_t t = 0; t < TIPS; t++) {
        struct tt_tip_result *tip = &s->tip[t];
        double at = 41.3 + 23.7 * (double)t;
        s->names[t] = s->stated[t].name = tip->name = NAMES[t];
        tip->touches = tip->used = 12;
        tip->offset_determined_x = tip->offset_determined_y = true;
        tip->runout_determined = tip->radius_determined = true;
        tip->offset = tip->present = s->stated[t].offset = (struct tt_machine_xy){at, -17.9};
        tip->has_present = s->stated[t].has_offset = true;
        tip->contact_radius_mm = 0.25;
        tip->u_contact_radius_mm = 0.001;
        tip->p_unchanged = 0.7;
        tip->height = &s->height[t];
        s->height[t] = (struct tt_height_result){.touches = 3,
                                                 .used = 3,
                                                 .determined = true,
                                                 .has_present = true,
                                                 .value_mm = -31.7 - 4.1 * (double)t,
                                                 .present_mm = -31.7 - 4.1 * (double)t};
    }
    s->tip[0].shape = s->shape;
    s->machine.tips = s->stated;
    s->machine.n_tips = s->solution.n_tips = s->run.n_tips = TIPS;
    s->run.tips = s->names;
    s->solution.tips = s->tip;
}

/* Two edges that face each other across 1.3 mm; each tip touched both, thrice and at three
 * rotations. */
static void fill_touches(struct stage *s)
{
    for (size_t j = 0; j < EDGES; j++) {
        s->edge[j] = (struct tt_edge){.name = j == 0 ? "a" : "b",
                                      .from = {0, j == 0 ? 3.1 : 4.4},
                                      .to = {5.2, j == 0 ? 3.1 : 4.4},
                                      .n_y = j == 0 ? 1 : -1,
                                      .d_mm = j == 0 ? 3.1 : -4.4};
    }
    s->plate.edges = s->edge;
    s->plate.n_edges = EDGES;
    s->plate.marks = s->mark;
    s->plate.groups = s->group;
    s->plate.n_marks = s->plate.n_groups = 1;
    s->mark[0].name = s->group[0].name = "M";
    for (size_t c = 0; c < EDGES * TIPS; c++) {
        s->cell[c] = (struct tt_cell){.edge = c % 2, .block = c / 2};
        s->cell[c].site.n_y = s->edge[c % 2].n_y;
    }
    for (size_t i = 0; i < ROWS; i++) {
        s->row[i] = (struct tt_observation){.line = 2 + i,
                                            .tip = i / 3,
                                            .kind = TT_TOUCH,
                                            .rotation_rad = tt_rad_from_deg(137.0 * (double)i)};
        s->touch_row[i] = i;
        s->cell_of[i] = 2 * (i / 3) + i % 2;
        s->good[i] = 1;
    }
    s->run.observations = s->row;
    s->run.n_observations = ROWS;
}

static void fill_model(struct stage *s)
{
    for (size_t t = 0; t < TIPS; t++) {
        s->tip_block[t] = s->block_tip[t] = t;
        s->first[t] = 3;
        for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
            s->tip_cov[t][k * (TT_TIP_SHAPE + 1)] = k == TT_TIP_O_Y ? 4 : 0.25;
        }
    }
    s->model = (struct tt_model){.plate = &s->plate,
                                 .machine = &s->machine,
                                 .run = &s->run,
                                 .terms = {.moved_at = TT_NONE, .slipped_at = TT_NONE},
                                 .n_setups = 1,
                                 .n_blocks = TIPS,
                                 .tip_block = s->tip_block,
                                 .block_tip = s->block_tip,
                                 .yaw_sighted = s->yaw_sighted,
                                 .at_drift = TT_NONE,
                                 .cells = s->cell,
                                 .n_cells = EDGES * TIPS,
                                 .n_touches = ROWS,
                                 .row = s->touch_row,
                                 .cell_of = s->cell_of,
                                 .residual = s->residual,
                                 .x = s->x};
    s->model.system.first = s->first;
    s->yaw_sighted[0] = true;
    s->fit = (struct tt_fit){.model = &s->model,
                             .noise = &s->noise,
                             .good = s->good,
                             .leverage = s->leverage,
                             .dof_touch = 31,
                             .touch_var_mm2 = 9e-6,
                             .scatter_touch_mm2 = 9e-6};
}

/* Two pads, three touches with each tip; a slope whose axes are known to 10 um over 100 mm. */
static void fill_heights(struct stage *s)
{
    for (size_t p = 0; p < PADS; p++) {
        s->pad[p] = (struct tt_pad){.name = p == 0 ? "P" : "Q", .has_at = true, .u_mm = 0.01};
        s->pad[p].at = (struct tt_plate_xy){17.3 * (double)p, 2.2};
        s->height_pad[p] = (struct tt_height_pad){.pad = p, .u_mm = 0.01, .has_at = true};
        s->at_pad[p] = 4 + p;
    }
    s->plate.pads = s->pad;
    s->plate.n_pads = PADS;
    for (size_t i = 0; i < ROWS; i++) {
        s->height_row[i] = (struct tt_height_row){.row = i, .tip = i / 3, .z_mm = -31.7};
        s->height_good[i] = 1;
    }
    for (size_t k = 0; k < UNKNOWNS; k++) {
        s->height_c[k * UNKNOWNS + k] = 1e-8;
    }
    s->height_tip[1] = 1;
    s->at_slope[0] = 2;
    s->at_level[0] = TT_NONE;
    s->heights = (struct tt_heights){.plate = &s->plate,
                                     .run = &s->run,
                                     .rows = s->height_row,
                                     .n_rows = ROWS,
                                     .tips = s->height_tip,
                                     .n_tips = TIPS,
                                     .pads = s->height_pad,
                                     .n_pads = PADS,
                                     .setups = s->height_setup,
                                     .n_setups = 1,
                                     .level_rad = {true, 1e-4}};
    s->height_fit = (struct tt_height_fit){.heights = &s->heights,
                                           .n = UNKNOWNS,
                                           .at_slope = s->at_slope,
                                           .at_level = s->at_level,
                                           .at_pad = s->at_pad,
                                           .modes = {{.kind = TT_HEIGHT_PAD}},
                                           .at_mode = {4},
                                           .x = s->height_x,
                                           .covariance = s->height_c,
                                           .residual = s->height_residual,
                                           .good = s->height_good,
                                           .variance_mm2 = 9e-6,
                                           .dof = 9,
                                           .pooled_dof = HUGE_VAL};
    s->all_good[0] = s->all_good[1] = 1;
    s->choice = (struct tt_height_choice){.fit = &s->height_fit,
                                          .slope_known = true,
                                          .g = s->height_room,
                                          .ambiguous = s->height_ambiguous,
                                          .all_good_mm2 = s->all_good};
}

static struct stage *stage_new(void)
{
    struct stage *s = calloc(1, sizeof *s);

    ck_assert_ptr_nonnull(s);
    fill_tips(s);
    fill_touches(s);
    fill_model(s);
    fill_heights(s);
    s->plate.measured_at_C = 20;
    s->solution.heights = ROWS;
    s->solution.camera = (struct tt_camera_result){
        .views = ROWS, .determined = true, .scale_x_mm = 0.02, .scale_y_mm = 0.02, .has_off = true};
    s->machine.camera = (struct tt_camera){.present = true,
                                           .size_px = {640, 480},
                                           .centre_px = {311, 240},
                                           .has_scale = true,
                                           .scale_mm = {0.02, 0.02}};
    s->row[0].px = 600;
    s->row[0].kind = TT_VIEW;
    s->model.picture = (struct tt_picture_model){.n = 1, .pixel_mm = 0.02};
    s->noise.view_dof = 10;
    s->view = (struct tt_view){.plate = &s->plate,
                               .machine = &s->machine,
                               .run = &s->run,
                               .noise = &s->noise,
                               .model = &s->model,
                               .fit = &s->fit,
                               .tip_cov = s->tip_cov,
                               .heights = &s->choice,
                               .solution = &s->solution,
                               .scratch = &s->scratch};
    return s;
}

static void stage_free(struct stage *s)
{
    tt_arena_clear(&s->solution.arena);
    tt_arena_clear(&s->scratch);
    free(s);
}

/* A number of the stage that is another one; a flag, told as NO or YES. */
struct change {
    size_t offset;
    enum { NOTHING, NUMBER, FLAG, COUNT } kind;
    double value;
};
#define TO(member, value)                                                                          \
    {                                                                                              \
        offsetof(struct stage, member), NUMBER, (value)                                            \
    }
#define YES(member)                                                                                \
    {                                                                                              \
        offsetof(struct stage, member), FLAG, 1                                                    \
    }
#define NO(member)                                                                                 \
    {                                                                                              \
        offsetof(struct stage, member), FLAG, 0                                                    \
    }
#define OF(member, count)                                                                          \
    {                                                                                              \
        offsetof(struct stage, member), COUNT, (count)                                             \
    }

static void apply(struct stage *s, const struct change *change, double value)
{
    char *at = (char *)s + change->offset;

    if (change->kind == NUMBER) {
        memcpy(at, &value, sizeof value);
    } else if (change->kind == FLAG) {
        bool flag = value > 0;
        memcpy(at, &flag, sizeof flag);
    } else if (change->kind == COUNT) {
        size_t count = (size_t)value;
        memcpy(at, &count, sizeof count);
    }
}

enum side { ABOVE = 1, BELOW = -1 }; /* of the bound: where the finding is told */
enum { GIVEN = 6 };

struct bound {
    tt_finder *finder;
    enum tt_finding_code code;
    const char *word; /* "what", "kind" or "unit" of it; NULL: any */
    enum tiptrue_severity least;
    struct change at; /* the number and its bound */
    enum side side;
    struct change given[GIVEN];
};

#define PLAUSIBILITY tt_findings_of_plausibility
#define DETERMINACY tt_findings_of_determinacy
#define MODEL tt_findings_of_model
#define LIMITS tt_findings_of_limits
#define VIEWS tt_findings_of_views
#define CONTACTS tt_findings_of_contacts
#define HEIGHTS tt_findings_of_heights
#define OPEN_ALONG_Y                                                                               \
    NO(tip[0].offset_determined_y), NO(tip[1].offset_determined_y), TO(tip[0].cov.yy_mm2, 4)
#define CHANGED TO(tip[0].change.x_mm, -8.5)
#define STATED YES(stated[0].has_radius), TO(stated[0].u_radius_mm, 0.002)
#define BOTH YES(stated[0].has_radius), YES(stated[1].has_radius)
#define AXES                                                                                       \
    YES(solution.axes.found), TO(solution.axes.u_scale_x, 1e-3),                                   \
        TO(solution.axes.u_scale_y, 1e-3), TO(solution.axes.u_square_rad, 1e-3)
#define NOTHING_ELSE                                                                               \
    {                                                                                              \
        0                                                                                          \
    }
#define ROW(finder, code, word, least, at, side, ...)                                              \
    {                                                                                              \
        finder, TT_FINDING_##code, word, TIPTRUE_##least, at, side,                                \
        {                                                                                          \
            __VA_ARGS__                                                                            \
        }                                                                                          \
    }

static const struct bound BOUNDS[] = {
    /* touches */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "repeatability", ERROR, TO(fit.scatter_touch_mm2, 9e-4), ABOVE,
        OF(solution.touches_used, 4)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "repeatability", ERROR, TO(fit.scatter_touch_mm2, 1e-3), ABOVE,
        OF(solution.touches_used, 4), TO(noise.touch_digit_var_mm2, 1e-4)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "repeatability", ERROR, TO(fit.scatter_touch_mm2, 0.002025),
        ABOVE, OF(solution.touches_used, 4), YES(machine.has_u_touch),
        TO(machine.u_touch_mm, 0.03)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "repeatability", ERROR, TO(fit.scatter_touch_mm2, 9e-4), ABOVE,
        OF(solution.touches_used, 4), YES(machine.has_u_touch), TO(machine.u_touch_mm, 1.02)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "repeatability", ERROR, TO(fit.dof_touch, 4), ABOVE,
        OF(solution.touches_used, 4), TO(fit.scatter_touch_mm2, 1)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "lost-motion", ERROR, TO(solution.lost_motion_mm, 0.2), ABOVE,
        YES(solution.has_lost_motion)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "lost-motion", ERROR, TO(solution.lost_motion_mm, -0.2), BELOW,
        YES(solution.has_lost_motion)),
    /* uncertainty of an offset */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty", ERROR, TO(tip[0].same_plate_expanded_x_mm, 0.1),
        ABOVE, NO(tip[1].has_present)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty", ERROR, TO(tip[1].same_plate_expanded_y_mm, 0.1),
        ABOVE, NO(tip[1].has_present)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty-total", ERROR, TO(tip[0].expanded_x_mm, 0.5), ABOVE,
        TO(tip[0].same_plate_expanded_x_mm, 0.09)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty-total", ERROR, TO(tip[1].expanded_y_mm, 0.5), ABOVE,
        NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty", ERROR, TO(tip[0].same_plate_expanded_x_mm, 0.37),
        ABOVE, YES(machine.limits.has_expanded), TO(machine.limits.expanded_mm, 0.37)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty-total", ERROR, TO(tip[0].expanded_y_mm, 0.73),
        ABOVE, YES(machine.limits.has_expanded), TO(machine.limits.expanded_mm, 0.73)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "uncertainty", ERROR, TO(machine.limits.expanded_mm, 1), ABOVE,
        YES(machine.limits.has_expanded), TO(tip[0].same_plate_expanded_x_mm, 0.7),
        NO(tip[0].has_present), NO(tip[1].has_present)),
    /* radius */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-negative", ERROR, TO(tip[0].contact_radius_mm, -0.05),
        BELOW, NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-negative", ERROR, TO(tip[0].contact_radius_mm, -0.09),
        BELOW, TO(tip[0].u_contact_radius_mm, 0.03)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-diameter", ERROR, TO(stated[0].radius_mm, 0.55), BELOW,
        STATED),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-diameter", ERROR, TO(stated[0].radius_mm, 0.45), ABOVE,
        STATED),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-halved", ERROR, TO(stated[0].radius_mm, 0.1375), BELOW,
        STATED),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-halved", ERROR, TO(stated[0].radius_mm, 0.1125), ABOVE,
        STATED),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-none", ERROR, TO(tip[0].contact_radius_mm, 0.025), BELOW,
        STATED, TO(stated[0].radius_mm, 0.25)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-diameter", ERROR, TO(stated[0].u_radius_mm, 0.05), BELOW,
        YES(stated[0].has_radius), TO(stated[0].radius_mm, 0.5)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radii-alike", ERROR, TO(stated[1].radius_mm, 0.3), ABOVE, BOTH,
        TO(stated[0].radius_mm, 0.302), TO(stated[0].u_radius_mm, 0.002),
        TO(stated[1].u_radius_mm, 0.002)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radii-alike", ERROR, TO(stated[0].u_radius_mm, 0.0122), BELOW,
        BOTH, TO(stated[0].radius_mm, 0.311), TO(stated[1].radius_mm, 0.307),
        TO(stated[1].u_radius_mm, 0.008)),
    /* each radius is known to 2.236 um: 0.32 and 8.1456 um, sqrt(2 x 6.6349) times that, where
     * chi squared of one degree of freedom exceeds 6.6349 with 0.01 */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radii-alike", ERROR, TO(stated[1].radius_mm, 0.32814560886),
        BELOW, BOTH, TO(stated[0].radius_mm, 0.32), TO(stated[0].u_radius_mm, 0.002),
        TO(stated[1].u_radius_mm, 0.002)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radii-alike", ERROR, TO(stated[0].u_radius_mm, 1.9094127e-3),
        ABOVE, BOTH, TO(stated[0].radius_mm, 0.32), TO(stated[1].radius_mm, 0.328),
        TO(stated[1].u_radius_mm, 0.002)),
    /* what a tip of its radius can have */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-opening", ERROR, TO(tip[1].contact_radius_mm, 0.65),
        ABOVE, NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-opening", ERROR, TO(edge[1].from.x_mm, 5.2), BELOW,
        TO(tip[0].contact_radius_mm, 0.7), TO(edge[1].to.x_mm, 7.3)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-opening", ERROR, TO(edge[1].from.x_mm, 0.01), ABOVE,
        TO(tip[0].contact_radius_mm, 0.7), TO(edge[1].to.x_mm, -7.3), TO(edge[0].from.x_mm, 0.01)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "radius-opening", ERROR, TO(edge[1].n_y, -0.999), BELOW,
        TO(tip[0].contact_radius_mm, 0.7)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "runout", ERROR, TO(tip[0].eccentricity_mm, 0.125), ABOVE,
        NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "runout", ERROR, TO(tip[0].eccentricity_mm, 0.1), ABOVE,
        TO(tip[0].contact_radius_mm, 0.17)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "runout", ERROR, TO(machine.limits.runout_mm, 1), ABOVE,
        YES(machine.limits.has_runout), TO(tip[0].eccentricity_mm, 0.3), NO(tip[0].has_present),
        NO(tip[1].has_present)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "shape", ERROR, TO(shape[0].amplitude_mm, 2 * 0.25 / 3 + 0.03),
        ABOVE, OF(tip[0].n_shape, 1), OF(shape[0].order, 2), TO(shape[0].u_amplitude_mm, 0.01)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "shape", ERROR, TO(shape[0].amplitude_mm, 2 * 0.25 / 15 + 0.03),
        ABOVE, OF(tip[0].n_shape, 1), OF(shape[0].order, 4), TO(shape[0].u_amplitude_mm, 0.01)),
    ROW(MODEL, TIP_NOT_ROUND, "impossible", ERROR,
        TO(shape[0].amplitude_mm, 2 * (0.25 + 0.06) / 8 + 0.03), ABOVE, OF(tip[0].n_shape, 1),
        OF(shape[0].order, 3), TO(shape[0].u_amplitude_mm, 0.01),
        TO(tip[0].u_contact_radius_mm, 0.02)),
    /* offsets against those in use: at (41.3, -17.9) */
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "unknown", ERROR, TO(tip[0].change.x_mm, 0.3), ABOVE,
        NOTHING_ELSE),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "unknown", ERROR, TO(tip[0].change.y_mm, -0.3), BELOW,
        NOTHING_ELSE),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "unknown", ERROR, TO(tip[0].change.y_mm, -0.71), BELOW,
        YES(machine.limits.has_plausible_change), TO(machine.limits.plausible_change_mm, 0.71)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "zero", ERROR, TO(tip[0].offset.x_mm, 1), BELOW, CHANGED,
        TO(tip[0].offset.y_mm, 0)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "negative", ERROR, TO(tip[0].offset.x_mm, -41.0), BELOW,
        CHANGED, TO(tip[0].offset.y_mm, 17.9)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "negative", ERROR, TO(tip[0].offset.y_mm, 18.2), BELOW,
        CHANGED, TO(tip[0].offset.x_mm, -41.3)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "xy-exchanged", ERROR, TO(tip[0].offset.y_mm, 41.6),
        BELOW, CHANGED, TO(tip[0].offset.x_mm, -17.9)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "x-sign", ERROR, TO(tip[0].offset.y_mm, -17.6), BELOW,
        CHANGED, TO(tip[0].offset.x_mm, -41.3)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "y-sign", ERROR, TO(tip[0].offset.y_mm, 18.2), BELOW,
        CHANGED),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "quarter-turn", ERROR, TO(tip[0].offset.y_mm, 41.6),
        BELOW, CHANGED, TO(tip[0].offset.x_mm, 17.9)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "quarter-turn", ERROR, TO(tip[0].offset.y_mm, -41.6),
        ABOVE, CHANGED, TO(tip[0].offset.x_mm, -17.9)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "inch", ERROR, TO(tip[0].offset.x_mm, 41.3 * 25.4 / 0.99),
        BELOW, CHANGED, TO(tip[0].offset.y_mm, 0), TO(tip[0].present.y_mm, 0)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "inch", ERROR, TO(tip[0].offset.x_mm, 41.3 / 25.4 / 1.01),
        ABOVE, CHANGED, TO(tip[0].offset.y_mm, 0), TO(tip[0].present.y_mm, 0)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "other-tip", ERROR, TO(tip[0].offset.x_mm, 65.3), BELOW,
        CHANGED),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "all-tips", ERROR, TO(tip[1].change.x_mm, -8.4), BELOW,
        CHANGED),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "all-tips", ERROR, TO(tip[1].change.y_mm, -0.1), ABOVE,
        CHANGED, TO(tip[1].change.x_mm, -8.5)),
    ROW(PLAUSIBILITY, CHANGE_IMPLAUSIBLE, "with-others", ERROR, TO(tip[1].change.x_mm, 0.25), ABOVE,
        TO(tip[0].change.x_mm, 0.35)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "offset-zero", ERROR, TO(tip[0].offset.x_mm, 1), BELOW,
        NO(tip[0].has_present), TO(tip[0].offset.y_mm, 0)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "same-tip", ERROR, TO(tip[0].offset.x_mm, 65.1), BELOW,
        NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "same-tip", ERROR, TO(tip[0].present.x_mm, 64.7), BELOW,
        TO(tip[0].offset.x_mm, 65.01)),
    /* the log */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "rotations-radians", ERROR,
        TO(row[1].rotation_rad, 6.3 * TT_PI / 180), BELOW, TO(row[0].rotation_rad, 0),
        TO(row[2].rotation_rad, 0.02), TO(row[3].rotation_rad, 0.1), TO(row[4].rotation_rad, 0.05),
        TO(row[5].rotation_rad, 0.02)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "rotations-radians", ERROR,
        TO(row[1].rotation_rad, 3.1 * TT_PI / 180), ABOVE, TO(row[0].rotation_rad, 0),
        TO(row[2].rotation_rad, 0.02), TO(row[3].rotation_rad, 0.1), TO(row[4].rotation_rad, 0.05),
        TO(row[5].rotation_rad, 0.02)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "temperature", ERROR, TO(row[1].temperature_C, 50), ABOVE,
        YES(row[1].has_temperature), YES(plate.has_expansion)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "another unit", ERROR, TO(plate.measured_at_C, 0), BELOW,
        YES(plate.has_expansion)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "kelvin", ERROR, TO(row[2].temperature_C, 200), ABOVE,
        YES(row[2].has_temperature), YES(plate.has_expansion)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "expansion", ERROR, TO(plate.expansion_per_K, 1e-9), BELOW,
        YES(plate.has_expansion)),
    /* statements */
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(machine.limits.permitted_error_mm, 1),
        ABOVE, YES(machine.limits.has_permitted_error)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(machine.limits.expanded_mm, 1), ABOVE,
        YES(machine.limits.has_expanded)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(machine.limits.runout_mm, 1), ABOVE,
        YES(machine.limits.has_runout)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(machine.u_touch_mm, 1), ABOVE,
        YES(machine.has_u_touch)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(machine.u_sighting_mm, 1), ABOVE,
        YES(machine.has_u_sighting)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(machine.resolution_mm, 0.1), ABOVE,
        NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(stated[1].u_radius_mm, 1), ABOVE,
        YES(stated[1].has_radius), TO(stated[1].radius_mm, 0.25)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(edge[1].u_mm, 1), ABOVE, NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(mark[0].u_mm, 1), ABOVE, NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(group[0].u_mm, 1), ABOVE, NOTHING_ELSE),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(tip[0].p_unchanged, 0.05), ABOVE,
        TO(edge[1].u_mm, 2), TO(tip[1].p_unchanged, 0)),
    ROW(PLAUSIBILITY, IMPLAUSIBLE, "statement", ERROR, TO(tip[0].p_conforming, 0.95), ABOVE,
        TO(edge[1].u_mm, 2), TO(tip[1].p_unchanged, 0), YES(tip[0].has_conformity)),
    /* stated limits */
    ROW(LIMITS, RUNOUT_OVER, NULL, ERROR, TO(tip[1].eccentricity_mm, 0.037), ABOVE,
        YES(machine.limits.has_runout), TO(machine.limits.runout_mm, 0.037)),
    ROW(LIMITS, UNCERTAINTY_OVER, "limit", ERROR, TO(tip[0].expanded_y_mm, 0.013), ABOVE,
        YES(machine.limits.has_expanded), TO(machine.limits.expanded_mm, 0.013)),
    ROW(LIMITS, UNCERTAINTY_OVER, "limit", ERROR, TO(tip[0].same_plate_expanded_x_mm, 0.013), ABOVE,
        YES(machine.limits.has_expanded), TO(machine.limits.expanded_mm, 0.013),
        YES(tip[0].change_on_same_plate), TO(tip[0].expanded_x_mm, 0.2)),
    ROW(LIMITS, UNCERTAINTY_OVER, "permitted-error", WARNING,
        TO(tip[0].same_plate_expanded_x_mm, 0.017), ABOVE, YES(machine.limits.has_permitted_error),
        TO(machine.limits.permitted_error_mm, 0.017), TO(tip[0].expanded_x_mm, 0.2)),
    /* the yaw */
    ROW(MODEL, YAW_OFF, NULL, WARNING, TO(x[2], 0.308), ABOVE, YES(machine.has_yaw),
        TO(machine.yaw_rad, 0.3), TO(machine.u_yaw_rad, 0.002)),
    ROW(MODEL, YAW_OFF, NULL, WARNING, TO(x[2], 95 * TT_PI / 180), ABOVE, YES(machine.has_yaw),
        TO(machine.u_yaw_rad, 0.002)),
    ROW(MODEL, YAW_OFF, NULL, WARNING, TO(x[2], 85 * TT_PI / 180), BELOW, YES(machine.has_yaw),
        TO(machine.u_yaw_rad, 0.002)),
    /* what an open offset hides behind: of touches from both sides, by its correlation */
    ROW(DETERMINACY, UNDETERMINED, "offset-runout", ERROR,
        TO(tip_cov[0][TT_TIP_O_Y * TT_TIP_SHAPE + TT_TIP_E_Y], -0.9), BELOW, OPEN_ALONG_Y,
        OF(cell[0].count, 1), OF(cell[1].count, 1)),
    ROW(DETERMINACY, UNDETERMINED, "offset-radius", ERROR,
        TO(tip_cov[0][TT_TIP_O_Y * TT_TIP_SHAPE + TT_TIP_R], 0.9), ABOVE, OPEN_ALONG_Y,
        OF(cell[0].count, 1), OF(cell[1].count, 1)),
    ROW(DETERMINACY, UNDETERMINED, "offset-place", ERROR,
        TO(tip_cov[0][TT_TIP_O_Y * TT_TIP_SHAPE + TT_TIP_R], 0.9), BELOW, OPEN_ALONG_Y,
        OF(cell[0].count, 1), OF(cell[1].count, 1)),
    ROW(DETERMINACY, UNDETERMINED, "offset-unseen", ERROR, TO(cell[0].site.n_y, 0.2), BELOW,
        OPEN_ALONG_Y, OF(cell[0].count, 1), OF(cell[2].count, 1), TO(tip[1].cov.yy_mm2, 4)),
    ROW(DETERMINACY, UNDETERMINED, "offset-unseen", ERROR, TO(cell[1].site.n_y, -0.2), ABOVE,
        OPEN_ALONG_Y, OF(cell[1].count, 1), OF(cell[2].count, 1), TO(tip[1].cov.yy_mm2, 4)),
    /* contacts */
    ROW(CONTACTS, LATE_CONTACT, "gross", WARNING, TO(residual[0], -0.5), BELOW, TO(good[0], 0),
        OF(solution.touches_set_aside, 1)),
    ROW(CONTACTS, SCATTERED, "early-gross", WARNING, TO(residual[0], 0.5), ABOVE, TO(good[0], 0),
        OF(solution.touches_set_aside, 1)),
    ROW(CONTACTS, COARSE_DIGITS, NULL, WARNING, TO(noise.touch_digit_var_mm2, 0.25 * 9e-6), ABOVE,
        TO(run.touch_digits.quantum_mm, 0.01)),
    ROW(CONTACTS, COARSE_DIGITS, NULL, WARNING, TO(run.touch_digits.quantum_mm, 2e-4), ABOVE,
        TO(noise.touch_digit_var_mm2, 8e-6)),
    ROW(CONTACTS, COARSE_DIGITS, NULL, WARNING, TO(machine.resolution_mm, 0.01), BELOW,
        TO(noise.touch_digit_var_mm2, 8e-6), TO(run.touch_digits.quantum_mm, 0.01)),
    ROW(CONTACTS, LATE_CONTACT, "most", ERROR, OF(tip[0].used, 10000), BELOW,
        OF(tip[0].touches, 20000), TO(leverage[0], -9)),
    ROW(CONTACTS, LATE_CONTACT, "most", ERROR, TO(leverage[0], 0.2), ABOVE, OF(tip[0].used, 11),
        TO(leverage[1], 0.4), TO(leverage[2], 0.4)),
    /* of the stage's three touches five degrees of freedom: leverages below nothing stand for more
     */
    ROW(CONTACTS, LATE_CONTACT, "most", ERROR, TO(leverage[0], -1.2), ABOVE, OF(tip[0].touches, 20),
        OF(tip[0].used, 14), TO(leverage[1], -0.3), TO(leverage[2], -0.5)),
    /* the picture */
    ROW(VIEWS, UNDETERMINED, "view-repeatability", ERROR, TO(fit.dof_view, 0.5), BELOW,
        TO(noise.view_dof, 0)),
    ROW(VIEWS, IMPLAUSIBLE, "pixels", ERROR, TO(row[0].px, 12.8), BELOW, NOTHING_ELSE),
    ROW(VIEWS, IMPLAUSIBLE, "pixels", ERROR, TO(row[0].py, 9.6), BELOW, TO(row[0].px, 1)),
    ROW(VIEWS, IMPLAUSIBLE, "pixel-size", ERROR, TO(solution.camera.scale_x_mm, 1), ABOVE,
        TO(solution.camera.scale_y_mm, 1)),
    ROW(VIEWS, IMPLAUSIBLE, "pixel-size", ERROR, TO(solution.camera.scale_y_mm, 1e-6), BELOW,
        TO(solution.camera.scale_x_mm, 1e-4)),
    ROW(VIEWS, IMPLAUSIBLE, "axes", ERROR, TO(solution.axes.scale_x, -0.02), BELOW, AXES),
    ROW(VIEWS, IMPLAUSIBLE, "axes", ERROR, TO(solution.axes.scale_y, 0.02), ABOVE, AXES),
    ROW(VIEWS, IMPLAUSIBLE, "axes", ERROR, TO(solution.axes.square_rad, 0.02), ABOVE, AXES),
    ROW(VIEWS, AXES_SCALE, NULL, WARNING, TO(solution.axes.scale_x, -3e-3), BELOW, AXES,
        TO(solution.axes.square_rad, 5e-3)),
    ROW(VIEWS, AXES_SCALE, NULL, WARNING, TO(solution.axes.scale_y, 2e-3), ABOVE, AXES,
        TO(solution.axes.square_rad, 2e-3)),
    ROW(VIEWS, AXES_NOT_SQUARE, NULL, WARNING, TO(solution.axes.square_rad, 3e-3), ABOVE, AXES,
        TO(solution.axes.scale_y, 5e-3)),
    ROW(VIEWS, AXES_NOT_SQUARE, NULL, WARNING, TO(solution.axes.square_rad, -2e-3), BELOW, AXES,
        TO(solution.axes.scale_y, 2e-3)),
    ROW(VIEWS, CAMERA_OFF, "lens", WARNING, TO(solution.camera.scale_x_mm, 0.02 * 1.10517091807565),
        ABOVE, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "lens", WARNING, TO(solution.camera.scale_y_mm, 0.02 / 1.10517091807565),
        BELOW, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "unit-inch", WARNING,
        TO(solution.camera.scale_y_mm, 0.02 * 25.4 * 25.4 * 1.10517091807565), BELOW, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "unit-inch", WARNING,
        TO(solution.camera.scale_y_mm, 0.02 / 25.4 / 25.4 / 1.10517091807565), ABOVE, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "unit-m", WARNING,
        TO(solution.camera.scale_y_mm, 0.02 * 1e6 * 1.10517091807565), BELOW, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "unit-um", WARNING,
        TO(solution.camera.scale_y_mm, 0.02 / 1e6 / 1.10517091807565), ABOVE, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "turned", WARNING, TO(solution.camera.turn_rad, 5 * TT_PI / 180), ABOVE,
        NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "half-turn", WARNING, TO(solution.camera.turn_rad, 175 * TT_PI / 180),
        ABOVE, NOTHING_ELSE),
    ROW(VIEWS, CAMERA_OFF, "limit", WARNING, TO(solution.camera.off_at_corner_mm, 0.08355), ABOVE,
        YES(machine.limits.has_permitted_view), TO(machine.limits.permitted_view_mm, 0.1),
        TO(solution.camera.u_off_at_corner_mm, 0.01)),
    ROW(VIEWS, CAMERA_OFF, "off", NOTE, TO(solution.camera.off_at_corner_mm, 0.04), ABOVE,
        TO(solution.camera.u_off_at_corner_mm, 0.01)),
    ROW(VIEWS, CAMERA_OFF, "off", NOTE, TO(solution.camera.off_at_corner_mm, 0.02), ABOVE,
        TO(solution.camera.u_off_at_corner_mm, 0.001)),
    ROW(VIEWS, PICTURE_MIRRORED, "rows-up", WARNING, TO(solution.camera.turn_rad, TT_PI / 4), BELOW,
        YES(solution.camera.mirrored)),
    ROW(VIEWS, PICTURE_MIRRORED, "columns-left", WARNING,
        TO(solution.camera.turn_rad, 3 * TT_PI / 4), ABOVE, YES(solution.camera.mirrored)),
    ROW(VIEWS, LENS_DISTORTION, NULL, WARNING, TO(solution.camera.at_corner_px, -1.5), BELOW,
        YES(solution.camera.has_distortion), YES(machine.limits.has_permitted_view),
        TO(machine.limits.permitted_view_mm, 0.03)),
    /* heights; chi squared of two degrees of freedom exceeds 13.8155 with 1e-3 (slopes are known to
     * 0.1 mm a metre), 27.6310 with 1e-6 (pads, to 10 um) */
    ROW(HEIGHTS, SLOPE, "slope", NOTE, TO(height_x[2], 3.71692219e-4), ABOVE, NOTHING_ELSE),
    /* of so few degrees of freedom as half of one: (1 + 2 d2)^(-1/4) = 1e-3 */
    ROW(HEIGHTS, SLOPE, "steep", ERROR, TO(height_x[2], 70.710678), ABOVE,
        TO(height_fit.pooled_dof, 0.31)),
    ROW(HEIGHTS, SLOPE, "slope", WARNING, TO(height_x[3], 3e-3), ABOVE, NOTHING_ELSE),
    ROW(HEIGHTS, SLOPE, "steep", ERROR, TO(height_x[3], 0.02), ABOVE, NOTHING_ELSE),
    ROW(HEIGHTS, DOES_NOT_FIT, "pads", ERROR, TO(height_x[4], 0.0525652179), ABOVE, NOTHING_ELSE),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-repeatability", ERROR, TO(solution.u_height_mm, 0.03), ABOVE,
        NOTHING_ELSE),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-repeatability", ERROR, TO(solution.u_height_mm, 0.06), ABOVE,
        TO(heights.stated_mm2, 0.0016)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-repeatability", ERROR, TO(height_fit.dof, 4), ABOVE,
        TO(solution.u_height_mm, 0.1)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-range", ERROR, TO(height_row[1].z_mm, -27.9), ABOVE,
        YES(machine.motion.touch_height_mm.stated),
        TO(machine.motion.touch_height_mm.value, -37.9)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-range", ERROR, TO(height_row[1].z_mm, -47.9), BELOW,
        YES(machine.motion.touch_height_mm.stated),
        TO(machine.motion.touch_height_mm.value, -37.9)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-range-inch", ERROR, TO(height_row[1].z_mm, -21.3), ABOVE,
        YES(machine.motion.safe_height_mm.stated), TO(machine.motion.safe_height_mm.value, -21.3)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-range-inch", ERROR, TO(height_row[1].z_mm, -47.9 / 25.4),
        ABOVE, YES(machine.motion.touch_height_mm.stated),
        TO(machine.motion.touch_height_mm.value, -37.9)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-range-inch", ERROR, TO(height_row[1].z_mm, -27.9 * 25.4),
        BELOW, YES(machine.motion.touch_height_mm.stated),
        TO(machine.motion.touch_height_mm.value, -37.9)),
    ROW(HEIGHTS, IMPLAUSIBLE, "height-range-negative", ERROR, TO(height_row[1].z_mm, 27.9), ABOVE,
        YES(machine.motion.touch_height_mm.stated),
        TO(machine.motion.touch_height_mm.value, -37.9)),
    /* u of 0.1 um, four times that of all touches, good */
    ROW(HEIGHTS, LATE_CONTACT, "height-few", ERROR, TO(all_good[0], 1e-8 / 16), BELOW,
        TO(height_good[0], 0)),
    ROW(HEIGHTS, PAD_OFF, "far", WARNING, TO(height_x[4], 0.1), ABOVE, OF(height_fit.n_modes, 1)),
    ROW(HEIGHTS, PAD_OFF, "far", WARNING, TO(height_x[4], -0.1), BELOW, OF(height_fit.n_modes, 1)),
    ROW(HEIGHTS, PAD_OFF, "place", ERROR, TO(row[0].h.x_mm, 3), ABOVE, NOTHING_ELSE),
    /* as far from the one pad as from the other, the plate turned either way */
    ROW(HEIGHTS, PAD_OFF, "name", ERROR, TO(x[2], 1.1782926182), BELOW, TO(row[0].h.x_mm, 17.3),
        TO(row[0].h.y_mm, 2.2)),
    ROW(HEIGHTS, PAD_OFF, "name", ERROR, TO(x[2], -0.9253152103), ABOVE, TO(row[0].h.x_mm, 17.3),
        TO(row[0].h.y_mm, 2.2)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height", ERROR, TO(height[0].change_mm, -0.3), BELOW,
        NOTHING_ELSE),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-all", ERROR, TO(height[1].change_mm, -0.8), BELOW,
        TO(height[0].change_mm, -0.9)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-inch", ERROR,
        TO(height[0].value_mm, -31.7 * 25.4 * 1.05127109637602), ABOVE,
        TO(height[0].change_mm, -9)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-inch", ERROR,
        TO(height[0].value_mm, -31.7 / 25.4 / 1.05127109637602), BELOW,
        TO(height[0].change_mm, 30)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-negative", ERROR,
        TO(height[0].value_mm, 31.7 * 1.05 + 0.1), BELOW, TO(height[0].change_mm, 64)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-negative", ERROR,
        TO(height[0].value_mm, 1.3 * 1.05 + 0.1), BELOW, TO(height[0].present_mm, -1.3),
        TO(height[0].change_mm, 64)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-length", ERROR,
        TO(height[1].value_mm, -30.7 - 0.3 * 4.1), ABOVE, TO(height[1].change_mm, 4.3),
        TO(height[0].value_mm, -30.7)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-other-tip", ERROR, TO(height[1].value_mm, 0.1), BELOW,
        TO(height[1].change_mm, 36.1), YES(stated[0].height_mm.stated),
        TO(height[0].value_mm, -21.7)),
    ROW(HEIGHTS, CHANGE_IMPLAUSIBLE, "height-other-tip", ERROR, TO(height[1].value_mm, -31.6),
        BELOW, TO(height[1].change_mm, 4.1), YES(stated[0].height_mm.stated),
        TO(stated[0].height_mm.value, -31.7), TO(height[0].value_mm, -21.7)),
};

static bool has_word(const struct tt_finding *finding, const char *word)
{
    static const char *const KEYS[] = {"what", "kind", "unit"};
    bool has = word == NULL;

    for (size_t k = 0; k < sizeof KEYS / sizeof KEYS[0]; k++) {
        const struct tt_value *value = tt_finding_value(finding, KEYS[k]);
        has = has || (value != NULL && strcmp(value->text, word) == 0);
    }
    return has;
}

/* Whether the finding is told with that number @off its bound, and the flag at @without of both
 * tips' results down (0: none). */
static bool is_told(const struct bound *bound, double off, size_t without)
{
    struct stage *s = stage_new();
    bool told = false;

    for (size_t k = 0; k < GIVEN; k++) {
        apply(s, &bound->given[k], bound->given[k].value);
    }
    apply(s, &bound->at, bound->at.value + off);
    for (size_t t = 0; t < TIPS && without > 0; t++) {
        *(bool *)((char *)&s->tip[t] + without) = false;
    }
    ck_assert_int_eq(bound->finder(&s->view), TIPTRUE_OK);
    for (size_t i = 0; i < s->solution.n_findings; i++) {
        const struct tt_finding *finding = &s->solution.findings[i];
        told = told || (finding->code == bound->code && finding->severity >= bound->least &&
                        has_word(finding, bound->word));
    }
    stage_free(s);
    return told;
}

static double step_of(const struct bound *bound)
{
    double size = fabs(bound->at.value);
    return (bound->side == ABOVE ? 1e-4 : -1e-4) * (size > 0 ? size : 1);
}

START_TEST(stands_where_it_is_said)
{
    for (size_t k = 0; k < sizeof BOUNDS / sizeof BOUNDS[0]; k++) {
        const struct bound *b = &BOUNDS[k];
        double step = step_of(b);
        const char *name = tt_finding_name(b->code), *word = b->word != NULL ? b->word : "";
        ck_assert_msg(is_told(b, step, 0), "row %zu: %s '%s' is not told at %.9g", k, name, word,
                      b->at.value + step);
        ck_assert_msg(!is_told(b, -step, 0), "row %zu: %s '%s' is told at %.9g", k, name, word,
                      b->at.value - step);
    }
}
END_TEST

/* What a finding says is of something that was determined: else it is not told. */
START_TEST(tells_what_is_determined)
{
#define FLAG_OF(member) offsetof(struct tt_tip_result, member)
    static const struct {
        enum tt_finding_code code;
        const char *word;
        size_t flag;
    } NEEDS[] = {{TT_FINDING_IMPLAUSIBLE, "uncertainty", FLAG_OF(offset_determined_x)},
                 {TT_FINDING_IMPLAUSIBLE, "uncertainty", FLAG_OF(offset_determined_y)},
                 {TT_FINDING_IMPLAUSIBLE, "offset-zero", FLAG_OF(offset_determined_x)},
                 {TT_FINDING_IMPLAUSIBLE, "offset-zero", FLAG_OF(offset_determined_y)},
                 {TT_FINDING_IMPLAUSIBLE, "same-tip", FLAG_OF(offset_determined_x)},
                 {TT_FINDING_IMPLAUSIBLE, "same-tip", FLAG_OF(offset_determined_y)},
                 {TT_FINDING_IMPLAUSIBLE, "statement", FLAG_OF(offset_determined_x)},
                 {TT_FINDING_IMPLAUSIBLE, "statement", FLAG_OF(offset_determined_y)},
                 {TT_FINDING_IMPLAUSIBLE, "statement", FLAG_OF(has_present)},
                 {TT_FINDING_IMPLAUSIBLE, "rad", FLAG_OF(radius_determined)},
                 {TT_FINDING_IMPLAUSIBLE, "runout", FLAG_OF(radius_determined)},
                 {TT_FINDING_IMPLAUSIBLE, "runout", FLAG_OF(runout_determined)},
                 {TT_FINDING_CHANGE_IMPLAUSIBLE, "", FLAG_OF(offset_determined_x)},
                 {TT_FINDING_CHANGE_IMPLAUSIBLE, "", FLAG_OF(offset_determined_y)},
                 {TT_FINDING_CHANGE_IMPLAUSIBLE, "", FLAG_OF(has_present)},
                 {TT_FINDING_TIP_NOT_ROUND, "impossible", FLAG_OF(radius_determined)},
                 {TT_FINDING_UNCERTAINTY_OVER, "", FLAG_OF(offset_determined_x)},
                 {TT_FINDING_UNCERTAINTY_OVER, "", FLAG_OF(offset_determined_y)},
                 {TT_FINDING_RUNOUT_OVER, NULL, FLAG_OF(runout_determined)}};

    for (size_t k = 0; k < sizeof BOUNDS / sizeof BOUNDS[0]; k++) {
        const struct bound *b = &BOUNDS[k];
        for (size_t i = 0; i < sizeof NEEDS / sizeof NEEDS[0]; i++) {
            const char *word = NEEDS[i].word;
            bool of_tips = b->finder != tt_findings_of_heights && b->code == NEEDS[i].code &&
                           (word == NULL || strncmp(b->word, word, strlen(word)) == 0);
            ck_assert_msg(!of_tips || !is_told(b, step_of(b), NEEDS[i].flag),
                          "row %zu: %s '%s' is told without flag %zu", k, tt_finding_name(b->code),
                          word != NULL ? b->word : "", i);
        }
    }
}
END_TEST

/* The view that the rows change shows nothing. */
START_TEST(is_clean_otherwise)
{
    static tt_finder *const FINDERS[] = {tt_findings_of_plausibility, tt_findings_of_limits,
                                         tt_findings_of_views,        tt_findings_of_contacts,
                                         tt_findings_of_heights,      tt_findings_of_model};
    struct stage *s = stage_new();

    ck_assert_int_eq(tt_find_all(&s->view, FINDERS, sizeof FINDERS / sizeof FINDERS[0]),
                     TIPTRUE_OK);
    ck_assert_msg(s->solution.n_findings == 0, "%s", tt_finding_name(s->solution.findings[0].code));
    stage_free(s);
}
END_TEST

/* Whether a unit is suspected where two marks are seen @ratio times as far apart as the plate says,
 * and which. */
static const char *unit_at(double ratio)
{
    static char found[40];
    struct stage *s = stage_new();
    struct tt_mark marks[2] = {{.name = "M", .at = {3.7, -8.1}}, {.name = "N", .at = {33.7, 31.9}}};
    struct tt_sight sights[2] = {{.row = 0, .mark = 0}, {.row = 1, .mark = 1}};

    s->plate.marks = marks;
    s->plate.n_marks = 2;
    s->model.sights = sights;
    s->model.n_sights = 2;
    s->row[0].h = (struct tt_machine_xy){102.3, 77.1};
    s->row[1].h = (struct tt_machine_xy){102.3 - 50 * ratio * 0.6, 77.1 + 50 * ratio * 0.8};
    ck_assert_int_eq(tt_findings_of_units(&s->view), TIPTRUE_OK);
    bool told = s->solution.n_findings > 0;
    snprintf(found, sizeof found, "%s",
             told ? tt_finding_value(&s->solution.findings[0], "what")->text : "");
    stage_free(s);
    return told ? found : NULL;
}

/* Another unit is suspected within a twentieth, by the natural logarithm, of its factor. */
START_TEST(units_by_their_factors)
{
    static const struct {
        double factor;
        const char *means;
    } OF[] = {
        {25.4, "mm-as-inch"}, {1 / 25.4, "inch-as-mm"}, {1e3, "micrometres"}, {1e-3, "metres"}};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        for (int side = -1; side <= 1; side += 2) {
            const char *told = unit_at(OF[i].factor * exp(0.0499 * side));
            ck_assert_msg(told != NULL && strcmp(told, OF[i].means) == 0, "%s is not told",
                          OF[i].means);
            ck_assert_msg(unit_at(OF[i].factor * exp(0.0501 * side)) == NULL, "%s is told",
                          OF[i].means);
        }
    }
}
END_TEST

/* The same by two edges that one tip touched, @turned_rad from parallel and 7.3 mm apart, whose
 * touches lie @ratio times as far apart. */
static const char *unit_by_edges(double ratio, double turned_rad)
{
    static char found[40];
    struct stage *s = stage_new();
    struct tt_touch touch[2] = {{.h = {0, 0}}, {.h = {0, 7.3 * ratio}}};

    s->cell[0].site = (struct tt_site){.n_x = sin(turned_rad), .n_y = cos(turned_rad), .d_mm = 1.1};
    s->cell[1].site = (struct tt_site){.n_y = -1, .d_mm = -8.4};
    s->cell[1].first = s->cell[0].count = s->cell[1].count = 1;
    s->model.touch = touch;
    s->model.n_cells = 2;
    ck_assert_int_eq(tt_findings_of_units(&s->view), TIPTRUE_OK);
    bool told = s->solution.n_findings > 0;
    snprintf(found, sizeof found, "%s",
             told ? tt_finding_value(&s->solution.findings[0], "what")->text : "");
    stage_free(s);
    return told ? found : NULL;
}

/* Edges count as parallel where their normals' cosine is 0.99; the tip's diameter is in the
 * distance between them, so that a factor is known to 0.4 only. */
START_TEST(units_by_edges)
{
    for (int side = -1; side <= 1; side += 2) {
        const char *told = unit_by_edges(25.4 * exp(0.3999 * side), 0);
        ck_assert_msg(told != NULL && strcmp(told, "mm-as-inch") == 0, "is not told");
        ck_assert_msg(unit_by_edges(25.4 * exp(0.4001 * side), 0) == NULL, "is told");
        ck_assert_ptr_nonnull(unit_by_edges(25.4, side * acos(0.9901)));
        ck_assert_ptr_null(unit_by_edges(25.4, side * acos(0.9899)));
    }
}
END_TEST

/* Touches that met another edge than their rows say: ten are no slips of the pen where they are
 * more than a twentieth of the tip's; and three at least. */
START_TEST(touches_of_other_edges)
{
    enum { MOST = 220 };
    static const struct {
        size_t gross, of;
        bool told;
    } CASES[] = {{10, 199, true},  {10, 200, false}, {11, 219, true},
                 {11, 220, false}, {3, 6, true},     {2, 6, false}};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct stage *s = stage_new();
        struct tt_selection selection = {.robust = true};
        static double residual[MOST], good[MOST];
        static size_t cell_of[MOST], row[MOST];
        for (size_t i = 0; i < MOST; i++) {
            bool gross = i < CASES[k].gross;
            residual[i] = gross ? (i % 2 == 0 ? 0.5003 : -0.5003) : 0.4997;
            good[i] = 0;
        }
        s->view.selection = &selection;
        s->model.residual = residual;
        s->model.cell_of = cell_of;
        s->model.row = row;
        s->fit.good = good;
        s->model.n_touches = CASES[k].of;
        ck_assert_int_eq(tt_findings_of_explanation(&s->view), TIPTRUE_OK);
        ck_assert_msg(s->solution.n_findings == CASES[k].told, "case %zu", k);
        if (CASES[k].told) {
            const struct tt_finding *found = &s->solution.findings[0];
            ck_assert_str_eq(tt_finding_value(found, "kind")->text, "touches");
            ck_assert_double_eq(tt_finding_value(found, "gross")->number, (double)CASES[k].gross);
            ck_assert_double_eq(tt_finding_value(found, "of")->number, (double)CASES[k].of);
        }
        stage_free(s);
    }
}
END_TEST

/* Whether the rotations, in turns, are told as an odd number of even ones. */
static bool are_odd(const double turns[], size_t n)
{
    struct stage *s = stage_new();

    s->model.n_blocks = s->model.n_cells = 1;
    s->cell[0].count = s->model.n_touches = n;
    for (size_t i = 0; i < n; i++) {
        s->row[i].rotation_rad = 2 * TT_PI * turns[i];
    }
    ck_assert_int_eq(tt_findings_of_contacts(&s->view), TIPTRUE_OK);
    bool told = s->solution.n_findings > 0;
    if (told) {
        ck_assert_int_eq(s->solution.findings[0].code, TT_FINDING_ODD_ROTATIONS);
        ck_assert_double_eq(tt_finding_value(&s->solution.findings[0], "rotations")->number, 5);
    }
    stage_free(s);
    return told;
}

/* Rotations are one within 2e-4 of a turn, also from one turn to the next, and even within twice
 * that. */
START_TEST(rotations_that_are_odd)
{
    for (int side = -1; side <= 1; side += 2) {
        for (int in = 0; in < 2; in++) {
            double off = side * 2e-4 * (in ? 0.999 : 1.001),
                   even[] = {0.13, 0.33, 0.53 + 2 * off, 0.73, 0.93},
                   twice[] = {0.13, 0.33, 0.53, 0.73, 0.93, 0.53 + off},
                   around[] = {0, 0.2, 0.4, 0.6, 0.8, 1 - fabs(off)};
            ck_assert(are_odd(even, 5) == in);
            ck_assert(are_odd(twice, 6) == in);
            ck_assert(are_odd(around, 6) == in);
        }
    }
}
END_TEST

/* Touches from above tell a slope on pads more than 1 mm apart, and a face where rotations differ
 * by more than 0.02 rad. */
START_TEST(what_heights_tell)
{
    const char *setups[] = {"1"};

    for (int in = 0; in < 2; in++) {
        struct stage *s = stage_new();
        struct tt_heights h;
        s->run.setups = setups;
        s->run.n_setups = 1;
        s->model.at_latency = TT_NONE;
        s->x[2] = 0.73;
        s->pad[1].at =
            (struct tt_plate_xy){0.6 * (in ? 1.0001 : 0.9999), 2.2 - 0.8 * (in ? 1.0001 : 0.9999)};
        for (size_t i = 0; i < ROWS; i++) {
            s->row[i].kind = TT_HEIGHT;
            s->row[i].has_z = true;
            s->row[i].z_mm = -31.7 - 0.01 * (double)(i * i);
            s->row[i].target = i % 2;
            s->row[i].rotation_rad = i == 4 ? 0.31 - 0.02 * (in ? 1.001 : 0.999) : 0.31;
        }
        ck_assert_int_eq(tt_heights_collect(&s->view, &h), TIPTRUE_OK);
        ck_assert_uint_eq(h.n_rows, ROWS);
        ck_assert(h.has_slope[0] == in);
        ck_assert(h.rotations_stated == in);
        double x = (s->pad[0].at.x_mm + s->pad[1].at.x_mm) / 2,
               y = (s->pad[0].at.y_mm + s->pad[1].at.y_mm) / 2;
        ck_assert_double_eq_tol(h.middle_x_mm, cos(0.73) * x - sin(0.73) * y, 1e-12);
        ck_assert_double_eq_tol(h.middle_y_mm, sin(0.73) * x + cos(0.73) * y, 1e-12);
        ck_assert_double_eq_tol(h.tip_about_mm[0], -31.71, 1e-12);
        ck_assert_double_eq_tol(h.tip_about_mm[1], -31.86, 1e-12);
        stage_free(s);
    }
}
END_TEST

/* Of @n touches set aside, off by @off_mm, how many the finding of a film names; contacts repeat to
 * @sd_mm. */
static double filmed(const double off_mm[], size_t n, double sd_mm)
{
    struct stage *s = stage_new();
    double weight[ROWS] = {0}, sorted[ROWS], named = 0;

    memcpy(s->residual, off_mm, n * sizeof *off_mm);
    s->model.n_touches = n;
    s->model.n_cells = 1;
    s->cell[0].count = n;
    s->fit.weight = weight;
    s->fit.sorted_mm = sorted;
    s->fit.touch_var_mm2 = sd_mm * sd_mm;
    ck_assert_int_eq(tt_findings_of_film(&s->view), TIPTRUE_OK);
    if (s->solution.n_findings > 0) {
        named = tt_finding_value(&s->solution.findings[0], "early")->number;
    }
    stage_free(s);
    return named;
}

/* Touches set aside tell a film's thickness where so many would lie so near their median, spread
 * evenly over 0.15 mm, in one run of two hundred: all of four, p^3 for p = 2 x 3.54 sd / 0.15 mm;
 * four of five, 4 p^3 - 3 p^4. */
START_TEST(films_by_what_seems_early)
{
    const double four[] = {0.041, 0.0415, -0.0405, 0.041},
                 five[] = {0.041, 0.0412, 0.0408, 0.041, 0.09};
    double sd_of_four = 0.15 * cbrt(5e-3) / (2 * 3.54);

    ck_assert_double_eq(filmed(four, 4, 0.999 * sd_of_four), 3);
    ck_assert_double_eq(filmed(four, 4, 1.001 * sd_of_four), 0);
    /* 4 p^3 - 3 p^4 = 5e-3 at p = 0.1108850 */
    ck_assert_double_eq(filmed(five, 5, 0.999 * 0.15 * 0.1108850 / (2 * 3.54)), 4);
    ck_assert_double_eq(filmed(five, 5, 1.001 * 0.15 * 0.1108850 / (2 * 3.54)), 0);
    for (int side = -1; side <= 1; side += 2) {
        for (int near = 0; near < 2; near++) {
            double off_mm[] = {0.04, 0.04, 0.04, 0.04,
                               0.04 + side * 3.54e-3 * (near ? 0.999 : 1.001)};
            ck_assert_double_eq(filmed(off_mm, 5, 1e-3), near ? 5 : 4);
        }
    }
}
END_TEST

/* Sightings that were all reached from one side along an axis, and along which; what is not stated
 * tells nothing. */
START_TEST(sightings_from_one_side)
{
    static const struct {
        int x[3], y[3];
        const char *along; /* NULL: from both sides */
    } OF[] = {{{1, 1, 1}, {1, -1, 1}, "x"},     {{-1, -1, -1}, {-1, 1, -1}, "x"},
              {{1, -1, -1}, {-1, -1, -1}, "y"}, {{-1, 1, 1}, {1, 1, 1}, "y"},
              {{-1, -1, -1}, {1, 1, 1}, "xy"},  {{1, 0, 1}, {1, 0, 1}, "xy"},
              {{1, -1, 1}, {-1, 1, 1}, NULL},   {{0, 0, 0}, {0, 0, 0}, NULL}};
    const char *setups[] = {"1"};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        struct stage *s = stage_new();
        s->run.n_setups = 1;
        s->run.setups = setups;
        for (size_t k = 0; k < 3; k++) {
            s->row[k].kind = TT_SIGHT;
            s->row[k].approach_x = (signed char)OF[i].x[k];
            s->row[k].approach_y = (signed char)OF[i].y[k];
        }
        ck_assert_int_eq(tt_findings_of_contacts(&s->view), TIPTRUE_OK);
        const char *along = NULL;
        for (size_t f = 0; f < s->solution.n_findings; f++) {
            if (s->solution.findings[f].code == TT_FINDING_SIGHTINGS_ONE_SIDED) {
                along = tt_finding_value(&s->solution.findings[f], "along")->text;
            }
        }
        ck_assert_msg((along == NULL) == (OF[i].along == NULL) &&
                          (along == NULL || strcmp(along, OF[i].along) == 0),
                      "case %zu: along %s", i, along != NULL ? along : "none");
        stage_free(s);
    }
}
END_TEST

/* What is found of marks, edges and groups does not fit what is stated where so much comes by
 * chance once in a million: of two by chi squared above 27.6310, and the one that is more of its u
 * off is named. */
START_TEST(shifts_that_do_not_fit)
{
    static const struct {
        enum tt_prior_kind kind;
        const char *name, *of;
    } OF[] = {{TT_PRIOR_MARK, "marks", "M"},
              {TT_PRIOR_EDGE, "edges", "b"},
              {TT_PRIOR_GROUP, "groups", "M"}};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        for (int off = 0; off < 2; off++) {
            struct stage *s = stage_new();
            size_t second = OF[i].kind == TT_PRIOR_EDGE ? 1 : 0;
            struct tt_prior priors[] = {
                {.kind = OF[i].kind, .block = TT_NONE, .place = 0, .value = 0.0013, .u = 0.004},
                {.kind = OF[i].kind, .block = TT_NONE, .place = 1, .u = 0.007, .what = second}};
            struct tt_selection selection = {.robust = true};
            double chi2 = off ? 27.64 : 27.62;
            s->view.selection = &selection;
            s->model.priors = priors;
            s->model.n_priors = 2;
            s->model.n_border = 2;
            s->x[0] = 0.0013 - 0.004 * sqrt(0.37 * chi2);
            s->x[1] = 0.007 * sqrt(0.63 * chi2);
            ck_assert_int_eq(tt_findings_of_explanation(&s->view), TIPTRUE_OK);
            ck_assert_uint_eq(s->solution.n_findings, (size_t)off);
            for (size_t f = 0; f < s->solution.n_findings; f++) {
                const struct tt_finding *found = &s->solution.findings[f];
                ck_assert_int_eq(found->code, TT_FINDING_DOES_NOT_FIT);
                ck_assert_str_eq(tt_finding_value(found, "kind")->text, OF[i].name);
                ck_assert_str_eq(tt_finding_value(found, "of")->text, OF[i].of);
                ck_assert_double_eq_tol(tt_finding_value(found, "times_u")->number,
                                        sqrt(0.63 * chi2), 1e-9);
                ck_assert_double_eq_tol(tt_finding_value(found, "chi2")->number, chi2, 1e-9);
            }
            stage_free(s);
        }
    }
}
END_TEST

/* A radius is not the stated one from 4.892 of its u on: so much comes once in a million, either
 * side, by a normal distribution. */
START_TEST(radii_that_do_not_fit)
{
    for (int side = -1; side <= 1; side += 2) {
        for (int off = 0; off < 2; off++) {
            struct stage *s = stage_new();
            struct tt_prior prior = {
                .kind = TT_PRIOR_RADIUS, .place = TT_TIP_R, .value = 0.25, .u = 0.004};
            struct tt_selection selection = {.robust = true};
            s->view.selection = &selection;
            s->model.priors = &prior;
            s->model.n_priors = 1;
            s->x[s->first[0] + TT_TIP_R] = 0.25 + side * 0.004 * (off ? 4.8926 : 4.8910);
            ck_assert_int_eq(tt_findings_of_explanation(&s->view), TIPTRUE_OK);
            ck_assert_uint_eq(s->solution.n_findings, (size_t)off);
            for (size_t f = 0; f < s->solution.n_findings; f++) {
                ck_assert_int_eq(s->solution.findings[f].code, TT_FINDING_RADIUS_OFF);
                ck_assert_str_eq(tt_finding_value(&s->solution.findings[f], "what")->text, "held");
            }
            stage_free(s);
        }
    }
}
END_TEST

/* An offset that is open five times as far along a line as across it is open along that line. */
START_TEST(open_along_a_line)
{
    for (int along = 0; along < 2; along++) {
        struct stage *s = stage_new();
        s->solution.has_u_touch = true;
        s->tip[0].offset_determined_x = s->tip[1].offset_determined_x = false;
        s->tip[0].cov = (struct tt_cov2){pow(2.0 / 5 * (along ? 0.999 : 1.001), 2), 0, 4};
        ck_assert_int_eq(tt_findings_of_determinacy(&s->view), TIPTRUE_OK);
        const struct tt_finding *found = &s->solution.findings[0];
        ck_assert_int_eq(found->code, TT_FINDING_UNDETERMINED);
        double told = tt_finding_value(found, "along") != NULL
                          ? tt_finding_value(found, "along")->number
                          : NAN;
        ck_assert_msg((isfinite(told) != 0) == (along == 1), "%d: %g", along, told);
        stage_free(s);
    }
}
END_TEST

/* Where more than a third of the sightings are set aside, which are right cannot be told. */
START_TEST(sightings_aside)
{
    enum { MOST = 9 };
    static const struct {
        size_t aside, of;
        bool told;
    } CASES[] = {{1, 3, false}, {2, 5, true}, {2, 6, false}, {3, 8, true}, {3, 9, false}};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct stage *s = stage_new();
        struct tt_selection selection = {.robust = true};
        struct tt_sight sight[MOST] = {{.mark = 0}};
        for (size_t i = 0; i < CASES[k].of; i++) {
            sight[i].extra_mm2 = i < CASES[k].aside ? 0.01 : 0;
            sight[i].share = 1;
            sight[i].residual[0] = 1e-3;
        }
        s->view.selection = &selection;
        s->model.sights = sight;
        s->model.n_sights = CASES[k].of;
        s->model.picture.n = 0;
        ck_assert_int_eq(tt_findings_of_explanation(&s->view), TIPTRUE_OK);
        ck_assert_msg(s->solution.n_findings == CASES[k].told, "case %zu", k);
        if (CASES[k].told) {
            const struct tt_finding *found = &s->solution.findings[0];
            ck_assert_str_eq(tt_finding_value(found, "kind")->text, "sightings-aside");
            ck_assert_double_eq(tt_finding_value(found, "aside")->number, (double)CASES[k].aside);
            ck_assert_double_eq(tt_finding_value(found, "of")->number, (double)CASES[k].of);
        }
        stage_free(s);
    }
}
END_TEST

/* A height stays where so large a change comes by chance in one run of twenty; with a permitted
 * error, where it is within that with a probability of 0.95. */
START_TEST(heights_that_stay)
{
    for (int permitted = 0; permitted < 2; permitted++) {
        for (int stays = 0; stays < 2; stays++) {
            struct stage *s = stage_new();
            struct tt_height_result *height = &s->height[0];
            double p = (permitted ? 0.95 : 0.05) * (stays ? 1.0001 : 0.9999);
            height->has_verdict = true;
            height->has_conformity = permitted;
            height->p_conforming = permitted ? p : 0;
            height->p_unchanged = permitted ? 0 : p;
            ck_assert_int_eq(tt_verdict(&s->view), TIPTRUE_OK);
            ck_assert_int_eq(height->verdict, stays ? TIPTRUE_KEEP : TIPTRUE_UPDATE);
            stage_free(s);
        }
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/bounds");
    TCase *tcase = tcase_create("bounds");
    tcase_add_test(tcase, is_clean_otherwise);
    tcase_add_test(tcase, stands_where_it_is_said);
    tcase_add_test(tcase, tells_what_is_determined);
    tcase_add_test(tcase, units_by_their_factors);
    tcase_add_test(tcase, units_by_edges);
    tcase_add_test(tcase, touches_of_other_edges);
    tcase_add_test(tcase, rotations_that_are_odd);
    tcase_add_test(tcase, what_heights_tell);
    tcase_add_test(tcase, films_by_what_seems_early);
    tcase_add_test(tcase, sightings_from_one_side);
    tcase_add_test(tcase, shifts_that_do_not_fit);
    tcase_add_test(tcase, radii_that_do_not_fit);
    tcase_add_test(tcase, open_along_a_line);
    tcase_add_test(tcase, sightings_aside);
    tcase_add_test(tcase, heights_that_stay);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
