/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* PCRE2 without just-in-time compilation, whose matches keep neither the match nor the heap limit
 * exactly. */
#include "config.h"

#include "ingest/pattern.h"

#define PCRE2_CODE_UNIT_WIDTH 8
#include <pcre2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "ingest/cells.h"
#include "ingest/names.h"

/* Most steps of one match, about a millisecond; the examples of the manual take less than 100 in a
 * line of 80 characters. */
#define MATCH_LIMIT 100000
/* Most memory of one match, KiB. */
#define HEAP_LIMIT_KIB 16384
/* Longest pattern, characters. */
#define LONGEST_PATTERN 4096
/* Longest word of group ok, bytes. */
#define LONGEST_WORD 40

static const char *const group_names[TT_GROUPS] = {
    [TT_GROUP_X] = "x",       [TT_GROUP_Y] = "y",
    [TT_GROUP_Z] = "z",       [TT_GROUP_ID] = "id",
    [TT_GROUP_OK] = "ok",     [TT_GROUP_ROTATION] = "rotation",
    [TT_GROUP_FEED] = "feed", [TT_GROUP_TEMPERATURE] = "temperature",
    [TT_GROUP_TIME] = "time", [TT_GROUP_PX] = "px",
    [TT_GROUP_PY] = "py",
};

struct tt_pattern {
    pcre2_code *code;
    pcre2_match_data *match;
    pcre2_match_context *limits;
    int numbers[TT_GROUPS];             /* of the groups; below 0: not in the pattern */
    char ok_words[2][LONGEST_WORD + 1]; /* of group ok: contact, none */
};

void tt_pattern_free(struct tt_pattern *pattern)
{
    if (pattern != NULL) {
        pcre2_match_context_free(pattern->limits);
        pcre2_match_data_free(pattern->match);
        pcre2_code_free(pattern->code);
        free(pattern);
    }
}

bool tt_pattern_has(const struct tt_pattern *pattern, enum tt_group_name group)
{
    return pattern->numbers[group] >= 0;
}

static enum tiptrue_status tell_wrong(int code, size_t offset, struct tiptrue_error *error)
{
    PCRE2_UCHAR why[160];
    if (code == PCRE2_ERROR_NOMEMORY || code == PCRE2_ERROR_HEAP_FAILED) {
        return tt_fail_memory(error);
    }
    pcre2_get_error_message(code, why, sizeof(why));
    return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                   "a regular expression of PCRE2 is expected, such as at (?<x>\\S+) (?<y>\\S+)",
                   "pattern, character %zu: %s", offset + 1, (const char *)why);
}

static enum tiptrue_status compile(struct tt_pattern *pattern, const char *text,
                                   struct tiptrue_error *error)
{
    int code = 0;
    PCRE2_SIZE offset = 0;
    size_t length = strlen(text);
    if (length > LONGEST_PATTERN) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, NULL,
                       "the pattern is longer than %d characters", LONGEST_PATTERN);
    }
    pattern->code = pcre2_compile((PCRE2_SPTR)text, length, PCRE2_UTF, &code, &offset, NULL);
    if (pattern->code == NULL) {
        return tell_wrong(code, offset, error);
    }
    pattern->match = pcre2_match_data_create_from_pattern(pattern->code, NULL);
    pattern->limits = pcre2_match_context_create(NULL);
    if (pattern->match == NULL || pattern->limits == NULL) {
        return tt_fail_memory(error);
    }
    pcre2_set_match_limit(pattern->limits, MATCH_LIMIT);
    pcre2_set_heap_limit(pattern->limits, HEAP_LIMIT_KIB);
    return TIPTRUE_OK;
}

/* Warn of named groups that mean nothing to us. */
static void tell_unknown(const struct tt_pattern *pattern, struct tt_diagnose *diagnose)
{
    uint32_t count = 0, entry_size = 0;
    PCRE2_SPTR table = NULL;
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMECOUNT, &count);
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMEENTRYSIZE, &entry_size);
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMETABLE, &table);
    for (uint32_t i = 0; i < count; i++) {
        const char *name = (const char *)table + i * entry_size +
                           2; /* behind the two bytes of the group's number */
        if (TT_NAME_AT(group_names, TT_GROUPS, name) == TT_GROUPS) {
            char hint[TT_HINT_SIZE];
            tt_names_hint(group_names, TT_GROUPS, "groups", name, strlen(name), hint);
            tt_warn(diagnose, tt_place_file(diagnose), hint,
                    "the pattern's group '%s' is not known, and not used",
                    tt_shown_text(name).text);
        }
    }
}

