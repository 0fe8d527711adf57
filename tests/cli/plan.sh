# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# tiptrue plan as a person meets it: what it says, its forms, its exit statuses, and what it refuses.
. "$srcdir/tests/cli/harness.sh"

plan()
{
    run "$TIPTRUE" plan --plate plate.json --machine machine.json "$@"
}

plan --touches 14
is "a plan exits 0" 0 "$status"
has "it says how many moves" out '^PLAN: 14 touches and 4 sightings$'
has "what to expect of the tip" out '^  wide  *14 touches  *+- [0-9.]* um change, +- [0-9.]* um total$'
has "and the order, marks first" out '^  sight M0, M1$'
is "marks last" "  sight M1, M0" "$(tail -n 1 out)"
has "what touching does not lessen" out "is the shift of the$"
is "nothing on standard error" "" "$(cat err)"
cp out first
plan --touches 14
is "the same plan again" "$(cat first)" "$(cat out)"
plan
has "without a wish" out 'since neither --target-u nor --touches was given$'
plan --target-u 0.006
has "a target that is reached" out 'reach the target of +- 6.0 um change$'
is "exits 0" 0 "$status"
plan --target-u 0.0001
has "one that is not" out 'do not reach the target of +- 0.10 um change$'
has "and why" out "will not$"
is "exits 20" 20 "$status"
plan --touches 14 --setups 2
has "a second setup" out '^  setup 2: the plate turned by 180 deg$'
plan --touches 14 --csv
is "as CSV, a line for each move" 20 "$(wc -l <out)"
is "with its unit" "# units: mm" "$(sed -n 1p out)"
is "with a header" "id,kind,target,tip,setup,rotation,at_x,at_y,x,y,stage,feed" "$(sed -n 2p out)"
plan --touches 14 --rs274
is "no program without motion" 78 "$status"
is "not a line of it" "" "$(cat out)"

# The tip's room.
sed 's/"radius": 0\.45/"radius": 5.4/' machine.json >thick.json
run "$TIPTRUE" plan --plate plate.json --machine thick.json
is "a tip that is too thick" 65 "$status"
has "is told" err "fits to no edge: edge '.*' is .* mm long, and a tip of radius 5.4 mm with a margin of 0.2 mm needs 11.2 mm"
plan --margin 4.7 --touches 14
is "so is a margin that is too wide" 65 "$status"
sed 's/"radius": 0\.45, *//; /"radius": 0\.45/d' machine.json >unknown.json
run "$TIPTRUE" plan --plate plate.json --machine unknown.json
is "a tip of no radius" 65 "$status"
has "is told too" err "no radius is stated of tip 'wide'"
sed '/"tips"/,/^ \]/d' machine.json >tipless.json
run "$TIPTRUE" plan --plate plate.json --machine tipless.json
is "a machine without tips" 65 "$status"

# After a run.
plan --after run.csv --target-u 0.02
is "a target that is met exits 0" 0 "$status"
has "it says so" out '^DONE: the target of +- 20 um on this plate is met; no further touch is needed$'
sed '/^touch,\(top\|bottom\|left\)/d' run.csv >short.csv
plan --after short.csv --target-u 0.006 --json
is "a short run asks for more" 10 "$status"
has "touches elsewhere" out '"target":"\(top\|bottom\|left\)'
plan --after nowhere.csv
is "a run that is not there" 66 "$status"
plan --after machine.json --json
is "a run that is none" 65 "$status"
has "as JSON too" out '^{"schema":"tiptrue.error/1",'
finish
