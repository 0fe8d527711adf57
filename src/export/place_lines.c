/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* section.key over lines of "key = value" or "key: value" below "[section]": no standard exists for
 * such files, so the readings that are common to all of them are taken. A remark begins a line with
 * ';' or '#', or stands behind a value and a blank. Names are compared byte for byte. Where section
 * and key hold points, each point is tried as the one between them.
 */
#include "config.h"

#include <string.h>

#include "export/place_kinds.h"

struct search {
    const struct tt_config_text *config;
    const char *place;
    size_t place_length;
    struct tt_span section; /* that the line is in */
    bool in_section;        /* any was begun */
    size_t count;
    struct tt_span found;
    struct tt_list where; /* of all that match */
    struct tt_list sections,
        keys;           /* that there are: names of sections; keys of the section that is meant */
    bool section_known; /* a section of the place's name was seen */
};

static struct tt_span trimmed(const char *text, size_t at, size_t end)
{
    while (at < end && strchr(" \t\r", text[at]) != NULL) {
        at++;
    }
    while (end > at && strchr(" \t\r", text[end - 1]) != NULL) {
        end--;
    }
    return (struct tt_span){at, end - at};
}

static bool is_same(const struct search *search, struct tt_span span, const char *name,
                    size_t length)
{
    return span.length == length && memcmp(search->config->text + span.at, name, length) == 0;
}

/* Whether the place begins with the name of the section that the line is in, and a point. */
static bool is_section(const struct search *search, size_t *behind)
{
    *behind = 0;
    if (!search->in_section) {
        return true; /* "key" or ".key" */
    }
    *behind = search->section.length + 1;
    return search->place_length > search->section.length &&
           search->place[search->section.length] == '.' &&
           is_same(search, search->section, search->place, search->section.length);
}

static bool is_meant(const struct search *search, struct tt_span key)
{
    size_t behind;
    if (!is_section(search, &behind)) {
        return false;
    }
    const char *name = search->place + behind;
    size_t length = search->place_length - behind;
    return is_same(search, key, name, length) ||
           (!search->in_section && name[0] == '.' && is_same(search, key, name + 1, length - 1));
}

/* The value from @at to the end of its line, without a remark behind it. */
static struct tt_span value_of(const char *text, size_t at, size_t end)
{
    struct tt_span value = trimmed(text, at, end);
    char quote = value.length > 0 ? text[value.at] : '\0';
    size_t from = value.at;
    if (quote == '"' || quote == '\'') {
        const char *closing = memchr(text + value.at + 1, quote, value.length - 1);
        from = closing != NULL ? (size_t)(closing - text) : from;
    }
    for (size_t i = from; i + 1 < value.at + value.length; i++) {
        if ((text[i] == ' ' || text[i] == '\t') && (text[i + 1] == ';' || text[i + 1] == '#')) {
            return trimmed(text, value.at, i);
        }
    }
    return value;
}

static void read_key(struct search *search, size_t at, size_t end)
{
    const char *text = search->config->text;
    size_t sign = at, behind;
    while (sign < end && text[sign] != '=' && text[sign] != ':') {
        sign++;
    }
    if (sign == end) {
        return;
    }
    struct tt_span key = trimmed(text, at, sign);
    if (is_section(search, &behind)) {
        tt_list_add(&search->keys, tt_config_shown(search->config, text + key.at, key.length).text);
    }
    if (is_meant(search, key)) {
        search->found = value_of(text, sign + 1, end);
        tt_list_add_line(&search->where, search->config, key.at);
        search->count++;
    }
}

static void read_line(struct search *search, size_t at, size_t end)
{
    const char *text = search->config->text;
    struct tt_span line = trimmed(text, at, end);
    if (line.length == 0 || text[line.at] == ';' || text[line.at] == '#') {
        return;
    }
    if (text[line.at] == '[') {
        const char *closing = memchr(text + line.at, ']', line.length);
        if (closing != NULL) {
            size_t behind;
            search->section = trimmed(text, line.at + 1, (size_t)(closing - text));
            search->in_section = true;
            search->section_known = search->section_known || is_section(search, &behind);
            tt_list_add(
                &search->sections,
                tt_config_shown(search->config, text + search->section.at, search->section.length)
                    .text);
        }
        return;
    }
    read_key(search, line.at, line.at + line.length);
}

static enum tiptrue_status missing(const struct search *search, struct tiptrue_error *error)
{
    struct tt_buffer hint = {0};
    if (search->section_known || !search->in_section) {
        tt_buffer_printf(&hint, "keys there are: %s",
                         search->keys.length > 0 ? search->keys.text : "none");
    } else {
        tt_buffer_printf(&hint, "sections there are: %s", search->sections.text);
    }
    enum tiptrue_status status =
        hint.failed ? tt_fail_memory(error)
                    : tt_place_missing(search->config, search->place, hint.text, error);
    tt_buffer_clear(&hint);
    return status;
}

enum tiptrue_status tt_lines_find(const struct tt_config_text *config, const char *place,
                                  struct tt_span *span, struct tiptrue_error *error)
{
    struct search search = {.config = config, .place = place, .place_length = strlen(place)};
    for (size_t at = 0; at < config->length;) {
        size_t end = at + strcspn(config->text + at, "\n");
        read_line(&search, at, end);
        at = end + 1;
    }
    if (search.count == 0) {
        return missing(&search, error);
    }
    if (search.count > 1) {
        return tt_place_doubled(config, place, search.count, &search.where, error);
    }
    *span = search.found;
    return TIPTRUE_OK;
}
