/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part that is chosen is the best of all, by the inverse of the normal equations with it and
 * without, by GSL; and what is known with it is that inverse. */
#include "config.h"

#include <check.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

#include "placement/choose.h"

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

int main(void)
{
    Suite *suite = suite_create("placement/choose");
    TCase *parts = tcase_create("parts");

    tcase_add_test(parts, the_best_part_is_chosen);
    suite_add_tcase(suite, parts);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
