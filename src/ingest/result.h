/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the two files that read a result have in common: members that may be null or missing. */
#ifndef TT_INGEST_RESULT_H
#define TT_INGEST_RESULT_H

#include "ingest/fields.h"
#include "model/solution.h"

/* A number of @lowest to @highest (told in words), else as tt_result_number: what no computation
 * gives was written by hand. */
bool tt_result_number_in(struct tt_fields *fields, const cJSON *object, const char *what,
                         const char *key, double lowest, double highest, double *value);

/* A finite number; false where it is null, missing or wrong (told). */
bool tt_result_number(struct tt_fields *fields, const cJSON *object, const char *what,
                      const char *key, double *value);
/* A whole number of at least 0; 0 where there is none. */
size_t tt_result_count(struct tt_fields *fields, const cJSON *object, const char *what,
                       const char *key);
/* {"x": ..., "y": ...}: which of the two are there. @object may be NULL: neither. */
struct tt_result_xy {
    bool has_x, has_y;
    double x, y;
};
struct tt_result_xy tt_result_xy(struct tt_fields *fields, const cJSON *object, const char *what,
                                 const char *key);
/* Degrees, as radians; 0 where there are none. */
double tt_result_angle(struct tt_fields *fields, const cJSON *object, const char *what,
                       const char *key);
bool tt_result_bool(struct tt_fields *fields, const cJSON *object, const char *what,
                    const char *key);
/* The array, with its length (0 where there is none). */
const cJSON *tt_result_array(struct tt_fields *fields, const cJSON *object, const char *what,
                             const char *key, size_t *n);

/* "keep", "update", "repeat"; told if it is another word or missing. A result of @least_squares has
 * none: TIPTRUE_REPEAT, whatever an older program wrote there. */
enum tiptrue_verdict tt_result_verdict(struct tt_fields *fields, const cJSON *object,
                                       const char *key, const char *what, bool least_squares);

/* [[xx, xy], [xy, yy]]; false where it is missing or wrong (told). */
bool tt_result_covariance(struct tt_fields *fields, const cJSON *object, const char *what,
                          struct tt_cov2 *cov);

/* Parts of the solution with the plate held. The features come first: a tip's effects count in
 * them. */
void tt_result_read_features(struct tt_fields *fields, struct tiptrue_solution *solution);
void tt_result_read_effects(struct tt_fields *fields, const cJSON *same_plate, const char *what,
                            size_t n_features, struct tt_tip_result *tip);
void tt_result_read_marks(struct tt_fields *fields, struct tiptrue_solution *solution);
/* What results of earlier versions do not have: NaN, mm. */
void tt_result_later(struct tt_fields *fields, const cJSON *item, const char *what, const char *key,
                     double *value_mm);
void tt_result_read_between_tips(struct tt_fields *fields, struct tiptrue_solution *solution);

/* Touches from above: "height" of a tip, and "surface". */
void tt_result_read_height(struct tt_fields *fields, const cJSON *tip, const char *what,
                           struct tt_tip_result *made);
void tt_result_read_surface(struct tt_fields *fields, struct tiptrue_solution *solution);

/* "lost_motion", "latency", "camera" and "axes". */
void tt_result_read_terms(struct tt_fields *fields, struct tiptrue_solution *solution);

/* An element of "tips". */
void tt_result_read_tip(struct tt_fields *fields, const cJSON *object,
                        struct tiptrue_solution *solution, struct tt_tip_result *tip);
/* What the tips' reasons are: a tip's errors among the findings, in their order, or what its
 * numbers say. A result of an older program has no more than their texts. */
void tt_result_sort_reasons(struct tiptrue_solution *solution);

#endif
