/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Heights: published straight lines and a plane through their solver, the table of faults, the sets
 * of good touches. How often a height lies within its U: height_coverage_test.c; the program's
 * answers: tests/cli/heights.py, against SciPy. */
#include "config.h"

#include <check.h>
#include <stdlib.h>

#include "../../simulation/height_runs.h"
#include "adjust/height_sets.h"

/* NIST/ITL Statistical Reference Datasets, linear least squares, Norris: y = B0 + B1 x, with its
 * certified values. x is a place in mm, y a height in um: so the slope is 1 in 1000. */
static const double norris_x[] = {0.2,   337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6,
                                  777.0, 558.2, 0.4,   0.6,   775.5, 666.9, 338.0, 447.5, 11.6,
                                  556.0, 228.1, 995.8, 887.6, 120.2, 0.3,   0.3,   556.8, 339.1,
                                  887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
static const double norris_y[] = {0.1,   338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1,
                                  778.9, 559.2, 0.3,   0.1,   778.1, 668.8, 339.3, 448.9, 10.8,
                                  557.7, 228.3, 998.0, 888.8, 119.6, 0.3,   0.6,   557.6, 339.3,
                                  888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};
enum { NORRIS = sizeof norris_x / sizeof norris_x[0] };

static void check_close(double value, double certified, double relative)
{
    ck_assert_double_le(fabs(value / certified - 1), relative);
}

/* Contacts at places (x, y), mm, y NULL: 0, with Z as @scale times z, on one plane by least
 * squares. The weak prior of a slope, 0.1 rad, asks for a small @scale. */
struct plane {
    struct tt_height_row rows[NORRIS];
    struct tt_height_pad pad;
    size_t zero;
    double about;
    bool slope;
    struct tt_heights h;
    struct tt_height_fit fit;
    struct tt_arena arena;
};

static void fit_plane(struct plane *p, const double *const xyz[3], size_t n, double scale)
{
    *p = (struct plane){.slope = true, .pad = {0, 0, 0, true}};
    p->h = (struct tt_heights){.rows = p->rows,
                               .n_rows = n,
                               .tips = &p->zero,
                               .tip_about_mm = &p->about,
                               .n_tips = 1,
                               .pads = &p->pad,
                               .n_pads = 1,
                               .setups = &p->zero,
                               .n_setups = 1,
                               .has_slope = &p->slope};
    for (size_t i = 0; i < n; i++) {
        p->rows[i] = (struct tt_height_row){.row = i,
                                            .x_mm = xyz[0][i],
                                            .y_mm = xyz[1] != NULL ? xyz[1][i] : 0,
                                            .z_mm = scale * xyz[2][i]};
    }
    ck_assert_int_eq(tt_height_fit_init(&p->fit, &p->arena, &p->h, NULL, 0, false), TIPTRUE_OK);
    ck_assert(tt_height_least_squares(&p->fit, NULL));
}

static double u_of(const struct plane *p, size_t unknown)
{
    return sqrt(p->fit.covariance[unknown * (p->fit.n + 1)]);
}

START_TEST(nist_norris)
{
    static struct plane p;

    fit_plane(&p, (const double *const[]){norris_x, NULL, norris_y}, NORRIS, 1e-3);
    /* the weak prior of the slope, 0.1 against u of 4e-7, pulls by 3e-8 of it */
    check_close(1e3 * p.fit.x[0], -0.262323073774029, 1e-7);
    check_close(1e3 * p.fit.x[1], 1.00211681802045, 1e-9);
    check_close(1e3 * sqrt(p.fit.own_mm2), 0.884796396144373, 1e-9);
    check_close(1e3 * u_of(&p, 0), 0.232818234301152, 1e-8);
    check_close(1e3 * u_of(&p, 1), 0.429796848199937e-03, 1e-8);
    ck_assert_double_le(fabs(p.fit.dof - 34), 1e-6);
    tt_arena_clear(&p.arena);
}
END_TEST

/* JCGM 100:2008, H.3: a thermometer's corrections along a straight line, with the values published
 * there: the line at 20, its slope, their u and correlation, the repeatability, and the line at 30
 * with its u. */
START_TEST(jcgm_100_h_3)
{
    static const double t[] = {1.521, 2.012, 2.512, 3.003, 3.507, 3.999,
                               4.513, 5.002, 5.503, 6.010, 6.511},
                        b[] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                               -0.156, -0.157, -0.159, -0.161, -0.160};
    static struct plane p;
    double g[3] = {1, 10, 0}, cg[3];

    fit_plane(&p, (const double *const[]){t, NULL, b}, sizeof t / sizeof t[0], 1e-2);
    ck_assert_double_eq_tol(1e2 * p.fit.x[0], -0.1712, 0.5e-4);
    ck_assert_double_eq_tol(1e2 * u_of(&p, 0), 0.0029, 0.5e-4);
    ck_assert_double_eq_tol(1e2 * p.fit.x[1], 0.00218, 0.5e-5);
    ck_assert_double_eq_tol(1e2 * u_of(&p, 1), 0.00067, 0.5e-5);
    ck_assert_double_eq_tol(p.fit.covariance[1] / (u_of(&p, 0) * u_of(&p, 1)), -0.930, 0.5e-3);
    ck_assert_double_eq_tol(1e2 * sqrt(p.fit.own_mm2), 0.0035, 0.5e-4);
    struct tt_height_sum at_30 = tt_height_sum_of(&p.fit, g, cg);
    ck_assert_double_eq_tol(1e2 * at_30.value_mm, -0.1494, 0.5e-4);
    ck_assert_double_eq_tol(1e2 * sqrt(at_30.variance_mm2), 0.0041, 0.5e-4);
    tt_arena_clear(&p.arena);
}
END_TEST

