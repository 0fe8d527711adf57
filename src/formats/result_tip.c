/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A tip of tiptrue.result/1, and the difference of two. */
#include "config.h"

#include "formats/result.h"
#include "formats/rows.h"

#include <math.h>

const struct tt_vocabulary tt_result_verdicts = {tt_verdict_words, TT_VERDICTS};
const struct tt_bounds tt_not_negative = {0, HUGE_VAL, false, "at least 0"},
                       tt_above_0 = {0, HUGE_VAL, true, "more than 0"};
/* Another program may have computed it, and rounded. */
static const struct tt_bounds probability = {-1e-9, 1 + 1e-9, false, "from 0 to 1"};
/* 2 are the fewest that scatter. */
static const struct tt_bounds trials_2 = {2, HUGE_VAL, false, "at least 2"};

static const char *const type_letters[] = {"A", "B"};
static const struct tt_vocabulary budget_types = {type_letters, 2};

#define T struct tt_region
static const struct tt_key region[] = {
    {"factor", TT_SHORTEST_FORM, AT(factor), .bounds = &tt_not_negative},
    {"semi_major_mm", TT_NUMBER_FORM, AT(semi_major_mm), .bounds = &tt_not_negative},
    {"semi_minor_mm", TT_NUMBER_FORM, AT(semi_minor_mm), .bounds = &tt_not_negative},
    {"angle_deg", TT_ANGLE_FORM, AT(angle_rad)},
};
static const struct tt_keys region_keys = TT_ANSWER_KEYS(region, NULL);
#undef T

#define T struct tt_shape_term
static const struct tt_key shape[] = {
    {"order", TT_COUNT_FORM, AT(order)},
    {"amplitude_mm", TT_NUMBER_FORM, AT(amplitude_mm), .bounds = &tt_not_negative},
    {"u_mm", TT_NUMBER_FORM, AT(u_amplitude_mm), .bounds = &tt_not_negative},
    {"angle_deg", TT_ANGLE_FORM, AT(angle_rad)},
};
static const struct tt_keys shape_keys = TT_ANSWER_KEYS(shape, NULL);
#undef T

/* Missing dof: as many as a stated source has, or none that are said. */
#define T struct tt_budget_line
static const struct tt_key budget[] = {
    {"source", TT_TEXT_FORM, AT(source), .need = TT_REQUIRED},
    {"code", TT_HOOK_FORM, AT(code), .hook = TT_HOOK_BUDGET_CODE},
    {"type", TT_LETTER_FORM, AT(type), .need = TT_REQUIRED, .words = &budget_types},
    {"of_plate", TT_BOOL_FORM, AT(of_plate)},
    {"u_mm", TT_X_Y_FORM, XY(u_x_mm, u_y_mm), SETS(known_x), .when_y = TT_FLAG(T, known_y),
     .sets_y = TT_FLAG(T, known_y), .bounds = &tt_not_negative},
    {"dof", TT_SHORTEST_FORM, AT(dof), .bounds = &tt_above_0, .above_0 = TT_FLAG(T, dof)},
};
static const struct tt_keys budget_keys = TT_ANSWER_KEYS(budget, NULL);
#undef T

#define T struct tt_trial_axis
static const struct tt_key trial_axis[] = {
    {"u_mm", TT_NUMBER_FORM, AT(u_mm), .bounds = &tt_not_negative},
    {"mean_mm", TT_NUMBER_FORM, AT(mean_mm)},
    {"interval_mm", TT_XY_FORM, AT(low_mm), .need = TT_REQUIRED},
    {"difference_mm", TT_NUMBER_FORM, AT(off_mm)},
    {"tolerance_mm", TT_NUMBER_FORM, AT(tolerance_mm)},
    {"u_difference_mm", TT_NUMBER_FORM, AT(noise_mm), .bounds = &tt_not_negative},
    {"agrees", TT_BOOL_FORM, AT(agrees)},
};
static const struct tt_keys trial_axis_keys = TT_ANSWER_KEYS(trial_axis, NULL);
#undef T

#define T struct tt_trials
static const struct tt_key trials[] = {
    {"trials", TT_COUNT_FORM, AT(n), .need = TT_REQUIRED, .bounds = &trials_2},
    {"x", TT_OBJECT_FORM, AT(x), .need = TT_REQUIRED, .inner = &trial_axis_keys},
    {"y", TT_OBJECT_FORM, AT(y), .need = TT_REQUIRED, .inner = &trial_axis_keys},
    {"region_coverage", TT_SHORTEST_FORM, AT(covered), .bounds = &probability},
};
static const struct tt_keys trials_keys = TT_ANSWER_KEYS(trials, NULL);
#undef T

