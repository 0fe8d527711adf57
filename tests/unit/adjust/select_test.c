/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* When least squares of all touches stands, and from which size of a fault on a run is searched,
 * and the fault told: found by halving, for faults of each kind, with the repeatability stated and
 * not. The sizes, to a thousandth of a plain one, stand in select.txt beside this file
 * (recorded.h): what is searched in vain costs time only, and what is not searched is found by no
 * other test. */
#include "config.h"

#include "adjust/select.h"
#include "recorded.h"
#include "scene.h"

enum fault {
    ONE_LATE,     /* mm */
    ALL_SCATTER,  /* standard deviation, mm */
    HALF_SCATTER, /* of every second touch besides, mm */
    ONE_SIGHTING, /* off by, mm */
    YAW,          /* of the one mark's plate, against the nominal one, degrees */
    FILM,         /* over one edge, mm */
    MARK,         /* off by, mm */
    RADIUS,       /* stated, off by, mm */
    LOST_MOTION,  /* mm */
    LATENCY,      /* s */
    MOVED,        /* half-way, mm */
    DRIFT,        /* over the run, mm */
    NOT_SQUARE,   /* rad */
    SHAPE,        /* of the second order, mm */
    GAP,          /* between the first and the last rotation, degrees */
    FAULTS
};
static const char *const NAMES[FAULTS] = {
    "one late", "all scatter", "half scatter", "one sighting", "yaw",
    "film",     "mark",        "radius",       "lost motion",  "latency",
    "moved",    "drift",       "not square",   "shape",        "gap"};
/* A size that is searched. */
static const double PLAIN[FAULTS] = {
    [ONE_LATE] = 0.02,      [ALL_SCATTER] = 0.01, [HALF_SCATTER] = 0.013,
    [ONE_SIGHTING] = 0.018, [YAW] = 1.5,          [FILM] = 0.035,
    [MARK] = 0.02,          [RADIUS] = 0.02,      [LOST_MOTION] = 0.026,
    [LATENCY] = 0.0051,     [MOVED] = 0.015,      [DRIFT] = 0.017,
    [NOT_SQUARE] = 0.0052,  [SHAPE] = 0.0055,     [GAP] = 210};

enum how { STATED, NOT_STATED, COARSE, HOWS };

static struct scene scene_with(enum fault fault, enum how how, double size)
{
    struct scene s = scene_many_edges(20261201);

    s.seed = 93 + (unsigned long)how;
    s.rotations = 8;
    s.feed_mm_min[0] = 40;
    s.feed_mm_min[1] = 90;
    s.tips[0].stated_radius = 0.2481 + (fault == RADIUS ? size : 0);
    s.tips[0].u_radius = 0.003;
    s.u_touch = how == NOT_STATED ? 0 : s.u_touch;
    s.resolution = how == COARSE ? 0.008 : 0;
    s.decimals = how == COARSE ? 3 : 5;
    s.u_rotation_deg = how == COARSE ? 0.9 : 0;
    s.sigma_touch = fault == ALL_SCATTER ? size : 0.002;
    s.n_marks = fault == YAW ? 1 : s.n_marks;
    s.has_yaw = fault == YAW;
    s.u_yaw_deg = 0.2;
    s.setups[0].yaw_deg = fault == YAW ? size : s.setups[0].yaw_deg;
    s.edges[1].shift = fault == FILM ? -size : 0;
    s.marks[1].shift_x = fault == MARK ? size : 0;
    s.lost_motion = fault == LOST_MOTION ? size : 0;
    s.latency_s = fault == LATENCY ? size : 0;
    s.tips[0].order = fault == SHAPE ? 2 : 0;
    s.tips[0].shape_cos = size;
    s.sweep_deg = fault == GAP ? 360 - size : 360;
    return s;
}

static struct scene_rows rows_with(enum fault fault, const struct scene *scene, double size)
{
    const struct scene s = *scene;
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        double part = (double)i / (double)rows.n;
        if (row->is_sight) {
            row->x += fault == ONE_SIGHTING && i == 1 ? size : 0;
            continue;
        }
        scene_deepen(row, fault == ONE_LATE && i == 31 ? size : 0);
        scene_deepen(row, fault == HALF_SCATTER && i % 2 == 0 ? size * cos(2.7 * (double)i) : 0);
        row->x += fault == MOVED && part > 0.5 ? size : 0;
        row->y += fault == DRIFT ? size * part : 0;
        row->x += fault == NOT_SQUARE ? size * (row->y - s.setups[0].mark_y) : 0;
    }
    return rows;
}

