/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What limits a plan, in words. */
#include "config.h"

#include "base/status.h"
#include "output/text/sentences.h"
#include "output/text/words.h"

static void note_plate(struct tt_buffer *buffer, const struct tt_note *note)
{
    tt_words_um(buffer, note->u_mm);
    tt_buffer_printf(buffer, " (standard) of the full uncertainty of tip '%s' is ", note->tip);
    if (note->group != NULL) {
        tt_buffer_printf(buffer, "the shift of the plate's group '%s'", note->group);
    } else {
        tt_buffer_puts(buffer, note->source == TT_BUDGET_GROUPS ? "the shift of the plate's groups"
                               : note->source == TT_BUDGET_EDGES
                                   ? "the places of the plate's edges"
                                   : "the places of the plate's marks");
    }
    tt_buffer_puts(buffer, note->second_setup_helps
                               ? ": more touches do not help; a second setup turned by 180 degrees "
                                 "does (--setups 2), or measuring the plate"
                               : ": more touches do not help; measuring the plate does");
}

void tt_sentence_note(struct tt_buffer *buffer, const struct tiptrue_proposal *proposal,
                      const struct tt_note *note)
{
    switch (note->code) {
    case TT_NOTE_FINDING:
        tt_buffer_puts(buffer, proposal->expected->findings[note->index].text);
        break;
    case TT_NOTE_UNUSABLE:
        tt_buffer_puts(buffer, proposal->solved->findings[note->index].text);
        break;
    case TT_NOTE_SIGHTINGS:
    case TT_NOTE_STATED:
        tt_buffer_printf(buffer, "the target is not reached for tip '%s': %s limits it (",
                         note->tip, tt_budget_source(note->source));
        tt_words_um(buffer, note->u_mm);
        tt_buffer_printf(buffer, " standard): %smore touches will not%s",
                         note->code == TT_NOTE_SIGHTINGS ? "more sightings will help, " : "",
                         note->code == TT_NOTE_SIGHTINGS ? "" : " help");
        break;
    case TT_NOTE_PLATE:
        note_plate(buffer, note);
        break;
    }
}

enum tiptrue_status tt_output_refusal(const struct tiptrue_proposal *proposal, const char *file,
                                      struct tiptrue_error *error)
{
    const struct tiptrue_solution *expected = proposal->expected;
    const char *why =
        expected->n_findings > 0 ? expected->findings[0].text : "its edges do not suffice";

    if (proposal->refusal == TT_REFUSED_UNUSED) {
        return tt_fail(error, TIPTRUE_E_DEGENERATE, file, 0, 0, "more edges, or better known ones",
                       "no run on this plate would be used: %s", why);
    }
    return tt_fail(error, TIPTRUE_E_DEGENERATE, file, 0, 0,
                   "edges in two directions, and marks that tell where the plate lies",
                   "no touches on this plate determine the offset: %s", why);
}
