/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The machine file as the configuration: where no other file holds the offsets in use, they stand
 * in its tips[], with the plate that they were found with. */
#ifndef TT_EXPORT_OWN_H
#define TT_EXPORT_OWN_H

#include "base/arena.h"
#include "base/buffer.h"
#include "export/edit.h"
#include "model/machine.h"
#include "model/solution.h"

/* Whether @path is the machine file itself. */
bool tt_own_is(const struct tiptrue_machine *machine, const char *path);

/* Whether it is a file that tiptrue itself reads or writes: a document with one of its schemas, a
 * run log, a history. */
bool tt_own_is_any(const char *path, const char *text, size_t length);

/* Most edits of one tip. */
#define TT_OWN_EDITS 3

/* The edits of one tip, tips[@index] of the machine file, behind the *n that are there: x and y of
 * an offset, and the height, where the verdict of each is update; texts into @arena. False: out of
 * memory. */
bool tt_own_edits(const struct tiptrue_machine *machine, size_t index,
                  const struct tt_tip_result *tip, struct tt_arena *arena, struct tt_edit edits[],
                  size_t *n);

/* What is to be written into the machine file. */
struct tt_own_work {
    const struct tiptrue_machine *machine;
    const char *plate; /* that the new offsets were found with */
    const struct tt_edit *edits;
    size_t n;
};

/* The machine file's text @read as it is edited then: of each tip whose offset is among the edits
 * "offset" is there, [0, 0] where there was none, and "offset_plate" is the plate; of one whose
 * height is, "height" is there, 0 where there was none. All other bytes are as they were.
 * TIPTRUE_E_CONFIG: the file is not as it was read. */
TT_MUST_USE enum tiptrue_status tt_own_prepare(const struct tt_own_work *work,
                                               const struct tt_bytes *read, struct tt_buffer *to,
                                               struct tiptrue_error *error);

#endif
