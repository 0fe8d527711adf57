/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The prose about the parts of a board. */
#include "config.h"

#include <string.h>

#include "output/text/sentences.h"
#include "output/text/template.h"
#include "output/verdict.h"

#define OFF "by {x} in x and {y} in y (u {u_x}, {u_y}; probability {probability})"

#define ELSEWHERE "half of the parts were found {apart} or more from where they were wanted"
#define IF "; they were found within {fits_within} if "

static const struct tt_template TEMPLATES[] = {
    {TT_FINDING_IMPLAUSIBLE, "placed-exchanged",
     ELSEWHERE IF "found_x and found_y are exchanged: exchange these columns"},
    {TT_FINDING_IMPLAUSIBLE, "placed-mirrored",
     ELSEWHERE IF
     "they are mirrored: an axis of the measuring device counts the other way, or the "
     "board was measured from below; give found_x and found_y in the machine's directions"},
    {TT_FINDING_IMPLAUSIBLE, "placed-turned",
     ELSEWHERE IF "the board is turned by a quarter or half a turn: it lay so in the measuring "
                  "device; give found_x and found_y in the machine's directions"},
    {TT_FINDING_IMPLAUSIBLE, "placed-deviations",
     ELSEWHERE IF "found_x and found_y are deviations: add x and y to them"},
    {TT_FINDING_IMPLAUSIBLE, "placed-inches",
     ELSEWHERE IF "found_x and found_y are in inches, and x and y in mm: give all in one unit"},
    {TT_FINDING_IMPLAUSIBLE, "placed-millimetres",
     ELSEWHERE IF "found_x and found_y are in mm, and x and y in inches: give all in one unit"},
    {TT_FINDING_IMPLAUSIBLE, "placed-next-row",
     ELSEWHERE IF "found_x and found_y stand a row too low: put them back beside their parts"},
    {TT_FINDING_IMPLAUSIBLE, "placed-row-before",
     ELSEWHERE IF "found_x and found_y stand a row too high: put them back beside their parts"},
    {TT_FINDING_IMPLAUSIBLE, "placed-elsewhere",
     ELSEWHERE ", beside what their tips have in common: are they those of this board, in these "
               "units, and in this order? Nothing was learned from them"},
    {TT_FINDING_IMPLAUSIBLE, "placed-copied",
     "{parts} of {of} parts were found exactly where they were wanted, to the last digit, and the "
     "others were not: copied, not measured? Measure them, or leave found_x and found_y empty"},
    {TT_FINDING_OFFSET_OFF, "only-tip",
     "all parts are off alike, " OFF ". With one tip on the board its offset cannot be told from "
     "the camera and the board's seat: look at the board's marks first, then run solve; parts of a "
     "second tip would tell them apart"},
    {TT_FINDING_OFFSET_OFF, "relative",
     "the parts of '{tip}' are off against those of the other tips, " OFF " from the mean of all "
     "tips: its offset is off; touch the plate with it, run solve and update the offset"},
    {TT_FINDING_OFFSET_OFF, NULL,
     "every part of '{tip}' is off alike, " OFF ": its offset is off; touch the plate with it, run "
     "solve and update the offset"},
    {TT_FINDING_ALL_TIPS_OFF, NULL,
     "the parts of all tips are off alike, " OFF ": the camera, the board's seat or all offsets; "
     "look at the board's marks first, then run solve"},
    {TT_FINDING_TURNING, NULL,
     "what the parts of '{tip}' are off by turns with their rotation: {x} in x and {y} in y at "
     "rotation 0 (u {u_x}, {u_y}; probability {probability}): the tip's runout or its rotation "
     "centre; run solve with more rotations"},
    {TT_FINDING_GRID_OFF, NULL,
     "parts are off the more the further they are from the middle, by up to {over_100} over 100 mm "
     "(scale {scale_x} in x, {scale_y} in y, shear {shear_mm_per_m} mm/m[, turn {turn_mm_per_m} "
     "mm/m]; probability {probability}): scale, squareness or turn of the axes or of the camera; "
     "check them with marks at known places"},
    {TT_FINDING_ROTATION_ZERO, NULL,
     "parts of '{tip}' are turned by {error} (u {u}; probability {probability}) against what was "
     "asked for: set the tip's rotation zero"},
    {TT_FINDING_MOVED_BOARD, "creep",
     "the parts lie further and further off along the file, from the first to the last by {x} in "
     "x, {y} in y and {turn} (probability {probability}): heat, or something slipping, moved the "
     "board, the camera or the measuring device meanwhile; let the machine warm up, clamp the "
     "board, then place and measure again (in another order, if rows follow places: scale or "
     "squareness of the axes may look alike then)"},
    {TT_FINDING_MOVED_BOARD, NULL,
     "from line {line} on the parts lie elsewhere, by {x} in x, {y} in y and {turn} (probability "
     "{probability}): the board, the camera or the measuring device moved while parts were placed "
     "or measured, or the offsets in use were changed; clamp the board, then place and measure "
     "again"},
    {TT_FINDING_SLIPPED_PARTS, "many",
     "{parts} of {of} parts of '{tip}' disagree with the others ({lines}): which are right cannot "
     "be told. Clean or replace the tip, check its vacuum, and place them again"},
    {TT_FINDING_SLIPPED_PARTS, NULL,
     "left out as slipped: {parts} of {of} parts of '{tip}' ({lines}); clean the tip, check its "
     "vacuum and the paste; replace it if that does not help"},
    {TT_FINDING_SCATTERED, "placed-tip",
     "'{tip}' places to {repeatability}, all tips together to {of_all}: clean it, check its "
     "vacuum; replace it if that does not help"},
    {TT_FINDING_FEW_PARTS, "board",
     "too few parts ({parts}) to know how well parts repeat: place five parts of each tip or "
     "more, at four rotations"},
    {TT_FINDING_FEW_PARTS, "tip",
     "too few parts of '{tip}' ({parts}): place five or more, at four rotations"},
    {TT_FINDING_FEW_PARTS, NULL,
     "the parts of '{tip}' scatter so much that their mean is known within {mean_within} only, and "
     "{permitted} is permitted: clean the tip, check its vacuum, and place more parts"},
    {TT_FINDING_AMBIGUOUS, "placed-terms",
     "two explanations fit the parts: {first} (probability {probability}), or {rival} "
     "({rival_probability}); check both, or place the parts that tell them apart"},
    {TT_FINDING_UNDETERMINED, "placed-rotations",
     "the offset of '{tip}' cannot be told from what turns with the part: its parts have too few "
     "rotations (u of the offset {u}); place parts at four quarter turns"},
    {TT_FINDING_UNDETERMINED, "placed-frame",
     "the offset of '{tip}' cannot be told: the places are in the board's frame, and there is one "
     "tip; give places in the machine's frame, state the board's seat ('# board_u:'), or place "
     "parts with a second tip"},
    {TT_FINDING_UNDETERMINED, "placed-grid",
     "scale, shear and turn of the board cannot be told: the parts lie in a line or too close; "
     "place parts at its corners"},
    {TT_FINDING_NOT_NORMAL, NULL,
     "the errors of '{tip}' in {axis} are not normally distributed: Cp and Cpk would mislead and "
     "are not given; the share within the limits holds"},
    {TT_FINDING_UNDETERMINED, "placed-seat",
     "the board adds nothing to run {run}: how well its seat and the measuring device are known is "
     "not stated, and differences need two tips; state '# board_u:' and '# device_u:'"},
    {TT_FINDING_CONFIRMED, "differences",
     "the board agrees with run {run} (the differences of tips disagree this much by chance "
     "{probability} of the time); its seat and the measuring device are not stated ('# board_u:', "
     "'# device_u:'), so that only differences of tips count"},
    {TT_FINDING_CONFIRMED, NULL,
     "the board agrees with run {run} (they disagree this much by chance {probability} of the "
     "time)"},
    {TT_FINDING_CONTRADICTED, NULL,
     "the board and run {run} contradict each other, most about '{tip}', by {x} in x and {y} in y "
     "(chance: {probability}): something moved between them, other offsets were in use, or a "
     "stated uncertainty is too small (the plate's, board_u, device_u); repeat the run, then place "
     "another board"},
    {TT_FINDING_OTHER_MACHINE, "board",
     "the board was placed on machine '{log}', the machine file is of '{file}': use its own file"},
};

