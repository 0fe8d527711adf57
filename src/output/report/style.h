/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How a report looks: the style sheets of the page and of a picture that stands alone. */
#ifndef TT_OUTPUT_REPORT_STYLE_H
#define TT_OUTPUT_REPORT_STYLE_H

/* Colours and strokes of pictures, for both; light and dark by prefers-color-scheme, light in
 * print. Static. */
extern const char *const tt_style_picture;
/* Of the page around them. Static. */
extern const char *const tt_style_page;

#endif
