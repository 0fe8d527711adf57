/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See picture.h. */
#include "config.h"

#include "output/report/picture.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "base/number.h"
#include "model/frames.h"
#include "output/report/markup.h"
#include "output/page.h"

/* Width of a character, generous: digits of wide fonts take 0.64 of the size of 11, capitals such
 * as W and most of the scripts beyond Latin up to the whole of it. */
#define CHARACTER 6.8
#define WIDE_CHARACTER 11.0
#define TICK_WIDTH 0.95 /* that digits of most fonts have of that */

void tt_picture_clear(struct tt_picture *picture)
{
    tt_buffer_clear(&picture->title);
    tt_buffer_clear(&picture->desc);
    tt_buffer_clear(&picture->svg);
    tt_buffer_clear(&picture->columns);
    tt_buffer_clear(&picture->rows);
    tt_buffer_clear(&picture->words);
    tt_buffer_clear(&picture->shown);
}

static bool picture_failed(const struct tt_picture *picture)
{
    return picture->title.failed || picture->desc.failed || picture->svg.failed ||
           picture->columns.failed || picture->rows.failed || picture->words.failed;
}

struct tt_fixed tt_signed(double value, int decimals, bool plus)
{
    struct tt_fixed number = {"\xe2\x80\x93"}, digits;

    if (isfinite(value) && value >= 0) {
        return tt_fixed(value, decimals, plus);
    }
    if (isfinite(value)) {
        struct tt_buffer buffer = {.text = number.text, .capacity = sizeof number.text};
        digits = tt_fixed(-value, decimals, false);
        /* what rounds to zero has no sign */
        tt_buffer_puts(&buffer, strpbrk(digits.text, "123456789") != NULL ? TT_MINUS
                                : plus                                    ? "+"
                                                                          : "");
        tt_buffer_puts(&buffer, digits.text);
    }
    return number;
}

struct tt_fixed tt_signed_length(const struct tt_units *units, double value_mm, int decimals,
                                 bool plus)
{
    units = tt_units_or_mm(units);
    return tt_signed(units->per_mm * value_mm, tt_units_length_decimals(units, decimals), plus);
}

struct tt_fixed tt_signed_small(const struct tt_units *units, double value_mm, int decimals,
                                bool plus)
{
    units = tt_units_or_mm(units);
    return tt_signed(units->small_per_mm * value_mm, tt_units_small_decimals(units, decimals),
                     plus);
}

double tt_picture_per_mm(const struct tt_picture *picture)
{
    return tt_units_or_mm(picture->units)->per_mm;
}

double tt_picture_per_um(const struct tt_picture *picture)
{
    return tt_units_or_mm(picture->units)->small_per_mm / 1000;
}

/* Width of the character at @s, of *length bytes. */
static double character_width(const char *s, size_t *length)
{
    size_t shown = tt_markup_width(s, length);
    bool latin = *length == 1 ||
                 (*length == 2 && (unsigned char)s[0] < 0xc4); /* Latin 1: our own signs too */

    if (shown > 1) {
        return (double)shown * CHARACTER;
    }
    return !latin || strchr("MWmw@%", s[0]) != NULL ? WIDE_CHARACTER : CHARACTER;
}

double tt_picture_text_width(const char *text)
{
    double width = 0;

    while (*text != '\0') {
        size_t length;
        width += character_width(text, &length);
        text += length;
    }
    return width;
}

/* How many characters of @text fit into the width of @most ordinary ones, an ellipsis included. */
static size_t characters_that_fit(const char *text, size_t most)
{
    double width = 0;
    size_t n = 0, length;

    if (tt_picture_text_width(text) <= CHARACTER * (double)most) {
        return strlen(text);
    }
    while ((width += character_width(text, &length)) <= CHARACTER * (double)most - WIDE_CHARACTER &&
           *text != '\0') {
        text += length;
        n++;
    }
    return n + 1;
}

