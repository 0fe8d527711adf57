/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words of verdicts, severities and statuses, and the names behind a finding's numbers: the
 * same in text and JSON. */
#ifndef TT_OUTPUT_VERDICT_H
#define TT_OUTPUT_VERDICT_H

#include "model/placement.h"
#include "model/solution.h"

/* "keep", "update", "repeat"; static. */
const char *tt_verdict_word(enum tiptrue_verdict verdict);
/* The same for people: "none" where @solution has no verdict, since the robust step was off;
 * static. */
const char *tt_verdict_shown(const struct tiptrue_solution *solution, enum tiptrue_verdict verdict);
/* "KEEP" and so on: what a verdict is opened with; static. */
const char *tt_verdict_shout(enum tiptrue_verdict verdict);
/* "note", "warning", "error"; static. */
const char *tt_severity_word(enum tiptrue_severity severity);
/* "usage", "data", "no-input", ...: the codes of tiptrue.error/1; static. */
const char *tt_status_word(enum tiptrue_status status);

/* Names of what @finding is about, NULL = not about one. They live as long as the solution. */
const char *tt_finding_edge(const struct tiptrue_solution *solution,
                            const struct tt_finding *finding);
const char *tt_finding_tip(const struct tiptrue_solution *solution,
                           const struct tt_finding *finding);
const char *tt_finding_setup(const struct tiptrue_solution *solution,
                             const struct tt_finding *finding);

/* What the findings of @placement are read with: of the solution only findings and the names of
 * tips are set. All of it is borrowed. */
struct tiptrue_solution tt_placement_names(const struct tiptrue_placement *placement);

#endif
