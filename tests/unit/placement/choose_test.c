/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part that is chosen is the best of all, by the inverse of the normal equations with it and
 * without, by GSL; and what is known with it is that inverse. */
#include "config.h"

#include <check.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/distribution.h"
#include "model/machine.h"
#include "placement/choose.h"
#include "tiptrue_board.h"

#define TIPS 2
#define UNKNOWNS (4 * TIPS + TT_GRID_COLUMNS)
#define STEPS 3
#define ROTATIONS 4
#define AS_GOOD 0.03 /* share by which candidates may differ and be taken for equal */

static const double U_MM = 0.0137;
static const struct tt_machine_xy MIDDLE = {41.3, -17.9}, LOW = {3.7, -48.2}, HIGH = {83.1, 22.6};

/* A crooked covariance, positive definite: numbers of a linear congruence. */
static void make_covariance(unsigned seed, double c[UNKNOWNS * UNKNOWNS])
{
    double a[UNKNOWNS][UNKNOWNS];

    for (size_t i = 0; i < UNKNOWNS; i++) {
        double size = i < 4 * TIPS ? 0.05 : 0.001; /* mm; mm per mm */
        for (size_t k = 0; k < UNKNOWNS; k++) {
            seed = seed * 1664525u + 1013904223u;
            a[i][k] = size * ((double)(seed >> 8) / (double)(1u << 24) - 0.5 + (i == k ? 0.3 : 0));
        }
    }
    for (size_t i = 0; i < UNKNOWNS; i++) {
        for (size_t j = 0; j < UNKNOWNS; j++) {
            c[i * UNKNOWNS + j] = 0;
            for (size_t k = 0; k < UNKNOWNS; k++) {
                c[i * UNKNOWNS + j] += a[i][k] * a[j][k];
            }
        }
    }
}

/* The equation of docs/placement.md, written out: found - wanted of a part by the unknowns. */
static void rows_of(const struct tt_wanted_part *part, double x[UNKNOWNS], double y[UNKNOWNS])
{
    double c = cos(part->rotation_rad), s = sin(part->rotation_rad);
    double q_x = part->at.x_mm - MIDDLE.x_mm, q_y = part->at.y_mm - MIDDLE.y_mm;
    double *grid_x = x + 4 * TIPS, *grid_y = y + 4 * TIPS;

    for (size_t i = 0; i < UNKNOWNS; i++) {
        x[i] = y[i] = 0;
    }
    x[2 * part->tip] = y[2 * part->tip + 1] = 1;
    x[2 * TIPS + 2 * part->tip] = c;
    x[2 * TIPS + 2 * part->tip + 1] = -s;
    y[2 * TIPS + 2 * part->tip] = s;
    y[2 * TIPS + 2 * part->tip + 1] = c;
    grid_x[TT_GRID_SCALE_X] = q_x;
    grid_x[TT_GRID_SHEAR] = q_y;
    grid_x[TT_GRID_TURN] = -q_y;
    grid_y[TT_GRID_SCALE_Y] = q_y;
    grid_y[TT_GRID_TURN] = q_x;
}

/* The covariance with @part too: inverse of C^-1 + A^T A / u^2. */
static void with_part(const double before[], const struct tt_wanted_part *part, double after[])
{
    double x[UNKNOWNS], y[UNKNOWNS];
    gsl_matrix_view m = gsl_matrix_view_array(after, UNKNOWNS, UNKNOWNS);

    rows_of(part, x, y);
    for (size_t i = 0; i < UNKNOWNS * UNKNOWNS; i++) {
        after[i] = before[i];
    }
    ck_assert_int_eq(gsl_linalg_cholesky_decomp1(&m.matrix), 0);
    ck_assert_int_eq(gsl_linalg_cholesky_invert(&m.matrix), 0);
    for (size_t i = 0; i < UNKNOWNS; i++) {
        for (size_t j = 0; j < UNKNOWNS; j++) {
            after[i * UNKNOWNS + j] += (x[i] * x[j] + y[i] * y[j]) / (U_MM * U_MM);
        }
    }
    ck_assert_int_eq(gsl_linalg_cholesky_decomp1(&m.matrix), 0);
    ck_assert_int_eq(gsl_linalg_cholesky_invert(&m.matrix), 0);
}

