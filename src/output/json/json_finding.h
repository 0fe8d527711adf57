/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings as JSON, whatever document they are part of. */
#ifndef TT_OUTPUT_JSON_JSON_FINDING_H
#define TT_OUTPUT_JSON_JSON_FINDING_H

#include "model/solution.h"
#include "output/json/json_write.h"

/* "findings": [...], of @s: of it only findings and the names they count in are read. */
void tt_json_findings(struct tt_json *json, const struct tiptrue_solution *s);

#endif
