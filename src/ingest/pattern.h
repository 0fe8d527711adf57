/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A pattern (PCRE2) that finds reports in lines of a log. */
#ifndef TT_INGEST_PATTERN_H
#define TT_INGEST_PATTERN_H

#include <stdbool.h>

#include "ingest/diagnose.h"
#include "ingest/table.h"

/* The named groups. */
enum tt_group_name {
    TT_GROUP_X,
    TT_GROUP_Y,
    TT_GROUP_Z,
    TT_GROUP_ID,
    TT_GROUP_OK,
    TT_GROUP_ROTATION,
    TT_GROUP_FEED,
    TT_GROUP_TEMPERATURE,
    TT_GROUP_TIME,
    TT_GROUP_PX,
    TT_GROUP_PY,
    TT_GROUPS
};

struct tt_pattern;

/* Compile. Groups x and y are required; a group of another name is a warning.
 * TIPTRUE_E_USAGE: the pattern is wrong. */
TT_MUST_USE enum tiptrue_status tt_pattern_new(const char *text, struct tt_diagnose *diagnose,
                                               struct tt_pattern **pattern,
                                               struct tiptrue_error *error);
void tt_pattern_free(struct tt_pattern *pattern);

bool tt_pattern_has(const struct tt_pattern *pattern, enum tt_group_name group);

/* Whether group ok says that there was contact: 1 or 0, or one of the two words that a comment
 * "(?#ok-words MADE,NONE)" of the pattern states. False: it is neither; @expected says what is. */
#define TT_OK_WORDS_SIZE 96
bool tt_pattern_ok(const struct tt_pattern *pattern, const struct tt_cell *ok, bool *contact,
                   char expected[TT_OK_WORDS_SIZE]);

/* The first report in the line (UTF-8) from @from on: *found, and the groups' cells (text NULL: the
 * group took no part). *behind is where the report ends. TIPTRUE_E_USAGE: finding it costs more
 * than any sensible pattern needs. */
TT_MUST_USE enum tiptrue_status tt_pattern_find(struct tt_pattern *pattern, const char *line,
                                                size_t length, size_t from, bool *found,
                                                struct tt_cell groups[TT_GROUPS], size_t *behind,
                                                struct tiptrue_error *error);

#endif
