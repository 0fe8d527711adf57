# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Wrong use: exit status 64, nothing on standard output (with --json one error object), a message that names what is wrong and what
# is allowed.
. "$srcdir/tests/cli/harness.sh"

# wrong MESSAGE ARGUMENT...
wrong()
{
    message=$1
    shift
    run "$TIPTRUE" "$@"
    is "$* exits 64" 64 "$status"
    case " $* " in
    *" --json "*)
        is "$* is one error object" 1 "$(wc -l <out)"
        has "$* says so as JSON" out '^{"schema":"tiptrue.error/1","file":null,.*"code":"usage"'
        ;;
    *) is "$* says nothing on standard output" "" "$(cat out)" ;;
    esac
    is "$* tells why" "$message" "$(sed -n 1p err)"
    has "$* names the help" err "--help"
}

commands="ready, solve, check, export, plan, simulate, compare, trend, history, placement, report, new, completion"
wrong "tiptrue: a command is missing; the commands are $commands"
wrong "tiptrue: 'frobnicate' is not a command; the commands are $commands" frobnicate
wrong "tiptrue: 'slove' is not a command; did you mean 'solve'? the commands are $commands" \
    slove --json run.csv
wrong "tiptrue: unrecognized option '--plate'" --plate plate.json
cd alone || exit 1
wrong "tiptrue solve: --plate is missing: name the file of the reference plate" solve --machine ../machine.json run.csv
wrong "tiptrue solve: --plate is missing: name the file of the reference plate" solve --machine nowhere.json run.csv
wrong "tiptrue solve: --machine is missing: name the file of the machine" solve --plate ../plate.json run.csv
cd .. || exit 1
wrong "tiptrue solve: a RUN is missing: name the file of the run log, or - for standard input" \
    solve --plate plate.json --machine machine.json
wrong "tiptrue solve: unrecognized option '--plates'" solve --plates plate.json
wrong "tiptrue solve: option '--plate' requires an argument" solve --machine machine.json run.csv --plate
wrong "tiptrue solve: --plan needs --pattern: how a report of the controller looks" \
    solve --plate plate.json --machine machine.json --plan plan.json run.csv
wrong "tiptrue solve: --pattern needs --plan: what each move of the log was" \
    solve --plate plate.json --machine machine.json --pattern 'x=(?<x>\S+)' run.csv
wrong "tiptrue solve: '-' is named 2 times, but standard input can be read only once" \
    solve --plate - --machine machine.json -
for jobs in two 2x -3 1.5 ''; do
    wrong "tiptrue solve: --jobs '$jobs' is not a whole number; allowed are 1 to 1024" \
        solve --plate plate.json --machine machine.json "--jobs=$jobs" run.csv
done
for jobs in 0 1025 99999999999999999999; do
    wrong "tiptrue solve: --jobs $jobs is out of range; allowed are 1 to 1024" \
        solve --plate plate.json --machine machine.json --jobs "$jobs" run.csv
done
wrong "tiptrue solve: --present names the machine's configuration file, not standard input" \
    solve --plate plate.json --machine machine.json --present - run.csv
together="solve --plate plate.json --machine machine.json --together"
# shellcheck disable=SC2086 # words of a command line
{
    wrong "tiptrue solve: --together needs two RUNs or more: the log so far, and that of the touches made after it" \
        $together run.csv
    history="tiptrue solve: --together is not for a history, which keeps one log for each run: enter each log by itself"
    wrong "$history" $together --history weeks.db run.csv run.csv
    wrong "$history" $together --record run.csv run.csv
    is "no history was made" "" "$(ls weeks.db 2>/dev/null)"
    wrong "tiptrue solve: --together is not for controllers' logs: a plan says what the moves of one log were" \
        $together --plan plan.json --pattern 'x=(?<x>\S+)' run.csv run.csv
}
cd alone || exit
wrong "tiptrue check: nothing to check: name a plate, a machine, a plan or a run" check
cd .. || exit
run "$TIPTRUE" check
is "check finds the files of the folder" "0 plate.json: plate is good machine.json: machine is good" \
    "$status $(head -2 out | tr '\n' ' ' | sed 's/ $//')"
