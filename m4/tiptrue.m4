dnl SPDX-License-Identifier: GPL-3.0-or-later
dnl Copyright (C) 2026 the tiptrue authors
dnl Checks of the compiler, the linker and the tests' tools.

dnl TIPTRUE_TRY_FLAG(FLAGS-VARIABLE, FLAG, IF-IT-WORKS, IF-NOT): link a program with FLAG added to FLAGS-VARIABLE.
dnl -Werror, since clang only warns about a flag that it does not know.
AC_DEFUN([TIPTRUE_TRY_FLAG], [
  AC_MSG_CHECKING([whether $CC takes $2])
  tiptrue_saved_flags=$$1
  $1="$$1 -Werror $2"
  AC_LINK_IFELSE([AC_LANG_PROGRAM([], [])], [tiptrue_takes=yes], [tiptrue_takes=no])
  $1=$tiptrue_saved_flags
  AC_MSG_RESULT([$tiptrue_takes])
  AS_IF([test "$tiptrue_takes" = yes], [$3], [$4])])

dnl TIPTRUE_CFLAGS(VARIABLE, FLAGS): append to VARIABLE those of FLAGS that the compiler takes.
AC_DEFUN([TIPTRUE_CFLAGS], [
  for tiptrue_flag in $2; do
    TIPTRUE_TRY_FLAG([CFLAGS], [$tiptrue_flag], [AS_VAR_APPEND([$1], [" $tiptrue_flag"])])
  done])

dnl TIPTRUE_REQUIRE_CFLAGS(VARIABLE, FLAGS): append FLAGS to VARIABLE; stop at one that the compiler does not take.
AC_DEFUN([TIPTRUE_REQUIRE_CFLAGS], [
  for tiptrue_flag in $2; do
    TIPTRUE_TRY_FLAG([CFLAGS], [$tiptrue_flag], [AS_VAR_APPEND([$1], [" $tiptrue_flag"])],
                     [AC_MSG_ERROR([$CC does not take $tiptrue_flag: use a newer gcc or clang])])
  done])

dnl TIPTRUE_LDFLAGS(VARIABLE, FLAG): append FLAG to VARIABLE if the linker takes it.
AC_DEFUN([TIPTRUE_LDFLAGS], [TIPTRUE_TRY_FLAG([LDFLAGS], [$2], [AS_VAR_APPEND([$1], [" $2"])])])

dnl TIPTRUE_LIBRARY(VARIABLE, FUNCTION, LIBRARY, MESSAGE): VARIABLE is what links FUNCTION: nothing if the C library has it.
AC_DEFUN([TIPTRUE_LIBRARY], [
  tiptrue_saved_libs=$LIBS
  AC_SEARCH_LIBS([$2], [$3], [], [AC_MSG_ERROR([$4])])
  AS_IF([test "$ac_cv_search_$2" = "none required"], [$1=], [$1=$ac_cv_search_$2])
  LIBS=$tiptrue_saved_libs
  AC_SUBST([$1])])

dnl TIPTRUE_PYTHON(MODULES): PYTHON is a python3 that imports MODULES, or empty. The system's comes before the one in PATH: the
dnl modules are the distribution's packages.
AC_DEFUN([TIPTRUE_PYTHON], [
  AC_ARG_VAR([PYTHON], [python3 for the tests; it must import $1])
  AC_MSG_CHECKING([for a python3 that imports $1])
  tiptrue_found=
  for tiptrue_python in ${PYTHON:-/usr/bin/python3 python3}; do
    AS_IF([test -z "$tiptrue_found" && $tiptrue_python -c 'import $1' >/dev/null 2>&1], [tiptrue_found=$tiptrue_python])
  done
  PYTHON=$tiptrue_found
  AC_MSG_RESULT([${PYTHON:-none}])])
