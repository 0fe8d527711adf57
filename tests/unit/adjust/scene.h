/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Invented runs with a known truth, for the tests of the adjustment: a plate, a machine and what is
 * true of them; the rows that such a machine would log; the three files as text, read and solved as
 * the program does it.
 *
 * Shares no line with src/geometry: every position is built from the definitions of docs/formats.md
 * (where the tip's centre is when its contact point lies on the edge). Lengths mm, angles degrees;
 * names in the files are those of the structs.
 */
#ifndef SCENE_H
#define SCENE_H

#include <stdbool.h>
#include <stddef.h>

#include "adjust/adjust.h"

enum { SCENE_MARKS = 4, SCENE_GROUPS = 2, SCENE_EDGES = 8, SCENE_TIPS = 8, SCENE_SETUPS = 3 };

/* Zeros and NULLs mean: not stated in the file. What is true stands last. */
struct scene_mark {
    const char *name, *group;
    double x, y, u;
    double shift_x, shift_y;
};
struct scene_group {
    const char *name;
    double u;
    double shift_x, shift_y;
};
struct scene_edge {
    const char *name, *group;
    double from_x, from_y, to_x, to_y;
    bool free_right;
    double u;
    double shift;
};
struct scene_tip {
    const char *name;
    double stated_radius, u_radius;
    bool has_present;
    double present_x, present_y;
    const char *present_plate;
    double offset_x, offset_y, runout_x, runout_y, radius;
    unsigned order; /* of its shape; 0 = round */
    double shape_cos, shape_sin;
};
struct scene_setup {
    const char *name;
    double mark_x, mark_y, yaw_deg;
};

struct scene {
    /* plate file */
    const char *serial;
    size_t n_marks, n_groups, n_edges;
    struct scene_mark marks[SCENE_MARKS]; /* the first is the reference, at (0, 0) */
    struct scene_group groups[SCENE_GROUPS];
    struct scene_edge edges[SCENE_EDGES];
    double expansion_ppm_per_K, measured_at_C;
    bool plate_in_inch;
    /* machine file */
    bool clockwise;
    double u_rotation_deg, resolution, u_sight, u_touch;
    double stated_dof; /* of u_sight and u_touch; 0 = so many that they count as exact */
    bool has_yaw, has_mark;
    double nominal_yaw_deg, u_yaw_deg, machine_mark_x, machine_mark_y, u_mark;
    size_t n_tips;
    struct scene_tip tips[SCENE_TIPS];
    double permitted_error, expanded, runout_limit;
    bool machine_in_inch;
    /* run */
    size_t n_setups;
    struct scene_setup setups[SCENE_SETUPS];
    size_t sightings;                     /* of every mark, in every setup */
    size_t rotations;                     /* of every tip on every edge, in every setup */
    double first_rotation_deg, sweep_deg; /* rotations are first + sweep i / rotations */
    double spread;         /* along an edge its touches lie at 0.3 to 0.3 + 3 spread of the way */
    double temperature_C;  /* logged when the plate expands */
    double feed_mm_min[2]; /* touches take them in turn; the second 0 = one feed, both 0 = not
                              logged */
    double sigma_touch, sigma_sight;
    double lost_motion, latency_s;
    int decimals; /* of the logged coordinates; 0 = all that a double has */
    bool run_in_inch;
    unsigned long seed;
};

struct scene_row {
    bool is_sight;
    size_t target, tip, setup;
    double x, y, rotation_deg, feed_mm_min;
    double n_x, n_y; /* of the touched edge, machine frame */
    bool no_contact;
};
struct scene_rows {
    struct scene_row *row;
    size_t n;
};

/* The three objects that an adjustment takes. */
struct scene_read {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_run *run;
};

/* Three marks, four edges that face each other across a slot in x and one in y, one tip; nothing
 * symmetric, no scatter, exact log.
 */
struct scene scene_plain(void);
/* The same as a bench would log it: scatters of 3 um (touch) and 2 um (sighting), four decimals. */
struct scene scene_usual(unsigned long seed);
/* Usual, with four more edges that stand askew, every edge uncertain by 5 um. */
struct scene scene_many_edges(unsigned long seed);
/* Two tips, two setups, features of every kind; the second tip without a stated radius, one edge
 * and the reference mark exact. */
struct scene scene_full(void);
/* An edge of length 2 @half whose middle is (@x, @y) and whose free side lies towards @normal_deg;
 * every other one is told by its right side. */
struct scene_edge scene_edge_at(const char *name, double x, double y, double normal_deg,
                                double half, bool free_right);

/* What is logged. Setup by setup: sightings, then rotation by rotation every edge with every tip.
 * The caller's: scene_rows_free. */
struct scene_rows scene_simulate(const struct scene *scene);
void scene_rows_free(struct scene_rows *rows);
/* Let the contact of a row come @mm deeper than it did. */
void scene_deepen(struct scene_row *row, double mm);
/* The line of the run's file on which row @index stands. */
size_t scene_line(const struct scene *scene, size_t index);

/* The files as text, malloc'ed. */
char *scene_plate_text(const struct scene *scene);
char *scene_machine_text(const struct scene *scene);
char *scene_run_text(const struct scene *scene, const struct scene_rows *rows);

/* Write, read: every file must be without a fault. */
struct scene_read scene_read(const struct scene *scene, const struct scene_rows *rows);
void scene_read_free(struct scene_read *read);
/* Write, read and solve. The caller's: tiptrue_solution_free. */
struct tiptrue_solution *scene_solve(const struct scene *scene, const struct scene_rows *rows,
                                     bool least_squares);
/* Simulate and solve, robust step on. */
struct tiptrue_solution *scene_result(const struct scene *scene);

size_t scene_count(const struct tiptrue_solution *solution, enum tt_finding_code code);
/* The first finding of the code; the test fails where there is none. */
const struct tt_finding *scene_finding(const struct tiptrue_solution *solution,
                                       enum tt_finding_code code);

/* The only finding of the solution, which must be this one. */
const struct tt_finding *scene_only(const struct tiptrue_solution *solution,
                                    enum tt_finding_code code, enum tiptrue_severity severity);
/* Every one of the words must stand in the text. */
void scene_check_words(const char *text, const char *const words[], size_t n);
#define CHECK_WORDS(text, ...)                                                                     \
    scene_check_words((text), (const char *const[]){__VA_ARGS__},                                  \
                      sizeof((const char *const[]){__VA_ARGS__}) / sizeof(const char *))
/* The offset of the first tip must be the true one within @tolerance_mm. */
void scene_check_near(const struct tiptrue_solution *solution, const struct scene *scene,
                      double tolerance_mm);

static inline double scene_stated_dof(const struct scene *s)
{
    return s->stated_dof > 0 ? s->stated_dof : 1e9;
}

#endif
