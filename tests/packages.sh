#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# See to it that Debian packages are there: sh tests/packages.sh PACKAGE...
# Installs those that are not, by apt-get, as root or by sudo; needs no network when nothing is missing. Where there is no apt-get
# it lists them and stops.
set -eu

if ! command -v apt-get >/dev/null 2>&1; then
    echo "this system has no apt-get; install what corresponds to these Debian packages, then run again:" >&2
    printf '  %s\n' "$@" >&2
    exit 1
fi

missing=''
for package in "$@"; do
    state=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null) || state=
    if [ "$state" != installed ]; then
        missing="$missing $package"
    fi
done
if [ -z "$missing" ]; then
    exit 0
fi

as_root=''
if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null 2>&1; then
        echo "packages are missing, and installing them needs root or sudo; as root:" >&2
        echo "  apt-get update && apt-get install$missing" >&2
        exit 1
    fi
    as_root=sudo
fi
echo "installing:$missing"
# $missing and $as_root are lists of words on purpose
$as_root apt-get update -q
$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing
