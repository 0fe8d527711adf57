/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Edges held against earlier runs on the plate: a film of known depth is told by that depth, within
 * four of its u, on the right edge; and all numbers to seven digits, as past.txt beside this file
 * has them (recorded.h). With the program: tests/history/film.py. */
#include "config.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "adjust/past_offsets.h"
#include "base/digest.h"
#include "model/between.h"
#include "recorded.h"
#include "scene.h"

enum { PAST = 8, FILMED = 5, MIXED = 40 };
#define FILM_MM (-0.024)

/* What is unlike in the runs of a case; a bit each. */
enum {
    FILM = 1,             /* on the run at hand, over all of edge FILMED */
    WORN = 2,             /* that edge came nearer */
    OUTLIER = 4,          /* one of the earlier runs had a film */
    FREED = 8,            /* two of them found the edge elsewhere themselves */
    FEW = 16,             /* four of them only */
    OTHER_DESIGN = 32,    /* of more touches */
    RESTLESS = 64,        /* their edges scatter more than touches do */
    CORRELATED = 128,     /* touches of the run at hand */
    OTHER_DOCUMENT = 256, /* of the plate */
    OFFSETS = 512         /* are known of the earlier runs */
};

static struct scene scene_of(int what, unsigned long seed)
{
    static const double LIES_MM[] = {0.004, -0.006, 0.003, 0, -0.002, 0.005, -0.003, 0.001};
    struct scene s = scene_many_edges(seed);

    s.rotations = what & OTHER_DESIGN ? 12 : 7;
    for (size_t j = 0; j < s.n_edges; j++) {
        s.edges[j].shift = LIES_MM[j];
    }
    return s;
}

static struct tiptrue_solution *solve(const struct scene *s, const struct scene_rows *rows,
                                      const struct tiptrue_between *between, char document[17])
{
    struct tiptrue_solve_options options = {.between = between};
    struct scene_read read = scene_read(s, rows);
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *solution = NULL;

    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tt_adjust(workspace, read.plate, read.machine, read.run, &options, &solution, NULL),
        TIPTRUE_OK);
    if (document != NULL) {
        tt_digest(read.plate->source.text, read.plate->source.length, document);
    }
    tt_adjust_workspace_free(workspace);
    scene_read_free(&read);
    return solution;
}

/* The offsets that the @k-th earlier run found; before the last five or so they were elsewhere. */
static void put_offsets(int what, size_t k, const struct tiptrue_solution *solution,
                        struct tt_arena *arena, struct tt_past_run *run)
{
    run->n_tips = what & OFFSETS ? solution->n_tips : 0;
    run->tips = TT_ARENA_NEW(arena, solution->n_tips, struct tt_past_tip);
    for (size_t t = 0; t < run->n_tips; t++) {
        run->tips[t] = (struct tt_past_tip){tt_arena_copy(arena, solution->tips[t].name),
                                            solution->tips[t].held};
        run->tips[t].held.x_mm += k > 5 ? 0.037 : 0.0011 * cos(2.9 * (double)k);
    }
}

/* The earlier runs as they found their edges and offsets, into @between. */
static void make_past(int what, double film_mm, struct tiptrue_between *between)
{
    static const char *const IDS[PAST] = {"a1", "a2", "a3", "a4", "a5", "a6", "a7", "a8"};

    between->n_past = what & FEW ? 4 : PAST;
    between->past = TT_ARENA_NEW(&between->arena, PAST, struct tt_past_run);
    for (size_t k = 0; k < between->n_past; k++) {
        struct scene s = scene_of(what, 300 + 7 * k);
        struct tt_past_run *run = &between->past[k];
        char document[17];
        s.edges[FILMED].shift += what & OUTLIER && k == 2 ? film_mm : 0;
        s.edges[3].shift += what & RESTLESS ? 0.006 * cos(2.3 * (double)k) : 0;
        struct scene_rows rows = scene_simulate(&s);
        struct tiptrue_solution *solution = solve(&s, &rows, NULL, document);
        *run = (struct tt_past_run){
            .id = IDS[k],
            .plate = tt_arena_copy(&between->arena, solution->plate_serial != NULL
                                                        ? solution->plate_serial
                                                        : solution->plate),
            .document = what & OTHER_DOCUMENT ? "00" : tt_arena_copy(&between->arena, document),
            .time_s = 1.7e9 + (what & OFFSETS ? -86400.0 : 86400.0) * (double)k,
            .edges = TT_ARENA_NEW(&between->arena, solution->n_edges, struct tt_past_edge),
            .n_edges = solution->n_edges};
        for (size_t j = 0; j < run->n_edges; j++) {
            const struct tt_edge_result *edge = &solution->edges[j];
            run->edges[j] =
                (struct tt_past_edge){tt_arena_copy(&between->arena, edge->name), edge->shift_mm,
                                      edge->u_shift_mm, what & FREED && k > 5 && j == FILMED};
        }
        put_offsets(what, k, solution, &between->arena, run);
        tiptrue_solution_free(solution);
        scene_rows_free(&rows);
    }
}

