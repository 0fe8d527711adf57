/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Published adjustments through the solver of the program (adjust/system.h), which here carries
 * other people's equations: JCGM 100 H.2 and H.3, NIST StRD Norris, Longley, Misra1a and Thurber,
 * the fiducial marks of a photograph. Each is solved with every split of its unknowns into border
 * and block. Norris once more through the solver of heights (adjust/height_model.h).
 */
#include "config.h"

#include "adjust/height_model.h"
#include "adjust/system.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "model/frames.h"

#define MOST_UNKNOWNS 7
#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

/* Rows r_i(x), each of weight 1, and their derivatives. */
struct problem {
    size_t n_rows, n_unknowns;
    double (*row)(const double x[], size_t i, double slope[]);
};

struct answer {
    double x[MOST_UNKNOWNS];
    double cov[MOST_UNKNOWNS][MOST_UNKNOWNS]; /* for rows of unit variance */
    double squares;                           /* of the residuals */
    int steps;
};

static double squares_at(const struct problem *p, const double x[])
{
    double sum = 0, slope[MOST_UNKNOWNS];
    for (size_t i = 0; i < p->n_rows; i++) {
        const double r = p->row(x, i, slope);
        sum += r * r;
    }
    return sum;
}

static void accumulate(const struct problem *p, struct tt_system *system, size_t block,
                       const double x[], double damping)
{
    struct tt_entry entries[MOST_UNKNOWNS];
    double slope[MOST_UNKNOWNS], diagonal[MOST_UNKNOWNS] = {0};
    tt_system_zero(system);
    for (size_t i = 0; i < p->n_rows; i++) {
        const double r = p->row(x, i, slope);
        for (size_t k = 0; k < p->n_unknowns; k++) {
            entries[k] = (struct tt_entry){.place = k, .value = slope[k]};
            diagonal[k] += slope[k] * slope[k];
        }
        tt_system_add_row(system, block, entries, p->n_unknowns, 1, r);
    }
    for (size_t k = 0; k < p->n_unknowns && damping > 0;
         k++) { /* a prior that holds the unknown where it is */
        const struct tt_entry hold = {.place = k, .value = 1};
        tt_system_add_row(system, k < system->n_border ? TT_NONE : block, &hold, 1,
                          damping * diagonal[k], 0);
    }
}

/* Gauss-Newton steps, damped (K. Levenberg 1944, D. W. Marquardt 1963) for as long as a step would
 * make the squares larger. */
static void descend(const struct problem *p, struct tt_system *system, size_t block,
                    struct answer *answer)
{
    double damping = 0, step[MOST_UNKNOWNS], next[MOST_UNKNOWNS], size = 1;
    answer->squares = squares_at(p, answer->x);
    for (answer->steps = 0; size > 1e-14 && answer->steps < 200; answer->steps++) {
        accumulate(p, system, block, answer->x, damping);
        ck_assert(tt_system_factor(system));
        tt_system_solve(system, system->g, step);
        size = 0;
        for (size_t k = 0; k < p->n_unknowns; k++) {
            next[k] = answer->x[k] - step[k];
            size = fmax(size, fabs(step[k] / (fabs(answer->x[k]) + 1e-300)));
        }
        const double squares = squares_at(p, next);
        if (squares <= answer->squares * (1 + 1e-10)) {
            memcpy(answer->x, next, sizeof next);
            answer->squares = squares;
            damping = damping > 1e-9 ? damping / 10 : 0;
        } else {
            damping = damping > 0 ? 10 * damping : 1e-6;
            size = 1;
        }
    }
}

/* Solve with the first @n_border unknowns in the border, the rest in one block. @x: start. */
static struct answer solve_split(const struct problem *p, const double x[], size_t n_border)
{
    struct tt_arena arena = {0};
    struct tt_system system;
    struct answer answer = {0};
    double cc[MOST_UNKNOWNS * MOST_UNKNOWNS], cb[MOST_UNKNOWNS * MOST_UNKNOWNS],
        response[MOST_UNKNOWNS * MOST_UNKNOWNS];
    const size_t n = p->n_unknowns, size = n - n_border, block = size > 0 ? 0 : TT_NONE;

