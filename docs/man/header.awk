# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The contracts of the public headers as a manual page: each comment with what it is about. Variables: version, date.

function plain(text) {
    gsub(/\\/, "\\e", text)
    gsub(/-/, "\\-", text)
    gsub(/'/, "\\(aq", text)
    gsub(/`/, "\\(ga", text)
    gsub(/\^/, "\\(ha", text)
    gsub(/~/, "\\(ti", text)
    return text
}
function line(text) {
    if (text ~ /^[.']/) text = "\\&" text
    print text
}
# What is declared, as it stands, then what is said of it.
function flush() {
    if (code != "") printf ".PP\n.nf\n%s.fi\n", code
    if (said != "") printf ".RS 4\n%s.RE\n", said
    code = said = ""
}
BEGIN {
    print "'\\\" -*- coding: utf-8 -*-\n.\\\" made from the headers; do not edit"
    printf ".TH LIBTIPTRUE 3 %s \"tiptrue %s\" \"Library Functions\"\n", date, version
    print ".SH NAME\nlibtiptrue \\- tip\\-to\\-camera offsets of a placement machine, as a C library"
    print ".SH SYNOPSIS\n.nf\n.B #include <tiptrue.h>\n.PP\n.B cc program.c $(pkg\\-config \\-\\-cflags \\-\\-libs tiptrue)\n.fi"
    print ".SH DESCRIPTION"
}
FNR == 1 {
    flush()
    files++
    file = FILENAME
    sub(/.*\//, "", file)
    if (files > 1) printf ".SS <%s>\n", plain(file)
    intro = 1
}
/^\/\* SPDX/ { licence = 1 }
licence { if (/\*\//) licence = 0; next }
/^#/ && !/^#define TIPTRUE_(VERSION|ESCAPE|[A-Z_]*SIZE)/ { if (code == "") said = ""; next }
/^extern "C"/ || /^}$/ { next }
# a comment that begins a line: the contract of what follows
/^\/\*/ {
    if (!intro || said != "") flush()
    in_comment = 1
}
in_comment {
    text = $0
    end = text ~ /\*\//
    sub(/ *\*\/ *$/, "", text)
    sub(/^\/\*\*? ?/, "", text)
    sub(/^ \* ?/, "", text)
    if (text != "") said = said (text ~ /^[.']/ ? "\\&" : "") plain(text) "\n"
    else if (!end) said = said ".PP\n"
    if (end) {
        in_comment = 0
        if (intro) { sub(/^/, "", said); printf "%s", said; said = ""; intro = 0 }
    }
    next
}
/^$/ { if (code != "") flush(); next }
{
    text = $0
    code = code (text ~ /^[.']/ ? "\\&" : "") plain(text) "\n"
}
END {
    flush()
    print ".SH BUGS\nUntil version 1.0 the interface may change with each minor version; NEWS says how."
    print ".SH SEE ALSO\n.BR tiptrue (1),\n.BR tiptrue\\-formats (5)"
}
