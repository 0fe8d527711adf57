/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Cells of a table: separators, quotation marks, line ends, blanks; and where each cell stands. */
#include "config.h"

#include "ingest/table.h"

#include "collect.h"

#define MOST 8

/* The whole table as text: cells between '[' and ']', '<line>' before each row, "#" before a
 * remark, "!" for a fault. */
static void show(const char *text, struct tt_buffer *shown)
{
    static const unsigned char in_order[MOST] = {0, 1, 2, 3, 4, 5, 6, 7};
    struct tt_arena arena = {0};
    struct tt_diagnose diagnose;
    struct tt_table table;
    struct tt_cell cells[MOST];
    size_t count, line;
    const char *end = text + strlen(text);
    tt_buffer_reset(shown);
    tt_diagnose_init(&diagnose, NULL, NULL, "t", text, strlen(text));
    tt_table_init(&table, &diagnose, &arena, text, end);
    tt_table_choose_separator(&table);
    for (;;) {
        enum tt_table_row got = tt_table_next(&table, in_order, MOST, cells, &count, &line);
        if (got == TT_TABLE_END) {
            break;
        }
        tt_buffer_printf(shown, "%zu", line);
        if (got == TT_TABLE_FAULT) {
            tt_buffer_putc(shown, '!');
            continue;
        }
        tt_buffer_puts(shown, got == TT_TABLE_REMARK ? "#" : "");
        for (size_t i = 0; i < (got == TT_TABLE_REMARK ? 1 : count) && i < MOST; i++) {
            ck_assert(cells[i].at >= text && cells[i].at <= end);
            tt_buffer_printf(shown, "[%.*s]", (int)cells[i].length, cells[i].text);
        }
        if (got == TT_TABLE_ROW && count > MOST) {
            tt_buffer_printf(shown, "of %zu", count);
        }
    }
    tt_arena_clear(&arena);
}

static const struct {
    const char *text, *shown;
} tables[] = {
    {"a,b\n1,2\n", "1[a][b]2[1][2]"},
    {"a,b\n1,2", "1[a][b]2[1][2]"},
    {"a,b\r\n1,2\r\n", "1[a][b]2[1][2]"},
    {"a;b,c\n1;2,5\n", "1[a][b,c]2[1][2,5]"},
    {"a\tb\tc\n1\t2,5\t\n1\t\t\n", "1[a][b][c]2[1][2,5][]3[1][][]"},
    {"a;b\tc\n", "1[a][b\tc]"},
    {" a , b c \n", "1[a][b c]"},
    {"a,\tb,\tc\n1\t,\t2,3\n", "1[a][b][c]2[1][2][3]"}, /* tabs that only align */
    {"a\tb,c\td\n", "1[a][b,c][d]"},
    {"a\n\n \r\n\t\n,\n", "1[a]"},
    {"\n\n\r\na,b\n", "4[a][b]"},
    {"a,b,\n", "1[a][b][]"},
    {",,c\n", "1[][][c]"},
    {",,,\nx\n", "2[x]"},
    {"\"a\",\"b\"\n", "1[a][b]"},
    {" \"a\" , \"b\" \r\n", "1[a][b]"},
    {"\"a,b\",\"c\"\"d\",\"\"\n", "1[a,b][c\"d][]"},
    {"\"\"\"\"\"\",x\n", "1[\"\"][x]"},
    {"\"two\nlines\",b\nnext\n", "1[two\nlines][b]3[next]"},
    {"a\"b,c\n", "1[a\"b][c]"},
    {"\"a\"b,c\nnext,row\n", "1!2[next][row]"},
    {"x\n\"never closed,\ny\n", "1[x]2!"},
    {"# machine: bench-2\na,b\n#end\n", "1#[# machine: bench-2]2[a][b]3#[#end]"},
    {"# note: x, y;;;;\na;b\n", "1#[# note: x, y]2[a][b]"},
    {"\"# note: x, y\",,,\na,b\n", "1#[# note: x, y]2[a][b]"},
    {"a,b,c,d,e,f,g,h,i,j\n", "1[a][b][c][d][e][f][g][h]of 10"},
    {"", ""},
    {"\n\n", ""},
    {"\xC3\xA9,b\n", "1[\xC3\xA9][b]"},
};

START_TEST(rows_and_cells)
{
    struct tt_buffer shown = {0};
    for (size_t i = 0; i < sizeof(tables) / sizeof(tables[0]); i++) {
        show(tables[i].text, &shown);
        ck_assert_msg(strcmp(shown.text, tables[i].shown) == 0, "'%s' is '%s', not '%s'",
                      tables[i].text, shown.text, tables[i].shown);
    }
    tt_buffer_clear(&shown);
}
END_TEST

/* A cell's place is its first character in the file, behind blanks and the quotation mark. */
START_TEST(cells_know_their_place)
{
    static const char text[] = "ab,  c ,\"d\",\"e\"\"f\",";
    static const unsigned char place[] = {4, 3, 2, 1, 0}; /* to be put in another order */
    struct tt_arena arena = {0};
    struct tt_diagnose diagnose;
    struct tt_table table;
    struct tt_cell cells[5];
    size_t count, line;
    tt_diagnose_init(&diagnose, NULL, NULL, "t", text, strlen(text));
    tt_table_init(&table, &diagnose, &arena, text, text + strlen(text));
    ck_assert_int_eq(tt_table_next(&table, place, 5, cells, &count, &line), TT_TABLE_ROW);
    ck_assert_uint_eq(count, 5);
    static const ptrdiff_t expected[] = {19, 13, 9, 5, 0};
    for (size_t i = 0; i < 5; i++) {
        ck_assert_int_eq(cells[i].at - text, expected[i]);
    }
    ck_assert_uint_eq(cells[1].length, 3);
    ck_assert_int_eq(memcmp(cells[1].text, "e\"f", 3), 0);
    tt_arena_clear(&arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/table");
    TCase *tests = tcase_create("table");
    tcase_add_test(tests, rows_and_cells);
    tcase_add_test(tests, cells_know_their_place);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
