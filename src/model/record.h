/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* All that a history keeps of one run: its log, every result with the documents it came from, and
 * what was exported from it. */
#ifndef TT_MODEL_RECORD_H
#define TT_MODEL_RECORD_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"

#define TT_RUN_ID_SIZE 17 /* 16 hexadecimal digits and NUL */

/* What a result was worked out from, beside the log. */
enum tt_document_kind {
    TT_DOCUMENT_PLATE,
    TT_DOCUMENT_MACHINE,
    TT_DOCUMENT_PLAN,
    TT_DOCUMENT_PATTERN,
    TT_DOCUMENT_KINDS
};

/* A text as it was read, byte by byte; text NULL = there is none. */
struct tt_text {
    const char *text;
    size_t length;
};

struct tt_record_result {
    const char *version; /* of the program */
    const char *added;   /* RFC 3339, UTC, whole seconds: as text in order of time */
    const char *verdict;
    struct tt_text documents[TT_DOCUMENT_KINDS];
    struct tt_text json; /* tiptrue.result/1 on one line */
};

/* A result written into a configuration. */
struct tt_record_export {
    const char *time, *file;
    const char *old_digest, *new_digest;   /* of the file before and after */
    struct tt_text old_values, new_values; /* JSON */
};

struct tt_record {
    char id[TT_RUN_ID_SIZE];          /* digest of the log */
    const char *added;                /* when the run was entered first */
    struct tt_text log;               /* none: the run is known only by its result */
    struct tt_record_result *results; /* at least one; oldest first, the last one counts */
    size_t n_results;
    struct tt_record_export *exports; /* oldest first */
    size_t n_exports;
    struct tt_arena arena; /* owns all of the above, when it is not the caller's own */
};

/* A run as a list shows it: what its newest result says. */
struct tt_record_entry {
    char id[TT_RUN_ID_SIZE];
    const char *added, *solved; /* the run; its newest result */
    const char *started;        /* NULL = not stated */
    const char *machine, *plate, *plate_serial, *verdict, *version;
    const char *excluded; /* why it is kept out of trends; NULL: it is not */
    double time_s;        /* of its start, else of its entry: seconds since 1970 */
    size_t results, exports;
    bool has_log;
    size_t n_tips;
    const struct tt_record_tip {
        const char *name;
        bool determined;
        double x_mm, y_mm; /* the offset */
        const char *verdict;
    } * tips;
};

/* The columns of an export as CSV: one row for each result, log and exports only in a run's first
 * row. The first column holds the version of the form; verdict is there for people, and not read
 * back. */
#define TT_RECORD_CSV_HEADER                                                                       \
    "tiptrue_history,id,added,log,version,solved,verdict,plate,machine,plan,pattern,result,"       \
    "exports"
#define TT_RECORD_CSV_COLUMNS 13

/* "plate", "machine", "plan", "pattern". */
extern const char *const tt_document_words[TT_DOCUMENT_KINDS];

void tt_record_clear(struct tt_record *record);

/* A board as a history keeps it: the table as it was read, and what was said of it. */

struct tt_board_record {
    char id[TT_RUN_ID_SIZE];   /* digest of the table */
    const char *machine;       /* the machine file's name */
    const char *started;       /* RFC 3339; NULL = not stated, and `added` stands in */
    const char *added;         /* when it was entered first */
    const char *judged;        /* when it was judged; RFC 3339, UTC, as `added` */
    const char *version;       /* of the program that judged */
    const char *verdict, *run; /* "keep", "update", "repeat"; the run it was joined with, or NULL */
    double time_s;             /* of `started`, else of `added`: seconds since 1970 */
    size_t parts_read, parts_used;
    struct tt_text table; /* these three only of a record that is loaded whole, or put */
    struct tt_text json;  /* tiptrue.placement/1 on one line */
    struct tt_text said;  /* the same for a person */
};

/* Let its words, which it borrowed, live in @arena; false: no memory. The texts stay where they
 * are. */
bool tt_board_record_keep(struct tt_board_record *record, struct tt_arena *arena);

#endif
