/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The bordered block-diagonal solver against a slow twin: the same normal matrix stored whole and
 * handed to GSL. */
#include "config.h"

#include "adjust/system.h"

#include <check.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "model/frames.h"

#define MOST_BLOCKS 8
#define MOST_UNKNOWNS 100
#define MOST_BLOCK 9

/* A system, and its twin: the matrix and right side added up without any structure. */
struct twins {
    struct tt_arena arena;
    struct tt_system system;
    size_t sizes[MOST_BLOCKS];
    size_t first[MOST_BLOCKS];  /* of each block, in the twin */
    double unit[MOST_UNKNOWNS]; /* of each unknown: its column is scaled by it */
    gsl_matrix *whole;
    gsl_vector *right;
};

static void twins_init(struct twins *t, size_t n_border, size_t n_blocks, const size_t sizes[])
{
    *t = (struct twins){0};
    size_t n = n_border;
    for (size_t b = 0; b < n_blocks; b++) {
        t->sizes[b] = sizes[b];
        t->first[b] = n;
        n += sizes[b];
    }
    ck_assert(n <= MOST_UNKNOWNS);
    ck_assert_int_eq(tt_system_init(&t->system, &t->arena, n_border, n_blocks, t->sizes),
                     TIPTRUE_OK);
    ck_assert_uint_eq(t->system.n_unknowns, n);
    tt_system_zero(&t->system);
    t->whole = gsl_matrix_calloc(n, n);
    t->right = gsl_vector_calloc(n);
    for (size_t i = 0; i < n; i++) {
        t->unit[i] = 1;
    }
}

static void twins_clear(struct twins *t)
{
    gsl_matrix_free(t->whole);
    gsl_vector_free(t->right);
    tt_arena_clear(&t->arena);
}

/* Where @place of @block stands in the twin. */
static size_t index_of(const struct twins *t, size_t block, size_t place)
{
    return place < t->system.n_border ? place : t->first[block] + place - t->system.n_border;
}

static void twin_row(struct twins *t, size_t block, const struct tt_entry entries[], size_t n,
                     double weight, double residual)
{
    for (size_t i = 0; i < n; i++) {
        const size_t at = index_of(t, block, entries[i].place);
        *gsl_vector_ptr(t->right, at) += weight * entries[i].value * residual;
        for (size_t j = 0; j < n; j++) {
            const size_t to = index_of(t, block, entries[j].place);
            *gsl_matrix_ptr(t->whole, at, to) += weight * entries[i].value * entries[j].value;
        }
    }
}

/* A row over @n places, all of the border first, then those of @block (TT_NONE = none). */
static size_t any_row(const struct twins *t, size_t block, gsl_rng *random,
                      struct tt_entry entries[])
{
    size_t n = t->system.n_border + (block == TT_NONE ? 0 : t->sizes[block]);
    for (size_t i = 0; i < n; i++) {
        entries[i] = (struct tt_entry){
            .place = i, .value = gsl_ran_gaussian(random, 1) * t->unit[index_of(t, block, i)]};
    }
    return n;
}

/* Rows enough for every block and the border, of weights between 1/9 and 9. */
static void fill(struct twins *t, gsl_rng *random)
{
    struct tt_entry entries[MOST_UNKNOWNS];
    for (size_t b = 0; b <= t->system.n_blocks; b++) {
        const size_t block = b < t->system.n_blocks ? b : TT_NONE;
        const size_t rows = (block == TT_NONE ? t->system.n_border : t->sizes[b]) + 7;
        for (size_t i = 0; i < rows; i++) {
            const size_t n = any_row(t, block, random, entries);
            const double weight = pow(9, 2 * gsl_rng_uniform(random) - 1),
                         residual = gsl_ran_gaussian(random, 0.7);
            tt_system_add_row(&t->system, block, entries, n, weight, residual);
            twin_row(t, block, entries, n, weight, residual);
        }
    }
}

