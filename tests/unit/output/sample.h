/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Solutions made by hand for the tests of the output: invented numbers, each value different from
 * every other one, so that a swapped pair shows.
 */
#ifndef SAMPLE_H
#define SAMPLE_H

#include <math.h>
#include <string.h>

#include "model/solution.h"

#define SAMPLE_COUNT(a) (sizeof(a) / sizeof((a)[0]))

struct sample {
    struct tiptrue_solution solution;
    struct tt_pose_result poses[2];
    struct tt_tip_result tips[2];
    struct tt_shape_term shape[1];
    struct tt_budget_line budget[3];
    struct tt_edge_result edges[2];
    struct tt_mark_result marks[2];
    struct tt_row_result rows[8];
    struct tt_plate_feature features[2];
    double effect_x[2], effect_y[2];
    struct tt_tip_difference between[1];
    struct tt_finding findings[2];
    size_t late_lines[3];
    struct tt_value values[4];
    const char *edge_names[2], *tip_names[2], *setup_names[2];
    struct tt_reason reasons[1], reasons_2[1];
};

static inline void sample_poses(struct sample *s)
{
    s->poses[0] = (struct tt_pose_result){.setup = "1",
                                          .mark_determined = true,
                                          .yaw_determined = true,
                                          .mark = {120.50031, 80.24996},
                                          .u_mark_x_mm = 0.0012,
                                          .u_mark_y_mm = 0.0013,
                                          .yaw_rad = tt_rad_from_deg(0.415),
                                          .u_yaw_rad = tt_rad_from_deg(0.0042)};
}

static inline void sample_tip(struct sample *s)
{
    s->features[0] = (struct tt_plate_feature){TT_FEATURE_GROUP, "routed", 'y', 0.0205};
    s->features[1] = (struct tt_plate_feature){TT_FEATURE_EDGE, "left", 0, 0.0083};
    s->effect_x[0] = 0.0625;
    s->effect_x[1] = 0.4375;
    s->effect_y[0] = -0.9375;
    s->effect_y[1] = -0.3125;
    s->between[0] = (struct tt_tip_difference){"t2",
                                               "t1",
                                               true,
                                               {17.00123, -0.00456},
                                               {1.5e-6, 2.5e-7, 1.75e-6},
                                               61.5,
                                               1.999,
                                               0.00245,
                                               0.00264,
                                               false,
                                               0,
                                               0,
                                               0};
    s->shape[0] = (struct tt_shape_term){2, 0.0041, 0.0005, tt_rad_from_deg(12.5)};
    s->budget[0] = (struct tt_budget_line){
        TT_BUDGET_TOUCH, "touch repeatability", 'A', false, true, true, 0.00061, 0.00063, 31.75};
    s->budget[1] = (struct tt_budget_line){
        TT_BUDGET_GROUPS, "group shifts", 'B', true, true, true, 0.0201, 0.0202, HUGE_VAL};
    s->budget[2] = (struct tt_budget_line){
        TT_BUDGET_EDGES, "edge places", 'B', true, true, true, 0.0056, 0.0057, HUGE_VAL};
    s->reasons[0] = (struct tt_reason){
        .code = TT_REASON_NOT_WITHIN,
        .text = "the offset in use may be off by more than the permitted error of 0.03 mm"};
    s->tips[0] = (struct tt_tip_result){.name = "t1",
                                        .touches = 7,
                                        .used = 4,
                                        .offset_determined_x = true,
                                        .offset_determined_y = true,
                                        .offset = {-41.30092, 12.70036},
                                        .has_held = true,
                                        .held = {-41.30144, 12.69971},
                                        .plate_effect_x = s->effect_x,
                                        .plate_effect_y = s->effect_y,
                                        .cov = {4.41e-4, 8.82e-6, 4.84e-4},
                                        .same_plate_cov = {1.21e-6, -3.0e-8, 1.44e-6},
                                        .dof = 41.25,
                                        .same_plate_dof = 33.5,
                                        .factor = 2.019,
                                        .expanded_x_mm = 0.0424,
                                        .expanded_y_mm = 0.0444,
                                        .same_plate_factor = 2.033,
                                        .same_plate_expanded_x_mm = 0.00224,
                                        .same_plate_expanded_y_mm = 0.00244,
                                        .region = {0.0561, 0.0532, tt_rad_from_deg(77.0), 2.54},
                                        .runout_determined = true,
                                        .runout = {0.0310, -0.0180},
                                        .eccentricity_mm = 0.03585,
                                        .u_eccentricity_mm = 0.0006,
                                        .runout_angle_rad = tt_rad_from_deg(-30.14),
                                        .u_runout_angle_rad = tt_rad_from_deg(0.95),
                                        .runout_dof = 29.5,
                                        .runout_factor = 2.033,
                                        .radius_determined = true,
                                        .contact_radius_mm = 0.24873,
                                        .u_contact_radius_mm = 0.0041,
                                        .radius_dof = 43.5,
                                        .radius_factor = 2.019,
                                        .shape = s->shape,
                                        .n_shape = 1,
                                        .budget = s->budget,
                                        .n_budget = 3,
                                        .prior_share = 0.125,
                                        .has_present = true,
                                        .present = {-41.2455, 12.69},
                                        .change = {-0.05542, 0.01036},
                                        .change_expanded_x_mm = 0.0424,
                                        .change_expanded_y_mm = 0.0444,
                                        .p_unchanged = 0.0123,
                                        .has_conformity = true,
                                        .p_conforming = 0.0345,
                                        .offset_verdict = TIPTRUE_UPDATE,
                                        .verdict = TIPTRUE_UPDATE,
                                        .reasons = s->reasons,
                                        .n_reasons = 1};
}

