/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "output/text/template.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "output/text/words.h"
#include "output/verdict.h"

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
        tt_words_length(buffer, value->number);
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
void tt_template_values(struct tt_buffer *buffer, const struct tt_finding *finding)
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

typedef void put_fn(struct tt_buffer *buffer, const struct tt_finding *finding,
                    const struct tt_value *value);

static void put_um(struct tt_buffer *buffer, const struct tt_finding *finding,
                   const struct tt_value *value)
{
    (void)finding;
    tt_words_um(buffer, value->number);
}

/* Of a value over that of "limit". */
static void put_over(struct tt_buffer *buffer, const struct tt_finding *finding,
                     const struct tt_value *value)
{
    const struct tt_value *limit = tt_finding_value(finding, "limit");

    tt_words_um_over(buffer, value->number, limit != NULL ? limit->number : 0);
}

static void put_ms(struct tt_buffer *buffer, const struct tt_finding *finding,
                   const struct tt_value *value)
{
    (void)finding;
    tt_words_ms(buffer, 1e3 * value->number);
}

static void put_factor(struct tt_buffer *buffer, const struct tt_finding *finding,
                       const struct tt_value *value)
{
    (void)finding;
    tt_words_factor(buffer, value->number);
}

/* Of one explanation against another: two significant digits or so. */
static void put_odds(struct tt_buffer *buffer, const struct tt_finding *finding,
                     const struct tt_value *value)
{
    (void)finding;
    tt_number_write_fixed(buffer, value->number, value->number < 9.95 ? 1 : 0, false);
}

/* A factor next to 1. */
static void put_scale(struct tt_buffer *buffer, const struct tt_finding *finding,
                      const struct tt_value *value)
{
    (void)finding;
    tt_number_write_fixed(buffer, value->number, 5, false);
}

static void put_whole_deg(struct tt_buffer *buffer, const struct tt_finding *finding,
                          const struct tt_value *value)
{
    (void)finding;
    tt_words_deg(buffer, value->number, 0);
}

static void put_fine_deg(struct tt_buffer *buffer, const struct tt_finding *finding,
                         const struct tt_value *value)
{
    (void)finding;
    tt_words_deg(buffer, value->number, 2);
}

static void put_direction(struct tt_buffer *buffer, const struct tt_finding *finding,
                          const struct tt_value *value)
{
    (void)finding;
    tt_words_direction(buffer, cos(value->number), sin(value->number));
}

static void put_opposite(struct tt_buffer *buffer, const struct tt_finding *finding,
                         const struct tt_value *value)
{
    (void)finding;
    tt_words_direction(buffer, -cos(value->number), -sin(value->number));
}

/* Not determined: there is more than one. */
static void put_line(struct tt_buffer *buffer, const struct tt_finding *finding,
                     const struct tt_value *value)
{
    (void)finding;
    if (isnan(value->number)) {
        tt_buffer_puts(buffer, "x and y");
    } else {
        tt_words_line(buffer, cos(value->number), sin(value->number));
    }
}

/* What a value that is a word means. */
static const struct {
    const char *word, *phrase;
} PHRASES[] = {
    {"x", "x"},
    {"y", "y"},
    {"xy", "x and y"},
    {"mm-as-inch", "the log is in millimetres but read as inches, or the plate file is in inches "
                   "but read as millimetres"},
    {"inch-as-mm", "the log is in inches but read as millimetres, or the plate file is in "
                   "millimetres but read as inches"},
    {"micrometres", "the log is in micrometres"},
    {"metres", "the log is in metres"},
    {"limit", "limit"},
    {"permitted-error", "permitted error"},
    {"nothing", "touch more often"},
    {"plate", "most of it is the plate's own: measure the plate, or add a second setup with the "
              "plate turned by 180\xc2\xb0"},
    {"scatter", "most of it is scatter: touch more often, and clean tip and edges"},
    {"stated", "most of it is a stated value: touch what would replace it, or state it better"},
};

static const char *phrase(const char *word)
{
    for (size_t i = 0; word != NULL && i < sizeof PHRASES / sizeof PHRASES[0]; i++) {
        if (strcmp(PHRASES[i].word, word) == 0) {
            return PHRASES[i].phrase;
        }
    }
    return word != NULL ? word : "?";
}

static void put_phrase(struct tt_buffer *buffer, const struct tt_finding *finding,
                       const struct tt_value *value)
{
    (void)finding;
    tt_buffer_puts(buffer, phrase(value->text));
}