/* Random shape: 1 to 8 blocks of 1 to 9 unknowns, a border of 1 to 12. */
static void any_twins(struct twins *t, gsl_rng *random)
{
    size_t sizes[MOST_BLOCKS];
    const size_t n_blocks = 1 + gsl_rng_uniform_int(random, MOST_BLOCKS);
    for (size_t b = 0; b < n_blocks; b++) {
        sizes[b] = 1 + gsl_rng_uniform_int(random, MOST_BLOCK);
    }
    twins_init(t, 1 + gsl_rng_uniform_int(random, 12), n_blocks, sizes);
}

/* The twin's inverse. The matrix is brought to a unit diagonal first, which changes the inverse by
 * known factors only. */
static gsl_matrix *twin_inverse(const struct twins *t)
{
    const size_t n = t->system.n_unknowns;
    gsl_matrix *inverse = gsl_matrix_alloc(n, n);
    gsl_matrix_memcpy(inverse, t->whole);
    gsl_vector *scale = gsl_vector_alloc(n);
    ck_assert_int_eq(gsl_linalg_cholesky_scale(inverse, scale), 0);
    gsl_linalg_cholesky_scale_apply(inverse, scale);
    ck_assert_int_eq(gsl_linalg_cholesky_decomp1(inverse), 0);
    ck_assert_int_eq(gsl_linalg_cholesky_invert(inverse), 0);
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            *gsl_matrix_ptr(inverse, i, j) *= gsl_vector_get(scale, i) * gsl_vector_get(scale, j);
        }
    }
    gsl_vector_free(scale);
    return inverse;
}

/* @value against element (@i, @j) of the inverse, to @share of what the two unknowns' variances
 * allow. */
static void check_element(const gsl_matrix *inverse, size_t i, size_t j, double value, double share)
{
    const double size = sqrt(gsl_matrix_get(inverse, i, i) * gsl_matrix_get(inverse, j, j));
    ck_assert_double_eq_tol(value / size, gsl_matrix_get(inverse, i, j) / size, share);
}

static void check_solution(const struct twins *t, const gsl_matrix *inverse, double share)
{
    double x[MOST_UNKNOWNS], same[MOST_UNKNOWNS];
    const size_t n = t->system.n_unknowns;
    tt_system_solve(&t->system, t->system.g, x);
    memcpy(same, t->system.g, n * sizeof *same);
    tt_system_solve(&t->system, same, same); /* in place */
    for (size_t i = 0; i < n; i++) {
        double sum = 0;
        for (size_t j = 0; j < n; j++) {
            sum += gsl_matrix_get(inverse, i, j) * gsl_vector_get(t->right, j);
        }
        /* a right side of unit residuals: every unknown moves by some of its standard uncertainties
         */
        ck_assert_double_eq_tol(x[i] / sqrt(gsl_matrix_get(inverse, i, i)),
                                sum / sqrt(gsl_matrix_get(inverse, i, i)), share);
        ck_assert_double_eq(same[i], x[i]);
    }
}

/* Blocks with themselves, with the border, and with each other by their responses. */
static void check_covariance(const struct twins *t, const gsl_matrix *inverse, double share)
{
    static double cc[MOST_BLOCKS][MOST_BLOCK * MOST_BLOCK], cb[MOST_BLOCKS][MOST_BLOCK * 12],
        response[MOST_BLOCKS][MOST_BLOCK * 12];
    const size_t nb = t->system.n_border;
    for (size_t i = 0; i < nb; i++) {
        for (size_t j = 0; j < nb; j++) {
            check_element(inverse, i, j, t->system.c[i * nb + j], share);
        }
    }
    for (size_t b = 0; b < t->system.n_blocks; b++) {
        const size_t size = t->sizes[b];
        tt_system_block_covariance(&t->system, b, cc[b], cb[b], response[b]);
        for (size_t i = 0; i < size; i++) {
            for (size_t j = 0; j < size; j++) {
                check_element(inverse, t->first[b] + i, t->first[b] + j, cc[b][i * size + j],
                              share);
            }
            for (size_t j = 0; j < nb; j++) {
                check_element(inverse, t->first[b] + i, j, cb[b][i * nb + j], share);
            }
        }
        for (size_t other = 0; other < b; other++) {
            for (size_t i = 0; i < size * t->sizes[other]; i++) {
                const size_t row = i / t->sizes[other], column = i % t->sizes[other];
                double sum = 0;
                for (size_t j = 0; j < nb * nb; j++) {
                    sum += response[b][row * nb + j / nb] * t->system.c[j] *
                           response[other][column * nb + j % nb];
                }
                check_element(inverse, t->first[b] + row, t->first[other] + column, sum, share);
            }
        }
    }
}

