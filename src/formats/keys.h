/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Field tables: what an object of a document holds, a row for each key. By its table an object is
 * read, checked and written, its known keys are named, and its schema is held to it
 * (tests/cli/keys.py). Knows no JSON. */
#ifndef TT_FORMATS_KEYS_H
#define TT_FORMATS_KEYS_H

#include <stdbool.h>
#include <stddef.h>

enum tt_need { TT_OPTIONAL, TT_REQUIRED };

/* Bounds of a number: lowest <= value <= highest; @above: lowest itself is not allowed. */
struct tt_bounds {
    double lowest, highest;
    bool above;
    const char *hint; /* what is allowed, in words */
};

/* Positions: no machine that places by tips of a bench is 100 m long. */
extern const struct tt_bounds tt_any_position_mm;
/* Lengths and uncertainties, 0 allowed; 0 not allowed. */
extern const struct tt_bounds tt_length_mm, tt_positive_length_mm;
/* Angles, within a turn; shares. */
extern const struct tt_bounds tt_any_angle_deg, tt_share;
/* Rotations: a tip turns back and forth within a few turns; more is another unit. */
extern const struct tt_bounds tt_rotation_deg;

/* Feeds, in mm/min: above 0. 0 mm/min is the word of many logs for «not moved», and is no feed to
 * probe with. */
extern const struct tt_bounds tt_feed_mm_per_min;

enum tt_form {
    TT_BY_HAND,   /* the key is known; reader and writer see to it themselves */
    TT_HOOK_FORM, /* read and written by the hook that @hook names */
    TT_TEXT_FORM,
    TT_NUMBER_FORM,   /* in the file's own unit; ten decimals: mm, degrees */
    TT_SHORTEST_FORM, /* the same, as few digits as read back alike: what spans powers of ten */
    TT_LENGTH_FORM,   /* in the file's units, kept in mm */
    TT_ANGLE_FORM,    /* degrees, kept in rad */
    TT_XY_FORM,       /* [x, y]: lengths, two doubles; any position, unless there are bounds */
    TT_TURNS_FORM,    /* [lowest, highest]: degrees, kept in rad, two doubles */
    TT_PAIR_FORM,     /* [a, b]: in the file's own unit, two doubles; as TT_SHORTEST_FORM */
    TT_U_FORM,        /* a standard uncertainty in the file's units, kept in mm; in its place, under
                         "tolerance", the half-width of a rectangular distribution */
    TT_X_Y_FORM,      /* {"x": ..., "y": ...}: mm, the doubles at @at and @at_y */
    TT_COUNT_FORM,    /* a whole number of at least 0: size_t */
    TT_BOOL_FORM,     /* true or false, or one of two @words, of which the second is true */
    TT_WORD_FORM,     /* one of @words: its index, an enumeration */
    TT_LETTER_FORM,   /* one of @words, each of one letter, as a char; null: '\0' */
    TT_OBJECT_FORM,   /* the struct at @at, by @inner */
    TT_POINTER_FORM,  /* the struct that the pointer at @at leads to; null: NULL */
    TT_LIST_FORM      /* structs of @size, by @inner: their pointer at @at, their number at @n */
};

/* What is kept where a number is not there: what was there before, or one of these. */
enum tt_absent { TT_STAYS, TT_IS_INFINITE, TT_IS_NAN };

/* The place of a bool (or a count, a double) that a key depends on, plus one; 0: none. */
#define TT_FLAG(type, member) (offsetof(type, member) + 1)

struct tt_keys;

/* The words of a vocabulary, by index. */
struct tt_vocabulary {
    const char *const *words;
    size_t n;
};

/* A key of an object. What is not said of it is 0. */
struct tt_key {
    const char *key;
    enum tt_form form;
    size_t at, at_y; /* place in the struct: a text, a double, two doubles */
    enum tt_need need;
    const struct tt_bounds *bounds; /* of what stands in the file, lengths in mm; NULL: any */
    /* There only where these flags are true; of TT_X_Y_FORM @when is x's, @when_y is y's (0: the
     * same), @whole both's. @either: one of @when and @when_y will do. */
    size_t when, when_y, whole;
    size_t count, above_0, pointer; /* there only where that count, that double is above 0, that
                                       pointer is not NULL */
    size_t sets, sets_y;            /* flags that reading sets: whether it was there */
    bool either, squared;           /* @squared: TT_X_Y_FORM kept as squares */
    bool negated;                   /* TT_BOOL_FORM: true where the file says false */
    bool numbered;   /* of a list: its elements are called by their number in messages */
    bool unique;     /* of a list: the names of its elements, their first keys, differ */
    bool on_request; /* written only where more is asked for */
    bool omitted;    /* left out where it is not there, although the table writes null */
    bool unless_0;   /* of an object: written unless all its numbers are 0 */
    bool made;       /* made from the rest: written only */
    bool first;      /* read before all others: they depend on it */
    double per;      /* what is kept is what stands there divided by this; 0: as it stands */
    double times;    /* what is kept is what stands there times this; 0: as it stands */
    double large;    /* mm: more is probably another unit, a warning; 0: nothing is */
    enum tt_absent absent;
    const struct tt_keys *inner; /* of an object, of each element of a list */
    size_t n, size;              /* of a list: place of the number; bytes of an element */
    const struct tt_vocabulary *words;
    unsigned hook; /* TT_HOOK_FORM: the hook that reads and writes it; of an object, of each element
                      of a list: the hook that looks at what was read; 0: none */
    unsigned before; /* the hook that prepares the reading of a list; 0: none */
};