const struct tt_templates tt_placement_templates = {TEMPLATES,
                                                    sizeof TEMPLATES / sizeof TEMPLATES[0]};

static void put_term(struct tt_buffer *buffer, const struct tiptrue_placement *placement,
                     struct tt_term term)
{
    static const char *const words[TT_TERM_KINDS] = {
        [TT_TERM_COMMON] = "all tips off alike",
        [TT_TERM_OFFSET] = "the offset of ",
        [TT_TERM_TURNING] = "the turning of ",
        [TT_TERM_SCALE] = "the scale",
        [TT_TERM_SCALE_X] = "the scale in x",
        [TT_TERM_SCALE_Y] = "the scale in y",
        [TT_TERM_SHEAR] = "the shear",
        [TT_TERM_TURN] = "the turn of the board",
        [TT_TERM_ANGLE_COMMON] = "the rotation zero of all tips",
        [TT_TERM_MOVE] = "a move",
        [TT_TERM_ANGLE] = "the rotation zero of ",
    };
    tt_buffer_puts(buffer, words[term.kind]);
    if (term.tip != TT_NONE) {
        tt_buffer_printf(buffer, "'%s'", placement->tip_names[term.tip]);
    }
}

void tt_words_explanation(struct tt_buffer *buffer, const struct tiptrue_placement *placement,
                          const struct tt_board_explanation *explanation)
{
    for (size_t i = 0; i < explanation->n_terms; i++) {
        tt_buffer_puts(buffer, i == 0 ? "" : i + 1 < explanation->n_terms ? ", " : " and ");
        put_term(buffer, placement, explanation->terms[i]);
    }
    if (explanation->n_terms == 0) {
        tt_buffer_puts(buffer, "nothing");
    }
}

