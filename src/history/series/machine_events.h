/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Changes of the machine itself over the weeks: focus, turn of the camera, axes. */
#ifndef TT_HISTORY_SERIES_MACHINE_EVENTS_H
#define TT_HISTORY_SERIES_MACHINE_EVENTS_H

#include "base/status.h"
#include "model/series.h"
#include "model/trend.h"

/* The most events that tt_machine_events adds to those of @series. */
size_t tt_machine_events_room(const struct tt_series *series);

/* Add to trend->events, which have room, a `focus-moved`, `camera-turned` or `axes-changed` at each
 * run of @series (sorted) from which on the picture's scale, its turn or a number of the axes is
 * another; and put all events in the order of time. trend->changes must stand: a camera that turned
 * when all offsets moved is told so. */
TT_MUST_USE enum tiptrue_status tt_machine_events(struct tiptrue_trend *trend,
                                                  const struct tt_series *series);

#endif
