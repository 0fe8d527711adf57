/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Nothing is kept between calls: several threads at once, or one workspace for one run after the
 * other, give the same bytes as each run alone. */
#include "config.h"

#include <check.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/ingest.h"
#include "output/output.h"
#include "output/text/sentences.h"
#include "scene.h"

enum { KINDS = 6, ROUNDS = 4 };

/* The files of one run. */
struct files {
    char *plate, *machine, *run;
};

/* Runs of different sizes, terms and ends: plain, many tips, late contacts, oval, undetermined,
 * moved. */
static struct files make_files(size_t kind)
{
    struct scene s = scene_usual(20260471 + kind);
    s.permitted_error = 0.03;
    if (kind == 1) {
        s.n_tips = 6;
        for (size_t t = 1; t < 6; t++) {
            static const char *const names[] = {"t1", "t2", "t3", "t4", "t5", "t6"};
            s.tips[t] = s.tips[0];
            s.tips[t].name = names[t];
            s.tips[t].offset_x += 8.5 * (double)t;
        }
        s.n_setups = 2;
        s.setups[1] = (struct scene_setup){"2", 160.25, 92.5, 180.25};
    } else if (kind == 3) {
        s.tips[0].order = 2;
        s.tips[0].shape_cos = 0.012;
    } else if (kind == 4) {
        s.n_edges = 2;
    }
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 6; i < rows.n; i++) {
        if (kind == 2 && i % 7 == 3) {
            scene_deepen(&rows.row[i], 0.04 + 0.001 * (double)i);
        }
        if (kind == 5 && i > 30) {
            rows.row[i].x += 0.04;
        }
    }
    struct files files = {scene_plate_text(&s), scene_machine_text(&s), scene_run_text(&s, &rows)};
    scene_rows_free(&rows);
    return files;
}

static void files_free(struct files *files)
{
    free(files->plate);
    free(files->machine);
    free(files->run);
}

/* Read, solve, write: the result as JSON, malloc'ed, or NULL. No assertion: threads call it. */
static char *result_of(const struct files *f, struct tt_adjust_workspace *workspace)
{
    const struct tiptrue_text_options options = {.observations = true};
    struct scene_read read = {0};
    struct tiptrue_solution *solution = NULL;
    struct tt_buffer json = {0};
    if (tt_plate_read_bytes("plate.json", f->plate, strlen(f->plate), NULL, &read.plate, NULL) ==
            TIPTRUE_OK &&
        tt_machine_read_bytes("machine.json", f->machine, strlen(f->machine), NULL, &read.machine,
                              NULL) == TIPTRUE_OK &&
        tt_run_read_bytes("run.csv", f->run, strlen(f->run), read.plate, read.machine, NULL, NULL,
                          NULL, &read.run, NULL) == TIPTRUE_OK &&
        tt_adjust(workspace, read.plate, read.machine, read.run, NULL, &solution, NULL) ==
            TIPTRUE_OK) {
        tt_output_json(solution, &options, &json);
    }
    tiptrue_solution_free(solution);
    scene_read_free(&read);
    return json.failed ? NULL : json.text;
}

/* One result of each kind, each with a workspace of its own. */
static void alone(const struct files files[KINDS], char *results[KINDS])
{
    for (size_t k = 0; k < KINDS; k++) {
        struct tt_adjust_workspace *workspace = NULL;
        ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
        results[k] = result_of(&files[k], workspace);
        ck_assert_ptr_nonnull(results[k]);
        ck_assert_ptr_nonnull(strstr(results[k], "tiptrue.result/1"));
        tt_adjust_workspace_free(workspace);
        for (size_t other = 0; other < k; other++) { /* the runs do differ */
            ck_assert_str_ne(results[k], results[other]);
        }
    }
}

struct worker {
    const struct files *files;
    char *const *expected;
    size_t first, solved, different;
};

static void *work(void *context)
{
    struct worker *worker = context;
    struct tt_adjust_workspace *workspace = NULL;
    if (tt_adjust_workspace_new(&workspace, NULL) != TIPTRUE_OK) {
        return NULL;
    }
    for (size_t i = 0; i < ROUNDS * KINDS; i++) {
        const size_t kind = (worker->first + i) % KINDS;
        char *result = result_of(&worker->files[kind], workspace);
        worker->solved += result != NULL;
        worker->different += result != NULL && strcmp(result, worker->expected[kind]) != 0;
        free(result);
    }
    tt_adjust_workspace_free(workspace);
    return NULL;
}

/* Three threads, at any moment on different runs. */
START_TEST(threads)
{
    struct files files[KINDS];
    char *expected[KINDS];
    struct worker workers[3] = {{.first = 0}, {.first = 1}, {.first = 3}};
    pthread_t ids[3];
    for (size_t k = 0; k < KINDS; k++) {
        files[k] = make_files(k);
    }
    alone(files, expected);
    for (size_t w = 0; w < 3; w++) {
        workers[w].files = files;
        workers[w].expected = expected;
        ck_assert_int_eq(pthread_create(&ids[w], NULL, work, &workers[w]), 0);
    }
    for (size_t w = 0; w < 3; w++) {
        ck_assert_int_eq(pthread_join(ids[w], NULL), 0);
        ck_assert_uint_eq(workers[w].solved, ROUNDS * KINDS);
        ck_assert_uint_eq(workers[w].different, 0);
    }
    for (size_t k = 0; k < KINDS; k++) {
        free(expected[k]);
        files_free(&files[k]);
    }
}
END_TEST

/* One workspace for all runs in any order, small after large and large after small. */
START_TEST(workspace_again)
{
    static const size_t order[] = {0, 1, 0, 4, 1, 1, 5, 2, 3, 0, 4, 5, 3, 2, 1};
    struct files files[KINDS];
    char *expected[KINDS];
    struct tt_adjust_workspace *workspace = NULL;
    for (size_t k = 0; k < KINDS; k++) {
        files[k] = make_files(k);
    }
    alone(files, expected);
    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        char *result = result_of(&files[order[i]], workspace);
        ck_assert_str_eq(result, expected[order[i]]);
        free(result);
    }
    tt_adjust_workspace_free(workspace);
    for (size_t k = 0; k < KINDS; k++) {
        free(expected[k]);
        files_free(&files[k]);
    }
}
END_TEST

/* A solution outlives what it was made from. */
START_TEST(solution_stands_alone)
{
    const struct tiptrue_text_options options = {.observations = true};
    struct scene s = scene_usual(20260479);
    struct scene_rows rows = scene_simulate(&s);
    struct scene_read read = scene_read(&s, &rows);
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *solution = NULL;
    struct tt_buffer before = {0}, after = {0};
    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tt_adjust(workspace, read.plate, read.machine, read.run, NULL, &solution, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_sentences(solution), TIPTRUE_OK);
    tt_output_json(solution, &options, &before);
    tt_output_text(solution, &options, &before);
    tt_adjust_workspace_free(workspace);
    scene_read_free(&read);
    scene_rows_free(&rows);
    tt_output_json(solution, &options, &after);
    tt_output_text(solution, &options, &after);
    ck_assert_str_eq(before.text, after.text);
    tt_buffer_clear(&before);
    tt_buffer_clear(&after);
    tiptrue_solution_free(solution);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("reentrant");
    TCase *all = tcase_create("all");
    tcase_add_test(all, threads);
    tcase_add_test(all, workspace_again);
    tcase_add_test(all, solution_stands_alone);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
