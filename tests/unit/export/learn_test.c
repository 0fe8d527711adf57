/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plate file that learns from a board: every number that is written, in millimetres and inches,
 * what is left as it was, and what is refused. */
#include "config.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "export/export.h"
#include "ingest/ingest.h"
#include "model/joined.h"

/* Two groups, the second of an edge that faces along x alone; @more stands behind the first one's
 * name. */
#define PLATE(units, u, more)                                                                      \
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"pane\", \"serial\": \"S-31\",\n"                \
    " \"units\": \"" units "\", \"reference\": \"M0\",\n"                                          \
    " \"marks\": [{\"name\": \"M0\", \"at\": [0, 0]},\n"                                           \
    "  {\"name\": \"M1\", \"at\": [4.8, 0.6], \"u\": 0.0006, \"group\": \"milled\"}],\n"           \
    " \"groups\": [{\"name\": \"milled\"" more ", \"u\": " u "},\n"                                \
    "  {\"name\": \"ground\", \"tolerance\": 0.0021}],\n"                                          \
    " \"edges\": [\n"                                                                              \
    "  {\"name\": \"top\", \"from\": [3.4, -1.1], \"to\": [2.4, -1.2], \"free_side\": \"left\","   \
    " \"group\": \"milled\"},\n"                                                                   \
    "  {\"name\": \"right\", \"from\": [3.7, -2.2], \"to\": [3.7, -1.3], \"free_side\": \"left\"," \
    " \"group\": \"ground\"},\n"                                                                   \
    "  {\"name\": \"left\", \"from\": [2.2, -1.3], \"to\": [2.2, -2.3], \"free_side\": \"left\"}]" \
    "}\n"

static struct tiptrue_plate *plate;

static void read_plate(const char *text)
{
    struct tiptrue_error error = {0};

    tiptrue_plate_free(plate);
    plate = NULL;
    ck_assert_msg(tt_plate_read_bytes("pane.json", text, strlen(text), NULL, &plate, &error) ==
                      TIPTRUE_OK,
                  "%s", error.text);
}

static void tear_down(void)
{
    tiptrue_plate_free(plate);
    plate = NULL;
}

static struct tt_joined_group groups[2];
static struct tt_joined joined;
static struct tiptrue_placement placement;

/* A board that tells 0.7 of the first group's u, and nothing of the second one. */
static void set_board(void)
{
    double u_mm = plate->groups[0].u_mm;

    groups[0] =
        (struct tt_joined_group){"milled", u_mm, {0.00123, -0.00234}, {0.6 * u_mm, 0.7 * u_mm}};
    groups[1] = (struct tt_joined_group){
        "ground", plate->groups[1].u_mm, {0.05, 0.07}, {plate->groups[1].u_mm, 0.0001}};
    joined = (struct tt_joined){.run = "00000000000000a7",
                                .plate = "pane",
                                .serial = "S-31",
                                .seat_known = true,
                                .equations = 7,
                                .agrees = true,
                                .groups = groups,
                                .n_groups = 2};
    placement = (struct tiptrue_placement){.id = "00000000000000b8",
                                           .started = "2026-03-14T06:12:00Z",
                                           .parts_used = 37,
                                           .joined = &joined};
}

static void check_learned(const char *expected)
{
    struct tt_buffer to = {0};
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tt_learn(&placement, plate, &to, &error);

    ck_assert_msg(status == TIPTRUE_OK, "%s", error.text);
    ck_assert_str_eq(to.text, expected);
    tt_buffer_clear(&to);
}

static void check_refused(const char *text, const char *hint)
{
    struct tt_buffer to = {0};
    struct tiptrue_error error = {0};

    ck_assert_int_eq(tt_learn(&placement, plate, &to, &error), TIPTRUE_E_DATA);
    ck_assert_str_eq(error.text, text);
    ck_assert_str_eq(error.hint, hint);
    ck_assert_str_eq(error.file, "pane.json");
    ck_assert_uint_eq(to.length, 0);
    tt_buffer_clear(&to);
}

