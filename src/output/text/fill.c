/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Texts for the findings and reasons of a solution, kept in it. */
#include "config.h"

#include "output/text/sentences.h"

#include <string.h>

#include "output/text/words.h"

void tt_sentence_reason(struct tt_buffer *buffer, const struct tiptrue_solution *s,
                        const struct tt_tip_result *tip, enum tt_reason_code code, bool figures)
{
    static const char *const SENTENCES[TT_REASON_CODES] = {
        [TT_REASON_NOTHING_PRESENT] = "there is no offset in use to compare with",
        [TT_REASON_WITHIN] = "the offset in use is within ",
        [TT_REASON_NOT_WITHIN] = "the offset in use may be off by more than ",
        [TT_REASON_UNCHANGED] = "no permitted error is stated; the change is not significant",
        [TT_REASON_CHANGED] = "no permitted error is stated; the change is significant",
        [TT_REASON_NO_HEIGHT_PRESENT] = "there is no height in use to compare with",
        [TT_REASON_HEIGHT_WITHIN] = "the height in use is within ",
        [TT_REASON_HEIGHT_NOT_WITHIN] = "the height in use may be off by more than ",
        [TT_REASON_HEIGHT_UNCHANGED] =
            "no permitted error of heights is stated; the change of height is not significant",
        [TT_REASON_HEIGHT_CHANGED] =
            "no permitted error of heights is stated; the change of height is significant"};
    bool within = code == TT_REASON_WITHIN || code == TT_REASON_HEIGHT_WITHIN;
    bool height = code == TT_REASON_HEIGHT_WITHIN || code == TT_REASON_HEIGHT_NOT_WITHIN;
    bool conformity = height || within || code == TT_REASON_NOT_WITHIN;
    tt_buffer_puts(buffer, SENTENCES[code] != NULL ? SENTENCES[code] : "");
    if (conformity) {
        tt_words_um(buffer, height ? tip->height->permitted_error_mm : s->permitted_error_mm);
        tt_buffer_puts(buffer, within ? " of the true one" : "");
    }
    if (figures && code != TT_REASON_NOTHING_PRESENT && code != TT_REASON_NO_HEIGHT_PRESENT) {
        tt_buffer_puts(buffer, conformity ? " (chance that it is within: " : " (probability ");
        tt_words_percent(buffer, tt_reason_probability(tip, code));
        tt_buffer_puts(buffer, conformity ? "; 95 % needed)" : " by chance)");
    }
}

/* The text of one reason, for programs and for people who read one tip only. */
static bool give_reason(struct tiptrue_solution *s, const struct tt_tip_result *tip,
                        struct tt_reason *reason, struct tt_buffer *buffer)
{
    if (reason->text != NULL) {
        return true;
    }
    if (reason->code == TT_REASON_FINDING) {
        tt_buffer_printf(buffer, "%s: %s", tt_finding_name(reason->finding->code),
                         reason->finding->text);
    } else if (reason->finding != NULL) {
        tt_sentence(buffer, s, reason->finding);
    } else {
        tt_sentence_reason(buffer, s, tip, reason->code, true);
    }
    reason->text = tt_buffer_keep(buffer, &s->arena);
    return reason->text != NULL;
}

