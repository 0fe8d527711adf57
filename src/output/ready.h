/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The answer before a job. */
#ifndef TT_OUTPUT_READY_H
#define TT_OUTPUT_READY_H

#include "base/buffer.h"
#include "model/ready.h"

/* For a person: at most twelve lines, the verdict first; @brief: that line alone. */
void tt_output_ready_text(const struct tiptrue_ready *ready, bool brief,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* tiptrue.ready/1, one line, no line feed at its end. */
void tt_output_ready_json(const struct tiptrue_ready *ready, const struct tiptrue_used_file files[],
                          size_t n_files, struct tt_buffer *buffer);

#endif
