/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* ~REGEX: a pattern (PCRE2) with one group, over the whole text. '^' and '$' are the ends of a
 * line, whichever line end the text has; bytes are characters, so that any code which extends ASCII
 * can be searched.
 *
 * A pattern can take exponential time. The match limit of PCRE2 holds for one start position only,
 * and a text has millions of them: the steps of all of them together are counted, by callouts that
 * the compiler sets between all parts of the pattern.
 */
#include "config.h"

#define PCRE2_CODE_UNIT_WIDTH 8
#include <pcre2.h>
#include <string.h>

#include "export/place_kinds.h"
#include "ingest/diagnose.h"

/* Longest pattern, bytes. */
#define LONGEST_PATTERN 4096
/* Most steps of a search, a second or two. A sensible pattern takes a few for each byte at which it
 * may begin. */
#define MOST_STEPS 30000000UL
/* Most memory of one match, KiB. */
#define HEAP_LIMIT_KIB 65536
/* Most backtracking points held at a time. */
#define DEPTH_LIMIT 10000000

struct search {
    const struct tt_config_text *config;
    const char *regex;
    pcre2_code *code;
    pcre2_match_data *match;
    pcre2_match_context *limits;
    unsigned long steps;
};

static int count_step(pcre2_callout_block *block, void *data)
{
    struct search *search = data;
    (void)block;
    return ++search->steps > MOST_STEPS ? PCRE2_ERROR_MATCHLIMIT : 0;
}

static enum tiptrue_status compile(struct search *search, struct tiptrue_error *error)
{
    static const char HINT[] = "such as ~^offset_x *= *(\\S+)$ ; other groups are written (?:...)";
    size_t length = strlen(search->regex);
    int code = 0;
    PCRE2_SIZE at = 0;
    uint32_t groups = 0;
    pcre2_compile_context *compiling;
    if (length > LONGEST_PATTERN) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, NULL, "a pattern of more than %d bytes",
                       LONGEST_PATTERN);
    }
    compiling = pcre2_compile_context_create(NULL);
    if (compiling == NULL || pcre2_set_newline(compiling, PCRE2_NEWLINE_ANYCRLF) != 0) {
        pcre2_compile_context_free(compiling);
        return tt_fail_memory(error);
    }
    search->code = pcre2_compile((PCRE2_SPTR)search->regex, length,
                                 PCRE2_MULTILINE | PCRE2_AUTO_CALLOUT | PCRE2_NEVER_UTF |
                                     PCRE2_NEVER_BACKSLASH_C,
                                 &code, &at, compiling);
    pcre2_compile_context_free(compiling);
    if (search->code == NULL && code == PCRE2_ERROR_HEAP_FAILED) {
        return tt_fail_memory(error);
    }
    if (search->code == NULL) {
        PCRE2_UCHAR why[160] = "";
        (void)pcre2_get_error_message(code, why, sizeof(why));
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, HINT, "place '~%s', character %zu: %s",
                       tt_shown(search->regex, length).text, (size_t)at + 2, (const char *)why);
    }
    (void)pcre2_pattern_info(search->code, PCRE2_INFO_CAPTURECOUNT, &groups);
    if (groups != 1) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, HINT,
                       "place '~%s' has %u groups; one is needed, the value",
                       tt_shown(search->regex, length).text, (unsigned)groups);
    }
    search->match = pcre2_match_data_create_from_pattern(search->code, NULL);
    search->limits = pcre2_match_context_create(NULL);
    if (search->match == NULL || search->limits == NULL) {
        return tt_fail_memory(error);
    }
    (void)pcre2_set_heap_limit(search->limits, HEAP_LIMIT_KIB);
    (void)pcre2_set_depth_limit(search->limits, DEPTH_LIMIT);
    (void)pcre2_set_callout(search->limits, count_step, search);
    return TIPTRUE_OK;
}

/* The next match from *from on; *found false: none. */
static enum tiptrue_status next_match(struct search *search, size_t *from, bool *found,
                                      struct tt_span *span, struct tiptrue_error *error)
{
    int count = pcre2_match(search->code, (PCRE2_SPTR)search->config->text, search->config->length,
                            *from, 0, search->match, search->limits);
    *found = count > 0;
    if (count == PCRE2_ERROR_NOMATCH) {
        return TIPTRUE_OK;
    }
    if (count == PCRE2_ERROR_NOMEMORY) {
        return tt_fail_memory(error);
    }
    if (count < 0) {
        return tt_fail(error, TIPTRUE_E_USAGE, search->config->name, 0, 0,
                       "a pattern that begins with fixed text or ^, and without repetitions within "
                       "repetitions, is quick",
                       "place '~%s' takes too long to look for", tt_shown_text(search->regex).text);
    }
    const PCRE2_SIZE *at = pcre2_get_ovector_pointer(search->match);
    bool set = count > 1 && at[2] != PCRE2_UNSET && at[2] <= at[3];
    *span = set ? (struct tt_span){at[2], at[3] - at[2]} : (struct tt_span){at[0], 0};
    *from = at[1] > *from ? at[1] : *from + 1;
    return TIPTRUE_OK;
}

static enum tiptrue_status find(struct search *search, struct tt_span *span,
                                struct tiptrue_error *error)
{
    struct tt_list where = {0};
    char place[80];
    size_t from = 0, count = 0;
    enum tiptrue_status status = compile(search, error);
    while (status == TIPTRUE_OK && from <= search->config->length) {
        struct tt_span one;
        bool found = false;
        status = next_match(search, &from, &found, &one, error);
        if (!found) {
            break;
        }
        *span = one;
        count++;
        tt_list_add_line(&where, search->config, one.at);
    }
    if (status != TIPTRUE_OK || count == 1) {
        return status;
    }
    place[0] = '~';
    strcpy(place + 1, tt_shown_text(search->regex).text);
    return count == 0
               ? tt_place_missing(search->config, place,
                                  "no line matches; a place is searched in the text as it is",
                                  error)
               : tt_place_doubled(search->config, place, count, &where, error);
}

enum tiptrue_status tt_pattern_place_find(const struct tt_config_text *config, const char *regex,
                                          struct tt_span *span, struct tiptrue_error *error)
{
    struct search search = {.config = config, .regex = regex};
    enum tiptrue_status status = find(&search, span, error);
    pcre2_match_context_free(search.limits);
    pcre2_match_data_free(search.match);
    pcre2_code_free(search.code);
    return status;
}