/* y . y' = v^T N^-1 v' for vectors of the border and one block, and by the border parts alone for
 * those of different blocks. */
static void check_half_solutions(const struct twins *t, const gsl_matrix *inverse, gsl_rng *random,
                                 double share)
{
    struct tt_entry entries[2][MOST_UNKNOWNS];
    double y[2][MOST_UNKNOWNS], v[2][MOST_UNKNOWNS];
    const size_t nb = t->system.n_border;
    for (size_t pair = 0; pair < 2 * t->system.n_blocks; pair++) {
        const size_t blocks[2] = {pair / 2, pair % 2 == 0   ? pair / 2
                                            : pair / 2 == 0 ? TT_NONE
                                                            : pair / 2 - 1};
        size_t n[2];
        for (size_t k = 0; k < 2; k++) {
            n[k] = any_row(t, blocks[k], random, entries[k]);
            for (size_t i = 0; i < n[k]; i++) {
                v[k][i] = entries[k][i].value;
            }
            tt_system_half_solve(&t->system, blocks[k], v[k],
                                 blocks[k] == TT_NONE ? NULL : v[k] + nb, y[k]);
        }
        double dot = 0, sum = 0, sizes[2] = {0};
        for (size_t i = 0; i < (blocks[0] == blocks[1] ? n[0] : nb); i++) {
            dot += y[0][i] * y[1][i];
        }
        for (size_t i = 0; i < n[0]; i++) {
            for (size_t j = 0; j < n[1]; j++) {
                sum +=
                    v[0][i] * v[1][j] *
                    gsl_matrix_get(inverse, index_of(t, blocks[0], i), index_of(t, blocks[1], j));
            }
        }
        for (size_t k = 0; k < 2; k++) {
            for (size_t i = 0; i < n[k]; i++) {
                sizes[k] += y[k][i] * y[k][i];
            }
        }
        ck_assert_double_eq_tol(dot / sqrt(sizes[0] * sizes[1]), sum / sqrt(sizes[0] * sizes[1]),
                                share);
    }
}

static void compare(struct twins *t, gsl_rng *random, double share)
{
    fill(t, random);
    gsl_matrix *inverse = twin_inverse(t);
    ck_assert(tt_system_factor(&t->system));
    tt_system_invert(&t->system);
    check_solution(t, inverse, share);
    check_covariance(t, inverse, share);
    check_half_solutions(t, inverse, random, share);
    gsl_matrix_free(inverse);
}

START_TEST(agrees_with_dense)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260315);
    for (int run = 0; run < 150; run++) {
        struct twins t;
        any_twins(&t, random);
        compare(&t, random, 1e-9);
        twins_clear(&t);
    }
    gsl_rng_free(random);
}
END_TEST

/* Columns in units from 1e-6 to 1e6 of the first ones: nothing is lost. */
START_TEST(any_units)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260316);
    for (int run = 0; run < 100; run++) {
        struct twins t;
        any_twins(&t, random);
        for (size_t i = 0; i < t.system.n_unknowns; i++) {
            t.unit[i] = pow(10, 12 * gsl_rng_uniform(random) - 6);
        }
        compare(&t, random, 1e-9);
        twins_clear(&t);
    }
    gsl_rng_free(random);
}
END_TEST

/* A factored system may be filled and factored again. */
START_TEST(used_again)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260317);
    struct twins t;
    twins_init(&t, 5, 3, (const size_t[]){4, 7, 2});
    for (int run = 0; run < 5; run++) {
        compare(&t, random, 1e-9);
        tt_system_zero(&t.system);
        gsl_matrix_set_zero(t.whole);
        gsl_vector_set_zero(t.right);
    }
    twins_clear(&t);
    gsl_rng_free(random);
}
END_TEST

