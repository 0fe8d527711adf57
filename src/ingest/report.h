/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The reports of a controller's log, as the pattern finds them. Knows no plan. */
#ifndef TT_INGEST_REPORT_H
#define TT_INGEST_REPORT_H

#include <stdbool.h>

#include "ingest/pattern.h"
#include "model/plan.h"

struct tt_report {
    const char *at; /* where it stands in the log */
    size_t line;
    const char *id; /* NUL-terminated, as printed; NULL if the pattern has none */
    double x, y, z; /* in the log's unit */
    int decimals;   /* digits behind the point, of x or y, whichever has more */
    int decimals_z; /* of z */
    double rotation_deg, feed, temperature_C; /* feed: of the log's unit, per minute */
    struct tt_cell time;                      /* as printed; of no length: none */
    double px, py;                            /* pixels */
    int pixel_decimals;
    bool has_z, contact, has_pixels, has_rotation, has_feed, has_temperature;
    bool repeats; /* x, y and z equal those of the report before */
};

struct tt_reports {
    struct tt_report *items; /* in the arena */
    size_t count;
};

/* All reports of the log, at most one a line. Wrong ones are told. @largest: of a coordinate, in
 * the log's unit. */
TT_MUST_USE enum tiptrue_status tt_reports_read(struct tt_pattern *pattern,
                                                struct tt_diagnose *diagnose, double largest,
                                                struct tt_arena *arena, struct tt_reports *reports,
                                                struct tiptrue_error *error);

/* Where a log and its plan part, when the reports are not as many as the moves. */

/* Tell it as a fault, with the two innocent reasons. The counts differ and neither is 0. false: out
 * of memory. */
bool tt_parting_tell(struct tt_diagnose *diagnose, const struct tiptrue_plan *plan,
                     const struct tt_reports *reports, struct tt_arena *arena);

#endif