/* A plane through published data (B. Ryan, B. Joiner, T. Ryan: The Minitab Student Handbook, 1976:
 * girth, height and volume of 31 black cherry trees; data set trees of R), against lm of R 4:
 * summary(lm(Volume ~ Girth + Height, trees)) and vcov. */
START_TEST(plane_as_lm)
{
    static const double girth[] = {8.3,  8.6,  8.8,  10.5, 10.7, 10.8, 11,   11,   11.1, 11.2, 11.3,
                                   11.4, 11.4, 11.7, 12,   12.9, 12.9, 13.3, 13.7, 13.8, 14,   14.2,
                                   14.5, 16,   16.3, 17.3, 17.5, 17.9, 18,   18,   20.6},
                        height[] = {70, 65, 63, 72, 81, 83, 66, 75, 80, 75, 79, 76, 76, 69, 75, 74,
                                    85, 86, 71, 64, 78, 80, 74, 72, 77, 81, 82, 80, 80, 80, 87},
                        volume[] = {10.3, 10.3, 10.2, 16.4, 18.8, 19.7, 15.6, 18.2,
                                    22.6, 19.9, 24.2, 21,   21.4, 21.3, 19.1, 22.2,
                                    33.8, 27.4, 25.7, 24.9, 34.5, 31.7, 36.3, 38.3,
                                    42.6, 55.4, 55.7, 58.3, 51.5, 51,   77};
    static struct plane p;

    fit_plane(&p, (const double *const[]){girth, height, volume}, sizeof girth / sizeof girth[0],
              1e-5);
    check_close(1e5 * p.fit.x[0], -57.987658918380951, 1e-8);
    check_close(1e5 * p.fit.x[1], 4.708160503017512, 1e-8);
    check_close(1e5 * p.fit.x[2], 0.339251234244701, 1e-8);
    check_close(1e5 * u_of(&p, 0), 8.638225865302410, 1e-8);
    check_close(1e5 * u_of(&p, 1), 0.264264609420988, 1e-8);
    check_close(1e5 * u_of(&p, 2), 0.130151180700175, 1e-8);
    check_close(1e10 * p.fit.covariance[p.fit.n + 2], -0.0178603010273736, 1e-7);
    check_close(1e5 * sqrt(p.fit.own_mm2), 3.88183203812714, 1e-8);
    ck_assert_double_le(fabs(p.fit.dof - 28), 1e-6);
    tt_arena_clear(&p.arena);
}
END_TEST

/* How often the table has a kind of fault, and the sums of its sizes and of its probabilities. */
static void check_table(const struct tt_heights *h, enum tt_height_mode_kind kind, size_t n,
                        double sizes, double probabilities)
{
    struct tt_arena arena = {0};
    struct tt_height_mode *modes = NULL;
    size_t all = 0, found = 0;

    ck_assert(tt_height_table(&arena, h, &modes, &all));
    for (size_t i = 0; i < all; i++) {
        if (modes[i].kind == kind) {
            found++;
            sizes -= modes[i].size;
            probabilities -= exp(modes[i].log_p);
        }
    }
    ck_assert_uint_eq(found, n);
    ck_assert_double_eq_tol(sizes, 0, 1e-12);
    ck_assert_double_eq_tol(probabilities, 0, 1e-12);
    tt_arena_clear(&arena);
}

