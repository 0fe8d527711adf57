/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* "camera" and "axes" of a truth. */
#ifndef TT_INGEST_TRUTH_PICTURE_H
#define TT_INGEST_TRUTH_PICTURE_H

#include "ingest/fields.h"
#include "model/truth.h"

/* Read the member of the document's root, if it is there; what is wrong is told. */
void tt_truth_read_picture(struct tt_fields *fields, struct tt_truth_camera *camera);
void tt_truth_read_axes(struct tt_fields *fields, struct tt_truth_axes *axes);

#endif
