/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Why the verdict is what it is: the reasons, each once with all tips that have it, what follows
 * from them, and the findings beside. */
#include "config.h"

#include <string.h>

#include "output/text/follow.h"
#include "output/text/sentences.h"
#include "output/text/text_parts.h"
#include "output/text/words.h"
#include "output/verdict.h"

#define FEW_TIPS 2 /* all tips are named where there are no more */

/* Length of "'NAME'" where @text begins with it, else 0. */
static size_t quoted(const char *text, const char *name)
{
    size_t n = strlen(name);
    return text[0] == '\'' && strncmp(text + 1, name, n) == 0 && text[n + 1] == '\'' ? n + 2 : 0;
}

/* Whether @a says of tip @of_a what @b says of @of_b. */
static bool same_but_for_tip(const char *a, const char *of_a, const char *b, const char *of_b)
{
    while (*a != '\0' && *b != '\0') {
        size_t in_a = quoted(a, of_a), in_b = quoted(b, of_b);
        if (*a != *b || (in_a > 0) != (in_b > 0)) {
            return false;
        }
        a += in_a > 0 ? in_a : 1;
        b += in_b > 0 ? in_b : 1;
    }
    return *a == *b;
}

/* Whether both rest on findings that are told alike, but for the tip. With rows or an edge they are
 * one tip's alone. */
static bool same_finding(const struct tt_tip_result *t, const struct tt_reason *a,
                         const struct tt_tip_result *own, const struct tt_reason *b)
{
    const struct tt_finding *f = a->finding, *g = b->finding;

    return f != NULL && g != NULL && f->code == g->code && f->n_lines == 0 && g->n_lines == 0 &&
           f->edge == TT_NONE && g->edge == TT_NONE &&
           same_but_for_tip(a->text, t->name, b->text, own->name);
}

/* Whether @t has a reason that says what @reason of @own says, but for its numbers where it rests
 * on no finding. */
static bool has_reason(const struct tt_tip_result *t, const struct tt_tip_result *own,
                       const struct tt_reason *reason)
{
    for (size_t i = 0; i < t->n_reasons; i++) {
        const struct tt_reason *r = &t->reasons[i];
        if (r->code == reason->code &&
            (r->finding == reason->finding || same_finding(t, r, own, reason))) {
            return true;
        }
    }
    return false;
}

/* Whether every line of @finding was set aside, so that the list of those has named it. Both lists
 * ascend. */
static bool all_set_aside(const struct tiptrue_solution *s, const struct tt_finding *finding)
{
    size_t found = 0;

    for (size_t i = 0; i < s->n_rows && found < finding->n_lines; i++) {
        found += s->rows[i].set_aside && s->rows[i].line == finding->lines[found];
    }
    return found == finding->n_lines;
}

/* " (lines 5-6, 9)" where a finding names rows that were named neither in its text nor with what
 * was set aside. */
static void add_lines(struct tt_page *page, const struct tiptrue_solution *s,
                      const struct tt_finding *finding)
{
    bool listed = all_set_aside(s, finding) && (page->folded == NULL || !tt_left_out_follow(s));

    if (finding->n_lines > 0 && !tt_sentence_names_lines(finding) && !listed) {
        tt_buffer_puts(&page->words, " (");
        tt_text_lines(&page->words, finding->lines, finding->n_lines);
        tt_buffer_puts(&page->words, ")");
    }
}

/* "t1, t4: " before what is the reason of several tips; of a run with one tip nothing. @words,
 * empty before, has nothing else. Returns how many; *same: whether all have the same numbers. */
static size_t add_owners(struct tt_buffer *words, const struct tiptrue_solution *s, size_t first,
                         const struct tt_reason *reason, bool *same)
{
    const struct tt_tip_result *own = &s->tips[first];
    size_t owners = 0;

    *same = true;
    for (size_t i = first; i < s->n_tips && s->n_tips > 1; i++) {
        const struct tt_tip_result *t = &s->tips[i];
        if (has_reason(t, own, reason)) {
            tt_buffer_puts(words, owners++ > 0 ? ", " : "");
            tt_buffer_puts(words, t->name);
            *same = *same && tt_words_same_percent(tt_reason_probability(t, reason->code),
                                                   tt_reason_probability(own, reason->code));
        }
    }
    if (owners == s->n_tips && owners > FEW_TIPS) {
        tt_buffer_reset(words);
        tt_buffer_puts(words, "all tips");
    }
    tt_buffer_puts(words, owners > 0 ? ": " : "");
    return owners;
}

/* @text, in which tip @name is one of several. */
static void put_of_each(struct tt_buffer *words, const char *text, const char *name)
{
    while (*text != '\0') {
        size_t n = quoted(text, name);
        tt_buffer_add(words, n > 0 ? "each" : text, n > 0 ? 4 : 1);
        text += n > 0 ? n : 1;
    }
}

static bool is_folded(const struct tt_page *page, const struct tiptrue_solution *s,
                      const struct tt_finding *finding)
{
    return page->folded != NULL && tt_follows(s, finding);
}

/* @reason of tip @first with all tips that have it, unless one before has told it. Numbers are told
 * where they are the same for all. */
