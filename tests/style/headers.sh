#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Each header compiles alone, and twice in one file.
set -u
passed=0
failed=0
for header in $(cd "$srcdir/src" && find . -name '*.h' | sed 's,^\./,,' | LC_ALL=C sort); do
    # the typedef, since a translation unit of macros alone is empty
    if printf '#include "%s"\n#include "%s"\ntypedef int tt_alone;\n' "$header" "$header" |
        $CC $TEST_CPPFLAGS $TEST_CFLAGS -fsyntax-only -x c -; then
        passed=$((passed + 1))
    else
        echo "FAIL: $header does not compile alone"
        failed=$((failed + 1))
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
