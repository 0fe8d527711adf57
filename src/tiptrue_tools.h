/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part of tiptrue.h about what is made beside results: logs in other units; and about the care
 * of a history. */
#ifndef TT_TIPTRUE_TOOLS_H
#define TT_TIPTRUE_TOOLS_H

#include "tiptrue.h"

/* The log of a simulated run as CSV in @units, which its header then states; else as
 * tiptrue_run_log. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_run_csv(const struct tiptrue_run *run,
                                                     const struct tiptrue_plate *plate,
                                                     enum tiptrue_units units, char **text,
                                                     size_t *length, struct tiptrue_error *error);

/* The unit of the plate file. */
enum tiptrue_units tiptrue_plate_units(const struct tiptrue_plate *plate);
/* The plate as it was understood: in words with a drawing of characters, or as a picture (SVG) with
 * its conductor hatched. *text and *length as tiptrue_solution_text; @options may be NULL. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_plate_view(const struct tiptrue_plate *plate, bool svg,
                                                        const struct tiptrue_text_options *options,
                                                        char **text, size_t *length,
                                                        struct tiptrue_error *error);

/* Take the run @id (whole) out of the history: its log, results, exports and notes are gone, their
 * bytes overwritten. TIPTRUE_E_NO_INPUT: it is not there. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_forget(struct tiptrue_history *history,
                                                            const char *id,
                                                            struct tiptrue_error *error);

/* Whether anything that @trend tells came after @since (a date, a date-time or the beginning of a
 * run's id; NULL: after the first run): a change, or a latest run that differs. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_changed(struct tiptrue_history *history,
                                                             const struct tiptrue_trend *trend,
                                                             const char *since, bool *changed,
                                                             struct tiptrue_error *error);

#endif
