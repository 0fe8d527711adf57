/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Fields: what they name, the sign, axis, unit and rounding of what is written, and the way back.
 * Expected digits were worked out by hand (bc), none by the code. */
#include "config.h"

#include "export/field.h"
#include "export/field_value.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct tt_tip_result tips[2];
static struct tiptrue_solution solution;

static void setup(void)
{
    memset(tips, 0, sizeof(tips));
    tips[0] = (struct tt_tip_result){
        .name = "a.b",
        .offset_determined_x = true,
        .offset_determined_y = true,
        .offset = {-41.30125, 12.70345},
        .cov = {4.41e-4, 1e-5, 2.25e-4},
        .expanded_x_mm = 0.0424,
        .expanded_y_mm = 0.0303,
        .runout_determined = true,
        .runout = {0.031, -0.018},
        .eccentricity_mm = 0.03584689665787,
        .radius_determined = true,
        .contact_radius_mm = 0.2487,
    };
    tips[1] =
        (struct tt_tip_result){.name = "t2", .offset_determined_y = true, .offset = {0.0, 7.25}};
    solution = (struct tiptrue_solution){.tips = tips, .n_tips = 2};
}

static struct tt_export_field read_field(const char *text)
{
    struct tt_export_field field;
    struct tiptrue_error error = {0};
    ck_assert_msg(tt_export_field_read(text, strlen(text), false, &field, &error) == TIPTRUE_OK,
                  "'%s': %s", text, error.text);
    return field;
}

/* The field's number, written. */
static void assert_written(const char *text, bool clockwise, const char *expected)
{
    struct tt_export_field field = read_field(text);
    struct tiptrue_error error = {0};
    struct tt_buffer to = {0};
    double value_mm = NAN;
    const struct tt_tip_result *tip = tt_export_field_tip(&field, &solution, &error);
    ck_assert_msg(tip != NULL, "'%s': %s", text, error.text);
    solution.rotation_sense = clockwise ? "cw" : "ccw";
    ck_assert_int_eq(tt_export_value(&solution, &field, tip, field.rotation_deg, &value_mm, &error),
                     TIPTRUE_OK);
    tt_export_field_write(&field, value_mm, &to);
    ck_assert_msg(strcmp(to.text, expected) == 0, "'%s' is written '%s', not '%s'", text, to.text,
                  expected);
    double back_mm = tt_export_field_back(&field, strtod(to.text, NULL));
    double last_mm = pow(10.0, -field.decimals) * (field.unit == TT_INCH ? 25.4
                                                   : field.unit == TT_UM ? 1e-3
                                                                         : 1.0);
    ck_assert_double_le(fabs(back_mm - value_mm), 0.5000001 * last_mm);
    tt_buffer_clear(&to);
}

/* The height that a field means, written. */
static void assert_height(const char *text, const char *expected)
{
    static struct tt_height_result first = {.determined = true, .value_mm = -20.70295},
                                   second = {.determined = true, .value_mm = -19.54513};
    struct tt_export_field field = read_field(text);
    struct tiptrue_error error = {0};
    struct tt_buffer to = {0};
    double value_mm = NAN;
    tips[0].height = &first;
    tips[1].height = &second;
    const struct tt_tip_result *tip = tt_export_field_tip(&field, &solution, &error);
    ck_assert_msg(tip != NULL, "'%s': %s", text, error.text);
    ck_assert_int_eq(tt_export_value(&solution, &field, tip, 0, &value_mm, &error), TIPTRUE_OK);
    tt_export_field_write(&field, value_mm, &to);
    ck_assert_str_eq(to.text, expected);
    tt_buffer_clear(&to);
}

START_TEST(heights)
{
    assert_height("a.b.height", "-20.7030"); /* -20.70295 as a double lies beyond the tie */
    assert_height("a.b.height:minus:.2", "20.70");
    assert_height("t2.height:inch", "-0.76949");
    assert_height("t2.height-over.a.b:um", "1157.8");
    assert_height("a.b.height-over.t2:inch:.6", "-0.045583");
}
END_TEST

