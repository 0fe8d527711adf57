/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A finding: what the measurement says about itself. */
#ifndef TT_MODEL_FINDING_H
#define TT_MODEL_FINDING_H

#include <stdbool.h>
#include <stddef.h>

#include "tiptrue.h"

enum tt_finding_code {
    TT_FINDING_UNDETERMINED,
    TT_FINDING_PRIOR_BOUND,
    TT_FINDING_LATE_CONTACT,
    TT_FINDING_SCATTERED,
    TT_FINDING_MOVED_PLATE,
    TT_FINDING_DRIFT_IN_RUN,
    TT_FINDING_ROTATION_SENSE,
    TT_FINDING_ROTATION_GAP,
    TT_FINDING_FEW_TOUCHES,
    TT_FINDING_TIP_NOT_ROUND,
    TT_FINDING_LOST_MOTION,
    TT_FINDING_EDGE_OFF,
    TT_FINDING_YAW_OFF,
    TT_FINDING_UNIT_SUSPECT,
    TT_FINDING_COARSE_DIGITS,
    TT_FINDING_SIGHTINGS_ONE_SIDED,
    TT_FINDING_ODD_ROTATIONS,
    TT_FINDING_LATENCY,
    TT_FINDING_NO_CONTACT,
    TT_FINDING_RUNOUT_OVER,
    TT_FINDING_UNCERTAINTY_OVER,
    TT_FINDING_DOES_NOT_FIT,
    TT_FINDING_IMPLAUSIBLE,
    TT_FINDING_AMBIGUOUS,
    TT_FINDING_MARKS_OFF,
    TT_FINDING_RADIUS_OFF,
    TT_FINDING_MIRRORED,
    TT_FINDING_TIPS_EXCHANGED,
    TT_FINDING_CHANGE_IMPLAUSIBLE,
    TT_FINDING_ROTATION_SLIP,
    TT_FINDING_MOVED_CAMERA,
    TT_FINDING_MOVED_TIP,
    TT_FINDING_CORRELATED_TOUCHES,
    TT_FINDING_REPEATED_ROWS,
    TT_FINDING_SEVERAL_LOGS,
    TT_FINDING_NOT_TOUCHED,
    TT_FINDING_OTHER_MACHINE,
    TT_FINDING_OTHER_PLATE,
    TT_FINDING_FACE_RUNOUT,
    TT_FINDING_SLOPE,
    TT_FINDING_PAD_OFF,
    TT_FINDING_HEIGHT_UNDETERMINED,
    TT_FINDING_FIT_DISAGREES,
    TT_FINDING_EDGE_FILM,
    TT_FINDING_OFFSET_OFF,
    TT_FINDING_ALL_TIPS_OFF,
    TT_FINDING_TURNING,
    TT_FINDING_GRID_OFF,
    TT_FINDING_ROTATION_ZERO,
    TT_FINDING_SLIPPED_PARTS,
    TT_FINDING_FEW_PARTS,
    TT_FINDING_NOT_NORMAL,
    TT_FINDING_CAMERA_OFF,
    TT_FINDING_LENS_DISTORTION,
    TT_FINDING_PICTURE_MIRRORED,
    TT_FINDING_AXES_SCALE,
    TT_FINDING_AXES_NOT_SQUARE,
    TT_FINDING_CONFIRMED,
    TT_FINDING_CONTRADICTED,
    TT_FINDING_MOVED_BOARD,
    TT_FINDING_CODES /* how many */
};

/* "late-contact" and so on: the names of docs/formats.md. */
const char *tt_finding_name(enum tt_finding_code code);

/* The unit that a value is kept in, and the end of its key outside: "apart_mm", "turned_deg". */
enum tt_unit {
    TT_UNIT_NONE,  /* a count, a factor: no suffix; a text too */
    TT_UNIT_SHARE, /* of 1: "_share" */
    TT_UNIT_MM,
    TT_UNIT_RAD, /* "_deg" outside */
    TT_UNIT_S,
    TT_UNIT_C, /* degrees Celsius */
    TT_UNIT_PPM,
    TT_UNIT_PPM_PER_K,
    TT_UNITS /* how many */
};

/* The longest key with its suffix. */
#define TT_LONGEST_KEY 63

/* The end of a key in that unit, "" for none: "_deg" for TT_UNIT_RAD. */
const char *tt_unit_suffix(enum tt_unit unit);

/* What an explanation of a run says, which edges would do as well, where its logs begin, clause by
 * clause: of which edge, mark, pad or tip, with which line, angle or number of touches, and of how
 * many. */