    ck_assert_int_eq(tt_system_init(&system, &arena, n_border, size > 0, &size), TIPTRUE_OK);
    memcpy(answer.x, x, n * sizeof *x);
    descend(p, &system, block, &answer);
    accumulate(p, &system, block, answer.x, 0);
    ck_assert(tt_system_factor(&system));
    tt_system_invert(&system);
    if (size > 0) {
        tt_system_block_covariance(&system, 0, cc, cb, response);
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            const size_t in_i = i - n_border, in_j = j - n_border;
            answer.cov[i][j] = answer.cov[j][i] = i < n_border   ? system.c[i * n_border + j]
                                                  : j < n_border ? cb[in_i * n_border + j]
                                                                 : cc[in_i * size + in_j];
        }
    }
    tt_arena_clear(&arena);
    return answer;
}

/* Correct significant digits, as NIST counts them. */
static double digits(double value, double certified)
{
    return value == certified ? 15 : -log10(fabs(value - certified) / fabs(certified));
}

static void check_digits(double value, double certified, double least)
{
    ck_assert_msg(digits(value, certified) >= least, "%.15g instead of %.15g: %.1f digits", value,
                  certified, digits(value, certified));
}

/* The value is what is printed, to the last printed digit. */
static void check_printed(double value, double printed, int decimals)
{
    ck_assert_double_eq_tol(value, printed, 0.5001 * pow(10, -decimals));
}

/* ---- JCGM 100:2008, H.3: calibration of a thermometer by a straight line, b(t) = y1 + y2 (t - 20
 * C). Data and results: Table H.6.
 */

static const double h3_t[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                              24.513, 25.002, 25.503, 26.010, 26.511};
static const double h3_b[] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                              -0.156, -0.157, -0.159, -0.161, -0.160};

static double h3_row(const double x[], size_t i, double slope[])
{
    slope[0] = 1;
    slope[1] = h3_t[i] - 20;
    return x[0] + x[1] * slope[1] - h3_b[i];
}

START_TEST(jcgm_100_h3)
{
    const struct problem p = {COUNT(h3_t), 2, h3_row};
    const double start[] = {0.5, -0.25};
    for (size_t n_border = 0; n_border <= 2; n_border++) {
        const struct answer a = solve_split(&p, start, n_border);
        const double s2 = a.squares / 9, u1 = sqrt(s2 * a.cov[0][0]), u2 = sqrt(s2 * a.cov[1][1]);
        /* as printed */
        check_printed(a.x[0], -0.1712, 4);
        check_printed(u1, 0.0029, 4);
        check_printed(a.x[1], 0.00218, 5);
        check_printed(u2, 0.00067, 5);
        check_printed(s2 * a.cov[0][1] / (u1 * u2), -0.930, 3);
        check_printed(sqrt(s2), 0.0035, 4);
        /* H.3.4: the correction at 30 C */
        const double u30 = sqrt(s2 * (a.cov[0][0] + 20 * a.cov[0][1] + 100 * a.cov[1][1]));
        check_printed(a.x[0] + 10 * a.x[1], -0.1494, 4);
        check_printed(u30, 0.0041, 4);
        /* all digits, recomputed independently */
        check_digits(a.x[0], -0.17120379013134995, 13);
        check_digits(u1, 0.002877597835159956, 13);
        check_digits(a.x[1], 0.002182697739887275, 12);
        check_digits(u2, 0.0006679387732278324, 12);
        check_digits(s2 * a.cov[0][1] / (u1 * u2), -0.9304296030934459, 13);
        check_digits(u30, 0.004138595752854953, 12);
        ck_assert_int_le(a.steps, 4); /* linear */
    }
}
END_TEST

