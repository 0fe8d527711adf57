/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a propagation of distributions found, beside what the adjustment states (JCGM 101:2008
 * clause 8). */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>

#include "base/number.h"

#define TIP_AT 2
#define FIRST_AT 14
#define WIDTH 11

static void row(struct tt_page *page, const char *tip, const char *axis,
                const struct tt_trial_axis *trial, double u_mm, double expanded_mm)
{
    int decimals = 1 + tt_um_decimals(u_mm);

    tt_page_at(page, TIP_AT, tip);
    tt_page_tab(page, FIRST_AT - 3);
    tt_page_puts(page, axis);
    tt_page_go(page, FIRST_AT);
    tt_page_cell_small(page, WIDTH, u_mm, decimals, false);
    tt_page_cell_small(page, WIDTH, trial->u_mm, decimals, false);
    tt_page_cell_small(page, WIDTH, expanded_mm, decimals, false);
    tt_page_cell_small(page, WIDTH, trial->low_mm, decimals, true);
    tt_page_cell_small(page, WIDTH, trial->high_mm, decimals, true);
    bool unclear = trial->off_mm <= trial->tolerance_mm + 2 * trial->noise_mm;
    tt_page_line(page, trial->agrees ? "  agrees" : unclear ? "  unclear" : "  differs");
}

static void say_tolerance(struct tt_page *page, const struct tt_tip_result *t)
{
    tt_buffer_printf(
        &page->words,
        "%s: the intervals' ends differ by %s " TT_UM " at most, %s " TT_UM
        " is the tolerance (half of the second digit of u); this many trials know the ends "
        "to " TT_PLUS_MINUS " %s " TT_UM "; the 95 %% region held the truth in %s " TT_PLUS_MINUS
        " %s %% of the trials.",
        t->name, tt_fixed(1000 * fmax(t->trials->x.off_mm, t->trials->y.off_mm), 2, false).text,
        tt_fixed(1000 * fmax(t->trials->x.tolerance_mm, t->trials->y.tolerance_mm), 2, false).text,
        tt_fixed(2000 * fmax(t->trials->x.noise_mm, t->trials->y.noise_mm), 2, false).text,
        tt_fixed(100 * t->trials->covered, 2, false).text,
        tt_fixed(100 * sqrt(t->trials->covered * (1 - t->trials->covered) / (double)t->trials->n),
                 2, false)
            .text);
    tt_page_go(page, TIP_AT);
    tt_page_say(page, TIP_AT + 2);
}

void tt_text_trials(struct tt_page *page, const struct tiptrue_solution *solution)
{
    bool headed = false;

    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *t = &solution->tips[i];
        if (t->trials == NULL) {
            continue;
        }
        if (!headed) {
            tt_page_printf(page, "Propagation of distributions, %zu trials, in %s:", t->trials->n,
                           tt_page_units(page)->small);
            tt_page_line_end(page);
            tt_page_heads(page, "", FIRST_AT,
                          "11 u stated|11 u trials|11 " TT_PLUS_MINUS " stated|11 2.5 %|11 97.5 %");
            headed = true;
        }
        row(page, t->name, "x", &t->trials->x, sqrt(t->cov.xx_mm2), t->expanded_x_mm);
        row(page, t->name, "y", &t->trials->y, sqrt(t->cov.yy_mm2), t->expanded_y_mm);
    }
    for (size_t i = 0; i < solution->n_tips; i++) {
        if (solution->tips[i].trials != NULL) {
            say_tolerance(page, &solution->tips[i]);
        }
    }
    if (headed) {
        tt_page_line_end(page);
    }
}
