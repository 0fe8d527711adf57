/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The picture and the axes of a solution, each a member of its JSON: null without. */
#ifndef TT_OUTPUT_JSON_JSON_CAMERA_H
#define TT_OUTPUT_JSON_JSON_CAMERA_H

#include "model/solution.h"
#include "output/json/json_write.h"

/* "camera". */
void tt_json_camera(struct tt_json *json, const struct tt_camera_result *camera);
/* "axes". */
void tt_json_axes(struct tt_json *json, const struct tt_axes_result *axes);

#endif
