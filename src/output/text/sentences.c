/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See sentences.h. A sentence is a template of the table below, the first one of its code that
 * fits: {key}      the value under that key, with its unit ("27 µm", "1.234 mm", "3.40°", "12 %")
 *     {tip} {edge} {setup}   what the finding is about
 *     {lines}    "line 17", "lines 17, 31 and 40": the rows it is about
 *     {values}   all values with their keys, for codes that still have no words of their own
 *     [ ... ]    left out where a {key} in it has no value
 * A template with a kind fits findings whose value `what` or `kind` is that word; one without fits
 * all. */
#include "config.h"

#include "output/text/sentences.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "model/words.h"
#include "output/verdict.h"

struct template
{
    enum tt_finding_code code;
    const char *kind; /* NULL: any */
    const char *text;
};

#define CHANGED                                                                                    \
    "the offset of '{tip}' differs from the one in use by {change} ({x} in x, {y} in y), more "    \
    "than the "                                                                                    \
    "{most} that are plausible"
#define TIMES " (misfit {misfit} instead of {misfit_as_read})"
#define ACCEPT "; if it is right, solve with --accept-change"

static const struct template TEMPLATES[] = {
    {TT_FINDING_DOES_NOT_FIT, "sightings",
     "sightings repeat to {found}, and {stated} is stated ({lines} is the worst): a wrong mark was "
     "sighted, or 'sighting' in the machine file is wrong; sight the marks again"},
    {TT_FINDING_DOES_NOT_FIT, "sightings-aside",
     "{aside} of {of} sightings disagree with the others: which are right cannot be told. Sight "
     "every mark again, twice"},
    {TT_FINDING_DOES_NOT_FIT, "touches",
     "{gross} of {of} touches of '{tip}' are off by more than {most} ({lines}), which no contact "
     "is: check the edges' names and the columns of the log"},
    {TT_FINDING_DOES_NOT_FIT, "marks",
     "the marks lie further from their stated places than their u allows (chi-squared {chi2}, "
     "{dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check which "
     "marks were sighted, and their places in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, "edges",
     "the edges lie further from their stated places than their u allows (chi-squared {chi2}, "
     "{dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check their "
     "places and u in the plate file, and the targets in the log"},
    {TT_FINDING_DOES_NOT_FIT, "groups",
     "the groups of edges lie further from their stated places than their u allows (chi-squared "
     "{chi2}, {dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check "
     "its u in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, "square",
     "the run fits only if the machine's axes are not square, by {over_100} over 100 mm: check the "
     "axes, or the marks' places in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, "scale",
     "the run fits only if x and y have different scales, by {over_100} over 100 mm: check the "
     "axes' steps per millimetre, or the marks' places in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, NULL,
     "the run does not fit what was stated ({values}): check the plate file, the machine file and "
     "the columns of the log"},
    {TT_FINDING_LATE_CONTACT, "alone",
     "nothing in this run contradicts the touch of '{tip}' on edge '{edge}' ({lines}) if it is "
     "late by {late}, which moves the offset by {effect}, {times_u} times its uncertainty: touch "
     "that edge three times or more, at rotations spread over the turn"},
    {TT_FINDING_IMPLAUSIBLE, "repeatability",
     "touches repeat to {found} only, and {most} is the most that is believed: look for a loose "
     "tip, a loose plate, a bad contact, or columns of the log mixed up"},
    {TT_FINDING_IMPLAUSIBLE, "uncertainty",
     "the offset of '{tip}' is uncertain by {found} even on this plate, and {most} is the most "
     "that is believed: touch more edges in both directions at more rotations, and check the "
     "stated uncertainties and units"},
    {TT_FINDING_IMPLAUSIBLE, "uncertainty-total",
     "the offset of '{tip}' is uncertain by {found}, and {most} is the most that is believed: "
     "check the "
     "'u' and 'tolerance' of the plate file (are they in its units?), or measure the plate"},
    {TT_FINDING_IMPLAUSIBLE, "radius-negative",
     "the contact radius of '{tip}' comes out as {found}: are free sides exchanged in the plate "
     "file, or has the controller taken the tip's radius off already?"},
    {TT_FINDING_IMPLAUSIBLE, "radius-diameter",
     "'{tip}' has a contact radius of {found}, and {stated} is stated: is that the diameter? "
     "Correct 'radius' in the machine file"},
    {TT_FINDING_IMPLAUSIBLE, "radius-halved",
     "'{tip}' has a contact radius of {found}, and {stated} is stated, half of it: correct "
     "'radius' in the machine file, or check the edges' places"},
    {TT_FINDING_IMPLAUSIBLE, "radius-opening",
     "'{tip}' comes out {found} wide, and touched two edges that are {most} apart and face each "
     "other: check the edges' free sides and places in the plate file, and the targets in the log"},
    {TT_FINDING_IMPLAUSIBLE, "runout",
     "'{tip}' comes out with a runout of {found}, and {most} is the most that is believed: change "
     "the "
     "tip if it is bent; else check the rotations in the log (unit, sense, gear) and its targets"},
    {TT_FINDING_IMPLAUSIBLE, "shape",
     "'{tip}' comes out with {order} lobes of {found}, and no tip of its radius can have more than "
     "{most}: check the rotations and targets in the log, and the plate file"},
    {TT_FINDING_IMPLAUSIBLE, "rotations-radians",
     "all rotations in the log are within {range} of each other: are they in radians? The log "
     "states degrees"},
    {TT_FINDING_IMPLAUSIBLE, "temperature",
     "a temperature of {found} ({where}[, {lines}]) is no room's: is it in {unit}? Degrees Celsius "
     "are read"},
    {TT_FINDING_IMPLAUSIBLE, "expansion",
     "'expansion_ppm_per_K' of the plate file is {found}, less than any material has: was {meant} "
     "meant?"},
    {TT_FINDING_IMPLAUSIBLE, "offset-zero",
     "the offset of '{tip}' is only {found}: were the tip's own positions logged, instead of the "
     "head's? If the tip is in the camera's axis, state its 'offset' in the machine file"},
    {TT_FINDING_IMPLAUSIBLE, "same-tip",
     "'{tip}' and '{other}' come out at one place ({apart} apart): was one tip touched twice? If "
     "both go on one holder, state the 'offset' of each in the machine file"},
    {TT_FINDING_IMPLAUSIBLE, "statement",
     "'{tip}' would be kept, but '{field}'[ of '{of}'] is {stated}, more than {most}: is it in "
     "another unit? Correct it"},
    {TT_FINDING_IMPLAUSIBLE, NULL,
     "[the result of '{tip}' ]cannot be right ({values}): check the files and the log"},
    {TT_FINDING_EDGE_OFF, "off",
     "edge '{edge}' lies {off} further {way} than its stated u of {u} allows; the other edges "
     "agree with each other, and its place was not used. Look for a film or a burr on it, or "
     "measure the plate again"},
    {TT_FINDING_EDGE_OFF, "far",
     "edge '{edge}' lies {off} further {way} than the plate file says; the other edges agree with "
     "each other, and its place was not used. Correct its place in the plate file, or its name in "
     "the log"},
    {TT_FINDING_EDGE_OFF, "out",
     "most touches on edge '{edge}' are off by more than {most}, which no film is: check its place "
     "in the plate file, and its name in the log"},
    {TT_FINDING_SCATTERED, "sighting",
     "the sighting of mark '{mark}' in {lines} is off by {off} and was left out: look for a soiled "
     "mark, poor light or a loose camera, or another mark in its place"},
    {TT_FINDING_LATE_CONTACT, "uneven",
     "the touches kept on edge '{edge}' scatter more than the others': late and good ones cannot "
     "be told apart there. Clean edge and tip (film, flux, swarf) and repeat"},
    {TT_FINDING_LATE_CONTACT, "little",
     "so many touches disagree that the rest says little of the offset: clean edges and tips "
     "(film, flux, swarf), check the contact circuit, and repeat"},
    {TT_FINDING_AMBIGUOUS, NULL,
     "two explanations fit this run about as well (odds {odds} to 1), and the offset[ of '{tip}'] "
     "differs by {x} in x and {y} in y between them: {best}; or {rival}. Clean edges and tips, "
     "check what is named, and repeat; more edges or more rotations would tell them apart"},
    {TT_FINDING_MARKS_OFF, "mark",
     "mark '{mark}' lies {off} from its stated place, whose u is {u}, as the other sightings and "
     "the touches see it: check that it was this mark that was sighted, and its place in the plate "
     "file"},
    {TT_FINDING_MARKS_OFF, NULL,
     "the marks as sighted do not lie as the plate file says ({values}): check which marks were "
     "sighted, and their coordinates in the plate file"},
    {TT_FINDING_RADIUS_OFF, "freed",
     "'{tip}' has a contact radius of {found}, and {stated} with a u of {u} is stated; the "
     "statement was not used. Check that it is this tip, and its 'radius' in the machine file"},
    {TT_FINDING_RADIUS_OFF, NULL,
     "'{tip}' has a contact radius of {found}, and {stated} with a u of {u} is stated: check that "
     "it is this tip, and its 'radius' in the machine file"},
    {TT_FINDING_MIRRORED, "plate-mirrored",
     "the run would fit if the plate were mirrored" TIMES
     ": check the signs of x and the free sides in the plate file; is the plate upside down?"},
    {TT_FINDING_MIRRORED, "x-sign",
     "the run would fit if x were counted the other way" TIMES
     ": check the machine's axes and the log"},
    {TT_FINDING_MIRRORED, "y-sign",
     "the run would fit if y were counted the other way" TIMES
     ": check the machine's axes and the log"},
    {TT_FINDING_MIRRORED, "xy-exchanged",
     "the run would fit if x and y were exchanged" TIMES ": check the columns of the log"},
    {TT_FINDING_MIRRORED, "edges-exchanged",
     "the run would fit if edges '{first}' and '{second}' were exchanged[ in the rows of "
     "'{tip}']" TIMES ": check the targets in the log, and the plate file"},
    {TT_FINDING_MIRRORED, "edges-turned",
     "the run would fit if each edge had the name of its neighbour" TIMES
     ": check the targets in the log, and how the plate is turned"},
    {TT_FINDING_MIRRORED, "marks-exchanged",
     "the run would fit if marks '{first}' and '{second}' were exchanged" TIMES
     ": check which mark was sighted, and the plate file"},
    {TT_FINDING_MIRRORED, "rotations-halved",
     "the run would fit if the tips turned by half of what is logged" TIMES
     ": check the gear of the rotation"},
    {TT_FINDING_MIRRORED, "rotations-doubled",
     "the run would fit if the tips turned by twice what is logged" TIMES
     ": check the gear of the rotation"},
    {TT_FINDING_MIRRORED, "radii",
     "the run would fit with other contact radii than those stated ('{tip}': {found} instead of "
     "{stated})" TIMES
     ": has the controller taken the radius off already, or is 'radius' a diameter?"},
    {TT_FINDING_MIRRORED, NULL,
     "the run would fit if it were taken otherwise ({values}): check log, plate file and machine "
     "file"},
    {TT_FINDING_TIPS_EXCHANGED, "offset",
     "'{first}' is where '{second}' should be, and the other way round: check which tip is on "
     "which holder, and the 'tip' column"},
    {TT_FINDING_TIPS_EXCHANGED, NULL,
     "'{first}' has the radius of '{second}', and the other way round: check which tip is on which "
     "holder, and the 'tip' column"},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "other-tip",
     CHANGED ": it is that of '{other}'. Check which tip was touched, and the 'tip' column" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "all-tips",
     CHANGED ", as all tips did: check the camera, and which mark was sighted" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "zero",
     CHANGED
     ", to nearly nothing: were the tip's own positions logged, instead of the head's?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "negative",
     CHANGED ", to the negative of the one in use: which of them has the wrong sign?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "xy-exchanged",
     CHANGED
     ", to the one in use with x and y exchanged: check the columns of the log and the machine "
     "file" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "x-sign",
     CHANGED ", to the one in use with the sign of x changed: is x counted the other way?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "y-sign",
     CHANGED ", to the one in use with the sign of y changed: is y counted the other way?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "quarter-turn",
     CHANGED
     ", to the one in use turned by a quarter: does the plate lie turned, and which marks were "
     "sighted?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "inch",
     CHANGED ", by the factor 25.4: check 'units' in machine file and log" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "accepted", CHANGED "; this was accepted"},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, NULL,
     CHANGED ": check the plate file, the marks sighted, and whether the tip was changed" ACCEPT},
    {TT_FINDING_ROTATION_SLIP, NULL,
     "the runout of '{tip}' changed within the run, from {lines} on: eccentricity {before} before, "
     "{after} after, turned by {turned}. Its rotation slipped, or it was bent; both parts were "
     "taken into account, and the runout given is the later one. Check belt, coupling and motor"},
    {TT_FINDING_CORRELATED_TOUCHES, NULL,
     "touches that follow each other err alike (correlation {correlation} in {touches} touches): "
     "the uncertainty was enlarged accordingly. Let the machine warm up, clean tip and edges, and "
     "touch the edges in turn instead of one after the other"},
    {TT_FINDING_REPEATED_ROWS, NULL,
     "the log holds {rows} rows twice (lines {first} to {last}); they were counted once: was a "
     "part pasted or appended again?"},
    {TT_FINDING_SEVERAL_LOGS, NULL, "{logs} logs were solved as one run: {where}"},
    {TT_FINDING_NOT_TOUCHED, NULL,
     "'{tip}' of the machine file was not touched: touch it, or name the tips that are wanted "
     "(--tip), or state 'in_use': false of it"},
    {TT_FINDING_OTHER_MACHINE, NULL,
     "the log is of machine '{log}', the machine file of '{file}': read the run with its own "
     "files"},
    {TT_FINDING_OTHER_PLATE, NULL,
     "the log is of plate '{log}', the plate file of '{file}': read the run with its own files"},
    {TT_FINDING_FIT_DISAGREES, NULL,
     "direct fits of the contacts disagree with the adjustment ({values}): do not use the result, "
     "and report this"},
    {TT_FINDING_EDGE_FILM, NULL,
     "[edge '{edge}' ]makes contact later than in earlier runs ({values}): clean it and repeat"},
};