/* ---- lines, text, marks ---- */

void tt_picture_line(struct tt_picture *picture, const char *class, double x1, double y1, double x2,
                     double y2)
{
    tt_buffer_printf(&picture->svg, "<path class=\"%s\" ", class);
    tt_markup(&picture->svg, "d=\"M@ @L@ @\"/>\n", TT_AT(x1, y1, x2, y2));
}

/* A text's tag, but for its end. */
static void open_text(struct tt_picture *picture, const char *class, double x, double y,
                      const char *anchor)
{
    tt_markup(&picture->svg, "<text x=\"@\" y=\"@\"", TT_AT(x, y));
    if (class[0] != '\0') {
        tt_buffer_printf(&picture->svg, " class=\"%s\"", class);
    }
    if (strcmp(anchor, "start") != 0) {
        tt_buffer_printf(&picture->svg, " text-anchor=\"%s\"", anchor);
    }
}

void tt_picture_text(struct tt_picture *picture, const char *class, double x, double y,
                     const char *anchor, const char *text, size_t most)
{
    open_text(picture, class, x, y, anchor);
    tt_buffer_putc(&picture->svg, '>');
    tt_markup_short(&picture->svg, text, characters_that_fit(text, most));
    tt_buffer_puts(&picture->svg, "</text>\n");
}

/* @format with @arguments, in the picture's units; "" without memory. */
TT_PRINTF(2, 0)
static const char *in_units(struct tt_picture *picture, const char *format, va_list arguments)
{
    tt_buffer_reset(&picture->words);
    tt_buffer_reset(&picture->shown);
    tt_buffer_vprintf(&picture->words, format, arguments);
    if (!picture->words.failed) {
        tt_units_heading(tt_units_or_mm(picture->units), picture->words.text, &picture->shown);
    }
    /* the drawing remembers the failure, since the buffers are reset for the next words */
    picture->svg.failed = picture->svg.failed || picture->words.failed || picture->shown.failed;
    return picture->words.failed || picture->shown.failed ? "" : picture->shown.text;
}

const char *tt_picture_words(struct tt_picture *picture, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    const char *words = in_units(picture, format, arguments);
    va_end(arguments);
    return words;
}

void tt_picture_say(struct tt_picture *picture, struct tt_buffer *out, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    tt_buffer_puts(out, in_units(picture, format, arguments));
    va_end(arguments);
}

/* An element's beginning with a '@' for x and y, and its end. */
static const char *const SHAPES[][2] = {
    [TT_MARK_USED] = {"<circle class=\"u\" cx=\"@\" cy=\"@\" r=\"2\"", "</circle>"},
    [TT_MARK_WEAK] = {"<circle class=\"w\" cx=\"@\" cy=\"@\" r=\"2.3\"", "</circle>"},
    [TT_MARK_ASIDE] = {"<path class=\"x\" d=\"M@ @m-3-3l6 6m0-6l-6 6\"", "</path>"},
    [TT_MARK_NO_CONTACT] = {"<path class=\"n\" d=\"M@ @m-3.5 0l3.5-3.5 3.5 3.5-3.5 3.5z\"",
                            "</path>"},
    [TT_MARK_SIGHT] = {"<path class=\"s\" d=\"M@ @m-2.5-2.5h5v5h-5z\"", "</path>"},
    [TT_MARK_BEYOND_UP] = {"<path class=\"b\" d=\"M@ @l-3.5 6h7z\"", "</path>"},
    [TT_MARK_BEYOND_DOWN] = {"<path class=\"b\" d=\"M@ @l-3.5-6h7z\"", "</path>"},
    [TT_MARK_NEW] = {"<circle class=\"N\" cx=\"@\" cy=\"@\" r=\"3.5\"", "</circle>"},
    [TT_MARK_PRESENT] = {"<path class=\"P\" d=\"M@ @m-4-4h8v8h-8z\"", "</path>"},
    [TT_MARK_EXPORT] = {"<path class=\"E\" d=\"M@ @l-4 8h8z\"", "</path>"},
    [TT_MARK_SIGNAL] = {"<circle class=\"S\" cx=\"@\" cy=\"@\" r=\"5\"", "</circle>"},
};

