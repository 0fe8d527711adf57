/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files behind replace.h share: the target itself, and small steps on it. */
#ifndef TT_EXPORT_REPLACE_PARTS_H
#define TT_EXPORT_REPLACE_PARTS_H

#include <sys/stat.h>

#include "export/replace.h"

struct tt_target {
    char *name; /* as it was named */
    char *real; /* without symbolic links */
    char *base; /* last part of it, within real */
    int folder; /* open, -1 = not */
    int file;   /* open and locked, -1 = not */
    struct stat about;
    struct tt_bytes bytes;
};

/* TIPTRUE_E_IO for errno, told of the target. */
enum tiptrue_status tt_target_fault(const struct tt_target *target, const char *what,
                                    struct tiptrue_error *error);
/* All of an open file from its beginning. */
TT_MUST_USE enum tiptrue_status tt_target_read_file(const struct tt_target *target, int file,
                                                    struct tt_bytes *bytes,
                                                    struct tiptrue_error *error);
/* Whether the name still leads to the file that is open. */
bool tt_target_is_same_file(const struct tt_target *target);
/* The path of @name, beside the real file, for free(); NULL: out of memory. */
char *tt_target_path(const struct tt_target *target, const char *name);
/* "NAME.2026-03-02T074000Z-DIGEST.bak", the first of this second that is free, for free(); the
 * digest is that of the text that takes the file's place. */
TT_MUST_USE enum tiptrue_status tt_target_backup_name(const struct tt_target *target,
                                                      const char *text, size_t length, double now_s,
                                                      char **name, struct tiptrue_error *error);

#endif