/* Sum of the variances, of the grid by what it moves a part a quarter of the diagonal away. */
static double sum_of(const double c[])
{
    double reach = hypot(HIGH.x_mm - LOW.x_mm, HIGH.y_mm - LOW.y_mm) / 4, sum = 0;

    for (size_t i = 0; i < UNKNOWNS; i++) {
        sum += c[i * UNKNOWNS + i] * (i < 4 * TIPS ? 1 : reach * reach);
    }
    return sum;
}

/* By how much the best of all candidates lowers the sum. */
static double best_of_all(const double before[])
{
    double best = 0, after[UNKNOWNS * UNKNOWNS];

    for (size_t k = 0; k < TIPS * ROTATIONS * STEPS * STEPS; k++) {
        size_t place = k / TIPS / ROTATIONS;
        double along_x = (double)(place % STEPS) / (STEPS - 1);
        double along_y = (double)(place / STEPS) / (STEPS - 1);
        const struct tt_wanted_part part = {.tip = k % TIPS,
                                            .at = {LOW.x_mm + along_x * (HIGH.x_mm - LOW.x_mm),
                                                   LOW.y_mm + along_y * (HIGH.y_mm - LOW.y_mm)},
                                            .rotation_rad =
                                                (double)(k / TIPS % ROTATIONS) * acos(-1) / 2};
        with_part(before, &part, after);
        best = fmax(best, sum_of(before) - sum_of(after));
    }
    return best;
}

START_TEST(the_best_part_is_chosen)
{
    static double before[UNKNOWNS * UNKNOWNS], covariance[UNKNOWNS * UNKNOWNS],
        after[UNKNOWNS * UNKNOWNS];
    struct tt_board_design design = {.n_tips = TIPS, .n_unknowns = UNKNOWNS, .middle = MIDDLE};

    for (unsigned seed = 1; seed <= 40; seed++) {
        struct tt_arena arena = {0};
        struct tt_wanted_part part;
        struct tt_part_choice choice = {.design = &design,
                                        .low = LOW,
                                        .high = HIGH,
                                        .steps = STEPS,
                                        .u_mm = U_MM,
                                        .covariance = covariance};
        make_covariance(seed, before);
        for (size_t i = 0; i < UNKNOWNS * UNKNOWNS; i++) {
            covariance[i] = before[i];
        }
        ck_assert(tt_parts_choose(&choice, &part, 1, &arena));
        with_part(before, &part, after);
        ck_assert_double_ge(sum_of(before) - sum_of(after), (1 - AS_GOOD) * best_of_all(before));
        for (size_t i = 0; i < UNKNOWNS * UNKNOWNS; i++) {
            double scale =
                sqrt(before[i / UNKNOWNS * (UNKNOWNS + 1)] * before[i % UNKNOWNS * (UNKNOWNS + 1)]);
            ck_assert_double_le(fabs(covariance[i] - after[i]), 1e-7 * scale);
        }
        tt_arena_clear(&arena);
    }
}
END_TEST

/* A board for one tip, or why there is none. */
static struct tiptrue_test_board *board_of(double width_mm, double height_mm, double margin_mm,
                                           size_t parts, struct tiptrue_error *error)
{
    struct tt_tip tip = {.name = "N1"};
    const struct tiptrue_machine machine = {
        .file = "bench.json", .name = "bench", .tips = &tip, .n_tips = 1};
    const struct tiptrue_board_options options = {width_mm, height_mm, margin_mm, parts, NULL};
    struct tiptrue_test_board *board = NULL;
    enum tiptrue_status status = tiptrue_test_board_make(&machine, &options, &board, error);

    ck_assert_int_eq(status, board != NULL ? TIPTRUE_OK : TIPTRUE_E_DEGENERATE);
    return board;
}

/* 5 mm stay free along the sides, or a tenth of the shorter one; places are 2 mm apart at least,
 * three of them along a side. */
