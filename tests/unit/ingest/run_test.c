/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run from a file: its format by its content, its digest, standard input; and the field logs of
 * tests/field. */
#include "config.h"

#include <fcntl.h>
#include <unistd.h>

#include "collect.h"
#include "ingest/ingest.h"

static char *write_file(const char *text)
{
    char *path = strdup("run-XXXXXX");
    int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(write(file, text, strlen(text)), (ssize_t)strlen(text));
    close(file);
    return path;
}

START_TEST(format_is_seen_in_the_content)
{
    static const char *const texts[] = {
        "kind,target,x,y\nsight,A,1.5,2\n",
        "{\"schema\": \"tiptrue.run/1\", \"observations\": [{\"kind\": \"sight\", \"target\": "
        "\"A\", \"x\": 1.5, \"y\": 2}]}",
        "\xEF\xBB\xBF\n \t{\"schema\": \"tiptrue.run/1\", \"observations\": [{\"kind\": \"sight\", "
        "\"target\": \"A\", \"x\": 1.5, "
        "\"y\": 2}]}",
    };
    for (size_t i = 0; i < 3; i++) {
        char *path = write_file(texts[i]);
        struct tiptrue_run *run = NULL;
        ck_assert_int_eq(tiptrue_run_read(path, NULL, NULL, NULL, NULL, NULL, &run, NULL),
                         TIPTRUE_OK);
        ck_assert_uint_eq(run->n_observations, 1);
        ck_assert_double_eq(run->observations[0].h.x_mm, 1.5);
        ck_assert_str_eq(run->file, path);
        tiptrue_run_free(run);
        unlink(path);
        free(path);
    }
}
END_TEST

