/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The machine: what is known of it before a run, the offsets in use, and the limits it must keep.
 */
#ifndef TT_MODEL_MACHINE_H
#define TT_MODEL_MACHINE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "model/frames.h"

/* Degrees of freedom of a repeatability that is stated without any: itself uncertain by some 22 %
 * (JCGM 100:2008 G.4.2), which is what a dozen touches on another day show. With 40 a wrong
 * statement outweighs most runs; with 3 it hardly helps a short one. */
#define TT_STATED_DOF 10.0

struct tiptrue_plate;

/* A quantity that a file may leave out. */
struct tt_stated {
    bool stated;
    double value;
};

struct tt_tip {
    const char *name;
    bool has_radius; /* a stated contact radius with its standard uncertainty */
    double radius_mm, u_radius_mm;
    bool has_offset; /* the present offset */
    struct tt_machine_xy offset;
    const char *offset_plate; /* serial of the plate the present offset was found with, or NULL */
    bool has_runout;
    struct tt_tip_xy runout;
    bool not_in_use;            /* a run need not touch it */
    struct tt_stated height_mm; /* the present one: the head's Z where the tip's end meets the plane
                                   of the reference mark */
};

/* Where results go in one configuration file. */
struct tt_export_target {
    const char *file;  /* as written, beside the machine file; NULL = the command line names it */
    const char **puts; /* FIELD=PLACE each */
    size_t n_puts;
    bool has_max_age, has_max_change;
    double max_age_s, max_change_mm;
};

/* A limit, or a standard uncertainty, above this is in another unit (micrometres, mils): the
 * machine places parts, whose leads are thinner. A resolution above its bound likewise. */
#define TT_LARGEST_STATED_MM 1.0
#define TT_COARSEST_RESOLUTION_MM 0.1
#define TT_LARGEST_RADIUS_MM 50.0
/* An offset that changes by more was not moved by wear or a small knock: the machine file's
 * limits.plausible_change, unless it states one. */
#define TT_PLAUSIBLE_CHANGE_MM 0.3

struct tt_limits {
    bool has_permitted_error, has_expanded, has_runout, has_plausible_change, has_permitted_view;
    double permitted_error_mm; /* largest distance of the offset in use from the true one */
    double expanded_mm;        /* largest expanded uncertainty (95 %) of the offset, per axis */
    double runout_mm;          /* largest eccentricity */
    double permitted_view_mm;  /* how far the present scale and turn may misplace a feature at the
                                  picture's corner */
    bool has_placement_mm, has_placement_rad;
    double placement_mm;        /* largest distance of a part from its place, each axis */
    double placement_rad;       /* largest error of its rotation */
    double plausible_change_mm; /* as stated; read it by tt_plausible_change_mm */
    struct tt_stated permitted_height_error_mm;
};

/* The largest distance between the offset in use and a new one that is believed without being
 * accepted. */
static inline double tt_plausible_change_mm(const struct tt_limits *limits)
{
    return limits->has_plausible_change ? limits->plausible_change_mm : TT_PLAUSIBLE_CHANGE_MM;
}

/* The other files that the machine file names, as written: relative to its own folder. NULL, 0: not
 * named. */
struct tt_machine_files {
    const char **plates; /* several: the serial that the log states chooses */
    size_t n_plates;
    const char *plan, *pattern; /* how a controller's log is read: file; expression */
    const char *log;            /* which files are logs (glob) */
    const char *history, *report_folder;
    bool has_max_age; /* of a run that a job starts from */
    double max_age_s;
};

/* u of the reference mark's place if nothing was sighted and the machine file gives none: homing on
 * limit switches is good to 0.1 to 0.2 mm (common practice, no source). */
#define TT_HOMING_U_MM 0.2

struct tt_range {
    bool stated;
    double low, high;
};

/* The way of a probing move: along the edge's normal, or along one axis of the machine. */
enum tt_probing { TT_ALONG_NORMAL, TT_ALONG_AXES };

