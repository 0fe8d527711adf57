/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Stored runs brought back: as solutions, or with all that they were read from, to be solved again.
 */
#ifndef TT_APP_REVIVE_H
#define TT_APP_REVIVE_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/record.h"
#include "model/run.h"
#include "model/solution.h"
#include "tiptrue.h"

/* A stored run with what it was read from. */
struct tt_revived {
    struct tt_record record;
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_plan *plan;
    struct tiptrue_run *run;
    struct tiptrue_solution *before, *anew;
};

/* The newest result of a record, back as a solution. */
TT_MUST_USE enum tiptrue_status tt_newest_solution(const struct tt_record *record,
                                                   struct tiptrue_solution **solution,
                                                   struct tiptrue_error *error);

/* Fill the rest from revived->record. The run is as it was read: its file's name is that of the
 * stored result, so that only what the program finds can differ. TIPTRUE_E_NO_INPUT: its log or a
 * document is not there. tt_revived_clear in any case. */
TT_MUST_USE enum tiptrue_status tt_revive(struct tt_revived *revived, struct tiptrue_error *error);
void tt_revived_clear(struct tt_revived *revived);

/* The run @id solved once more, with what its stored result does not hold: revived->anew, NULL
 * where it cannot be. TIPTRUE_E_MEMORY is the only failure. */
TT_MUST_USE enum tiptrue_status tt_solve_again(struct tiptrue_history *history,
                                               struct tiptrue_workspace *workspace, const char *id,
                                               struct tt_revived *revived,
                                               struct tiptrue_error *error);

/* Derive again the summaries that a step of the schema, a merge or an import of older results left
 * to be derived, from the stored logs where the results have no solution with the plate held. */
TT_MUST_USE enum tiptrue_status tt_history_catch_up(struct tiptrue_history *history,
                                                    struct tiptrue_error *error);

#endif
