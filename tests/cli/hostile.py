# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Names that steer what shows them, and configurations that libraries cannot cope with.

No control character (C0, DEL, C1), line or paragraph separator and no direction character (Unicode
15: Cc, Zl, Zp, Bidi_Control) of any name reaches standard output or standard error, a cell of
`plan --csv` or a filled template; names are shown as \\u... instead. A cell that a spreadsheet would
take for a formula stands behind an apostrophe (CWE-1236).

2026-11-26: file names and C1 controls went to the terminal as they were; a template took U+0085 and
U+2028; a file name of 220 bytes was refused since "copies of this second exist already"; a tag of
40 000 attributes took half a minute; libxml2 printed by itself."""
import json
import os
import pathlib
import re
import resource
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
board = top / "examples" / "gauge-board"
program = str(pathlib.Path(os.environ["TIPTRUE"]).resolve())
tally = Tally()
STEERING = [
    "\x1b[31m", "\x07", "\x7f", "\x85", "\x9b31m", "\u061c", "\u200e", "\u2028G0 Z-99", "\u202e",
    "\u2066",
]  # fmt: skip
STEERS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
LIMIT_S = 2


def run(*command, **how):
    started = time.monotonic()
    done = subprocess.run([program, *command], capture_output=True, check=False, timeout=60, **how)
    return done, time.monotonic() - started


def put_into_xml(place):
    return run(*"export r.json --machine machine.json --into a.xml --dry-run --put".split(), place)


def no_steering(what, *texts):
    for text in texts:
        shown = text.decode("utf-8", "surrogateescape")
        found = STEERS.search(shown)
        tally.check(
            not found,
            f"{what}: {found!r} in {shown[max(0, (found or re.match('', '')).start() - 40):][:90]!r}",
        )


def with_names(suffix):
    """The example's files, a suffix at the name of each tip, an edge, a mark."""
    plate = json.loads((board / "plate.json").read_text())
    machine = json.loads((board / "machine.json").read_text())
    log = (board / "run.csv").read_text()
    machine.pop("export")
    for tip in machine["tips"]:
        log = log.replace(f",{tip['name']},", f",\"{tip['name']}{suffix}\",")
        tip["name"] += suffix
    log = log.replace(",top-left,", f',"top-left{suffix}",').replace(",K2,", f',"K2{suffix}",')
    plate["edges"][0]["name"] += suffix
    plate["marks"][1]["name"] += suffix
    plate["unknown" + suffix] = 1
    pathlib.Path("p.json").write_text(json.dumps(plate, ensure_ascii=False))
    pathlib.Path("m.json").write_text(json.dumps(machine, ensure_ascii=False))
    pathlib.Path("r.csv").write_text(log, newline="")


