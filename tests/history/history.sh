# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# tiptrue solve --history and tiptrue history as a user meets them: one entry for one run, what is shown and written out, files and
# folders taken in, and what happens on a full disk and in a folder that cannot be written.
. "$srcdir/tests/cli/harness.sh"
make_variants
unset XDG_DATA_HOME
HOME=$work/home
export HOME
mkdir home

history()
{
    action=$1
    shift
    run "$TIPTRUE" history "$action" --history h.db "$@"
}

# Entering runs.
solve --history h.db run.csv
is "a run is entered" 0 "$status"
is "and has nothing to say" "" "$(cat err)"
cp out first.txt
solve run.csv
is "the result is the same with and without a history" "$(cat first.txt)" "$(cat out)"
solve --history h.db run.csv
is "the same run again" 0 "$status"
has "is said to be there" err \
    '^run\.csv: note: run [0-9a-f]\{16\} is in the history already, since 20[0-9T:-]*Z, and nothing was written$'
solve --json --history h.db short.csv infinite.csv
is "of two runs one is bad" 66 "$status"
run "$TIPTRUE" solve --plate plate.json --machine off.json --history h.db run.csv
is "another machine file, another result" 10 "$status"
has "which replaces the one before" err 'since 20.*Z; this result, of other documents, replaces that of 20.*Z$'
solve --history h.db --least-squares run.csv
is "plain least squares does not enter a history" 64 "$status"

# Listing.
history list
is "list exits 0" 0 "$status"
is "list has a head and two runs" 3 "$(wc -l <out)"
has "list shows what counts" out ' 2026-03-14T06:12:00Z  update  lathe corner, window plate 0031$'
id=$(awk '$3 == "update" { print $1 }' out)
history list --since 2026-03-14T06:12:01Z
is "since a second later there is none" 1 "$(wc -l <out)"
history list --since 2026-03-14 --machine 'lathe corner' --json
is "since that day there are two" 2 "$(wc -l <out)"
history list --machine lathe
is "a machine is named wholly" 66 "$status"
has "and what there is can be seen" err "no runs of machine 'lathe'"
has "by another command" err 'tiptrue history list'
is "nothing is listed" "" "$(cat out)"
history list --since yesterday
is "yesterday is no date" 64 "$status"
has "and that is said" err "^tiptrue: error: 'yesterday' is not a date, and not a run of the history$"

# Showing.
history show "$id"
is "show exits 0" 0 "$status"
has "show gives the newest result" out '^UPDATE: write the new offset of wide$'
history show --log "$(echo "$id" | cut -c1-6)"
is "the log is there byte by byte" "" "$(cmp out run.csv 2>&1)"
history show --document machine "$id"
is "the machine is there byte by byte" "" "$(cmp out off.json 2>&1)"
history show --document plan "$id"
is "there is no plan" 66 "$status"
has "and that is said" err "^tiptrue: error: run $id has no plan in the history$"
history show --json "$id"
run "$TIPTRUE" solve --json --plate plate.json --machine off.json run.csv
history show --json "$id"
cp out shown.json
run "$TIPTRUE" solve --json --plate plate.json --machine off.json run.csv
is "the result as JSON is that of solve" "" "$(cmp out shown.json 2>&1)"
history show 0
is "an id that is not there" 66 "$status"
history show run.csv
is "a name that is no id" 64 "$status"
history show
is "show needs a run" 64 "$status"
history show --replace "$id"
is "replace needs again" 64 "$status"
history show --json --log "$id"
is "one part at a time" 64 "$status"
history show --again "$id"
has "solved anew it is the same" out '^  unchanged$'
history show --again
is "all solved anew" "0 of 2 runs changed" "$(cat out)"

# A result of an older program, and what a newer one makes of it.
"$TIPTRUE" history export --history h.db >whole.jsonl
sed 's/"version":"0\.1\.0"/"version":"0.0.9"/g; s/\("offset_mm":{"x":36\.18\)2/\19/g' whole.jsonl >older.jsonl
run "$TIPTRUE" history import --history old.db older.jsonl
is "older results are taken in" "older.jsonl: 2 runs added" "$(cat out)"
run "$TIPTRUE" history show --history old.db --again
is "what changed is no failure" 0 "$status"
has "the version is told" out '^[0-9a-f]\{16\}, 2026-03-14T06:12:00Z: stored by 0\.0\.9, solved again by '
has "a moved offset is told" out '^  wide: offset x -[67]\.[0-9][0-9] um$'
run "$TIPTRUE" history show --history old.db --again --replace
has "it can be stored" out '^  the new result is stored$'
run "$TIPTRUE" history show --history old.db --again
is "and is there then" "0 of 2 runs changed" "$(cat out)"
run "$TIPTRUE" history show --history old.db --again --replace
run "$TIPTRUE" history list --history old.db --json
is "the older results are kept" 2 "$(grep -c '"results":[23],' out)"

