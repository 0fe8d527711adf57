# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# What `tiptrue COMMAND --help' prints, as a manual page of the command. Variables: name (tiptrue-solve), version,
# date, purpose.

function plain(text) {
    gsub(/\\/, "\\e", text)
    gsub(/-/, "\\-", text)
    gsub(/'/, "\\(aq", text)
    gsub(/`/, "\\(ga", text)
    return text
}
# A line of its own: not a request. A paragraph begins where an empty line was and text follows.
function line(text) {
    if (gap) print ".PP"
    gap = headed = 0
    if (text ~ /^[.']/) text = "\\&" text
    print text
}
function head(request) {
    gap = 0
    headed = request ~ /^\.S/
    print request
}
BEGIN {
    print "'\\\" -*- coding: utf-8 -*-\n.\\\" made from the command's option table; do not edit"
    printf ".TH %s 1 %s \"tiptrue %s\" \"User Commands\"\n", toupper(name), date, version
    printf ".SH NAME\n%s \\- %s\n.SH SYNOPSIS\n", plain(name), plain(purpose)
}
/^(Usage:|  or: )/ {
    sub(/^(Usage:|  or: ) */, "")
    if (usages++) print ".br"
    line("\\fB" plain($0) "\\fP")
    next
}
!described { head(".SH DESCRIPTION"); described = 1 }
/^ [A-Z][^:]*.*:$/ && /^ [^ ]/ { sub(/^ /, ""); head(".SS " plain($0)); next }
/^ +-/ && match($0, /^ +/) && RLENGTH <= 6 {
    text = $0
    sub(/^ +/, "", text)
    tag = text
    rest = ""
    if (match(text, /  +/)) { tag = substr(text, 1, RSTART - 1); rest = substr(text, RSTART + RLENGTH) }
    head(".TP")
    line("\\fB" plain(tag) "\\fP")
    if (rest != "") line(plain(rest))
    next
}
/^$/ { gap = !headed; next }
/^Exit status:/ { head(".SH EXIT STATUS"); sub(/^Exit status: */, "") }
{ text = $0; sub(/^ +/, "", text); line(plain(text)) }
END {
    print ".SH SEE ALSO\n.BR tiptrue (1),\n.BR tiptrue\\-formats (5)"
}
