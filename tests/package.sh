#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The Debian packages: built twice from the release's tarball, in folders of different names, and the same byte for byte; judged by
# lintian; and, as root with debootstrap, installed in a bare root, where the README's tour is run from the package, and removed
# without a trace: sh tests/package.sh [FOLDER]. The packages are in FOLDER (build-package) afterwards.
set -eu
cd "$(dirname "$0")/.."
top=$PWD
folder=${1:-build-package}
sh tests/packages.sh gcc libc6-dev make autoconf automake libtool pkg-config libgsl-dev libcjson-dev libpcre2-dev libxml2-dev \
    libxxhash-dev libsqlite3-dev cmark-gfm debhelper lintian debootstrap

rm -rf "$folder"
mkdir -p "$folder/tarball"
folder=$(cd "$folder" && pwd)
autoreconf -fi >/dev/null
(cd "$folder/tarball" && "$top/configure" -q --disable-static && make -s dist) >"$folder/tarball.log" 2>&1
version=$(cd "$folder/tarball" && echo tiptrue-*.tar.gz | sed 's/^tiptrue-//; s/\.tar\.gz$//')

# build NAME UMASK ZONE: the packages in $folder/NAME
build() {
    mkdir -p "$folder/$1"
    (
        cd "$folder/$1"
        umask "$2"
        tar -xzf "$folder/tarball/tiptrue-$version.tar.gz"
        cd "tiptrue-$version"
        TZ=$3 dpkg-buildpackage -us -uc >"$folder/$1.log" 2>&1
    ) || {
        tail -n 40 "$folder/$1.log"
        exit 1
    }
}
echo "building twice"
build one 022 UTC0
build another-place 027 XYZ-5:30
for package in "$folder"/one/*.deb; do
    cmp "$package" "$folder/another-place/${package##*/}"
done
echo "two builds: the same, byte for byte"

lintian --fail-on error,warning "$folder"/one/*.changes
echo "lintian: nothing"

if ! command -v debootstrap >/dev/null 2>&1 || [ "$(id -u)" -ne 0 ]; then
    echo "installing in a bare root needs debootstrap, and root; not done" >&2
    exit 1
fi
root=$folder/root
debootstrap --variant=minbase "$(. /etc/os-release && echo "$VERSION_CODENAME")" "$root" >"$folder/root.log" 2>&1
for list in /etc/apt/sources.list /etc/apt/sources.list.d /etc/apt/apt.conf.d; do
    if [ -e "$list" ]; then
        cp -r "$list" "$root$(dirname "$list")/"
    fi
done
mkdir "$root/packages"
cp "$folder"/one/*.deb debian/tests/tour "$root/packages"
# lists what packages do not own: their traces
traces() {
    chroot "$root" sh -c 'find /etc /opt /usr /var/lib /srv -xdev ! -path "/var/lib/apt/*" ! -path "/var/lib/dpkg/*" |
        LC_ALL=C grep -i tiptrue' || true
}
chroot "$root" apt-get update -q >>"$folder/root.log" 2>&1
chroot "$root" apt-get install -y -q --no-install-recommends gcc libc6-dev pkg-config >>"$folder/root.log" 2>&1
began=$(date +%s)
chroot "$root" sh -c 'DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends /packages/tiptrue_*.deb \
    /packages/libtiptrue*.deb /packages/tiptrue-doc_*.deb' >>"$folder/root.log" 2>&1
chroot "$root" sh /packages/tour
echo "from apt-get install to the end of the tour: $(($(date +%s) - began)) s"
chroot "$root" apt-get purge -y -q tiptrue libtiptrue0 libtiptrue-dev tiptrue-doc >>"$folder/root.log" 2>&1
left=$(traces)
if [ -n "$left" ]; then
    printf 'left behind:\n%s\n' "$left"
    exit 1
fi
rm -rf "$root"
echo "removed without a trace"
