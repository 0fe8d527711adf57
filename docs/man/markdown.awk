# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# A page of documentation in Markdown as a manual page: headings, paragraphs, lists, tables (a row is an item, its first cell the
# tag), fenced blocks, `code`, *emphasis* and links. Variables: name, section, version, date, purpose.

# Markdown's inline marks in roff's; what roff would take for its own is escaped.
function inline(text,    out, part) {
    gsub(/\\\|/, "|", text)
    out = ""
    while (match(text, /`[^`]*`|\*\*[^*]+\*\*|\[[^]]*\]\([^)]*\)/)) {
        out = out plain(substr(text, 1, RSTART - 1))
        part = substr(text, RSTART, RLENGTH)
        text = substr(text, RSTART + RLENGTH)
        if (part ~ /^`/) {
            out = out "\\fB" plain(substr(part, 2, length(part) - 2)) "\\fP"
        } else if (part ~ /^\*\*/) {
            out = out "\\fB" plain(substr(part, 3, length(part) - 4)) "\\fP"
        } else {
            sub(/^\[/, "", part)
            sub(/\]\(.*/, "", part)
            out = out inline(part)
        }
    }
    return out plain(text)
}
function plain(text) {
    gsub(/\\/, "\\e", text)
    gsub(/-/, "\\-", text)
    gsub(/'/, "\\(aq", text)
    gsub(/\^/, "\\(ha", text)
    gsub(/~/, "\\(ti", text)
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
function row(text,    cells, n, i, rest) {
    sub(/^\| */, "", text)
    sub(/ *\|$/, "", text)
    gsub(/\\\|/, "\001", text)
    n = split(text, cells, / *\| */)
    head(".TP")
    line(cells[1] == "" ? "\\ " : inline(cells[1]))
    for (i = 2; i <= n; i++) {
        if (cells[i] != "") rest = rest (rest == "" ? "" : "; ") cells[i]
    }
    gsub(/\001/, "|", rest)
    line(rest == "" ? "\\ " : inline(rest))
}
BEGIN {
    print "'\\\" -*- coding: utf-8 -*-\n.\\\" made from the documentation; do not edit"
    printf ".TH %s %s %s \"tiptrue %s\" \"File Formats\"\n", toupper(name), section, date, version
    printf ".SH NAME\n%s \\- %s\n.SH DESCRIPTION\n", plain(name), plain(purpose)
    headed = 1
}
/^```/ {
    fenced = !fenced
    if (fenced) head((gap ? ".PP\n" : "") ".in +2n\n.nf"); else head(".fi\n.in")
    gap = !fenced
    next
}
fenced { line($0 == "" ? "\\&" : plain($0)); next }
/^# / { next }
/^## / { head(".SH " toupper(inline(substr($0, 4)))); next }
/^### / { head(".SS " inline(substr($0, 5))); next }
/^\|[-| :]*\|$/ { next }
/^\|/ {
    if (!table) { table = 1; getline ahead; if (ahead !~ /^\|[-| :]*\|$/) { row($0); row(ahead) } }
    else row($0)
    next
}
{ table = 0 }
/^$/ { gap = !headed; next }
/^- / { head(".IP \\(bu 2"); line(inline(substr($0, 3))); next }
{ sub(/^ +/, ""); line(inline($0)) }
END {
    print ".SH SEE ALSO\n.BR tiptrue (1),\n.BR tiptrue\\-formats (5),\n.BR libtiptrue (3)"
}