# Out and in: the same export, by both ways, and also when it is taken in twice.
for form in jsonl csv; do
    option=$([ $form = csv ] && echo --csv)
    # shellcheck disable=SC2086 # one option or none
    "$TIPTRUE" history export --history old.db $option >old.$form
    run "$TIPTRUE" history import --history $form.db old.$form
    is "$form: taken in" "old.$form: 2 runs added" "$(cat out)"
    run "$TIPTRUE" history import --history $form.db old.$form
    is "$form: taken in again" "old.$form: 2 runs there already" "$(cat out)"
    run "$TIPTRUE" history export --history $form.db
    is "$form: the same history" "" "$("$TIPTRUE" history export --history old.db | cmp - out 2>&1)"
    run "$TIPTRUE" history verify --history $form.db
    has "$form: is sound" out ': no damage found$'
done
grep -v '"id":"'"$id" old.jsonl >one.jsonl
printf '{"schema":"tiptrue.history/1"\n{"schema":"tiptrue.history/1","id":"1"}\n' | cat - one.jsonl >torn.jsonl
run "$TIPTRUE" history import --history torn.db torn.jsonl
is "a bad line among good ones" 65 "$status"
is "the good ones are taken in" "torn.jsonl: 1 run added" "$(cat out)"
is "each bad line has its place" "1 2" \
    "$(sed -n 's/^torn\.jsonl:\([0-9]*\):.*error.*/\1/p' err | sort -un | tr '\n' ' ' | sed 's/ $//')"
sed 's/""verdict""/verdict"/' old.csv >torn.csv
run "$TIPTRUE" history import --history torn2.db torn.csv
is "a wrong quotation mark" 65 "$status"
has "has its place" err '^torn\.csv:[0-9]*:1: error: this row is not as history export writes it$'

# Folders: results, logs with their documents, what is hidden or linked.
mkdir -p sent/in/deep sent/.hidden
cp run.csv sent/in/deep/a.csv
cp plate.json machine.json sent/in/
ln -s ../../run.csv sent/in/linked.csv
cp short.csv sent/.hidden/
solve --json short.csv run.csv
cp out sent/results.jsonl
run "$TIPTRUE" history import --history sent.db --plate plate.json --machine machine.json sent
is "a folder is taken in" 0 "$status"
is "what is in it" "sent/in/deep/a.csv: 1 run added
sent/in/machine.json: nothing to import in it
sent/in/plate.json: nothing to import in it
sent/results.jsonl: 1 run added, 1 run there already" "$(cat out)"
run "$TIPTRUE" history import --history bare.db sent/results.jsonl
run "$TIPTRUE" history list --history bare.db
is "results alone are there without a log" 2 "$(grep -c '(no log)$' out)"
run "$TIPTRUE" history show --history bare.db --again
has "and cannot be solved again" out '; 2 are known only by their result, and cannot be solved again$'
run "$TIPTRUE" history import --history bare.db --plate plate.json --machine machine.json run.csv
is "the log comes to its result" "run.csv: 1 run there already, 1 result added to it" "$(cat out)"
run "$TIPTRUE" history list --history bare.db
is "one is still without a log" 1 "$(grep -c '(no log)$' out)"
run "$TIPTRUE" history import --history bare.db run.csv
is "a log needs its documents" 64 "$status"
has "which is said" err '^run\.csv: error: a run log can be imported only with its plate and machine'
run "$TIPTRUE" history import --history bare.db plate.json
is "a plate is no run" 65 "$status"
run "$TIPTRUE" history import --history bare.db nowhere.csv one.jsonl
is "a file that is not there" 66 "$status"
is "the others go on" "one.jsonl: 1 run there already" "$(sed 's/, .*//' out)"

