/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a camera with a known truth sees, and what axes with a known truth report. */
#ifndef TT_PLANNING_PICTURE_H
#define TT_PLANNING_PICTURE_H

#include "model/machine.h"
#include "model/truth.h"

/* Whether the truth's axes are off at all. */
bool tt_axes_are_off(const struct tt_truth_axes *axes);

/* The reported place of what is truly at @place, both counted from @from, which is reported where
 * it is. */
struct tt_machine_xy tt_axes_report(const struct tt_truth_axes *axes, struct tt_machine_xy place,
                                    struct tt_machine_xy from);
/* And the true place of what is reported at @reported. */
struct tt_machine_xy tt_axes_truth(const struct tt_truth_axes *axes, struct tt_machine_xy reported,
                                   struct tt_machine_xy from);

/* The camera as its machine file states it. */
struct tt_truth_camera tt_camera_stated(const struct tt_camera *camera);

/* Where the camera sees, on the board and counted from its centre, what is at pixel (@px, @py). */
struct tt_machine_xy tt_picture_place(const struct tt_truth_camera *truth,
                                      const struct tt_camera *camera, double px, double py);
/* The pixel at which it sees what is at @place, likewise. */
void tt_picture_pixel(const struct tt_truth_camera *truth, const struct tt_camera *camera,
                      struct tt_machine_xy place, double *px, double *py);

#endif