START_TEST(heights_that_are_not_there)
{
    struct tt_export_field field = read_field("a.b.height-over.t3");
    struct tiptrue_error error = {0};
    double value_mm = 7;
    ck_assert_int_eq(tt_export_value(&solution, &field, &tips[0], 0, &value_mm, &error),
                     TIPTRUE_E_DATA);
    ck_assert_ptr_nonnull(strstr(error.text, "no tip 't3'"));
    field = read_field("t2.height");
    error = (struct tiptrue_error){0};
    ck_assert_int_eq(tt_export_value(&solution, &field, &tips[1], 0, &value_mm, &error),
                     TIPTRUE_E_DATA);
    ck_assert_ptr_nonnull(strstr(error.text, "the run does not determine it"));
    ck_assert_double_eq(value_mm, 7);
    static const char *const wrong[] = {"height", ".height-over.a", "a.height-over.", "a.height@30",
                                        "a.height-ove.b"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        ck_assert_msg(tt_export_field_read(wrong[i], strlen(wrong[i]), false, &field, NULL) ==
                          TIPTRUE_E_USAGE,
                      "'%s'", wrong[i]);
    }
}
END_TEST

/* The machine's number that a field means, written, and read back. */
static void assert_machine(const char *text, const char *expected)
{
    struct tt_export_field field = read_field(text);
    struct tiptrue_error error = {0};
    struct tt_buffer to = {0};
    double value = NAN;
    ck_assert(tt_export_field_is_machine(&field));
    ck_assert_int_eq(tt_export_value(&solution, &field, NULL, 0, &value, &error), TIPTRUE_OK);
    tt_export_field_write(&field, value, &to);
    ck_assert_str_eq(to.text, expected);
    double back = tt_export_field_back(&field, strtod(to.text, NULL));
    ck_assert_double_eq_tol(back / value, 1, 1e-4);
    tt_buffer_clear(&to);
}

static void set_machine(void)
{
    solution.camera = (struct tt_camera_result){.views = 9,
                                                .determined = true,
                                                .scale_x_mm = 0.0173,
                                                .scale_y_mm = 0.0169,
                                                .turn_rad = -0.0651305};
    solution.axes = (struct tt_axes_result){
        .found = true, .scale_x = 6.1e-4, .scale_y = -3.7e-4, .square_rad = -8.3e-4};
}

START_TEST(camera_and_axes)
{
    set_machine();
    assert_machine("camera.scale.x", "0.0173000");
    assert_machine("camera.scale.y:um:.3", "16.900");
    assert_machine("camera.scale.y:inch", "0.000665354");
    assert_machine("camera.scale.x:per-mm", "57.8035");
    assert_machine("camera.scale.y:per-mm:minus:.2", "-59.17");
    assert_machine("camera.turn", "-3.7317");
    assert_machine("camera.turn:minus:.3", "3.732");
    assert_machine("axes.scale.x", "0.9993904"); /* 100 mm are truly 100.061 mm: fewer steps */
    assert_machine("axes.scale.y", "1.0003701");
    assert_machine("axes.square", "-0.8300");
    assert_machine("axes.square:per-mm", "-0.0008300");
    assert_machine("axes.square:minus:.2", "0.83");
}
END_TEST

/* What the run was made with is not replaced by what comes on top of it, but for a number that says
 * nothing: one of scales, none of squareness, to a hundredth of a millionth. */