/* The table of docs/method.md on faults of heights, for two tips of which one has too few rows for
 * any face runout, then enough for a usual one, then for a large one too. */
START_TEST(the_table_is_the_documents)
{
    enum { ROWS = 40 };
    struct tt_height_row rows[ROWS] = {0};
    struct tt_height_pad pads[3] = {{0}};
    struct tt_heights h = {.rows = rows, .n_tips = 2, .pads = pads, .n_pads = 3};

    h.rotations_stated = true;
    for (size_t i = 0; i < ROWS; i++) {
        rows[i].tip = i < 35 ? 1 : 0;
    }
    h.n_rows = 37; /* 35 and 2 */
    check_table(&h, TT_HEIGHT_FACE, 2, 0.012 + 0.05, 0.03 / 2 + 0.01 / 2);
    check_table(&h, TT_HEIGHT_PAD, 3, 3 * 0.06, 0.03);
    check_table(&h, TT_HEIGHT_PAD_FAR, 3, 3 * 3.0, 0.01);
    check_table(&h, TT_HEIGHT_DRIFT, 1, 0.02, 0.002);
    check_table(&h, TT_HEIGHT_MOVE, 24, 24 * 0.03, 0.01);
    check_table(&h, TT_HEIGHT_LATENCY, 0, 0, 0);
    h.n_rows = 38;
    check_table(&h, TT_HEIGHT_FACE, 3, 2 * 0.012 + 0.05, 2 * 0.03 / 2 + 0.01 / 2);
    h.n_rows = 40;
    h.feeds_differ = true;
    check_table(&h, TT_HEIGHT_FACE, 4, 2 * (0.012 + 0.05), 0.03 + 0.01);
    check_table(&h, TT_HEIGHT_LATENCY, 1, 0.005, 0.02);
    h.latency_s.stated = true;
    check_table(&h, TT_HEIGHT_LATENCY, 0, 0, 0);
    h.rotations_stated = false;
    check_table(&h, TT_HEIGHT_FACE, 0, 0, 0);
    h.n_rows = 6;
    check_table(&h, TT_HEIGHT_DRIFT, 0, 0, 0);
    check_table(&h, TT_HEIGHT_MOVE, 0, 0, 0);
    h.n_rows = 7;
    check_table(&h, TT_HEIGHT_DRIFT, 1, 0.02, 0.002);
    check_table(&h, TT_HEIGHT_MOVE, 2, 2 * 0.03, 0.01);
}
END_TEST

/* Two touches that agree to the last digit say little of a repeatability that is not stated: with
 * one degree of freedom it is drawn from 3.5 um, with a standard deviation of its logarithm of 0.6,
 * by 0.6^2 to 3.5 exp(-0.36) = 2.44 um. It had come out as 0.8 um. */
START_TEST(two_alike_are_no_repeatability)
{
    const struct design d = {1, 1, 0, 0, false};
    struct truth truth = {{-20.7, -19.5}, {0, 0}, {0}};
    struct tt_arena arena = {0};
    struct room room;
    struct tt_heights h;
    struct tt_height_fit fit;

    lay_out(&d, &room, &h);
    make(&d, &truth, &h);
    h.rows[1] = h.rows[0]; /* two of one tip */
    ck_assert_int_eq(tt_height_fit_init(&fit, &arena, &h, NULL, 0, true), TIPTRUE_OK);
    fit.good[0] = fit.good[1] = 1;
    ck_assert(tt_height_score(&fit));
    ck_assert_double_eq_tol(1e3 * sqrt(fit.variance_mm2 - h.digit_mm2), 2.44, 0.05);
    tt_arena_clear(&arena);
}
END_TEST

/* Contacts repeat neither better than to 0.1 um nor worse than to 1 mm, whatever their touches
 * show: a dozen alike to the last digit, or 50 mm apart. */
START_TEST(repeatabilities_of_no_contact)
{
    enum { ROWS = 12 };
    struct tt_height_row rows[ROWS];
    struct tt_height_pad pad = {0, 0, 0, true};
    size_t zero = 0;
    double about = -21.3;
    bool slope = false;
    struct tt_heights h = {.rows = rows,
                           .n_rows = ROWS,
                           .tips = &zero,
                           .tip_about_mm = &about,
                           .n_tips = 1,
                           .pads = &pad,
                           .n_pads = 1,
                           .setups = &zero,
                           .n_setups = 1,
                           .has_slope = &slope};

    for (int wide = 0; wide < 2; wide++) {
        struct tt_arena arena = {0};
        struct tt_height_fit fit;
        for (size_t i = 0; i < ROWS; i++) {
            rows[i] = (struct tt_height_row){.row = i,
                                             .z_mm = about + (wide ? (i % 2 == 0 ? 25 : -25) : 0)};
        }
        ck_assert_int_eq(tt_height_fit_init(&fit, &arena, &h, NULL, 0, true), TIPTRUE_OK);
        for (size_t i = 0; i < ROWS; i++) {
            fit.good[i] = 1;
        }
        ck_assert(tt_height_score(&fit));
        ck_assert_double_eq_tol(sqrt(fit.variance_mm2) / (wide ? 1 : 1e-4), 1, 1e-4);
        tt_arena_clear(&arena);
    }
}
END_TEST

