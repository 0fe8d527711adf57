/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which notation a place is in, and what the finders share. */
#include "config.h"

#include "export/place.h"

#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "base/utf8.h"
#include "export/place_kinds.h"
#include "ingest/diagnose.h"

struct tt_config {
    struct tt_config_text text;
    size_t mark; /* bytes of the byte order mark before it */
    struct tt_json_places *json;
    struct tt_xml_places *xml;
};

enum notation { JSON_POINTER, XPATH, SECTION_KEY, PATTERN };

enum tiptrue_status tt_config_new(const char *name, const char *text, size_t length,
                                  struct tt_config **config, struct tiptrue_error *error)
{
    struct tt_config *made;
    struct tt_diagnose diagnose;
    if (memchr(text, '\0', length) != NULL) {
        return tt_fail(error, TIPTRUE_E_CONFIG, name, 0, 0,
                       "UTF-8 and other codes that extend ASCII can be edited, UTF-16 cannot",
                       "holds NUL bytes: this is not text, or it is UTF-16");
    }
    made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    made->mark = tt_byte_order_mark(text, length);
    made->text = (struct tt_config_text){name, text + made->mark, length - made->mark, false};
    tt_diagnose_init(&diagnose, NULL, NULL, name, made->text.text, made->text.length);
    made->text.utf8 = tt_text_check(&diagnose);
    *config = made;
    return TIPTRUE_OK;
}

void tt_config_free(struct tt_config *config)
{
    if (config != NULL) {
        tt_json_places_free(config->json);
        tt_xml_places_free(config->xml);
        free(config);
    }
}

static enum notation notation_of(const struct tt_config_text *config, const char *place)
{
    char first = config->text[strspn(config->text, " \t\r\n")];
    if (place[0] == '~') {
        return PATTERN;
    }
    if (first == '<') {
        return XPATH;
    }
    if (first == '{' || (first == '[' && tt_json_places_can_read(config))) {
        return JSON_POINTER;
    }
    /* what begins like a pointer was meant for JSON: its reader says why the text is none */
    return place[0] == '/' || place[0] == '\0' ? JSON_POINTER : SECTION_KEY;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static void pass_blanks(const char **first, const char **end)
{
    while (*first < *end && is_blank(**first)) {
        (*first)++;
    }
    while (*end > *first && is_blank((*end)[-1])) {
        (*end)--;
    }
}

/* @span without blanks at its ends, a pair of quotation marks around what is left, and blanks
 * within them. */
static struct tt_span bare(const struct tt_config_text *config, struct tt_span span)
{
    const char *first = config->text + span.at, *end = first + span.length;
    pass_blanks(&first, &end);
    if (end - first >= 2 && (*first == '"' || *first == '\'') && end[-1] == *first) {
        first++;
        end--;
        pass_blanks(&first, &end);
    }
    return (struct tt_span){(size_t)(first - config->text), (size_t)(end - first)};
}

enum tiptrue_status tt_config_find(struct tt_config *config, const char *place,
                                   struct tt_span *span, struct tiptrue_error *error)
{
    struct tt_span found = {0, 0};
    enum tiptrue_status status = TIPTRUE_E_INTERNAL;
    switch (notation_of(&config->text, place)) {
    case JSON_POINTER:
        status = tt_json_places_find(&config->text, &config->json, place, &found, error);
        break;
    case XPATH:
        status = tt_xml_places_find(&config->text, &config->xml, place, &found, error);
        break;
    case SECTION_KEY:
        status = tt_lines_find(&config->text, place, &found, error);
        break;
    case PATTERN:
        status = tt_pattern_place_find(&config->text, place + 1, &found, error);
        break;
    }
    if (status == TIPTRUE_OK) {
        found = bare(&config->text, found);
        *span = (struct tt_span){found.at + config->mark, found.length};
    }
    return status;
}

enum tiptrue_status tt_config_number(struct tt_config *config, const char *place,
                                     struct tt_span *span, double *value,
                                     struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_config_find(config, place, span, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    const char *text = config->text.text - config->mark + span->at;
    if (tt_number_read(text, span->length, '.', value, NULL) != TT_NUMBER_OK) {
        return tt_fail(error, TIPTRUE_E_CONFIG, config->text.name, tt_config_line(config, span->at),
                       0,
                       "only a number with a decimal point is replaced; is the place the one that "
                       "is meant? Where no value stands yet, write 0 there",
                       "place '%s' holds '%s', which is not a number", place,
                       tt_config_shown(&config->text, text, span->length).text);
    }
    return TIPTRUE_OK;
}

const char *tt_config_name(const struct tt_config *config)
{
    return config->text.name;
}

size_t tt_config_line(const struct tt_config *config, size_t at)
{
    return tt_config_text_line(&config->text, at > config->mark ? at - config->mark : 0);
}