#define T struct tt_height_result
static const struct tt_key height_same_plate[] = {
    {"u_mm", TT_NUMBER_FORM, AT(same_plate_u_mm), WHEN(determined), .bounds = &tt_not_negative},
    {"expanded_mm", TT_NUMBER_FORM, AT(same_plate_expanded_mm), WHEN(determined),
     .bounds = &tt_not_negative},
};
static const struct tt_keys height_same_plate_keys = TT_ANSWER_KEYS(height_same_plate, NULL);
static const struct tt_key height_touches[] = {
    {"read", TT_COUNT_FORM, AT(touches)},
    {"used", TT_COUNT_FORM, AT(used)},
};
static const struct tt_keys height_touches_keys = TT_ANSWER_KEYS(height_touches, NULL);
static const struct tt_key face[] = {
    {"amplitude_mm", TT_NUMBER_FORM, AT(face_amplitude_mm), .bounds = &tt_not_negative},
    {"u_mm", TT_NUMBER_FORM, AT(u_face_amplitude_mm), .bounds = &tt_not_negative},
    {"angle_deg", TT_ANGLE_FORM, AT(face_angle_rad)},
};
static const struct tt_keys face_keys = TT_ANSWER_KEYS(face, NULL);
static const struct tt_key height_conformity[] = {
    {"permitted_error_mm", TT_NUMBER_FORM, AT(permitted_error_mm), .need = TT_REQUIRED,
     .bounds = &tt_not_negative},
    {"probability", TT_SHORTEST_FORM, AT(p_conforming), .bounds = &probability},
};
static const struct tt_keys height_conformity_keys = TT_ANSWER_KEYS(height_conformity, NULL);

static const struct tt_key height[] = {
    {"value_mm", TT_NUMBER_FORM, AT(value_mm), SETS(determined)},
    {"u_mm", TT_NUMBER_FORM, AT(u_mm), WHEN(determined), .bounds = &tt_not_negative},
    {"expanded_mm", TT_NUMBER_FORM, AT(expanded_mm), WHEN(determined), .bounds = &tt_not_negative},
    {"dof", TT_SHORTEST_FORM, AT(dof), WHEN(determined), .bounds = &tt_above_0,
     .absent = TT_IS_INFINITE},
    {"factor", TT_SHORTEST_FORM, AT(factor), WHEN(determined), .bounds = &tt_not_negative},
    {"same_plate", TT_OBJECT_FORM, .inner = &height_same_plate_keys},
    {"touches", TT_OBJECT_FORM, .inner = &height_touches_keys},
    {"face_runout", TT_OBJECT_FORM, WHOLE(has_face_runout), .inner = &face_keys,
     .hook = TT_HOOK_FACE},
    {"present_mm", TT_NUMBER_FORM, AT(present_mm), SETS(has_present)},
    {"change_mm", TT_NUMBER_FORM, AT(change_mm), WHEN(has_present),
     .when_y = TT_FLAG(T, determined)},
    {"p_unchanged", TT_SHORTEST_FORM, AT(p_unchanged), WHEN(has_present),
     .when_y = TT_FLAG(T, determined), .bounds = &probability},
    {"conformity", TT_OBJECT_FORM, WHOLE(has_conformity), .inner = &height_conformity_keys},
    {"verdict", TT_WORD_FORM, AT(verdict), SETS(has_verdict), .words = &tt_result_verdicts},
};
static const struct tt_keys height_keys = TT_ANSWER_KEYS(height, NULL);
#undef T

#define T struct tt_tip_result
#define X_AND_Y .when = TT_FLAG(T, offset_determined_x), .when_y = TT_FLAG(T, offset_determined_y)
#define X_OR_Y X_AND_Y, .either = true

static const struct tt_key tip_touches[] = {
    {"read", TT_COUNT_FORM, AT(touches)},
    {"used", TT_COUNT_FORM, AT(used)},
};
static const struct tt_keys tip_touches_keys = TT_ANSWER_KEYS(tip_touches, NULL);

static const struct tt_key effect[] = {
    {"x", TT_HOOK_FORM, AT(plate_effect_x), .need = TT_REQUIRED, .hook = TT_HOOK_EFFECT},
    {"y", TT_HOOK_FORM, AT(plate_effect_y), .need = TT_REQUIRED, .hook = TT_HOOK_EFFECT},
};
static const struct tt_keys effect_keys = TT_ANSWER_KEYS(effect, NULL);

