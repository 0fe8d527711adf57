/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a new solve of a stored run changes, tip by tip. */
#include "config.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "output/history.h"
#include "output/output.h"
#include "output/page.h"
#include "output/verdict.h"

/* Differences are shown to this many decimals of a micrometre, and less than half of the last one
 * is none. */
#define DECIMALS 2
#define LEAST_MM 0.5e-5

/* Lines of one tip; *any tells whether one was begun. */
struct lines {
    struct tt_page *page;
    const char *tip;
    bool *any;
};

static void begin_line(const struct lines *lines)
{
    tt_page_puts(lines->page, "  ");
    if (lines->tip != NULL) {
        tt_page_printf(lines->page, "%s: ", lines->tip);
    }
    *lines->any = true;
}

static void put_unit(struct tt_page *page)
{
    tt_page_printf(page, " %s", tt_page_units(page)->small);
}

/* "name from -> to um (+change)", where it changed. */
static void compare_number(const struct lines *lines, const char *name, bool known,
                           double before_mm, bool known_anew, double anew_mm, bool as_change)
{
    bool same = known == known_anew && (!known || fabs(anew_mm - before_mm) < LEAST_MM);

    if (same) {
        return;
    }
    begin_line(lines);
    tt_page_puts(lines->page, name);
    if (known != known_anew) {
        tt_page_puts(lines->page, known ? " is no longer determined" : " is determined now");
    } else if (as_change) {
        tt_page_puts(lines->page, " ");
        tt_page_small(lines->page, anew_mm - before_mm, DECIMALS, true);
        put_unit(lines->page);
    } else {
        tt_page_puts(lines->page, " ");
        tt_page_small(lines->page, before_mm, DECIMALS, false);
        tt_page_puts(lines->page, " -> ");
        tt_page_small(lines->page, anew_mm, DECIMALS, false);
        put_unit(lines->page);
    }
    tt_page_line_end(lines->page);
}

/* Degrees of freedom to one decimal; infinitely many are "stated". */
static void compare_dof(const struct lines *lines, const char *name, double before, double anew)
{
    char words[2][40];

    for (int k = 0; k < 2; k++) {
        double dof = k == 0 ? before : anew;
        snprintf(words[k], sizeof words[k], isinf(dof) ? "stated" : "%.1f", dof);
    }
    if (strcmp(words[0], words[1]) != 0) {
        begin_line(lines);
        tt_page_printf(lines->page, "%s %s -> %s", name, words[0], words[1]);
        tt_page_line_end(lines->page);
    }
}

static void compare_verdict(const struct lines *lines, enum tiptrue_verdict before,
                            enum tiptrue_verdict anew)
{
    if (before == anew) {
        return;
    }
    begin_line(lines);
    tt_page_printf(lines->page, "verdict %s -> %s", tt_verdict_word(before), tt_verdict_word(anew));
    tt_page_line_end(lines->page);
}

static double root(double variance)
{
    return variance > 0 ? sqrt(variance) : 0;
}

static void compare_tips(const struct lines *lines, const struct tt_tip_result *b,
                         const struct tt_tip_result *a)
{
    bool bx = b->offset_determined_x, by = b->offset_determined_y, ax = a->offset_determined_x,
         ay = a->offset_determined_y;

    compare_number(lines, "offset x", bx, b->offset.x_mm, ax, a->offset.x_mm, true);
    compare_number(lines, "offset y", by, b->offset.y_mm, ay, a->offset.y_mm, true);
    if (bx && ax) {
        compare_number(lines, "u of x, total", true, root(b->cov.xx_mm2), true, root(a->cov.xx_mm2),
                       false);
        compare_number(lines, "u of x, change", true, root(b->same_plate_cov.xx_mm2), true,
                       root(a->same_plate_cov.xx_mm2), false);
    }
    if (by && ay) {
        compare_number(lines, "u of y, total", true, root(b->cov.yy_mm2), true, root(a->cov.yy_mm2),
                       false);
        compare_number(lines, "u of y, change", true, root(b->same_plate_cov.yy_mm2), true,
                       root(a->same_plate_cov.yy_mm2), false);
    }
    if ((bx || by) && (ax || ay)) {
        compare_dof(lines, "degrees of freedom, total", b->dof, a->dof);
        compare_dof(lines, "degrees of freedom, change", b->same_plate_dof, a->same_plate_dof);
    }
    compare_number(lines, "eccentricity", b->runout_determined, b->eccentricity_mm,
                   a->runout_determined, a->eccentricity_mm, true);
    compare_number(lines, "contact radius", b->radius_determined, b->contact_radius_mm,
                   a->radius_determined, a->contact_radius_mm, true);
    compare_verdict(lines, b->verdict, a->verdict);
}

