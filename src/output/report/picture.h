/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A picture in the making: its SVG, what it shows in words, and the table behind it. Knows lines,
 * marks and axes, no measurement.
 *
 * Drawn for a width of 340 CSS pixels, a small phone's, with text of 11; wider screens set pictures
 * side by side and enlarge them a little, so that text neither shrinks nor overlaps. Colours and
 * strokes are classes of style.h. Lengths in a picture are its pixels.
 */
#ifndef TT_OUTPUT_REPORT_PICTURE_H
#define TT_OUTPUT_REPORT_PICTURE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buffer.h"
#include "base/number.h"
#include "output/report/scale.h"
#include "output/units.h"

#define TT_PICTURE_WIDTH 340.0
/* Where the plot of a picture with axes lies. */
#define TT_PLOT_LEFT 46.0
#define TT_PLOT_RIGHT 330.0
#define TT_KEYS_LEFT 8.0 /* of its legend */
/* Characters of a name that a picture shows: as many as fit beside others. */
#define TT_NAME_MOST 18

/* The shapes of marks: each is told from the others without its colour. */
enum tt_shape {
    TT_MARK_USED,       /* a full dot */
    TT_MARK_WEAK,       /* a ring: counts less than half */
    TT_MARK_ASIDE,      /* a cross */
    TT_MARK_NO_CONTACT, /* a hollow diamond */
    TT_MARK_SIGHT,      /* a small hollow square */
    TT_MARK_BEYOND_UP,  /* a triangle at the end of the scale: it lies further on */
    TT_MARK_BEYOND_DOWN,
    TT_MARK_NEW,     /* a large dot */
    TT_MARK_PRESENT, /* a large hollow square */
    TT_MARK_EXPORT,  /* a triangle on the axis: written into the machine */
    TT_MARK_SIGNAL   /* a large ring around a point */
};

struct tt_picture {
    char name[128];               /* of its file, without ending; ASCII without blanks */
    const struct tt_units *units; /* of the lengths it shows; NULL: mm and um */
    double height;
    struct tt_buffer title, desc;   /* escaped */
    struct tt_buffer svg;           /* what is between <svg> and </svg> after title and desc */
    struct tt_buffer columns, rows; /* of the table */
    size_t n_rows;
    struct tt_buffer words, shown; /* of tt_picture_words */
    bool beyond; /* a mark stands at the end of its scale, since its value is off it */
};

/* In the caller's storage, {0} before; all text goes in by the calls below or by tt_markup_text. */
void tt_picture_clear(struct tt_picture *picture);

void tt_picture_line(struct tt_picture *picture, const char *class, double x1, double y1, double x2,
                     double y2);
/* @anchor: "start", "middle" or "end". @text is escaped, and cut to the width of @most ordinary
 * characters. */
void tt_picture_text(struct tt_picture *picture, const char *class, double x, double y,
                     const char *anchor, const char *text, size_t most);
/* Words for one of the calls above or below, which last until the next call; "" without memory.
 * Bare names of units in them become the picture's. */
const char *tt_picture_words(struct tt_picture *picture, const char *format, ...) TT_PRINTF(2, 3);
/* The same onto @out, which is the title, the description or the drawing. */
void tt_picture_say(struct tt_picture *picture, struct tt_buffer *out, const char *format, ...)
    TT_PRINTF(3, 4);
/* What is shown of one mm, or of one um: for scales, and for numbers in words. */
double tt_picture_per_mm(const struct tt_picture *picture);
double tt_picture_per_um(const struct tt_picture *picture);
/* A mark with what a pointer over it tells: between the two calls that text is added to
 * picture->svg, escaped. */
void tt_picture_mark(struct tt_picture *picture, enum tt_shape shape, double x, double y);
void tt_picture_mark_end(struct tt_picture *picture, enum tt_shape shape);
/* A mark in a legend, not counted as data, and its words; returns where the next entry may start.
 */
double tt_picture_key(struct tt_picture *picture, enum tt_shape shape, double x, double y,
                      const char *text);
/* The same for a line of @class. */
double tt_picture_key_line(struct tt_picture *picture, const char *class, double x, double y,
                           const char *text);
/* Pixels that @text takes, generously. */
double tt_picture_text_width(const char *text);

/* Points joined by lines, those that the scales do not hold left out with a gap. */
void tt_picture_curve(struct tt_picture *picture, const char *class, const struct tt_scale *x,
                      const struct tt_scale *y, const double xs[], const double ys[], size_t n);
/* An ellipse around (@x, @y), @angle_rad counter-clockwise. */
void tt_picture_ellipse(struct tt_picture *picture, const char *class, double x, double y,
                        double major, double minor, double angle_rad);

/* Grid lines over the plot between @top and @bottom, tick labels below @bottom; and the same from
 * the left. */
void tt_picture_axis_x(struct tt_picture *picture, const struct tt_scale *scale, double top,
                       double bottom, bool labels);
void tt_picture_axis_y(struct tt_picture *picture, const struct tt_scale *scale, double left,
                       double right);

/* @name as far as a picture shows it, between words of ours. */
void tt_markup_named(struct tt_buffer *buffer, const char *before, const char *name,
                     const char *after);

/* The table: its columns first, by names of ours with '|' between ("line|target|residual, um", bare
 * names of units as in tt_picture_words), then row by row each cell. */
void tt_picture_columns(struct tt_picture *picture, const char *names);
void tt_picture_row(struct tt_picture *picture);
void tt_picture_cell(struct tt_picture *picture, const char *text);
void tt_picture_cell_count(struct tt_picture *picture, size_t value);
/* @name as far as a picture shows it, with words of ours behind. */
void tt_picture_cell_named(struct tt_picture *picture, const char *name, const char *after);
void tt_picture_cell_fixed(struct tt_picture *picture, double value, int decimals, bool plus);
/* A length, and a small one, with as many decimals as it would have in mm and in um. */
void tt_picture_cell_length(struct tt_picture *picture, double value_mm, int decimals, bool plus);
void tt_picture_cell_small(struct tt_picture *picture, double value_mm, int decimals, bool plus);
void tt_picture_row_end(struct tt_picture *picture);

/* A signed number of running text, with the minus of running text; a length in @units, and a small
 * one, with as many decimals as it would have in mm and in um. */
struct tt_fixed tt_signed(double value, int decimals, bool plus);
struct tt_fixed tt_signed_length(const struct tt_units *units, double value_mm, int decimals,
                                 bool plus);
struct tt_fixed tt_signed_small(const struct tt_units *units, double value_mm, int decimals,
                                bool plus);

/* The whole as a figure of a page, @id its number there; and as a file of its own. */
void tt_picture_figure(const struct tt_picture *picture, size_t id, struct tt_buffer *page);
void tt_picture_file(const struct tt_picture *picture, struct tt_buffer *file);

/* How a report looks: the style sheets of the page and of a picture that stands alone. */

/* Append colours and strokes of pictures that stand alone, in literal colours; dark on a screen
 * whose user prefers that, where the program that shows it knows media queries. */
void tt_style_picture(struct tt_buffer *out);
/* Append the styles of the page and of the pictures in it. */
void tt_style_page(struct tt_buffer *out);

#endif