static const struct tt_key same_plate[] = {
    {"offset_mm", TT_X_Y_FORM, XY(held.x_mm, held.y_mm), X_AND_Y, .sets = TT_FLAG(T, has_held)},
    {"u_offset_mm", TT_X_Y_FORM, XY(same_plate_cov.xx_mm2, same_plate_cov.yy_mm2), X_AND_Y,
     .squared = true, .made = true},
    {"covariance_mm2", TT_HOOK_FORM, AT(same_plate_cov), X_AND_Y, .hook = TT_HOOK_COVARIANCE},
    {"dof", TT_SHORTEST_FORM, AT(same_plate_dof), X_OR_Y, .bounds = &tt_above_0,
     .absent = TT_IS_INFINITE},
    {"factor", TT_SHORTEST_FORM, AT(same_plate_factor), X_OR_Y, .bounds = &tt_not_negative},
    {"expanded_mm", TT_X_Y_FORM, XY(same_plate_expanded_x_mm, same_plate_expanded_y_mm), X_AND_Y,
     .bounds = &tt_not_negative},
    {"region", TT_OBJECT_FORM, AT(same_plate_region), X_AND_Y, .inner = &region_keys},
    {"common_u_mm", TT_X_Y_FORM, XY(common_u_x_mm, common_u_y_mm), X_AND_Y,
     .bounds = &tt_not_negative},
    {"plate_effect", TT_OBJECT_FORM, X_AND_Y, .pointer = TT_FLAG(T, plate_effect_x),
     .inner = &effect_keys},
    {"u_contact_radius_mm", TT_NUMBER_FORM, AT(same_plate_u_radius_mm), WHEN(radius_determined),
     .absent = TT_IS_NAN, .bounds = &tt_not_negative},
};
static const struct tt_keys same_plate_keys = TT_ANSWER_KEYS(same_plate, NULL);

static const struct tt_key coverage[] = {
    {"probability", TT_HOOK_FORM, .hook = TT_HOOK_PROBABILITY},
    {"dof", TT_SHORTEST_FORM, AT(dof), X_OR_Y, .bounds = &tt_above_0, .absent = TT_IS_INFINITE},
    {"factor", TT_SHORTEST_FORM, AT(factor), X_OR_Y, .bounds = &tt_not_negative},
    {"expanded_mm", TT_X_Y_FORM, XY(expanded_x_mm, expanded_y_mm), X_AND_Y,
     .bounds = &tt_not_negative},
    {"region", TT_OBJECT_FORM, AT(region), X_AND_Y, .inner = &region_keys},
};
static const struct tt_keys coverage_keys = TT_ANSWER_KEYS(coverage, NULL);

static const struct tt_key runout[] = {
    {"at_zero_mm", TT_X_Y_FORM, XY(runout.x_mm, runout.y_mm), SETS(runout_determined)},
    {"eccentricity_mm", TT_NUMBER_FORM, AT(eccentricity_mm), WHEN(runout_determined),
     .bounds = &tt_not_negative},
    {"u_mm", TT_NUMBER_FORM, AT(u_eccentricity_mm), WHEN(runout_determined),
     .bounds = &tt_not_negative},
    {"angle_deg", TT_ANGLE_FORM, AT(runout_angle_rad), WHEN(runout_determined)},
    {"u_deg", TT_ANGLE_FORM, AT(u_runout_angle_rad), WHEN(runout_determined),
     .bounds = &tt_not_negative},
    {"dof", TT_SHORTEST_FORM, AT(runout_dof), WHEN(runout_determined), .bounds = &tt_above_0,
     .absent = TT_IS_INFINITE},
    {"factor", TT_SHORTEST_FORM, AT(runout_factor), WHEN(runout_determined),
     .bounds = &tt_not_negative},
};
static const struct tt_keys runout_keys = TT_ANSWER_KEYS(runout, NULL);

static const struct tt_key conformity[] = {
    {"permitted_error_mm", TT_HOOK_FORM, .hook = TT_HOOK_PERMITTED},
    {"probability", TT_SHORTEST_FORM, AT(p_conforming), .bounds = &probability},
};
static const struct tt_keys conformity_keys = TT_ANSWER_KEYS(conformity, NULL);

