/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files of the daily question share. */
#ifndef TT_APP_READY_H
#define TT_APP_READY_H

#include <stdbool.h>
#include <stddef.h>

#include "base/status.h"
#include "model/machine.h"
#include "model/ready.h"
#include "model/record.h"
#include "model/run.h"

/* Whether @run may be judged now. TIPTRUE_E_DATA: it is stale, lies ahead, or the history has a
 * later run of the machine, which is known already (*later false: nobody entered this one yet, so
 * that it is judged, and refused afterwards). */
TT_MUST_USE enum tiptrue_status tt_ready_admit(struct tiptrue_history *history,
                                               const struct tiptrue_machine *machine,
                                               const struct tiptrue_run *run,
                                               const struct tiptrue_ready_options *options,
                                               bool *later, struct tiptrue_error *error);
/* TIPTRUE_E_DATA, told: the history has a later run of the machine. */
enum tiptrue_status tt_ready_not_last(const struct tiptrue_run *run, struct tiptrue_error *error);

/* Hold the run, which is in @history, against those before it. */
TT_MUST_USE enum tiptrue_status tt_ready_compare(struct tiptrue_ready *ready,
                                                 struct tiptrue_history *history,
                                                 struct tiptrue_error *error);

/* What an export wrote, against what stands there. */

/* Which axes of @tip's offset in use are what @new, the values of an export (JSON: FIELD to text),
 * says: axis[0] x, axis[1] y are set where they are, and else left. Of a tip that the export only
 * left as it was (@old says the same; its text may be NULL) nothing is said. */
void tt_values_match(struct tt_text old, struct tt_text new, const struct tt_tip *tip,
                     bool axis[2]);

/* Whether @tip's height in use is what @new says, or @new says nothing of it; *written is set where
 * it does, and else left. */
bool tt_height_matches(struct tt_text new, const struct tt_tip *tip, bool *written);

#endif
