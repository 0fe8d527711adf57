/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The "motion" part of a machine file: how the machine moves for a touch. Nothing of it has a
 * default: what is not there is not known, and only a motion program needs it. */
#ifndef TT_INGEST_MOTION_H
#define TT_INGEST_MOTION_H

#include "ingest/fields.h"
#include "model/machine.h"

/* From the member "motion" of @root, if there is one. */
void tt_motion_read(struct tt_fields *fields, const cJSON *root, struct tt_motion *motion);

#endif
