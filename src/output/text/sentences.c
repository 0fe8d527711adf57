/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See sentences.h. A sentence is a template of the table below, the first one of its code that fits:
 *     {key}      the value under that key, with its unit ("27 µm", "1.234 mm", "3.40°", "12 %")
 *     {tip} {edge} {setup}   what the finding is about
 *     {lines}    "line 17", "lines 17, 31 and 40": the rows it is about
 *     {values}   all values with their keys, for codes that still have no words of their own
 *     [ ... ]    left out where a {key} in it has no value
 * A template with a kind fits findings whose value `what` or `kind` is that word; one without fits all. */
#include "config.h"

#include "output/text/sentences.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "model/words.h"
#include "output/verdict.h"

struct template {
    enum tt_finding_code code;
    const char *kind; /* NULL: any */
    const char *text;
};

static const struct template TEMPLATES[] = {
    {TT_FINDING_DOES_NOT_FIT, NULL,
     "the run does not fit what was stated ({values}): check the plate file, the machine file and the "
     "columns of the log"},
    {TT_FINDING_IMPLAUSIBLE, NULL,
     "[the result of '{tip}' ]cannot be right ({values}): check the files and the log"},
    {TT_FINDING_AMBIGUOUS, NULL,
     "two explanations fit this run alike, and the offset depends on which one is true ({values}): "
     "touch more edges, or check the plate"},
    {TT_FINDING_MARKS_OFF, NULL,
     "the marks as sighted do not lie as the plate file says ({values}): check which marks were "
     "sighted, and their coordinates in the plate file"},
    {TT_FINDING_RADIUS_OFF, NULL,
     "the contact radius[ of '{tip}'] is not the one stated ({values}): check the tip, and its "
     "'radius' in the machine file"},
    {TT_FINDING_MIRRORED, NULL,
     "the run fits if the plate or the machine is taken otherwise ({values}): check the files"},
    {TT_FINDING_TIPS_EXCHANGED, NULL,
     "the run fits if tips are exchanged ({values}): check which tip is on which holder"},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, NULL,
     "the offset[ of '{tip}'] changed by more than is plausible ({values}): check the files and the "
     "tip, and repeat"},
    {TT_FINDING_ROTATION_SLIP, NULL,
     "the rotation[ of '{tip}'] slipped during the run ({values}): check belt and motor, and repeat"},
    {TT_FINDING_CORRELATED_TOUCHES, NULL,
     "neighbouring touches err alike ({values}): the uncertainty was enlarged"},
    {TT_FINDING_REPEATED_ROWS, NULL, "the log repeats rows ({values}), which were counted once"},
    {TT_FINDING_NOT_TOUCHED, NULL, "'{tip}' was not touched in this run"},
    {TT_FINDING_OTHER_MACHINE, NULL, "the log is of another machine ({values})"},
    {TT_FINDING_OTHER_PLATE, NULL, "the log is of another plate ({values})"},
    {TT_FINDING_FIT_DISAGREES, NULL,
     "direct fits of the contacts disagree with the adjustment ({values}): do not use the result, and "
     "report this"},
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
                                                [TT_UNIT_C] = " \xc2\xb0" "C",
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
static bool give_reasons(struct tiptrue_solution *s, struct tt_tip_result *tip, struct tt_buffer *buffer)
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
    for (size_t i = 0; i < solution->n_tips && any && good; i++) {
        if (solution->tips[i].verdict == TIPTRUE_REPEAT) {
            good = give_reasons(solution, &solution->tips[i], &buffer);
        }
    }
    tt_buffer_clear(&buffer);
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
