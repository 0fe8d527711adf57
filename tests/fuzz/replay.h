/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the fuzz targets have in common: without a fuzzer, main() runs the target on the files and
 * folders that it is given. */
#ifndef TT_TESTS_FUZZ_REPLAY_H
#define TT_TESTS_FUZZ_REPLAY_H

#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One input; returns 0. Aborts where a promise is broken. */
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* A promise of the library. */
#define FUZZ_ASSERT(condition)                                                                     \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            fprintf(stderr, "%s:%d: broken: %s\n", __FILE__, __LINE__, #condition);                \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

#ifndef TIPTRUE_FUZZER

static int replay_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    uint8_t *data = NULL;
    size_t size = 0, got = 1;
    while (file != NULL && got > 0) {
        uint8_t *grown = realloc(data, size + 65536);
        if (grown == NULL) {
            break;
        }
        data = grown;
        got = fread(data + size, 1, 65536, file);
        size += got;
    }
    if (file == NULL || got > 0) {
        fprintf(stderr, "%s: cannot be read\n", path);
        free(data);
        return EXIT_FAILURE;
    }
    fclose(file);
    uint8_t *exact = malloc(size > 0 ? size : 1); /* so that a sanitizer sees a byte too many */
    if (exact == NULL) {
        abort();
    }
    memcpy(exact, data, size);
    free(data);
    LLVMFuzzerTestOneInput(exact, size);
    free(exact);
    return EXIT_SUCCESS;
}

static int replay(const char *path, size_t *count)
{
    DIR *folder = opendir(path);
    int result = EXIT_SUCCESS;
    if (folder == NULL) {
        (*count)++;
        return replay_file(path);
    }
    for (const struct dirent *entry; result == EXIT_SUCCESS && (entry = readdir(folder)) != NULL;) {
        char inner[1000];
        if (entry->d_name[0] != '.') {
            snprintf(inner, sizeof(inner), "%s/%s", path, entry->d_name);
            result = replay(inner, count);
        }
    }
    closedir(folder);
    return result;
}

int main(int argc, char **argv)
{
    size_t count = 0;
    for (int i = 1; i < argc; i++) {
        if (replay(argv[i], &count) != EXIT_SUCCESS) {
            return EXIT_FAILURE;
        }
    }
    printf("%zu inputs\n", count);
    return count > 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

#endif

#endif
