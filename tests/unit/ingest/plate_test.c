/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a plate file means: every number of it, in both units; the normal of an edge and its
 * distance. Its faults: messages_test. */
#include "config.h"

#include <math.h>

#include "collect.h"
#include "ingest/ingest.h"

#define TOLERANCE_MM 1e-12

static struct tiptrue_plate *read_plate(const char *text)
{
    struct tiptrue_plate *plate = NULL;
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    ck_assert_int_eq(tt_plate_read_bytes("plate.json", text, strlen(text), &sink, &plate, NULL),
                     TIPTRUE_OK);
    assert_told(&told, "");
    tt_buffer_clear(&told);
    return plate;
}

START_TEST(every_field)
{
    char *text = source_text("tests/data/ingest/plate.json");
    struct tiptrue_plate *plate = read_plate(text);
    ck_assert_str_eq(plate->file, "plate.json");
    ck_assert_str_eq(plate->name, "ford plate");
    ck_assert_str_eq(plate->serial, "F-12");
    ck_assert_uint_eq(plate->n_marks, 2);
    ck_assert_uint_eq(plate->reference, 0);
    ck_assert_str_eq(plate->marks[1].name, "B");
    ck_assert_double_eq(plate->marks[1].at.x_mm, 47.5);
    ck_assert_double_eq(plate->marks[1].at.y_mm, 12.25);
    ck_assert_double_eq(plate->marks[1].u_mm, 0.012);
    ck_assert_double_eq(plate->marks[0].u_mm, 0.0);
    ck_assert_uint_eq(plate->marks[1].group, TT_NONE);
    ck_assert_uint_eq(plate->n_groups, 1);
    ck_assert_str_eq(plate->groups[0].name, "milled");
    ck_assert_double_eq(plate->groups[0].u_mm, 0.021);
    ck_assert_uint_eq(plate->n_edges, 2);
    const struct tt_edge *bank = &plate->edges[0], *weir = &plate->edges[1];
    ck_assert_str_eq(bank->name, "bank");
    ck_assert_double_eq(bank->from.y_mm, 3.0);
    ck_assert_double_eq(bank->to.x_mm, 11.0);
    ck_assert_int_eq(bank->free_side, TT_LEFT);
    ck_assert_double_eq(bank->u_mm, 0.007);
    ck_assert_uint_eq(bank->group, 0);
    ck_assert_int_eq(weir->free_side, TT_RIGHT);
    ck_assert_uint_eq(weir->group, TT_NONE);
    ck_assert_double_eq_tol(weir->u_mm, 0.03 / sqrt(3.0), TOLERANCE_MM);
    ck_assert_uint_eq(plate->n_pads, 1);
    ck_assert_str_eq(plate->pads[0].name, "ledge");
    ck_assert(plate->has_expansion);
    ck_assert_double_eq_tol(plate->expansion_per_K, 15.5e-6, 1e-18);
    ck_assert_double_eq(plate->measured_at_C, 21.5);
    tiptrue_plate_free(plate);
    free(text);
}
END_TEST

/* By hand: from (8, 3) along (3, 4)/5 the left side is (-4, 3)/5; from (20, -6) along (6, -8)/10
 * the right side is (-8, -6)/10. */
START_TEST(normals_point_to_the_free_side)
{
    char *text = source_text("tests/data/ingest/plate.json");
    struct tiptrue_plate *plate = read_plate(text);
    const struct tt_edge *bank = &plate->edges[0], *weir = &plate->edges[1];
    ck_assert_double_eq_tol(bank->n_x, -0.8, 1e-15);
    ck_assert_double_eq_tol(bank->n_y, 0.6, 1e-15);
    ck_assert_double_eq_tol(bank->d_mm, -0.8 * 8.0 + 0.6 * 3.0, TOLERANCE_MM);
    ck_assert_double_eq_tol(weir->n_x, -0.8, 1e-15);
    ck_assert_double_eq_tol(weir->n_y, -0.6, 1e-15);
    ck_assert_double_eq_tol(weir->d_mm, -0.8 * 20.0 + 0.6 * 6.0, TOLERANCE_MM);
    for (size_t i = 0; i < plate->n_edges; i++) {
        const struct tt_edge *edge = &plate->edges[i];
        ck_assert_double_eq_tol(edge->n_x * edge->to.x_mm + edge->n_y * edge->to.y_mm, edge->d_mm,
                                TOLERANCE_MM);
    }
    tiptrue_plate_free(plate);
    free(text);
}
END_TEST

START_TEST(little_is_enough)
{
    struct tiptrue_plate *plate = read_plate(
        "{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"M\", \"note\": \"n\","
        "\"marks\": [{\"name\": \"N\", \"at\": [7, 5]}, {\"name\": \"M\", \"at\": [0, -0.0]}], "
        "\"edges\": []}");
    ck_assert_ptr_null(plate->serial);
    ck_assert_uint_eq(plate->reference, 1);
    ck_assert_uint_eq(plate->n_edges, 0);
    ck_assert_uint_eq(plate->n_groups, 0);
    ck_assert(!plate->has_expansion);
    ck_assert_double_eq(plate->measured_at_C, 20.0);
    tiptrue_plate_free(plate);
    tiptrue_plate_free(NULL);
}
END_TEST

