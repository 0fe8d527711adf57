/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A file that is replaced whole, or not at all. Knows nothing of what is in it.
 *
 * The new text goes into a file beside it, is flushed to disk and read back; the old text goes into
 * a dated copy; then the two change names in one step of the file system, and the folder is
 * flushed. Whoever opens the name finds the old file or the new one. Owner, mode and extended
 * attributes are those of the old file; a symbolic link stays one, and its target is replaced. What
 * is left behind when the process dies on the way is a hidden file, which the next replacement
 * removes.
 */
#ifndef TT_EXPORT_REPLACE_H
#define TT_EXPORT_REPLACE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/status.h"
#include "ingest/bytes.h"

struct tt_target;

/* Open the file at @path for replacement, take an exclusive advisory lock (flock) for the life of
 * *target, and read it. TIPTRUE_E_NO_INPUT: not there. TIPTRUE_E_CONFIG: no plain file, of several
 * names (hard links), or not to be written. TIPTRUE_E_IO: locked by another process, or unreadable.
 */
TT_MUST_USE enum tiptrue_status tt_target_open(const char *path, struct tt_target **target,
                                               struct tiptrue_error *error);
void tt_target_free(struct tt_target *target);

/* As it was named; what was read. */
const char *tt_target_name(const struct tt_target *target);
const struct tt_bytes *tt_target_bytes(const struct tt_target *target);

/* Whether the real file lies in the real folder of @folder_of, or below it. */
TT_MUST_USE enum tiptrue_status tt_target_is_beside(const struct tt_target *target,
                                                    const char *folder_of, bool *beside,
                                                    struct tiptrue_error *error);

/* What must be true of the new file as it was read back from the disk; the last that is asked
 * before it takes the name.
 * @backup: path of the copy of the old file, or NULL. */
struct tt_check {
    enum tiptrue_status (*holds)(void *context, const char *text, size_t length, const char *backup,
                                 struct tiptrue_error *error);
    void *context;
};

/* Replace it by @text. @now_s (seconds from 1970, UTC) dates the copy of the old file; *backup (may
 * be NULL: no copy is made) receives its path, for free(). @check may be NULL. On failure the old
 * file stands untouched under its name, unless the message says otherwise. TIPTRUE_E_IO: the disk
 * is full, the file was changed since it was read, … */
TT_MUST_USE enum tiptrue_status tt_target_replace(struct tt_target *target, const char *text,
                                                  size_t length, double now_s,
                                                  const struct tt_check *check, char **backup,
                                                  struct tiptrue_error *error);

/* The newest copy that was made when a file with the present text of @target took its place.
 * TIPTRUE_E_CONFIG: there is none, so the file was changed since, or never replaced. */
TT_MUST_USE enum tiptrue_status tt_target_backup(const struct tt_target *target, char **path,
                                                 struct tt_bytes *bytes,
                                                 struct tiptrue_error *error);

#endif