/* The same with the first group moved. */
#define LEARNED(units, m1, top, more, u)                                                           \
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"pane\", \"serial\": \"S-31\",\n"                \
    " \"units\": \"" units "\", \"reference\": \"M0\",\n"                                          \
    " \"marks\": [{\"name\": \"M0\", \"at\": [0, 0]},\n"                                           \
    "  {\"name\": \"M1\", \"at\": [" m1 "], \"u\": 0.0006, \"group\": \"milled\"}],\n"             \
    " \"groups\": [{\"name\": \"milled\"" more ", \"u\": " u "},\n"                                \
    "  {\"name\": \"ground\", \"tolerance\": 0.0021}],\n"                                          \
    " \"edges\": [\n"                                                                              \
    "  {\"name\": \"top\", " top ", \"free_side\": \"left\","                                      \
    " \"group\": \"milled\"},\n"                                                                   \
    "  {\"name\": \"right\", \"from\": [3.7, -2.2], \"to\": [3.7, -1.3], \"free_side\": \"left\"," \
    " \"group\": \"ground\"},\n"                                                                   \
    "  {\"name\": \"left\", \"from\": [2.2, -1.3], \"to\": [2.2, -2.3], \"free_side\": \"left\"}]" \
    "}\n"
#define FROM_HERE                                                                                  \
    ", \"learned\": {\"parts\": 37, \"boards\": \"00000000000000b8\", "                            \
    "\"run\": \"00000000000000a7\""
#define PLACED ", \"placed\": \"2026-03-14T06:12:00Z\""

START_TEST(what_is_learned_is_written)
{
    read_plate(PLATE("mm", "0.006", ""));
    set_board();
    check_learned(LEARNED("mm", "4.80123, 0.59766",
                          "\"from\": [3.40123, -1.10234], \"to\": [2.40123, -1.20234]",
                          FROM_HERE PLACED ", \"stated_u\": 0.006}", "0.0042"));
    placement.started = NULL;
    groups[0].u_mm = (struct tt_pair){0.0051, 0.0033}; /* the larger one, of either axis */
    check_learned(LEARNED("mm", "4.80123, 0.59766",
                          "\"from\": [3.40123, -1.10234], \"to\": [2.40123, -1.20234]",
                          FROM_HERE ", \"stated_u\": 0.006}", "0.0051"));

    read_plate(PLATE("inch", "0.0006", ""));
    set_board();
    groups[0].shift_mm = (struct tt_pair){0.0254, -0.0508};
    check_learned(LEARNED("inch", "4.801, 0.598",
                          "\"from\": [3.401, -1.102], \"to\": [2.401, -1.202]",
                          FROM_HERE PLACED ", \"stated_u\": 0.0006}", "0.00042"));
}
END_TEST

#define BEFORE(parts, boards, run, placed)                                                         \
    ", \"learned\": {\"parts\": " parts ", \"boards\": \"" boards "\", \"run\": \"" run            \
    "\", \"placed\": \"" placed "\", \"stated_u\": 0.009}"

START_TEST(another_board_counts_beside_the_first)
{
    read_plate(PLATE("mm", "0.006",
                     BEFORE("5", "00000000000000c9", "00000000000000d1", "2026-02-11T05:07:03Z")));
    set_board();
    check_learned(LEARNED("mm", "4.80123, 0.59766",
                          "\"from\": [3.40123, -1.10234], \"to\": [2.40123, -1.20234]",
                          BEFORE("42", "00000000000000c9 00000000000000b8", "00000000000000a7",
                                 "2026-03-14T06:12:00Z"),
                          "0.0042"));
    read_plate(PLATE("mm", "0.006",
                     BEFORE("5", "00000000000000c9 00000000000000b8", "00000000000000d1",
                            "2026-02-11T05:07:03Z")));
    check_refused("what this board says is in the plate file already",
                  "a board counts once: place another");
    strcpy(placement.id, "00000000000000c9");
    check_refused("what this board says is in the plate file already",
                  "a board counts once: place another");
    strcpy(placement.id, "00000000000000c");
    struct tt_buffer to = {0};
    ck_assert_int_eq(tt_learn(&placement, plate, &to, NULL), TIPTRUE_OK);
    tt_buffer_clear(&to);
}
END_TEST

