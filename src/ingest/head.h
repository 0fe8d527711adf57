/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a log says of itself before its rows: enough to choose the machine and plate that it is read
 * with. */
#ifndef TT_INGEST_HEAD_H
#define TT_INGEST_HEAD_H

#include "base/status.h"

/* As tiptrue_log_head_read. */
TT_MUST_USE enum tiptrue_status tt_log_head_read(const char *path, struct tiptrue_log_head *head,
                                                 struct tiptrue_error *error);
void tt_log_head_clear(struct tiptrue_log_head *head);

#endif
