#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Every input of the corpus through the fuzz target of its kind: the promises asserted there hold. What a fuzzer found and what was
# mended stays in the corpus.
set -u
passed=0
failed=0
for kind in archive plate machine plan run config result file words history solve; do
    case $kind in
    archive | run | config | result | file | words | history | solve) target=fuzz_$kind ;;
    *) target=fuzz_plate ;;
    esac
    for input in "$srcdir/tests/fuzz/corpus/$kind"/*; do
        if "tests/fuzz/$target" "$input"; then
            passed=$((passed + 1))
        else
            echo "FAIL: $target $input"
            failed=$((failed + 1))
        fi
    done
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