struct tt_keys {
    const struct tt_key *list;
    size_t n;
    bool null;        /* every key is always there: null where nothing is; else it is left out */
    const char *name; /* what an object of it is called in messages; NULL: its key, as the object
                         around it in answers */
};

#define TT_KEYS(list)                                                                              \
    {                                                                                              \
        (list), sizeof(list) / sizeof((list)[0]), false, NULL                                      \
    }
#define TT_KEYS_NAMED(list, name)                                                                  \
    {                                                                                              \
        (list), sizeof(list) / sizeof((list)[0]), false, (name)                                    \
    }
/* Of what the program computes: see tt_keys.null. */
#define TT_ANSWER_KEYS(list, name)                                                                 \
    {                                                                                              \
        (list), sizeof(list) / sizeof((list)[0]), true, (name)                                     \
    }
/* The key alone, whether or not there is more to it. */
#define TT_KEY_BY_HAND(name)                                                                       \
    {                                                                                              \
        .key = (name), .form = TT_BY_HAND                                                          \
    }
/* Whether what @key depends on is so in the struct @from; of x and of y alone for TT_X_Y_FORM. */
bool tt_key_is_there(const struct tt_key *key, const void *from);
bool tt_key_has_x(const struct tt_key *key, const void *from);
bool tt_key_has_y(const struct tt_key *key, const void *from);

/* machine.c and plate.c: what a bench has. tt_motion_keys (motion.c): of the machine's motion and
 * its limits, those that a program needs. truth.c: what a simulated run is made from. */
extern const struct tt_keys tt_machine_keys, tt_motion_keys, tt_motion_limit_keys, tt_plate_keys,
    tt_truth_keys;

/* plan.c: tiptrue.plan/1, of a proposal; read into the plan that it begins with. What is expected
 * of a tip. */
extern const struct tt_keys tt_plan_keys, tt_planned_tip_keys;

/* What of it is no plain value: a hook of ingest reads the first ones, one of output writes all but
 * TT_PLAN_PLACEMENT and TT_PLAN_MOVE. */
enum tt_plan_hook {
    TT_PLAN_NONE,
    TT_PLAN_ID,    /* a text or a number */
    TT_PLAN_SETUP, /* likewise, as it is spelt */
    TT_PLAN_STAGE,
    TT_PLAN_LOG_UNITS,
    TT_PLAN_PLACEMENT, /* after one of the setups was read; after a move */
    TT_PLAN_MOVE,
    TT_PLAN_MET,
    TT_PLAN_TIPS,
    TT_PLAN_CAMERA,
    TT_PLAN_NOTES,
    TT_PLAN_HOOKS /* how many */
};

/* What of machine, plate and truth is no plain value: ingest has a hook for each. */
enum tt_bench_hook {
    TT_BENCH_NONE,
    TT_BENCH_PLATES, /* one path, or a list of them */
    TT_BENCH_PUTS,   /* FIELD=PLACE each */
    TT_BENCH_TIP,    /* after a tip was read, and so on */
    TT_BENCH_CAMERA,
    TT_BENCH_RANGES,
    TT_BENCH_MEMBER, /* the group that a mark or an edge belongs to */
    TT_BENCH_EDGE,
    TT_BENCH_REFERENCE, /* the mark that is the origin */
    TT_BENCH_TOUCH,     /* after what goes wrong with touches was read */
    TT_BENCH_HOOKS      /* how many */
};

/* record.c: what a history exports, a run with its results and exports (those alone stand in a cell
 * of CSV) or a board, and how it lists them. */
extern const struct tt_keys tt_record_keys, tt_record_export_keys, tt_board_record_keys,
    tt_record_entry_keys, tt_board_entry_keys;

/* Texts as they are stored: ingest has a hook that reads each, output one that writes it. */
enum tt_stored_hook {
    TT_STORED_NONE,
    TT_STORED_ID,   /* TT_RUN_ID_SIZE characters */
    TT_STORED_TIME, /* RFC 3339, UTC, whole seconds; required */
    TT_STORED_TEXT, /* struct tt_text; null: none */
    TT_STORED_WORD, /* a text; null: none, unless it is required */
    TT_STORED_NAME, /* a text; null: "" */
    TT_STORED_JSON, /* struct tt_text: JSON on one line */
    TT_STORED_HOOKS /* how many */
};

#endif
