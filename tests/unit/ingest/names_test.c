/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Names to indexes, few and many; and the nearest name to a misspelt one. */
#include "config.h"

#include "ingest/names.h"

#include "collect.h"
#include "model/frames.h"

START_TEST(finds_every_name)
{
    struct tt_arena arena = {0};
    struct tt_names names = {.arena = &arena};
    enum { COUNT = 500 };
    char text[16];
    ck_assert(tt_names_find(&names, "p0", 2) == TT_NONE);
    for (size_t i = 0; i < COUNT; i++) {
        int length = snprintf(text, sizeof(text), "p%zu", i * i);
        ck_assert(tt_names_find(&names, text, (size_t)length) == TT_NONE);
        ck_assert(tt_names_add(&names, tt_arena_copy_text(&arena, text, (size_t)length)));
        for (size_t j = 0; j <= i;
             j += 1 + i / 7) { /* those before are still found, the last one too */
            length = snprintf(text, sizeof(text), "p%zu", j * j);
            ck_assert_uint_eq(tt_names_find(&names, text, (size_t)length), j);
        }
    }
    ck_assert_uint_eq(names.count, COUNT);
    ck_assert_uint_eq(tt_names_find(&names, "p4x", 2), 2); /* only the length given counts */
    ck_assert(tt_names_find(&names, "p4x", 3) == TT_NONE);
    ck_assert(tt_names_find(&names, "", 0) == TT_NONE);
    tt_arena_clear(&arena);
}
END_TEST

static const char *const edges[] = {
    "east",  "west", "north",
    "south", "E2",   "a name of very many letters that no one would want to misspell at all"};
#define N_EDGES (sizeof(edges) / sizeof(edges[0]))

START_TEST(nearest_name)
{
    static const struct {
        const char *text;
        size_t index;
    } table[] = {
        {"esat", 0},    {"eas", 0},    {"EAST", 0},           {"wst", 1},       {"nrth", 2},
        {"nroth", 2},   {"soutth", 3}, {"sowth", 3},          {"e2", 4},        {"E3", 4},
        {"x", TT_NONE}, {"", TT_NONE}, {"eeaasstt", TT_NONE}, {"top", TT_NONE}, {"norhts", 2},
    };
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        ck_assert_msg(tt_names_nearest(edges, N_EDGES, table[i].text, strlen(table[i].text)) ==
                          table[i].index,
                      "'%s'", table[i].text);
    }
    ck_assert(tt_names_nearest(edges, N_EDGES, edges[5], strlen(edges[5])) ==
              TT_NONE); /* too long to be compared */
}
END_TEST

START_TEST(hints_fit)
{
    char hint[TT_HINT_SIZE];
    const char *many[60];
    tt_names_hint(edges, 2, "edges", "esat", 4, hint);
    ck_assert_str_eq(hint, "did you mean 'east'? known edges: 'east', 'west'");
    tt_names_hint(edges, 2, "edges", "top", 3, hint);
    ck_assert_str_eq(hint, "known edges: 'east', 'west'");
    tt_names_hint(edges, 0, "edges", "top", 3, hint);
    ck_assert_str_eq(hint, "no edges are known");
    for (size_t i = 0; i < 60; i++) {
        many[i] = i % 2 == 0 ? "\xC3\xA9tage" : "fifteen letters";
    }
    for (size_t n = 1; n <= 60; n++) {
        tt_names_hint(many, n, "edges", "tage", 4, hint);
        ck_assert_uint_lt(strlen(hint), TT_HINT_SIZE - 1); /* never cut */
    }
    ck_assert_ptr_nonnull(strstr(hint, "'fifteen letters', '\xC3\xA9tage', and 49 more"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/names");
    TCase *tests = tcase_create("names");
    tcase_add_test(tests, finds_every_name);
    tcase_add_test(tests, nearest_name);
    tcase_add_test(tests, hints_fit);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
