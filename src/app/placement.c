/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls about boards: read, judged, written. */
#include "config.h"

#include "base/buffer.h"
#include "ingest/ingest.h"
#include "output/output.h"
#include "output/text/placement_sentences.h"
#include "placement/placement.h"

enum tiptrue_status tiptrue_board_read(const char *path, const struct tiptrue_machine *machine,
                                       const struct tiptrue_sink *sink,
                                       struct tiptrue_board **board, struct tiptrue_error *error)
{
    return tt_board_read(path, machine, sink, board, error);
}

enum tiptrue_status tiptrue_place(const struct tiptrue_board *board,
                                  const struct tiptrue_machine *machine,
                                  struct tiptrue_placement **placement, struct tiptrue_error *error)
{
    struct tiptrue_placement *made;
    enum tiptrue_status status = tt_place(board, machine, &made, error);
    if (status == TIPTRUE_OK && tt_placement_sentences(made) != TIPTRUE_OK) {
        tiptrue_placement_free(made);
        return tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        *placement = made;
    }
    return status;
}

enum tiptrue_verdict tiptrue_placement_verdict(const struct tiptrue_placement *placement)
{
    return placement->verdict;
}

enum tiptrue_status tiptrue_placement_text(const struct tiptrue_placement *placement, bool json,
                                           const struct tiptrue_text_options *options, char **text,
                                           size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    if (json) {
        tt_output_placement_json(placement, &buffer);
    } else {
        tt_output_placement_text(placement, options, &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}
