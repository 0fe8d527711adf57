/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Plans for plates and machines drawn at random: touches, from above, views, the program, what to
 * do after a run, a run simulated; every word and number as drawn.txt beside this file has them
 * (recorded.h). Whether they are right, the other tests of planning ask. */
#include "config.h"

#include "adjust/drawn.h"
#include "ingest/ingest.h"
#include "output/drawings.h"

enum { PLANS = 12 };

static const char PADS[] = ", \"pads\": [{\"name\": \"P\", \"at\": [7.3, 23.1], \"u\": 0.004}, "
                           "{\"name\": \"Q\", \"at\": [27.9, 2.7], \"u\": 0.006, \"height\": "
                           "0.013}, {\"name\": \"R\", \"at\": [33.3, 27.1]}]}";
static const char MORE[] =
    ", \"height\": {\"u\": 0.0021}, \"camera\": {\"size_px\": [1280, 960], \"u_px\": 0.17, "
    "\"scale_mm_per_px\": [0.0131, 0.0127], \"turn_deg\": %.2f}, \"motion\": {\"safe_height\": 12, "
    "\"touch_height\": -1.5, \"travel_feed\": 1500, \"plunge_feed\": 240, \"find_feed\": 120, "
    "\"measure_feed\": 30, \"rotation_feed\": 3600, \"rotation_word\": \"A\", \"probing\": "
    "\"%s\", \"start_distance\": 0.7, \"overtravel\": 0.5, \"lost_motion\": 0.04, \"margin\": "
    "0.21, \"limits\": {\"x\": [-300, 500], \"y\": [-300, 500], \"z\": [-3, 40], \"rotation\": "
    "[-360, 360]}}}";

/* Each tip's present height, before its radius; spoils @text. */
static char *with_heights(char *text)
{
    struct tt_buffer made = {0};
    int tip = 0;

    for (char *from = text, *at; from != NULL; from = at, tip++) {
        at = strstr(from + 1, "\"radius\"");
        tt_buffer_add(&made, from, at != NULL ? (size_t)(at - from) : strlen(from));
        if (at != NULL) {
            tt_buffer_printf(&made, "\"height\": %.3f, ", -20.7 - 1.31 * tip);
        }
    }
    free(text);
    return made.text;
}

/* @text with @more in the place of its last brace; spoils @text. */
static char *with(char *text, const char *more)
{
    struct tt_buffer made = {0};

    *strrchr(text, '}') = '\0';
    tt_buffer_puts(&made, text);
    tt_buffer_puts(&made, more);
    free(text);
    return made.text;
}

static struct scene_read drawn(size_t k, uint64_t *state, struct scene *s)
{
    static const char *const PROBING[] = {"normal", "axes"};
    char more[sizeof MORE + 40];
    struct scene_read read = {0};

