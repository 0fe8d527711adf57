/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What drifts and wears, for a person; and how far down the tips reach. */
#include "config.h"

#include <math.h>

#include "base/number.h"
#include "output/text/text_parts.h"
#include "output/trend_words.h"

#define HEIGHT_WIDTH 12
#define SCATTER_WIDTH 14
#define DRIFT_WIDTH 18

struct tt_fixed tt_um(double mm, double u_mm, bool plus)
{
    return tt_fixed(1e3 * mm, tt_um_decimals(u_mm), plus);
}

/* When it will be off, and by when at the latest to act; @what: "offset", "height". */
static void say_forecast(struct tt_page *page, const struct tt_forecast *f, const char *what)
{
    struct tt_buffer *words = &page->words;
    char date[TT_MINUTE_SIZE], from[TT_MINUTE_SIZE], to[TT_MINUTE_SIZE];

    if (f->state == TT_FORECAST_DATE) {
        tt_minute_write(page->zone, f->date_s, date);
        tt_minute_write(page->zone, f->from_s, from);
        tt_minute_write(page->zone, f->to_s, to);
        date[10] = from[10] = to[10] = '\0';
        if (f->over_now) {
            tt_buffer_printf(words, "; the %s in use is further off than the permitted ", what);
        } else {
            tt_buffer_puts(words, "; it will be off by the permitted ");
        }
        tt_buffer_puts(words, tt_um(f->permitted_error_mm, 1e-3, false).text);
        tt_buffer_puts(words, TT_TIED TT_UM);
        tt_buffer_printf(words,
                         f->over_now ? " now: update it; from then on it holds until %s" : " on %s",
                         date);
        tt_buffer_printf(words, " (95 %%: %s to %s)", from, f->has_to ? to : "later than a year");
    } else if (f->state == TT_FORECAST_NOT_WITHIN) {
        tt_buffer_puts(words, "; the permitted error is not reached within a year");
    }
}

static void say_drift(struct tt_page *page, const struct tt_trend_tip *t)
{
    if (!t->drift_significant) {
        return;
    }
    tt_buffer_printf(&page->words, "%s drifts by (%s, %s)" TT_TIED TT_UM " a week", t->name,
                     tt_um(t->drift_x_mm_per_week, t->u_drift_x_mm_per_week, true).text,
                     tt_um(t->drift_y_mm_per_week, t->u_drift_y_mm_per_week, true).text);
    say_forecast(page, &t->forecast, "offset");
    if (t->step_alike) {
        tt_buffer_puts(&page->words, " (a step would explain the runs about as well)");
    }
    tt_page_puts(page, "  ");
    tt_page_say(page, 4);
}

static void say_wear(struct tt_page *page, const struct tt_trend_tip *t)
{
    if (t->wears) {
        tt_page_puts(page, "  ");
        tt_buffer_printf(&page->words,
                         "%s: its runout or contact radius drifts: the tip wears, or works loose "
                         "in its seat; look at it",
                         t->name);
        tt_page_say(page, 4);
    }
}

/* Heights count upwards: the head goes further down to the plate with a tip that became shorter. */
static void say_height_drift(struct tt_page *page, const struct tt_trend_tip *t)
{
    const struct tt_height_trend *h = &t->height;

    if (!h->drift_significant) {
        return;
    }
    tt_page_puts(page, "  ");
    tt_buffer_printf(&page->words, "the height of %s drifts by %s" TT_TIED TT_UM " a week%s",
                     t->name, tt_um(h->drift_mm_per_week, h->u_drift_mm_per_week, true).text,
                     h->drift_mm_per_week < 0 ? ", downwards: the tip wears, or Z moves"
                                              : ", upwards: dirt on its end, or Z moves");
    say_forecast(page, &h->forecast, "height");
    if (h->step_alike) {
        tt_buffer_puts(&page->words, " (a step would explain the runs about as well)");
    }
    tt_page_say(page, 4);
}

void tt_say_drifts(struct tt_page *page, const struct tt_trend_tip *t)
{
    say_drift(page, t);
    say_height_drift(page, t);
    say_wear(page, t);
}

static void height_row(struct tt_page *page, size_t at, const struct tt_trend_tip *t)
{
    const struct tt_height_trend *h = &t->height;

    tt_page_puts(page, t->name);
    tt_page_go(page, at);
    tt_page_cell_count(page, 6, h->n_points);
    tt_page_cell_length(page, HEIGHT_WIDTH, h->points[h->n_points - 1].height_mm, true);
    tt_cell_um(page, SCATTER_WIDTH, h->within_u_mm, 0.3 * h->within_u_mm, false);
    if (h->n_points >= TT_FEWEST_TREND_RUNS) {
        tt_cell_um(page, SCATTER_WIDTH, h->between_mm, fmax(h->u_between_mm, 1e-4), false);
    } else {
        tt_page_cell(page, SCATTER_WIDTH, "");
    }
    if (h->has_drift) {
        tt_cell_um(page, DRIFT_WIDTH / 2, h->drift_mm_per_week, h->u_drift_mm_per_week, true);
        tt_page_puts(page, " \xc2\xb1");
        tt_cell_um(page, DRIFT_WIDTH / 2 - 2, h->u_drift_mm_per_week, h->u_drift_mm_per_week,
                   false);
    }
    tt_page_line_end(page);
}

void tt_trend_heights(struct tt_page *page, const struct tiptrue_trend *trend)
{
    size_t at = 5, rows = 0;

    for (size_t i = 0; i < trend->n_tips; i++) {
        bool shown = trend->shown_tip == TT_NONE || trend->shown_tip == i;
        at = tt_page_wider(page, at, trend->tips[i].name, 2);
        rows += shown && trend->tips[i].height.n_points > 0;
    }
    if (rows == 0) {
        return;
    }
    tt_page_line_end(page);
    tt_page_heads(page, "tip", at, "6 runs|12 last height|14 in a run|14 between runs|18 a week");
    tt_page_heads(page, "", at + 6, "12 {length}|14 {small}|14 {small}|18 {small}");
    for (size_t i = 0; i < trend->n_tips; i++) {
        bool shown = trend->shown_tip == TT_NONE || trend->shown_tip == i;
        if (shown && trend->tips[i].height.n_points > 0) {
            height_row(page, at, &trend->tips[i]);
        }
    }
}
