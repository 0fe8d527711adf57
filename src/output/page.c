/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See page.h. Colours are those of ECMA-48, select graphic rendition. */
#include "config.h"

#include "output/page.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "base/utf8.h"

struct spelling {
    const char *sign, *ascii;
};

/* How a page of ASCII shows the signs that this program's own texts use. */
static const struct spelling SPELLINGS[] = {
    {TT_UM, "um"},          {"\xc2\xb5", "u"},       {"\xce\xbc", "u"}, {TT_PLUS_MINUS, "+-"},
    {TT_MINUS, "-"},        {TT_DEGREE, " deg"},     {"\xc3\x97", "x"}, {"\xc2\xb7", "."},
    {"\xe2\x80\x93", "-"},  {"\xe2\x80\xa6", "..."}, {"\xc2\xb2", "2"}, {"\xcf\x83", "sigma"},
    {"\xe2\x89\xa4", "<="}, {"\xe2\x89\xa5", ">="},
};

static const char *ascii_of(const char *s, size_t length)
{
    for (size_t i = 0; i < sizeof SPELLINGS / sizeof SPELLINGS[0]; i++) {
        if (strlen(SPELLINGS[i].sign) == length && memcmp(SPELLINGS[i].sign, s, length) == 0) {
            return SPELLINGS[i].ascii;
        }
    }
    return "?";
}

/* What the page shows for one character. */
struct look {
    const char *text;
    size_t shown, width;          /* bytes; characters */
    char escaped[TT_ESCAPE_SIZE]; /* which text may be */
};

/* Of the character at @s; returns its length in bytes. */
static size_t look(const struct tt_page *page, const char *s, struct look *look)
{
    size_t length = tt_escape(s, look->escaped);

    look->text = s;
    look->shown = look->width = 1;
    if (length > 0) {
        look->text = look->escaped;
        look->shown = look->width = strlen(look->escaped);
        return length;
    }
    length = tt_utf8_length(s);
    if (length == 1) {
        return 1;
    }
    if (length == 2 && memcmp(s, TT_TIED, 2) == 0) {
        look->text = " ";
        return length;
    }
    if (page->utf8) {
        look->shown = length;
        return length;
    }
    look->text = ascii_of(s, length);
    look->shown = look->width = strlen(look->text);
    return length;
}

static void put(struct tt_page *page, const char *s, size_t length)
{
    const char *end = s + length;

    while (s < end) {
        struct look at;
        s += look(page, s, &at);
        tt_buffer_add(page->out, at.text, at.shown);
        page->column += at.width;
    }
}

static size_t width_of(const struct tt_page *page, const char *s, size_t length)
{
    const char *end = s + length;
    size_t total = 0;

    while (s < end) {
        struct look at;
        s += look(page, s, &at);
        total += at.width;
    }
    return total;
}

struct tt_page tt_page_new(struct tt_buffer *out, const struct tiptrue_text_options *options,
                           size_t least, size_t most)
{
    static const struct tiptrue_text_options PLAIN = {0};
    const struct tiptrue_text_options *o = options != NULL ? options : &PLAIN;

    return (struct tt_page){.out = out,
                            .colour = o->colour,
                            .utf8 = o->utf8,
                            .columns = o->columns >= least && o->columns < most ? o->columns : 80,
                            .zone = o->zone,
                            .units = tt_units_of(o->units)};
}

void tt_page_end(struct tt_page *page)
{
    if (page->number.failed || page->words.failed || page->converted.failed) {
        page->out->failed = true;
    }
    tt_buffer_clear(&page->number);
    tt_buffer_clear(&page->converted);
    tt_buffer_clear(&page->words);
}

void tt_page_puts(struct tt_page *page, const char *text)
{
    put(page, text, strlen(text));
}

/* What was collected, NUL-terminated even when memory is out or nothing was added. The page
 * remembers the failure, since the buffer is reset for the next number. */
static const char *text_of(struct tt_page *page, const struct tt_buffer *buffer)
{
    page->out->failed = page->out->failed || buffer->failed;
    return buffer->failed || buffer->length == 0 ? "" : buffer->text;
}

void tt_page_printf(struct tt_page *page, const char *format, ...)
{
    va_list arguments;

    tt_buffer_reset(&page->number);
    va_start(arguments, format);
    tt_buffer_vprintf(&page->number, format, arguments);
    va_end(arguments);
    tt_page_puts(page, text_of(page, &page->number));
}

void tt_page_at(struct tt_page *page, size_t column, const char *text)
{
    tt_page_go(page, column);
    tt_page_puts(page, text);
}

void tt_page_line(struct tt_page *page, const char *text)
{
    tt_page_puts(page, text);
    tt_page_line_end(page);
}

/* The line that was made, to who hears it. What failed stays failed. */
static void hand_over(struct tt_page *page)
{
    if (page->out->failed) {
        return;
    }
    size_t blanks = page->out->length > 0 ? strspn(page->out->text, " ") : 0;
    if (page->out->length > blanks) {
        page->hear(page->hearer, page->out->text + blanks, page->out->length - blanks);
    }
    tt_buffer_reset(page->out);
}

void tt_page_line_end(struct tt_page *page)
{
    if (page->hear != NULL) {
        hand_over(page);
    } else {
        tt_buffer_putc(page->out, '\n');
    }
    page->column = 0;
}

void tt_page_heading(struct tt_page *page, const char *text)
{
    if (page->hear == NULL) {
        tt_page_prose(page, 2, text);
    }
}

void tt_page_go(struct tt_page *page, size_t column)
{
    while (page->column < column) {
        tt_buffer_putc(page->out, ' ');
        page->column++;
    }
}