static void put_shape(struct tt_buffer *buffer, const struct tt_finding *finding,
                      const struct tt_value *value)
{
    static const char *const SHAPES[] = {[2] = "oval",
                                         [3] = "three-lobed",
                                         [4] = "four-lobed",
                                         [5] = "five-lobed",
                                         [6] = "six-lobed"};
    size_t order = (size_t)value->number;

    (void)finding;
    tt_buffer_puts(buffer, order >= 2 && order < sizeof SHAPES / sizeof SHAPES[0] ? SHAPES[order]
                                                                                  : "not round");
}

/* Behind the key and a colon: in another way than put_value's. */
static const struct {
    const char *name;
    put_fn *put;
} FORMATS[] = {
    {"um", put_um},         {"over", put_over},     {"ms", put_ms},        {"factor", put_factor},
    {"deg", put_whole_deg}, {"fine", put_fine_deg}, {"to", put_direction}, {"back", put_opposite},
    {"line", put_line},     {"phrase", put_phrase}, {"shape", put_shape},  {"scale", put_scale},
    {"odds", put_odds},
};

static void put_formatted(struct tt_buffer *buffer, const struct tt_finding *finding,
                          const struct tt_value *value, const char *format)
{
    for (size_t i = 0; i < sizeof FORMATS / sizeof FORMATS[0]; i++) {
        if (strcmp(FORMATS[i].name, format) == 0) {
            FORMATS[i].put(buffer, finding, value);
            return;
        }
    }
}

/* The directions of the values KEY_1, KEY_2, ... in a row, each behind @before, @between them. */
static void put_list(struct tt_buffer *buffer, const struct tt_finding *finding, const char *key,
                     const char *before, const char *between)
{
    const struct tt_value *value;
    char numbered[TT_LONGEST_KEY + 1];

    for (size_t i = 1;; i++) {
        snprintf(numbered, sizeof numbered, "%s_%zu", key, i);
        if ((value = tt_finding_value(finding, numbered)) == NULL) {
            return;
        }
        tt_buffer_puts(buffer, i == 1 ? before : between);
        put_direction(buffer, finding, value);
    }
}

/* What stands for {@word}, or for {@word:@format} where that is not NULL; false: nothing. */
static bool put_word(struct tt_buffer *buffer, const struct tiptrue_solution *s,
                     const struct tt_finding *finding, const char *word, const char *format)
{
    const struct tt_value *value = tt_finding_value(finding, word);
    const char *name = subject(s, finding, word);

    if (value != NULL && value->text != NULL && value->text[0] == '\0') {
        return false;
    }
    if (value != NULL && format != NULL) {
        put_formatted(buffer, finding, value, format);
        return value->text != NULL || !isnan(value->number);
    }
    if (value != NULL) {
        put_value(buffer, value);
        return value->text != NULL || !isnan(value->number);
    }
    if (name != NULL) {
        tt_buffer_puts(buffer, name);
    } else if (strcmp(word, "lines") == 0 && finding->n_lines > 0) {
        tt_words_lines(buffer, finding->lines, finding->n_lines);
    } else if (strcmp(word, "values") == 0) {
        tt_template_values(buffer, finding);
    } else if (strcmp(word, "facing") == 0) {
        put_list(buffer, finding, word, "edges facing ", ", ");
    } else if (strcmp(word, "missing") == 0) {
        put_list(buffer, finding, word, "one that faces ", " and one that faces ");
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
        const char *close =
            *text == '{' && islower((unsigned char)text[1]) ? strchr(text, '}') : NULL;
        char word[TT_LONGEST_KEY + 1] = {0};
        if (close == NULL) {
            tt_buffer_putc(buffer, *text++);
            continue;
        }
        memcpy(word, text + 1, (size_t)(close - text - 1));
        char *colon = strchr(word, ':');
        if (colon != NULL) {
            *colon = '\0';
        }
        whole = put_word(buffer, s, finding, word, colon != NULL ? colon + 1 : NULL) && whole;
        text = close + 1;
    }
    return whole;
}

void tt_template_put(struct tt_buffer *buffer, const struct tiptrue_solution *s,
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
            bool first = part.text[0] == ',' && buffer->length > 1 &&
                         buffer->text[buffer->length - 2] == ':'; /* of a list: no comma before */
            tt_buffer_add(buffer, part.text + 2 * first, part.length - 2 * first);
        }
        buffer->failed = buffer->failed || part.failed;
        tt_buffer_clear(&part);
        text = end + 1;
    }
}

bool tt_template_names(const char *text, const char *word)
{
    size_t length = strlen(word);

    while ((text = strchr(text, '{')) != NULL) {
        text++;
        if (strncmp(text, word, length) == 0 && text[length] == '}') {
            return true;
        }
    }
    return false;
}