static inline void sample_rows(struct sample *s)
{
    const double angle_rad = tt_rad_from_deg(37.5);

    s->edges[0] = (struct tt_edge_result){"east", 4,      2,      -0.0004, 0.0027, 0.0063,
                                          0.0011, 0.0071, 0.0314, 0.0126,  NULL,   {0}};
    s->edges[1] = (struct tt_edge_result){"north", 3,      2,   0.0005, 0.0029, NAN,
                                          -0.0013, 0.0072, NAN, NAN,    NULL,   {0}};
    s->marks[0] = (struct tt_mark_result){"M0", NAN, NAN};
    s->marks[1] = (struct tt_mark_result){"M1", 0.0973, 0.0471};
    s->rows[0] = (struct tt_row_result){4,       TT_SIGHT, TT_USE, "M0", NULL,   0,      0.0011,
                                        -0.0023, 1,        false,  "1",  0.0331, -0.0187};
    s->rows[1] = (struct tt_row_result){5, TT_TOUCH, TT_USE, "east", "t1", angle_rad, -0.0641,
                                        0, 0,        true,   "1",    0,    0};
    s->rows[2] = (struct tt_row_result){
        6, TT_TOUCH, TT_USE, "east", "t1", 2 * angle_rad, -0.0213, 0, 0, true, "1", 0, 0};
    s->rows[3] = (struct tt_row_result){
        7, TT_TOUCH, TT_USE, "north", "t1", 3 * angle_rad, 0.0175, 0, 0, true, "1", 0, 0};
    s->rows[4] = (struct tt_row_result){
        8, TT_TOUCH, TT_USE, "north", "t1", 4 * angle_rad, 0.0018, 0, 0.875, false, "1", 0.0242, 0};
    s->rows[5] = (struct tt_row_result){
        9, TT_TOUCH, TT_USE_NO_CONTACT, "east", "t1", 5 * angle_rad, 0, 0, 0, false, "1", 0, 0};
    s->rows[6] = (struct tt_row_result){
        10, TT_TOUCH, TT_USE_FIND, "east", "t1", 6 * angle_rad, 0, 0, 0, false, "1", 0, 0};
    s->rows[7] = (struct tt_row_result){
        11, TT_HEIGHT, TT_USE_OTHER, "pad", "t1", 7 * angle_rad, 0, 0, 0, false, "1", 0, 0};
}

static inline void sample_findings(struct sample *s)
{
    s->late_lines[0] = 5;
    s->late_lines[1] = 6;
    s->late_lines[2] = 9;
    s->values[0] = (struct tt_value){"late", TT_UNIT_NONE, 2, NULL, NULL};
    s->values[1] = (struct tt_value){"depth", TT_UNIT_MM, 0.0433, NULL, NULL};
    s->values[2] = (struct tt_value){"turned", TT_UNIT_RAD, tt_rad_from_deg(-13.7), NULL, NULL};
    s->values[3] = (struct tt_value){"seen_as", TT_UNIT_NONE, 0, "film_mm", NULL};
    s->findings[0] = (struct tt_finding){
        .code = TT_FINDING_LATE_CONTACT,
        .severity = TIPTRUE_WARNING,
        .text =
            "2 of 4 touches on 'east' latch too deep, by 43 \xc2\xb5m on average; clean the edge "
            "and touch it again",
        .edge = 1,
        .tip = 0,
        .setup = TT_NONE,
        .lines = s->late_lines,
        .n_lines = 3,
        .values = s->values,
        .n_values = SAMPLE_COUNT(s->values)};
    s->findings[1] = (struct tt_finding){.code = TT_FINDING_TIP_NOT_ROUND,
                                         .severity = TIPTRUE_NOTE,
                                         .text = "t1 is oval by 4.1 \xc2\xb5m, crest at 13\xc2\xb0",
                                         .edge = TT_NONE,
                                         .tip = 0,
                                         .setup = TT_NONE};
    s->edge_names[0] = "spare";
    s->edge_names[1] = "east";
    s->tip_names[0] = "t1";
    s->tip_names[1] = "t2";
    s->setup_names[0] = "1";
    s->setup_names[1] = "2";
}