/* Tips that only one of the two has. */
static void tell_missing(struct tt_page *page, const struct tiptrue_solution *of,
                         const struct tiptrue_solution *in, const char *text, bool *any)
{
    for (size_t i = 0; i < of->n_tips; i++) {
        if (tt_solution_tip(in, of->tips[i].name) == NULL) {
            begin_line(&(struct lines){page, of->tips[i].name, any});
            tt_page_line(page, text);
        }
    }
}

static size_t count_findings(const struct tiptrue_solution *s, enum tt_finding_code code)
{
    size_t n = 0;

    for (size_t i = 0; i < s->n_findings; i++) {
        n += s->findings[i].code == code;
    }
    return n;
}

static void compare_findings(struct tt_page *page, const struct tiptrue_solution *before,
                             const struct tiptrue_solution *anew, bool *any)
{
    for (int code = 0; code < TT_FINDING_CODES; code++) {
        size_t was = count_findings(before, (enum tt_finding_code)code),
               is = count_findings(anew, (enum tt_finding_code)code);
        if (was != is) {
            begin_line(&(struct lines){page, NULL, any});
            tt_page_printf(page, "finding %s: %zu -> %zu",
                           tt_finding_name((enum tt_finding_code)code), was, is);
            tt_page_line_end(page);
        }
    }
}

/* Whether the two are the same text as documents. */
static bool same_text(const struct tiptrue_solution *before, const struct tiptrue_solution *anew)
{
    struct tt_buffer b = {0}, a = {0};

    tt_output_json(before, NULL, &b);
    tt_output_json(anew, NULL, &a);
    bool same =
        b.failed || a.failed || (b.length == a.length && memcmp(b.text, a.text, a.length) == 0);
    tt_buffer_clear(&b);
    tt_buffer_clear(&a);
    return same;
}

bool tt_output_again_text(const struct tiptrue_solution *before, const char *version,
                          const struct tiptrue_solution *anew,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);
    bool any = false;

    tt_page_printf(&page, "%s%s%s: stored by %s%s", anew->run_id != NULL ? anew->run_id : "run",
                   anew->started != NULL ? ", " : "", anew->started != NULL ? anew->started : "",
                   version, ", solved again by " PACKAGE_VERSION ":");
    tt_page_line_end(&page);
    for (size_t i = 0; i < before->n_tips; i++) {
        const struct tt_tip_result *tip = tt_solution_tip(anew, before->tips[i].name);
        if (tip != NULL) {
            compare_tips(&(struct lines){&page, tip->name, &any}, &before->tips[i], tip);
        }
    }
    tell_missing(&page, before, anew, "is no longer there", &any);
    tell_missing(&page, anew, before, "is new", &any);
    compare_findings(&page, before, anew, &any);
    compare_verdict(&(struct lines){&page, NULL, &any}, before->verdict, anew->verdict);
    if (!any && !same_text(before, anew)) {
        begin_line(&(struct lines){&page, NULL, &any});
        tt_page_line(&page, "changed in words, or in digits below those shown here");
    }
    if (!any) {
        tt_page_line(&page, "  unchanged");
    }
    tt_page_end(&page);
    return any;
}
