/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How a report looks: the style sheets of the page and of a picture that stands alone. */
#ifndef TT_OUTPUT_REPORT_STYLE_H
#define TT_OUTPUT_REPORT_STYLE_H

#include "base/buffer.h"

/* Append colours and strokes of pictures that stand alone, in literal colours; dark on a screen
 * whose user prefers that, where the program that shows it knows media queries. */
void tt_style_picture(struct tt_buffer *out);
/* Append the styles of the page and of the pictures in it. */
void tt_style_page(struct tt_buffer *out);

#endif
