/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What explanations of touches from above mean together, at the bounds: which is adopted, which
 * bear on the heights and by how much, which make a height ambiguous. The explanations are given,
 * with evidence of any size. */
#include "config.h"

#include <check.h>
#include <stdlib.h>

#include "../../simulation/height_runs.h"
#include "adjust/height_pool.h"

/* Touches of both tips on one pad, at so many rotations each, that repeat exactly. */
enum { TOUCHES = 8, ROWS = TIPS * TOUCHES, MANY = 120 };
static const struct tt_height_mode FACE = {TT_HEIGHT_FACE, 0, 0.012, -5},
                                   PAD = {TT_HEIGHT_PAD, 0, 0.06, -5};

struct given {
    struct tt_arena arena;
    struct room room;
    struct tt_heights h;
    struct tt_height_pool pool;
    double good[MANY + 3][ROWS];
    struct tt_height_choice choice;
    struct tt_height_fit fit;
    bool ambiguous[TIPS];
    double all_good_mm2[TIPS], g[64];
};

static void set_up(struct given *s)
{
    const struct design d = {1, TOUCHES, 0, 0, true};
    struct truth truth = {{-20.7, -19.5}, {0, 0}, {0}};

    tt_arena_clear(&s->arena);
    memset(s, 0, sizeof *s);
    lay_out(&d, &s->room, &s->h);
    make(&d, &truth, &s->h);
    for (size_t i = 0; i < ROWS; i++) {
        s->h.rows[i].z_mm = truth.height[s->h.rows[i].tip];
    }
    s->pool = (struct tt_height_pool){.arena = &s->arena, .heights = &s->h};
    s->choice = (struct tt_height_choice){
        .fit = &s->fit, .g = s->g, .ambiguous = s->ambiguous, .all_good_mm2 = s->all_good_mm2};
}

/* An explanation with @mode (NULL: none) in which touch @off of the first tip is not good (TT_NONE:
 * all are). */
static void add(struct given *s, const struct tt_height_mode *mode, size_t off, double log_evidence)
{
    size_t k = s->pool.n_found++;
    struct tt_height_explanation *e = &s->pool.found[k];

    *e = (struct tt_height_explanation){
        .n_modes = mode != NULL ? 1 : 0, .good = s->good[k], .log_evidence = log_evidence};
    for (size_t i = 0; i < ROWS; i++) {
        s->good[k][i] = i == off ? 0 : 1;
    }
    if (mode != NULL) {
        e->modes[0] = *mode;
    }
}

static const struct tt_height_choice *decide(struct given *s)
{
    ck_assert_int_eq(tt_height_decide(&s->pool, &s->choice), TIPTRUE_OK);
    return &s->choice;
}

/* A face runout is adopted where it is more probable than what is without; where a touch of its tip
 * is not good, by 1 over the good ones beyond three, in ln. */
START_TEST(faces_among_late_touches)
{
    static struct given s;

    for (int in = 0; in < 2; in++) {
        set_up(&s);
        add(&s, NULL, TT_NONE, -37);
        add(&s, &FACE, 2, -37 + 1.0 / 4 * (in ? 1.001 : 0.999));
        ck_assert_uint_eq(decide(&s)->fit->n_modes, (size_t)in);
        set_up(&s);
        add(&s, NULL, TT_NONE, -37);
        add(&s, &FACE, TT_NONE, in ? -36.999 : -37.001);
        ck_assert_uint_eq(decide(&s)->fit->n_modes, (size_t)in);
    }
    tt_arena_clear(&s.arena);
}
END_TEST

/* Turn the first tip's touches to three rotations, and @apart_rad from the last of them. */
static void turn(struct given *s, double apart_rad)
{
    for (size_t i = 0; i < TOUCHES; i++) {
        double angle = i < TOUCHES - 1 ? 2.1 * (double)(i % 3) : 4.2 + apart_rad;
        s->h.rows[i].cosine = cos(angle);
        s->h.rows[i].sine = sin(angle);
    }
}

/* At three rotations it must be e^3 times as probable as late touches in its place; rotations are
 * two from acos(0.9998) on. */
START_TEST(faces_at_few_rotations)
{
    static struct given s;

    for (int in = 0; in < 2; in++) {
        set_up(&s);
        turn(&s, 0);
        add(&s, NULL, 2, -37);
        add(&s, &FACE, TT_NONE, -37 + 3 * (in ? 1.001 : 0.999));
        ck_assert_uint_eq(decide(&s)->fit->n_modes, (size_t)in);
        set_up(&s);
        turn(&s, acos(0.9998) * (in ? 1.001 : 0.999));
        add(&s, NULL, 2, -37);
        add(&s, &FACE, TT_NONE, -37 + 2);
        ck_assert_uint_eq(decide(&s)->fit->n_modes, (size_t)in);
    }
    tt_arena_clear(&s.arena);
}
END_TEST

/* For the heights a face runout is four times as probable, with any of the tips. What is less
 * probable than e^-7 of the best does not bear on them, nor what makes more than 96 of them, by
 * quarters. */
START_TEST(parts)
{
    static struct given s;

    set_up(&s);
    add(&s, NULL, TT_NONE, -37);
    add(&s, &FACE, TT_NONE, -38.3);
    const struct tt_height_choice *choice = decide(&s);
    ck_assert_uint_eq(choice->n_parts, 2);
    ck_assert_double_eq_tol(choice->parts[1].probability / choice->parts[0].probability,
                            4 * TIPS * exp(-1.3), 1e-12);
    for (int in = 0; in < 2; in++) {
        set_up(&s);
        add(&s, NULL, TT_NONE, -37);
        add(&s, NULL, 2, -37 - 7 * (in ? 0.999 : 1.001));
        ck_assert_uint_eq(decide(&s)->n_parts, in ? 2 : 1);
    }
    set_up(&s);
    add(&s, NULL, TT_NONE, -37);
    for (size_t k = 0; k < MANY; k++) { /* 95 within 4.75 of the best, 100 within 5 */
        add(&s, NULL, k % TOUCHES, -37 - 0.0499 * (double)(k + 1));
    }
    ck_assert_uint_eq(decide(&s)->n_parts, 96);
    tt_arena_clear(&s.arena);
}
END_TEST

/* A height is ambiguous where explanations beyond U have a probability of 0.015 together, or of
 * 0.01 with a pad off that is not off in the best. */
START_TEST(beyond)
{
    static struct given s;

    for (int pads = 0; pads < 2; pads++) {
        for (int in = 0; in < 2; in++) {
            double p = (pads ? 0.01 : 0.015) * (in ? 1.001 : 0.999);
            set_up(&s);
            for (size_t i = 0; i < TOUCHES; i++) {
                s.h.rows[i].z_mm += i == 2 ? 0.5 : 0;
            }
            add(&s, NULL, 2, -37);
            add(&s, pads ? &PAD : NULL, TT_NONE, -37 + log(p / (1 - p)));
            const struct tt_height_choice *choice = decide(&s);
            ck_assert_uint_eq(choice->n_parts, 2);
            ck_assert_double_eq_tol(choice->parts[1].probability, p, 1e-12);
            ck_assert_msg(choice->ambiguous[0] == in, "%d, %d", pads, in);
        }
    }
    tt_arena_clear(&s.arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/height_decide");
    TCase *tcase = tcase_create("decide");
    tcase_add_test(tcase, faces_among_late_touches);
    tcase_add_test(tcase, faces_at_few_rotations);
    tcase_add_test(tcase, parts);
    tcase_add_test(tcase, beyond);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