static void put(struct tt_buffer *to, const struct tiptrue_solution *solution)
{
    tt_buffer_printf(to, "earlier");
    for (size_t j = 0; j < solution->n_edges; j++) {
        const struct tt_edge_earlier *earlier = &solution->edges[j].earlier;
        tt_buffer_printf(to, " %zu", earlier->runs);
        recorded_put(to, 1e3 * earlier->shift_mm);
        recorded_put(to, 1e3 * earlier->u_mm);
    }
    for (size_t i = 0; i < solution->n_findings; i++) {
        const struct tt_finding *f = &solution->findings[i];
        tt_buffer_printf(to, "\n%s/%d %zu", tt_finding_name(f->code), (int)f->severity,
                         f->edge != TT_NONE ? f->edge : 99);
        for (size_t k = 0; k < f->n_values && f->code == TT_FINDING_EDGE_FILM; k++) {
            tt_buffer_printf(to, " %s", f->values[k].text != NULL ? f->values[k].text : "");
            recorded_put(to, f->values[k].text != NULL ? 0 : 1e3 * f->values[k].number);
        }
    }
    tt_buffer_putc(to, '\n');
}

/* The run of the case, its touches correlated by 0.85 where that is asked for. */
static struct scene_rows rows_of(int what, const struct scene *s, gsl_rng *random)
{
    struct scene_rows rows = scene_simulate(s);
    double drawn = 0;

    for (size_t i = 0; i < rows.n && what & CORRELATED; i++) {
        drawn = 0.85 * drawn + gsl_ran_gaussian(random, 0.002);
        if (!rows.row[i].is_sight) {
            scene_deepen(&rows.row[i], drawn);
        }
    }
    return rows;
}

/* Several of these at once, films of any depth. */
START_TEST(mixed_as_before)
{
    struct tt_buffer found = {0};
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);

    for (size_t k = 0; k < MIXED; k++) {
        int what = (int)(gsl_rng_get(random) & gsl_rng_get(random)) & (OFFSETS * 2 - 1);
        double film_mm = -0.04 * gsl_rng_uniform(random);
        struct tiptrue_between between = {0};
        what &= k % 4 > 0 ? ~(FEW | OTHER_DOCUMENT) : what;
        struct scene s = scene_of(what & ~OTHER_DESIGN, 4711 + k);
        s.edges[FILMED].shift += what & FILM ? film_mm : what & WORN ? -film_mm : 0;
        struct scene_rows rows = rows_of(what, &s, random);
        make_past(what, film_mm, &between);
        struct tiptrue_solution *solution = solve(&s, &rows, &between, NULL);
        tt_buffer_printf(&found, "case mixed %zu, %d\n", k, what);
        put(&found, solution);
        tiptrue_solution_free(solution);
        scene_rows_free(&rows);
        tt_arena_clear(&between.arena);
    }
    gsl_rng_free(random);
    recorded_compare_by(&found, "tests/unit/adjust/past_mixed.txt",
                        (struct recorded_rule){2e-4, 1, false});
    tt_buffer_clear(&found);
}
END_TEST