/* Many rows as one cell (a Gram matrix of three columns that act on several unknowns) are the same
 * as the rows one by one. */
START_TEST(cell_is_its_rows)
{
    enum { COLUMNS = 3, ROWS = 11, ENTRIES = 7 };
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260318);
    struct twins t;
    twins_init(&t, 4, 2, (const size_t[]){3, 5});
    /* the same column at border and block, places missing in between */
    const struct tt_entry entries[ENTRIES] = {{0, 0, 0.8},  {0, 2, -0.6}, {1, 3, 1}, {0, 5, 0.6},
                                              {2, 6, 1.25}, {1, 7, -2.5}, {0, 8, -1}};
    double gram[COLUMNS * COLUMNS] = {0}, right[COLUMNS] = {0};
    for (size_t i = 0; i < ROWS; i++) {
        const double weight = 0.25 + gsl_rng_uniform(random),
                     residual = gsl_ran_gaussian(random, 0.4);
        double columns[COLUMNS];
        struct tt_entry row[ENTRIES];
        for (size_t c = 0; c < COLUMNS; c++) {
            columns[c] = c == 0 ? 1 : gsl_ran_gaussian(random, 3);
        }
        for (size_t c = 0; c < COLUMNS; c++) {
            right[c] += weight * columns[c] * residual;
            for (size_t d = 0; d < COLUMNS; d++) {
                gram[c * COLUMNS + d] += weight * columns[c] * columns[d];
            }
        }
        for (size_t e = 0; e < ENTRIES; e++) {
            row[e] = (struct tt_entry){.place = entries[e].place,
                                       .value = entries[e].value * columns[entries[e].column]};
        }
        twin_row(&t, 1, row, ENTRIES, weight, residual);
    }
    tt_system_add_cell(&t.system, 1, entries, ENTRIES, gram, right, COLUMNS);
    const size_t nb = 4, size = 5, first = t.first[1];
    for (size_t i = 0; i < nb; i++) {
        ck_assert_double_eq_tol(t.system.g[i], gsl_vector_get(t.right, i), 1e-12);
        for (size_t j = 0; j <= i;
             j++) { /* of symmetric matrices the lower triangle is filled in */
            ck_assert_double_eq_tol(t.system.a[i * nb + j], gsl_matrix_get(t.whole, i, j), 1e-12);
        }
    }
    for (size_t i = 0; i < size; i++) {
        ck_assert_double_eq_tol(t.system.g[first + i], gsl_vector_get(t.right, first + i), 1e-12);
        for (size_t j = 0; j < nb; j++) {
            ck_assert_double_eq_tol(t.system.b[(first - nb + i) * nb + j],
                                    gsl_matrix_get(t.whole, first + i, j), 1e-12);
        }
        for (size_t j = 0; j <= i; j++) {
            ck_assert_double_eq_tol(t.system.d[t.system.d_at[1] + i * size + j],
                                    gsl_matrix_get(t.whole, first + i, first + j), 1e-12);
        }
    }
    twins_clear(&t);
    gsl_rng_free(random);
}
END_TEST

/* Two columns that are nearly one: refused within the last digits, solved before. Both in a block,
 * both in the border, one in each.
 */
static bool factors(size_t place, size_t other, double apart)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260319);
    struct twins t;
    struct tt_entry entries[MOST_UNKNOWNS];
    twins_init(&t, 3, 2, (const size_t[]){4, 3});
    for (size_t b = 0; b < 2; b++) {
        for (size_t i = 0; i < 25; i++) {
            const size_t n = any_row(&t, b, random, entries);
            if (b == 0 || other < 3) { /* what only block 0 has is alike there only */
                entries[other].value =
                    730 * entries[place].value + apart * 730 * gsl_ran_gaussian(random, 1);
            }
            tt_system_add_row(&t.system, b, entries, n, 1, 0.5);
        }
    }
    const bool factored = tt_system_factor(&t.system);
    twins_clear(&t);
    gsl_rng_free(random);
    return factored;
}

