/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board's parts come to, to seven digits, for boards with a fault of each kind: evidence.txt
 * beside this file holds it. Whether it is right, tests/simulation/placement.py asks. When it is
 * meant to change: recorded.h. */
#include "config.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "model/frames.h"
#include "output/drawings.h"
#include "output/text/sentences.h"
#include "placement/placement.h"
#include "recorded.h"

enum { TIPS = 3, MOST_PARTS = 60, MIXED = 48 };

/* What is off on the board of each case; a bit each. */
enum {
    OFFSET = 1,   /* of the second tip */
    TURNING = 2,  /* of the first */
    GRID = 4,     /* scales, shear */
    TURN = 8,     /* the whole grid */
    COMMON = 16,  /* all alike */
    SLIPPED = 32, /* some parts */
    ANGLE = 64,   /* the third tip's rotation zero */
    ANGLES = 128, /* of all */
    OWN_FRAME = 256,
    CLOCKWISE = 512,
    LIMITS = 1024,
    BY_AXIS = 2048, /* x scatters more than y */
    BY_TIP = 4096,  /* the first tip scatters more */
    FEW = 8192,
    NO_ROTATIONS = 16384,
    ONE_TIP = 32768,
    NEARLY = 131072, /* some parts are off by a little more than they scatter */
    STATED = 65536,  /* uncertainties of seat and device */
    TIGHT = 262144,  /* limits */
    MOVED = 524288,  /* from a part on, by what the last places of the case say */
    CREPT = 1048576  /* more and more, from the first part to the last */
};
/* How many parts from the end a step is; 0: two fifths of them. */
#define LAST(parts) ((parts) << 21)

static const int CASES[] = {0,
                            OFFSET | LIMITS,
                            TURNING | STATED,
                            GRID,
                            GRID | TURN | LIMITS,
                            COMMON | STATED,
                            SLIPPED | OFFSET | LIMITS,
                            ANGLE | LIMITS,
                            ANGLES | CLOCKWISE,
                            OWN_FRAME | OFFSET,
                            OWN_FRAME | TURNING | LIMITS,
                            CLOCKWISE | TURNING,
                            BY_AXIS | OFFSET | LIMITS,
                            BY_TIP | TURNING | LIMITS,
                            FEW | OFFSET,
                            NO_ROTATIONS | TURNING | OFFSET,
                            ONE_TIP | OFFSET | TURNING | LIMITS,
                            ONE_TIP | OWN_FRAME | GRID,
                            SLIPPED | FEW | TURNING,
                            TURN | STATED,
                            NEARLY | OFFSET,
                            NEARLY | SLIPPED | ANGLES | LIMITS,
                            NEARLY | BY_TIP | TURNING,
                            NEARLY | FEW | ONE_TIP};

/* The parts of a board, drawn; the machine's offsets are right but for what is off, @size times as
 * much as it says here. */
