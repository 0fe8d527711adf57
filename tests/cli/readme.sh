# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The documents against the program: what README.md and docs/*.md show of it is run in the example's folder and must print what
# stands there; the files and links they name must be there; the constants of docs/method.md must be those of the code.
#
# A fenced block is run when one of its lines begins with `$` and calls tiptrue. All its `$` commands are run, in order; the lines
# below one are its output, standard error included; a line `...` stands for any lines. `$ echo $?` tells the status of the command
# before. docs/first-plate.md begins in an empty folder; a block of it that is headed by a file's name is that file.
. "$srcdir/tests/cli/harness.sh"
top=$(cd "$bench/../../.." && pwd) || exit 1
mkdir cases example first && cp "$top"/examples/gauge-board/* example && cp "$top"/examples/*.in . && chmod -R u+w example || exit 1
: >err
LC_ALL=C.UTF-8 # the documents show the signs of a UTF-8 terminal
export LC_ALL

# What `tiptrue` means in a shown command.
tiptrue()
{
    "$TIPTRUE" "$@"
}

# split DOCUMENT: its commands into cases/N.command, the output shown into cases/N.want, the place into cases/N.where.
split()
{
    awk -v first="$count" -v folder="$work/cases" -v name="${1#"$top"/}" '
        function end_block(    i, runs, file) {
            if (of != "") {
                file = folder "/" sprintf("%03d", first + count++)
                print name ":" at[1] >(file ".where")
                print "cp \"$case.text\" " of >(file ".command")
                printf "" >(file ".want")
                for (i = 1; i <= n; i++) {
                    print line[i] >(file ".text")
                }
            }
            for (i = 1; i <= n; i++) {
                runs = runs || line[i] ~ /^\$ (.*[ |])?tiptrue /
            }
            for (i = 1; runs && i <= n; i++) {
                if (line[i] ~ /^\$ /) {
                    file = folder "/" sprintf("%03d", first + count++)
                    print name ":" at[i] >(file ".where")
                    print substr(line[i], 3) >(file ".command")
                    printf "" >(file ".want")
                    while (line[i] ~ /\\$/ && i < n) {
                        print line[++i] >(file ".command")
                    }
                } else {
                    print line[i] >(file ".want")
                }
            }
            n = 0
        }
        /^```/ { if (open) end_block(); open = !open; of = open ? $2 : ""; next }
        open { line[++n] = $0; at[n] = FNR }' "$1"
    count=$(find "$work/cases" -name '*.where' | wc -l)
}

# How long ago a run was made, in the documents and when this runs.
aged()
{
    sed 's/([0-9]* \(min\|h\|days\) ago)/(AGE)/' "$1"
}

# Whether the file $1, in which a line `...` stands for any lines, describes the file $2.
describes()
{
    awk 'FILENAME == ARGV[1] { want[++n] = $0; next }
        { found[++m] = $0 }
        END {
            for (i = j = 1; i <= n; i++) {
                if (want[i] == "...") {
                    if (i == n) exit 0
                    while (j <= m && found[j] != want[i + 1]) j++
                } else if (j > m || found[j++] != want[i]) {
                    exit 1
                }
            }
            exit j <= m
        }' "$1" "$2"
}

count=0
for document in "$top"/README.md "$top"/docs/*.md; do
    split "$document"
done
is "the documents show commands" 1 "$((count >= 6))"
status=0
for where in "$work"/cases/*.where; do
    case=${where%.where}
    command=$(cat "$case.command")
    (
        case $(cat "$where") in
        docs/first-plate.md:*) cd first || exit ;;
        *) cd example || exit ;;
        esac
        (exit "$status") # for its $?
        eval "$command"
    ) >"$case.found" 2>&1 </dev/null
    status=$?
    aged "$case.want" >want
    aged "$case.found" >found
    if describes want found; then
        good=$((good + 1))
    else
        bad=$((bad + 1))
        echo "FAILED $(cat "$where"): $command"
        diff "$case.want" "$case.found" | sed 's/^/  /'
    fi
done

# Links to files, taken from the document's folder, and paths in backticks, taken from the top (NAME stands for any).
for document in "$top"/README.md "$top"/DEVELOPERS.md "$top"/docs/*.md; do
    folder=$(dirname "$document")
    for target in $(grep -o '](\([^)#:]*\)[)#]' "$document" | sed 's/^](//; s/[)#]$//' | sort -u); do
        is "${document#"$top"/} links to $target" 1 "$([ -e "$folder/$target" ] && echo 1)"
    done
    for target in $(grep -o '`\(src\|tests\|docs\|examples\|m4\)/[A-Za-z0-9_./-]*`' "$document" | tr -d '`' | grep -v NAME |
        sort -u); do
        is "${document#"$top"/} names $target" 1 "$([ -e "$top/$target" ] && echo 1)"
    done
done

# Rows "| `NAME` | value | `src/file` | ..." of the tables of constants.
sed -n 's/^| `\([A-Z][A-Z0-9_]*\)` | `\([^`]*\)` | `\(src[^`]*\)` |.*/\1 \3 \2/p' "$top"/docs/*.md >constants
is "the method names its constants" 1 "$(($(wc -l <constants) >= 30))"
while read -r name file value; do
    is "$name in $file" "$value" "$(sed -n "s,^#define $name \(.*[^ ]\) */\*.*,\1,p; t; s,^#define $name \(.*\),\1,p" "$top/$file")"
done <constants
# And every number that src/adjust defines stands in it.
for file in "$top"/src/adjust/*.[ch]; do
    for name in $(sed -n 's,^#define \([A-Z][A-Z0-9_]*\) [-(0-9.]*[0-9].*,\1,p' "$file"); do
        is "the method lists $name" 1 "$(grep -c "^$name ${file#"$top"/} " constants)"
    done
done
finish
