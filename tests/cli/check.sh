# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# tiptrue check: every fault of every file, and what a run can determine.
. "$srcdir/tests/cli/harness.sh"
make_variants

run "$TIPTRUE" check --plate plate.json --machine machine.json run.csv
is "good files exit 0" 0 "$status"
has "the plate is good" out '^plate\.json: plate is good$'
has "the machine is good" out '^machine\.json: machine is good$'
is "good files give no message" "" "$(cat err)"
is "a good run is said to be good once" 1 "$(grep -c "^run\.csv: .* good$" out)"
run "$TIPTRUE" check --plate plate.json --machine machine.json short.csv
is "a run that leaves an offset open exits 20" 20 "$status"
run "$TIPTRUE" check --json --plate plate.json --machine machine.json run.csv short.csv
is "the same as JSON exits 20" 20 "$status"
is "the same as JSON, a line each" 2 "$(grep -c '^{"schema":"tiptrue.check/1"' out)"

run "$TIPTRUE" check --plate plate.json
is "a plate alone" 0 "$status"
cd alone || exit 1
run "$TIPTRUE" check run.csv
is "a run alone" 0 "$status"
has "a run alone is good" out '^run\.csv: run is good$'
has "a run alone lacks the rest" out '^run\.csv: give a good --plate and --machine too'
cd .. || exit 1
run "$TIPTRUE" check plate.json
has "a plate among the files is shown, its edges with what they share" out 'comes from there, u 4 um, group milled, u 9 um$'
run "$TIPTRUE" check run.csv
is "a run with its files beside it" 0 "$status"
has "the run's files are found" err '^using machine machine\.json (beside the run), plate plate\.json (beside the run)$'
has "what it determines is told" out '^  wide  *40 touches'

sed 's/^touch,top,wide,\([^,]*\),/touch,top,wide,nan,/' run.csv >wrong.csv
sed 's/"free_side": "left"/"free_side": "up"/' plate.json >wrong.json
run "$TIPTRUE" check --plate wrong.json --machine nowhere.json wrong.csv run.csv
is "the worst of all files" 66 "$status"
has "the plate's faults are counted" out '^wrong\.json: plate has 4 faults$'
has "the machine's fault is counted" out '^nowhere\.json: machine has 1 fault$'
has "the run's faults are counted" out '^wrong\.csv: run has 10 faults$'
has "a good run beside them is good" out '^run\.csv: run is good$'
is "each of the plate's faults has its place" 4 "$(grep -c '^wrong\.json:[0-9][0-9]*:[0-9][0-9]*: error: ' err)"
is "each of the run's faults has its place" 10 "$(grep -c '^wrong\.csv:[0-9][0-9]*:16: error: ' err)"
run "$TIPTRUE" check --json --plate wrong.json wrong.csv
is "as JSON exits 65" 65 "$status"
is "as JSON a line for each fault" 14 "$(grep -c '^{"schema":"tiptrue.error/1","file":"wrong' out)"
is "as JSON nothing else" 14 "$(wc -l <out)"
cd alone || exit 1
run "$TIPTRUE" check --plan nowhere.json --pattern 'x=(?<x>\S+) y=(?<y>\S+)' run.csv
is "without its plan a log is not read" 66 "$status"
is "without its plan a log is not spoken of" 1 "$(wc -l <out)"
finish
