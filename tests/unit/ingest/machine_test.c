/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a machine file means: every number of it, in both units, and what is not stated. Its faults:
 * messages_test. */
#include "config.h"

#include <math.h>

#include "collect.h"
#include "ingest/ingest.h"

#define TOLERANCE 1e-12

static struct tiptrue_machine *read_machine(const char *text)
{
    struct tiptrue_machine *machine = NULL;
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    ck_assert_int_eq(
        tt_machine_read_bytes("machine.json", text, strlen(text), &sink, &machine, NULL),
        TIPTRUE_OK);
    assert_told(&told, "");
    tt_buffer_clear(&told);
    return machine;
}

START_TEST(every_field)
{
    char *text = source_text("tests/data/ingest/machine.json");
    struct tiptrue_machine *machine = read_machine(text);
    ck_assert_str_eq(machine->file, "machine.json");
    ck_assert_str_eq(machine->name, "bench-7");
    ck_assert(machine->clockwise);
    ck_assert_double_eq_tol(machine->u_rotation_rad, 0.2 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq(machine->resolution_mm, 0.004);
    ck_assert(machine->has_u_sighting && machine->has_u_touch);
    ck_assert_double_eq(machine->u_sighting_mm, 0.005);
    ck_assert_double_eq(machine->u_touch_mm, 0.006);
    ck_assert(machine->has_yaw);
    ck_assert_double_eq_tol(machine->yaw_rad, 31.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq_tol(machine->u_yaw_rad, 1.5 * TT_PI / 180.0, TOLERANCE);
    ck_assert(machine->has_mark && machine->has_u_mark);
    ck_assert_double_eq(machine->mark.x_mm, 110.5);
    ck_assert_double_eq(machine->mark.y_mm, 64.25);
    ck_assert_double_eq(machine->u_mark_mm, 0.15);
    ck_assert_uint_eq(machine->n_tips, 2);
    const struct tt_tip *thin = &machine->tips[0], *wide = &machine->tips[1];
    ck_assert_str_eq(thin->name, "thin");
    ck_assert(thin->has_radius && thin->has_offset && thin->has_runout);
    ck_assert_double_eq(thin->radius_mm, 0.31);
    ck_assert_double_eq(thin->u_radius_mm, 0.02);
    ck_assert_double_eq(thin->offset.x_mm, -37.4);
    ck_assert_double_eq(thin->offset.y_mm, 11.6);
    ck_assert_str_eq(thin->offset_plate, "F-12");
    ck_assert_double_eq(thin->runout.x_mm, 0.012);
    ck_assert_double_eq(thin->runout.y_mm, -0.034);
    ck_assert_str_eq(wide->name, "wide");
    ck_assert(!wide->has_radius && !wide->has_offset && !wide->has_runout);
    ck_assert_ptr_null(wide->offset_plate);
    ck_assert(machine->limits.has_permitted_error && machine->limits.has_expanded &&
              machine->limits.has_runout);
    ck_assert_double_eq(machine->limits.permitted_error_mm, 0.035);
    ck_assert_double_eq(machine->limits.expanded_mm, 0.022);
    ck_assert_double_eq(machine->limits.runout_mm, 0.055);
    ck_assert_uint_eq(machine->n_exports, 2);
    const struct tt_export_target *first = &machine->exports[0], *second = &machine->exports[1];
    ck_assert_ptr_null(first->file);
    ck_assert_uint_eq(first->n_puts, 2);
    ck_assert_str_eq(first->puts[0], "thin.offset.x=/x");
    ck_assert_str_eq(first->puts[1], "thin.offset.y:minus=~y=(.*)");
    ck_assert(first->has_max_age && first->has_max_change && !second->has_max_age &&
              !second->has_max_change);
    ck_assert_double_eq(first->max_age_s, 27000.0);
    ck_assert_double_eq(first->max_change_mm, 0.15);
    ck_assert_str_eq(second->file, "sub/b.xml");
    ck_assert_uint_eq(second->n_puts, 0);
    tiptrue_machine_free(machine);
    free(text);
}
END_TEST

START_TEST(schema_and_name_are_enough)
{
    struct tiptrue_machine *machine =
        read_machine("{\"schema\": \"tiptrue.machine/1\", \"name\": \"m\", \"yaw\": null}");
    ck_assert(!machine->clockwise);
    ck_assert(!machine->has_u_sighting && !machine->has_u_touch && !machine->has_yaw &&
              !machine->has_mark && !machine->has_u_mark);
    ck_assert_double_eq(machine->u_rotation_rad, 0.0);
    ck_assert_double_eq(machine->resolution_mm, 0.0);
    ck_assert_uint_eq(machine->n_tips, 0);
    ck_assert(!machine->limits.has_permitted_error && !machine->limits.has_expanded &&
              !machine->limits.has_runout);
    tiptrue_machine_free(machine);
    tiptrue_machine_free(NULL);
}
END_TEST

START_TEST(inches_are_converted_and_angles_are_not)
{
    struct tiptrue_machine *machine =
        read_machine("{\"schema\": \"tiptrue.machine/1\", \"name\": \"m\", \"units\": \"inch\", "
                     "\"resolution\": 0.0001, \"rotation\": "
                     "{\"u_deg\": 0.5},"
                     "\"sighting\": {\"tolerance\": 0.0003}, \"touch\": {\"u\": 0.0002}, \"mark\": "
                     "{\"at\": [4, -2], \"tolerance\": 0.006},"
                     "\"yaw\": {\"value_deg\": -7, \"u_deg\": 2}, \"tips\": [{\"name\": \"t\", "
                     "\"radius\": 0.01, \"radius_u\": 0.001, "
                     "\"offset\": [-1.5, 0.5],"
                     "\"runout\": [0.001, 0.002]}], \"limits\": {\"permitted_error\": 0.001, "
                     "\"expanded_uncertainty\": 0.002, \"runout\": "
                     "0.003}}");
    ck_assert_double_eq_tol(machine->resolution_mm, 0.00254, TOLERANCE);
    ck_assert_double_eq_tol(machine->u_sighting_mm, 0.00762 / sqrt(3.0), TOLERANCE);
    ck_assert_double_eq_tol(machine->u_touch_mm, 0.00508, TOLERANCE);
    ck_assert_double_eq_tol(machine->mark.x_mm, 101.6, TOLERANCE);
    ck_assert_double_eq_tol(machine->mark.y_mm, -50.8, TOLERANCE);
    ck_assert_double_eq_tol(machine->u_mark_mm, 0.1524 / sqrt(3.0), TOLERANCE);
    ck_assert_double_eq_tol(machine->yaw_rad, -7.0 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq_tol(machine->u_rotation_rad, 0.5 * TT_PI / 180.0, TOLERANCE);
    ck_assert_double_eq_tol(machine->tips[0].radius_mm, 0.254, TOLERANCE);
    ck_assert_double_eq_tol(machine->tips[0].u_radius_mm, 0.0254, TOLERANCE);
    ck_assert_double_eq_tol(machine->tips[0].offset.x_mm, -38.1, TOLERANCE);
    ck_assert_double_eq_tol(machine->tips[0].offset.y_mm, 12.7, TOLERANCE);
    ck_assert_double_eq_tol(machine->tips[0].runout.y_mm, 0.0508, TOLERANCE);
    ck_assert_double_eq_tol(machine->limits.permitted_error_mm, 0.0254, TOLERANCE);
    ck_assert_double_eq_tol(machine->limits.expanded_mm, 0.0508, TOLERANCE);
    ck_assert_double_eq_tol(machine->limits.runout_mm, 0.0762, TOLERANCE);
    tiptrue_machine_free(machine);
}
END_TEST

/* 2026-11-26: a machine in inches could not state rotation limits of more than 3937 degrees: they
 * were read as lengths, times 25.4, and refused as places beyond 100 m. */
START_TEST(rotation_limits_are_degrees)
{
    struct tiptrue_machine *machine = read_machine(
        "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-7\", \"units\": \"inch\", "
        "\"motion\": {\"limits\": {\"x\": [1.5, 12], \"rotation\": [-4000, 4123.5]}}}");
    ck_assert(machine->motion.rotation_rad.stated);
    ck_assert_double_eq_tol(machine->motion.rotation_rad.low, -4000 * TT_PI / 180, TOLERANCE);
    ck_assert_double_eq_tol(machine->motion.rotation_rad.high, 4123.5 * TT_PI / 180, TOLERANCE);
    ck_assert_double_eq_tol(machine->motion.x_mm.low, 38.1, TOLERANCE);
    tiptrue_machine_free(machine);
}
END_TEST

START_TEST(reads_a_file)
{
    struct tiptrue_machine *machine = NULL;
    char *path = source_path("tests/data/ingest/machine.json");
    ck_assert_int_eq(tiptrue_machine_read(path, NULL, &machine, NULL), TIPTRUE_OK);
    ck_assert_str_eq(machine->file, path);
    tiptrue_machine_free(machine);
    machine = NULL;
    ck_assert_int_eq(tiptrue_machine_read(".", NULL, &machine, NULL), TIPTRUE_E_NO_INPUT);
    ck_assert_ptr_null(machine);
    free(path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/machine");
    TCase *tests = tcase_create("machine");
    tcase_add_test(tests, every_field);
    tcase_add_test(tests, schema_and_name_are_enough);
    tcase_add_test(tests, inches_are_converted_and_angles_are_not);
    tcase_add_test(tests, rotation_limits_are_degrees);
    tcase_add_test(tests, reads_a_file);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