START_TEST(axes_that_stand)
{
    const struct tt_export_field scale = read_field("axes.scale.y"),
                                 square = read_field("axes.square"),
                                 turn = read_field("camera.turn");
    ck_assert_ptr_nonnull(strstr(tt_machine_field_stands(&scale, 1.0007, 1.0003), "multiplied"));
    ck_assert_ptr_nonnull(tt_machine_field_stands(&scale, 1 - 1.004e-8, 1.0003));
    ck_assert_ptr_null(tt_machine_field_stands(&scale, 1 - 0.996e-8, 1.0003));
    ck_assert_ptr_null(tt_machine_field_stands(&scale, 0.996e-8, 1.0003));
    ck_assert_ptr_nonnull(tt_machine_field_stands(&scale, 1.0007, 1.0007 + 1.004e-8));
    ck_assert_ptr_null(tt_machine_field_stands(&scale, 1.0007, 1.0007 - 0.996e-8));
    ck_assert_ptr_nonnull(strstr(tt_machine_field_stands(&square, 0.41, 0.37), "added"));
    ck_assert_ptr_nonnull(tt_machine_field_stands(&square, -1.004e-8, 0.37));
    ck_assert_ptr_null(tt_machine_field_stands(&square, -0.996e-8, 0.37));
    ck_assert_ptr_null(tt_machine_field_stands(&turn, 0.41, 0.37));
}
END_TEST

START_TEST(camera_and_axes_that_are_not_there)
{
    static const char *const fields[] = {"camera.scale.x", "camera.turn", "axes.scale.y",
                                         "axes.square"};
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        struct tt_export_field field = read_field(fields[i]);
        struct tiptrue_error error = {0};
        double value = 7;
        ck_assert_int_eq(tt_export_value(&solution, &field, NULL, 0, &value, &error),
                         TIPTRUE_E_DATA);
        ck_assert_double_eq(value, 7);
    }
    set_machine();
    solution.camera.mirrored = true;
    struct tt_export_field turn = read_field("camera.turn");
    double value = 7;
    ck_assert_int_eq(tt_export_value(&solution, &turn, NULL, 0, &value, NULL), TIPTRUE_E_DATA);
    /* a tip may be called so */
    struct tt_export_field field = read_field("camera.offset.x");
    ck_assert(!tt_export_field_is_machine(&field));
    ck_assert_uint_eq(field.tip_length, 6);
}
END_TEST

/* A height goes by its own verdict, all else by the offset's, a difference by the worse one. */
START_TEST(verdicts)
{
    struct tt_height_result first = {.has_verdict = true, .verdict = TIPTRUE_KEEP},
                            second = {.has_verdict = true, .verdict = TIPTRUE_REPEAT};
    static const struct {
        const char *field;
        enum tiptrue_verdict verdict;
    } OF[] = {{"a.b.offset.x", TIPTRUE_UPDATE},
              {"a.b.height", TIPTRUE_KEEP},
              {"t2.height", TIPTRUE_REPEAT},
              {"a.b.height-over.t2", TIPTRUE_REPEAT}};
    tips[0].height = &first;
    tips[0].offset_verdict = TIPTRUE_UPDATE;
    tips[1].height = &second;
    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        struct tt_export_field field = read_field(OF[i].field);
        const struct tt_tip_result *tip = tt_export_field_tip(&field, &solution, NULL);
        ck_assert_int_eq(tt_export_field_verdict(&solution, &field, tip), OF[i].verdict);
    }
    second.has_verdict = false; /* nothing is stated of it, and nothing speaks against it */
    struct tt_export_field field = read_field("t2.height");
    ck_assert_int_eq(tt_export_field_verdict(&solution, &field, &tips[1]), TIPTRUE_UPDATE);
}
END_TEST

START_TEST(quantities)
{
    assert_written("a.b.offset.x", false,
                   "-41.3013"); /* -41.30125 as a double lies beyond the tie */
    assert_written("a.b.offset.y", false, "12.7035");
    assert_written("a.b.offset.x:.2", false, "-41.30");
    assert_written("a.b.runout.x", false, "0.0310");
    assert_written("a.b.runout.y", false, "-0.0180");
    assert_written("a.b.eccentricity:um", false, "35.8");
    assert_written("a.b.radius:.3", false, "0.249");
    assert_written("a.b.u.x", false, "0.0210");
    assert_written("a.b.u.y", false, "0.0150");
    assert_written("a.b.expanded.x", false, "0.0424");
    assert_written("a.b.expanded.y", false, "0.0303");
    assert_written("t2.offset.y:.0", false, "7");
}
END_TEST

