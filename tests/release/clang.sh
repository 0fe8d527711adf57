#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Program, library and all tests built and linked by clang, each warning an error, in clang-build/ of the present folder; then the
# recorded runs, of which the answers must be those that gcc's program gives.
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
sh "$top/tests/packages.sh" clang
mkdir -p clang-build
cd clang-build
"$top/configure" -q --enable-werror CC="${CLANG:-clang}" >/dev/null
make -s -j2 all >make.log 2>&1 && make -s -j2 check TESTS= >>make.log 2>&1 || {
    grep -E 'error|warning' make.log
    exit 1
}
make -s check TESTS='tests/field/expected.py tests/reference/scipy_check.py'
