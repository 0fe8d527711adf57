/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Files in, checked objects out. Every fault of a file (up to TT_MOST_FAULTS) goes to the sink with
 * line and column; then TIPTRUE_E_DATA, with the first fault in *error too. Nothing is returned
 * from a file with a fault. */
#ifndef TT_INGEST_INGEST_H
#define TT_INGEST_INGEST_H

#include "base/status.h"
#include "model/board.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/run.h"
#include "model/solution.h"
#include "model/truth.h"

#define TT_MOST_FAULTS 20

/* Whether the text is a result document rather than a log: an object whose own "schema" names one
 * (tt_archive_object). */
bool tt_result_is(const char *text, size_t length);

/* From memory: @text is borrowed for the call, @name stands for the file's in messages. @text NULL,
 * but of a run: the file @name is read. */
TT_MUST_USE enum tiptrue_status tt_plate_read_bytes(const char *name, const char *text,
                                                    size_t length, const struct tiptrue_sink *sink,
                                                    struct tiptrue_plate **plate,
                                                    struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_machine_read_bytes(const char *name, const char *text,
                                                      size_t length,
                                                      const struct tiptrue_sink *sink,
                                                      struct tiptrue_machine **machine,
                                                      struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_plan_read_bytes(const char *name, const char *text,
                                                   size_t length, const struct tiptrue_sink *sink,
                                                   struct tiptrue_plan **plan,
                                                   struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_run_read_bytes(
    const char *name, const char *text, size_t length, const struct tiptrue_plate *plate,
    const struct tiptrue_machine *machine, const struct tiptrue_plan *plan, const char *pattern,
    const struct tiptrue_sink *sink, struct tiptrue_run **run, struct tiptrue_error *error);
/* *bytes is given to the run, whose source it is then, and is {0}; on failure it is freed. */
TT_MUST_USE enum tiptrue_status
tt_run_read_taken(const char *name, struct tt_bytes *bytes, const struct tiptrue_plate *plate,
                  const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                  const char *pattern, const struct tiptrue_sink *sink, struct tiptrue_run **run,
                  struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_result_read_bytes(const char *name, const char *text,
                                                     size_t length, const struct tiptrue_sink *sink,
                                                     struct tiptrue_solution **solution,
                                                     struct tiptrue_error *error);

#endif