static const struct tt_key tip[] = {
    {"tip", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"touches", TT_OBJECT_FORM, .inner = &tip_touches_keys},
    {"offset_mm", TT_X_Y_FORM, XY(offset.x_mm, offset.y_mm), X_AND_Y,
     .sets = TT_FLAG(T, offset_determined_x), .sets_y = TT_FLAG(T, offset_determined_y)},
    {"u_offset_mm", TT_X_Y_FORM, XY(cov.xx_mm2, cov.yy_mm2), X_AND_Y, .squared = true,
     .bounds = &tt_not_negative, .absent = TT_IS_NAN},
    {"correlation", TT_HOOK_FORM, AT(cov), X_AND_Y, .hook = TT_HOOK_CORRELATION},
    {"covariance_mm2", TT_HOOK_FORM, AT(cov), X_AND_Y, .hook = TT_HOOK_COVARIANCE},
    {"same_plate", TT_OBJECT_FORM, .inner = &same_plate_keys, .before = TT_HOOK_SAME_PLATE},
    {"coverage", TT_OBJECT_FORM, .inner = &coverage_keys},
    {"runout", TT_OBJECT_FORM, .inner = &runout_keys},
    {"contact_radius_mm", TT_NUMBER_FORM, AT(contact_radius_mm), SETS(radius_determined)},
    {"u_contact_radius_mm", TT_NUMBER_FORM, AT(u_contact_radius_mm), WHEN(radius_determined),
     .bounds = &tt_not_negative},
    {"contact_radius_dof", TT_SHORTEST_FORM, AT(radius_dof), WHEN(radius_determined),
     .absent = TT_IS_INFINITE, .bounds = &tt_above_0},
    {"contact_radius_factor", TT_SHORTEST_FORM, AT(radius_factor), WHEN(radius_determined),
     .bounds = &tt_not_negative},
    {"shape", LIST(shape, n_shape), .size = sizeof(struct tt_shape_term), .inner = &shape_keys},
    {"budget", LIST(budget, n_budget), .size = sizeof(struct tt_budget_line), .inner = &budget_keys,
     .hook = TT_HOOK_BUDGET_LINE},
    {"monte_carlo", TT_POINTER_FORM, AT(trials), .size = sizeof(struct tt_trials),
     .inner = &trials_keys},
    {"prior_share", TT_SHORTEST_FORM, AT(prior_share), .bounds = &probability},
    {"present_mm", TT_X_Y_FORM, XY(present.x_mm, present.y_mm), WHOLE(has_present)},
    {"change_mm", TT_X_Y_FORM, XY(change.x_mm, change.y_mm), X_AND_Y,
     .whole = TT_FLAG(T, has_present)},
    {"change_expanded_mm", TT_X_Y_FORM, XY(change_expanded_x_mm, change_expanded_y_mm), X_AND_Y,
     .whole = TT_FLAG(T, has_present), .absent = TT_IS_NAN, .bounds = &tt_not_negative},
    {"change_from_run", TT_TEXT_FORM, AT(change_from), WHEN(has_present)},
    {"change_on_same_plate", TT_BOOL_FORM, AT(change_on_same_plate)},
    {"p_unchanged", TT_SHORTEST_FORM, AT(p_unchanged), X_AND_Y, .whole = TT_FLAG(T, has_present),
     .bounds = &probability},
    {"conformity", TT_OBJECT_FORM, X_AND_Y, WHOLE(has_conformity), .inner = &conformity_keys},
    {"height", TT_POINTER_FORM, AT(height), .size = sizeof(struct tt_height_result),
     .inner = &height_keys},
    {"offset_verdict", TT_HOOK_FORM, AT(offset_verdict), .hook = TT_HOOK_VERDICT},
    {"verdict", TT_HOOK_FORM, AT(verdict), .hook = TT_HOOK_VERDICT},
    {"reasons", TT_HOOK_FORM, AT(reasons), .hook = TT_HOOK_REASONS},
    {"reason_codes", TT_HOOK_FORM, AT(reasons), .hook = TT_HOOK_REASON_CODES},
};
const struct tt_keys tt_result_tip_keys = TT_ANSWER_KEYS(tip, "tip");
#undef T

#define T struct tt_tip_difference
static const struct tt_key difference[] = {
    {"tip", TT_TEXT_FORM, AT(tip), .need = TT_REQUIRED},
    {"over", TT_TEXT_FORM, AT(over), .need = TT_REQUIRED},
    {"offset_mm", TT_X_Y_FORM, XY(offset.x_mm, offset.y_mm), SETS(determined)},
    {"covariance_mm2", TT_HOOK_FORM, AT(cov), WHEN(determined), .hook = TT_HOOK_COVARIANCE},
    {"dof", TT_SHORTEST_FORM, AT(dof), WHEN(determined), .absent = TT_IS_INFINITE,
     .bounds = &tt_above_0},
    {"factor", TT_SHORTEST_FORM, AT(factor), WHEN(determined), .bounds = &tt_not_negative},
    {"expanded_mm", TT_X_Y_FORM, XY(expanded_x_mm, expanded_y_mm), WHEN(determined),
     .bounds = &tt_not_negative},
    {"height_mm", TT_NUMBER_FORM, AT(height_mm), SETS(height_determined)},
    {"u_height_mm", TT_NUMBER_FORM, AT(u_height_mm), WHEN(height_determined),
     .bounds = &tt_not_negative},
    {"expanded_height_mm", TT_NUMBER_FORM, AT(expanded_height_mm), WHEN(height_determined),
     .bounds = &tt_not_negative},
};
const struct tt_keys tt_result_tip_difference_keys =
    TT_ANSWER_KEYS(difference, "difference of tips");
#undef T