/* The digest is of all bytes, the byte order mark too. */
START_TEST(id_is_a_digest_of_the_bytes)
{
    static const char text[] = "\xEF\xBB\xBFkind,target,x,y\nsight,A,1.5,2\n";
    struct tiptrue_run *with = NULL, *without = NULL, *again = NULL;
    ck_assert_int_eq(
        tt_run_read_bytes("a", text, strlen(text), NULL, NULL, NULL, NULL, NULL, &with, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_run_read_bytes("b", text + 3, strlen(text) - 3, NULL, NULL, NULL, NULL,
                                       NULL, &without, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(
        tt_run_read_bytes("c", text, strlen(text), NULL, NULL, NULL, NULL, NULL, &again, NULL),
        TIPTRUE_OK);
    ck_assert_uint_eq(strlen(with->id), 16);
    ck_assert_str_ne(with->id, without->id);
    ck_assert_str_eq(with->id, again->id);
    ck_assert_str_eq(without->id, "935856db2780b52c");
    tiptrue_run_free(with);
    tiptrue_run_free(without);
    tiptrue_run_free(again);
}
END_TEST

START_TEST(standard_input)
{
    char *path = write_file("kind,target,x,y\nsight,A,1.5,2\n");
    int file = open(path, O_RDONLY), kept = dup(STDIN_FILENO);
    struct tiptrue_run *run = NULL;
    dup2(file, STDIN_FILENO);
    enum tiptrue_status status = tiptrue_run_read("-", NULL, NULL, NULL, NULL, NULL, &run, NULL);
    dup2(kept, STDIN_FILENO);
    close(kept);
    close(file);
    ck_assert_int_eq(status, TIPTRUE_OK);
    ck_assert_str_eq(run->file, "standard input");
    tiptrue_run_free(run);
    unlink(path);
    free(path);
}
END_TEST

/* Folders of tests/field and what is in their runs, counted by grep and wc. */
static const struct {
    const char *folder;
    size_t sightings, touches, no_contact, tips, setups;
    enum tiptrue_status status;
} field[] = {
    {"01-plain", 6, 96, 0, 1, 1, TIPTRUE_OK},
    {"02-film", 6, 96, 0, 1, 1, TIPTRUE_OK},
    {"03-two-tips", 6, 192, 0, 2, 1, TIPTRUE_OK},
    {"04-oval", 6, 144, 0, 1, 1, TIPTRUE_OK},
    {"05-one-direction", 6, 48, 0, 1, 1, TIPTRUE_OK},
    {"06-one-sided", 6, 48, 0, 1, 1, TIPTRUE_OK},
    {"07-sense", 6, 96, 0, 1, 1, TIPTRUE_OK},
    {"08-moved", 6, 96, 0, 1, 1, TIPTRUE_OK},
    {"09-inch-comma", 6, 96, 6, 1, 1, TIPTRUE_OK},
    {"10-reversal", 12, 192, 0, 1, 2, TIPTRUE_OK},
    {"11-eight-tips", 6, 768, 0, 8, 1, TIPTRUE_OK},
    {"12-cut-short", 0, 0, 0, 0, 0, TIPTRUE_E_DATA},
    {"14-controller-log", 6, 48, 2, 1, 1, TIPTRUE_OK},
};

static char *field_path(const char *folder, const char *name)
{
    char path[120];
    snprintf(path, sizeof(path), "tests/field/%s/%s", folder, name);
    return source_path(path);
}

static void assert_counts(const struct tiptrue_run *run, size_t folder)
{
    size_t sightings = 0, touches = 0, no_contact = 0;
    for (size_t i = 0; i < run->n_observations; i++) {
        sightings += run->observations[i].kind == TT_SIGHT;
        touches += run->observations[i].kind == TT_TOUCH;
        no_contact += run->observations[i].use == TT_USE_NO_CONTACT;
    }
    ck_assert_uint_eq(sightings, field[folder].sightings);
    ck_assert_uint_eq(touches, field[folder].touches);
    ck_assert_uint_eq(no_contact, field[folder].no_contact);
    ck_assert_uint_eq(run->n_tips, field[folder].tips);
    ck_assert_uint_eq(run->n_setups, field[folder].setups);
}

START_TEST(field_logs)
{
    const char *folder = field[_i].folder;
    bool is_log = strcmp(folder, "14-controller-log") == 0;
    char *paths[] = {field_path(folder, "plate.json"), field_path(folder, "machine.json"),
                     field_path(folder, is_log ? "controller.log" : "run.csv"),
                     field_path(folder, "plan.json")};
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_plan *plan = NULL;
    struct tiptrue_run *run = NULL;
    ck_assert_int_eq(tiptrue_plate_read(paths[0], &sink, &plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_machine_read(paths[1], &sink, &machine, NULL), TIPTRUE_OK);
    if (is_log) {
        ck_assert_int_eq(tiptrue_plan_read(paths[3], &sink, &plan, NULL), TIPTRUE_OK);
    }
    const char *pattern =
        is_log ? "id=(?<id>\\d+) at x=(?<x>\\S+) y=(?<y>\\S+) z=(?<z>\\S+) ok=(?<ok>[01])" : NULL;
    ck_assert_int_eq(tiptrue_run_read(paths[2], plate, machine, plan, pattern, &sink, &run, NULL),
                     field[_i].status);
    if (run != NULL) {
        assert_told(&told, "");
        assert_counts(run, (size_t)_i);
    } else {
        assert_told(&told,
                    "run.csv:105:13: error: the row has 3 cells, and the header names 9\n"
                    "  hint: the file looks cut short: copy it again, or take its last line out\n");
    }
    tiptrue_run_free(run);
    tiptrue_plan_free(plan);
    tiptrue_machine_free(machine);
    tiptrue_plate_free(plate);
    for (size_t i = 0; i < 4; i++) {
        free(paths[i]);
    }
    tt_buffer_clear(&told);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/run");
    TCase *tests = tcase_create("run");
    tcase_add_test(tests, format_is_seen_in_the_content);
    tcase_add_test(tests, id_is_a_digest_of_the_bytes);
    tcase_add_test(tests, standard_input);
    tcase_add_loop_test(tests, field_logs, 0, (int)(sizeof(field) / sizeof(field[0])));
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
