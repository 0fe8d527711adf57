/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A page of text: columns, wrapped prose, numbers in cells. Knows no measurement.
 *
 * Text goes in as UTF-8, with signs such as U+00B5 and U+00B1 as they are. On a page that cannot
 * show them they are spelled in ASCII; a control character, or a byte that is no UTF-8, always
 * is shown as \u001b or \xff (base/escape.h), so that no name out of a file can steer the
 * terminal. Width is counted in
 * characters.
 */
#ifndef TT_OUTPUT_PAGE_H
#define TT_OUTPUT_PAGE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buffer.h"
#include "output/units.h"

#define TT_UM "\xc2\xb5m" /* micrometre */
#define TT_PLUS_MINUS "\xc2\xb1"
#define TT_MINUS                                                                                   \
    "\xe2\x88\x92" /* the minus of running text; tables have '-', which can be copied into a file  \
                    */
#define TT_DEGREE "\xc2\xb0"
#define TT_TIED "\xc2\xa0" /* a space where no line ends */

enum tt_colour { TT_PLAIN, TT_BOLD, TT_RED, TT_YELLOW, TT_GREEN };

/* Starts as {.out = ..., .columns = ...}; ends with tt_page_end. */
struct tt_page {
    struct tt_buffer *out;
    bool colour, utf8;
    size_t columns; /* width that prose is wrapped to */
    /* Not NULL: each line goes there instead, without the blanks before it and its line feed; @out
     * is where it is made. Headings are left out. */
    void (*hear)(void *hearer, const char *line, size_t length);
    void *hearer;
    size_t column;                   /* characters written in this line */
    struct tt_buffer words;          /* a sentence in the making, for tt_page_say */
    struct tt_buffer number;         /* of tt_page_printf and the like */
    const struct tiptrue_zone *zone; /* of times; NULL: UTC */
    const struct tt_units *units;    /* of lengths; NULL: mm and um, as sentences are made */
    struct tt_own_names own[2];      /* names that stand in sentences without quotation marks */
    struct tt_buffer converted;      /* a sentence in those units */
    const char *folded; /* where what follows from something else is shown; NULL: on this page */
};

/* A page as @options (NULL: plain) have it, as wide as they say where that is from @least up to
 * below @most, else 80. */
struct tt_page tt_page_new(struct tt_buffer *out, const struct tiptrue_text_options *options,
                           size_t least, size_t most);
void tt_page_end(struct tt_page *page);

void tt_page_puts(struct tt_page *page, const char *text);
void tt_page_printf(struct tt_page *page, const char *format, ...) TT_PRINTF(2, 3);
/* The same behind spaces up to @column; and as the end of the line. */
void tt_page_at(struct tt_page *page, size_t column, const char *text);
void tt_page_line(struct tt_page *page, const char *text);
void tt_page_line_end(struct tt_page *page);
/* @text as a line of its own, over what follows. */
void tt_page_heading(struct tt_page *page, const char *text);
/* Spaces up to @column: none where that is passed already, at least one with tt_page_tab. */
void tt_page_go(struct tt_page *page, size_t column);
void tt_page_tab(struct tt_page *page, size_t column);
/* What is written next has this colour, until TT_PLAIN. */
void tt_page_colour(struct tt_page *page, enum tt_colour colour);

/* In a cell of @width, at its right end; wider than that takes its place after one space. */
void tt_page_cell(struct tt_page *page, size_t width, const char *text);
void tt_page_cell_count(struct tt_page *page, size_t width, size_t value);
void tt_page_cell_fixed(struct tt_page *page, size_t width, double value, int decimals, bool plus);

/* A length in the page's small unit (um, uin): on the line, or in a cell. @decimals: as many as it
 * would have in um. */
void tt_page_small(struct tt_page *page, double value_mm, int decimals, bool plus);
void tt_page_cell_small(struct tt_page *page, size_t width, double value_mm, int decimals,
                        bool plus);
/* A coordinate in the page's unit of length, in a cell. */
void tt_page_cell_length(struct tt_page *page, size_t width, double value_mm, bool plus);
/* The names of those units. */
const struct tt_units *tt_page_units(const struct tt_page *page);

/* A line of headings: @first, then from column @at on a cell for each "WIDTH TEXT" of @cells, which
 * have '|' between them; in a text {length} and {small} stand for the names of the page's units. */
void tt_page_heads(struct tt_page *page, const char *first, size_t at, const char *cells);

/* @text by words from the current column; further lines start at @indent. A number stays with its
 * unit. Lengths in it are converted to the page's units. Ends the line. */
void tt_page_prose(struct tt_page *page, size_t indent, const char *text);

/* The same with what was collected in page->words, which is empty then. */
void tt_page_say(struct tt_page *page, size_t indent);

/* Characters that @text takes on the page. */
size_t tt_page_width(const struct tt_page *page, const char *text);
/* The wider one of @column and of what @text and @more characters take: over all names, where the
 * column behind them begins. */
size_t tt_page_wider(const struct tt_page *page, size_t column, const char *text, size_t more);

#endif
