/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* When least squares of all touches stands, and from which size of a fault on a run is searched:
 * found by halving, for faults of each kind, with the repeatability stated and not. The sizes, to
 * a ten thousandth of a plain one, stand in select.txt beside this file (recorded.h): what is
 * searched in vain costs time only, and what is not searched is found by no other test. */
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
    FAULTS
};
static const char *const NAMES[FAULTS] = {
    "one late", "all scatter", "half scatter", "one sighting", "yaw",   "film",       "mark",
    "radius",   "lost motion", "latency",      "moved",        "drift", "not square", "shape"};
/* A size that is searched. */
static const double PLAIN[FAULTS] = {0.05, 0.03, 0.03, 0.05, 3,    0.1, 0.2,
                                     0.1,  0.05, 0.1,  0.2,  0.15, 0.1, 0.05};

enum how { STATED, NOT_STATED, COARSE, TWO_TIPS, HOWS };

static struct scene scene_with(enum fault fault, enum how how, double size)
{
    struct scene s = how == TWO_TIPS ? scene_full() : scene_many_edges(20261201);

    s.seed = 93 + (unsigned long)how;
    s.n_setups = 1;
    s.rotations = 8;
    s.feed_mm_min[0] = 40;
    s.feed_mm_min[1] = 90;
    s.tips[0].stated_radius = 0.2481 + (fault == RADIUS ? size : 0);
    s.tips[0].u_radius = 0.003;
    s.u_touch = how == NOT_STATED ? 0 : s.u_touch;
    s.resolution = how == COARSE ? 0.005 : 0;
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
    return s;
}

static bool is_searched(enum fault fault, enum how how, double size)
{
    struct scene s = scene_with(fault, how, size);
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

START_TEST(from_which_size_on)
{
    struct tt_buffer found = {0};

    for (int how = 0; how < HOWS; how++) {
        for (int fault = 0; fault < FAULTS; fault++) {
            double low = fault == ALL_SCATTER ? 2e-3 : 0, high = PLAIN[fault];
            ck_assert_msg(!is_searched(fault, how, low), "%s, %d: searched without", NAMES[fault],
                          how);
            ck_assert_msg(is_searched(fault, how, high), "%s, %d: not searched at %g", NAMES[fault],
                          how, high);
            while (high - low > 1e-4 * PLAIN[fault]) {
                double middle = 0.5 * (low + high);
                bool searched = is_searched(fault, how, middle);
                low = searched ? low : middle;
                high = searched ? middle : high;
            }
            tt_buffer_printf(&found, "case %s, %d: %.5g\n", NAMES[fault], how, high);
        }
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
