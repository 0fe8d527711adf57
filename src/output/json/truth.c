/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A truth as tiptrue.truth/1: what `simulate` reads back exactly. */
#include "config.h"

#include "output/json/json_write.h"
#include "output/output.h"

void tt_output_truth_json(const struct tiptrue_truth *truth, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.truth/1");
    tt_json_keys(&json, &tt_truth_keys, truth);
    tt_json_close(&json, '}');
}