/* @value with its unit, as people read it. */
static void put_value(struct tt_buffer *buffer, const struct tt_value *value)
{
    double size = fabs(value->number);

    if (value->text != NULL) {
        tt_buffer_puts(buffer, value->text);
        return;
    }
    if (isnan(value->number)) {
        tt_buffer_puts(buffer, "?");
        return;
    }
    switch (value->unit) {
    case TT_UNIT_MM:
        if (size < 0.9995) {
            tt_words_um(buffer, value->number);
        } else {
            tt_number_write_fixed(buffer, value->number, 3, false);
            tt_buffer_puts(buffer, " mm");
        }
        return;
    case TT_UNIT_RAD:
        tt_words_deg(buffer, value->number, tt_deg_from_rad(size) < 9.995 ? 2 : 1);
        return;
    case TT_UNIT_SHARE:
        tt_words_percent(buffer, value->number);
        return;
    case TT_UNIT_NONE:
    case TT_UNIT_S:
    case TT_UNIT_C:
    case TT_UNIT_PPM:
    case TT_UNIT_PPM_PER_K:
    case TT_UNITS:
        break;
    }
    static const char *const SIGNS[TT_UNITS] = {[TT_UNIT_S] = " s",
                                                [TT_UNIT_C] = " \xc2\xb0"
                                                              "C",
                                                [TT_UNIT_PPM] = " ppm",
                                                [TT_UNIT_PPM_PER_K] = " ppm/K"};
    /* four significant digits or so: what is counted here is small, and a factor needs no more */
    tt_number_write_rounded(buffer, value->number, size < 1 ? 4 : size < 100 ? 2 : 0);
    tt_buffer_puts(buffer, SIGNS[value->unit] != NULL ? SIGNS[value->unit] : "");
}