    *s = scene_drawn(k, state);
    s->has_yaw = s->has_mark = true;
    s->u_yaw_deg = 0.04 + 0.05 * uniform(state);
    s->u_mark = 0.02;
    s->n_setups = 1;
    s->resolution = k % 6 == 0 ? 0.01 : s->resolution;
    for (size_t t = 0; t < s->n_tips; t++) {
        s->tips[t].has_present = true;
        s->tips[t].stated_radius = s->tips[t].radius;
        s->tips[t].u_radius = 0.004;
    }
    snprintf(more, sizeof more, MORE, 4 * uniform(state) - 2, PROBING[k % 2]);
    char *plate = with(scene_plate_text(s), PADS),
         *machine = with(with_heights(scene_machine_text(s)), more);
    ck_assert_int_eq(
        tt_plate_read_bytes("plate.json", plate, strlen(plate), NULL, &read.plate, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(
        tt_machine_read_bytes("machine.json", machine, strlen(machine), NULL, &read.machine, NULL),
        TIPTRUE_OK);
    free(plate);
    free(machine);
    return read;
}

static void put(struct tt_buffer *to, const struct tiptrue_proposal *proposal,
                const struct tiptrue_machine *machine, enum tiptrue_plan_form form)
{
    const struct tiptrue_text_options options = {.columns = 80};
    struct tiptrue_error error = {0};
    char *text = NULL;
    enum tiptrue_status status =
        tiptrue_proposal_write(proposal, machine, form, &options, &text, NULL, &error);

    tt_buffer_puts(to, status == TIPTRUE_OK ? text : error.text);
    tt_buffer_putc(to, '\n');
    free(text);
}

/* The truth, the run as a log, what is said and drawn of it, and what helps most after it. */
static void after(struct tt_buffer *to, size_t k, const struct scene_read *read,
                  const struct tiptrue_truth *truth, const struct tiptrue_run *run,
                  struct tiptrue_workspace *workspace)
{
    const struct tiptrue_plan_options more = {.touches = 3};
    struct tiptrue_proposal *next = NULL;
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_report *report = NULL;
    struct tiptrue_error error = {0};
    char *text = NULL;

    if (k % 3 == 0) {
        ck_assert_int_eq(tiptrue_truth_json(truth, &text, NULL, NULL), TIPTRUE_OK);
        tt_buffer_printf(to, "%s\n", text);
        free(text);
        ck_assert_int_eq(tiptrue_run_log(run, read->plate, NULL, &text, NULL, NULL), TIPTRUE_OK);
        tt_buffer_puts(to, text);
        free(text);
    }
    ck_assert_int_eq(
        tiptrue_solve(workspace, read->plate, read->machine, run, NULL, &solution, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_solution_text(solution, NULL, &text, NULL, NULL), TIPTRUE_OK);
    tt_buffer_puts(to, text);
    free(text);
    ck_assert_int_eq(tiptrue_report_new(NULL, &report, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tiptrue_report_add_run(report, read->plate, read->machine, run, solution, NULL),
        TIPTRUE_OK);
    drawn_put_all(to, report);
    tiptrue_report_free(report);
    tiptrue_solution_free(solution);
    ck_assert_msg(tiptrue_plan_next(workspace, read->plate, read->machine, run, &more, &next,
                                    &error) == TIPTRUE_OK,
                  "%s", error.text);
    put(to, next, read->machine, TIPTRUE_PLAN_CSV);
    put(to, next, read->machine, TIPTRUE_PLAN_TEXT);
    tiptrue_proposal_free(next);
}

/* The plan, the run that it may give, and what follows. */
static void plan(struct tt_buffer *to, size_t k, const struct scene_read *read, uint64_t *state)
{
    static const enum tiptrue_plan_form FORMS[] = {TIPTRUE_PLAN_CSV, TIPTRUE_PLAN_TEXT,
                                                   TIPTRUE_PLAN_RS274};
    const struct tiptrue_plan_options options = {
        .touches = k % 2 == 0 ? 12 + (size_t)(20 * uniform(state)) : 0,
        .target_mm = k % 2 == 0 ? 0 : 0.006 + 0.01 * uniform(state),
        .heights = k % 3 == 0 ? 4 : 0,
        .views = k % 4 == 1 ? 7 : 0,
        .sightings = 1 + k % 2,
        .setups = k % 5 == 4 ? 2 : 1};
    struct tiptrue_workspace *workspace = NULL;
    struct tiptrue_proposal *made = NULL;
    struct tiptrue_truth *truth = NULL;
    struct tiptrue_run *run = NULL;
    struct tiptrue_error error = {0};

    ck_assert_int_eq(tiptrue_workspace_new(&workspace, NULL), TIPTRUE_OK);
    if (tiptrue_plan_make(workspace, read->plate, read->machine, &options, &made, &error) !=
        TIPTRUE_OK) {
        tt_buffer_printf(to, "%s\n", error.text);
        tiptrue_workspace_free(workspace);
        return;
    }
    for (size_t i = 0; i < 3; i++) {
        if (FORMS[i] != TIPTRUE_PLAN_RS274 || k % 4 == 2) {
            put(to, made, read->machine, FORMS[i]);
        }
    }
    const struct tiptrue_plan *moves = tiptrue_proposal_plan(made);
    ck_assert_int_eq(
        tiptrue_truth_draw(read->plate, read->machine, moves, 5 + k, false, &truth, NULL),
        TIPTRUE_OK);
    if (tiptrue_simulate(read->plate, read->machine, moves, truth, 5 + k, &run, &error) !=
        TIPTRUE_OK) {
        tt_buffer_printf(to, "%s\n", error.text);
    } else {
        after(to, k, read, truth, run, workspace);
    }
    tiptrue_run_free(run);
    tiptrue_truth_free(truth);
    tiptrue_proposal_free(made);
    tiptrue_workspace_free(workspace);
}

START_TEST(as_before)
{
    struct tt_buffer found = {0};
    uint64_t state = 0x9e3779b97f4a7c15u;

    for (size_t k = 0; k < PLANS; k++) {
        struct scene s;
        struct scene_read read = drawn(k, &state, &s);
        tt_buffer_printf(&found, "case %zu\n", k);
        plan(&found, k, &read, &state);
        scene_read_free(&read);
    }
    recorded_compare_by(&found, "tests/unit/planning/drawn.txt",
                        (struct recorded_rule){2e-4, 0.1, true});
    tt_buffer_clear(&found);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("planning/drawn");
    TCase *tcase = tcase_create("drawn");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, as_before);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