/* A stated repeatability is doubted where so much scatter comes in less than one run of ten
 * thousand; with two degrees of freedom the upper tail of chi-square is exp(-x / 2). */
START_TEST(what_looks_clean)
{
    const struct tt_heights h = {.stated_dof = 9, .stated_mm2 = 3.7e-6, .digit_mm2 = 0.2e-6};
    struct tt_height_fit fit = {.heights = &h, .dof = 2};

    fit.own_mm2 = -log(1.004e-4) * (h.stated_mm2 + h.digit_mm2);
    ck_assert(tt_height_looks_clean(&fit));
    fit.own_mm2 = -log(0.996e-4) * (h.stated_mm2 + h.digit_mm2);
    ck_assert(!tt_height_looks_clean(&fit));

    /* where none is stated, a scatter of 7 um or more is looked into */
    const struct tt_heights bare = {.n_rows = 0};
    fit.heights = &bare;
    fit.own_mm2 = pow(6.999e-3, 2);
    ck_assert(tt_height_looks_clean(&fit));
    fit.own_mm2 = pow(7.001e-3, 2);
    ck_assert(!tt_height_looks_clean(&fit));

    /* a touch that decides nearly alone what it is held against: a twentieth of the variance is
     * left of its residual's at least */
    const struct tt_heights one = {.n_rows = 1, .stated_dof = 9, .stated_mm2 = 3.7e-6};
    double known_mm2 = 0.97 * one.stated_mm2, design = 1, residual, scratch[2];
    fit = (struct tt_height_fit){.heights = &one,
                                 .n = 1,
                                 .dof = 2,
                                 .design = &design,
                                 .covariance = &known_mm2,
                                 .residual = &residual,
                                 .scratch = scratch,
                                 .variance_mm2 = one.stated_mm2};
    residual = -3.4 * sqrt(0.0502 * one.stated_mm2);
    ck_assert(!tt_height_looks_clean(&fit));
    residual = 3.4 * sqrt(0.0498 * one.stated_mm2);
    ck_assert(tt_height_looks_clean(&fit));
}
END_TEST

/* A slope is known where it is told to 5 mrad in every direction: by the larger eigenvalue. */
START_TEST(slopes_that_are_known)
{
    static const double TURNS_DEG[] = {0, 27, 90, 118};
    const struct tt_heights h = {.n_rows = 0}, levelled = {.level_rad = {true, 2e-4}};
    size_t at_slope = 1;
    double c[9] = {0};
    struct tt_height_fit fit = {.n = 3, .at_slope = &at_slope, .covariance = c};

    for (size_t i = 0; i < sizeof TURNS_DEG / sizeof TURNS_DEG[0]; i++) {
        for (int known = 0; known < 2; known++) {
            double large = pow(known ? 4.999e-3 : 5.001e-3, 2), small = pow(2.3e-3, 2),
                   turn = tt_rad_from_deg(TURNS_DEG[i]), cosine = cos(turn), sine = sin(turn);
            c[4] = large * cosine * cosine + small * sine * sine;
            c[5] = c[7] = (large - small) * cosine * sine;
            c[8] = large * sine * sine + small * cosine * cosine;
            fit.heights = &h;
            ck_assert(tt_height_slope_is_known(&fit, 0) == known);
            fit.heights = &levelled;
            ck_assert(tt_height_slope_is_known(&fit, 0));
        }
    }
    at_slope = TT_NONE;
    ck_assert(!tt_height_slope_is_known(&fit, 0));
}
END_TEST

/* A height is not used where more than half of its touches are not good, or where it is known four
 * times worse than from all of them, good. */
