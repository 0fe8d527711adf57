/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board and a run of touches say together, as part of tiptrue.placement/1. */
#ifndef TT_OUTPUT_JSON_JOINED_JSON_H
#define TT_OUTPUT_JSON_JOINED_JSON_H

#include "model/placement.h"
#include "output/json/json_write.h"

/* More degrees of freedom than this are as good as infinitely many: null. */
#define TT_MOST_DOF 1e6

/* Key and value; null where no run was named. */
void tt_json_joined(struct tt_json *json, const struct tiptrue_placement *placement);

#endif