/* "late 3, of 12, depth 27 µm" */
static void put_values(struct tt_buffer *buffer, const struct tt_finding *finding)
{
    for (size_t i = 0; i < finding->n_values; i++) {
        tt_buffer_puts(buffer, i > 0 ? ", " : "");
        for (const char *c = finding->values[i].key; *c != '\0'; c++) {
            tt_buffer_putc(buffer, *c == '_' ? ' ' : *c);
        }
        tt_buffer_putc(buffer, ' ');
        put_value(buffer, &finding->values[i]);
    }
}

/* The name of what the finding is about by @word ("tip", "edge", "setup"), or NULL. */
static const char *subject(const struct tiptrue_solution *s, const struct tt_finding *finding,
                           const char *word)
{
    if (strcmp(word, "tip") == 0) {
        return tt_finding_tip(s, finding);
    }
    if (strcmp(word, "edge") == 0) {
        return tt_finding_edge(s, finding);
    }
    return strcmp(word, "setup") == 0 ? tt_finding_setup(s, finding) : NULL;
}

/* What stands for {@word}; false: nothing. */
static bool put_word(struct tt_buffer *buffer, const struct tiptrue_solution *s,
                     const struct tt_finding *finding, const char *word)
{
    const struct tt_value *value = tt_finding_value(finding, word);
    const char *name = subject(s, finding, word);

    if (value != NULL && value->text != NULL && value->text[0] == '\0') {
        return false;
    }
    if (value != NULL) {
        put_value(buffer, value);
    } else if (name != NULL) {
        tt_buffer_puts(buffer, name);
    } else if (strcmp(word, "lines") == 0 && finding->n_lines > 0) {
        tt_words_lines(buffer, finding->lines, finding->n_lines);
    } else if (strcmp(word, "values") == 0) {
        put_values(buffer, finding);
    } else {
        return false;
    }
    return true;
}

