# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# Standard streams: output that does not arrive, closed streams, terminals, colour and signs.
. "$srcdir/tests/cli/harness.sh"
# what the environment of the tests happens to hold is not under test
unset NO_COLOR
TERM=xterm
export TERM

set -- solve --plate plate.json --machine machine.json

# Output that cannot be written: 74, and why.
for command in "solve --plate plate.json --machine machine.json run.csv" \
    "solve --json --plate plate.json --machine machine.json run.csv" \
    "check --plate plate.json" "--help" "--version" "solve --help"; do
    # shellcheck disable=SC2086 # the command is words
    "$TIPTRUE" $command >/dev/full 2>err
    is "$command to a full device" 74 "$?"
    has "$command to a full device says why" err '^tiptrue: standard output: error: cannot be written: No space left'
    # shellcheck disable=SC2086
    "$TIPTRUE" $command >&- 2>err
    is "$command to a closed stream" 74 "$?"
    has "$command to a closed stream says why" err '^tiptrue: standard output: error: cannot be written: '
done
cp run.csv other.csv
"$TIPTRUE" "$@" --json run.csv other.csv run.csv other.csv run.csv other.csv >/dev/full 2>err
is "many results to a full device" 74 "$?"
is "many results to a full device, one message" 1 "$(wc -l <err)"
"$TIPTRUE" "$@" run.csv >out 2>&-
is "a closed standard error harms nothing" 0 "$?"
has "a closed standard error leaves the result" out '^KEEP'
"$TIPTRUE" "$@" - >out 2>err <&-
status=$?
is "a closed standard input is an error" "" "$(cat out)"
is "a closed standard input is an error of input or of reading" 1 "$(printf '%s\n' "$status" | grep -c '^66$\|^74$')"

# A reader that has had enough is no fault to be told.
"$TIPTRUE" "$@" --json run.csv other.csv run.csv other.csv 2>err | head -c 1 >out
is "a closed pipe is quiet" "" "$(cat err)"

# Terminals, by a pseudo-terminal: $1 = streams that are one ("out", "err", "both"), $2 = environment; the rest is the command.
cat >terminal.py <<'PY'
import fcntl, os, pty, struct, subprocess, sys
which, settings, command = sys.argv[1], sys.argv[2].split(), sys.argv[3:]
pts = os.environ.get("PTS")
if pts:
    master = os.open(pts + "/ptmx", os.O_RDWR | os.O_NOCTTY)
    fcntl.ioctl(master, 0x40045431, struct.pack("i", 0))  # TIOCSPTLCK: unlock
    number, = struct.unpack("I", fcntl.ioctl(master, 0x80045430, struct.pack("I", 0)))  # TIOCGPTN
    slave = os.open(f"{pts}/{number}", os.O_RDWR | os.O_NOCTTY)
else:
    master, slave = pty.openpty()
env = dict(os.environ)
for setting in settings:
    name, _, value = setting.partition("=")
    env[name] = value
child = subprocess.Popen(command, env=env, stdin=subprocess.DEVNULL,
                         stdout=slave if which in ("out", "both") else subprocess.DEVNULL,
                         stderr=slave if which in ("err", "both") else subprocess.DEVNULL)
os.close(slave)
while True:
    try:
        block = os.read(master, 65536)
    except OSError:
        break
    if not block:
        break
    sys.stdout.buffer.write(block)
sys.exit(child.wait())
PY
escape=$(printf '\033')
terminal()
{
    run "$PYTHON" terminal.py "$@"
}
# A bare root without pseudo-terminals (a container, a fresh debootstrap) gets some of this test's own, in its folder.
PTS=''
export PTS
if ! "$PYTHON" -c 'import os; os.openpty()' 2>/dev/null; then
    mkdir pts
    mount -t devpts -o newinstance,ptmxmode=0666 devpts pts && PTS=$work/pts
    trap 'umount "$work/pts"; rm -rf "$work"' EXIT
