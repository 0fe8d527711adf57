/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a table of a run means: every column, every way in which real files differ, units, pairs of
 * touches, printed digits; under a locale with a decimal comma too. Its faults: messages_test.
 */
#include "config.h"

#include <locale.h>
#include <math.h>
#include <unistd.h>

#include "collect.h"
#include "ingest/ingest.h"

#define TOLERANCE 1e-12

static struct tiptrue_plate *plate;
static struct tiptrue_machine *machine;

static void read_plate_and_machine(void)
{
    char *plate_path = source_path("tests/data/ingest/plate.json"),
         *machine_path = source_path("tests/data/ingest/machine.json");
    ck_assert_int_eq(tiptrue_plate_read(plate_path, NULL, &plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_machine_read(machine_path, NULL, &machine, NULL), TIPTRUE_OK);
    free(plate_path);
    free(machine_path);
}

static void free_plate_and_machine(void)
{
    tiptrue_plate_free(plate);
    tiptrue_machine_free(machine);
}

/* The run in @text, of which nothing is told but @expected. */
static struct tiptrue_run *read_run(const char *text, const char *expected)
{
    struct tiptrue_run *run = NULL;
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    enum tiptrue_status status = tt_run_read_bytes("run.csv", text, strlen(text), plate, machine,
                                                   NULL, NULL, &sink, &run, NULL);
    assert_told(&told, expected);
    ck_assert_int_eq(status, TIPTRUE_OK);
    tt_buffer_clear(&told);
    return run;
}

START_TEST(every_column)
{
    char *text = source_text("tests/data/ingest/run.csv");
    struct tiptrue_run *run = read_run(text, "");
    ck_assert_str_eq(run->file, "run.csv");
    ck_assert_str_eq(run->machine, "bench-7");
    ck_assert_str_eq(run->plate, "ford plate");
    ck_assert_str_eq(run->started, "2026-05-04T09:30:00+02:00");
    ck_assert_ptr_null(run->operator_name);
    ck_assert_ptr_null(run->note);
    ck_assert(run->checked_against_plate && run->checked_against_machine);
    ck_assert(!run->find_inferred);
    ck_assert_uint_eq(run->n_tips, 2);
    ck_assert_str_eq(run->tips[1], "wide");
    ck_assert_uint_eq(run->n_setups, 1);
    ck_assert_str_eq(run->setups[0], "1");
    ck_assert_uint_eq(run->n_observations, 6);
    const struct tt_observation *o = run->observations;
    static const enum tt_kind kinds[] = {TT_SIGHT, TT_WARMUP, TT_TOUCH,
                                         TT_TOUCH, TT_TOUCH,  TT_HEIGHT};
    static const enum tt_use uses[] = {TT_USE, TT_USE_OTHER,      TT_USE_FIND,
                                       TT_USE, TT_USE_NO_CONTACT, TT_USE};
    static const size_t targets[] = {0, 0, 0, 0, 1, 0}, tips[] = {TT_NONE, 0, 0, 0, 1, 0};
    for (size_t i = 0; i < 6; i++) {
        ck_assert_uint_eq(o[i].line, 5 + i);
        ck_assert_int_eq(o[i].kind, kinds[i]);
        ck_assert_int_eq(o[i].use, uses[i]);
        ck_assert_uint_eq(o[i].target, targets[i]);
        ck_assert_uint_eq(o[i].tip, tips[i]);
        ck_assert_uint_eq(o[i].setup, 0);
    }
    ck_assert_double_eq(o[3].h.x_mm, 156.412);
    ck_assert_double_eq(o[3].h.y_mm, 58.804);
    ck_assert_double_eq_tol(o[3].rotation_rad, 15.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq_tol(o[4].rotation_rad, -75.5 * TT_PI / 180.0, TOLERANCE);
    ck_assert(o[3].has_z && !o[2].has_z && o[5].has_z);
    ck_assert_double_eq(o[5].z_mm, -3.25);
    ck_assert_double_eq_tol(o[2].feed_mm_s, 5.0, TOLERANCE);
    ck_assert_double_eq(o[0].feed_mm_s, 0.0);
    ck_assert(o[0].has_temperature && !o[1].has_temperature);
    ck_assert_double_eq(o[3].temperature_C, 21.6);
    ck_assert(o[0].has_time && !o[2].has_time && o[3].has_time);
    ck_assert_double_eq(o[0].time_s, 0.0);
    ck_assert_double_eq_tol(o[3].time_s, 90.5, 1e-6); /* 09:30:10 at +02:00 to 07:31:40.5 UTC */
    ck_assert_int_eq(o[0].approach_x, 1);
    ck_assert_int_eq(o[0].approach_y, -1);
    tiptrue_run_free(run);
    tiptrue_run_free(NULL);
    free(text);
}
END_TEST

/* The same run in the ways that files come in. */
static const char *const dresses[] = {
    "kind,target,tip,x,y,rotation\nsight,B,,110.5,64.25,\ntouch,bank,thin,156.4,58.75,15.5\n",
    "\xEF\xBB\xBFkind,target,tip,x,y,rotation\r\nsight,B,,110.5,64.25,\r\ntouch,bank,thin,156.4,58."
    "75,15.5\r\n",
    "kind,target,tip,x,y,rotation\nsight,B,,110.5,64.25,\ntouch,bank,thin,156.4,58.75,15.5",
    "kind;target;tip;x;y;rotation\nsight;B;;110,5;64,25;\ntouch;bank;thin;156,4;58,75;15,5\n",
    "kind;target;tip;x;y;rotation\nsight;B;;110.5;64.25;\ntouch;bank;thin;156.4;58.75;15.5\n",
    "kind\ttarget\ttip\tx\ty\trotation\nsight\tB\t\t110,5\t64,25\t\ntouch\tbank\tthin\t156,4\t58,"
    "75\t15,5\n",
    "\n\n  \nkind,target,tip,x,y,rotation\n\n,,,,,\nsight,B,,110.5,64.25,\n   "
    "\ntouch,bank,thin,156.4,58.75,15.5\n\n\n",
    "\"kind\",\"target\",\"tip\",\"x\",\"y\",\"rotation\"\n\"sight\",\"B\",\"\",\"110.5\",\"64."
    "25\",\ntouch,\"bank\",thin,156.4,"
    "\"58.75\",15.5\n",
    "y,rotation,x,kind,tip,target\n64.25,,110.5,sight,,B\n58.75,15.5,156.4,touch,thin,bank\n",
    " kind , target,tip,x,y, rotation \n sight , B,, 110.5 "
    ",64.25,\ntouch,bank,thin,+156.4,58.75,1.55e1\n",
    "# a remark: of two words\n#\nkind,target,tip,x,y,rotation\n# in "
    "between\nsight,B,,110.5,64.25,\n#\ntouch,bank,thin,156.4,58.75,15.5\n",
    "\"# note: a, "
    "b\",,,,,\nkind,target,tip,x,y,rotation\nsight,B,,110.5,64.25,\ntouch,bank,thin,156.4,58.75,15."
    "5\n",
    "kind,target,tip,x,y,rotation,contact,setup,temperature,time,feed,z,stage,approach\nsight,B,,"
    "110.5,64.25,,,,,,,,,\n"
    "touch,bank,thin,156.4,58.75,15.5,1,1,,,,,measure,\n",
    "# units: mm\n# "
    "started:\nkind,target,tip,x,y,rotation\nsight,B,thin,110.5,64.25,\ntouch,bank,thin,156.4,58."
    "75,15.5\n",
};

START_TEST(real_files_differ)
{
    for (size_t i = 0; i < sizeof(dresses) / sizeof(dresses[0]); i++) {
        struct tiptrue_run *run = read_run(dresses[i], "");
        ck_assert_uint_eq(run->n_observations, 2);
        const struct tt_observation *sight = &run->observations[0], *touch = &run->observations[1];
        ck_assert_int_eq(sight->kind, TT_SIGHT);
        ck_assert_uint_eq(sight->target, 1);
        ck_assert_uint_eq(sight->tip, TT_NONE);
        ck_assert_double_eq(sight->h.x_mm, 110.5);
        ck_assert_double_eq(sight->h.y_mm, 64.25);
        ck_assert_int_eq(touch->kind, TT_TOUCH);
        ck_assert_int_eq(touch->use, TT_USE);
        ck_assert_uint_eq(touch->target, 0);
        ck_assert_uint_eq(touch->tip, 0);
        ck_assert_double_eq(touch->h.x_mm, 156.4);
        ck_assert_double_eq(touch->h.y_mm, 58.75);
        ck_assert_double_eq_tol(touch->rotation_rad, 15.5 * TT_PI / 180.0, TOLERANCE);
        ck_assert_uint_eq(run->n_setups, 1);
        ck_assert_str_eq(run->setups[0], "1");
        tiptrue_run_free(run);
    }
}
END_TEST

START_TEST(metadata_are_kept)
{
    struct tiptrue_run *run = read_run(
        "#machine:bench-7\n##  plate :\tF-12 \n# operator: K. Lund: day\n# note: one\n# note:\n"
        "# note: two, three;;\r\n# started: 2026-05-04T09:30:00Z\nkind,target,x,y\nsight,A,1.5,2\n",
        "");
    ck_assert_str_eq(run->machine, "bench-7");
    ck_assert_str_eq(run->plate, "F-12");
    ck_assert_str_eq(run->operator_name, "K. Lund: day");
    ck_assert_str_eq(run->note, "one; two, three");
    ck_assert_str_eq(run->started, "2026-05-04T09:30:00Z");
    tiptrue_run_free(run);
}
END_TEST

START_TEST(inches_are_converted)
{
    struct tiptrue_run *run =
        read_run("# units: inch\nkind,target,tip,x,y,rotation,z,feed,temperature\n"
                 "touch,bank,thin,6.25,-2.5,15,0.125,6,21.5\n",
                 "");
    const struct tt_observation *touch = &run->observations[0];
    ck_assert_double_eq_tol(touch->h.x_mm, 158.75, TOLERANCE);
    ck_assert_double_eq_tol(touch->h.y_mm, -63.5, TOLERANCE);
    ck_assert_double_eq_tol(touch->z_mm, 3.175, TOLERANCE);
    ck_assert_double_eq_tol(touch->feed_mm_s, 2.54, TOLERANCE);
    ck_assert_double_eq_tol(touch->rotation_rad, 15.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq(touch->temperature_C, 21.5);
    ck_assert_double_eq_tol(run->touch_digits.quantum_mm, 0.254, TOLERANCE);
    tiptrue_run_free(run);
}
END_TEST

START_TEST(setups_in_order_of_appearance)
{
    struct tiptrue_run *run = read_run("kind,target,x,y,setup\nsight,A,1.5,2,turned\nsight,A,1.5,2,"
                                       "\nsight,A,1.5,2,3\nsight,A,1.5,2,1\n"
                                       "sight,A,1.5,2,turned\n",
                                       "");
    static const size_t expected[] = {0, 1, 2, 1, 0};
    ck_assert_uint_eq(run->n_setups, 3);
    ck_assert_str_eq(run->setups[0], "turned");
    ck_assert_str_eq(run->setups[1], "1");
    ck_assert_str_eq(run->setups[2], "3");
    for (size_t i = 0; i < 5; i++) {
        ck_assert_uint_eq(run->observations[i].setup, expected[i]);
    }
    tiptrue_run_free(run);
}
END_TEST

/* Fast and slow: only a slower touch of the same edge, tip, setup and rotation, directly behind,
 * makes the one before a find. */
START_TEST(pairs_of_touches)
{
    static const struct {
        const char *rows;
        const char *uses; /* u used, f find, n no contact, by row */
    } table[] = {
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,bank,thin,1.5,2,15,60,,\n", "fu"},
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,bank,thin,1.5,2,15,60,,\ntouch,bank,thin,1.5,2,15,"
         "30,,\n",
         "ffu"},
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,bank,thin,1.5,2,15,60,,0\n", "fn"},
        {"touch,bank,thin,1.5,2,15,300,,0\ntouch,bank,thin,1.5,2,15,60,,\n", "nu"},
        {"touch,bank,thin,1.5,2,15,60,,\ntouch,bank,thin,1.5,2,15,300,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,60,,\ntouch,bank,thin,1.5,2,15,60,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,bank,thin,1.5,2,15,,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,,,\ntouch,bank,thin,1.5,2,15,60,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,weir,thin,1.5,2,15,60,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,bank,wide,1.5,2,15,60,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,300,,\ntouch,bank,thin,1.5,2,16,60,,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,300,a,\ntouch,bank,thin,1.5,2,15,60,b,\n", "uu"},
        {"touch,bank,thin,1.5,2,15,300,,\nsight,A,,1.5,2,,,,\ntouch,bank,thin,1.5,2,15,60,,\n",
         "uuu"},
    };
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        char text[400];
        struct tiptrue_run *run = NULL;
        snprintf(text, sizeof(text), "kind,target,tip,x,y,rotation,feed,setup,contact\n%s",
                 table[i].rows);
        ck_assert_int_eq(tt_run_read_bytes("r", text, strlen(text), plate, machine, NULL, NULL,
                                           NULL, &run, NULL),
                         TIPTRUE_OK);
        for (size_t j = 0; j < run->n_observations; j++) {
            static const char letters[] = {
                [TT_USE] = 'u', [TT_USE_FIND] = 'f', [TT_USE_NO_CONTACT] = 'n'};
            ck_assert_msg(letters[run->observations[j].use] == table[i].uses[j],
                          "case %zu, row %zu", i, j);
        }
        ck_assert(run->find_inferred == (strchr(table[i].uses, 'f') != NULL));
        tiptrue_run_free(run);
    }
}
END_TEST

/* Printed digits: the most that were seen, of the rows of one kind that have contact; the grid
 * against a resolution of 0.004 mm. */
START_TEST(printed_digits)
{
    static const struct {
        const char *rows;
        double sighting_mm, touch_mm;
        bool sighting_grid, touch_grid;
    } table[] = {
        {"sight,A,,10.1,20.25,,\ntouch,bank,thin,1.004,2.5,15,\ntouch,bank,thin,1.012,2.504,15,\n",
         0.01, 0.001, true, true},
        {"sight,A,,10.1,20.25,,\nsight,A,,10.1042,20,,\n", 0.0001, 0.0, false, false},
        {"touch,bank,thin,1.004,2.5,15,\ntouch,bank,thin,1.006,2.504,15,\n", 0.0, 0.001, false,
         false}, /* between: 0.002 off */
        {"touch,bank,thin,1.004,2.5,15,\ntouch,bank,thin,1.009,2.504,15,\n", 0.0, 0.001, false,
         true}, /* a digit off: rounded */
        {"touch,bank,thin,1.004,2.5,15,\ntouch,bank,thin,1.0064,2.50,15,0\n", 0.0, 0.001, false,
         true}, /* no contact: not counted */
        {"touch,bank,thin,100,2e1,15,\n", 0.0, 1.0, false, true},
        {"touch,bank,thin,1e2,2e1,15,\n", 0.0, 10.0, false, true},
        {"height,ledge,thin,1.00001,2,15,\n", 0.0, 0.0, false, false},
        {"touch,bank,thin,1.2000,2.5000,15,\ntouch,bank,thin,1.3000,2.5000,15,\n"
         "touch,bank,thin,1.1000,2.7000,15,\ntouch,bank,thin,1.3000,2.4000,15,\n",
         0.0, 0.1, false, true}, /* zeros behind the digit they were rounded to */
        {"touch,bank,thin,1.2004,2.5004,15,\ntouch,bank,thin,1.3004,2.5004,15,\n"
         "touch,bank,thin,1.1004,2.7004,15,\ntouch,bank,thin,1.3004,2.4004,15,\n",
         0.0, 0.1, false, true}, /* and moved since */
        {"touch,bank,thin,1.2000,2.5000,15,\ntouch,bank,thin,1.3000,2.5000,15,\n"
         "touch,bank,thin,1.1000,2.7000,15,\ntouch,bank,thin,1.3000,2.4100,15,\n",
         0.0, 0.01, false, false}, /* one of eight coordinates has a digit more */
        {"touch,bank,thin,1.2000,2.5000,15,\ntouch,bank,thin,1.3000,2.5000,15,\n"
         "touch,bank,thin,1.1000,2.7000,15,\n",
         0.0, 0.0001, false, true}, /* too few to tell */
        {"sight,A,,0.0000,0.0000,,\nsight,A,,0.0000,0.0000,,\nsight,A,,0.0000,0.0000,,\n"
         "sight,A,,0.0000,0.0000,,\ntouch,bank,thin,1.2000,2.5000,15,\n"
         "touch,bank,thin,1.3000,2.5000,15,\ntouch,bank,thin,1.1000,2.7000,15,\n"
         "touch,bank,thin,1.3123,2.4000,15,\n",
         0.0001, 0.0001, true, false}, /* zeroed on the mark, not rounded */
        {"sight,A,,0.0000,0.0000,,\nsight,A,,0.0000,0.0000,,\ntouch,bank,thin,1.2000,2.5000,15,\n"
         "touch,bank,thin,1.3000,2.5000,15,\ntouch,bank,thin,1.1000,2.7000,15,\n"
         "touch,bank,thin,1.3000,2.4000,15,\n",
         0.1, 0.1, true, true}, /* the whole log is rounded */
    };
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        char text[600];
        struct tiptrue_run *run = NULL;
        snprintf(text, sizeof(text), "kind,target,tip,x,y,rotation,contact,z\n%s", table[i].rows);
        for (char *feed = strchr(text, '\n') + 1; (feed = strchr(feed, '\n')) != NULL;
             feed += 3) { /* a z in every row */
            memmove(feed + 2, feed, strlen(feed) + 1);
            memcpy(feed, ",7", 2);
        }
        ck_assert_int_eq(tt_run_read_bytes("r", text, strlen(text), plate, machine, NULL, NULL,
                                           NULL, &run, NULL),
                         TIPTRUE_OK);
        ck_assert_double_eq_tol(run->sighting_digits.quantum_mm, table[i].sighting_mm, 1e-15);
        ck_assert_double_eq_tol(run->touch_digits.quantum_mm, table[i].touch_mm, 1e-15);
        ck_assert_msg(run->sighting_digits.on_grid == table[i].sighting_grid, "case %zu", i);
        ck_assert_msg(run->touch_digits.on_grid == table[i].touch_grid, "case %zu", i);
        tiptrue_run_free(run);
    }
}
END_TEST