/* ---- JCGM 100:2008, H.2: resistance, reactance and impedance from five correlated observations.
 * Data: Table H.2. */

static const double h2_observed[5][3] = {{5.007, 19.663e-3, 1.0456},
                                         {4.994, 19.639e-3, 1.0438},
                                         {5.005, 19.640e-3, 1.0468},
                                         {4.990, 19.685e-3, 1.0428},
                                         {4.999, 19.678e-3, 1.0433}};

/* Lower factor of the sample covariance of five triples: whitens the rows of one observation. */
static void whitener(double values[5][3], double l[3][3])
{
    double mean[3] = {0};
    for (size_t i = 0; i < 5; i++) {
        for (size_t k = 0; k < 3; k++) {
            mean[k] += values[i][k] / 5;
        }
    }
    for (size_t j = 0; j < 3; j++) {
        for (size_t k = 0; k <= j; k++) {
            double sum = 0;
            for (size_t i = 0; i < 5; i++) {
                sum += (values[i][j] - mean[j]) * (values[i][k] - mean[k]) / 4;
            }
            for (size_t m = 0; m < k; m++) {
                sum -= l[j][m] * l[k][m];
            }
            l[j][k] = j == k ? sqrt(sum) : sum / l[k][k];
        }
    }
}

/* Add the whitened rows L^-1 (mean - value) of one triple. */
static void add_triple(struct tt_system *system, double l[3][3], const double value[3],
                       const double mean[3])
{
    double rows[3][3] = {{0}};
    for (size_t j = 0; j < 3; j++) {
        struct tt_entry entries[3];
        double residual = 0;
        for (size_t k = 0; k < 3; k++) { /* row j of L^-1 by forward substitution */
            double sum = j == k ? 1 : 0;
            for (size_t m = 0; m < j; m++) {
                sum -= l[j][m] * rows[m][k];
            }
            rows[j][k] = sum / l[j][j];
            residual += rows[j][k] * (mean[k] - value[k]);
            entries[k] = (struct tt_entry){.place = k, .value = rows[j][k]};
        }
        tt_system_add_row(system, TT_NONE, entries, 3, 1, residual);
    }
}

/* The mean of the triples and its covariance, from 15 rows. @system is left factored and inverted.
 * A second and a third step take out the rounding of the first. */
static void solve_triples(double values[5][3], struct tt_system *system, struct tt_arena *arena,
                          double mean[3])
{
    double l[3][3] = {{0}}, step[3];
    ck_assert_int_eq(tt_system_init(system, arena, 3, 0, NULL), TIPTRUE_OK);
    whitener(values, l);
    for (size_t k = 0; k < 3; k++) {
        mean[k] = 0;
    }
    for (int steps = 0; steps < 3; steps++) {
        tt_system_zero(system);
        for (size_t i = 0; i < 5; i++) {
            add_triple(system, l, values[i], mean);
        }
        ck_assert(tt_system_factor(system));
        tt_system_solve(system, system->g, step);
        for (size_t k = 0; k < 3; k++) {
            mean[k] -= step[k];
        }
    }
    tt_system_invert(system);
}

static void to_impedance(const double input[3], double output[3])
{
    output[0] = input[0] / input[1] * cos(input[2]);
    output[1] = input[0] / input[1] * sin(input[2]);
    output[2] = input[0] / input[1];
}

static const char *const triple_names[] = {"R", "X", "Z"};

static void check_triple(const double y[3], const double u[3], double r_rx, double r_rz,
                         double r_xz)
{
    static const double printed[3] = {127.732, 219.847, 254.260},
                        printed_u[3] = {0.071, 0.295, 0.236};
    for (size_t k = 0; k < 3; k++) {
        /* H.2 rounds its inputs on the way: its results stand to one unit of their last digit */
        ck_assert_msg(fabs(y[k] - printed[k]) < 1e-3, "%s = %.5f", triple_names[k], y[k]);
        ck_assert_msg(fabs(u[k] - printed_u[k]) < 1e-3, "u(%s) = %.5f", triple_names[k], u[k]);
    }
    ck_assert_double_eq_tol(r_rx, -0.588, 1e-3);
    ck_assert_double_eq_tol(r_rz, -0.485, 1e-3);
    ck_assert_double_eq_tol(r_xz, 0.993, 1e-3);
}