run "$TIPTRUE" check plate.json machine.json run.csv
is "check knows a machine among the files" "0 machine.json: machine is good" "$status $(grep machine.json out)"
wrong "tiptrue check: unrecognized option '--touches'" check --touches run.csv
wrong "tiptrue export: RESULT is missing: name the file that solve --json wrote, or - for standard input" export --dry-run
wrong "tiptrue export: 'b.json' is one RESULT too many" export a.json b.json
wrong "tiptrue export: --put needs --into: the file that the value is put into" export a.json --put t1.offset.x=/x
wrong "tiptrue export: --template writes to standard output; --into and --dry-run have no meaning with it" \
    export a.json --template t --into c.json
wrong "tiptrue export: --rotations is for --template; elsewhere a field says its rotation: t1.offset.x@90" \
    export a.json --rotations 0,90
wrong "tiptrue export: --undo stands alone, but for --dry-run" export a.json --undo c.json
wrong "tiptrue export: '-' is named 2 times, but standard input can be read only once" export - --machine -
wrong "tiptrue export: --force 'all': the guards are verdict, age, machine, change, plate" export a.json --force all
for age in 12 h -1h 0h 12x nanh 0x1h 1e999h; do
    run "$TIPTRUE" export a.json "--max-age=$age"
    is "--max-age $age exits 64" 64 "$status"
    has "--max-age $age is named" err "^tiptrue export: --max-age '$age': a number"
done
for change in 0 -1 1mm inf 0x1; do
    run "$TIPTRUE" export a.json "--max-change=$change"
    is "--max-change $change exits 64" 64 "$status"
    has "--max-change $change is named" err "^tiptrue export: --max-change '$change': "
done
for list in '' 1,,2 1, ,1 '1;2' every: every:0.01 every:361 every:x; do
    run "$TIPTRUE" export a.json --template t "--rotations=$list"
    is "--rotations $list exits 64" 64 "$status"
    has "--rotations $list is named" err "^tiptrue export: --rotations"
done
cd alone || exit 1
for command in plan "simulate --draw"; do
    # shellcheck disable=SC2086 # words of a command line
    {
        wrong "tiptrue ${command%% *}: --plate is missing: name the file of the reference plate" $command --machine ../machine.json
        wrong "tiptrue ${command%% *}: --machine is missing: name the file of the machine" $command --plate ../plate.json
    }
done
cd .. || exit 1
plan="plan --plate plate.json --machine machine.json"
# shellcheck disable=SC2086 # words of a command line
{
    wrong "tiptrue plan: 'run.csv' is too much: a run so far is named by --after" $plan run.csv
    wrong "tiptrue plan: --target-u and --touches exclude each other, but with --after" $plan --target-u 0.004 --touches 24
    wrong "tiptrue plan: --sightings and --setups are not for --after: the run has them already" $plan --after run.csv --setups 2
    wrong "tiptrue plan: --plan says what a controller's log was, and needs --after" $plan --plan plan.json --pattern 'x=(?<x>\S+)'
    wrong "tiptrue plan: one form at a time: --json, --csv or --rs274" $plan --json --rs274
    wrong "tiptrue plan: --setups 3 is out of range; allowed are 1 to 2" $plan --setups 3
    for length in 0 -1 2mil 1e3 . 1001; do
        say="is not a length; allowed are millimetres such as 0.004, up to 1000, or a unit behind it: 0.0001in, 3um"
        wrong "tiptrue plan: --target-u '$length' $say" \
            $plan "--target-u=$length"
    done
    run "$TIPTRUE" $plan --touches 3
    is "three touches are too few" 64 "$status"
    run "$TIPTRUE" $plan --tip thick
    is "no such tip" 64 "$status"
    has "no such tip is told" err "the machine has no tip 'thick'"
}
simulate="simulate --plate plate.json --machine machine.json"
# shellcheck disable=SC2086
{
    wrong "tiptrue simulate: name a truth with --truth, or have one drawn with --draw" $simulate
    wrong "tiptrue simulate: name a truth with --truth, or have one drawn with --draw" $simulate --draw --truth truth.json
    wrong "tiptrue simulate: --exact is for --draw: a truth says itself how much it scatters" $simulate --exact --truth truth.json
    wrong "tiptrue simulate: 'run.csv' is too much: a simulation reads no run" $simulate --draw run.csv
}

