# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The man page against the program: it formats without a warning, and names the options of --help, all of them and no others.
. "$srcdir/tests/cli/harness.sh"
page=$(dirname "$(dirname "$(dirname "$bench")")")/docs/man/tiptrue.1

if command -v mandoc >/dev/null 2>&1; then
    run mandoc -T lint -W warning "$page"
    is "mandoc has nothing to say" "" "$(cat out err)"
else
    run groff -man -ww -z -K utf8 "$page"
    is "groff exits 0" 0 "$status"
    is "groff has nothing to say" "" "$(cat out err)"
fi

# Options of the page: whatever stands at the head of a paragraph in the section OPTIONS.
awk '/^\.SH/ { inside = $2 == "OPTIONS"; next }
     /^\.TP/ { head = 1; next }
     inside && head { print; head = 0 }' "$page" | sed 's/\\-/-/g' | grep -o -e '--[a-z][a-z-]*' | LC_ALL=C sort -u >page.txt
# Options of the program: the first columns of its help.
options()
{
    sed -n 's/^ \{2,6\}\(-[?A-Za-z], \)\{0,1\}\(--[a-z][a-z-]*\).*/\2/p' | LC_ALL=C sort -u
}
actions='list show export import verify exclude include started note forget'
commands='ready solve check export plan simulate compare trend history placement report new completion'
for command in "" $commands $(printf 'history@%s ' $actions); do
    command=$(echo "$command" | tr @ ' ')
    # shellcheck disable=SC2086 # no command, one word, or two
    "$TIPTRUE" $command --help
done | options >help.txt
is "the help has options" 1 "$([ "$(wc -l <help.txt)" -gt 8 ] && echo 1)"
is "every option of the help is in the page" "" "$(LC_ALL=C comm -13 page.txt help.txt)"
is "every option of the page is in the help" "" "$(LC_ALL=C comm -23 page.txt help.txt)"

# Options that only one command takes stand below that command's name.
for command in solve check export; do
    "$TIPTRUE" "$command" --help | options >"$command.txt"
done
LC_ALL=C comm -23 solve.txt check.txt | grep -vx -e --history >only-solve.txt
awk '/^\.SS/ { inside = $0 == ".SS Of solve" } /^\.TP/ { head = 1; next } inside && head { print; head = 0 }' "$page" |
    sed 's/\\-/-/g' | grep -o -e '--[a-z][a-z-]*' | LC_ALL=C sort -u >page-solve.txt
is "options of solve alone" "$(cat only-solve.txt)" "$(cat page-solve.txt)"
LC_ALL=C comm -23 export.txt solve.txt >only-export.txt
awk '/^\.SS/ { inside = $0 == ".SS Of export" } /^\.TP/ { head = 1; next } inside && head { print; head = 0 }' "$page" |
    sed 's/\\-/-/g' | grep -o -e '--[a-z][a-z-]*' | LC_ALL=C sort -u >page-export.txt
is "options of export alone" "$(cat only-export.txt)" "$(cat page-export.txt)"

# Every exit status that a command tells is in the page, and the version is the program's.
for number in $("$TIPTRUE" solve --help | tr '\n' ' ' | sed 's/.*Exit status: //' | grep -o '[0-9][0-9]*'); do
    has "exit status $number" "$page" "^\\.B $number\$"
done
has "the version" "$page" "^\\.TH TIPTRUE 1 .* \"$("$TIPTRUE" --version | sed -n 1p)\" "
for command in ready solve check export plan simulate compare trend history placement report new completion; do
    has "the command $command" "$page" "^\\.B $command\$"
done
finish