/* A step of 0.0025 mm printed in inches of six decimals: rounding by conversion and printing leaves
 * it on its grid. */
START_TEST(grid_survives_the_conversion)
{
    struct tt_buffer text = {0};
    struct tiptrue_run *run = NULL;
    struct tiptrue_machine *other = NULL;
    static const char machine_text[] =
        "{\"schema\": \"tiptrue.machine/1\", \"name\": \"m\", \"resolution\": 0.0025}";
    ck_assert_int_eq(
        tt_machine_read_bytes("m", machine_text, strlen(machine_text), NULL, &other, NULL),
        TIPTRUE_OK);
    tt_buffer_puts(&text, "# units: inch\nkind,target,tip,x,y,rotation\n");
    for (int i = 0; i < 200; i++) {
        tt_buffer_puts(&text, "touch,bank,thin,");
        char row[80];
        snprintf(row, sizeof(row), "%.6f,%.6f,15\n", (150.0 + 0.0025 * i * 37) / 25.4,
                 (60.0 - 0.0025 * i * i) / 25.4);
        tt_buffer_puts(&text, row);
    }
    ck_assert_int_eq(
        tt_run_read_bytes("r", text.text, text.length, plate, other, NULL, NULL, NULL, &run, NULL),
        TIPTRUE_OK);
    ck_assert(run->touch_digits.on_grid);
    tiptrue_run_free(run);
    tiptrue_machine_free(other);
    tt_buffer_clear(&text);
}
END_TEST