/* @ is the name, # the number, $ the number of all. */
static const char *const CLAUSES[] = {
    [TT_CLAUSE_ALL_GOOD] = "every touch is good and all is as stated",
    [TT_CLAUSE_SOME_TOUCHES] = "only single touches are off",
    [TT_CLAUSE_EDGE_LATE] = "edge '@' late as a whole",
    [TT_CLAUSE_EDGE_OFF] = "edge '@' not where the plate file says",
    [TT_CLAUSE_EDGE_OUT] = "no touch of edge '@' good",
    [TT_CLAUSE_SIGHTING] = "the sighting of line # off",
    [TT_CLAUSE_MARK] = "mark '@' not where the plate file says",
    [TT_CLAUSE_RADIUS] = "the stated contact radius of '@' wrong",
    [TT_CLAUSE_RADII] = "the stated contact radii of all tips wrong",
    [TT_CLAUSE_MOVED] = "the plate moved at line #",
    [TT_CLAUSE_CAMERA] = "the camera moved at line #",
    [TT_CLAUSE_TIP] = "'@' moved at line #",
    [TT_CLAUSE_TIPS] = "all tips moved at line #",
    [TT_CLAUSE_SLIPPED] = "the rotation of '@' slipped at line #",
    [TT_CLAUSE_DRIFTED] = "the plate drifted",
    [TT_CLAUSE_LOST_MOTION] = "the axes have reversal error",
    [TT_CLAUSE_LATENCY] = "contacts depend on the feed",
    [TT_CLAUSE_NOT_ROUND] = "'@' not round",
    [TT_CLAUSE_REVERSED] = "rotation counted the other way",
    [TT_CLAUSE_NOT_SQUARE] = "the axes not square",
    [TT_CLAUSE_SCALES] = "x and y to different scales",
    [TT_CLAUSE_AXES] = "the axes not true to scale or not square",
    [TT_CLAUSE_DISTORTED] = "the picture distorted towards its corners",
    [TT_CLAUSE_TURNED] = "the plate turned by #\xc2\xb0",
    [TT_CLAUSE_FACE] = "the end of '@' not square",
    [TT_CLAUSE_PAD] = "pad '@' not at its stated height",
    [TT_CLAUSE_HEIGHTS_DRIFTED] = "all heights drift",
    [TT_CLAUSE_HEIGHTS_MOVED] = "all heights change at line #",
    [TT_CLAUSE_TOUCHES] = "# of edge '@'",
    [TT_CLAUSE_OTHER_TOUCHES] = "# others of edge '@'",
    [TT_CLAUSE_TOUCHES_OF_ALL] = "# of $ touches off",
    [TT_CLAUSE_EDGE] = "'@'",
    [TT_CLAUSE_LOG] = "line # is line 1 of '@'",
};

/* Such as "edge 'left' late as a whole, and the sighting of line 12 off". */
static void say_clauses(struct tt_buffer *buffer, const struct tt_clauses *clauses)
{
    for (size_t k = 0; k < clauses->n; k++) {
        const struct tt_clause *clause = &clauses->clause[k];
        tt_buffer_puts(buffer, k == 0 ? "" : clause->code >= TT_CLAUSE_TOUCHES ? ", " : ", and ");
        for (const char *c = CLAUSES[clause->code]; *c != '\0'; c++) {
            if (*c == '@') {
                tt_buffer_puts(buffer, clause->name);
            } else if (*c == '#' || *c == '$') {
                tt_buffer_printf(buffer, "%zu", *c == '#' ? clause->number : clause->of);
            } else {
                tt_buffer_putc(buffer, *c);
            }
        }
    }
}

/* The values of @finding that are clauses, in words. */
static bool give_clauses(struct tiptrue_solution *s, struct tt_finding *finding,
                         struct tt_buffer *buffer)
{
    struct tt_value *values = TT_ARENA_NEW(&s->arena, finding->n_values, struct tt_value);
    bool good = values != NULL;

    for (size_t i = 0; i < finding->n_values && good; i++) {
        values[i] = finding->values[i];
        if (values[i].clauses != NULL) {
            tt_buffer_puts(buffer, ""); /* no clause: an empty text, where NULL is no memory */
            say_clauses(buffer, values[i].clauses);
            values[i].text = tt_buffer_keep(buffer, &s->arena);
            good = values[i].text != NULL;
        }
    }
    finding->values = good ? values : finding->values;
    return good;
}

enum tiptrue_status tt_sentences(struct tiptrue_solution *solution)
{
    struct tt_buffer buffer = {0};
    bool good = true;

    for (size_t i = 0; solution != NULL && i < solution->n_findings && good; i++) {
        struct tt_finding *finding = &solution->findings[i];
        if (finding->text == NULL && give_clauses(solution, finding, &buffer)) {
            tt_sentence(&buffer, solution, finding);
            finding->text = tt_buffer_keep(&buffer, &solution->arena);
        }
        good = finding->text != NULL;
    }
    for (size_t i = 0; solution != NULL && i < solution->n_tips && good; i++) {
        struct tt_tip_result *tip = &solution->tips[i];
        for (size_t k = 0; k < tip->n_reasons && good; k++) {
            good = give_reason(solution, tip, &tip->reasons[k], &buffer);
        }
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
