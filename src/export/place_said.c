/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is said of a place that is not one value: what stands there, in how many lines. */
#include "config.h"

#include <stdio.h>
#include <string.h>

#include "export/place_kinds.h"

struct tt_shown tt_config_shown(const struct tt_config_text *config, const char *text,
                                size_t length)
{
    struct tt_shown shown = tt_shown(text, length);
    for (char *c = shown.text; !config->utf8 && *c != '\0'; c++) {
        *c = (unsigned char)*c < 0x80 ? *c : '?';
    }
    return shown;
}

size_t tt_config_text_line(const struct tt_config_text *config, size_t at)
{
    size_t line = 1;
    for (const char *end = config->text + at, *c = config->text;
         (c = memchr(c, '\n', (size_t)(end - c))) != NULL; c++) {
        line++;
    }
    return line;
}

void tt_list_add(struct tt_list *list, const char *text)
{
    static const char MORE[] = "; ...";
    size_t length = strlen(text), separator = list->length > 0 ? 2 : 0;
    if (list->full || list->length + separator + length + sizeof MORE > sizeof(list->text)) {
        if (!list->full) {
            memcpy(list->text + list->length, MORE, list->length > 0 ? sizeof MORE : 1);
        }
        list->full = true;
        return;
    }
    memcpy(list->text + list->length, "; ", separator);
    memcpy(list->text + list->length + separator, text, length);
    list->length += separator + length;
    list->text[list->length] = '\0';
}

void tt_list_add_line(struct tt_list *list, const struct tt_config_text *config, size_t at)
{
    const char *first = config->text + at, *end = first + strcspn(first, "\r\n");
    char line[120];
    while (first > config->text && first[-1] != '\n' && config->text + at - first < 24) {
        first--;
    }
    first += strspn(first, " \t");
    snprintf(line, sizeof(line), "line %zu: '%s'", tt_config_text_line(config, at),
             first < end ? tt_config_shown(config, first, (size_t)(end - first)).text : "");
    tt_list_add(list, line);
}

enum tiptrue_status tt_place_missing(const struct tt_config_text *config, const char *place,
                                     const char *what_is_there, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_CONFIG, config->name, 0, 0,
                   what_is_there[0] != '\0' ? what_is_there : NULL, "no value found at '%s'",
                   place);
}

enum tiptrue_status tt_place_doubled(const struct tt_config_text *config, const char *place,
                                     size_t count, const struct tt_list *where,
                                     struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_CONFIG, config->name, 0, 0, where->text,
                   "place '%s' is %zu values, where one is meant; make the place narrower", place,
                   count);
}
