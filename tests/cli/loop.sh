# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Through everything, as a bench would: plan, simulate as a controller's log, solve into a history, look at the weeks, write the
# offset into the configuration, and solve again with what stands there: nothing is left to change. Invented numbers.
. "$srcdir/tests/cli/harness.sh"
pattern='trip id=(?<id>\d+) x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])'
# The machine's own file: micrometres, turned round, among other things.
cat >head.ini <<'INI'
; head of the lathe corner
[wide]
dx = -36184.0   ; um, camera minus tip
dy = 21347.0
[lamp]
dx = 12
INI
sed 's|"name": "lathe corner",|"name": "lathe corner", "export": [{"file": "head.ini", "put": ["wide.offset.x:minus:um:.1=wide.dx",\
 "wide.offset.y:minus:um:.1=wide.dy"]}],|' machine.json >m.json && mv m.json machine.json
# The tip really is 51 um off along x and -64 um along y.
cat >truth.json <<'TRUTH'
{"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": [211.4, 96.33], "yaw_deg": 3.37}],
 "tips": [{"tip": "wide", "offset": [36.235, -21.411], "runout": [0.021, 0.0127], "radius": 0.4414}],
 "touch": {"sigma": 0.0018, "late_share": 0.05, "late_depth": [0.03, 0.09]}}
TRUTH

run "$TIPTRUE" plan --plate plate.json --machine machine.json --target-u 0.003 --json
is "plan exits 0" 0 "$status"
mv out plan.json
seed=0
while [ "$seed" -lt 9 ]; do
    seed=$((seed + 1))
    run "$TIPTRUE" simulate --plate plate.json --machine machine.json --plan plan.json --truth truth.json --seed "$seed" \
        --controller-log
    is "simulate $seed exits 0" 0 "$status"
    mv out "$seed.log"
    run "$TIPTRUE" solve --json --plate plate.json --machine machine.json --plan plan.json --pattern "$pattern" --history h.db \
        "$seed.log"
    is "solve $seed says update" 10 "$status"
    mv out "$seed.json"
done
is "offset x of the last run to 4 um" 1 "$("$PYTHON" -c '
import json; t = json.load(open("9.json"))["tips"][0]
print(int(abs(t["offset_mm"]["x"] - 36.235) < 0.004 and abs(t["offset_mm"]["y"] + 21.411) < 0.004))')"
has "after eight runs the scatter between them is reckoned with, or there is none" 9.json '"source":"touch repeatability"'

run "$TIPTRUE" trend --history h.db --json
is "trend exits 0" 0 "$status"
is "trend sees nine runs and no change" "9 0" "$("$PYTHON" -c '
import json; t = json.load(open("out")); print(t["runs"], len(t["changes"]))')"

run "$TIPTRUE" report --history h.db -o weeks.html
is "report exits 0" 0 "$status"
has "the page of the weeks has pictures" weeks.html '<svg'

run "$TIPTRUE" export --machine machine.json --history h.db --dry-run 9.json
is "export --dry-run exits 0" 0 "$status"
has "it shows the change" out '^-dx = -36184.0   ; um, camera minus tip$'
is "and writes nothing" 1 "$(grep -c -e '-36184.0' head.ini)"
run "$TIPTRUE" export --machine machine.json --history h.db 9.json
is "export exits 0" 0 "$status"
has "the remark and the rest stand" head.ini '^dx = -362[0-9][0-9]\.[0-9]   ; um, camera minus tip$'
has "another section is not touched" head.ini '^dx = 12$'
has "y too" head.ini '^dy = 214[01][0-9]\.[0-9]$'
run "$TIPTRUE" history export --history h.db
has "the export is in the history" out 'head.ini'

run "$TIPTRUE" solve --json --plate plate.json --machine machine.json --present head.ini --plan plan.json --pattern "$pattern" 9.log
is "with what stands there now, keep" 0 "$status"
is "the change is zero to the last written decimal" 1 "$("$PYTHON" -c '
import json; t = json.load(open("out"))["tips"][0]
print(int(t["verdict"] == "keep" and max(abs(v) for v in t["change_mm"].values()) <= 0.00005 + 1e-9))')"
run "$TIPTRUE" export --undo head.ini
is "undo exits 0" 0 "$status"
has "and the old value is back" head.ini '^dx = -36184.0   ; um, camera minus tip$'
finish
