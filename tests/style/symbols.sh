#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# What the library shows, keeps and calls: it exports the functions of tiptrue.h and its parts tiptrue_*.h and nothing else, has
# no variable that can change, and calls nothing that prints, ends the process, reads the environment or the clock, or changes what
# is the host's.
set -uf
passed=0
failed=0

# expect WHAT GOT WANTED: both as lists of lines
expect() {
    if [ "$2" = "$3" ]; then
        passed=$((passed + 1))
    else
        printf 'FAIL: %s\nfound:\n%s\nexpected:\n%s\n' "$1" "$2" "$3"
        failed=$((failed + 1))
    fi
}

# Names that compilers add for their own instrumentation begin with two underscores or a dot.
exported=$(nm -D --defined-only .libs/libtiptrue.so | awk '$NF !~ /^(__|\.)/ { print $NF }' | LC_ALL=C sort)
declared=$(find "$srcdir/src" -maxdepth 1 -name 'tiptrue*.h' -exec cat '{}' + | sed 's,/\*.*\*/,,; /^\/\*/,/\*\//d' |
    grep -o 'tiptrue_[a-z_]*(' | tr -d '(' | LC_ALL=C sort)
expect "exported symbols" "$exported" "$declared"
packaged=$(sed -n 's/^ \([^@]*\)@.*/\1/p' "$srcdir/debian/libtiptrue0.symbols" | LC_ALL=C sort)
expect "symbols that debian/libtiptrue0.symbols lists, one a line with the version that brought it" "$packaged" "$declared"

# .data.rel.ro holds constants whose addresses the loader fills in.
changing=$(objdump -t .libs/libcore.a |
    awk '$0 ~ / O / && $0 ~ /[ \t]\.t?(data|bss)/ && $0 !~ /\.data\.rel\.ro/ && $NF !~ /^(__|\.)/ { print $NF }')
expect "variables that can change" "$changing" ""

forbidden='v?printf puts putchar perror stdout stderr exit _exit quick_exit abort setlocale strtok s?rand s?random
    getenv secure_getenv setenv putenv time clock clock_gettime gettimeofday localtime gmtime signal sigaction umask chdir
    gsl_set_error_handler(_off)? cJSON_GetErrorPtr cJSON_InitHooks'
called=$(nm -u .libs/libcore.a | awk '{ sub(/@.*/, "", $NF); print $NF }' | LC_ALL=C sort -u |
    grep -Ex "$(echo $forbidden | tr ' ' '|')")
expect "calls that a library must not make" "$called" ""

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