static bool is_searched(enum fault fault, enum how how, double size)
{
    struct scene s = scene_with(fault, how, size);
    struct scene_rows rows = rows_with(fault, &s, size);
    struct scene_read read = scene_read(&s, &rows);
    struct tt_noise noise = tt_noise_of(read.machine, read.run);
    struct tt_arena arena = {0};
    struct tt_selection selection;
    ck_assert_int_eq(
        tt_select(&selection, &arena, read.plate, read.machine, read.run, &noise, true),
        TIPTRUE_OK);
    bool searched = selection.explanation != NULL;
    tt_arena_clear(&arena);
    scene_read_free(&read);
    scene_rows_free(&rows);
    return searched;
}

static bool is_told(enum fault fault, enum how how, double size, enum tt_finding_code code)
{
    struct scene s = scene_with(fault, how, size);
    struct scene_rows rows = rows_with(fault, &s, size);
    struct tiptrue_solution *solution = scene_solve(&s, &rows, false);
    bool told = scene_count(solution, code) > 0;

    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
    return told;
}

/* The size from which on a run with @fault is searched, or (@code) that is told. */
static void put_size(struct tt_buffer *to, enum fault fault, enum how how,
                     enum tt_finding_code code)
{
    bool told = code != TT_FINDING_CODES;
    double low = fault == ALL_SCATTER ? 2e-3 : 0, high = PLAIN[fault];
    const char *name = told ? tt_finding_name(code) : "searched";

    ck_assert_msg(!(told ? is_told(fault, how, low, code) : is_searched(fault, how, low)),
                  "%s, %d: %s without", NAMES[fault], how, name);
    ck_assert_msg(told ? is_told(fault, how, high, code) : is_searched(fault, how, high),
                  "%s, %d: not %s at %g", NAMES[fault], how, name, high);
    /* a probability moves it little */
    while (high - low > (fault == ALL_SCATTER ? 1e-4 : 1e-3) * PLAIN[fault]) {
        double middle = 0.5 * (low + high);
        bool on = told ? is_told(fault, how, middle, code) : is_searched(fault, how, middle);
        low = on ? low : middle;
        high = on ? middle : high;
    }
    tt_buffer_printf(to, "case %s, %d, %s: %.5g\n", NAMES[fault], how, name, high);
}

START_TEST(from_which_size_on)
{
    static const struct {
        enum fault fault;
        enum tt_finding_code code;
    } TOLD[] = {{ONE_LATE, TT_FINDING_LATE_CONTACT}, {ALL_SCATTER, TT_FINDING_SCATTERED},

                {FILM, TT_FINDING_EDGE_OFF},         {MARK, TT_FINDING_MARKS_OFF},
                {RADIUS, TT_FINDING_RADIUS_OFF},     {LOST_MOTION, TT_FINDING_LOST_MOTION},
                {LATENCY, TT_FINDING_LATENCY},       {MOVED, TT_FINDING_MOVED_PLATE},
                {DRIFT, TT_FINDING_DRIFT_IN_RUN},    {SHAPE, TT_FINDING_TIP_NOT_ROUND},
                {GAP, TT_FINDING_ROTATION_GAP}};
    struct tt_buffer found = {0};

    for (int how = 0; how < HOWS; how++) {
        for (int fault = 0; fault < GAP; fault++) {
            put_size(&found, (enum fault)fault, (enum how)how, TT_FINDING_CODES);
        }
    }
    for (size_t k = 0; k < sizeof TOLD / sizeof TOLD[0]; k++) {
        put_size(&found, TOLD[k].fault, STATED, TOLD[k].code);
    }
    recorded_compare(&found, "tests/unit/adjust/select.txt", 0);
    tt_buffer_clear(&found);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/select");
    TCase *tcase = tcase_create("select");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, from_which_size_on);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
