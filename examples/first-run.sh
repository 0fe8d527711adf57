#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# From a fresh clone to a first result: installs what the build needs (Debian), builds in build/, solves the example run.
set -eu
cd "$(dirname "$0")/.."

sh tests/packages.sh gcc libc6-dev make autoconf automake libtool pkg-config \
    libgsl-dev libcjson-dev libpcre2-dev libxml2-dev libsqlite3-dev libxxhash-dev

if [ -e config.status ]; then
    echo "the source directory holds a build of its own, which a build outside it cannot stand beside; run: make distclean" >&2
    exit 1
fi
if [ ! -x configure ]; then
    echo "preparing (autoreconf)"
    autoreconf -fi >/dev/null 2>&1
fi
mkdir -p build
if [ ! -e build/Makefile ]; then
    echo "configuring"
    # a newer compiler may warn of what today's do not; that must not stop a first run
    (cd build && ../configure -q --disable-werror --disable-static)
fi
echo "building"
make -s -C build -j"$(nproc 2>/dev/null || echo 2)"

board=examples/gauge-board
echo
echo "\$ build/tiptrue solve --plate $board/plate.json --machine $board/machine.json $board/run.csv"
status=0
build/tiptrue solve --plate $board/plate.json --machine $board/machine.json $board/run.csv || status=$?
case $status in
0) verdict='keep the present offset' ;;
10) verdict='update: write the new offset' ;;
20) verdict='repeat the run, use nothing of it' ;;
*) exit "$status" ;;
esac
echo
echo "exit status $status: $verdict"
