/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution for the person at the machine: verdict and reasons first, then the numbers, what was
 * set aside, the findings, what to do next, and last a worked sentence, so that nobody has to trust
 * a sign.
 */
#include "config.h"

#include "output/output.h"

#include <stdint.h>

#include "base/number.h"
#include "output/text/follow.h"
#include "output/text/sentences.h"
#include "output/text/text_parts.h"
#include "output/text/words.h"
#include "output/verdict.h"

#define COLUMNS 80 /* unless the terminal is narrower: longer lines are hard to read */
#define LEAST_COLUMNS 40

static enum tt_colour verdict_colour(enum tiptrue_verdict verdict)
{
    static const enum tt_colour COLOURS[] = {[TIPTRUE_KEEP] = TT_GREEN,
                                             [TIPTRUE_UPDATE] = TT_YELLOW,
                                             [TIPTRUE_REPEAT] = TT_RED,
                                             [TIPTRUE_NOT_MEASURED] = TT_RED};
    return COLOURS[verdict];
}

/* Of a tip: is @verdict what is said of its offset, of its height? */
typedef bool has_verdict(const struct tt_tip_result *tip, enum tiptrue_verdict verdict);

static bool offset_has(const struct tt_tip_result *tip, enum tiptrue_verdict verdict)
{
    return tip->offset_verdict == verdict;
}

static bool height_has(const struct tt_tip_result *tip, enum tiptrue_verdict verdict)
{
    return tip->height != NULL && tip->height->has_verdict && tip->height->verdict == verdict;
}

static size_t tips_with(const struct tiptrue_solution *s, has_verdict *has,
                        enum tiptrue_verdict verdict)
{
    size_t n = 0;

    for (size_t i = 0; i < s->n_tips; i++) {
        n += has(&s->tips[i], verdict);
    }
    return n;
}

/* What to do with the tips of one verdict: "write the new offsets of t1, t2 and t5"; nothing when
 * there are none. */
struct order {
    has_verdict *has;
    enum tiptrue_verdict verdict;
    const char *one, *several;
};

static void add_order(struct tt_buffer *words, const struct tiptrue_solution *s,
                      const struct order *order)
{
    size_t n = tips_with(s, order->has, order->verdict), told = 0;

    for (size_t i = 0; i < s->n_tips; i++) {
        if (!order->has(&s->tips[i], order->verdict)) {
            continue;
        }
        if (told == 0) {
            tt_buffer_puts(words, words->length > 0 ? "; " : "");
            tt_buffer_puts(words, n == 1 ? order->one : order->several);
        } else {
            tt_buffer_puts(words, told + 1 == n ? " and " : ", ");
        }
        tt_buffer_puts(words, s->tips[i].name);
        told++;
    }
}

const char *tt_text_shout(const struct tiptrue_solution *s)
{
    return s->least_squares ? "NO VERDICT" : tt_verdict_shout(s->verdict);
}

void tt_text_verdict(struct tt_page *page, const struct tiptrue_solution *s)
{
    static const struct order ORDERS[] = {
        {offset_has, TIPTRUE_REPEAT, "do not use this run's results for ",
         "do not use this run's results for "},
        {offset_has, TIPTRUE_NOT_MEASURED, "touch ", "touch "},
        {offset_has, TIPTRUE_UPDATE, "write the new offset of ", "write the new offsets of "},
        {offset_has, TIPTRUE_KEEP, "keep the present offset of ", "keep the present offsets of "},
        {height_has, TIPTRUE_REPEAT, "use no height of ", "use no height of "},
        {height_has, TIPTRUE_UPDATE, "write the new height of ", "write the new heights of "},
        {height_has, TIPTRUE_KEEP, "keep the present height of ", "keep the present heights of "},
    };

    tt_page_colour(page, verdict_colour(s->verdict));
    tt_page_puts(page, tt_text_shout(s));
    tt_page_colour(page, TT_PLAIN);
    tt_page_puts(page, ": ");
    if (s->least_squares) {
        tt_page_prose(page, 2,
                      "least squares without rejecting outliers, to compare with other programs: "
                      "do not use these results");
        return;
    }
    for (size_t k = 0; k < sizeof ORDERS / sizeof ORDERS[0]; k++) {
        add_order(&page->words, s, &ORDERS[k]);
    }
    if (page->words.length == 0) {
        tt_buffer_puts(&page->words, "use nothing of this run");
    }
    tt_page_say(page, 2);
}