void tt_page_tab(struct tt_page *page, size_t column)
{
    tt_page_go(page, column > page->column ? column : page->column + 1);
}

void tt_page_colour(struct tt_page *page, enum tt_colour colour)
{
    static const char *const SEQUENCES[] = {[TT_PLAIN] = "\033[0m",
                                            [TT_BOLD] = "\033[1m",
                                            [TT_RED] = "\033[1;31m",
                                            [TT_YELLOW] = "\033[1;33m",
                                            [TT_GREEN] = "\033[1;32m"};

    if (page->colour) {
        tt_buffer_puts(page->out, SEQUENCES[colour]);
    }
}

void tt_page_cell(struct tt_page *page, size_t width, const char *text)
{
    size_t taken = tt_page_width(page, text), end = page->column + width;

    tt_page_at(page, taken < width ? end - taken : page->column + 1, text);
}

void tt_page_cell_count(struct tt_page *page, size_t width, size_t value)
{
    tt_buffer_reset(&page->number);
    tt_buffer_printf(&page->number, "%zu", value);
    tt_page_cell(page, width, text_of(page, &page->number));
}

void tt_page_cell_fixed(struct tt_page *page, size_t width, double value, int decimals, bool plus)
{
    tt_page_cell(page, width, tt_fixed(value, decimals, plus).text);
}

const struct tt_units *tt_page_units(const struct tt_page *page)
{
    return tt_units_or_mm(page->units);
}

void tt_page_small(struct tt_page *page, double value_mm, int decimals, bool plus)
{
    const struct tt_units *units = tt_page_units(page);

    decimals = tt_units_small_decimals(units, decimals);
    tt_page_puts(page, tt_fixed(units->small_per_mm * value_mm, decimals, plus).text);
}

void tt_page_cell_small(struct tt_page *page, size_t width, double value_mm, int decimals,
                        bool plus)
{
    const struct tt_units *units = tt_page_units(page);

    decimals = tt_units_small_decimals(units, decimals);
    tt_page_cell_fixed(page, width, units->small_per_mm * value_mm, decimals, plus);
}

void tt_page_cell_length(struct tt_page *page, size_t width, double value_mm, bool plus)
{
    const struct tt_units *units = tt_page_units(page);

    tt_page_cell_fixed(page, width, units->per_mm * value_mm, units->decimals, plus);
}

/* @text up to @end into page->number, the units' names in it filled in. */
static void fill_head(struct tt_page *page, const char *text, const char *end)
{
    const struct tt_units *units = tt_page_units(page);
    const char *brace = memchr(text, '{', (size_t)(end - text));

    tt_buffer_reset(&page->number);
    tt_buffer_add(&page->number, text, (size_t)((brace != NULL ? brace : end) - text));
    if (brace != NULL) {
        tt_buffer_puts(&page->number, brace[1] == 'l' ? units->length : units->small);
    }
}

void tt_page_heads(struct tt_page *page, const char *first, size_t at, const char *cells)
{
    tt_page_puts(page, first);
    tt_page_go(page, at);
    for (const char *end; *cells != '\0'; cells = end + (*end == '|')) {
        char *text;
        size_t width = strtoul(cells, &text, 10);
        end = text + strcspn(text, "|");
        fill_head(page, text + 1, end);
        tt_page_cell(page, width, text_of(page, &page->number));
    }
    tt_page_line_end(page);
}

/* Whether the word at @s is a unit, so that the line does not end before it. */
static bool is_unit(const char *s)
{
    static const char *const UNITS[] = {"mm", TT_UM, "ms", "%", "K", TT_DEGREE, "deg", "degrees"};
    size_t length = strcspn(s, " .,;:)");

    for (size_t i = 0; i < sizeof UNITS / sizeof UNITS[0]; i++) {
        if (strlen(UNITS[i]) == length && memcmp(UNITS[i], s, length) == 0) {
            return true;
        }
    }
    return false;
}

/* Bytes of the word at @s, with the unit behind it. */
static size_t word_length(const char *s)
{
    size_t length = strcspn(s, " ");

    while (s[length] == ' ' && is_unit(s + length + 1)) {
        length += 1 + strcspn(s + length + 1, " ");
    }
    return length;
}

/* @text with its lengths in the page's units. */
static const char *in_units(struct tt_page *page, const char *text)
{
    if (tt_page_units(page)->per_mm == 1) {
        return text;
    }
    tt_buffer_reset(&page->converted);
    tt_units_sentence(page->units, page->own, sizeof page->own / sizeof page->own[0], text,
                      &page->converted);
    return text_of(page, &page->converted);
}

void tt_page_prose(struct tt_page *page, size_t indent, const char *text)
{
    bool fresh = true; /* no space is due before the next word */

    text = in_units(page, text);
    for (const char *s = text + strspn(text, " "); *s != '\0'; s += strspn(s, " ")) {
        size_t length = word_length(s);
        if (!fresh && page->column + 1 + width_of(page, s, length) > page->columns) {
            tt_page_line_end(page);
            tt_page_go(page, indent);
            fresh = true;
        }
        if (!fresh) {
            tt_page_go(page, page->column + 1);
        }
        put(page, s, length);
        s += length;
        fresh = false;
    }
    tt_page_line_end(page);
}

void tt_page_say(struct tt_page *page, size_t indent)
{
    tt_page_prose(page, indent, text_of(page, &page->words));
    tt_buffer_reset(&page->words);
}

size_t tt_page_width(const struct tt_page *page, const char *text)
{
    return width_of(page, text, strlen(text));
}

size_t tt_page_wider(const struct tt_page *page, size_t column, const char *text, size_t more)
{
    size_t width = tt_page_width(page, text) + more;

    return width > column ? width : column;
}
