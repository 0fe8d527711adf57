/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that runs out at any moment: the n-th allocation and all after it fail, for every n until the work succeeds. Each failure must be
 * told as such, leave nothing behind, and touch no output. Leaks and stray accesses show under the sanitizers.
 *
 * The linker hands our calls of malloc, calloc and realloc to the __wrap_ functions here (ld --wrap); cJSON, a library of its own, is
 * given the same ones by its hooks. A failure that only once was is tried too: what does not look at a status goes on after it.
 */
#include "config.h"

#include <cJSON.h>
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tiptrue.h"

#include "ingest/ingest.h"

/* What the linker makes of the names. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *piece, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *piece, size_t size);

static size_t countdown; /* allocations until the first that fails; 0 = none does */
static bool only_one, failed_once;
static size_t allocations;

static bool fails(void)
{
    allocations++;
    if (countdown == 0 || (failed_once && only_one)) {
        return false;
    }
    if (countdown > 1) {
        countdown--;
        return false;
    }
    failed_once = true;
    return true;
}

void *__wrap_malloc(size_t size)
{
    return fails() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fails() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *piece, size_t size)
{
    return fails() ? NULL : __real_realloc(piece, size);
}

static void arm(size_t n, bool once)
{
    countdown = n;
    only_one = once;
    failed_once = false;
    allocations = 0;
}

static void disarm(void)
{
    countdown = 0;
}

/* Small, with a bit of everything that allocates: groups, names, metadata, late contacts, findings. */
static const char plate_text[] =
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"slots\", \"serial\": \"0417\", \"reference\": \"A\", \"marks\": [{\"name\": \"A\", \"at\": "
    "[0, 0]}, {\"name\": \"B\", \"at\": [43.5, -2.25], \"u\": 0.007}], \"groups\": [{\"name\": \"routed\", \"u\": 0.018}], \"edges\": ["
    "{\"name\": \"left\", \"from\": [13.25, 12], \"to\": [13.25, 5], \"free_side\": \"left\", \"group\": \"routed\"}, "
    "{\"name\": \"right\", \"from\": [21.75, 12], \"to\": [21.75, 5], \"free_side\": \"right\", \"u\": 0.005}, "
    "{\"name\": \"lower\", \"from\": [15, 4.75], \"to\": [20, 4.75], \"free_side\": \"left\"}, "
    "{\"name\": \"upper\", \"from\": [15, 12.5], \"to\": [20, 12.5], \"free_side\": \"right\"}]}";
