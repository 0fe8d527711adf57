/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The tables of a history, and how an older file becomes a present one: step by step, all steps in
 * one transaction. */
#ifndef TT_HISTORY_STORE_SCHEMA_H
#define TT_HISTORY_STORE_SCHEMA_H

#include "history/store/sql.h"

/* "tipT": marks a file as a history (PRAGMA application_id). */
#define TT_SCHEMA_APPLICATION 0x74697054
/* The schema that this program writes (PRAGMA user_version). */
#define TT_SCHEMA_VERSION 12

/* What the file is: its schema version, 0 for a file without anything in it.
 * TIPTRUE_E_DATA: it is something else, or was written by a newer program. */
TT_MUST_USE enum tiptrue_status tt_schema_version(struct tiptrue_history *store, int *version,
                                                  struct tiptrue_error *error);

/* Bring the file to @version (<= TT_SCHEMA_VERSION; a lower one only in tests). Nothing happens
 * where it is there already, also by another process in the meantime. */
TT_MUST_USE enum tiptrue_status tt_schema_migrate(struct tiptrue_history *store, int version,
                                                  struct tiptrue_error *error);

#endif