static size_t draw(int what, double size, gsl_rng *rng, struct tt_part parts[])
{
    size_t tips = what & ONE_TIP ? 1 : TIPS, n = what & FEW ? 5 * tips : 14 * tips;

    for (size_t i = 0; i < n; i++) {
        struct tt_part *p = &parts[i];
        double turn = TT_PI / 2 * (double)(i / tips % (what & NO_ROTATIONS ? 1 : 4)), off[2],
               scatter = what & BY_TIP && i % tips == 0 ? 0.031 : 0.012;
        *p = (struct tt_part){
            .line = 2 + i,
            .tip = i % tips,
            .wanted = {10 + 83 * gsl_rng_uniform(rng), 7 + 61 * gsl_rng_uniform(rng)},
            .rotation_rad = turn,
            .has_found_rotation = (what & (ANGLE | ANGLES)) != 0};
        double x = p->wanted.x_mm - 50, y = p->wanted.y_mm - 35,
               common = what & COMMON ? 0.041 * size : 0,
               own = what & OFFSET && p->tip + 1 == (tips > 1 ? 2 : 1) ? 0.047 * size : 0,
               a = what & TURNING && p->tip == 0 ? 0.033 * size : 0,
               angle =
                   size * ((what & ANGLES ? 0.011 : 0) + (what & ANGLE && p->tip == 2 ? 0.013 : 0));
        off[0] = common + own + a * cos(turn) + (what & GRID ? size * (6e-4 * x + 4e-4 * y) : 0) -
                 (what & TURN ? size * 9e-4 * y : 0);
        off[1] = -0.6 * common - 0.8 * own + a * sin(turn) + (what & GRID ? size * -3e-4 * y : 0) +
                 (what & TURN ? size * 9e-4 * x : 0);
        size_t late = (size_t)what >> 21;
        double moved = what & CREPT   ? (double)i / (double)n
                       : what & MOVED ? (double)(i + (late > 0 ? late : 2 * n / 5) >= n)
                                      : 0;
        off[0] += moved * size * (0.037 - 2e-4 * y);
        off[1] += moved * size * (-0.022 + 2e-4 * x);
        bool slips = what & SLIPPED && i % 7 == 3, nearly = what & NEARLY && i % 5 == 2;
        off[0] += nearly ? 0.043 * size : 0;
        p->found.x_mm = p->wanted.x_mm + off[0] +
                        gsl_ran_gaussian(rng, what & BY_AXIS ? 3 * scatter : scatter) +
                        (slips ? 0.21 : 0);
        p->found.y_mm =
            p->wanted.y_mm + off[1] + gsl_ran_gaussian(rng, scatter) - (slips ? 0.13 : 0);
        p->found_rotation_rad = turn + angle + gsl_ran_gaussian(rng, 0.004);
    }
    return n;
}

static void put(struct tt_buffer *to, const char *name, const double numbers[], size_t n)
{
    tt_buffer_printf(to, "%s", name);
    for (size_t i = 0; i < n; i++) {
        recorded_put(to, numbers[i]);
    }
    tt_buffer_putc(to, '\n');
}
#define PUT(to, name, ...)                                                                         \
    put((to), (name), (const double[]){__VA_ARGS__},                                               \
        sizeof((const double[]){__VA_ARGS__}) / sizeof(double))

static void put_axis(struct tt_buffer *to, const struct tt_capability_axis *a)
{
    PUT(to, "axis", (double)a->parts, 1e3 * a->mean, 1e3 * a->standard_deviation, a->a2,
        a->p_normal, a->normal, a->cp, a->cp_low, a->cp_high, a->cpk, a->cpk_low, a->cpk_high,
        a->share_normal, (double)a->within, a->share_low, a->share_high);
}

static void put_tip(struct tt_buffer *to, const struct tt_placed_tip *t)
{
    PUT(to, "tip", (double)t->used, t->has_offset, 1e3 * t->offset_mm.x, 1e3 * t->offset_mm.y,
        1e3 * t->u_offset_mm.x, 1e3 * t->u_offset_mm.y, 1e3 * t->expanded_offset_mm.x,
        1e6 * t->offset_cov_mm2, t->p_offset, t->turning_shown, 1e3 * t->turning_mm.x,
        1e3 * t->turning_mm.y, 1e3 * t->u_turning_mm.x, 1e3 * t->expanded_turning_mm.y,
        t->p_turning, t->offset_apart, 1e3 * t->repeatability_mm, t->dof);
    PUT(to, "angle", t->has_angle, t->angle_shown, 1e3 * t->angle_rad, 1e3 * t->u_angle_rad,
        1e3 * t->expanded_angle_rad, t->p_angle, t->angle_dof);
}