static void tell_reason(struct tt_page *page, const struct tiptrue_solution *s, size_t first,
                        const struct tt_reason *reason)
{
    struct tt_buffer *words = &page->words;
    const struct tt_tip_result *own = &s->tips[first];

    if (reason->finding != NULL && is_folded(page, s, reason->finding)) {
        return;
    }
    for (size_t i = 0; i < first; i++) {
        if (has_reason(&s->tips[i], own, reason)) {
            return;
        }
    }
    bool same;
    size_t owners = add_owners(words, s, first, reason, &same);
    if (reason->finding == NULL && !same) {
        tt_sentence_reason(words, s, own, reason->code, false);
    } else if (reason->finding != NULL && owners > 1) {
        put_of_each(words, reason->text, own->name);
    } else {
        tt_buffer_puts(words, reason->text);
    }
    if (reason->code == TT_REASON_FINDING) {
        add_lines(page, s, reason->finding);
    }
    tt_page_go(page, 2);
    tt_page_say(page, 4);
}

/* Whether a finding of the same code follows that stands before the one at @index. */
static bool code_was_told(const struct tiptrue_solution *s, size_t index)
{
    for (size_t i = 0; i < index; i++) {
        if (s->findings[i].code == s->findings[index].code && tt_follows(s, &s->findings[i])) {
            return true;
        }
    }
    return false;
}

/* How many findings are folded, their codes, and where they are shown. */
static void tell_folded(struct tt_page *page, const struct tiptrue_solution *s)
{
    struct tt_buffer *words = &page->words;
    struct tt_buffer codes = {0};
    size_t n = 0;

    for (size_t i = 0; i < s->n_findings; i++) {
        if (is_folded(page, s, &s->findings[i])) {
            tt_buffer_puts(&codes, code_was_told(s, i) ? "" : n == 0 ? "" : ", ");
            tt_buffer_puts(&codes, code_was_told(s, i) ? "" : tt_finding_name(s->findings[i].code));
            n++;
        }
    }
    if (n > 0) {
        tt_buffer_printf(words,
                         "%zu more finding%s probably follow%s from the above, or cannot be judged "
                         "until it is put right: ",
                         n, n == 1 ? "" : "s", n == 1 ? "s" : "");
        tt_buffer_add(words, codes.text, codes.length);
        tt_buffer_printf(words, " (%s)", page->folded);
        tt_page_go(page, 2);
        tt_page_say(page, 4);
    }
    page->out->failed = page->out->failed || codes.failed;
    tt_buffer_clear(&codes);
}

/* The reasons of all tips that rest on @finding (NULL: on none of the solution's), but those of
 * tips that are kept where @only_bad. */
static void tell_reasons(struct tt_page *page, const struct tiptrue_solution *s,
                         const struct tt_finding *finding, bool only_bad)
{
    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *t = &s->tips[i];
        for (size_t k = 0; k < t->n_reasons && !(only_bad && t->verdict == TIPTRUE_KEEP); k++) {
            const struct tt_finding *f = t->reasons[k].finding;
            if (f == finding || (finding == NULL && t->reasons[k].code != TT_REASON_FINDING)) {
                tell_reason(page, s, i, &t->reasons[k]);
            }
        }
    }
}

/* Why, in the order of the findings; of several tips, only why some may not be kept. */
void tt_text_reasons(struct tt_page *page, const struct tiptrue_solution *s)
{
    bool only_bad = s->n_tips > 1 && s->verdict != TIPTRUE_KEEP;

    for (size_t i = 0; i < s->n_findings; i++) {
        tell_reasons(page, s, &s->findings[i], only_bad);
    }
    tell_folded(page, s);
    tell_reasons(page, s, NULL, only_bad);
    tt_page_line_end(page);
}

static void tell_finding(struct tt_page *page, const struct tiptrue_solution *s,
                         const struct tt_finding *f)
{
    static const enum tt_colour COLOURS[] = {
        [TIPTRUE_NOTE] = TT_BOLD, [TIPTRUE_WARNING] = TT_YELLOW, [TIPTRUE_ERROR] = TT_RED};
    struct tt_buffer *words = &page->words;

    tt_page_go(page, 2);
    tt_page_colour(page, COLOURS[f->severity]);
    tt_page_puts(page, tt_severity_word(f->severity));
    tt_page_colour(page, TT_PLAIN);
    tt_page_printf(page, ", %s: ", tt_finding_name(f->code));
    tt_buffer_puts(words, f->text);
    add_lines(page, s, f);
    tt_page_say(page, 4);
}

/* Whether a reason at the top of the page has said what @finding says. */
static bool was_told(const struct tiptrue_solution *s, const struct tt_finding *finding)
{
    for (size_t i = 0; i < s->n_tips; i++) {
        for (size_t k = 0; k < s->tips[i].n_reasons; k++) {
            if (s->tips[i].reasons[k].finding == finding) {
                return true;
            }
        }
    }
    return false;
}

void tt_text_findings(struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t told = 0;

    for (size_t i = 0; i < s->n_findings; i++) {
        if (was_told(s, &s->findings[i]) || is_folded(page, s, &s->findings[i])) {
            continue;
        }
        if (told++ == 0) {
            tt_page_heading(page, "Findings:");
        }
        tell_finding(page, s, &s->findings[i]);
    }
    if (told > 0) {
        tt_page_line_end(page);
    }
}

void tt_text_followers(struct tt_page *page, const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_findings; i++) {
        if (is_folded(page, s, &s->findings[i])) {
            tell_finding(page, s, &s->findings[i]);
        }
    }
}
