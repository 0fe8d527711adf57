/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that runs out at any moment: a request and all after it fail, or that one alone; for the
 * first request of each kind and some twenty others of each run, until the work succeeds. Each
 * failure must be told as such, leave nothing behind, and touch no output. Leaks and stray accesses
 * show under the sanitizers.
 *
 * The linker hands our calls of malloc, calloc, realloc and tt_arena_get to the __wrap_ functions
 * here (ld --wrap); cJSON, a library of its own, is given them by its hooks. The arena is a case of
 * its own, since it asks the system rarely and is asked everywhere.
 */
#define _GNU_SOURCE /* Dl_info */
#include "config.h"

#include <cJSON.h>
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tiptrue.h"

#include "base/buffer.h"
#include "ingest/ingest.h"
#include "starve.h"

/* Small, with a bit of everything that allocates: groups, names, metadata, late contacts, findings.
 */
static const char plate_text[] =
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"slots\", \"serial\": \"0417\", \"reference\": "
    "\"A\", \"marks\": [{\"name\": "
    "\"A\", \"at\": "
    "[0, 0]}, {\"name\": \"B\", \"at\": [43.5, -2.25], \"u\": 0.007}], \"groups\": [{\"name\": "
    "\"routed\", \"u\": 0.018}], "
    "\"edges\": ["
    "{\"name\": \"left\", \"from\": [13.25, 12], \"to\": [13.25, 5], \"free_side\": \"left\", "
    "\"group\": \"routed\"}, "
    "{\"name\": \"right\", \"from\": [21.75, 12], \"to\": [21.75, 5], \"free_side\": \"right\", "
    "\"u\": 0.005}, "
    "{\"name\": \"lower\", \"from\": [15, 4.75], \"to\": [20, 4.75], \"free_side\": \"left\"}, "
    "{\"name\": \"upper\", \"from\": [15, 12.5], \"to\": [20, 12.5], \"free_side\": \"right\"}]}";