# Damage.
cp h.db bad.db
"$PYTHON" -c 'import sqlite3
c = sqlite3.connect("bad.db")
c.execute("UPDATE document SET text = CAST(text || char(32) AS BLOB) WHERE kind = ?", ("plate",))
c.commit()'
run "$TIPTRUE" history verify --history bad.db
is "a changed document exits 65" 65 "$status"
has "and is named" err '^bad\.db: error: the plate document 1: its bytes are not those that were stored$'
history verify
is "the history itself is sound" "2 runs, 2 logs, 3 results, 3 documents, 0 exports: no damage found" "$(cat out)"

# 2026-11-26: one flipped bit in the header (the sign of the schema's version) ended every command by a segmentation fault: the
# steps from version -2147483647 on were looked up before the table of steps. Each bit of the header, by a command that reads, and
# what is looked at before writing by one that writes: never a signal, never called an internal fault.
"$PYTHON" - >bits.txt <<'END'
import os, pathlib, shutil, sqlite3, subprocess
sanitized = "-fsanitize" in os.environ["TEST_CFLAGS"]
shutil.copy("h.db", "whole.db")
c = sqlite3.connect("whole.db")
c.execute("pragma journal_mode=delete")
c.close()
whole = pathlib.Path("whole.db").read_bytes()
program = os.environ["TIPTRUE"]
for bit in range(16 * 8, 100 * 8):
    if sanitized and bit // 32 not in (11, 15, 17) and bit % 3: # the plain build looks at all
        continue
    damaged = bytearray(whole)
    damaged[bit // 8] ^= 1 << bit % 8
    commands = [["history", "list"], ["solve", "--plate", "plate.json", "--machine", "machine.json", "short.csv"]]
    for command in commands if bit // 32 in (11, 15, 17) else commands[:1]: # format, versions: what is looked at before writing
        for path in pathlib.Path().glob("bit.db*"):
            path.unlink()
        pathlib.Path("bit.db").write_bytes(damaged)
        done = subprocess.run([program, *command, "--history", "bit.db"], capture_output=True, check=False)
        if done.returncode not in (0, 20, 65) or (done.returncode == 65 and b"bit.db: error: " not in done.stderr):
            print(bit // 8, bit % 8, command[:2], done.returncode, done.stderr[:150])
        if bit == 60 * 8 + 7:
            print(done.stderr.decode().split("error: ")[-1].splitlines()[0])
END
is "each flipped bit of the header" \
    "the history is damaged: its header gives schema version N; versions count from 1" \
    "$(sed 's/version -21474836[0-9]*;/version N;/' bits.txt | sort -u)"
run "$TIPTRUE" history list --history run.csv
is "a log is no history" 65 "$status"
run "$TIPTRUE" history list --history nowhere.db
is "a history that is not there" 66 "$status"
is "is not made by reading" "" "$(ls nowhere.db 2>/dev/null)"

# The default place.
run "$TIPTRUE" history list
is "no history yet" 66 "$status"
solve --record run.csv
is "recorded" 0 "$status"
is "below the home folder" home/.local/share/tiptrue/history.db "$(find home -name history.db)"
is "for its owner only" drwx------ "$(ls -ld home/.local/share/tiptrue | cut -c1-10)"
run "$TIPTRUE" history list
is "and found there" 2 "$(wc -l <out)"
run env XDG_DATA_HOME="$work/data" "$TIPTRUE" solve --plate plate.json --machine machine.json --record run.csv
is "below XDG_DATA_HOME" data/tiptrue/history.db "$(find data -name history.db)"
run env XDG_DATA_HOME=data2 "$TIPTRUE" solve --plate plate.json --machine machine.json --record short.csv
is "a relative XDG_DATA_HOME does not count" "" "$(ls -d data2 2>/dev/null)"
run env -u HOME "$TIPTRUE" history list
is "no home, no place" 64 "$status"

# A folder that cannot be written: reading works, writing exits 74, and nothing changes. Root may write everywhere, so that it takes
# a read-only mount, or another user.
mkdir ro
cp h.db ro/
# A name in which a URI would have signs of its own.
cp h.db 'ro/5%25 #b?c.db'
# Beside it one whose last change still waits in the file beside it, as a writer leaves it that was killed.
"$PYTHON" -c 'import shutil, sqlite3
c = sqlite3.connect("bad.db")
c.execute("UPDATE run SET added = ?", ("2026-01-02T03:04:05Z",))
c.commit()
for end in "", "-wal":
    shutil.copy("bad.db" + end, "ro/waiting.db" + end)'
chmod 755 "$work" ro
chmod 644 ro/*.db* ./*.csv ./*.json
cat >in-ro.sh <<'END'
"$TIPTRUE" solve --plate plate.json --machine machine.json --history ro/h.db short.csv run.csv >ro-solve.out 2>ro-solve.err
echo $? >ro-solve.status
"$TIPTRUE" solve --plate plate.json --machine machine.json --history ro/new.db run.csv >/dev/null 2>&1
echo $? >ro-new.status
"$TIPTRUE" history list --history ro/waiting.db >ro-waiting.out 2>ro-waiting.err
echo $? >ro-waiting.status
for action in list verify export; do
    "$TIPTRUE" history $action --history ro/h.db >ro-$action.out 2>ro-$action.err
    echo $? >ro-$action.status
done
"$TIPTRUE" history list --history 'ro/5%25 #b?c.db' >ro-name.out 2>ro-name.err
echo $? >ro-name.status
END
before=$(cksum <ro/h.db)
there=$(ls ro)
if [ "$(id -u)" -ne 0 ]; then
    chmod 555 ro
    sh in-ro.sh
    chmod 755 ro
elif unshare -m sh -c 'mount --bind ro ro && mount -o remount,bind,ro ro' 2>/dev/null; then
    unshare -m sh -c 'mount --bind ro ro && mount -o remount,bind,ro ro && exec sh in-ro.sh'
else
    chmod 777 .
    setpriv --reuid=65534 --regid=65534 --clear-groups sh in-ro.sh
fi
is "writing into a read-only folder" 74 "$(cat ro-solve.status)"
is "gives no result" "" "$(cat ro-solve.out)"
has "and a reason" ro-solve.err '^ro/h\.db: error: the history cannot be '
is "making one there" 74 "$(cat ro-new.status)"
for action in list verify export; do
    is "$action works there" "0" "$(cat ro-$action.status)"
    run "$TIPTRUE" history $action --history h.db
    is "$action gives the same there" "" "$(cmp out ro-$action.out 2>&1)"
done
is "whatever its name is" "0" "$(cat ro-name.status)"
is "it gives the same" "" "$(cmp ro-list.out ro-name.out 2>&1)"
is "nothing is changed there" "$before $there" "$(cksum <ro/h.db) $(ls ro)"
is "what waits there is not passed over" 74 "$(cat ro-waiting.status)"
has "but told" ro-waiting.err "^ro/waiting\.db: error: runs wait in 'ro/waiting\.db-wal', and the folder cannot be written$"

# A full disk: a file system of 1 MB where one may be mounted, else a limit on the size of files.
mkdir full
names=
for i in $(seq 100 260); do
    sed "1s/^/# operator: n$i\n/" run.csv >"full-$i.csv"
    names="$names full-$i.csv"
done
cat >in-full.sh <<'END'
"$TIPTRUE" solve --json --plate plate.json --machine machine.json --history full/h.db $NAMES >full.out 2>full.err
echo $? >full.status
"$TIPTRUE" history list --json --history full/h.db >full-list.out
"$TIPTRUE" history verify --history full/h.db >full-verify.out 2>&1
END
NAMES=$names
export NAMES
if unshare -rm sh -c 'mount -t tmpfs -o size=1m tmpfs full' 2>/dev/null; then
    unshare -rm sh -c 'mount -t tmpfs -o size=1m tmpfs full && exec sh in-full.sh'
else
    (trap '' XFSZ && ulimit -f 1000 && exec sh in-full.sh)
fi
is "a full disk exits 74" 74 "$(cat full.status)"
has "and says so" full.err \
    '^full/h\.db: error: \(the history cannot be written: the disk is full$\|reading or writing the history failed: \)'
grep -o '"id":"[0-9a-f]*"' full.out | sort >full-said.txt
grep -o '"id":"[0-9a-f]*"' full-list.out | sort >full-there.txt
is "some runs were entered" 1 "$([ "$(wc -l <full-said.txt)" -gt 10 ] && echo 1)"
is "those that were said, and no others" "" "$(cmp full-said.txt full-there.txt 2>&1)"
has "the history is sound" full-verify.out ': no damage found$'

run "$TIPTRUE" history
is "an action is needed" 64 "$status"
run "$TIPTRUE" history mend
is "an unknown action" 64 "$status"
has "is named" err "'mend' is nothing that a history does"
finish