static void put_board(struct tt_buffer *to, const struct tiptrue_placement *p)
{
    const struct tt_board_grid *g = &p->grid;

    PUT(to, "board", (double)p->parts_used, p->relative, p->has_common, p->common_shown,
        1e3 * p->common_mm.x, 1e3 * p->common_mm.y, 1e3 * p->u_common_mm.x, p->p_common,
        1e3 * p->repeatability_mm, p->repeatability_dof, p->by_axis, p->by_tip,
        1e3 * p->repeatability_rad, 1e3 * p->systematic_mm, p->middle.x_mm);
    PUT(to, "grid", g->shown, g->turn_known, g->p, 1e3 * g->scale_x, 1e3 * g->scale_y,
        1e3 * g->shear, 1e3 * g->turn, 1e3 * g->u_scale_x, 1e3 * g->u_scale_y, 1e3 * g->u_shear,
        1e3 * g->u_turn);
    for (size_t i = 0; i < p->n_tips; i++) {
        put_tip(to, &p->tips[i]);
    }
    tt_buffer_printf(to, "explained");
    for (size_t i = 0; i < p->n_explanations && i < 4; i++) {
        tt_buffer_printf(to, " %zu", p->explanations[i].n_terms);
        recorded_put(to, p->explanations[i].probability);
    }
    tt_buffer_printf(to, "\naside");
    for (size_t i = 0; i < p->n_set_aside; i++) {
        tt_buffer_printf(to, " %zu", p->set_aside[i]);
    }
    tt_buffer_printf(to, "\nfindings");
    for (size_t i = 0; i < p->n_findings; i++) {
        const struct tt_finding *f = &p->findings[i];
        tt_buffer_printf(to, " %s/%d", tt_finding_name(f->code), (int)f->severity);
        for (size_t k = 0; k < f->n_values; k++) {
            tt_buffer_printf(to, " %s", f->values[k].text != NULL ? f->values[k].text : "");
            recorded_put(to, f->values[k].text != NULL ? 0 : f->values[k].number);
        }
    }
    tt_buffer_printf(to, "\nwanted");
    for (size_t i = 0; i < p->n_wanted; i++) {
        const struct tt_wanted_part *w = &p->wanted[i];
        tt_buffer_printf(to, " %zu", w->tip);
        recorded_put(to, w->at.x_mm);
        recorded_put(to, w->at.y_mm);
        recorded_put(to, w->rotation_rad);
    }
    tt_buffer_putc(to, '\n');
    for (size_t i = 0; i < p->n_capability; i++) {
        put_axis(to, &p->capability[i].x);
        put_axis(to, &p->capability[i].y);
        put_axis(to, &p->capability[i].rotation);
    }
}

/* What is written and drawn of it. */
static void say(struct tiptrue_placement *placement, size_t k, struct tt_buffer *to)
{
    struct tiptrue_text_options options = {.utf8 = k % 3 > 0,
                                           .observations = k % 2 == 0,
                                           .charts = k % 4 == 0,
                                           .columns = k % 5 == 0 ? 60 : 80,
                                           .rows = 40,
                                           .units =
                                               k % 5 == 4 ? TIPTRUE_UNITS_INCH : TIPTRUE_UNITS_MM};
    struct tiptrue_report *report = NULL;
    char *text = NULL;

    ck_assert_int_eq(tt_placement_sentences(placement), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_placement_text(placement, false, &options, &text, NULL, NULL),
                     TIPTRUE_OK);
    tt_buffer_puts(to, text);
    free(text);
    ck_assert_int_eq(tiptrue_report_new(NULL, &report, NULL), TIPTRUE_OK);
    tiptrue_report_units(report, options.units);
    ck_assert_int_eq(tiptrue_report_add_board(report, placement, NULL), TIPTRUE_OK);
    drawn_put_all(to, report);
    tiptrue_report_free(report);
}

/* A board with @what off, @size times as much as it says above, into @to; what is said of it into
 * @said, unless NULL. */
static void judge(int what, double size, unsigned long seed, struct tt_buffer *to,
                  struct tt_buffer *said)
{
    const char *names[TIPS] = {"wide", said != NULL ? "narrow, of carbide" : "narrow", "long"};
    struct tt_tip stated[TIPS];
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    struct tt_part parts[MOST_PARTS];
    struct tiptrue_board board = {
        .file = "board.csv", .id = "00000000000000b1", .parts = parts, .tips = names};
    struct tiptrue_machine machine = {.name = "loom", .tips = stated, .n_tips = TIPS};
    struct tiptrue_placement *placement = NULL;