/* Without plate and machine every name is taken, in order of appearance. */
START_TEST(names_without_plate_and_machine)
{
    static const char text[] = "kind,target,tip,x,y,rotation,z\nsight,b,,1,2,,\nsight,a,,1,2,,"
                               "\ntouch,e,t2,1,2,15,\ntouch,f,t1,1,2,15,\n"
                               "touch,e,t2,1,2,15,\nheight,p,t1,1,2,15,3\nwarmup,f,t3,1,2,,\n";
    static const size_t targets[] = {0, 1, 0, 1, 0, 0, 1},
                        tips[] = {TT_NONE, TT_NONE, 0, 1, 0, 1, 2};
    struct tiptrue_run *run = NULL;
    ck_assert_int_eq(
        tt_run_read_bytes("r", text, strlen(text), NULL, NULL, NULL, NULL, NULL, &run, NULL),
        TIPTRUE_OK);
    ck_assert(!run->checked_against_plate && !run->checked_against_machine);
    for (size_t i = 0; i < 7; i++) {
        ck_assert_uint_eq(run->observations[i].target, targets[i]);
        ck_assert_uint_eq(run->observations[i].tip, tips[i]);
    }
    ck_assert_uint_eq(run->n_tips, 3);
    ck_assert_str_eq(run->tips[0], "t2");
    ck_assert(!run->touch_digits.on_grid);
    tiptrue_run_free(run);
}
END_TEST

