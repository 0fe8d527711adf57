/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* An export whose memory runs out at any request: it says so, the configuration is the old one, and
 * nothing lies beside it. Requests go through the __wrap_ functions here (ld --wrap), as in
 * memory_test; leaks show under the sanitizers.
 */
#include "config.h"

#include <check.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "export/export.h"
#include "ingest/ingest.h"

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *piece, size_t size);
void *__real_tt_arena_get(struct tt_arena *arena, size_t count, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *piece, size_t size);
void *__wrap_tt_arena_get(struct tt_arena *arena, size_t count, size_t size);

/* Requests until one fails, and all after it; 0 = never. */
static size_t left;
static bool failed;

static bool fails(void)
{
    if (left > 0 && --left == 0) {
        left = 1;
        failed = true;
        return true;
    }
    return false;
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

void *__wrap_tt_arena_get(struct tt_arena *arena, size_t count, size_t size)
{
    return fails() ? NULL : __real_tt_arena_get(arena, count, size);
}

static const struct {
    const char *text, *put, *expected;
} cases[] = {
    {"{\"head\": [1, {\"x\": -41.2}]}", "t1.offset.x=/head/1/x",
     "{\"head\": [1, {\"x\": -41.3013}]}"},
    {"[a]\nx = 12.5 ; y\n", "t1.offset.y:minus:um=a.x", "[a]\nx = -12703.5 ; y\n"},
    {"<a xmlns:h='u'><h:b x='1'/></a>", "t1.offset.x@37.4:.2=//h:b/@x",
     "<a xmlns:h='u'><h:b x='-41.27'/></a>"},
    {"X1 Y2\n", "t1.radius:inch=~^X(\\S+)", "X0.00979 Y2\n"},
};
#define CASES (sizeof cases / sizeof cases[0])

static char folder[] = "export-memory-XXXXXX", path[64];

static void make_folder(void)
{
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/file", folder);
}

/* Remove all that is in it; how much that was. */
static size_t empty_folder(void)
{
    DIR *entries = opendir(folder);
    size_t count = 0;
    ck_assert_ptr_nonnull(entries);
    for (const struct dirent *entry; (entry = readdir(entries)) != NULL;) {
        char inner[400];
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0) {
            snprintf(inner, sizeof inner, "%s/%s", folder, entry->d_name);
            ck_assert_int_eq(unlink(inner), 0);
            count++;
        }
    }
    closedir(entries);
    return count;
}

static void remove_folder(void)
{
    (void)empty_folder();
    ck_assert_int_eq(rmdir(folder), 0);
}

static void put_file(const char *text)
{
    FILE *file = fopen(path, "w");
    ck_assert(file != NULL && fputs(text, file) >= 0 && fclose(file) == 0);
}

static void assert_file(const char *expected, size_t n)
{
    char text[200];
    FILE *file = fopen(path, "r");
    ck_assert_ptr_nonnull(file);
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    ck_assert_msg(strcmp(text, expected) == 0, "request %zu: '%s', not '%s'", n, text, expected);
}

static struct tt_tip_result tip = {
    .name = "t1",
    .offset_determined_x = true,
    .offset_determined_y = true,
    .offset = {-41.30125, 12.70345},
    .runout_determined = true,
    .runout = {0.031, -0.018},
    .radius_determined = true,
    .contact_radius_mm = 0.2487,
    .verdict = TIPTRUE_UPDATE,
    .offset_verdict = TIPTRUE_UPDATE,
};

START_TEST(memory_runs_out)
{
    const struct tiptrue_solution solution = {.tips = &tip,
                                              .n_tips = 1,
                                              .verdict = TIPTRUE_UPDATE,
                                              .rotation_sense = "ccw",
                                              .started = "2026-03-02T07:40:00Z"};
    const char *put = cases[_i].put;
    const struct tiptrue_export_options options = {
        .into = path, .put = &put, .n_put = 1, .now_s = 1772437200.0};
    size_t n = 1;
    for (failed = true; failed; n++) {
        struct tiptrue_exported *exported = NULL;
        struct tiptrue_error error = {0};
        put_file(cases[_i].text);
        failed = false;
        left = n;
        enum tiptrue_status status = tiptrue_export(&solution, &options, NULL, &exported, &error);
        left = 0;
        ck_assert_msg(status == (failed ? TIPTRUE_E_MEMORY : TIPTRUE_OK),
                      "request %zu: status %d, '%s'", n, (int)status, error.text);
        assert_file(failed ? cases[_i].text : cases[_i].expected, n);
        ck_assert((exported == NULL) == failed);
        tiptrue_exported_free(exported);
        ck_assert_uint_eq(empty_folder(), failed ? 1 : 2);
    }
    ck_assert_msg(n > 15, "only %zu requests", n);
}
END_TEST

/* The way back, a template, and the present offsets. */
START_TEST(memory_runs_out_elsewhere)
{
    static const char MACHINE[] = "{\"schema\": \"tiptrue.machine/1\", \"name\": \"m\", \"tips\": "
                                  "[{\"name\": \"t1\"}], \"export\": "
                                  "[{\"put\": [\"t1.offset.x=/x\", \"t1.offset.y:minus=/y\"]}]}";
    const struct tiptrue_solution solution = {
        .tips = &tip, .n_tips = 1, .verdict = TIPTRUE_UPDATE, .rotation_sense = "cw"};
    const struct tiptrue_export_options options = {0};
    static const double rotations_deg[] = {37.4, -128.5};
    struct tiptrue_machine *machine = NULL;
    size_t n = 1;
    ck_assert_int_eq(tt_machine_read_bytes("m", MACHINE, strlen(MACHINE), NULL, &machine, NULL),
                     TIPTRUE_OK);
    for (failed = true; failed; n++) {
        struct tiptrue_exported *exported = NULL;
        put_file("@(*.name);@(rotation);@(*.offset.x@*:.2)\n");
        failed = false;
        left = n;
        enum tiptrue_status status =
            tiptrue_template(&solution, path, rotations_deg, 2, &options, NULL, &exported, NULL);
        left = 0;
        ck_assert_msg(status == (failed ? TIPTRUE_E_MEMORY : TIPTRUE_OK),
                      "template, request %zu: status %d", n, (int)status);
        ck_assert(failed || strcmp(exported->text, "t1;37.4;-41.29\nt1;-128.5;-41.31\n") == 0);
        tiptrue_exported_free(exported);
    }
    for (failed = true; failed; n++) {
        put_file("{\"x\": -41.25, \"y\": -12.5}");
        failed = false;
        left = n;
        enum tiptrue_status status = tiptrue_machine_present(machine, path, NULL);
        left = 0;
        ck_assert_int_eq(status, failed ? TIPTRUE_E_MEMORY : TIPTRUE_OK);
        ck_assert(machine->tips[0].has_offset == !failed);
    }
    ck_assert_double_eq(machine->tips[0].offset.x_mm, -41.25);
    ck_assert_double_eq(machine->tips[0].offset.y_mm, 12.5);
    tiptrue_machine_free(machine);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/memory");
    TCase *tcase = tcase_create("memory");
    tcase_add_checked_fixture(tcase, make_folder, remove_folder);
    tcase_add_loop_test(tcase, memory_runs_out, 0, CASES);
    tcase_add_test(tcase, memory_runs_out_elsewhere);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int count = srunner_ntests_failed(runner);
    srunner_free(runner);
    return count == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
