/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See solved.h. The result is stored without its rows, which the log gives again. */
#include "config.h"

#include "app/solved.h"

#include <string.h>

#include "base/status.h"
#include "ingest/ingest.h"
#include "output/output.h"
#include "output/verdict.h"

static struct tt_text text_of(const struct tt_bytes *bytes)
{
    return (struct tt_text){bytes->text, bytes->length};
}

/* What the text does not hold. */
static void borrow_rest(const struct tiptrue_solution *from, struct tiptrue_solution *to)
{
    to->own_touch_mm = from->own_touch_mm;
    to->own_touch_dof = from->own_touch_dof;
    to->own_sighting_mm = from->own_sighting_mm;
    to->own_sighting_dof = from->own_sighting_dof;
    for (size_t i = 0; i < from->n_tips && i < to->n_tips; i++) {
        to->tips[i].edge_response = from->tips[i].edge_response;
    }
    for (size_t i = 0; i < from->n_edges && i < to->n_edges; i++) {
        to->edges[i].edge_response = from->edges[i].edge_response;
    }
}

enum tiptrue_status tt_solved_make(struct tt_solved *solved, const struct tiptrue_plate *plate,
                                   const struct tiptrue_machine *machine,
                                   const struct tiptrue_plan *plan, const char *pattern,
                                   const struct tiptrue_run *run,
                                   const struct tiptrue_solution *solution, double now_s,
                                   struct tiptrue_error *error)
{
    tt_time_write(now_s, solved->now);
    tt_output_json(solution, NULL, &solved->json);
    if (solved->json.failed) {
        return tt_fail_memory(error);
    }
    solved->result = (struct tt_record_result){
        .version = PACKAGE_VERSION,
        .added = solved->now,
        .verdict = tt_verdict_word(solution->verdict),
        .documents = {[TT_DOCUMENT_PLATE] = text_of(&plate->source),
                      [TT_DOCUMENT_MACHINE] = text_of(&machine->source)},
        .json = {solved->json.text, solved->json.length},
    };
    if (plan != NULL) {
        solved->result.documents[TT_DOCUMENT_PLAN] = text_of(&plan->source);
        solved->result.documents[TT_DOCUMENT_PATTERN] = (struct tt_text){pattern, strlen(pattern)};
    }
    solved->record = (struct tt_record){.added = solved->now,
                                        .log = text_of(&run->source),
                                        .results = &solved->result,
                                        .n_results = 1};
    memcpy(solved->record.id, run->id, sizeof solved->record.id);
    enum tiptrue_status status = tt_result_read_bytes(
        "new result", solved->json.text, solved->json.length, NULL, &solved->solution, error);
    if (status == TIPTRUE_OK) {
        borrow_rest(solution, solved->solution);
    }
    return status;
}

void tt_solved_clear(struct tt_solved *solved)
{
    tiptrue_solution_free(solved->solution);
    tt_buffer_clear(&solved->json);
}