START_TEST(inches_are_converted)
{
    struct tiptrue_plate *plate =
        read_plate("{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"M\", "
                   "\"units\": \"inch\","
                   "\"marks\": [{\"name\": \"M\", \"at\": [0, 0]}, {\"name\": \"N\", \"at\": [1.5, "
                   "-0.25], \"u\": 0.001}],"
                   "\"groups\": [{\"name\": \"g\", \"tolerance\": 0.004}],"
                   "\"edges\": [{\"name\": \"e\", \"from\": [0.5, 0.1], \"to\": [0.5, 0.7], "
                   "\"free_side\": \"right\", \"u\": "
                   "0.0002, \"group\": \"g\"}],"
                   "\"expansion_ppm_per_K\": 14}");
    ck_assert_double_eq_tol(plate->marks[1].at.x_mm, 38.1, TOLERANCE_MM);
    ck_assert_double_eq_tol(plate->marks[1].at.y_mm, -6.35, TOLERANCE_MM);
    ck_assert_double_eq_tol(plate->marks[1].u_mm, 0.0254, TOLERANCE_MM);
    ck_assert_double_eq_tol(plate->groups[0].u_mm, 0.1016 / sqrt(3.0), TOLERANCE_MM);
    ck_assert_double_eq_tol(plate->edges[0].d_mm, 12.7, TOLERANCE_MM);
    ck_assert_double_eq_tol(plate->edges[0].n_x, 1.0, 1e-15);
    ck_assert_double_eq_tol(plate->edges[0].u_mm, 0.00508, TOLERANCE_MM);
    ck_assert_double_eq_tol(plate->expansion_per_K, 14e-6, 1e-18);
    tiptrue_plate_free(plate);
}
END_TEST

/* A group whose members cannot have moved together is none. */
START_TEST(a_group_without_shift_has_no_members)
{
    struct tiptrue_plate *plate =
        read_plate("{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"M\", "
                   "\"marks\": [{\"name\": \"M\", \"at\": [0, 0]}],"
                   "\"groups\": [{\"name\": \"fixed\", \"u\": 0}, {\"name\": \"loose\", \"u\": "
                   "0.02}], \"edges\": ["
                   "{\"name\": \"e\", \"from\": [5, 1], \"to\": [5, 7], \"free_side\": \"left\", "
                   "\"group\": \"fixed\"},"
                   "{\"name\": \"f\", \"from\": [9, 1], \"to\": [9, 7], \"free_side\": \"left\", "
                   "\"group\": \"loose\"}]}");
    ck_assert_uint_eq(plate->edges[0].group, TT_NONE);
    ck_assert_uint_eq(plate->edges[1].group, 1);
    tiptrue_plate_free(plate);
}
END_TEST

/* Both sides of the limits: coordinates of 100 m, edges of a nanometre. */
START_TEST(limits)
{
    static const char form[] =
        "{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"M\", \"marks\": "
        "[{\"name\": \"M\", \"at\": [0, 0]}],"
        "\"edges\": [{\"name\": \"e\", \"from\": [5, 1], \"to\": [%s], \"free_side\": \"left\"}]}";
    static const struct {
        const char *to;
        enum tiptrue_status status;
    } table[] = {
        {"5, 100000", TIPTRUE_OK},    {"5, 100000.1", TIPTRUE_E_DATA},
        {"-100000, 7", TIPTRUE_OK},   {"-100001, 7", TIPTRUE_E_DATA},
        {"5, 1.0000011", TIPTRUE_OK}, {"5, 1.0000009", TIPTRUE_E_DATA},
        {"5, 1", TIPTRUE_E_DATA},
    };
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        char text[400];
        struct tiptrue_plate *plate = NULL;
        snprintf(text, sizeof(text), form, table[i].to);
        ck_assert_int_eq(tt_plate_read_bytes("p", text, strlen(text), NULL, &plate, NULL),
                         table[i].status);
        ck_assert((plate != NULL) == (table[i].status == TIPTRUE_OK));
        tiptrue_plate_free(plate);
    }
}
END_TEST

START_TEST(reads_a_file)
{
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_error error = {0};
    char *path = source_path("tests/data/ingest/plate.json");
    ck_assert_int_eq(tiptrue_plate_read(path, NULL, &plate, &error), TIPTRUE_OK);
    ck_assert_str_eq(plate->file, path);
    tiptrue_plate_free(plate);
    plate = NULL;
    ck_assert_int_eq(tiptrue_plate_read("no-such-plate.json", NULL, &plate, &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_ptr_null(plate);
    ck_assert_str_eq(error.file, "no-such-plate.json");
    free(path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/plate");
    TCase *tests = tcase_create("plate");
    tcase_add_test(tests, every_field);
    tcase_add_test(tests, normals_point_to_the_free_side);
    tcase_add_test(tests, little_is_enough);
    tcase_add_test(tests, inches_are_converted);
    tcase_add_test(tests, a_group_without_shift_has_no_members);
    tcase_add_test(tests, limits);
    tcase_add_test(tests, reads_a_file);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