START_TEST(films_and_records)
{
    static const int CASES[] = {0,
                                FILM,
                                WORN,
                                FILM | OUTLIER,
                                FILM | FREED,
                                FILM | FEW,
                                FILM | OTHER_DESIGN,
                                FILM | RESTLESS,
                                FILM | CORRELATED,
                                FILM | OTHER_DOCUMENT};
    struct tt_buffer found = {0};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        int what = CASES[k];
        struct tiptrue_between between = {0};
        gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
        struct scene s = scene_of(what & ~OTHER_DESIGN, 4711);
        double shift_mm = what & FILM ? FILM_MM : what & WORN ? -FILM_MM : 0;
        s.edges[FILMED].shift += shift_mm;
        struct scene_rows rows = rows_of(what, &s, random);
        make_past(what, FILM_MM, &between);
        struct tiptrue_solution *solution = solve(&s, &rows, &between, NULL);
        bool told = what & (FILM | WORN) && !(what & (FEW | OTHER_DOCUMENT));
        ck_assert_uint_eq(scene_count(solution, TT_FINDING_EDGE_FILM), told);
        if (told) {
            const struct tt_finding *f = scene_finding(solution, TT_FINDING_EDGE_FILM);
            double off_mm = tt_finding_value(f, "shift")->number - shift_mm;
            ck_assert_uint_eq(f->edge, FILMED);
            ck_assert_msg(fabs(off_mm) < 4 * tt_finding_value(f, "u")->number, "off by %g mm",
                          off_mm);
        }
        tt_buffer_printf(&found, "case %zu\n", k);
        put(&found, solution);
        tiptrue_solution_free(solution);
        scene_rows_free(&rows);
        tt_arena_clear(&between.arena);
        gsl_rng_free(random);
    }
    recorded_compare(&found, "tests/unit/adjust/past.txt", 1);
    tt_buffer_clear(&found);
}
END_TEST

/* A size at which something changes. */
enum size {
    FILM_TOLD,      /* of a film */
    OTHER_DROPPED,  /* by which an edge of an earlier run is off */
    LIVELY_DROPPED, /* and where all of them scatter */
    SIZES
};

static bool changes(enum size what, double mm, const struct tiptrue_between *between)
{
    struct scene s = scene_of(0, 4711);
    bool film = what == FILM_TOLD;

    s.edges[FILMED].shift -= film ? mm : 0;
    s.sigma_touch = s.u_touch = 2e-3;
    s.decimals = 5;
    struct scene_rows rows = scene_simulate(&s);
    struct tt_past_run *run = &between->past[2];
    double had_mm = run->edges[FILMED].shift_mm;
    run->edges[FILMED].shift_mm -= film ? 0 : mm;
    struct tiptrue_solution *solution = solve(&s, &rows, between, NULL);
    run->edges[FILMED].shift_mm = had_mm;
    bool changed = film ? scene_count(solution, TT_FINDING_EDGE_FILM) > 0
                        : solution->edges[FILMED].earlier.runs < PAST;
    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
    return changed;
}

/* From which size on a film is told, and an earlier run dropped, to a part in ten thousand, as
 * past_sizes.txt has them. */
START_TEST(from_which_size_on)
{
    struct tt_buffer found = {0};

    for (int what = 0; what < SIZES; what++) {
        struct tiptrue_between between = {0};
        double low = 0, high = 0.06;
        make_past(0, 0, &between);
        for (size_t k = 0; k < PAST; k++) {
            for (size_t j = 0; j < between.past[k].n_edges; j++) {
                struct tt_past_edge *edge = &between.past[k].edges[j];
                double lively = 0.004 * cos(2.3 * (double)k + (double)(j * j));
                edge->shift_mm += what == LIVELY_DROPPED ? lively : 0;
            }
        }
        ck_assert_msg(!changes((enum size)what, low, &between), "size %d", what);
        ck_assert_msg(changes((enum size)what, high, &between), "size %d", what);
        while (high - low > 1e-4 * high) {
            double middle = 0.5 * (low + high);
            bool on = changes((enum size)what, middle, &between);
            low = on ? low : middle;
            high = on ? middle : high;
        }
        tt_buffer_printf(&found, "case size %d: %.4g\n", what, 1e3 * high);
        tt_arena_clear(&between.arena);
    }
    recorded_compare_by(&found, "tests/unit/adjust/past_sizes.txt",
                        (struct recorded_rule){5e-4, 0, false});
    tt_buffer_clear(&found);
}
END_TEST