/* How the machine moves for a touch: all that a motion program needs, nothing assumed. Heights
 * count along the controller's Z. */
struct tt_motion {
    bool present; /* the file has the part */
    struct tt_stated safe_height_mm, touch_height_mm;
    struct tt_stated travel_feed_mm_s, plunge_feed_mm_s, find_feed_mm_s, measure_feed_mm_s;
    struct tt_stated rotation_feed_rad_s;
    struct tt_stated start_distance_mm; /* between tip and edge where a probing move starts */
    struct tt_stated overtravel_mm;     /* beyond the edge, where it ends without contact */
    struct tt_stated lost_motion_mm, margin_mm;
    bool has_probing;
    enum tt_probing probing;
    bool has_rotation_word;
    char rotation_word; /* 'A', 'B' or 'C' */
    struct tt_range x_mm, y_mm, z_mm, rotation_rad;
};

/* A picture has no more pixels along an axis. */
#define TT_MOST_PIXELS 1e5
/* Nor is a pixel larger than this on the board: a picture of 1000 pixels would be 1 m wide. */
#define TT_LARGEST_PIXEL_MM 1.0

/* The camera, as stated. Pixels count to the right and down from the picture's upper left corner.
 */
struct tt_camera {
    bool present; /* the file has it */
    double size_px[2];
    double centre_px[2]; /* what the offset refers to; the middle unless stated */
    bool has_scale, has_turn;
    double scale_mm[2]; /* mm per pixel along the picture's axes */
    double turn_rad;    /* of the picture's axis to the right, against machine x */
    bool mirrored;      /* as the machine uses it: the picture's axis up is the other way round */
    double u_px;        /* repeatability of a view, per axis; 0 = not stated */
    double dof;         /* how firmly; 0 = not said, TT_STATED_DOF */
    double u_kappa;     /* of a distortion about 0; 0 = not stated */
};

struct tiptrue_machine {
    const char *file;
    const char *name;
    double mm_per_unit;    /* of the file's lengths: what is printed for it is in that unit too */
    bool clockwise;        /* rotation is logged clockwise seen from above */
    double u_rotation_rad; /* 0 = not stated */
    double resolution_mm;  /* of the reported coordinates, 0 = not stated */
    bool has_u_sighting, has_u_touch;
    double u_sighting_mm, u_touch_mm; /* standard, per axis and per touch, without the resolution */
    double sighting_dof,
        touch_dof; /* how firmly they are stated: degrees of freedom; 0 = not said, TT_STATED_DOF */
    struct tt_stated u_height_mm; /* repeatability of one touch from above, without resolution */
    double height_dof;            /* as touch_dof */
    struct tt_stated level_rad;   /* standard uncertainty of the plate's slope against the machine's
                                     plane, each axis, about 0 */
    bool has_yaw;
    double yaw_rad, u_yaw_rad;
    bool has_mark; /* where the reference mark is, used only by setups without a sighting of any
                      mark */
    struct tt_machine_xy mark;
    bool has_u_mark;
    double u_mark_mm;
    struct tt_tip *tips;
    size_t n_tips; /* 0: the file names none, and any tip of a run is accepted */
    struct tt_limits limits;
    struct tt_camera camera;
    struct tt_export_target *exports;
    size_t n_exports;
    struct tt_motion motion;
    struct tt_machine_files files;
    struct tt_bytes source; /* the document as read */
    struct tt_arena arena;
};

/* How well the place of the reference mark is known without a sighting. */
static inline double tt_mark_u_mm(const struct tiptrue_machine *machine)
{
    return machine->has_u_mark ? machine->u_mark_mm : TT_HOMING_U_MM;
}

/* Is the offset of @tip that is in use one that was found with @plate? */
bool tt_found_with(const struct tt_tip *tip, const struct tiptrue_plate *plate);

#endif