void tt_picture_mark(struct tt_picture *picture, enum tt_shape shape, double x, double y)
{
    tt_markup(&picture->svg, SHAPES[shape][0], TT_AT(x, y));
    tt_buffer_puts(&picture->svg, "><title>");
}

void tt_picture_mark_end(struct tt_picture *picture, enum tt_shape shape)
{
    tt_buffer_puts(&picture->svg, "</title>");
    tt_buffer_puts(&picture->svg, SHAPES[shape][1]);
    tt_buffer_putc(&picture->svg, '\n');
}

double tt_picture_key(struct tt_picture *picture, enum tt_shape shape, double x, double y,
                      const char *text)
{
    bool hangs = shape == TT_MARK_BEYOND_UP || shape == TT_MARK_EXPORT;

    tt_buffer_puts(&picture->svg, "<g class=\"key\">");
    tt_markup(&picture->svg, SHAPES[shape][0],
              TT_AT(x + 5, hangs                          ? y - 8
                           : shape == TT_MARK_BEYOND_DOWN ? y - 1
                                                          : y - 4));
    tt_buffer_puts(&picture->svg, "/>");
    tt_picture_text(picture, "m", x + 14, y, "start", text, 60);
    tt_buffer_puts(&picture->svg, "</g>\n");
    return x + 14 + tt_picture_text_width(text) + 10;
}

double tt_picture_key_line(struct tt_picture *picture, const char *class, double x, double y,
                           const char *text)
{
    tt_buffer_puts(&picture->svg, "<g class=\"key\">");
    tt_picture_line(picture, class, x, y - 4, x + 16, y - 4);
    tt_picture_text(picture, "m", x + 20, y, "start", text, 60);
    tt_buffer_puts(&picture->svg, "</g>\n");
    return x + 20 + tt_picture_text_width(text) + 10;
}

void tt_picture_curve(struct tt_picture *picture, const char *class, const struct tt_scale *x,
                      const struct tt_scale *y, const double xs[], const double ys[], size_t n)
{
    bool pen_down = false;

    tt_buffer_printf(&picture->svg, "<path class=\"%s\" d=\"", class);
    for (size_t i = 0; i < n; i++) {
        bool held = tt_scale_holds(x, xs[i]) && tt_scale_holds(y, ys[i]);
        if (held) {
            tt_buffer_putc(&picture->svg, pen_down ? 'L' : 'M');
            tt_markup(&picture->svg, "@ @",
                      TT_AT(tt_scale_place(x, xs[i]), tt_scale_place(y, ys[i])));
        }
        pen_down = held;
    }
    tt_buffer_puts(&picture->svg, "\"/>\n");
}

void tt_picture_ellipse(struct tt_picture *picture, const char *class, double x, double y,
                        double major, double minor, double angle_rad)
{
    tt_buffer_printf(&picture->svg, "<ellipse class=\"%s\" ", class);
    tt_markup(&picture->svg, "cx=\"@\" cy=\"@\" rx=\"@\" ry=\"@\"", TT_AT(x, y, major, minor));
    /* pictures count angles the other way round */
    tt_markup(&picture->svg, " transform=\"rotate(@ @ @)\"/>\n",
              TT_AT(-tt_deg_from_rad(angle_rad), x, y));
}

/* ---- axes ---- */

/* How many ticks lie from one label of an x axis to the next, so that they keep clear. */
static long ticks_to_label(const struct tt_scale *scale)
{
    double step = fabs(tt_scale_place(scale, scale->step) - tt_scale_place(scale, 0)), widest = 0;

    for (int i = 0; i < 2; i++) {
        double end = scale->per * (i == 0 ? scale->low : scale->high);
        widest = fmax(widest, tt_picture_text_width(tt_signed(end, scale->decimals, false).text));
    }
    return step < TICK_WIDTH * widest ? 2 : 1;
}

