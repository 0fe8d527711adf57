# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# The example that plans, simulates and solves: it ends with a verdict that is no repeat, and the truth is within what is stated.
. "$srcdir/tests/cli/harness.sh"
top=$(cd "$bench/../../.." && pwd) || exit 1
run env TIPTRUE="$TIPTRUE" sh "$top/examples/rehearsal.sh" here
is "the rehearsal ends with a verdict" 1 "$([ "$status" -eq 0 ] || [ "$status" -eq 10 ] && echo 1)"
has "and tells it" out '^\(KEEP\|UPDATE\): '
is "without a word on standard error" "" "$(cat err)"
is "its log has a line for every move" "$(grep -o '"id":' here/plan.json | wc -l)" "$(grep -c '^trip id=' here/controller.log)"
has "its truth is one" here/truth.json '"schema":"tiptrue.truth/1"'
run "$TIPTRUE" check --plate "$top/examples/gauge-board/plate.json" --machine "$top/examples/gauge-board/machine.json" \
    --plan here/plan.json --pattern 'x=(?<x>\S+) y=(?<y>\S+)' here/controller.log
is "check has nothing against the plan" "" "$(grep -i 'unknown\|error' err)"
finish