START_TEST(singular_is_told)
{
    const size_t pairs[][2] = {{3, 5}, {0, 2}};
    for (size_t k = 0; k < sizeof pairs / sizeof pairs[0]; k++) {
        ck_assert(!factors(pairs[k][0], pairs[k][1], 0));
        ck_assert(!factors(pairs[k][0], pairs[k][1], 1e-7)); /* 1e-14 of the squares: rounding */
        ck_assert(factors(pairs[k][0], pairs[k][1], 1e-4));
    }
}
END_TEST

/* A border column that one block's column imitates, no other row holding it. */
START_TEST(singular_across_border_and_block)
{
    for (int k = 0; k < 2; k++) {
        struct twins t;
        twins_init(&t, 2, 1, (const size_t[]){2});
        for (size_t i = 0; i < 9; i++) {
            const double a = 1.5 + (double)i, b = cos(2.5 * (double)i);
            const struct tt_entry row[] = {{.place = 0, .value = a},
                                           {.place = 1, .value = b},
                                           {.place = 2, .value = -3.5 * a},
                                           {.place = 3, .value = a * b}};
            tt_system_add_row(&t.system, 0, row, 4, 2.25, 0.125);
        }
        const struct tt_entry known = {.place = 0, .value = 1};
        if (k == 1) { /* a weak prior on one of them tells them apart */
            tt_system_add_row(&t.system, TT_NONE, &known, 1, 0.01, 0);
        }
        ck_assert_int_eq(tt_system_factor(&t.system), k == 1);
        twins_clear(&t);
    }
}
END_TEST

/* An unknown that no row holds. */
START_TEST(empty_column_is_told)
{
    struct twins t;
    twins_init(&t, 2, 1, (const size_t[]){2});
    for (size_t i = 0; i < 5; i++) {
        const struct tt_entry row[] = {{.place = 0, .value = 1.5},
                                       {.place = 1, .value = 0.5 + (double)i},
                                       {.place = 3, .value = 2.5}};
        tt_system_add_row(&t.system, 0, row, i % 2 == 0 ? 2 : 3, 1.25, 0.75);
    }
    ck_assert(!tt_system_factor(&t.system));
    twins_clear(&t);
}
END_TEST

/* A number that is none must not pass for a solution. */
START_TEST(not_a_number_is_told)
{
    struct twins t;
    twins_init(&t, 2, 1, (const size_t[]){1});
    for (size_t i = 0; i < 5; i++) {
        const struct tt_entry row[] = {{.place = 0, .value = 1.5},
                                       {.place = 1, .value = i == 3 ? NAN : 0.5 + (double)i},
                                       {.place = 2, .value = 2.5 - (double)(i * i)}};
        tt_system_add_row(&t.system, 0, row, 3, 1.25, 0.75);
    }
    ck_assert(!tt_system_factor(&t.system));
    twins_clear(&t);
}
END_TEST

/* No block at all. */
START_TEST(border_alone)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260320);
    struct twins t;
    twins_init(&t, 6, 0, (const size_t[]){1});
    fill(&t, random);
    gsl_matrix *inverse = twin_inverse(&t);
    ck_assert(tt_system_factor(&t.system));
    tt_system_invert(&t.system);
    check_solution(&t, inverse, 1e-10);
    check_covariance(&t, inverse, 1e-10);
    gsl_matrix_free(inverse);
    twins_clear(&t);
    gsl_rng_free(random);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("system");
    TCase *twin = tcase_create("twin");
    tcase_add_test(twin, agrees_with_dense);
    tcase_add_test(twin, any_units);
    tcase_add_test(twin, used_again);
    tcase_add_test(twin, cell_is_its_rows);
    tcase_add_test(twin, border_alone);
    suite_add_tcase(suite, twin);
    TCase *singular = tcase_create("singular");
    tcase_add_test(singular, singular_is_told);
    tcase_add_test(singular, singular_across_border_and_block);
    tcase_add_test(singular, empty_column_is_told);
    tcase_add_test(singular, not_a_number_is_told);
    suite_add_tcase(suite, singular);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
