/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that runs out while a run is planned, written as a program, simulated and continued: as in
 * memory_test.c. */
#define _GNU_SOURCE /* Dl_info */
#include "config.h"

#include <cJSON.h>
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tiptrue.h"

#include "ingest/ingest.h"
#include "starve.h"

/* Two edges that a tip fits to, and one that it does not: few candidates. */
static const char plate_text[] =
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"corner\", \"reference\": \"A\", \"marks\": "
    "[{\"name\": \"A\", \"at\": [0, 0]}, "
    "{\"name\": \"B\", \"at\": [43.5, -2.25], \"u\": 0.007}], \"groups\": [{\"name\": \"routed\", "
    "\"u\": 0.018}], \"edges\": ["
    "{\"name\": \"left\", \"from\": [13.25, 12], \"to\": [13.25, 5], \"free_side\": \"left\", "
    "\"group\": \"routed\"}, "
    "{\"name\": \"lower\", \"from\": [15, 1.75], \"to\": [20, 1.75], \"free_side\": \"left\", "
    "\"u\": 0.005}, "
    "{\"name\": \"notch\", \"from\": [30, 4], \"to\": [30.5, 4], \"free_side\": \"left\"}]}";
static const char machine_text[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-4\", \"touch\": {\"u\": 0.003}, "
    "\"sighting\": {\"u\": 0.002}, "
    "\"yaw\": {\"value_deg\": 1.5, \"u_deg\": 0.05}, \"mark\": {\"at\": [81.5, 62.25], \"u\": "
    "0.03}, "
    "\"tips\": [{\"name\": \"t1\", \"radius\": 0.25, \"radius_u\": 0.02, \"offset\": [-41.3, "
    "12.7]}], "
    "\"motion\": {\"safe_height\": 12, \"touch_height\": -1.5, \"travel_feed\": 1500, "
    "\"plunge_feed\": 240, \"find_feed\": 120, "
    "\"measure_feed\": 30, \"rotation_feed\": 3600, \"rotation_word\": \"A\", \"probing\": "
    "\"normal\", \"start_distance\": 0.7, "
    "\"overtravel\": 0.5, \"lost_motion\": 0.04, \"margin\": 0.25, \"limits\": {\"x\": [0, 300], "
    "\"y\": [0, 300], \"z\": [-3, 40], "
    "\"rotation\": [0, 360]}}}";

struct objects {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_workspace *workspace;
    struct tiptrue_proposal *plan, *next;
    struct tiptrue_truth *truth;
    struct tiptrue_run *run;
    char *texts[8];
};
enum { TEXTS = 8 };

static void objects_free(struct objects *o)
{
    for (size_t i = 0; i < TEXTS; i++) {
        free(o->texts[i]);
    }
    tiptrue_run_free(o->run);
    tiptrue_truth_free(o->truth);
    tiptrue_proposal_free(o->next);
    tiptrue_proposal_free(o->plan);
    tiptrue_workspace_free(o->workspace);
    tiptrue_machine_free(o->machine);
    tiptrue_plate_free(o->plate);
}

/* Plan, write it in all forms, draw, simulate, write the logs, plan on: the first status that is
 * not OK. */
static enum tiptrue_status whole_job(struct objects *o, struct tiptrue_error *error)
{
    static const enum tiptrue_plan_form FORMS[] = {TIPTRUE_PLAN_TEXT, TIPTRUE_PLAN_JSON,
                                                   TIPTRUE_PLAN_CSV, TIPTRUE_PLAN_RS274};
    const struct tiptrue_plan_options few = {.touches = 12}, more = {.touches = 2};
    enum tiptrue_status status;

    if ((status = tt_plate_read_bytes("plate.json", plate_text, strlen(plate_text), NULL, &o->plate,
                                      error)) != TIPTRUE_OK ||
        (status = tt_machine_read_bytes("machine.json", machine_text, strlen(machine_text), NULL,
                                        &o->machine, error)) != TIPTRUE_OK ||
        (status = tiptrue_workspace_new(&o->workspace, error)) != TIPTRUE_OK ||
        (status = tiptrue_plan_make(o->workspace, o->plate, o->machine, &few, &o->plan, error)) !=
            TIPTRUE_OK) {
        return status;
    }
    for (size_t i = 0; i < 4 && status == TIPTRUE_OK; i++) {
        status =
            tiptrue_proposal_write(o->plan, o->machine, FORMS[i], NULL, &o->texts[i], NULL, error);
    }
    const struct tiptrue_plan *plan = tiptrue_proposal_plan(o->plan);
    if (status != TIPTRUE_OK ||
        (status = tiptrue_truth_draw(o->plate, o->machine, plan, 5, false, &o->truth, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_truth_json(o->truth, &o->texts[4], NULL, error)) != TIPTRUE_OK ||
        (status = tiptrue_simulate(o->plate, o->machine, plan, o->truth, 5, &o->run, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_run_log(o->run, o->plate, NULL, &o->texts[5], NULL, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_run_log(o->run, o->plate, plan, &o->texts[6], NULL, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_plan_next(o->workspace, o->plate, o->machine, o->run, &more, &o->next,
                                    error)) != TIPTRUE_OK) {
        return status;
    }
    return tiptrue_proposal_write(o->next, o->machine, TIPTRUE_PLAN_JSON, NULL, &o->texts[7], NULL,
                                  error);
}

static bool disturbed(struct source *source, size_t n, bool once, const struct objects *expected)
{
    struct objects o = {0};
    struct tiptrue_error error = {0};
    starve(source, n, once);
    const enum tiptrue_status status = whole_job(&o, &error);
    const bool failed = source->failed;
    starve(source, 0, false);
    if (status == TIPTRUE_OK) {
        ck_assert_msg(!failed || once, "request %zu: nothing told", n);
        for (size_t i = 0; i < TEXTS; i++) {
            ck_assert_msg(strcmp(o.texts[i], expected->texts[i]) == 0,
                          "request %zu: another text %zu", n, i);
        }
    } else {
        ck_assert_msg(failed && status == TIPTRUE_E_MEMORY, "request %zu: status %d, '%s'", n,
                      (int)status, error.text);
        ck_assert_msg(strcmp(error.text, "out of memory") == 0, "request %zu: '%s'", n, error.text);
        ck_assert_ptr_null(o.texts[TEXTS - 1]);
    }
    objects_free(&o);
    return failed;
}

static void disturb(struct source *source, bool once, size_t least)
{
    cJSON_Hooks hooks = {__wrap_malloc, free};
    cJSON_InitHooks(&hooks);
    struct objects expected = {0}, again = {0};
    struct tiptrue_error error = {0};
    ck_assert_msg(whole_job(&expected, &error) == TIPTRUE_OK, "%s", error.text);
    note_kinds(source); /* of a second job: what is made once for all is made */
    whole_job(&again, &error);
    starve(source, 0, false);
    objects_free(&again);
    ck_assert_ptr_nonnull(strstr(expected.texts[0], "left out for tip 't1': edge 'notch'"));
    ck_assert_ptr_nonnull(strstr(expected.texts[3], "G38.2"));
    size_t n = 1;
    while (disturbed(source, n, once, &expected)) {
        n = next_tried(source, n);
    }
    ck_assert_uint_eq(n, source->sites.n + 1);
    ck_assert_msg(n > least, "only %zu requests", n);
    objects_free(&expected);
    cJSON_InitHooks(NULL);
}

START_TEST(heap_runs_out)
{
    disturb(&heap, _i == 1, 100);
}
END_TEST

START_TEST(arena_runs_out)
{
    disturb(&arenas, _i == 1, 300);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("planning memory");
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
