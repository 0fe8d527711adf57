/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Files into memory: of any size, from pipes, and those that cannot be read. */
#include "config.h"

#include "ingest/bytes.h"

#include "base/digest.h"
#include "base/utf8.h"

#include <stdbool.h>
#include <sys/wait.h>
#include <unistd.h>

#include "collect.h"

START_TEST(reads_all_of_a_file)
{
    static const size_t sizes[] = {0, 1, 2, 16383, 16384, 16385, 300000};
    char path[] = "bytes-XXXXXX";
    int made = mkstemp(path);
    ck_assert_int_ge(made, 0);
    close(made);
    for (size_t i = 0; i < sizeof(sizes) / sizeof(sizes[0]); i++) {
        FILE *file = fopen(path, "wb");
        for (size_t j = 0; j < sizes[i]; j++) {
            putc((int)(j * 7 % 256), file);
        }
        fclose(file);
        struct tt_bytes bytes = {0};
        ck_assert_int_eq(tt_bytes_read(path, &bytes, NULL), TIPTRUE_OK);
        ck_assert_uint_eq(bytes.length, sizes[i]);
        ck_assert_int_eq(bytes.text[bytes.length], '\0');
        for (size_t j = 0; j < sizes[i]; j++) {
            ck_assert_uint_eq((unsigned char)bytes.text[j], j * 7 % 256);
        }
        tt_bytes_clear(&bytes);
    }
    unlink(path);
}
END_TEST

/* A pipe says nothing of its size, and gives less than was asked for at a time. */
START_TEST(reads_standard_input_from_a_pipe)
{
    enum { BLOCKS = 400, BLOCK = 999 };
    int ends[2], kept = dup(STDIN_FILENO);
    ck_assert_int_eq(pipe(ends), 0);
    pid_t child = fork();
    if (child == 0) {
        char block[BLOCK];
        memset(block, 'q', sizeof(block));
        for (int i = 0; i < BLOCKS; i++) {
            if (write(ends[1], block, sizeof(block)) != (ssize_t)sizeof(block)) {
                _exit(1);
            }
        }
        _exit(0);
    }
    close(ends[1]);
    dup2(ends[0], STDIN_FILENO);
    close(ends[0]);
    struct tt_bytes bytes = {0};
    enum tiptrue_status status = tt_bytes_read("-", &bytes, NULL);
    dup2(kept, STDIN_FILENO);
    close(kept);
    waitpid(child, NULL, 0);
    ck_assert_int_eq(status, TIPTRUE_OK);
    ck_assert_uint_eq(bytes.length, (size_t)BLOCKS * BLOCK);
    ck_assert_ptr_null(memchr(bytes.text, '\0', bytes.length));
    tt_bytes_clear(&bytes);
}
END_TEST

static void assert_refused(const char *path, enum tiptrue_status status, const char *text,
                           const char *hint)
{
    struct tt_bytes bytes = {0};
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_bytes_read(path, &bytes, &error), status);
    ck_assert_int_eq(error.status, status);
    ck_assert_str_eq(error.file, path);
    ck_assert_str_eq(error.text, text);
    ck_assert_str_eq(error.hint, hint);
    ck_assert_ptr_null(bytes.text);
}

START_TEST(refuses_what_cannot_be_read)
{
    assert_refused("no/such/run.csv", TIPTRUE_E_NO_INPUT,
                   "cannot be opened: No such file or directory",
                   "is the name right, and the folder?");
    assert_refused(".", TIPTRUE_E_NO_INPUT, "is a directory, not a file", "name a file in it");
    assert_refused("/dev/null/x", TIPTRUE_E_NO_INPUT, "cannot be opened: Not a directory", "");
    assert_refused("/proc/self/mem", TIPTRUE_E_IO, "cannot be read to its end: Input/output error",
                   ""); /* address 0 is never there */
}
END_TEST

/* XXH64 with seed 0, computed with xxhsum 0.8.1 (Y. Collet): every way through the algorithm,
 * without and with whole stripes of 32 bytes, with and without rests of 8, 4 and 1. */
START_TEST(digest_of_known_texts)
{
    static const char *const table[][2] = {
        {"", "ef46db3751d8e999"},
        {"a", "d24ec4f1a98c6e5b"},
        {"abcd", "de0327b0d25d92cc"},
        {"sight,M", "2611a5be6abc7299"},
        {"touch,east", "07612c937aab8605"},
        {"touch,east,t", "33b16ad18417237f"},
        {"kind,target,x,y,rotation,tip,feed", "851f2e76a2fa5acf"},
        {"touch,right,wide,213.035,100.789,7,20.4,1", "613878f5bb11bb2e"},
        {"touch,right,wide,213.035,100.789,7,20.4,1;touch,right,wide,212.963", "881c28952027652b"},
        {"\xC2\xB5m \xC2\xB0 \xC3\xA4", "f679cede1031e1be"},
    };
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        char digest[17];
        tt_digest(table[i][0], strlen(table[i][0]), digest);
        ck_assert_msg(strcmp(digest, table[i][1]) == 0, "'%s' has %s, not %s", table[i][0], digest,
                      table[i][1]);
    }
}
END_TEST

START_TEST(copies_end_in_nul)
{
    struct tt_bytes bytes = {0};
    ck_assert_int_eq(tt_bytes_copy("abcdef", 3, &bytes, NULL), TIPTRUE_OK);
    ck_assert_str_eq(bytes.text, "abc");
    tt_bytes_clear(&bytes);
    ck_assert_int_eq(tt_bytes_copy(NULL, 0, &bytes, NULL), TIPTRUE_OK);
    ck_assert_str_eq(bytes.text, "");
    tt_bytes_clear(&bytes);
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_bytes_copy("x", (size_t)-1, &bytes, &error), TIPTRUE_E_MEMORY);
}
END_TEST

START_TEST(byte_order_mark)
{
    ck_assert_uint_eq(tt_byte_order_mark("\xEF\xBB\xBFkind", 7), 3);
    ck_assert_uint_eq(tt_byte_order_mark("\xEF\xBB", 2), 0);
    ck_assert_uint_eq(tt_byte_order_mark("kind", 4), 0);
    ck_assert_str_eq(tt_bytes_name("-"), "standard input");
    ck_assert_str_eq(tt_bytes_name("--"), "--");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/bytes");
    TCase *tests = tcase_create("bytes");
    tcase_add_test(tests, reads_all_of_a_file);
    tcase_add_test(tests, reads_standard_input_from_a_pipe);
    tcase_add_test(tests, refuses_what_cannot_be_read);
    tcase_add_test(tests, digest_of_known_texts);
    tcase_add_test(tests, copies_end_in_nul);
    tcase_add_test(tests, byte_order_mark);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