/* The text from @text up to @end, a template's own; false: something in it has no value. */
static bool put_part(struct tt_buffer *buffer, const struct tiptrue_solution *s,
                     const struct tt_finding *finding, const char *text, const char *end)
{
    bool whole = true;

    while (text < end) {
        const char *close = *text == '{' ? strchr(text, '}') : NULL;
        char word[TT_LONGEST_KEY + 1] = {0};
        if (close == NULL) {
            tt_buffer_putc(buffer, *text++);
            continue;
        }
        memcpy(word, text + 1, (size_t)(close - text - 1));
        whole = put_word(buffer, s, finding, word) && whole;
        text = close + 1;
    }
    return whole;
}

static void put_template(struct tt_buffer *buffer, const struct tiptrue_solution *s,
                         const struct tt_finding *finding, const char *text)
{
    while (*text != '\0') {
        if (*text != '[') {
            const char *end = text + strcspn(text, "[");
            (void)put_part(buffer, s, finding, text, end);
            text = end;
            continue;
        }
        const char *end = strchr(text, ']');
        struct tt_buffer part = {0};
        if (put_part(&part, s, finding, text + 1, end) && part.length > 0) {
            tt_buffer_add(buffer, part.text, part.length);
        }
        buffer->failed = buffer->failed || part.failed;
        tt_buffer_clear(&part);
        text = end + 1;
    }
}