START_TEST(signs_and_units)
{
    assert_written("a.b.offset.x:minus", false, "41.3013");
    assert_written("a.b.offset.y:minus:.1", false, "-12.7");
    assert_written("a.b.offset.x:inch", false, "-1.62603"); /* -41.30125 / 25.4 = -1.626033... */
    assert_written("a.b.offset.y:minus:inch:.5", false,
                   "-0.50014"); /* 12.70345 / 25.4 = 0.500135...*/
    assert_written("a.b.offset.y:um", false, "12703.5");
    assert_written("a.b.offset.y:.6:um:minus", false, "-12703.450000");
    assert_written("a.b.runout.y:minus:um:.0", false, "18");
}
END_TEST

/* R(theta) e for theta = 37.4 and -128.5 degrees (cos 0.794414, sin 0.607376; cos -0.622515, sin
 * -0.782608): counter-clockwise (0.035560, 0.004529) and (-0.033385, -0.013056); clockwise the two
 * rotations change their signs. */
START_TEST(at_a_rotation)
{
    assert_written("a.b.runout.x@37.4:.6", false, "0.035560");
    assert_written("a.b.runout.y@37.4:.6", false, "0.004529");
    assert_written("a.b.runout.x@-128.5:.6", false, "-0.033385");
    assert_written("a.b.runout.y@-128.5:.6", false, "-0.013056");
    assert_written("a.b.runout.x@37.4:.6", true, "0.013694");
    assert_written("a.b.runout.y@37.4:.6", true, "-0.033128");
    assert_written("a.b.offset.x@37.4:.5", false, "-41.26569");
    assert_written("a.b.offset.y@37.4:.5", false, "12.70798");
    assert_written("a.b.offset.x@37.4:.5", true, "-41.28756");
    assert_written("a.b.offset.y@37.4:.5:minus", true, "-12.67032");
    assert_written("a.b.offset.x@397.4:.5", false, "-41.26569");
    assert_written("a.b.offset.x@-3562.6:.5", false, "-41.26569"); /* ten turns are allowed */
}
END_TEST

/* Half away from zero; and nothing is ever minus nothing. */
START_TEST(rounding)
{
    tips[0].offset = (struct tt_machine_xy){0.0625, -0.0625};
    assert_written("a.b.offset.x:.3", false, "0.063");
    assert_written("a.b.offset.y:.3", false, "-0.063");
    assert_written("a.b.offset.x:.3:minus", false, "-0.063");
    tips[0].offset = (struct tt_machine_xy){-0.00004, 0.00004};
    assert_written("a.b.offset.x", false, "0.0000");
    assert_written("a.b.offset.y:minus", false, "0.0000");
}
END_TEST

START_TEST(what_is_no_field)
{
    static const char *const texts[] = {
        "",
        ".",
        "t.",
        "offset.x",
        ".offset.x",
        "t.offset",
        "t.offset.x:",
        "t.offset.x::mm",
        "t.offset.x:.",
        "t.offset.x:.x",
        "t.offset.x:.12",
        "t.offset.x:4",
        "t.offset.x:MM",
        "t.offset.x:mm:mm",
        "t.offset.x:um:inch",
        "t.offset.x:minus:minus",
        "t.offset.x:.1:.1",
        "t.offset.x@",
        "t.offset.x@x",
        "t.offset.x@9999",
        "t.offset.x@-3601.5",
        "t.radius@90",
        "t.u.x@90",
        "*.offset.x",
        "t.offset.x@*",
        "t.Offset.x",
        "t.offset.x ",
        "t. offset.x",
    };
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        struct tt_export_field field = {.decimals = 77};
        struct tiptrue_error error = {0};
        ck_assert_msg(tt_export_field_read(texts[i], strlen(texts[i]), false, &field, &error) ==
                          TIPTRUE_E_USAGE,
                      "'%s' is taken", texts[i]);
        ck_assert_int_eq(field.decimals, 77);
        ck_assert_ptr_nonnull(strstr(error.text, "field '"));
        ck_assert_ptr_nonnull(strstr(error.hint, "TIP.QUANTITY"));
    }
}
END_TEST