run "$TIPTRUE" --version
is "--version exits 0" 0 "$status"
has "--version says it" out '^tiptrue [0-9][0-9]*\.[0-9][0-9]*\.[0-9][0-9]*$'
has "and whose it is" out "^Copyright (C) 20[0-9]* the tiptrue authors$"
has "and the licence" out "^License GPLv3+: "
run "$TIPTRUE" --help
is "--help exits 0" 0 "$status"
has "--help names solve" out '^  solve  '
has "--help names history" out '^  history  '
has "--help names check" out '^  check  '
has "--help names export" out '^  export  '
has "--help names plan" out '^  plan  '
has "--help names simulate" out '^  simulate  '
for action in list show export import verify; do
    run "$TIPTRUE" history "$action" --help
    is "history $action --help exits 0" 0 "$status"
    has "history $action --help shows its use" out "^Usage: tiptrue history $action "
    is "history $action --help keeps to 80 columns" "" "$(awk 'length($0) > 80' out)"
done
actions='list, show, export, import, verify, exclude, include, started, note, forget'
wrong "tiptrue history: what to do with the history is missing: $actions" history
wrong "tiptrue history: 'mend' is nothing that a history does; it can $actions" history mend
wrong "tiptrue history list: 'run.csv' is one argument too many" history list run.csv
wrong "tiptrue history show: a RUN is missing: the first digits of its id, as \`tiptrue history list' shows it" history show
wrong "tiptrue history show: --document 'photo' is none; there are plate, machine, plan, pattern" history show --document photo a7
wrong "tiptrue history import: a PATH is missing: name a file or a folder" history import
wrong "tiptrue history import: --plate and --machine need each other" history import --plate plate.json run.csv
wrong "tiptrue solve: --least-squares is for comparing with other programs; its results do not enter a history" \
    solve --plate plate.json --machine machine.json --record --least-squares run.csv
for command in ready solve check export plan simulate compare trend history placement report; do
    run "$TIPTRUE" "$command" --help
    is "$command --help exits 0" 0 "$status"
    has "$command --help shows its use" out "^Usage: tiptrue $command "
    is "$command --help keeps to 80 columns" "" "$(awk 'length($0) > 80' out)"
    is "$command --help is on standard output only" "" "$(cat err)"
done
wrong "tiptrue plan: --board and --parts need each other" plan --board 110x80
wrong "tiptrue placement: --machine is missing: name the file of the machine" placement board.csv
wrong "tiptrue placement: a FILE is missing: name the table of the parts, or - for standard input" placement --machine machine.json
wrong "tiptrue placement: --present and --learn are about a run: name it by --result" \
    placement --machine machine.json --present none board.csv
wrong "tiptrue placement: --learn writes what --plate then is: they need each other" \
    placement --machine machine.json --result r.json --learn l.json board.csv
wrong "tiptrue placement: --learn takes one board at a time" \
    placement --machine machine.json --result r.json --plate plate.json --learn l.json a.csv b.csv
wrong "tiptrue placement: '-' is named 2 times, but standard input can be read only once" placement --machine - -
wrong "tiptrue report: nothing to show: name a RUN or a RESULT, - for standard input, or --history" report -o page.html
wrong "tiptrue report: -o is missing: name the file of the page, or - for standard output" report run.csv
wrong "tiptrue report: --history makes a page of its own: it goes with --machine NAME, and with no RUN" \
    report --history h.db -o page.html run.csv
wrong "tiptrue report: '-' is named 2 times, but standard input can be read only once" report -o page.html - -
wrong "tiptrue report: --plan needs --pattern: how a report of the controller looks" report --plan p.json -o page.html run.log
# -h is --help, everywhere.
for command in "" solve check export plan simulate compare trend history report new completion "history list" \
    "history note" "history forget"; do
    # shellcheck disable=SC2086 # no command, one word, or two
    "$TIPTRUE" $command --help >long
    # shellcheck disable=SC2086
    run "$TIPTRUE" $command -h
    is "$command -h exits 0" 0 "$status"
    is "$command -h is --help" "" "$(diff long out)"
done
finish