static void put_tick(struct tt_picture *picture, const struct tt_scale *scale, double value,
                     double x, double y, const char *anchor)
{
    struct tt_fixed text = tt_signed(scale->per * value, scale->decimals, false);
    double room = strcmp(anchor, "end") == 0 ? x - 1 : TT_PICTURE_WIDTH;

    open_text(picture, "m", x, y, anchor);
    if (tt_picture_text_width(text.text) > room) { /* long numbers of small units */
        tt_markup(&picture->svg, " textLength=\"@\" lengthAdjust=\"spacingAndGlyphs\"",
                  TT_AT(room));
    }
    tt_buffer_printf(&picture->svg, ">%s</text>\n", text.text);
}

/* Both axes: one path for all grid lines, since a page has hundreds of them. */
void tt_picture_axis_x(struct tt_picture *picture, const struct tt_scale *scale, double top,
                       double bottom, bool labels)
{
    long every = ticks_to_label(scale);
    size_t n;
    double tick = tt_scale_tick(scale, &n);

    tt_buffer_puts(&picture->svg, "<path class=\"g\" d=\"");
    for (size_t i = 0; i < n; i++) {
        tt_markup(&picture->svg, "M@ @V@",
                  TT_AT(tt_scale_place(scale, tick + (double)i * scale->step), top, bottom));
    }
    tt_buffer_puts(&picture->svg, "\"/>\n");
    for (size_t i = 0; labels && i < n; i++) {
        double value = tick + (double)i * scale->step;
        if (lround(value / scale->step) % every == 0) {
            put_tick(picture, scale, value, tt_scale_place(scale, value), bottom + 13, "middle");
        }
    }
    tt_picture_line(picture, "f", scale->first, bottom, scale->last, bottom);
}

void tt_picture_axis_y(struct tt_picture *picture, const struct tt_scale *scale, double left,
                       double right)
{
    size_t n;
    double tick = tt_scale_tick(scale, &n);

    tt_buffer_puts(&picture->svg, "<path class=\"g\" d=\"");
    for (size_t i = 0; i < n; i++) {
        tt_markup(&picture->svg, "M@ @H@",
                  TT_AT(left, tt_scale_place(scale, tick + (double)i * scale->step), right));
    }
    tt_buffer_puts(&picture->svg, "\"/>\n");
    for (size_t i = 0; i < n; i++) {
        double value = tick + (double)i * scale->step;
        put_tick(picture, scale, value, left - 5, tt_scale_place(scale, value) + 4, "end");
    }
    tt_picture_line(picture, "f", left, scale->first, left, scale->last);
}

void tt_markup_named(struct tt_buffer *buffer, const char *before, const char *name,
                     const char *after)
{
    tt_buffer_puts(buffer, before);
    tt_markup_short(buffer, name, TT_NAME_MOST);
    tt_buffer_puts(buffer, after);
}

/* ---- the table ---- */

void tt_picture_columns(struct tt_picture *picture, const char *names)
{
    for (size_t length; *names != '\0'; names += length + (names[length] == '|')) {
        length = strcspn(names, "|");
        tt_buffer_puts(&picture->columns, "<th scope=\"col\">");
        tt_markup_text(&picture->columns, tt_picture_words(picture, "%.*s", (int)length, names));
        tt_buffer_puts(&picture->columns, "</th>");
    }
}

void tt_picture_row(struct tt_picture *picture)
{
    tt_buffer_puts(&picture->rows, "<tr>");
    picture->n_rows++;
}

void tt_picture_cell(struct tt_picture *picture, const char *text)
{
    tt_buffer_puts(&picture->rows, text[0] != '\0' ? "<td class=\"t\">" : "<td>");
    tt_markup_short(&picture->rows, text, 40);
    tt_buffer_puts(&picture->rows, "</td>");
}

