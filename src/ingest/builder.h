/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run under construction: names become indexes, rows become observations, and what only all rows
 * together show (fast and slow touches, printed digits) is found at the end. Knows no file format.
 */
#ifndef TT_INGEST_BUILDER_H
#define TT_INGEST_BUILDER_H

#include "ingest/names.h"
#include "ingest/table.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/run.h"

/* Placements of the plate in one run; each costs three unknowns. A run that names more has another
 * thing in that column. */
#define TT_MOST_SETUPS 1000
/* Tips of one run, where the machine file names none. */
#define TT_MOST_TIPS 1000

/* Where a name came from: a pointer into the file, or a move of the plan; neither: the file as a
 * whole. */
struct tt_origin {
    const char *at;
    const struct tt_move *move;
};

struct tt_builder {
    struct tt_diagnose *diagnose;
    const struct tiptrue_plate *plate;     /* NULL: names are not checked against it */
    const struct tiptrue_machine *machine; /* NULL: likewise */
    const char *plan_file;                 /* of the moves */
    struct tiptrue_run *run;
    struct tt_arena scratch; /* the name tables */
    struct tt_names marks, edges, pads, tips, setups;
    size_t capacity;    /* of run->observations */
    double mm_per_unit; /* of h, z and feed, which stay in the file's unit until the end */
    bool states_units;  /* the file does, so that a second time is a contradiction */
    bool states_stage;  /* the file says which touches are find */
    bool has_first_time, has_count;
    double first_time_s, last_time_s; /* since 1970-01-01T00:00:00Z */
    double first_count_s;             /* the first time that was counted in seconds */
    int sighting_decimals, touch_decimals,
        height_decimals; /* most digits printed behind the point; INT_MIN = none yet */
    int pixel_decimals;  /* the same of px and py */
    bool out_of_memory;
};

/* @run is empty, and stays the caller's. @expected_rows: a guess. */
void tt_builder_init(struct tt_builder *builder, struct tt_diagnose *diagnose,
                     const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
                     struct tiptrue_run *run, size_t expected_rows);
void tt_builder_clear(struct tt_builder *builder);

/* Index of the target of a row of @kind, the tip, the setup; TT_NONE if unknown (told). */
size_t tt_builder_target(struct tt_builder *builder, enum tt_kind kind, const char *name,
                         size_t length, struct tt_origin origin);
size_t tt_builder_tip(struct tt_builder *builder, const char *name, size_t length,
                      struct tt_origin origin);
size_t tt_builder_setup(struct tt_builder *builder, const char *name, size_t length,
                        struct tt_origin origin);

/* The time that @cell states, in seconds since the first time of the run. It is one of RFC 3339,
 * or, in a run that says when it was started: a time of day "HH:MM:SS" in the zone of that start,
 * which goes on over midnight; or seconds counted from a moment of the controller's own, 0 to 10^7,
 * the first of which is the start. False: it is neither (told). */
bool tt_builder_time(struct tt_builder *builder, const struct tt_cell *cell, double *time_s);

/* Check the pixels of the view @row, read at @place and printed with @decimals digits behind the
 * point, against the machine's picture (faults are told), and note their digits. */
void tt_builder_view(struct tt_builder *builder, struct tt_place place,
                     const struct tt_observation *row, int decimals);

/* Append. h, z and feed in the file's units; @decimals: digits behind the point as printed, of the
 * coordinate that has more. */
void tt_builder_add(struct tt_builder *builder, const struct tt_observation *observation,
                    int decimals);

/* Whether the rows of @kind that made contact all are a whole number of steps from the first of
 * them, each within half of
 * @quantum_mm, the unit of the last printed digit. */
bool tt_is_on_grid(const struct tiptrue_run *run, enum tt_kind kind, double step_mm,
                   double quantum_mm);

/* After the last row and before the clear: the whole run. */
void tt_builder_finish(struct tt_builder *builder);

#endif
