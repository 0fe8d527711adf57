/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the parts of a board say of the calibration. Written by placement, read by output; one block
 * that outlives the board and the machine.
 *
 * found - wanted = common + offset of the tip + R(rotation) turning + E (wanted - middle) + scatter
 * Uncertainties: u_ standard; expanded_ 95 % by Student's t with the dof beside it. */
#ifndef TT_MODEL_PLACEMENT_H
#define TT_MODEL_PLACEMENT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/finding.h"
#include "model/frames.h"
#include "model/joined.h"

/* What may be off. The order is that of the lists in output. */
enum tt_term_kind {
    TT_TERM_COMMON,  /* all tips alike: camera, the board's seat, or all offsets */
    TT_TERM_OFFSET,  /* of one tip */
    TT_TERM_TURNING, /* of one tip, turns with the rotation */
    TT_TERM_SCALE,   /* x and y alike */
    TT_TERM_SCALE_X,
    TT_TERM_SCALE_Y,
    TT_TERM_SHEAR,
    TT_TERM_TURN,         /* of the whole grid */
    TT_TERM_ANGLE_COMMON, /* rotation zero, all tips alike */
    TT_TERM_ANGLE,        /* rotation zero of one tip */
    TT_TERM_MOVE,         /* something moved while parts were placed or measured */
    TT_TERM_KINDS         /* how many */
};

/* One term of an explanation. */
struct tt_term {
    enum tt_term_kind kind;
    size_t tip; /* TT_NONE: not of one tip */
};

/* One explanation of the board with its probability among all that were looked at. */
struct tt_board_explanation {
    const struct tt_term *terms; /* none: nothing is off */
    size_t n_terms;
    double probability;
};

/* A quantity of one axis and what is allowed. */
struct tt_capability_axis {
    size_t parts;
    double mean, standard_deviation; /* mm or degrees; of all parts, slipped ones too */
    double a2, p_normal; /* Anderson and Darling's statistic, adjusted for the sample; its p */
    bool normal;         /* p_normal is not below TT_NORMAL_P: the indices are given */
    double cp, cp_low, cp_high, cpk, cpk_low, cpk_high; /* limits 95 %, two-sided */
    double share_normal;                                /* within the limits by the normal law */
    size_t within;                                      /* parts within the limits */
    double share_low, share_high; /* 95 % limits of the share, whatever the law */
};

struct tt_capability {
    size_t tip; /* TT_NONE: all parts */
    bool has_place, has_rotation;
    struct tt_capability_axis x, y, rotation;
};

struct tt_placed_tip {
    const char *name;
    size_t parts, used;
    bool has_offset; /* false: one tip in the board's own frame */
    struct tt_pair offset_mm, u_offset_mm, expanded_offset_mm; /* to be added to the one in use */
    double offset_cov_mm2;                                     /* of x with y */
    double p_offset; /* probability that this tip's own offset is off */
    bool turning_shown;
    struct tt_pair turning_mm, u_turning_mm, expanded_turning_mm; /* at rotation 0 */
    double p_turning;
    bool offset_apart; /* the parts tell its offset from its turning */
    bool has_angle;    /* rotations were found */
    bool angle_shown;  /* error, below, is shown */
    double angle_rad, u_angle_rad, expanded_angle_rad; /* found - wanted, as the machine counts */
    double p_angle, angle_dof;
    double repeatability_mm; /* of this tip's parts alone */
    double dof;              /* of offset and turning */
};

struct tt_board_grid {
    bool shown, turn_known;
    double p;
    double scale_x, scale_y, shear, turn; /* mm per mm */
    double u_scale_x, u_scale_y, u_shear, u_turn;
};

/* One part of the board. Rotations are counter-clockwise. */
struct tt_placed_part {
    size_t line, tip;
    struct tt_machine_xy wanted;
    struct tt_pair off_mm; /* found - wanted; with `relative` less the mean of the tips' offsets */
    struct tt_pair apart_mm; /* of that what its tip's offset and turning do not explain */
    double rotation_rad;
    bool used, has_turned;
    double turned_rad; /* found - wanted rotation, -pi to pi, as the machine counts */
};