static const char machine_text[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-4\", \"touch\": {\"u\": 0.003}, \"sighting\": {\"u\": 0.002}, \"tips\": [{\"name\": "
    "\"t1\", \"radius\": 0.25, \"radius_u\": 0.02, \"offset\": [-41.3, 12.7], \"offset_plate\": \"0417\"}], \"limits\": {\"permitted_error\": "
    "0.03, \"expanded_uncertainty\": 0.06, \"runout\": 0.02}}";

/* Touches without scatter of a tip with offset (-41.3, 12.7), runout (0.03, 0), contact radius 0.25; one late, one without contact. */
static void write_run(char text[], size_t size)
{
    static const struct {
        const char *name;
        double x, y, n_x, n_y;
    } edges[] = {{"left", 13.25, 8, 1, 0}, {"right", 21.75, 9, -1, 0}, {"lower", 17, 4.75, 0, 1}, {"upper", 18, 12.5, 0, -1}};
    static const double runout[][2] = {{0.03, 0}, {-0.015, 0.025980762}, {-0.015, -0.025980762}};
    size_t n = (size_t)snprintf(text, size,
                                "# machine: bench-4\n# note: cold start\nkind,target,tip,x,y,rotation,contact\n"
                                "sight,A,,117.25,71.8125,,\nsight,B,,160.75,69.5625,,\nsight,A,,117.251,71.8115,,\n");
    for (size_t i = 0; i < 24; i++) {
        const size_t e = i % 4, turn = i / 4;
        const double out = 0.25 - (i == 9 ? 0.07 : 0);
        n += (size_t)snprintf(text + n, size - n, "touch,%s,t1,%.4f,%.4f,%d,%d\n", edges[e].name,
                              117.25 + edges[e].x + out * edges[e].n_x + 41.3 - (turn % 2 ? -1 : 1) * runout[turn / 2][0],
                              71.8125 + edges[e].y + out * edges[e].n_y - 12.7 - (turn % 2 ? -1 : 1) * runout[turn / 2][1],
                              (int)(120 * (turn / 2) + 180 * (turn % 2)), i != 14);
        ck_assert(n < size);
    }
}

static char run_text[4096];

struct objects {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_run *run;
    struct tiptrue_workspace *workspace;
    struct tiptrue_solution *solution;
    char *json, *text, *check;
};

static void objects_free(struct objects *o)
{
    free(o->json);
    free(o->text);
    free(o->check);
    tiptrue_solution_free(o->solution);
    tiptrue_workspace_free(o->workspace);
    tiptrue_run_free(o->run);
    tiptrue_machine_free(o->machine);
    tiptrue_plate_free(o->plate);
}

/* Read the three files, solve, print: the first status that is not OK. */
static enum tiptrue_status whole_job(struct objects *o, struct tiptrue_error *error)
{
    const struct tiptrue_text_options options = {.observations = true};
    enum tiptrue_status status;
    if ((status = tt_plate_read_bytes("plate.json", plate_text, strlen(plate_text), NULL, &o->plate, error)) != TIPTRUE_OK ||
        (status = tt_machine_read_bytes("machine.json", machine_text, strlen(machine_text), NULL, &o->machine, error)) != TIPTRUE_OK ||
        (status = tt_run_read_bytes("run.csv", run_text, strlen(run_text), o->plate, o->machine, NULL, NULL, NULL, &o->run, error)) !=
            TIPTRUE_OK ||
        (status = tiptrue_workspace_new(&o->workspace, error)) != TIPTRUE_OK ||
        (status = tiptrue_solve(o->workspace, o->plate, o->machine, o->run, NULL, &o->solution, error)) != TIPTRUE_OK ||
        (status = tiptrue_solution_json(o->solution, &options, &o->json, NULL, error)) != TIPTRUE_OK ||
        (status = tiptrue_solution_text(o->solution, &options, &o->text, NULL, error)) != TIPTRUE_OK) {
        return status;
    }
    return tiptrue_check(o->workspace, o->plate, o->machine, o->run, true, NULL, NULL, &o->check, NULL, error);
}

/* What the job gives when memory is plenty. */
static struct objects undisturbed(void)
{
    struct objects o = {0};
    struct tiptrue_error error = {0};
    ck_assert_msg(whole_job(&o, &error) == TIPTRUE_OK, "%s", error.text);
    ck_assert_ptr_nonnull(strstr(o.json, "late-contact"));
    ck_assert_ptr_nonnull(strstr(o.json, "no-contact"));
    ck_assert_ptr_nonnull(strstr(o.json, "runout-over"));
    return o;
}

/* The job with its @n-th allocation failing; whether it did. */
static bool disturbed(size_t n, bool once, const struct objects *expected)
{
    struct objects o = {0};
    struct tiptrue_error error = {0};
    arm(n, once);
    const enum tiptrue_status status = whole_job(&o, &error);
    const bool failed = failed_once;
    disarm();
    if (failed && !(once && status == TIPTRUE_OK)) { /* after one failure a smaller piece may do */
        ck_assert_msg(status == TIPTRUE_E_MEMORY, "allocation %zu: status %d, '%s'", n, (int)status, error.text);
        ck_assert_msg(error.status == TIPTRUE_E_MEMORY, "allocation %zu: '%s'", n, error.text);
        ck_assert_str_eq(error.text, "out of memory");
        ck_assert_ptr_null(o.check);
    } else {
        ck_assert_int_eq(status, TIPTRUE_OK);
        ck_assert_msg(strcmp(o.json, expected->json) == 0, "allocation %zu: another json", n);
        ck_assert_msg(strcmp(o.text, expected->text) == 0, "allocation %zu: another text", n);
        ck_assert_msg(strcmp(o.check, expected->check) == 0, "allocation %zu: another check", n);
    }
    objects_free(&o);
    return failed;
}

/* Everything from the n-th allocation on fails, or only the n-th. */
START_TEST(every_allocation)
{
    cJSON_Hooks hooks = {__wrap_malloc, free};
    cJSON_InitHooks(&hooks);
    write_run(run_text, sizeof run_text);
    struct objects expected = undisturbed();
    size_t n = 1;
    while (disturbed(n, _i == 1, &expected)) {
        n++;
    }
    ck_assert_msg(n > 150, "only %zu allocations", n); /* the plate and machine files alone ask for a hundred */
    objects_free(&expected);
    cJSON_InitHooks(NULL);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("memory");
    TCase *all = tcase_create("all");
    tcase_add_loop_test(all, every_allocation, 0, 2);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