/* Approach 1 (Tables H.2 and H.3): means of the inputs with their covariance, propagated by the
 * sensitivity coefficients. */
START_TEST(jcgm_100_h2_approach_1)
{
    struct tt_arena arena = {0};
    struct tt_system system;
    double values[5][3], mean[3], y[3], half[3][3], cov[3][3];
    memcpy(values, h2_observed, sizeof values);
    solve_triples(values, &system, &arena, mean);
    const double *c = system.c;
    check_printed(mean[0], 4.9990, 4);
    check_printed(mean[1], 0.019661, 6);
    check_printed(mean[2], 1.04446, 5);
    check_printed(sqrt(c[0]), 0.0032, 4);
    check_printed(sqrt(c[4]), 0.0095e-3, 7);
    check_printed(sqrt(c[8]), 0.00075, 5);
    check_printed(c[1] / sqrt(c[0] * c[4]), -0.36, 2);
    check_printed(c[2] / sqrt(c[0] * c[8]), 0.86, 2);
    check_printed(c[5] / sqrt(c[4] * c[8]), -0.65, 2);
    to_impedance(mean, y);
    const double z = y[2], v = mean[0], i = mean[1];
    const double sensitivity[3][3] = {
        {y[0] / v, -y[0] / i, -y[1]}, {y[1] / v, -y[1] / i, y[0]}, {z / v, -z / i, 0}};
    for (size_t k = 0; k < 3; k++) {
        tt_system_half_solve(&system, TT_NONE, sensitivity[k], NULL, half[k]);
    }
    for (size_t j = 0; j < 3; j++) {
        for (size_t k = 0; k < 3; k++) {
            cov[j][k] = half[j][0] * half[k][0] + half[j][1] * half[k][1] + half[j][2] * half[k][2];
        }
    }
    const double u[3] = {sqrt(cov[0][0]), sqrt(cov[1][1]), sqrt(cov[2][2])};
    check_triple(y, u, cov[0][1] / (u[0] * u[1]), cov[0][2] / (u[0] * u[2]),
                 cov[1][2] / (u[1] * u[2]));
    /* all digits, recomputed independently */
    check_digits(u[0], 0.0710714073969951, 11);
    check_digits(u[1], 0.2955816773586383, 11);
    check_digits(cov[0][1], -0.012361383272455272, 10);
    check_digits(cov[1][2], 0.06933351878338834, 10);
    tt_arena_clear(&arena);
}
END_TEST

/* Approach 2 (Table H.4): R, X and Z of each observation, then their means. As Z^2 = R^2 + X^2 in
 * every observation, their covariance is within a millionth of having no inverse. */
START_TEST(jcgm_100_h2_approach_2)
{
    struct tt_arena arena = {0};
    struct tt_system system;
    double values[5][3], mean[3];
    for (size_t i = 0; i < 5; i++) {
        to_impedance(h2_observed[i], values[i]);
    }
    solve_triples(values, &system, &arena, mean);
    const double *c = system.c, u[3] = {sqrt(c[0]), sqrt(c[4]), sqrt(c[8])};
    check_triple(mean, u, c[1] / (u[0] * u[1]), c[2] / (u[0] * u[2]), c[5] / (u[1] * u[2]));
    /* all digits, recomputed independently */
    check_digits(mean[0], 127.7316304828154, 12);
    check_digits(mean[1], 219.84689460329236, 12);
    check_digits(mean[2], 254.26004958674116, 12);
    check_digits(u[0], 0.07127354317859785, 8);
    check_digits(u[1], 0.29548908561008125, 8);
    check_digits(u[2], 0.2362475017039689, 8);
    check_digits(c[1] / (u[0] * u[1]), -0.5882768557970326, 8);
    check_digits(c[2] / (u[0] * u[2]), -0.485064613663207, 8);
    check_digits(c[5] / (u[1] * u[2]), 0.9925075421320325, 8);
    tt_arena_clear(&arena);
}
END_TEST

