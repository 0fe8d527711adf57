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
#include "output/text/text_parts.h"
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
