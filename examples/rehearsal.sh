#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
# A whole morning without the machine: plan the touches, simulate what its controller would log, solve that log. Works in a folder
# of its own, and leaves the log, the plan and the truth there: sh examples/rehearsal.sh [FOLDER]; TIPTRUE names the program.
set -eu
here=$(cd "$(dirname "$0")/gauge-board" && pwd)
tiptrue=${TIPTRUE:-tiptrue}
folder=${1:-rehearsal}
mkdir -p "$folder"
cd "$folder"
files="--plate $here/plate.json --machine $here/machine.json"
pattern='trip id=(?<id>\d+) x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])'

# shellcheck disable=SC2086 # two options and two files
{
    "$tiptrue" plan $files --target-u 0.003 --json >plan.json
    "$tiptrue" simulate $files --plan plan.json --draw --seed 20 --truth-out truth.json --controller-log >controller.log
    "$tiptrue" solve $files --plan plan.json --pattern "$pattern" controller.log
}
