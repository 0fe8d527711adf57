/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where a log and its plan part, when the reports are not as many as the moves. */
#ifndef TT_INGEST_PARTING_H
#define TT_INGEST_PARTING_H

#include <stdbool.h>

#include "ingest/report.h"
#include "model/plan.h"

/* Tell it as a fault, with the two innocent reasons. The counts differ and neither is 0. false: out
 * of memory. */
bool tt_parting_tell(struct tt_diagnose *diagnose, const struct tiptrue_plan *plan,
                     const struct tt_reports *reports, struct tt_arena *arena);

#endif