START_TEST(for_each)
{
    struct tt_export_field field;
    ck_assert_int_eq(tt_export_field_read("*.offset.x@*:.3", 15, true, &field, NULL), TIPTRUE_OK);
    ck_assert(field.each_rotation && field.has_rotation && field.tip_length == 1);
    ck_assert_int_eq(field.decimals, 3);
    ck_assert_int_eq(tt_export_field_read("t@5.radius", 10, false, &field, NULL), TIPTRUE_OK);
    ck_assert(!field.has_rotation && field.tip_length == 3);
    /* what stands behind the field is no part of it */
    ck_assert_int_eq(tt_export_field_read("t.offset.x:um:inch", 13, false, &field, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(field.unit, TT_UM);
    ck_assert_int_eq(tt_export_field_read("t.offset.x:um:", 13, false, &field, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_export_field_read("t.offset.x:minus", 10, false, &field, NULL), TIPTRUE_OK);
    ck_assert(!field.minus && field.length == 10);
    /* ten turns */
    ck_assert_int_eq(tt_export_field_read("t.offset.x@-3600", 16, false, &field, NULL), TIPTRUE_OK);
    ck_assert_double_eq(field.rotation_deg, -3600);
    ck_assert_int_eq(tt_export_field_read("t.offset.x@3600.1", 17, false, &field, NULL),
                     TIPTRUE_E_USAGE);
    ck_assert_int_eq(tt_export_field_read("t.offset.x@-3600.1", 18, false, &field, NULL),
                     TIPTRUE_E_USAGE);
}
END_TEST

START_TEST(what_is_not_determined)
{
    static const char *const texts[] = {"t2.offset.x",     "t2.u.x",        "t2.expanded.x",
                                        "t2.runout.x",     "t2.runout.y",   "t2.radius",
                                        "t2.eccentricity", "t2.offset.y@37"};
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        struct tt_export_field field = read_field(texts[i]);
        struct tiptrue_error error = {0};
        double value_mm = 0.77;
        solution.rotation_sense = "ccw";
        ck_assert_int_eq(tt_export_value(&solution, &field, &tips[1], 37.0, &value_mm, &error),
                         TIPTRUE_E_DATA);
        ck_assert_double_eq(value_mm, 0.77);
        ck_assert_ptr_nonnull(strstr(error.text, "does not determine"));
    }
    struct tt_export_field field = read_field("t3.radius");
    struct tiptrue_error error = {0};
    ck_assert_ptr_null(tt_export_field_tip(&field, &solution, &error));
    ck_assert_int_eq(error.status, TIPTRUE_E_DATA);
    ck_assert_str_eq(error.hint, "tips of the result: 'a.b' 't2'");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/field");
    TCase *tcase = tcase_create("field");
    tcase_add_checked_fixture(tcase, setup, NULL);
    tcase_add_test(tcase, quantities);
    tcase_add_test(tcase, heights);
    tcase_add_test(tcase, heights_that_are_not_there);
    tcase_add_test(tcase, camera_and_axes);
    tcase_add_test(tcase, axes_that_stand);
    tcase_add_test(tcase, camera_and_axes_that_are_not_there);
    tcase_add_test(tcase, verdicts);
    tcase_add_test(tcase, signs_and_units);
    tcase_add_test(tcase, at_a_rotation);
    tcase_add_test(tcase, rounding);
    tcase_add_test(tcase, what_is_no_field);
    tcase_add_test(tcase, for_each);
    tcase_add_test(tcase, what_is_not_determined);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
