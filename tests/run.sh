#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# All tests, from a fresh clone: installs what they need (Debian), then runs them twice in build-check/:
#   plain      in `make distcheck`: from the tarball, with installation and a host program built against it
#   sanitized  under the address and undefined-behaviour sanitizers: what takes long with a part of the plain run's cases, and
#              without the tests that look at the sources alone
# Both at once, as jobs of one make, so that no processor waits for the other run's configure or its last test.
# The last line counts the cases of both runs. Exit status 0 only when none failed.
set -u
cd "$(dirname "$0")/.." || exit 1
top=$PWD

# The totals of automake's last summary in $1: "passed failed". Skipped and unexpectedly passed count as failed.
totals() {
    awk '/^Testsuite summary/ { good = 0; bad = 0; seen = 1 }
        /^# PASS:/ { good += seen ? $3 : 0 }
        /^# (SKIP|FAIL|XPASS|ERROR):/ { bad += seen ? $3 : 0 }
        END { print good + 0, bad + 0 }' "$1"
}

# run NAME TARGET CONFIGURE-OPTION...: configure in build-check/NAME, make TARGET; its cases, "passed failed", into
# build-check/NAME.counts.
run() {
    name=$1
    target=$2
    shift 2
    dir=build-check/$name
    log=$top/build-check/$name.log
    echo "$name: configure, make $target"
    began=$(date +%s)
    # what an interrupted distcheck leaves is read-only
    if [ -e "$dir" ]; then
        chmod -R u+w "$dir" && rm -rf "$dir"
    fi
    mkdir -p "$dir"
    status=0
    (cd "$dir" && "$top/configure" -q "$@" && VERBOSE=yes make -s "$target") >"$log" 2>&1 </dev/null || status=$?
    grep -E '^(PASS|FAIL): .* passed, [0-9]+ failed\)$' "$log"
    counts=$(totals "$log")
    bad=${counts#* }
    if [ "$status" -ne 0 ]; then
        echo "$name: make $target failed (exit status $status); the end of its log:"
        tail -n 300 "$log"
        if [ "$bad" -eq 0 ]; then
            bad=1
        fi
    fi
    echo "${counts% *} $bad" >"build-check/$name.counts"
    echo "$name: ${counts% *} passed, $bad failed in $(($(date +%s) - began)) s"
}

# one of the jobs
case ${1-} in
plain)
    # without the static library, which package.sh builds: each source is compiled once
    DISTCHECK_CONFIGURE_FLAGS=--disable-static
    export DISTCHECK_CONFIGURE_FLAGS
    run plain distcheck
    exit
    ;;
sanitized)
    # -O2 for the time of the tests, with lines and frames that a report names; the static copy of the library would double the
    # build's
    run sanitized check --enable-sanitizers --disable-static CFLAGS='-O2 -g1 -fno-omit-frame-pointer -fno-optimize-sibling-calls'
    exit
    ;;
esac

# npm fetches axe-core for the looks of the report's pages; where a newer one than Debian's is there, it does
npm=npm
if command -v npm >/dev/null 2>&1; then
    npm=
fi
# shellcheck disable=SC2086 # no word, or one
sh tests/packages.sh $npm gcc libc6-dev make autoconf automake libtool pkg-config libgsl-dev libcjson-dev libpcre2-dev libxml2-dev \
    libxxhash-dev libsqlite3-dev check python3 python3-scipy python3-jsonschema locales mandoc chromium fonts-dejavu-core \
    librsvg2-bin || exit 1

if [ -e config.status ]; then
    echo "the source directory holds a build of its own, which a build outside it cannot stand beside; run: make distclean" >&2
    exit 1
fi
autoreconf -fi >/dev/null || exit 1

# both runs take it from here
mkdir -p build-check
AXE_CORE=$PWD/build-check/axe.min.js
LOOKED=$PWD/build-check/looked # pages that the browser was shown by one run need not be shown again, if they are the same
export AXE_CORE LOOKED
rm -f "$LOOKED" build-check/*.counts

unset MAKEFLAGS
printf 'both: plain sanitized\nplain sanitized:\n\t+sh tests/run.sh $@\n.PHONY: both plain sanitized\n' |
    make -s -f - -j"$(nproc 2>/dev/null || echo 2)"

passed=0
failed=0
for name in plain sanitized; do
    counts=$(cat "build-check/$name.counts") || counts='0 1'
    passed=$((passed + ${counts% *}))
    failed=$((failed + ${counts#* }))
done

# In a git checkout: does the tarball hold all that git does?
if [ -e .git ] && command -v git >/dev/null 2>&1; then
    tar -tzf build-check/plain/tiptrue-*.tar.gz | sed 's,^[^/]*/,,' | LC_ALL=C sort >build-check/tarball.list
    git ls-files | grep -v '^\.gitignore$' | LC_ALL=C sort >build-check/git.list
    LC_ALL=C comm -13 build-check/tarball.list build-check/git.list >build-check/missing.list
    if [ -s build-check/git.list ] && [ ! -s build-check/missing.list ]; then
        passed=$((passed + 1))
    else
        echo "not in the tarball (EXTRA_DIST in Makefile.am or tests/local.mk):"
        cat build-check/missing.list
        failed=$((failed + 1))
    fi
fi

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
