#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Run one test for automake's harness and report each of its cases as a result, so that the totals of `make check` count cases.
#
# The cases are counted from the test's log: Check's line "97%: Checks: 40, Failures: 1, Errors: 0", or the last line of a script,
# "N passed, N failed". A test that ends badly although it counted no failure, or that counts nothing, is one failed case.
# The options are those of automake's manual, «Custom Test Drivers».
set -u
log=''
trs=''
name=''
while [ $# -gt 0 ]; do
    case $1 in
    --test-name) name=$2; shift 2 ;;
    --log-file) log=$2; shift 2 ;;
    --trs-file) trs=$2; shift 2 ;;
    --color-tests | --expect-failure | --enable-hard-errors | --collect-skipped-logs) shift 2 ;;
    --) shift; break ;;
    *) break ;;
    esac
done

# Times that are told in the reader's time zone are those of the tests' expectations.
TZ=UTC0
export TZ

# A test that hangs must not hang the rest.
limit=''
if command -v timeout >/dev/null 2>&1; then
    limit="timeout -k 10 ${TEST_SECONDS:-900}"
fi
$limit "$@" >"$log" 2>&1 </dev/null
status=$?
echo "exit status $status" >>"$log"

counts=$(awk '
    /^[0-9]+%: Checks: [0-9]+, Failures: [0-9]+, Errors: [0-9]+$/ {
        gsub(/,/, ""); bad += $5 + $7; good += $3 - $5 - $7; counted = 1
    }
    /^[0-9]+ passed, [0-9]+ failed$/ { last_good = $1; last_bad = $3; plain = 1 }
    END {
        if (plain && !counted) { good = last_good; bad = last_bad }
        print good + 0, bad + 0
    }' "$log")
good=${counts% *}
bad=${counts#* }
if [ "$bad" -eq 0 ] && { [ "$status" -ne 0 ] || [ "$good" -eq 0 ]; }; then
    bad=1
fi

result=PASS
again=no
if [ "$bad" -ne 0 ]; then
    result=FAIL
    again=yes
fi
echo "$result: $name ($good passed, $bad failed)"
{
    awk -v good="$good" -v bad="$bad" 'BEGIN {
        for (i = 0; i < good; i++) print ":test-result: PASS"
        for (i = 0; i < bad; i++) print ":test-result: FAIL"
    }'
    echo ":global-test-result: $result"
    echo ":recheck: $again"
    echo ":copy-in-global-log: $again"
} >"$trs"