/* A result with one tip whose offset an edge's shift moves by @gain along (0.6, -0.8), and earlier
 * runs whose offsets lay @at along that. */
struct offsets {
    struct tiptrue_solution solution;
    struct tt_tip_result tip;
    struct tt_edge_result edge;
    double response[3];
    struct tt_view view;
    struct tt_past_run run[PAST];
    struct tt_past_tip past[PAST];
    const struct tt_past_run *latest[PAST];
};

static void set_up_offsets(struct offsets *o, double gain, const double at[], size_t n)
{
    *o = (struct offsets){.response = {0.6 * gain, -0.8 * gain, 0.2}};
    o->tip = (struct tt_tip_result){.name = "t1",
                                    .edge_response = o->response,
                                    .has_held = true,
                                    .offset_determined_x = true,
                                    .offset_determined_y = true,
                                    .held = {0.6 * 0.0187, -0.8 * 0.0187}};
    o->solution = (struct tiptrue_solution){.tips = &o->tip, .n_tips = 1, .edges = &o->edge};
    o->view.solution = &o->solution;
    for (size_t i = 0; i < n; i++) {
        o->past[i] = (struct tt_past_tip){"t1", {0.6 * at[i] + 0.8 * 7.3, 0.6 * 7.3 - 0.8 * at[i]}};
        o->run[i] = (struct tt_past_run){.tips = &o->past[i], .n_tips = 1};
        o->latest[i] = &o->run[i];
    }
}

/* What earlier offsets lead to expect, by a program of a dozen lines from docs/method.md:
 * neighbours further apart than five standard deviations of a difference, 5 x 1.4826 times the
 * median of their sizes (2 um), have a change between them, which no error is taken over. An edge
 * that moves an offset by less than a twentieth of its shift tells nothing. */
START_TEST(offsets_that_changed)
{
    static const double JUMP_MM = 5 * 1.4826 * 0.002;
    static struct offsets o;

    for (int changed = 0; changed < 2; changed++) {
        double at[] = {0, 0.001, -0.001, 0.0005, 0.0035, 0.0035, 0.0035 - 0.0012};
        at[5] += JUMP_MM * (changed ? 1.0001 : 0.9999);
        at[6] += JUMP_MM * (changed ? 1.0001 : 0.9999);
        set_up_offsets(&o, 0.37, at, 7);
        struct tt_offsets_earlier earlier = tt_past_offsets(&o.view, o.latest, 7, 0);
        ck_assert_uint_eq(earlier.runs, changed ? 6 : 7);
        ck_assert_double_eq_tol(earlier.mean_mm, 0.0008, 1e-9);
        ck_assert_double_eq_tol(earlier.u_mm, changed ? 0.00169846985 : 0.00895297469, 1e-10);
        set_up_offsets(&o, 0.05 * (changed ? 1.001 : 0.999), at, 7);
        ck_assert((tt_past_offsets(&o.view, o.latest, 7, 0).runs > 0) == changed);
    }
    ck_assert_double_eq_tol(tt_past_given(1.23456789012345), 1.2345678901, 1e-15);
}
END_TEST

/* How ill the offset, 18.7 um, fits what is expected, by -2 ln (0.975 p + 0.025 / 0.025 mm) with p
 * of Student's t for a shift of -18 um, and where that is nothing. */
START_TEST(offsets_that_do_not_fit)
{
    static struct offsets o;

    set_up_offsets(&o, 0.37, NULL, 0);
    o.edge.earlier.offsets = (struct tt_offsets_earlier){7, 0.0113, 0.0021};
    ck_assert_double_eq_tol(tt_past_misfit(&o.view, 0, -0.018, 0.0034), -0.40944062753, 1e-9);
    o.edge.earlier.offsets.runs = 4;
    ck_assert_double_eq_tol(tt_past_misfit(&o.view, 0, 0.02, 0.0034), -10.14902604892, 1e-9);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/past");
    TCase *tcase = tcase_create("past");
    tcase_add_test(tcase, films_and_records);
    tcase_add_test(tcase, mixed_as_before);
    tcase_add_test(tcase, from_which_size_on);
    tcase_add_test(tcase, offsets_that_changed);
    tcase_add_test(tcase, offsets_that_do_not_fit);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
