#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Each fuzz target for SECONDS seconds (30) from its kept corpus, with the words of all documents, under the sanitizers:
# sh tests/fuzz/long.sh [TARGET...]. A build of its own in fuzz-build/ of the present folder, by clang. For each target the inputs
# tried, the edges reached, the time, and that of a processor; exit status 1 where a promise was broken, with the input beside.
set -u
top=$(cd "$(dirname "$0")/../.." && pwd)
sh "$top/tests/packages.sh" clang libclang-rt-dev || exit 1
mkdir -p fuzz-build && cd fuzz-build || exit 1
if [ ! -e Makefile ]; then
    "$top/configure" -q --enable-fuzzers --disable-shared CC="${FUZZ_CC:-clang}" CFLAGS='-O2 -gline-tables-only' || exit 1
fi
all='archive config file history plate result run solve words'
targets=${*:-$all}
# shellcheck disable=SC2086 # words
make -s -j2 $(printf 'tests/fuzz/fuzz_%s ' $targets) >make.log 2>&1 || {
    tail -n 20 make.log
    exit 1
}
srcdir=$top python3 "$top/tests/fuzz/dictionary.py" >words.dict || exit 1
failed=0
passed=0
for target in $targets; do
    case $target in
    plate) seeds="plate machine plan" ;;
    *) seeds=$target ;;
    esac
    mkdir -p "found/$target"
    # shellcheck disable=SC2086,SC2046 # words
    said=$(
        tests/fuzz/fuzz_"$target" -max_total_time="${SECONDS_EACH:-30}" -timeout=10 -rss_limit_mb=2048 -print_final_stats=1 \
            -dict=words.dict -artifact_prefix="broken-$target-" "found/$target" \
            $(for kind in $seeds; do echo "$top/tests/fuzz/corpus/$kind"; done) >"fuzz_$target.log" 2>&1
        echo "status $?"
        times
    )
    case $said in
    "status 0
"*) passed=$((passed + 1)) ;;
    *)
        failed=$((failed + 1))
        echo "FAIL: fuzz_$target: $(grep -E 'broken: |runtime error|ERROR: ' "fuzz_$target.log"); $PWD/fuzz_$target.log"
        ;;
    esac
    echo "$said" | awk -v target="$target" '/ cov: / { for (i = 1; i < NF; i++) if ($i == "cov:") edges = $(i + 1) }
        /number_of_executed_units/ { inputs = $2 } /average_exec_per_sec/ { rate = $2 }
        FILENAME == "-" && FNR == 3 { split($1 "m" $2, t, /[ms]+/); processor = 60 * (t[1] + t[3]) + t[2] + t[4] }
        END { printf "%-8s %10d inputs %6d edges %5d s, %6.1f s of a processor\n", target, inputs, edges,
            (rate > 0 ? inputs / rate : 0), processor }' "fuzz_$target.log" -
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