/* A part to be placed so that what is open is told. */
struct tt_wanted_part {
    size_t tip;
    struct tt_machine_xy at;
    double rotation_rad; /* as the machine counts */
};

/* What changed on a tip since an earlier board, or on it over the first tip, in which the board's
 * seat cancels: this board's value less the earlier one's. */
struct tt_board_change {
    const char *tip, *over; /* over: NULL = of the tip itself */
    struct tt_pair offset_mm, u_offset_mm, expanded_offset_mm;
    double dof, p_chance; /* probability of a change as large by chance */
    bool has_angle;
    double angle_rad, u_angle_rad, expanded_angle_rad, p_angle_chance;
};

struct tt_board_since {
    const char *file, *started; /* started: NULL = not stated */
    struct tt_board_change *changes;
    size_t n_changes;
};

struct tiptrue_placement {
    const char *file, *machine, *started; /* machine, started: NULL = not stated */
    char id[17];                          /* digest of the board's file */
    bool own_frame, clockwise;            /* clockwise: the machine counts rotations so */
    bool relative; /* offsets count from the mean of the tips: the board's place is not known */
    size_t parts_read, parts_used, parts_not_found;
    const char **tip_names;
    struct tt_placed_tip *tips;
    size_t n_tips;
    bool common_shown, has_common;
    struct tt_pair common_mm, u_common_mm;
    double p_common;
    struct tt_board_grid grid;
    struct tt_machine_xy middle;
    double repeatability_mm, repeatability_dof; /* of one part, each axis */
    bool by_axis, by_tip;                       /* repeatabilities that differ were kept apart */
    bool has_repeatability_angle;
    double repeatability_rad;
    struct tt_placed_part *parts; /* those found, n of them parts_read, in the file's order */
    size_t *set_aside;            /* lines, ascending */
    size_t n_set_aside;
    struct tt_board_explanation *explanations; /* of the places, likeliest first */
    size_t n_explanations;
    bool has_limit_mm, has_limit_rad;
    double limit_mm, limit_rad;
    double systematic_mm; /* largest distance by which the terms that are shown put a part off */
    struct tt_capability *capability; /* all parts, then each tip; n 0: no limits */
    size_t n_capability;
    struct tt_board_since *since;  /* an earlier board; NULL: none was named */
    struct tt_joined *joined;      /* with the run of a result; NULL: none was named */
    struct tt_wanted_part *wanted; /* parts that would tell what is open */
    size_t n_wanted;
    struct tt_finding *findings; /* worst first; tip counts in tip_names */
    size_t n_findings;
    enum tiptrue_verdict verdict;
    struct tt_arena arena; /* owns all of the above */
};

/* "offset", "turning" …: the words of docs/formats.md. */
const char *tt_term_word(enum tt_term_kind kind);

/* A board to be placed so that its parts tell the calibration: where each part goes, and what they
 * will tell. Written by placement, read by output. Places count from the board's lower left corner.
 */

/* Expanded uncertainties (95 %) to be expected. */
struct tt_test_tip {
    const char *name;
    size_t parts;
    struct tt_pair offset_mm, turning_mm;
    bool apart; /* its offset is told from what turns with the part */
};

struct tiptrue_test_board {
    const char *machine;
    double width_mm, height_mm;
    double u_mm;                  /* repeatability of a part that the uncertainties are for */
    double dof;                   /* to be expected; below 1 nothing is said of uncertainties */
    struct tt_wanted_part *parts; /* the first ones tell most */
    size_t n_parts;
    struct tt_test_tip *tips;
    size_t n_tips;
    bool grid_told;
    double scale_x, scale_y, shear, turn; /* mm per mm, expanded */
    struct tt_arena arena;
};

#endif