/* A height on a plate that names no pads. */
START_TEST(pads_need_not_be_named)
{
    static const char plate_text[] =
        "{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"M\","
        "\"marks\": [{\"name\": \"M\", \"at\": [0, 0]}], \"edges\": []}";
    static const char text[] = "kind,target,x,y,z\nheight,anywhere,1,2,3\n";
    struct tiptrue_plate *other = NULL;
    struct tiptrue_run *run = NULL;
    ck_assert_int_eq(tt_plate_read_bytes("p", plate_text, strlen(plate_text), NULL, &other, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(
        tt_run_read_bytes("r", text, strlen(text), other, NULL, NULL, NULL, NULL, &run, NULL),
        TIPTRUE_OK);
    ck_assert_uint_eq(run->observations[0].target, TT_NONE);
    tiptrue_run_free(run);
    tiptrue_plate_free(other);
}
END_TEST

/* @rows rows, each with its number between @begin and @end. */
static enum tiptrue_status read_many(int rows, const char *header, const char *begin,
                                     const char *end, struct tt_buffer *told)
{
    struct tt_buffer text = {0};
    struct tiptrue_run *run = NULL;
    const struct tiptrue_sink sink = {collect_told, told};
    tt_buffer_puts(&text, header);
    for (int i = 0; i < rows; i++) {
        tt_buffer_printf(&text, "%s%d%s", begin, i, end);
    }
    enum tiptrue_status status = tt_run_read_bytes("run.csv", text.text, text.length, plate, NULL,
                                                   NULL, NULL, &sink, &run, NULL);
    ck_assert(status != TIPTRUE_OK || run->n_observations == (size_t)rows);
    tiptrue_run_free(run);
    tt_buffer_clear(&text);
    return status;
}

START_TEST(counts_are_limited)
{
    struct tt_buffer told = {0};
    ck_assert_int_eq(read_many(1000, "kind,target,x,y,setup\n", "sight,A,1.5,2,s", "\n", &told),
                     TIPTRUE_OK);
    assert_told(&told, "");
    ck_assert_int_eq(read_many(1001, "kind,target,x,y,setup\n", "sight,A,1.5,2,s", "\n", &told),
                     TIPTRUE_E_DATA);
    assert_told(&told,
                "run.csv:1002:15: error: more than 1000 setups\n"
                "  hint: a setup is one placement of the plate; is another thing in its place?\n");
    tt_buffer_reset(&told);
    ck_assert_int_eq(
        read_many(1000, "kind,target,tip,x,y,rotation\n", "touch,bank,t", ",1.5,2,15\n", &told),
        TIPTRUE_OK);
    ck_assert_int_eq(
        read_many(1001, "kind,target,tip,x,y,rotation\n", "touch,bank,t", ",1.5,2,15\n", &told),
        TIPTRUE_E_DATA);
    assert_told(
        &told,
        "run.csv:1002:12: error: more than 1000 tips\n  hint: is another thing in its place?\n");
    tt_buffer_reset(&told);
    ck_assert_int_eq(read_many(70000, "kind,target,x,y\n", "sight,A,1.5,", "\n", &told),
                     TIPTRUE_OK);
    tt_buffer_clear(&told);
}
END_TEST

static void add_repeated(struct tt_buffer *buffer, const char *text, int times)
{
    for (int i = 0; i < times; i++) {
        tt_buffer_puts(buffer, text);
    }
}

static enum tiptrue_status read_buffer(const struct tt_buffer *text, struct tt_buffer *told)
{
    struct tiptrue_run *run = NULL;
    const struct tiptrue_sink sink = {collect_told, told};
    enum tiptrue_status status = tt_run_read_bytes("run.csv", text->text, text->length, plate, NULL,
                                                   NULL, NULL, &sink, &run, NULL);
    tiptrue_run_free(run);
    return status;
}

START_TEST(columns_are_limited)
{
    struct tt_buffer text = {0}, told = {0};
    tt_buffer_puts(&text, "kind,target,x,y");
    add_repeated(&text, ",", 196);
    tt_buffer_puts(&text, "\nsight,A,1.5,2");
    add_repeated(&text, ",", 196);
    ck_assert_int_eq(read_buffer(&text, &told), TIPTRUE_OK);
    tt_buffer_reset(&text);
    tt_buffer_reset(&told);
    tt_buffer_puts(&text, "kind,target,x,y");
    add_repeated(&text, ",", 197);
    ck_assert_int_eq(read_buffer(&text, &told), TIPTRUE_E_DATA);
    assert_told(&told, "run.csv:1:1: error: more than 200 columns\n");
    tt_buffer_clear(&text);
    tt_buffer_clear(&told);
}
END_TEST

START_TEST(notes_are_limited)
{
    struct tt_buffer text = {0}, told = {0};
    tt_buffer_puts(&text, "# note: ");
    add_repeated(&text, "x", 65534);
    tt_buffer_puts(&text, "\n# note: y\nkind,target,x,y\nsight,A,1.5,2\n");
    ck_assert_int_eq(read_buffer(&text, &told), TIPTRUE_OK);
    assert_told(&told, "");
    tt_buffer_reset(&text);
    tt_buffer_puts(&text, "# note: ");
    add_repeated(&text, "x", 65535);
    tt_buffer_puts(&text, "\n# note: y\nkind,target,x,y\nsight,A,1.5,2\n");
    ck_assert_int_eq(read_buffer(&text, &told), TIPTRUE_E_DATA);
    assert_told(&told, "run.csv:2:3: error: the notes are longer than 65536 bytes\n  hint: keep "
                       "long texts in a file of their own\n");
    tt_buffer_clear(&text);
    tt_buffer_clear(&told);
}
END_TEST

/* A host whose locale writes a decimal comma: nothing changes. */
START_TEST(locale_does_not_matter)
{
    char folder[] = "locale-XXXXXX", command[200];
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(command, sizeof(command), "localedef -i de_DE -f UTF-8 ./%s/de_DE.UTF-8", folder);
    ck_assert_msg(system(command) == 0, "'%s' fails; it is in the package locales", command);
    ck_assert_int_eq(setenv("LOCPATH", folder, 1), 0);
    const char *locale = setlocale(LC_ALL, "de_DE.UTF-8");
    snprintf(command, sizeof(command), "rm -r ./%s", folder);
    ck_assert_int_eq(system(command), 0);
    ck_assert_ptr_nonnull(locale);
    ck_assert_double_eq(strtod("1.5", NULL), 1.0);
    for (size_t i = 0; i < sizeof(dresses) / sizeof(dresses[0]); i++) {
        struct tiptrue_run *run = read_run(dresses[i], "");
        ck_assert_double_eq(run->observations[1].h.x_mm, 156.4);
        ck_assert_double_eq(run->observations[1].h.y_mm, 58.75);
        tiptrue_run_free(run);
    }
    /* more digits than the exact path takes, in the table and in JSON */
    struct tiptrue_run *run =
        read_run("kind,target,x,y\nsight,A,1.50000000000000000000000001,2\n", "");
    ck_assert_double_eq(run->observations[0].h.x_mm, 1.5);
    tiptrue_run_free(run);
    run = read_run("{\"schema\": \"tiptrue.run/1\", \"observations\": [{\"kind\": \"sight\", "
                   "\"target\": \"A\", \"x\": 1.25,"
                   "\"y\": 2.5000000000000000000000001}]}",
                   "");
    ck_assert_double_eq(run->observations[0].h.x_mm, 1.25);
    ck_assert_double_eq(run->observations[0].h.y_mm, 2.5);
    tiptrue_run_free(run);
    setlocale(LC_ALL, "C");
    unsetenv("LOCPATH");
}
END_TEST

/* Times of day and counted seconds go by the start that the run states, in its zone, and on over
 * midnight; the second row is 95.5 s after the first in each form. */
START_TEST(times_by_the_start)
{
    static const struct {
        const char *started, *first, *second;
        double first_time_s; /* of the day 2026-03-02, UTC */
    } runs[] = {
        {"2026-03-02T09:30:00+02:00", "2026-03-02T09:30:10+02:00", "2026-03-02T07:31:45.5Z", 27010},
        {"2026-03-02T09:30:00+02:00", "09:30:10", "09:31:45.5", 27010},
        {"2026-03-02T09:30:07.25+02:00", "09:30:10", "09:31:45.5", 27010},
        {"2026-03-02T23:58:51-01:30", "23:59:01.5", "00:00:37", 91741.5},
        {"2026-03-02T23:59:59Z", "00:00:01", "00:01:36.5", 86401},
        {"2026-03-02T09:30:00+02:00", "8123.25", "8218.75", 27000},
    };
    char text[400];
    for (size_t i = 0; i < sizeof runs / sizeof runs[0]; i++) {
        snprintf(text, sizeof text,
                 "# started: %s\nkind,target,tip,x,y,rotation,time\nsight,B,,110.5,64.25,,%s\n"
                 "touch,bank,thin,156.4,58.75,15.5,%s\n",
                 runs[i].started, runs[i].first, runs[i].second);
        struct tiptrue_run *run = read_run(text, "");
        ck_assert(run->observations[0].has_time && run->observations[1].has_time);
        ck_assert_double_eq_tol(run->observations[1].time_s, 95.5, 1e-6);
        ck_assert_double_eq_tol(run->first_time_s, 1772409600.0 + runs[i].first_time_s, 1e-6);
        tiptrue_run_free(run);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/run_csv");
    TCase *tests = tcase_create("run_csv");
    tcase_set_timeout(tests, 60); /* making a locale takes seconds on a busy machine */
    tcase_add_unchecked_fixture(tests, read_plate_and_machine, free_plate_and_machine);
    tcase_add_test(tests, every_column);
    tcase_add_test(tests, real_files_differ);
    tcase_add_test(tests, metadata_are_kept);
    tcase_add_test(tests, times_by_the_start);
    tcase_add_test(tests, inches_are_converted);
    tcase_add_test(tests, setups_in_order_of_appearance);
    tcase_add_test(tests, pairs_of_touches);
    tcase_add_test(tests, printed_digits);
    tcase_add_test(tests, grid_survives_the_conversion);
    tcase_add_test(tests, names_without_plate_and_machine);
    tcase_add_test(tests, pads_need_not_be_named);
    tcase_add_test(tests, counts_are_limited);
    tcase_add_test(tests, columns_are_limited);
    tcase_add_test(tests, notes_are_limited);
    tcase_add_test(tests, locale_does_not_matter);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
