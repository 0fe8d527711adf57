#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The hardening that configure chose is in what was built: read from the program, the shared library and an object by readelf.
# Environment: HARDENING, the flags; PREFIX_MAP, those that keep the build's folders out of it.
set -u
passed=0
failed=0
check()
{
    if [ "$2" -eq 0 ]; then
        passed=$((passed + 1))
    else
        echo "FAIL: $1"
        failed=$((failed + 1))
    fi
}
# has WHAT TEXT...: whether the output of the command TEXT... holds the pattern WHAT
has()
{
    pattern=$1
    shift
    "$@" 2>&1 | grep -q -e "$pattern"
}

for binary in tiptrue .libs/libtiptrue.so; do
    [ -e "$binary" ] || continue
    has 'GNU_STACK.* RW ' readelf -lW "$binary"
    check "$binary: its stack can be executed" $?
    ! has 'TEXTREL' readelf -dW "$binary"
    check "$binary: its code is changed when it is loaded" $?
    case $HARDENING in
    *-z,relro*) has 'GNU_RELRO' readelf -lW "$binary"; check "$binary: no read-only relocations" $? ;;
    esac
    case $HARDENING in
    *-z,now*) has '(BIND_NOW)\|Flags:.* NOW' readelf -dW "$binary"; check "$binary: its relocations stay writable" $? ;;
    esac
    case $HARDENING in
    *-fstack-protector*) has ' __stack_chk_fail' readelf -sW "$binary"; check "$binary: no stack is protected" $? ;;
    esac
    case $HARDENING in
    *_FORTIFY_SOURCE=2*) has ' __[a-z]*_chk' readelf --dyn-syms -W "$binary"; check "$binary: no checked call" $? ;;
    esac
    case $PREFIX_MAP in
    *-ffile-prefix-map*) ! grep -q -F -e "$(pwd)/" "$binary"; check "$binary: the build's folder is in it" $? ;;
    esac
done
object=src/base/decimal.o
[ -e "$object" ] || object=src/base/.libs/decimal.o
case $HARDENING in
*-fcf-protection*) has 'IBT.*SHSTK' readelf -nW "$object"; check "$object: indirect branches are not marked" $? ;;
esac
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