static bool fits(const struct template *template, const struct tt_finding *finding)
{
    const struct tt_value *what = tt_finding_value(finding, "what");
    const struct tt_value *kind = what != NULL ? what : tt_finding_value(finding, "kind");

    return template->code == finding->code &&
           (template->kind == NULL ||
            (kind != NULL && kind->text != NULL && strcmp(kind->text, template->kind) == 0));
}

void tt_sentence(struct tt_buffer *buffer, const struct tiptrue_solution *solution,
                 const struct tt_finding *finding)
{
    for (size_t i = 0; i < sizeof TEMPLATES / sizeof TEMPLATES[0]; i++) {
        if (fits(&TEMPLATES[i], finding)) {
            put_template(buffer, solution, finding, TEMPLATES[i].text);
            return;
        }
    }
    put_values(buffer, finding); /* a code whose text is made where it is found */
}

/* The text of @buffer, kept in the solution; NULL: out of memory. @buffer is emptied. */
static const char *keep(struct tiptrue_solution *s, struct tt_buffer *buffer)
{
    const char *text = buffer->failed || buffer->text == NULL
                           ? NULL
                           : tt_arena_copy_text(&s->arena, buffer->text, buffer->length);

    tt_buffer_reset(buffer);
    return text;
}

static bool is_about(const struct tiptrue_solution *s, const struct tt_finding *finding,
                     const struct tt_tip_result *tip)
{
    const char *name = tt_finding_tip(s, finding);

    return finding->severity == TIPTRUE_ERROR && (name == NULL || strcmp(name, tip->name) == 0);
}

/* The reasons of a tip that is to be measured again are the errors about it (adjust/verdict.c). */
static bool give_reasons(struct tiptrue_solution *s, struct tt_tip_result *tip,
                         struct tt_buffer *buffer)
{
    bool good = true;

    tip->reasons = TT_ARENA_NEW(&s->arena, s->n_findings, const char *);
    tip->n_reasons = 0;
    for (size_t i = 0; i < s->n_findings && good && tip->reasons != NULL; i++) {
        if (is_about(s, &s->findings[i], tip)) {
            tt_buffer_printf(buffer, "%s: %s", tt_finding_name(s->findings[i].code),
                             s->findings[i].text);
            const char *text = keep(s, buffer);
            good = text != NULL;
            tip->reasons[tip->n_reasons] = text;
            tip->n_reasons += good;
        }
    }
    return good && tip->reasons != NULL;
}

enum tiptrue_status tt_sentences(struct tiptrue_solution *solution)
{
    struct tt_buffer buffer = {0};
    bool any = false, good = true;

    for (size_t i = 0; i < solution->n_findings && good; i++) {
        struct tt_finding *finding = &solution->findings[i];
        if (finding->text != NULL) {
            continue;
        }
        any = true;
        tt_sentence(&buffer, solution, finding);
        finding->text = keep(solution, &buffer);
        good = finding->text != NULL;
    }
    any = any && !solution->least_squares; /* then nothing has reasons */
    for (size_t i = 0; i < solution->n_tips && any && good; i++) {
        if (solution->tips[i].verdict == TIPTRUE_REPEAT) {
            good = give_reasons(solution, &solution->tips[i], &buffer);
        }
    }
    tt_buffer_clear(&buffer);
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