/* The reason of @t that says what @reason says, but for its numbers, or NULL. What stands behind a
 * finding of its own is one tip's alone. */
static const struct tt_reason *same_reason(const struct tt_tip_result *t,
                                           const struct tt_reason *reason)
{
    for (size_t i = 0; i < t->n_reasons; i++) {
        if (&t->reasons[i] == reason ||
            (t->reasons[i].code == reason->code && t->reasons[i].finding == reason->finding &&
             reason->code != TT_REASON_OUT_OF_REACH)) {
            return &t->reasons[i];
        }
    }
    return NULL;
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

/* "t1, t4: " before what is the reason of several tips; of a run with one tip nothing. Returns
 * whether all have the same numbers. */
static bool add_owners(struct tt_buffer *words, const struct tiptrue_solution *s, size_t first,
                       const struct tt_reason *reason)
{
    const struct tt_tip_result *own = &s->tips[first];
    bool same = true;

    if (s->n_tips == 1) {
        return true;
    }
    for (size_t i = first; i < s->n_tips; i++) {
        const struct tt_tip_result *t = &s->tips[i];
        if (same_reason(t, reason) != NULL) {
            tt_buffer_puts(words, i > first ? ", " : "");
            tt_buffer_puts(words, t->name);
            same = same && tt_words_same_percent(tt_reason_probability(t, reason->code),
                                                 tt_reason_probability(own, reason->code));
        }
    }
    tt_buffer_puts(words, ": ");
    return same;
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

    if (reason->finding != NULL && is_folded(page, s, reason->finding)) {
        return;
    }
    for (size_t i = 0; i < first; i++) {
        if (same_reason(&s->tips[i], reason) != NULL) {
            return;
        }
    }
    bool same = add_owners(words, s, first, reason);
    if (reason->finding == NULL && !same) {
        tt_sentence_reason(words, s, &s->tips[first], reason->code, false);
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

/* Whether more touches are all that the run lacks: of its errors, each is for want of them. */
static bool lacks_touches(const struct tiptrue_solution *s)
{
    bool any = false;

    for (size_t i = 0; i < s->n_findings; i++) {
        enum tt_finding_code code = s->findings[i].code;
        bool lack = code == TT_FINDING_UNDETERMINED || code == TT_FINDING_FEW_TOUCHES ||
                    code == TT_FINDING_UNCERTAINTY_OVER || code == TT_FINDING_PRIOR_BOUND ||
                    code == TT_FINDING_ROTATION_GAP || code == TT_FINDING_NOT_TOUCHED;
        if (s->findings[i].severity == TIPTRUE_ERROR && !lack) {
            return false;
        }
        any = any || s->findings[i].severity == TIPTRUE_ERROR;
    }
    return any;
}

const char *tt_text_new(const struct tiptrue_solution *s, bool places)
{
    bool offsets = tips_with(s, offset_has, TIPTRUE_UPDATE) > 0,
         heights = places && tt_a_height_waits(s);

    return offsets && heights ? "offsets and heights"
           : offsets          ? "offsets"
           : heights          ? "heights"
                              : NULL;
}

const char *tt_text_mend(const struct tiptrue_solution *s)
{
    return tt_is_of_files(s)
               ? "correct what is named first, then solve this log again; repeat the run if that "
                 "cannot be done"
               : "fix what is listed above, then repeat the run";
}

void tt_text_next(struct tt_page *page, const struct tiptrue_solution *s)
{

    if (s->least_squares) {
        tt_page_prose(page, 2, "Next: to use the run, solve it without --least-squares.");
    } else if (s->verdict == TIPTRUE_REPEAT && lacks_touches(s)) {
        tt_page_prose(page, 2,
                      "Next: 'tiptrue plan --after' with this run says which few touches would "
                      "mend it; 'tiptrue solve --together' then solves this log and theirs as one "
                      "run. Else put right what is named above, then make the run again.");
    } else if (s->verdict == TIPTRUE_REPEAT) {
        tt_buffer_printf(&page->words, "Next: %s.", tt_text_mend(s));
        tt_page_say(page, 2);
    } else if (s->verdict == TIPTRUE_UPDATE) {
        const char *new = tt_text_new(s, true); /* NULL: a result whose tips tell no verdicts */
        tt_buffer_printf(&page->words,
                         "Next: write the new %s into the machine, then run once more to confirm.",
                         new != NULL ? new : "offsets");
        tt_page_say(page, 2);
    } else {
        tt_page_prose(page, 2,
                      s->verdict == TIPTRUE_KEEP ? "Next: nothing to write." : "Next: touch it.");
    }
}

void tt_text_own_names(const struct tiptrue_solution *s, struct tt_own_names own[2])
{
    own[0] = (struct tt_own_names){s->tip_names, s->n_tip_names, sizeof s->tip_names[0]};
    own[1] = (struct tt_own_names){s->edge_names, s->n_edge_names, sizeof s->edge_names[0]};
}

static size_t page_columns(const struct tiptrue_text_options *options)
{
    if (options->columns == 0 || options->columns > COLUMNS) {
        return COLUMNS;
    }
    return options->columns < LEAST_COLUMNS ? LEAST_COLUMNS : options->columns;
}

/* "UPDATE run.csv: wide keep +36.2125, -18.4439 mm; narrow update +52.9027, -18.3362 mm". */
static void brief_line(struct tt_page *page, const struct tiptrue_solution *s)
{
    const struct tt_units *units = tt_page_units(page);

    tt_page_colour(page, verdict_colour(s->verdict));
    tt_page_puts(page, tt_text_shout(s));
    tt_page_colour(page, TT_PLAIN);
    tt_page_printf(page, " %s", s->file != NULL ? s->file : "run");
    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *t = &s->tips[i];
        tt_page_printf(page, "%s%s %s", i == 0 ? ": " : "; ", t->name,
                       tt_verdict_shown(s, t->verdict));
        if (!t->offset_determined_x || !t->offset_determined_y) {
            tt_page_puts(page, ", offset not determined");
            continue;
        }
        tt_page_printf(page, " %s, %s %s",
                       tt_fixed(units->per_mm * t->offset.x_mm, units->decimals, true).text,
                       tt_fixed(units->per_mm * t->offset.y_mm, units->decimals, true).text,
                       units->length);
    }
    tt_page_line_end(page);
    tt_page_end(page);
}

void tt_output_text(const struct tiptrue_solution *s, const struct tiptrue_text_options *options,
                    struct tt_buffer *buffer)
{
    static const struct tiptrue_text_options PLAIN = {0};
    const struct tiptrue_text_options *o = options != NULL ? options : &PLAIN;
    struct tt_page page = tt_page_new(buffer, o, 1, SIZE_MAX);

    page.columns = page_columns(o);
    page.folded = o->observations ? NULL : TT_SHOWS_FOLDED;
    tt_text_own_names(s, page.own);
    if (o->brief) {
        brief_line(&page, s);
        return;
    }
    tt_text_verdict(&page, s);
    tt_text_reasons(&page, s);
    tt_text_run(&page, s);
    if (s->n_tips == 1) {
        tt_text_tip_block(&page, s, &s->tips[0]);
    } else if (s->n_tips > 1) {
        tt_text_tip_tables(&page, s);
    }
    tt_text_heights(&page, s);
    tt_text_trials(&page, s);
    tt_text_set_aside(&page, s);
    tt_text_findings(&page, s);
    tt_text_unseen(&page, s);
    if (o->observations) {
        tt_text_budgets(&page, s);
        tt_text_edges(&page, s);
        tt_text_straightness(&page, s);
        if (o->charts) {
            tt_text_strips(&page, s);
        }
        tt_text_rows(&page, s);
    }
    tt_text_next(&page, s);
    tt_text_worked_sentence(&page, s);
    tt_page_end(&page);
}