    gsl_rng_set(rng, seed);
    board.n_tips = what & ONE_TIP ? 1 : TIPS;
    board.n_parts = draw(what, size, rng, parts);
    board.own_frame = what & OWN_FRAME;
    board.clockwise = machine.clockwise = what & CLOCKWISE;
    board.has_u_board = board.has_u_device = what & STATED;
    board.u_board_mm = 0.02;
    board.u_device_mm = 0.004;
    for (size_t t = 0; t < TIPS; t++) {
        stated[t] = (struct tt_tip){
            .name = names[t], .has_offset = true, .offset = {-41.3 + 17 * (double)t, 12.7}};
    }
    machine.limits.has_placement_mm = machine.limits.has_placement_rad = what & LIMITS;
    machine.limits.placement_mm = what & TIGHT ? 0.011 : 0.08;
    machine.limits.placement_rad = 0.03;
    ck_assert_int_eq(tt_place(&board, &machine, NULL, &placement, NULL), TIPTRUE_OK);
    put_board(to, placement);
    if (said != NULL) {
        say(placement, seed, said);
    }
    tiptrue_placement_free(placement);
    gsl_rng_free(rng);
}

START_TEST(as_before)
{
    struct tt_buffer found = {0};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        tt_buffer_printf(&found, "case %zu\n", k);
        judge(CASES[k], 1, 1000 + k, &found, NULL);
    }
    recorded_compare(&found, "tests/unit/placement/evidence.txt", 0.1);
    tt_buffer_clear(&found);
}
END_TEST

/* Moves of such sizes, faults beside them, that some are shown and some not. */
START_TEST(moved_as_before)
{
    static const int BESIDE[] = {0,      OFFSET,    SLIPPED, CLOCKWISE | TURNING,
                                 BY_TIP, OWN_FRAME, ONE_TIP};
    struct tt_buffer found = {0};

    for (size_t k = 0; k < 42; k++) {
        int what = BESIDE[k % 7] | (k % 2 == 0 ? MOVED : CREPT);
        tt_buffer_printf(&found, "case moved %zu\n", k);
        judge(what, 0.35 + 0.015 * (double)k, 3000 + k, &found, NULL);
    }
    for (int last = 1; last < 5; last++) {
        for (unsigned long seed = 0; seed < 3; seed++) {
            tt_buffer_printf(&found, "case moved last %d %lu\n", last, seed);
            judge(MOVED | LAST(last), 4, 4000 + seed, &found, NULL);
            judge(MOVED | ONE_TIP | LAST(last), 4, 4000 + seed, &found, NULL);
        }
    }
    recorded_compare(&found, "tests/unit/placement/moved.txt", 0.1);
    tt_buffer_clear(&found);
}
END_TEST

/* Several faults of any size, and what is said of them. */
START_TEST(mixed_as_before)
{
    struct tt_buffer found = {0}, said = {0};
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);

    for (size_t k = 0; k < MIXED; k++) {
        int what =
            (int)(gsl_rng_get(random) & gsl_rng_get(random)) & (TIGHT * 2 - 1) & ~NO_ROTATIONS;
        double size = 0.1 + 1.3 * gsl_rng_uniform(random);
        tt_buffer_printf(&found, "case mixed %zu, %d\n", k, what);
        tt_buffer_printf(&said, "case mixed %zu, %d\n", k, what);
        judge(what, size, 2000 + k, &found, k % 2 == 0 ? &said : NULL);
    }
    recorded_compare_by(&found, "tests/unit/placement/mixed.txt",
                        (struct recorded_rule){2e-4, 0.1, false});
    recorded_compare_by(&said, "tests/unit/placement/said.txt",
                        (struct recorded_rule){2e-4, 1, true});
    tt_buffer_clear(&found);
    tt_buffer_clear(&said);
    gsl_rng_free(random);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("placement/evidence");
    TCase *tcase = tcase_create("evidence");
    tcase_add_test(tcase, as_before);
    tcase_add_test(tcase, moved_as_before);
    tcase_add_test(tcase, mixed_as_before);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