static enum tiptrue_status find_groups(struct tt_pattern *pattern, struct tiptrue_error *error)
{
    for (size_t i = 0; i < TT_GROUPS; i++) {
        pattern->numbers[i] =
            pcre2_substring_number_from_name(pattern->code, (PCRE2_SPTR)group_names[i]);
    }
    for (size_t i = TT_GROUP_X; i <= TT_GROUP_Y; i++) {
        if (pattern->numbers[i] < 0) {
            return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                           "name the coordinates, as in at (?<x>\\S+) (?<y>\\S+)",
                           "the pattern has no group '%s'", group_names[i]);
        }
    }
    return TIPTRUE_OK;
}

/* The words of group ok, which a comment of the pattern states. */
static enum tiptrue_status find_words(struct tt_pattern *pattern, const char *text,
                                      struct tiptrue_error *error)
{
    static const char BEGIN[] = "(?#ok-words ";
    const char *begin = strstr(text, BEGIN);
    strcpy(pattern->ok_words[0], "1");
    strcpy(pattern->ok_words[1], "0");
    if (begin == NULL) {
        return TIPTRUE_OK;
    }
    begin += strlen(BEGIN);
    size_t made = strcspn(begin, ",)"),
           none = begin[made] == ',' ? strcspn(begin + made + 1, ",)") : 0;
    const char *end = begin + made + 1 + none;
    if (made == 0 || none == 0 || *end != ')' || made > LONGEST_WORD || none > LONGEST_WORD ||
        (made == none && memcmp(begin, begin + made + 1, made) == 0)) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                       "two different words of at most 40 characters, as in contact,NO CONTACT",
                       "the words '%s' of a contact and of none are not told apart",
                       tt_shown(begin, strcspn(begin, ")")).text);
    }
    for (size_t i = 0; i < 2; i++) {
        size_t length = i == 0 ? made : none;
        memcpy(pattern->ok_words[i], i == 0 ? begin : begin + made + 1, length);
        pattern->ok_words[i][length] = '\0';
    }
    return TIPTRUE_OK;
}

bool tt_pattern_ok(const struct tt_pattern *pattern, const struct tt_cell *ok, bool *contact,
                   char expected[TT_OK_WORDS_SIZE])
{
    for (size_t i = 0; i < 2; i++) {
        if (tt_cell_is(ok, pattern->ok_words[i])) {
            *contact = i == 0;
            return true;
        }
    }
    snprintf(expected, TT_OK_WORDS_SIZE, "%s or %s", pattern->ok_words[1], pattern->ok_words[0]);
    return false;
}

enum tiptrue_status tt_pattern_new(const char *text, struct tt_diagnose *diagnose,
                                   struct tt_pattern **pattern, struct tiptrue_error *error)
{
    struct tt_pattern *made = calloc(1, sizeof(*made));
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    enum tiptrue_status status = compile(made, text, error);
    status = status == TIPTRUE_OK ? find_groups(made, error) : status;
    status = status == TIPTRUE_OK ? find_words(made, text, error) : status;
    if (status != TIPTRUE_OK) {
        tt_pattern_free(made);
        return status;
    }
    tell_unknown(made, diagnose);
    *pattern = made;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_pattern_find(struct tt_pattern *pattern, const char *line, size_t length,
                                    size_t from, bool *found, struct tt_cell groups[TT_GROUPS],
                                    size_t *behind, struct tiptrue_error *error)
{
    int count = pcre2_match(pattern->code, (PCRE2_SPTR)line, length, from, PCRE2_NO_UTF_CHECK,
                            pattern->match, pattern->limits);
    *found = count > 0;
    if (count == PCRE2_ERROR_NOMATCH) {
        return TIPTRUE_OK;
    }
    if (count < 0) {
        if (count == PCRE2_ERROR_NOMEMORY) {
            return tt_fail_memory(error);
        }
        return tt_fail(
            error, TIPTRUE_E_USAGE, NULL, 0, 0,
            "a pattern without nested repetitions, with \\S+ or \\d+ for the numbers, is quick",
            "the pattern takes too long to try on the line '%s'", tt_shown(line, length).text);
    }
    const PCRE2_SIZE *at = pcre2_get_ovector_pointer(pattern->match);
    for (size_t i = 0; i < TT_GROUPS; i++) {
        int number = pattern->numbers[i];
        bool set = number >= 0 && number < count && at[2 * number] != PCRE2_UNSET &&
                   at[2 * number] <= at[2 * number + 1];
        groups[i] =
            set ? (struct tt_cell){line + at[2 * number], at[2 * number + 1] - at[2 * number],
                                   line + at[2 * number]}
                : (struct tt_cell){NULL, 0, line + at[0]};
    }
    *behind = at[1];
    return TIPTRUE_OK;
}