void tt_picture_cell_named(struct tt_picture *picture, const char *name, const char *after)
{
    tt_markup_named(&picture->rows, "<td class=\"t\">", name, after);
    tt_buffer_puts(&picture->rows, "</td>");
}

void tt_picture_cell_count(struct tt_picture *picture, size_t value)
{
    tt_buffer_printf(&picture->rows, "<td>%zu</td>", value);
}

void tt_picture_cell_fixed(struct tt_picture *picture, double value, int decimals, bool plus)
{
    tt_buffer_printf(&picture->rows, "<td>%s</td>", tt_signed(value, decimals, plus).text);
}

void tt_picture_cell_length(struct tt_picture *picture, double value_mm, int decimals, bool plus)
{
    tt_buffer_printf(&picture->rows, "<td>%s</td>",
                     tt_signed_length(picture->units, value_mm, decimals, plus).text);
}

void tt_picture_cell_small(struct tt_picture *picture, double value_mm, int decimals, bool plus)
{
    tt_buffer_printf(&picture->rows, "<td>%s</td>",
                     tt_signed_small(picture->units, value_mm, decimals, plus).text);
}

void tt_picture_row_end(struct tt_picture *picture)
{
    tt_buffer_puts(&picture->rows, "</tr>\n");
}

/* ---- the whole ---- */

static const char *text_of(const struct tt_buffer *buffer)
{
    return buffer->text != NULL ? buffer->text : "";
}

/* <svg> with its words, without the closing tag. @extra stands among the attributes. */
static void open_svg(const struct tt_picture *picture, size_t id, const char *extra,
                     struct tt_buffer *out)
{
    tt_buffer_printf(out, "<svg%s role=\"img\" aria-labelledby=\"p%zut p%zud\" ", extra, id, id);
    tt_markup(out, "viewBox=\"0 0 @ @\" width=\"@\" height=\"@\">\n",
              TT_AT(TT_PICTURE_WIDTH, picture->height, TT_PICTURE_WIDTH, picture->height));
    tt_buffer_printf(out, "<title id=\"p%zut\">%s</title>\n<desc id=\"p%zud\">%s</desc>\n", id,
                     text_of(&picture->title), id, text_of(&picture->desc));
}

void tt_picture_figure(const struct tt_picture *picture, size_t id, struct tt_buffer *page)
{
    tt_buffer_printf(page, "<figure id=\"%s\"><figcaption>%s</figcaption>\n", picture->name,
                     text_of(&picture->title));
    open_svg(picture, id, "", page);
    tt_buffer_add(page, text_of(&picture->svg), picture->svg.length);
    tt_buffer_printf(page,
                     "</svg>\n<details><summary>Show as table: %zu "
                     "row%s</summary>\n<table><thead><tr>%s</tr></thead><tbody>\n",
                     picture->n_rows, picture->n_rows == 1 ? "" : "s", text_of(&picture->columns));
    tt_buffer_add(page, text_of(&picture->rows), picture->rows.length);
    tt_buffer_puts(page, "</tbody></table></details></figure>\n");
    page->failed = page->failed || picture_failed(picture);
}

void tt_picture_file(const struct tt_picture *picture, struct tt_buffer *file)
{
    open_svg(picture, 1, " xmlns=\"http://www.w3.org/2000/svg\"", file);
    tt_buffer_puts(file, "<style>\n");
    tt_style_picture(file);
    tt_buffer_puts(file, "</style>\n");
    tt_markup(file, "<rect class=\"bg\" width=\"@\" height=\"@\"/>\n",
              TT_AT(TT_PICTURE_WIDTH, picture->height));
    tt_buffer_add(file, text_of(&picture->svg), picture->svg.length);
    tt_buffer_puts(file, "</svg>\n");
    file->failed = file->failed || picture_failed(picture);
}
