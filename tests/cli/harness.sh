# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# What the tests of the program share: read with `.`, not run. Each test works in an empty directory of its own; $bench holds a
# plate, a machine and a run of 40 touches whose present offset may be kept.
set -u
bench=$(cd "$srcdir/tests/cli/bench" && pwd) || exit 1
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
cd "$work" || exit 1
cp "$bench"/plate.json "$bench"/machine.json "$bench"/run.csv .
mkdir alone && cp run.csv alone # a run without anything beside it
unset TIPTRUE_MACHINE
XDG_CONFIG_HOME=$work/config
XDG_DATA_HOME=$work/data
export XDG_CONFIG_HOME XDG_DATA_HOME
good=0
bad=0

# Run a command: its output is in out and err then, its exit status in $status.
run()
{
    "$@" >out 2>err </dev/null
    status=$?
}

solve()
{
    run "$TIPTRUE" solve --plate plate.json --machine machine.json "$@"
}

# is NAME EXPECTED FOUND
is()
{
    if [ "$2" = "$3" ]; then
        good=$((good + 1))
    else
        bad=$((bad + 1))
        printf 'FAILED %s\n  expected: %s\n  found:    %s\n' "$1" "$2" "$3"
        sed 's/^/  stderr:   /' err
    fi
}

# has NAME FILE PATTERN: a line of the file is matched by the basic regular expression.
has()
{
    if grep -q -e "$3" "$2"; then
        good=$((good + 1))
    else
        bad=$((bad + 1))
        printf 'FAILED %s: nothing matches %s in\n' "$1" "$3"
        sed 's/^/  /' "$2"
    fi
}

# lacks NAME FILE PATTERN
lacks()
{
    is "$1" 0 "$(grep -c -e "$3" "$2")"
}

# A machine file whose present offset is 0.21 mm off, and a run too short to be trusted.
make_variants()
{
    sed 's/36\.184/36.394/' machine.json >off.json
    sed '/^touch,\(top\|bottom\|left\)/d' run.csv >short.csv
}

finish()
{
    echo "$good passed, $bad failed"
    [ "$bad" -eq 0 ] && [ "$good" -gt 0 ]
}
