# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# A page of documentation from what cmark-gfm makes of Markdown: a head, names for headings (as forges make them), links to the pages
# beside it; links to what is not installed are plain text. awk -v name=TITLE -v dir=FOLDER -f html.awk
BEGIN {
    print "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>" name "</title>"
    print "<meta name=\"viewport\" content=\"width=device-width\"><style>body{max-width:60em;margin:1em auto;padding:0 1em;" \
          "font-family:sans-serif;line-height:1.5}pre{overflow-x:auto;padding:.6em;background:#f4f4f4}table{border-collapse:collapse}" \
          "td,th{border:1px solid #bbb;padding:.2em .6em;text-align:left}img{max-width:100%}</style></head><body>"
}
function slug(text)
{
    gsub(/<[^>]*>|&[a-z]+;/, "", text)
    text = tolower(text)
    gsub(/[^a-z0-9 _-]/, "", text)
    gsub(/ /, "-", text)
    return text
}
function linked(line,    out, link, target, text)
{
    while (match(line, /<a href="[^"]*">[^<]*(<code>[^<]*<\/code>)?[^<]*<\/a>/)) {
        out = out substr(line, 1, RSTART - 1)
        link = substr(line, RSTART, RLENGTH)
        line = substr(line, RSTART + RLENGTH)
        target = text = link
        sub(/^<a href="/, "", target)
        sub(/".*/, "", target)
        sub(/^<a [^>]*>/, "", text)
        sub(/<\/a>$/, "", text)
        if (target ~ /^(#|[a-z]+:)/)
            out = out link
        else if (!there(dir "/" target))
            out = out text
        else {
            sub(/\.md/, ".html", target)
            out = out "<a href=\"" target "\">" text "</a>"
        }
    }
    return out line
}
function there(path)
{
    sub(/#.*/, "", path)
    return system("test -e '" path "'") == 0
}
/^<h[1-6]>/ { $0 = substr($0, 1, 3) " id=\"" slug($0) "\"" substr($0, 4) }
{ print linked($0) }
END { print "</body></html>" }