/* The values of a finding about rivals and, in words, what these are. */
static bool with_rivals(struct tiptrue_placement *placement, struct tt_buffer *buffer,
                        struct tt_finding *finding)
{
    const struct tt_value *rival = tt_finding_value(finding, "explanation");
    size_t n = finding->n_values;
    struct tt_value *values = TT_ARENA_NEW(&placement->arena, n + 2, struct tt_value);
    if (values == NULL || rival == NULL) {
        return false;
    }
    memcpy(values, finding->values, n * sizeof(*values));
    tt_words_explanation(buffer, placement, &placement->explanations[0]);
    values[n] = TT_TEXT("first", tt_buffer_keep(buffer, &placement->arena));
    tt_words_explanation(buffer, placement, &placement->explanations[(size_t)rival->number - 1]);
    values[n + 1] = TT_TEXT("rival", tt_buffer_keep(buffer, &placement->arena));
    finding->values = values;
    finding->n_values = n + 2;
    return values[n].text != NULL && values[n + 1].text != NULL;
}

enum tiptrue_status tt_placement_sentences(struct tiptrue_placement *placement)
{
    struct tt_buffer buffer = {0};
    bool good = true;
    for (size_t i = 0; i < placement->n_findings && good; i++) {
        struct tt_finding told = placement->findings[i];
        struct tiptrue_solution names = tt_placement_names(placement);
        if (told.code == TT_FINDING_AMBIGUOUS) {
            good = with_rivals(placement, &buffer, &told);
        }
        tt_sentence(&buffer, &names, &told);
        placement->findings[i].text = tt_buffer_keep(&buffer, &placement->arena);
        good = good && placement->findings[i].text != NULL;
    }
    tt_buffer_clear(&buffer);
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