enum tt_clause_code {
    TT_CLAUSE_ALL_GOOD,
    TT_CLAUSE_SOME_TOUCHES,
    TT_CLAUSE_EDGE_LATE,
    TT_CLAUSE_EDGE_OFF,
    TT_CLAUSE_EDGE_OUT,
    TT_CLAUSE_SIGHTING,
    TT_CLAUSE_MARK,
    TT_CLAUSE_RADIUS,
    TT_CLAUSE_RADII,
    TT_CLAUSE_MOVED,
    TT_CLAUSE_CAMERA,
    TT_CLAUSE_TIP,
    TT_CLAUSE_TIPS,
    TT_CLAUSE_SLIPPED,
    TT_CLAUSE_DRIFTED,
    TT_CLAUSE_LOST_MOTION,
    TT_CLAUSE_LATENCY,
    TT_CLAUSE_NOT_ROUND,
    TT_CLAUSE_REVERSED,
    TT_CLAUSE_NOT_SQUARE,
    TT_CLAUSE_SCALES,
    TT_CLAUSE_AXES,
    TT_CLAUSE_DISTORTED,
    TT_CLAUSE_TURNED,
    TT_CLAUSE_FACE, /* of touches from above, to TT_CLAUSE_HEIGHTS_MOVED */
    TT_CLAUSE_PAD,
    TT_CLAUSE_HEIGHTS_DRIFTED,
    TT_CLAUSE_HEIGHTS_MOVED,
    TT_CLAUSE_TOUCHES, /* left out, and as many others: behind another clause */
    TT_CLAUSE_OTHER_TOUCHES,
    TT_CLAUSE_TOUCHES_OF_ALL,
    TT_CLAUSE_EDGE, /* one of several */
    TT_CLAUSE_LOG   /* of which the lines of a run begin there */
};

struct tt_clause {
    enum tt_clause_code code;
    const char *name;
    size_t number, of;
};

struct tt_clauses {
    struct tt_clause *clause;
    size_t n;
};

/* One figure, word or list of clauses of a finding. */
struct tt_value {
    const char *key; /* without the unit's suffix: lower case, words joined by '_' */
    enum tt_unit unit;
    double number;                    /* in @unit; NaN = not determined */
    const char *text;                 /* not NULL: this is a text, and the number means nothing */
    const struct tt_clauses *clauses; /* not NULL: of which output makes the text */
};

/* An array of struct tt_value and its length, as two arguments. */
#define TT_VALUES(...)                                                                             \
    (const struct tt_value[]){__VA_ARGS__},                                                        \
        sizeof((const struct tt_value[]){__VA_ARGS__}) / sizeof(struct tt_value)
#define TT_NO_VALUES NULL, 0
/* Values by unit; each key without its suffix. */
#define TT_PLAIN(key, number) ((struct tt_value){(key), TT_UNIT_NONE, (double)(number), NULL, NULL})
#define TT_SHARE(key, share) ((struct tt_value){(key), TT_UNIT_SHARE, (share), NULL, NULL})
#define TT_IN_MM(key, value_mm) ((struct tt_value){(key), TT_UNIT_MM, (value_mm), NULL, NULL})
#define TT_IN_DEG(key, value_rad) ((struct tt_value){(key), TT_UNIT_RAD, (value_rad), NULL, NULL})
#define TT_IN_S(key, value_s) ((struct tt_value){(key), TT_UNIT_S, (value_s), NULL, NULL})
#define TT_IN_C(key, value_C) ((struct tt_value){(key), TT_UNIT_C, (value_C), NULL, NULL})
#define TT_CLAUSES(key, list) ((struct tt_value){(key), TT_UNIT_NONE, 0, "", (list)})
#define TT_TEXT(key, text) ((struct tt_value){(key), TT_UNIT_NONE, 0, (text), NULL})

struct tt_finding {
    enum tt_finding_code code;
    enum tiptrue_severity
        severity;     /* TIPTRUE_ERROR: nothing of what it names may be used (verdict repeat) */
    const char *text; /* one or two plain sentences: what, how much, what to do; NULL: output still
                         has to make it (output/text/sentences.h) */
    size_t edge, tip, setup; /* what it is about (edge: of the plate; tip, setup: of the run);
                                TT_NONE = not about one */
    const size_t *lines;     /* the rows it is about, as lines of the run's file, ascending */
    size_t n_lines;
    const struct tt_value *values; /* keys differ */
    size_t n_values;
};

/* Whether the finding is about heights only: it leaves the offsets alone. */
bool tt_finding_is_of_heights(const struct tt_finding *finding);
/* Whether an error of this kind is one for heights: about them, or that the rows are not of what
 * they are said to be. */
bool tt_finding_spoils_heights(const struct tt_finding *finding);

/* The value of @finding under @key (without suffix), or NULL. */
const struct tt_value *tt_finding_value(const struct tt_finding *finding, const char *key);

/* The word that tells cases of one code apart, its value `what` or else `kind`; "": it has none. */
const char *tt_finding_kind(const struct tt_finding *finding);

#endif
