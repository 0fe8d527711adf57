#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# What analyzers have against src, in a folder where configure was run:
#   sh tests/release/analyzers.sh [TOOL...]      cppcheck, gcc (-fanalyzer), clang (--analyze); all when none is named
# Each report that is not in analyzers.list, with its reason, fails; so does a line there that nothing reports any more.
set -u
top=$(cd "$(dirname "$0")/../.." && pwd)
sh "$top/tests/packages.sh" cppcheck gcc clang || exit 1
flags="-std=c11 -D_POSIX_C_SOURCE=200809L -DHAVE_CONFIG_H -I$PWD -I$top/src $(pkg-config --cflags libxml-2.0 gsl sqlite3)"
export flags
reports=$(mktemp -d)
trap 'rm -rf "$reports"' EXIT

# report TOOL: file:line:column: text of each report on standard output
report() {
    case $1 in
    cppcheck)
        cppcheck -q -j2 --enable=warning,performance,portability --std=c11 -I "$top/src" -I "$PWD" -DHAVE_CONFIG_H \
            --template='{file}:{line}:{column}: warning: {message} [{id}]' "$top/src" 2>&1
        ;;
    gcc)
        find "$top/src" -name '*.c' | sort | xargs -P2 -I{} sh -c 'gcc $flags -O1 -fanalyzer -c -o /dev/null {} 2>&1'
        ;;
    clang)
        find "$top/src" -name '*.c' | sort | xargs -P2 -I{} sh -c 'clang --analyze $flags -o /dev/null {} 2>&1'
        ;;
    esac
}
# known TOOL: its lines of the list, as "file kind"
known() {
    awk -v tool="$1" '$1 == tool { print $2, $3 }' "$top/tests/release/analyzers.list" | sort -u
}
passed=0
failed=0
for tool in ${*:-cppcheck gcc clang}; do
    report "$tool" >"$reports/$tool"
    sed -n -E "s|^$top/||; s|^([^: ]*):[0-9]+:[0-9]+: warning: .*\[([^][]*)\]\$|\1 \2|p" "$reports/$tool" |
        sort -u >"$reports/found"
    known "$tool" >"$reports/known"
    new=$(comm -23 "$reports/found" "$reports/known")
    gone=$(comm -13 "$reports/found" "$reports/known")
    if [ -n "$new" ]; then
        printf '%s: new:\n%s\n' "$tool" "$new"
        grep -E ': warning: ' "$reports/$tool" | sed "s|^$top/||" | grep -F "$(echo "$new" | cut -d' ' -f1)"
        failed=$((failed + 1))
    elif [ -n "$gone" ]; then
        printf '%s: no longer reported, take it out of analyzers.list:\n%s\n' "$tool" "$gone"
        failed=$((failed + 1))
    else
        passed=$((passed + 1))
        echo "$tool: nothing new beside $(wc -l <"$reports/known") kinds of report that are known"
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