/* ---- NIST/ITL Statistical Reference Datasets, linear least squares, Norris: y = B0 + B1 x.
 * Certified values as printed there. */

static const double norris_x[] = {0.2,   337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6,
                                  777.0, 558.2, 0.4,   0.6,   775.5, 666.9, 338.0, 447.5, 11.6,
                                  556.0, 228.1, 995.8, 887.6, 120.2, 0.3,   0.3,   556.8, 339.1,
                                  887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
static const double norris_y[] = {0.1,   338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1,
                                  778.9, 559.2, 0.3,   0.1,   778.1, 668.8, 339.3, 448.9, 10.8,
                                  557.7, 228.3, 998.0, 888.8, 119.6, 0.3,   0.6,   557.6, 339.3,
                                  888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};

static double norris_row(const double x[], size_t i, double slope[])
{
    slope[0] = 1;
    slope[1] = norris_x[i];
    return x[0] + x[1] * norris_x[i] - norris_y[i];
}

START_TEST(nist_norris)
{
    const struct problem p = {COUNT(norris_x), 2, norris_row};
    const double start[] = {3.5, -2.5};
    for (size_t n_border = 0; n_border <= 2; n_border++) {
        const struct answer a = solve_split(&p, start, n_border);
        const double s = sqrt(a.squares / 34);
        check_digits(a.x[0], -0.262323073774029, 12);
        check_digits(a.x[1], 1.00211681802045, 14);
        check_digits(s, 0.884796396144373, 13);
        check_digits(s * sqrt(a.cov[0][0]), 0.232818234301152, 13);
        check_digits(s * sqrt(a.cov[1][1]), 0.429796848199937e-03, 13);
        check_digits(a.squares, 26.6173985294224, 13);
        ck_assert_int_le(a.steps, 4);
    }
}
END_TEST

/* The same as heights of a tip over pads 0.2 to 999 mm apart. What the solver knows of a slope
 * beforehand (0.1 about 0) must be nothing: y - x in thousandths has a slope of 2e-6. */
START_TEST(nist_norris_as_heights)
{
    const double thousandth = 1e-3;
    struct tt_arena arena = {0};
    struct tt_height_row rows[COUNT(norris_x)] = {{0}};
    struct tt_height_pad pads[1] = {{.has_at = true}};
    size_t tips[1] = {0}, setups[1] = {0};
    double about[1] = {0};
    bool has_slope[1] = {true};
    struct tt_heights heights = {.rows = rows,
                                 .n_rows = COUNT(norris_x),
                                 .tips = tips,
                                 .tip_about_mm = about,
                                 .n_tips = 1,
                                 .pads = pads,
                                 .n_pads = 1,
                                 .setups = setups,
                                 .n_setups = 1,
                                 .has_slope = has_slope};
    struct tt_height_fit fit;

    for (size_t i = 0; i < COUNT(norris_x); i++) {
        rows[i] = (struct tt_height_row){
            .x_mm = norris_x[i], .z_mm = thousandth * (norris_y[i] - norris_x[i]), .cosine = 1};
    }
    ck_assert_int_eq(tt_height_fit_init(&fit, &arena, &heights, NULL, 0, false), TIPTRUE_OK);
    ck_assert(tt_height_least_squares(&fit, NULL));
    size_t at = fit.at_slope[0], n = fit.n;
    double s = sqrt(fit.own_mm2) / thousandth,
           by = sqrt(fit.own_mm2 / fit.variance_mm2) / thousandth;
    check_digits(fit.x[0] / thousandth, -0.262323073774029, 10);
    check_digits(fit.x[at] / thousandth, 0.00211681802045,
                 8); /* of B1 - 1: as many are certified */
    check_digits(s, 0.884796396144373, 9);
    check_digits(by * sqrt(fit.covariance[0]), 0.232818234301152, 9);
    check_digits(by * sqrt(fit.covariance[at * n + at]), 0.429796848199937e-03, 9);
    tt_arena_clear(&arena);
}
END_TEST

/* ---- NIST StRD, linear least squares, Longley (J. W. Longley, J. Am. Stat. Assoc. 62 (1967)
 * 819-841): six economic series that all grow with the years. Data and certified values from
 * memory, and checked: exact rational arithmetic gives the certified values of these data to 15
 * digits. Normal equations of the series as they stand are singular in double precision; so they
 * count from their middles, as positions do here from the middle of the touches, and the constant
 * is worked out after. */
#define LONGLEY 6
static const double longley_y[] = {60323, 61122, 60171, 61187, 63221, 63639, 64989, 63761,
                                   66019, 67857, 68169, 66513, 68655, 69564, 69331, 70551};
static const double longley_x[][LONGLEY] = {
    {83.0, 234289, 2356, 1590, 107608, 1947},  {88.5, 259426, 2325, 1456, 108632, 1948},
    {88.2, 258054, 3682, 1616, 109773, 1949},  {89.5, 284599, 3351, 1650, 110929, 1950},
    {96.2, 328975, 2099, 3099, 112075, 1951},  {98.1, 346999, 1932, 3594, 113270, 1952},
    {99.0, 365385, 1870, 3547, 115094, 1953},  {100.0, 363112, 3578, 3350, 116219, 1954},
    {101.2, 397469, 2904, 3048, 117388, 1955}, {104.6, 419180, 2822, 2857, 118734, 1956},
    {108.4, 442769, 2936, 2798, 120445, 1957}, {110.8, 444546, 4681, 2637, 121950, 1958},
    {112.6, 482704, 3813, 2552, 123366, 1959}, {114.2, 502601, 3931, 2514, 125368, 1960},
    {115.7, 518173, 4806, 2572, 127852, 1961}, {116.9, 554894, 4007, 2827, 130081, 1962}};
static const double longley_middle[LONGLEY] = {101, 387000, 3190, 2600, 117000, 1954};

static double longley_row(const double x[], size_t i, double slope[])
{
    double sum = x[0] - longley_y[i];
    slope[0] = 1;
    for (size_t k = 0; k < LONGLEY; k++) {
        slope[k + 1] = longley_x[i][k] - longley_middle[k];
        sum += x[k + 1] * slope[k + 1];
    }
    return sum;
}

START_TEST(nist_longley)
{
    static const double b[] = {-3482258.63459582, 15.0618722713733,  -0.358191792925910E-01,
                               -2.02022980381683, -1.03322686717359, -0.511041056535807E-01,
                               1829.15146461355};
    static const double sd[] = {890420.383607373,  84.9149257747669,  0.334910077722432E-01,
                                0.488399681651699, 0.214274163161675, 0.226073200069370,
                                455.478499142212};
    const struct problem p = {COUNT(longley_y), LONGLEY + 1, longley_row};
    const double start[LONGLEY + 1] = {0};
    for (size_t n_border = 0; n_border <= p.n_unknowns; n_border++) {
        const struct answer a = solve_split(&p, start, n_border);
        const double s = sqrt(a.squares / 9);
        double constant = a.x[0], variance = 0;
        check_digits(s, 304.854073561965, 11);
        for (size_t k = 1; k <= LONGLEY; k++) {
            check_digits(a.x[k], b[k], 9);
            check_digits(s * sqrt(a.cov[k][k]), sd[k], 9);
            constant -= a.x[k] * longley_middle[k - 1];
        }
        for (size_t i = 0; i <= LONGLEY; i++) {
            for (size_t k = 0; k <= LONGLEY; k++) {
                variance += (i == 0 ? 1 : -longley_middle[i - 1]) *
                            (k == 0 ? 1 : -longley_middle[k - 1]) * a.cov[i][k];
            }
        }
        check_digits(constant, b[0], 9);
        check_digits(s * sqrt(variance), sd[0], 8);
    }
}
END_TEST

/* ---- An affine calibration of a photograph: P. R. Wolf, C. D. Ghilani, Adjustment Computations,
 * two-dimensional affine coordinate transformation by weighted least squares (its worked example of
 * comparator measurements of four fiducial marks, mm; observed x, y, calibrated X, Y with their
 * standard deviations). X + V_X = a x + b y + c, Y + V_Y = d x + e y + f. Data and printed results
 * from memory, which a weighted fit by NumPy confirms to every printed digit. */
static const double fiducial[][6] = {{0.764, 5.960, -113.000, 0.003, 0.026, 0.028},
                                     {5.062, 10.541, 0.001, 112.993, 0.024, 0.030},
                                     {9.663, 6.243, 112.998, 0.003, 0.028, 0.022},
                                     {5.350, 1.654, 0.001, -112.999, 0.024, 0.026}};

static double fiducial_row(const double x[], size_t i, double slope[])
{
    const double *f = fiducial[i / 2];
    const size_t axis = i % 2, at = 3 * axis;
    const double sigma = f[4 + axis];
    memset(slope, 0, 6 * sizeof *slope);
    slope[at] = f[0] / sigma;
    slope[at + 1] = f[1] / sigma;
    slope[at + 2] = 1 / sigma;
    return x[at] * slope[at] + x[at + 1] * slope[at + 1] + (x[at + 2] - f[2 + axis]) / sigma;
}

START_TEST(affine_fiducials)
{
    static const double printed[] = {25.37152, 0.82220, -137.183, -0.80994, 25.40166, -150.723};
    static const int decimals[] = {5, 5, 3, 5, 5, 3};
    static const double residuals[] = {0.101, 0.049, -0.086, -0.057, 0.117, 0.030, -0.086, -0.043};
    const struct problem p = {2 * COUNT(fiducial), 6, fiducial_row};
    const double start[6] = {20, 1, -100, -1, 20, -100};
    for (size_t n_border = 0; n_border <= 6; n_border++) {
        const struct answer a = solve_split(&p, start, n_border);
        double slope[6];
        for (size_t k = 0; k < 6; k++) {
            check_printed(a.x[k], printed[k], decimals[k]);
        }
        for (size_t i = 0; i < p.n_rows; i++) {
            double v = fiducial_row(a.x, i, slope) * fiducial[i / 2][4 + i % 2];
            check_printed(v, residuals[i], 3);
        }
    }
}
END_TEST

/* ---- NIST StRD, nonlinear least squares. Eleven certified digits. */

static void check_certified(const struct problem *p, const double start[], const double x[],
                            const double sd[], double squares)
{
    for (size_t n_border = 0; n_border <= p->n_unknowns; n_border++) {
        const struct answer a = solve_split(p, start, n_border);
        const double s = sqrt(a.squares / (double)(p->n_rows - p->n_unknowns));
        check_digits(a.squares, squares, 10);
        for (size_t k = 0; k < p->n_unknowns; k++) {
            check_digits(a.x[k], x[k], 10);
            check_digits(s * sqrt(a.cov[k][k]), sd[k], 9.5);
        }
    }
}

/* Misra1a: y = b1 (1 - exp(-b2 x)). */
static const double misra_x[] = {77.6,  114.9, 141.1, 190.8, 239.9, 289.0, 332.8,
                                 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0};
static const double misra_y[] = {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02,
                                 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};

static double misra_row(const double b[], size_t i, double slope[])
{
    const double rest = exp(-b[1] * misra_x[i]);
    slope[0] = 1 - rest;
    slope[1] = b[0] * misra_x[i] * rest;
    return b[0] * slope[0] - misra_y[i];
}

START_TEST(nist_misra1a)
{
    static const double x[] = {2.3894212918E+02, 5.5015643181E-04},
                        sd[] = {2.7070075241E+00, 7.2668688436E-06};
    static const double starts[2][2] = {{500, 0.0001}, {250, 0.0005}};
    const struct problem p = {COUNT(misra_x), 2, misra_row};
    check_certified(&p, starts[0], x, sd, 1.2455138894E-01);
    check_certified(&p, starts[1], x, sd, 1.2455138894E-01);
}
END_TEST

/* Thurber: y = (b1 + b2 x + b3 x^2 + b4 x^3) / (1 + b5 x + b6 x^2 + b7 x^3). */
static const double thurber_x[] = {-3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699,
                                   -2.633, -2.481, -2.363, -2.322, -1.501, -1.460, -1.274, -1.212,
                                   -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309,
                                   -0.109, -0.103, 0.010,  0.119,  0.377,  0.790,  0.963,  1.006,
                                   1.115,  1.572,  1.841,  2.047,  2.200};
static const double thurber_y[] = {
    80.574,   84.248,   87.264,   87.195,   89.076,   89.608,   89.868,   90.101,
    92.405,   95.854,   100.696,  101.060,  401.672,  390.724,  567.534,  635.316,
    733.054,  759.087,  894.206,  990.785,  1090.109, 1080.914, 1122.643, 1178.351,
    1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384,
    1442.962, 1464.350, 1468.705, 1447.894, 1457.628};

static double thurber_row(const double b[], size_t i, double slope[])
{
    const double x = thurber_x[i], below = 1 + x * (b[4] + x * (b[5] + x * b[6])),
                 value = (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / below;
    double power = 1;
    for (size_t k = 0; k < 4; k++) {
        slope[k] = power / below;
        power *= x;
        if (k < 3) {
            slope[4 + k] = -value * power / below;
        }
    }
    return value - thurber_y[i];
}

START_TEST(nist_thurber)
{
    static const double x[] = {1.2881396800E+03, 1.4910792535E+03, 5.8323836877E+02,
                               7.5416644291E+01, 9.6629502864E-01, 3.9797285797E-01,
                               4.9727297349E-02};
    static const double sd[] = {4.6647963344E+00, 3.9571156086E+01, 2.8698696102E+01,
                                5.5675370270E+00, 3.1333340687E-02, 1.4984928198E-02,
                                6.5842344623E-03};
    static const double starts[2][7] = {{1000, 1000, 400, 40, 0.7, 0.3, 0.03},
                                        {1300, 1500, 500, 75, 1, 0.4, 0.05}};
    const struct problem p = {COUNT(thurber_x), 7, thurber_row};
    check_certified(&p, starts[0], x, sd, 5.6427082397E+03);
    check_certified(&p, starts[1], x, sd, 5.6427082397E+03);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("reference");
    TCase *guide = tcase_create("JCGM 100");
    tcase_add_test(guide, jcgm_100_h3);
    tcase_add_test(guide, jcgm_100_h2_approach_1);
    tcase_add_test(guide, jcgm_100_h2_approach_2);
    suite_add_tcase(suite, guide);
    TCase *nist = tcase_create("NIST StRD");
    tcase_add_test(nist, nist_norris);
    tcase_add_test(nist, nist_norris_as_heights);
    tcase_add_test(nist, nist_longley);
    tcase_add_test(nist, nist_misra1a);
    tcase_add_test(nist, nist_thurber);
    suite_add_tcase(suite, nist);
    TCase *handbook = tcase_create("handbook");
    tcase_add_test(handbook, affine_fiducials);
    suite_add_tcase(suite, handbook);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