static const char machine_text[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-4\", \"touch\": {\"u\": 0.003}, "
    "\"sighting\": {\"u\": 0.002}, \"tips\": [{\"name\": "
    "\"t1\", \"radius\": 0.25, \"radius_u\": 0.02, \"offset\": [-41.3, 12.7], \"offset_plate\": "
    "\"0417\"}], \"limits\": {\"permitted_error\": "
    "0.03, \"expanded_uncertainty\": 0.06, \"runout\": 0.02}}";

/* ---- runs: touches without scatter of a tip with offset (-41.3, 12.7), runout 0.03, contact
 * radius 0.25 ---- */

enum kind { CSV, JSON, CONTROLLER, UNDETERMINED, MOVED, KINDS };

struct row {
    const char *target;
    double x, y;
    int rotation; /* -1 = a sighting */
    bool contact;
};

enum { ROWS = 27 };

/* One contact late, one missing; moved: the plate slips half-way; undetermined: one pair of edges.
 */
static void make_rows(enum kind kind, struct row rows[ROWS])
{
    static const struct {
        const char *name;
        double x, y, n_x, n_y;
    } edges[] = {{"left", 13.25, 8, 1, 0},
                 {"right", 21.75, 9, -1, 0},
                 {"lower", 17, 4.75, 0, 1},
                 {"upper", 18, 12.5, 0, -1}};
    static const double runout[][2] = {{0.03, 0}, {-0.015, 0.025980762}, {-0.015, -0.025980762}};
    rows[0] = (struct row){"A", 117.25, 71.8125, -1, true};
    rows[1] = (struct row){"B", 160.75, 69.5625, -1, true};
    rows[2] = (struct row){"A", 117.251, 71.8115, -1, true};
    for (size_t i = 0; i < 24; i++) {
        const size_t e = kind == UNDETERMINED ? i % 2 : i % 4, turn = i / 4;
        const double out = 0.25 - (i == 9 ? 0.07 : 0), sign = turn % 2 == 1 ? -1 : 1,
                     slip = kind == MOVED && i > 11 ? 0.06 : 0;
        rows[3 + i] = (struct row){edges[e].name,
                                   117.25 + edges[e].x + out * edges[e].n_x + 41.3 -
                                       sign * runout[turn / 2][0] + slip,
                                   71.8125 + edges[e].y + out * edges[e].n_y - 12.7 -
                                       sign * runout[turn / 2][1] - slip / 2,
                                   (int)(120 * (turn / 2) + 180 * (turn % 2)), i != 14};
    }
}

static void add_csv(struct tt_buffer *log, const struct row *row)
{
    char line[96];
    if (row->rotation < 0) {
        snprintf(line, sizeof line, "sight,%s,,%.4f,%.4f,,\n", row->target, row->x, row->y);
    } else {
        snprintf(line, sizeof line, "touch,%s,t1,%.4f,%.4f,%d,%d\n", row->target, row->x, row->y,
                 row->rotation, row->contact);
    }
    tt_buffer_puts(log, line);
}

static void add_json(struct tt_buffer *log, const struct row *row, bool first)
{
    char object[200];
    if (row->rotation < 0) {
        snprintf(object, sizeof object,
                 "%s{\"kind\": \"sight\", \"target\": \"%s\", \"x\": %.4f, \"y\": %.4f}",
                 first ? "" : ", ", row->target, row->x, row->y);
    } else {
        snprintf(object, sizeof object,
                 ", {\"kind\": \"touch\", \"target\": \"%s\", \"tip\": \"t1\", \"x\": %.4f, \"y\": "
                 "%.4f, \"rotation\": %d, "
                 "\"contact\": %d}",
                 row->target, row->x, row->y, row->rotation, row->contact);
    }
    tt_buffer_puts(log, object);
}

/* A controller's report, and the plan's move. */
static void add_report(struct tt_buffer *log, struct tt_buffer *plan, const struct row *row,
                       size_t id)
{
    char text[160];
    snprintf(text, sizeof text, "probe %zu at %.4f %.4f ok=%d\nidle\n", id, row->x, row->y,
             row->contact);
    tt_buffer_puts(log, text);
    if (row->rotation < 0) {
        snprintf(text, sizeof text, "%s{\"id\": %zu, \"kind\": \"sight\", \"target\": \"%s\"}",
                 id == 0 ? "" : ", ", id, row->target);
    } else {
        snprintf(text, sizeof text,
                 ", {\"id\": %zu, \"kind\": \"touch\", \"target\": \"%s\", \"tip\": \"t1\", "
                 "\"rotation\": %d}",
                 id, row->target, row->rotation);
    }
    tt_buffer_puts(plan, text);
}

/* The log, and for a controller's its plan and pattern. */
struct logged {
    char *log, *plan;
    const char *pattern;
};

static struct logged write_log(enum kind kind)
{
    struct row rows[ROWS];
    struct tt_buffer log = {0}, plan = {0};
    make_rows(kind, rows);
    if (kind == JSON) {
        tt_buffer_puts(&log, "{\"schema\": \"tiptrue.run/1\", \"machine\": \"bench-4\", \"note\": "
                             "\"cold start\", \"observations\": [");
    } else if (kind == CONTROLLER) {
        tt_buffer_puts(&plan, "{\"schema\": \"tiptrue.plan/1\", \"moves\": [");
    } else {
        tt_buffer_puts(
            &log, "# machine: bench-4\n# note: cold start\nkind,target,tip,x,y,rotation,contact\n");
    }
    for (size_t i = 0; i < ROWS; i++) {
        if (kind == JSON) {
            add_json(&log, &rows[i], i == 0);
        } else if (kind == CONTROLLER) {
            add_report(&log, &plan, &rows[i], i);
        } else {
            add_csv(&log, &rows[i]);
        }
    }
    tt_buffer_puts(kind == JSON ? &log : &plan, "]}");
    return (struct logged){
        log.text, plan.text,
        kind == CONTROLLER ? "probe (?<id>\\d+) at (?<x>\\S+) (?<y>\\S+) ok=(?<ok>[01])" : NULL};
}

/* ---- the job ---- */

struct objects {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_plan *plan;
    struct tiptrue_run *run;
    struct tiptrue_workspace *workspace;
    struct tiptrue_solution *solution;
    struct tiptrue_report *report;
    char *json, *text, *page, *picture, *check;
};

static void objects_free(struct objects *o)
{
    free(o->json);
    free(o->text);
    free(o->page);
    free(o->picture);
    free(o->check);
    tiptrue_report_free(o->report);
    tiptrue_solution_free(o->solution);
    tiptrue_workspace_free(o->workspace);
    tiptrue_run_free(o->run);
    tiptrue_plan_free(o->plan);
    tiptrue_machine_free(o->machine);
    tiptrue_plate_free(o->plate);
}

/* Read the files, solve, print: the first status that is not OK. */
static enum tiptrue_status whole_job(const struct logged *l, struct objects *o,
                                     struct tiptrue_error *error)
{
    const struct tiptrue_text_options options = {.observations = true, .charts = true};
    const char *name;
    const struct tiptrue_solve_options solving = {.monte_carlo = 2, .seed = 77};
    enum tiptrue_status status;
    if ((status = tt_plate_read_bytes("plate.json", plate_text, strlen(plate_text), NULL, &o->plate,
                                      error)) != TIPTRUE_OK ||
        (status = tt_machine_read_bytes("machine.json", machine_text, strlen(machine_text), NULL,
                                        &o->machine, error)) != TIPTRUE_OK ||
        (l->pattern != NULL &&
         (status = tt_plan_read_bytes("plan.json", l->plan, strlen(l->plan), NULL, &o->plan,
                                      error)) != TIPTRUE_OK) ||
        (status = tt_run_read_bytes("run", l->log, strlen(l->log), o->plate, o->machine, o->plan,
                                    l->pattern, NULL, &o->run, error)) != TIPTRUE_OK ||
        (status = tiptrue_workspace_new(&o->workspace, error)) != TIPTRUE_OK ||
        (status = tiptrue_solve(o->workspace, o->plate, o->machine, o->run, &solving, &o->solution,
                                error)) != TIPTRUE_OK ||
        (status = tiptrue_solution_json(o->solution, &options, &o->json, NULL, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_solution_text(o->solution, &options, &o->text, NULL, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_report_new(NULL, &o->report, error)) != TIPTRUE_OK ||
        (status = tiptrue_report_add_run(o->report, o->plate, o->machine, o->run, o->solution,
                                         error)) != TIPTRUE_OK ||
        (status = tiptrue_report_html(o->report, &o->page, NULL, error)) != TIPTRUE_OK ||
        (status = tiptrue_report_picture(o->report, 1, &name, &o->picture, NULL, error)) !=
            TIPTRUE_OK) {
        return status;
    }
    return tiptrue_check(o->workspace, o->plate, o->machine, o->run, false, NULL, NULL, &o->check,
                         NULL, error);
}

/* The job with the @n-th request to @source failing; whether it did. */
static bool disturbed(const struct logged *l, struct source *source, size_t n, bool once,
                      const struct objects *expected)
{
    struct objects o = {0};
    struct tiptrue_error error = {0};
    starve(source, n, once);
    const enum tiptrue_status status = whole_job(l, &o, &error);
    const bool failed = source->failed;
    starve(source, 0, false);
    if (failed && !(once && status == TIPTRUE_OK)) { /* after one failure a smaller piece may do */
        ck_assert_msg(status == TIPTRUE_E_MEMORY, "request %zu: status %d, '%s'", n, (int)status,
                      error.text);
        ck_assert_msg(error.status == TIPTRUE_E_MEMORY && strcmp(error.text, "out of memory") == 0,
                      "request %zu: '%s'", n, error.text);
        ck_assert_ptr_null(o.check);
    } else {
        ck_assert_msg(status == TIPTRUE_OK, "request %zu: status %d, '%s'", n, (int)status,
                      error.text);
        ck_assert_msg(strcmp(o.json, expected->json) == 0, "request %zu: another json", n);
        ck_assert_msg(strcmp(o.text, expected->text) == 0, "request %zu: another text", n);
        ck_assert_msg(strcmp(o.page, expected->page) == 0, "request %zu: another page", n);
        ck_assert_msg(strcmp(o.picture, expected->picture) == 0, "request %zu: another picture", n);
        ck_assert_msg(strcmp(o.check, expected->check) == 0, "request %zu: another check", n);
    }
    objects_free(&o);
    return failed;
}

/* What each run gives when memory is plenty must show that it takes the way it is meant for. */
static const char *const must_say[KINDS] = {[CSV] = "late-contact",
                                            [JSON] = "late-contact",
                                            [CONTROLLER] = "late-contact",
                                            [UNDETERMINED] = "undetermined",
                                            [MOVED] = "moved-plate"};

static void disturb(enum kind kind, struct source *source, bool once, size_t least)
{
    cJSON_Hooks hooks = {__wrap_malloc, free};
    cJSON_InitHooks(&hooks);
    struct logged logged = write_log(kind);
    struct objects expected = {0}, again = {0};
    struct tiptrue_error error = {0};
    ck_assert_msg(whole_job(&logged, &expected, &error) == TIPTRUE_OK, "%s", error.text);
    note_kinds(source); /* of a second job: what is made once for all is made */
    whole_job(&logged, &again, &error);
    starve(source, 0, false);
    objects_free(&again);
    ck_assert_msg(strstr(expected.json, must_say[kind]) != NULL, "%s", must_say[kind]);
    size_t n = 1;
    while (disturbed(&logged, source, n, once, &expected)) {
        n = next_tried(source, n);
    }
    ck_assert_uint_eq(n, source->sites.n + 1);
    ck_assert_msg(n > least, "only %zu requests", n); /* it did fail, in all rooms */
    objects_free(&expected);
    free(logged.log);
    free(logged.plan);
    cJSON_InitHooks(NULL);
}

/* Each kind of run; what an earlier kind has shown to fail well, such as the whole of solving, is
 * tried of the later ones only by the few that are spread over all requests. */
static void disturb_all(struct source *source, bool once, size_t least)
{
    for (int kind = 0; kind < KINDS; kind++) {
        disturb((enum kind)kind, source, once, least);
    }
}

START_TEST(heap_runs_out)
{
    disturb_all(&heap, _i == 1, 150);
}
END_TEST

START_TEST(arena_runs_out)
{
    disturb_all(&arenas, _i == 1, 300);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("memory");
    TCase *all = tcase_create("all");
    tcase_add_loop_test(all, heap_runs_out, 0, 2);
    tcase_add_loop_test(all, arena_runs_out, 0, 2);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
