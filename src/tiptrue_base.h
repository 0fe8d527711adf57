/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A part of the public interface, which tiptrue.h includes: the version, and how failures and
 * faults in files are told. The rules of tiptrue.h hold here too. */
#ifndef TT_TIPTRUE_BASE_H
#define TT_TIPTRUE_BASE_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define TIPTRUE_MUST_USE __attribute__((warn_unused_result))
#else
#define TIPTRUE_MUST_USE
#endif

/* The library is built with -fvisibility=hidden: what is declared here is what it exports. */
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

/* Version of this header. Within one major version what a host was built against stays; 0.x makes
 * no promise yet. TIPTRUE_VERSION_NUMBER is major * 10000 + minor * 100 + patch. */
#define TIPTRUE_VERSION_MAJOR 0
#define TIPTRUE_VERSION_MINOR 1
#define TIPTRUE_VERSION_PATCH 0
#define TIPTRUE_VERSION "0.1.0"
#define TIPTRUE_VERSION_NUMBER                                                                     \
    (TIPTRUE_VERSION_MAJOR * 10000 + TIPTRUE_VERSION_MINOR * 100 + TIPTRUE_VERSION_PATCH)

/* Version of the library, "major.minor.patch", static. */
const char *tiptrue_version(void);

enum tiptrue_status {
    TIPTRUE_OK = 0,
    TIPTRUE_E_USAGE,     /* the caller asked for something that makes no sense (exit 64) */
    TIPTRUE_E_DATA,      /* an input file is wrong; its faults went to the sink (65) */
    TIPTRUE_E_NO_INPUT,  /* an input file is not there or cannot be opened (66) */
    TIPTRUE_E_INTERNAL,  /* a fault of our own (70) */
    TIPTRUE_E_MEMORY,    /* out of memory (71) */
    TIPTRUE_E_IO,        /* reading or writing failed half-way (74) */
    TIPTRUE_E_CONFIG,    /* a configuration to be changed is not as it should be (78) */
    TIPTRUE_E_DEGENERATE /* the geometry does not determine what was asked (65) */
};

/* What went wrong, in the caller's storage, so that out-of-memory can be told too. The first error
 * stays. */
struct tiptrue_error {
    enum tiptrue_status status;
    char file[256];
    size_t line;   /* 1-based, 0 = none */
    size_t column; /* 1-based, in characters, 0 = none */
    char text[512];
    char hint[256];
};

/* Bytes of the character that @text begins with if it is no UTF-8 or steers a terminal or a text's
 * direction or lines: @shown receives how to show it ("\u001b", "\xff"). 0: show it as it is. */
#define TIPTRUE_ESCAPE_SIZE 8
size_t tiptrue_escape(const char *text, char shown[TIPTRUE_ESCAPE_SIZE]);

enum tiptrue_severity { TIPTRUE_NOTE, TIPTRUE_WARNING, TIPTRUE_ERROR };

/* A place in an input file that is wrong (error) or odd (warning, note). Strings live during the
 * call of the sink. */
struct tiptrue_diagnostic {
    enum tiptrue_severity severity;
    const char *file;
    size_t line;      /* 1-based, 0 = none */
    size_t column;    /* 1-based, in characters, 0 = none */
    const char *text; /* what was found and what is allowed */
    const char *hint; /* what to do, or NULL */
};

/* Receives diagnostics while a file is read. @told NULL = they are dropped. */
struct tiptrue_sink {
    void (*told)(void *context, const struct tiptrue_diagnostic *diagnostic);
    void *context;
};

/* The JSON line for what could not be done (tiptrue.error/1). tiptrue_errors_json: with all @n
 * faults of the file, of which @what is the first; with n == 0, and in tiptrue_error_json, it is
 * the only one. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_error_json(const struct tiptrue_error *what,
                                                        char **text, size_t *length,
                                                        struct tiptrue_error *error);
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_errors_json(const struct tiptrue_error *what,
                                                         const struct tiptrue_error faults[],
                                                         size_t n, char **text, size_t *length,
                                                         struct tiptrue_error *error);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif

#ifdef __cplusplus
}
#endif

#endif