pair = ["--plate", "p.json", "--machine", "m.json"]
with tempfile.TemporaryDirectory() as scratch:
    os.chdir(scratch)
    os.environ["LC_ALL"] = "C.UTF-8"

    for suffix in STEERING:
        with_names(suffix)
        solved, _ = run("solve", "--json", *pair, "r.csv")
        tally.check(
            solved.returncode == 10, f"{suffix!r}: solve {solved.returncode} {solved.stderr[:300]}"
        )
        result = json.loads(solved.stdout)
        tally.check(
            result["tips"][0]["tip"] == "wide" + suffix, f"{suffix!r}: {result['tips'][0]['tip']!r}"
        )
        pathlib.Path("r.json").write_bytes(solved.stdout)
        # of JSON, RFC 8259 leaves DEL alone
        no_steering(f"JSON, {suffix!r}", solved.stdout.replace(b"\x7f", b""), solved.stderr)
        for command in (
            ["solve", "--touches", *pair, "r.csv"], ["check", *pair, "r.csv"],
            ["plan", "--touches", "16", *pair], ["plan", "--touches", "16", "--csv", *pair],
            ["compare", "r.json", "r.json"], ["solve", *pair, "--history", "h.db", "r.csv"],
            ["history", "list", "--history", "h.db"], ["trend", "--history", "h.db"],
            ["report", *pair, "-o", "-", "r.csv"], ["solve", *pair, "no-such" + suffix + ".csv"],
            ["solve", *pair, "r.csv", "--tip", "no-such" + suffix],
            ["export", "r.json", "--into", "none" + suffix, "--put", f"wide{suffix}.offset.x=x"],
            ["history", "show", "--history", "h.db", suffix], ["nothing" + suffix],
            ["history", "import", "--history", "h.db", "no-such" + suffix],
        ):  # fmt: skip
            done, _ = run(*command)
            no_steering(f"{command[0]}, {suffix!r}", done.stdout, done.stderr)
        pathlib.Path("t").write_text("(@(*.name))\n")
        done, _ = run("export", "r.json", "--machine", "m.json", "--template", "t")
        tally.check(done.returncode == 65 and done.stdout == b"", f"template, {suffix!r}: {done}")
        for path in pathlib.Path(scratch).glob("h.db*"):
            path.unlink()

    # what is beyond ASCII and steers nothing is shown as it was given
    with_names("-Düse→")
    done, _ = run("solve", *pair, "r.csv")
    tally.check("wide-Düse→" in done.stdout.decode(), f"{done.stdout[:200]}")

    # formulas
    for first in "=+-@":
        plate, machine = (
            json.loads((board / name).read_text()) for name in ("plate.json", "machine.json")
        )
        machine.pop("export")
        machine["tips"][1]["name"] = first + "1+1"
        pathlib.Path("p.json").write_text(json.dumps(plate))
        pathlib.Path("m.json").write_text(json.dumps(machine))
        done, _ = run("plan", "--csv", "--touches", "16", *pair)
        cells = {cell for line in done.stdout.decode().splitlines() for cell in line.split(",")}
        tally.check(
            f"'{first}1+1" in cells and f"{first}1+1" not in cells,
            f"a name that begins with {first}",
        )

    # configurations
    os.environ["LC_ALL"] = "C"
    for name in ("plate.json", "run.csv"):
        pathlib.Path(name).write_bytes((board / name).read_bytes())
    pathlib.Path("head.xml").write_bytes((top / "tests" / "data" / "export" / "head.xml").read_bytes())
    machine = json.loads((board / "machine.json").read_text())
    machine["export"][0]["file"] = "head.xml"
    machine["export"][0]["put"] = [
        f"{tip}.offset.{axis}:minus=/head/tip[@name='{tip}']/@d{axis}"
        for tip in ("wide", "narrow")
        for axis in "xy"
    ]
    pathlib.Path("machine.json").write_text(json.dumps(machine))
    pair = ["--plate", "plate.json", "--machine", "machine.json"]
    pathlib.Path("r.json").write_bytes(run("solve", "--json", *pair, "run.csv")[0].stdout)
    head = pathlib.Path("head.xml").read_bytes()

    long_name = "n" * 216 + ".xml"
    pathlib.Path(long_name).write_bytes(head)
    done, _ = run("export", "r.json", "--machine", "machine.json", "--into", long_name)
    tally.check(done.returncode == 78 and b"name is too long" in done.stderr, f"long name: {done}")
    pathlib.Path("n" * 211 + ".xml").write_bytes(head)
    done, _ = run("export", "r.json", "--machine", "machine.json", "--into", "n" * 211 + ".xml")
    tally.check(done.returncode == 0, f"a name of 215 bytes: {done}")
    tally.check(
        any(p.name.endswith(".bak") for p in pathlib.Path(".").iterdir()), "it has its copy"
    )

    place = "narrow.offset.x:minus=/head/tip/@dx"
    for count, status in ((1990, 0), (2010, 78), (100000, 78)):
        attributes = " ".join(f'a{i}="1"' for i in range(count))
        pathlib.Path("a.xml").write_text(
            f'<head {attributes}><tip name="narrow" dx="-52.8730"/></head>'
        )
        done, seconds = put_into_xml(place)
        tally.check(
            done.returncode == status and seconds < LIMIT_S,
            f"{count} attributes: {done.returncode}, {seconds:.1f} s, {done.stderr[:200]}",
        )
    pathlib.Path("a.xml").write_text(
        "<!-- "
        + 'a="" ' * 9000
        + "--><head><![CDATA["
        + "= " * 9000
        + ']]><tip name="narrow" dx="-52.8730"/></head>'
    )
    done, _ = put_into_xml(place)
    tally.check(done.returncode == 0, f"a comment is no tag: {done.stderr[:200]}")

    for place in (
        "document('/etc/passwd')",
        "//tip[",
        "$x",
        "no:such()",
        "/head/tip[nofunction()]/@dx",
    ):
        done, _ = run(
            "export",
            "r.json",
            "--machine",
            "machine.json",
            "--into",
            "head.xml",
            "--put",
            f"narrow.offset.x={place}",
        )
        lines = done.stderr.decode().splitlines()
        ours = [line for line in lines if line.startswith(("head.xml", "tiptrue", "  hint", "  "))]
        tally.check(
            done.returncode in (64, 78) and lines == ours, f"{place}: {done.returncode} {lines}"
        )

    # the library is there, and cannot be loaded
    def few_descriptors():
        resource.setrlimit(resource.RLIMIT_NOFILE, (4, 4))

    for limit, name in ((few_descriptors, "descriptors"),):
        done, _ = run(
            "export", "r.json", "--machine", "machine.json", "--dry-run", preexec_fn=limit
        )
        tally.check(
            done.returncode in (66, 71, 74) and b"not installed" not in done.stderr,
            f"{name}: {done}",
        )
    if "asan" not in os.popen(f"ldd {program}").read():
        seen = set()
        for mib in range(14, 60, 2):

            def little_memory(size=mib << 20):
                resource.setrlimit(resource.RLIMIT_AS, (size, size))

            done, _ = run(
                "export",
                "r.json",
                "--machine",
                "machine.json",
                "--dry-run",
                preexec_fn=little_memory,
            )
            started = (
                b"error while loading shared libraries" not in done.stderr and done.returncode >= 0
            )
            seen.add(done.returncode if started else "not started")
            tally.check(not started or done.returncode in (0, 71, 127), f"{mib} MiB: {done}")
            tally.check(b"not installed" not in done.stderr, f"{mib} MiB: {done.stderr}")
        tally.check({0, 71} <= seen, f"limits tried from too little to enough: {seen}")
    head_now = pathlib.Path("head.xml").read_bytes()
    tally.check(head_now == head, "the configuration is as it was")
    os.chdir("/")
tally.close()