START_TEST(the_room_of_a_board)
{
    static const struct {
        double width_mm, height_mm, margin_mm;
        size_t parts;
        bool good;
    } OF[] = {
        {5.008, 9.3, 0, 9, true},        {4.992, 9.3, 0, 9, false},   {9.3, 7.51, 0, 16, true},
        {9.3, 7.51, 0, 17, false},       {9.3, 7.49, 0, 16, false},   {21.97, 71.3, 0, 81, true},
        {21.97, 71.3, 0, 82, false},     {58.04, 71.3, 0, 625, true}, {57.96, 71.3, 0, 577, false},
        {22.03, 71.3, 0.011, 144, true}, {6.03, 8.1, 1, 9, true},     {5.97, 8.1, 1, 4, false},
        {6.13, 8.1, 3.07, 4, false}};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        struct tiptrue_error error = {0};
        char said[80];
        struct tiptrue_test_board *board =
            board_of(OF[i].width_mm, OF[i].height_mm, OF[i].margin_mm, OF[i].parts, &error);
        ck_assert_msg((board != NULL) == OF[i].good, "case %zu: %s", i, error.text);
        if (board != NULL) {
            double margin = OF[i].margin_mm > 0
                                ? OF[i].margin_mm
                                : fmin(5, 0.1 * fmin(OF[i].width_mm, OF[i].height_mm)),
                   least = HUGE_VAL, most = 0;
            for (size_t k = 0; k < board->n_parts; k++) {
                least = fmin(least, board->parts[k].at.x_mm);
                most = fmax(most, board->parts[k].at.x_mm);
            }
            ck_assert_double_eq_tol(least, margin, 1e-9);
            ck_assert_double_eq_tol(most, OF[i].width_mm - margin, 1e-9);
            tiptrue_test_board_free(board);
        } else {
            snprintf(said, sizeof said, "%zu parts have no room on the board, 2 mm apart",
                     OF[i].parts);
            ck_assert_str_eq(error.text, said);
            ck_assert_str_eq(error.hint, "a larger board, or fewer parts");
            ck_assert_str_eq(error.file, "bench.json");
        }
    }
}
END_TEST

/* Twice as many places as parts are looked at: of eight, four along each side. */
START_TEST(places_to_choose_from)
{
    struct tiptrue_test_board *board = board_of(83.7, 61.3, 7.1, 8, NULL);

    ck_assert_ptr_nonnull(board);
    for (size_t k = 0; k < board->n_parts; k++) {
        double x = 3 * (board->parts[k].at.x_mm - 7.1) / (83.7 - 14.2),
               y = 3 * (board->parts[k].at.y_mm - 7.1) / (61.3 - 14.2);
        ck_assert_double_eq_tol(x, round(x), 1e-9);
        ck_assert_double_eq_tol(y, round(y), 1e-9);
    }
    tiptrue_test_board_free(board);
}
END_TEST

/* What is told of the tip is 95 %: Student's quantile times what 0.010 mm in each part leaves. Its
 * offset is then worth no less than the mean of its parts, and no more than three times that. */
START_TEST(what_a_board_will_tell)
{
    struct tiptrue_test_board *board = board_of(83.7, 61.3, 0, 12, NULL);

    ck_assert_ptr_nonnull(board);
    double k = tt_student_quantile(0.975, board->dof), mean = 0.010 / sqrt(12);
    ck_assert_double_eq(board->u_mm, 0.010);
    ck_assert_uint_eq(board->tips[0].parts, 12);
    ck_assert(board->tips[0].apart && board->grid_told);
    ck_assert_double_eq_tol(board->dof, 24 - 8, 0.2); /* offset 2, turning 2, grid 4 */
    ck_assert_double_ge(board->tips[0].offset_mm.x, k * mean * 0.999);
    ck_assert_double_le(board->tips[0].offset_mm.x, k * mean * 1.05);
    ck_assert_double_ge(board->tips[0].turning_mm.y, k * mean * 0.999);
    /* the parts stand at the corners, half a diagonal from the middle at most */
    ck_assert_double_ge(board->turn, k * mean / hypot(73.7 / 2, 51.3 / 2));
    tiptrue_test_board_free(board);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("placement/choose");
    TCase *parts = tcase_create("parts");

    tcase_add_test(parts, the_best_part_is_chosen);
    tcase_add_test(parts, the_room_of_a_board);
    tcase_add_test(parts, places_to_choose_from);
    tcase_add_test(parts, what_a_board_will_tell);
    suite_add_tcase(suite, parts);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