/* One tip, verdict update, with a finding, three touches set aside and one row of every kind. */
static inline void sample_one_tip(struct sample *s)
{
    memset(s, 0, sizeof *s);
    sample_poses(s);
    sample_tip(s);
    sample_rows(s);
    sample_findings(s);
    s->solution = (struct tiptrue_solution){.file = "run.csv",
                                            .run_id = "0123456789abcdef",
                                            .machine = "bench-2",
                                            .plate = "plate A",
                                            .plate_serial = "0007",
                                            .started = "2026-03-02T07:40:00Z",
                                            .touches_read = 7,
                                            .touches_used = 4,
                                            .touches_set_aside = 3,
                                            .touches_no_contact = 1,
                                            .touches_find = 2,
                                            .warmups = 5,
                                            .heights = 1,
                                            .sightings = 6,
                                            .poses = s->poses,
                                            .n_poses = 1,
                                            .tips = s->tips,
                                            .n_tips = 1,
                                            .features = s->features,
                                            .n_features = SAMPLE_COUNT(s->features),
                                            .has_u_touch = true,
                                            .u_touch_mm = 0.0028,
                                            .dof_touch = 81.5,
                                            .has_u_sighting = true,
                                            .u_sighting_mm = 0.0031,
                                            .dof_sighting = HUGE_VAL,
                                            .stated_dof_sighting = 12.5,
                                            .edges = s->edges,
                                            .n_edges = SAMPLE_COUNT(s->edges),
                                            .marks = s->marks,
                                            .n_marks = SAMPLE_COUNT(s->marks),
                                            .rows = s->rows,
                                            .n_rows = SAMPLE_COUNT(s->rows),
                                            .findings = s->findings,
                                            .n_findings = SAMPLE_COUNT(s->findings),
                                            .edge_names = s->edge_names,
                                            .n_edge_names = SAMPLE_COUNT(s->edge_names),
                                            .tip_names = s->tip_names,
                                            .n_tip_names = SAMPLE_COUNT(s->tip_names),
                                            .setup_names = s->setup_names,
                                            .n_setup_names = SAMPLE_COUNT(s->setup_names),
                                            .has_permitted_error = true,
                                            .permitted_error_mm = 0.03,
                                            .verdict = TIPTRUE_UPDATE};
}

/* The same tip and a second one, of which nothing is determined but the offset's y: verdict repeat.
 */
static inline void sample_two_tips(struct sample *s)
{
    sample_one_tip(s);
    s->reasons_2[0] = (struct tt_reason){.code = TT_REASON_OUT_OF_REACH,
                                         .text = "the offset along x is not determined"};
    s->tips[1] = (struct tt_tip_result){.name = "t2",
                                        .touches = 3,
                                        .used = 3,
                                        .offset_determined_y = true,
                                        .offset = {99.0, -7.25049},
                                        .has_held = true,
                                        .held = {99.0, -7.25112},
                                        .runout_factor = 1.96,
                                        .cov = {55.0, 66.0, 4.9e-5},
                                        .same_plate_cov = {77.0, 88.0, 2.5e-5},
                                        .dof = HUGE_VAL,
                                        .same_plate_dof = HUGE_VAL,
                                        .factor = 1.96,
                                        .expanded_x_mm = 99.0,
                                        .expanded_y_mm = 0.01372,
                                        .same_plate_factor = 1.96,
                                        .same_plate_expanded_x_mm = 99.0,
                                        .same_plate_expanded_y_mm = 0.0098,
                                        .offset_verdict = TIPTRUE_REPEAT,
                                        .verdict = TIPTRUE_REPEAT,
                                        .reasons = s->reasons_2,
                                        .n_reasons = 1};
    s->solution.n_tips = 2;
    s->solution.between_tips = s->between;
    s->solution.n_between_tips = 1;
    s->solution.verdict = TIPTRUE_REPEAT;
}

#endif
