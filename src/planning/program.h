/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A motion program for a proposal: plain RS274/NGC, version 3 (T. R. Kramer, F. M. Proctor, E.
 * Messina, NISTIR 6556, 2000).
 *
 * All moves are G1 at a stated feed or G38.2; no rapids, no arcs, no variables, no cycles. Modes
 * are stated once, at the head: G17 G21 G40 G49 G54 G61 G80 G90 G94. For each touch: up to the safe
 * height; over the start point; the rotation, while nothing is near; down; G38.2 along the edge's
 * normal, fast; back to the start; G38.2 again, slow; back; up. By the standard (3.5.9) a probing
 * move may turn no rotary axis, starts at least 0.254 mm from its end, and is refused under inverse
 * time feed; here the words of a G38.2 line are X and Y alone.
 */
#ifndef TT_PLANNING_PROGRAM_H
#define TT_PLANNING_PROGRAM_H

#include "base/buffer.h"
#include "model/machine.h"
#include "model/proposal.h"

/* Append the program. TIPTRUE_E_CONFIG: a height, feed, limit … is missing in the machine file (all
 * that are missing are named), two of them contradict each other, an offset is not stated, or a
 * move would leave the limits; nothing is written then. */
TT_MUST_USE enum tiptrue_status tt_program_write(const struct tiptrue_proposal *proposal,
                                                 const struct tiptrue_machine *machine,
                                                 struct tt_buffer *out,
                                                 struct tiptrue_error *error);

#endif
