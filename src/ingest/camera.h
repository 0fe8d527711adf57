/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The machine file's "camera": the picture in pixels, and what is known of it. */
#ifndef TT_INGEST_CAMERA_H
#define TT_INGEST_CAMERA_H

#include "ingest/fields.h"
#include "model/machine.h"

/* Read "camera" of @root, if it is there; what is wrong is told. */
void tt_camera_read(struct tt_fields *fields, const cJSON *root, struct tt_camera *camera);

#endif