fi
terminal out "" "$TIPTRUE" "$@" run.csv
is "a terminal exits 0" 0 "$status"
has "a terminal gets colour" out "^$escape\[1;32mKEEP$escape\[0m: "
terminal out "NO_COLOR=" "$TIPTRUE" "$@" run.csv
has "an empty NO_COLOR forbids nothing" out "$escape"
terminal out "NO_COLOR=1" "$TIPTRUE" "$@" run.csv
lacks "NO_COLOR forbids colour" out "$escape"
has "NO_COLOR leaves the words" out '^KEEP: '
terminal out "TERM=dumb" "$TIPTRUE" "$@" run.csv
lacks "a dumb terminal gets no colour" out "$escape"
terminal out "" "$TIPTRUE" "$@" --plain run.csv
lacks "--plain has no colour" out "$escape"
terminal out "" "$TIPTRUE" "$@" --json run.csv
lacks "JSON has no colour" out "$escape"
run "$TIPTRUE" "$@" run.csv
lacks "a file gets no colour" out "$escape"

# Signs beyond ASCII only where the locale's characters are UTF-8.
micro=$(printf '\302\265m')
run env LC_ALL=C.UTF-8 "$TIPTRUE" "$@" run.csv
has "UTF-8 has the micro sign" out " $micro"
run env LC_ALL=C "$TIPTRUE" "$@" run.csv
is "the C locale has only ASCII" 0 "$(LC_ALL=C grep -c '[^ -~]' out)"
has "the C locale spells the unit" out ' um'
run env LC_ALL=C.UTF-8 "$TIPTRUE" "$@" --plain run.csv
is "--plain has only ASCII" 0 "$(LC_ALL=C grep -c '[^ -~]' out)"

# Strips of residuals: with all rows only, in Braille patterns (U+2800 ff.) or ASCII; --plain has none.
braille=$(printf '\342\240')
run env LC_ALL=C.UTF-8 "$TIPTRUE" "$@" run.csv
lacks "no strip without the rows" out "$braille"
run env LC_ALL=C.UTF-8 "$TIPTRUE" "$@" --touches run.csv
is "two lines of a strip for each edge" 8 "$(grep -c "|.*$braille.*|" out)"
run env LC_ALL=C "$TIPTRUE" "$@" --touches run.csv
is "the same in ASCII" 8 "$(grep -c "^.*[+-][0-9]* |[ '.:-]*|$" out)"
is "a strip fits the terminal" 0 "$(awk 'length > 80' out | grep -c '|')"
is "the rows have only ASCII" 0 "$(LC_ALL=C grep -c '[^ -~]' out)"
run env LC_ALL=C.UTF-8 "$TIPTRUE" "$@" --touches --plain run.csv
lacks "--plain has no strip" out '|'

# Progress: on standard error, only there, only of several runs, only when results go elsewhere.
many="run.csv other.csv run.csv other.csv"
# shellcheck disable=SC2086 # the names are words
terminal err "" "$TIPTRUE" "$@" $many
has "progress of several runs" out ' of 4 runs'
terminal err "" "$TIPTRUE" "$@" run.csv
is "no progress of one run" "" "$(cat out)"
# shellcheck disable=SC2086
terminal both "" "$TIPTRUE" "$@" $many
lacks "no progress between results" out ' of 4 runs'
# shellcheck disable=SC2086
run "$TIPTRUE" "$@" $many
is "no progress into a file" "" "$(cat err)"

# From the first second on, what is done and for how long: of a log that comes late, by itself, as a run so far, into a history.
slow='(sleep 1.3; cat run.csv) | "$0" "$@"'
terminal err "" sh -c "$slow" "$TIPTRUE" "$@" -
has "a second is told" out 'solving: 1 s'
has "the line is taken away" out "$escape\[K"
terminal err "" sh -c "$slow" "$TIPTRUE" "$@" -q -
lacks "--quiet tells no seconds" out 'solving'
terminal err "" sh -c "$slow" "$TIPTRUE" plan --plate plate.json --machine machine.json --target-u 0.01 --after -
has "a second of a plan" out 'planning: 1 s'
terminal err "" sh -c "$slow" "$TIPTRUE" history import --history slow.db --plate plate.json --machine machine.json -
has "a second of an import" out 'importing: 1 s'
run sh -c "$slow" "$TIPTRUE" "$@" -
is "no seconds into a file" "" "$(cat err)"
finish
