/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The finders behind place.h, one for each notation, and what they share. */
#ifndef TT_EXPORT_PLACE_KINDS_H
#define TT_EXPORT_PLACE_KINDS_H

#include "base/buffer.h"
#include "export/place.h"
#include "ingest/diagnose.h"

/* A text and its name in messages. */
struct tt_config_text {
    const char *name;
    const char *text; /* behind the byte order mark; a NUL follows the last byte */
    size_t length;
    bool utf8; /* it is valid UTF-8; else messages show ASCII only */
};

/* What each notation keeps of a text, made by the first call; start as NULL. */
struct tt_json_places;
struct tt_xml_places;

TT_MUST_USE enum tiptrue_status tt_json_places_find(const struct tt_config_text *config,
                                                    struct tt_json_places **kept, const char *place,
                                                    struct tt_span *span,
                                                    struct tiptrue_error *error);
void tt_json_places_free(struct tt_json_places *kept);
/* Whether the text is JSON. */
bool tt_json_places_can_read(const struct tt_config_text *config);

TT_MUST_USE enum tiptrue_status tt_xml_places_find(const struct tt_config_text *config,
                                                   struct tt_xml_places **kept, const char *place,
                                                   struct tt_span *span,
                                                   struct tiptrue_error *error);
void tt_xml_places_free(struct tt_xml_places *kept);

TT_MUST_USE enum tiptrue_status tt_lines_find(const struct tt_config_text *config,
                                              const char *place, struct tt_span *span,
                                              struct tiptrue_error *error);
/* @regex without the '~'. */
TT_MUST_USE enum tiptrue_status tt_pattern_place_find(const struct tt_config_text *config,
                                                      const char *regex, struct tt_span *span,
                                                      struct tiptrue_error *error);

/* Line of a byte, 1-based. */
size_t tt_config_text_line(const struct tt_config_text *config, size_t at);

/* A piece of the text as a message can show it, for use within one expression. */
struct tt_shown tt_config_shown(const struct tt_config_text *config, const char *text,
                                size_t length);

/* A list for messages: "line 7: 'x = 4'; line 19: 'x = 5'", as much as fits. */
struct tt_list {
    char text[200];
    size_t length;
    bool full;
};
void tt_list_add(struct tt_list *list, const char *text);
/* The line that @at stands in, with its number. */
void tt_list_add_line(struct tt_list *list, const struct tt_config_text *config, size_t at);

/* TIPTRUE_E_CONFIG: @place is nothing; @what_is_there may be "". */
enum tiptrue_status tt_place_missing(const struct tt_config_text *config, const char *place,
                                     const char *what_is_there, struct tiptrue_error *error);
/* TIPTRUE_E_CONFIG: @place is @count values, at @where. */
enum tiptrue_status tt_place_doubled(const struct tt_config_text *config, const char *place,
                                     size_t count, const struct tt_list *where,
                                     struct tiptrue_error *error);

#endif
