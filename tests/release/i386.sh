#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The program for 32-bit processors, by gcc -m32 -msse2 -mfpmath=sse in a bare i386 root of debootstrap's, and what it says of the
# recorded runs and the example's: the numbers of the 64-bit program, to 1e-12 of themselves; and a run of 2050 is of 2050.
#   sh tests/release/i386.sh [FOLDER]      as root, in a folder where make was run; FOLDER (build-i386) holds the root
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
here=$PWD
mkdir -p "${1:-build-i386}"
folder=$(cd "${1:-build-i386}" && pwd)
root=$folder/root
sh "$top/tests/packages.sh" debootstrap
if ! [ -e "$root/ready" ]; then
    debootstrap --arch=i386 --variant=minbase "$(. /etc/os-release && echo "$VERSION_CODENAME")" "$root" >"$folder/root.log" 2>&1
    cp /etc/resolv.conf "$root/etc/"
    for settings in /etc/apt/apt.conf.d /etc/apt/sources.list; do
        [ ! -e "$settings" ] || cp -r "$settings" "$root/etc/apt/"
    done
    chroot "$root" sh -c 'apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends gcc \
        libc6-dev make pkg-config libgsl-dev libcjson-dev libpcre2-dev libxml2-dev libxxhash-dev libsqlite3-dev' \
        >>"$folder/root.log" 2>&1
    touch "$root/ready"
fi
make -s dist >"$folder/dist.log" 2>&1
rm -rf "$root/src"
mkdir "$root/src"
tar -C "$root/src" --strip-components=1 -xzf "$here"/tiptrue-*.tar.gz
chroot "$root" sh -c "cd /src && ./configure -q --disable-static --enable-werror CC='gcc -m32 -msse2 -mfpmath=sse' &&
    make -s -j$(nproc) tiptrue" >"$folder/make.log" 2>&1 || {
    tail -n 20 "$folder/make.log"
    exit 1
}
cat >"$folder/tiptrue" <<END
#!/bin/sh
exec "$root/lib/ld-linux.so.2" --library-path "$root/lib/i386-linux-gnu:$root/usr/lib/i386-linux-gnu" "$root/src/tiptrue" "\$@"
END
chmod +x "$folder/tiptrue"
srcdir=$top TIPTRUE=${TIPTRUE:-$here/tiptrue} python3 "$top/tests/release/same_digits.py" "$folder/tiptrue"