/* The group that faces one way is judged along that way, and given a tolerance where it had one. */
START_TEST(a_group_that_faces_one_way)
{
    struct tt_buffer to = {0};

    read_plate(PLATE("mm", "0.006", ""));
    set_board();
    groups[0].u_mm = (struct tt_pair){0.006, 0.006};
    groups[1].u_mm.x = 0.001;
    groups[1].u_mm.y = groups[1].u_stated_mm;
    ck_assert_int_eq(tt_learn(&placement, plate, &to, NULL), TIPTRUE_OK);
    ck_assert_ptr_nonnull(strstr(to.text, "\"tolerance\": 0.00173}"));
    ck_assert_ptr_nonnull(strstr(to.text, "\"from\": [3.75, -2.13], \"to\": [3.75, -1.23]"));
    ck_assert_ptr_nonnull(strstr(to.text, "\"from\": [3.4, -1.1], \"to\": [2.4, -1.2]"));
    ck_assert_ptr_nonnull(strstr(to.text, "\"stated_u\": 0.00121}"));
    tt_buffer_clear(&to);
}
END_TEST

START_TEST(two_per_cent_are_learned)
{
    static const char TEXT[] = "the board says nothing new of the plate's groups",
                      HINT[] = "it takes groups with a u, and a board whose seat, device and parts "
                               "are known better than that";
    struct tt_buffer to = {0};

    read_plate(PLATE("mm", "0.006", ""));
    set_board();
    groups[0].u_mm = (struct tt_pair){0.98001 * 0.006, 0.003};
    check_refused(TEXT, HINT);
    groups[0].u_mm = (struct tt_pair){0.003, 0.98001 * 0.006};
    check_refused(TEXT, HINT);
    groups[0].u_mm = (struct tt_pair){0.97999 * 0.006, 0.97999 * 0.006};
    ck_assert_int_eq(tt_learn(&placement, plate, &to, NULL), TIPTRUE_OK);
    tt_buffer_clear(&to);
    joined.n_groups = 0;
    check_refused(TEXT, HINT);
}
END_TEST

START_TEST(what_speaks_against_it)
{
    static const char OTHER[] = "the run was made with another plate",
                      WHICH[] = "name the plate that the run was made with",
                      NONE[] = "nothing is learned from this board", SEE[] = "see the findings";

    read_plate(PLATE("mm", "0.006", ""));
    set_board();
    joined.serial = "S-32";
    check_refused(OTHER, WHICH);
    joined.serial = NULL;
    joined.plate = "frame";
    check_refused(OTHER, WHICH);
    set_board();
    joined.seat_known = false;
    check_refused("nothing is learned from a board whose seat and measuring device are not stated",
                  "state '# board_u:' and '# device_u:' in the board's file: how well the board's "
                  "seat and the measuring device are known, standard, each axis");
    set_board();
    placement.verdict = TIPTRUE_REPEAT;
    check_refused(NONE, SEE);
    set_board();
    joined.agrees = false;
    check_refused(NONE, SEE);
    set_board();
    joined.equations = 0;
    check_refused(NONE, SEE);
    set_board();
    groups[0].u_stated_mm = 0.00601;
    check_refused("the run was solved with another version of this plate",
                  "solve the run's log with this plate file, and name that result");
    set_board();
    groups[0].name = "Milled";
    check_refused("the run was solved with another version of this plate",
                  "solve the run's log with this plate file, and name that result");
    set_board();
    placement.verdict = TIPTRUE_UPDATE;
    joined.serial = joined.plate = NULL; /* not stated: taken for this one */
    struct tt_buffer to = {0};
    ck_assert_int_eq(tt_learn(&placement, plate, &to, NULL), TIPTRUE_OK);
    tt_buffer_clear(&to);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/learn");
    TCase *tcase = tcase_create("learn");
    tcase_add_checked_fixture(tcase, NULL, tear_down);
    tcase_add_test(tcase, what_is_learned_is_written);
    tcase_add_test(tcase, another_board_counts_beside_the_first);
    tcase_add_test(tcase, a_group_that_faces_one_way);
    tcase_add_test(tcase, two_per_cent_are_learned);
    tcase_add_test(tcase, what_speaks_against_it);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