START_TEST(too_few_touches)
{
    enum { MOST = 200 };
    static struct tt_height_row rows[MOST];
    static double good[MOST];
    struct tt_heights h = {.rows = rows};
    double covariance = 16, g[2], all_good_mm2 = 2;
    size_t at_slope = TT_NONE, all, kept;
    struct tt_height_fit fit = {
        .heights = &h, .n = 1, .good = good, .covariance = &covariance, .at_slope = &at_slope};
    struct tt_height_choice choice = {.fit = &fit, .g = g, .all_good_mm2 = &all_good_mm2};

    for (int few = 0; few < 2; few++) {
        h.n_rows = few ? MOST - 1 : MOST;
        for (size_t i = 0; i < MOST; i++) {
            good[i] = i < MOST / 2 ? 0 : 1;
        }
        ck_assert(tt_height_too_few(&choice, 0, &all, &kept) == few);
        ck_assert_uint_eq(all, h.n_rows);
        ck_assert_uint_eq(all - kept, MOST / 2);
        good[0] = 0;
        for (size_t i = 1; i < MOST; i++) {
            good[i] = 1;
        }
        all_good_mm2 = few ? 0.999 : 1.001;
        ck_assert(tt_height_too_few(&choice, 0, &all, &kept) == few);
        all_good_mm2 = 2;
    }
    good[0] = 1; /* none left out: whatever it is known to */
    all_good_mm2 = 0.5;
    ck_assert(!tt_height_too_few(&choice, 0, &all, &kept));
}
END_TEST

/* ln of the sum of the evidences of sets, each once, and whether a set is there. */
#define MOST_SETS 4096
struct scored {
    size_t n;
    double sum; /* of evidences, by the first's */
    double first;
    double good[MOST_SETS][TIPS * 6];
};

static void enter(struct scored *s, struct tt_height_fit *fit)
{
    size_t n = fit->heights->n_rows;

    ck_assert(tt_height_score(fit));
    for (size_t k = 0; k < s->n; k++) {
        if (memcmp(s->good[k], fit->good, n * sizeof *fit->good) == 0) {
            return;
        }
    }
    s->first = s->n == 0 ? fit->log_evidence : s->first;
    memcpy(s->good[s->n++], fit->good, n * sizeof *fit->good);
    s->sum += exp(fit->log_evidence - s->first);
}

/* Of every set of good touches of two tips, three and six on a pad each, the search finds those
 * that have 98 % of the probability. */
START_TEST(finds_the_probable_sets)
{
    static struct scored all, found;
    const struct design designs[] = {{1, 3, 0.30, 0.010, true}, {1, 6, 0.30, 0.010, true}};
    struct tt_arena arena = {0};

    for (size_t run = 0; run < 24; run++) {
        const struct design *d = &designs[run % 2];
        struct truth truth = {{0}, {0}, {0}};
        struct room room;
        struct tt_heights h;
        struct tt_height_fit fit;
        struct tt_height_sets sets;
        struct tt_height_mode face = {TT_HEIGHT_FACE, 0, 0.012, 0};
        tt_arena_reset(&arena);
        lay_out(d, &room, &h);
        draw(d, &truth);
        make(d, &truth, &h);
        ck_assert_int_eq(tt_height_fit_init(&fit, &arena, &h, &face, run / 2 % 2, true),
                         TIPTRUE_OK);
        ck_assert(tt_height_sets_init(&sets, &arena, &h, fit.n));
        all.n = found.n = 0;
        all.sum = found.sum = 0;
        for (int wide = 0; wide < 2; wide++) {
            tt_height_sets_find(&sets, &fit, wide == 0 ? SIGMA_MM : 2.5 * SIGMA_MM);
            for (size_t k = 0; k < sets.n; k++) {
                memcpy(fit.good, sets.good[k], h.n_rows * sizeof *fit.good);
                enter(&found, &fit);
            }
        }

        for (unsigned k = 0; k < 1u << h.n_rows; k++) {
            for (size_t i = 0; i < h.n_rows; i++) {
                fit.good[i] = k >> i & 1;
            }
            enter(&all, &fit);
        }
        ck_assert_double_ge(found.sum * exp(found.first - all.first), 0.98 * all.sum);
    }
    tt_arena_clear(&arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("heights");
    TCase *tcase = tcase_create("heights");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, nist_norris);
    tcase_add_test(tcase, jcgm_100_h_3);
    tcase_add_test(tcase, plane_as_lm);
    tcase_add_test(tcase, the_table_is_the_documents);
    tcase_add_test(tcase, two_alike_are_no_repeatability);
    tcase_add_test(tcase, repeatabilities_of_no_contact);
    tcase_add_test(tcase, what_looks_clean);
    tcase_add_test(tcase, slopes_that_are_known);
    tcase_add_test(tcase, too_few_touches);
    tcase_add_test(tcase, finds_the_probable_sets);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
