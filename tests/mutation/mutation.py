# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Are the tests worth their name? Plants faults in src, one at a time; asks the tests of that room.

    make mutation [FAULTS=400] [SEED=1] [ROOMS="adjust export"]

A fault is one change at a place drawn by the seed: a comparison negated, + for -, a constant
times 1.01, a statement left out, two arguments exchanged, sin for cos. What does not compile, or
compiles to the same machine code, is no fault and another is drawn. The library is linked as a
shared one, so that only the changed file is compiled and nothing else linked. Tests run from the
quickest to the slowest until one fails; one that hangs has found it. All is done in the build's
folder `mutation`; no source is touched. Survivors are listed; known.txt beside this file holds
those that cannot matter, with the reason, and these are not counted.
"""
import argparse
import collections
import hashlib
import os
import pathlib
import random
import re
import resource
import shlex
import shutil
import subprocess
import sys
import time

TOP = pathlib.Path(os.environ["srcdir"]).resolve()
WORK = pathlib.Path(os.environ["builddir"], "mutation")
CC = shlex.split(os.environ["CC"])
# an exchange that is not the types' is no fault
FLAGS = shlex.split(os.environ["TEST_CPPFLAGS"]) + [
    "-std=c11",
    "-ffp-contract=off",
    "-O1",
    "-fPIC",
    "-Werror=int-conversion",
    "-Werror=incompatible-pointer-types",
    "-Werror=format",
    "-Werror=discarded-qualifiers",
    "-I" + os.environ["builddir"],
]
LIBS = shlex.split(os.environ["MUTATION_LIBS"])
KNOWN = pathlib.Path(__file__).with_name("known.txt")
SHARED_HELPERS = ["tests/unit/adjust/scene.c", "tests/unit/adjust/scene_files.c"]

# room -> unit tests' rooms, and scripts
ROOMS = {
    "base": (
        ["base", "ingest", "output", "geometry"],
        ["field/expected.py", "cli/solve.sh", "history/history.sh"],
    ),
    "model": (
        ["adjust", "output", "ingest", "history"],
        ["field/expected.py", "cli/solve.sh", "planning/simulated.py", "cli/plan.sh"],
    ),
    "ingest": (
        ["ingest"],
        [
            "cli/check.sh",
            "cli/solve.sh",
            "cli/plan.sh",
            "cli/loop.sh",
            "field/expected.py",
            "history/history.sh",
        ],
    ),
    "geometry": (["geometry", "adjust"], ["field/expected.py", "planning/simulated.py"]),
    "adjust": (
        ["adjust"],
        ["field/expected.py", "cli/solve.sh", "cli/together.py", "reference/scipy_check.py"],
    ),
    "export": (["export"], ["cli/loop.sh", "cli/export.py"]),
    "planning": (
        ["planning"],
        [
            "planning/simulated.py",
            "planning/rehearsal.sh",
            "cli/plan.sh",
            "planning/even.py",
            "planning/program.py",
        ],
    ),
    "output": (
        ["output"],
        [
            "cli/solve.sh",
            "cli/check.sh",
            "cli/loop.sh",
            "cli/plan.sh",
            "field/expected.py",
            "report/pages.py",
        ],
    ),
    "history": (["history"], ["history/history.sh", "history/weeks.py"]),
    "app": (
        [],
        [
            "cli/solve.sh",
            "cli/check.sh",
            "cli/loop.sh",
            "cli/plan.sh",
            "cli/together.py",
            "field/expected.py",
            "history/history.sh",
        ],
    ),
    "cli": (
        [],
        [
            "cli/usage.sh",
            "cli/solve.sh",
            "cli/check.sh",
            "cli/loop.sh",
            "cli/plan.sh",
            "cli/streams.sh",
            "cli/complete.py",
            "history/history.sh",
        ],
    ),
}

HIDDEN = re.compile(
    r"""/\*.*?\*/|//[^\n]*|"(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*'|^[ \t]*\#[ \t]*(?:include|if|elif|ifdef|ifndef)[^\n]*""",
    re.S | re.M,
)
NEGATED = {"<": ">=", ">": "<=", "<=": ">", ">=": "<", "==": "!=", "!=": "=="}
SIGNS = {" + ": " - ", " - ": " + ", " += ": " -= ", " -= ": " += "}
STATEMENT = re.compile(
    r"^[ ]+(?!return\b|break\b|continue\b|else\b|case\b|goto\b|struct\b|const\b|size_t\b|double\b|bool\b|int\b|char\b|enum\b|"
    r"unsigned\b|static\b)[*\w(][^\n{}]*;$",
    re.M,
)


def masked(text):
    """@text with comments, strings and directives blanked, each at its place."""
    return HIDDEN.sub(lambda m: re.sub(r"[^\n]", " ", m.group()), text)


def pairs_of_arguments(code):
    """(start, end, start, end) of two neighbouring arguments of a call."""
    for call in re.finditer(r"\b(?!if\b|for\b|while\b|switch\b|return\b|sizeof\b)\w+\(", code):
        if re.search(r"^[\w*].*$", code[code.rfind("\n", 0, call.start()) + 1 : call.start() + 1]):
            continue  # a head at the first column: a declaration
        depth, cuts, at = 1, [call.end()], call.end()
        while at < len(code) and depth and code[at] not in ";{":
            depth += (code[at] in "([") - (code[at] in ")]")
            if depth == 1 and code[at] == ",":
                cuts.append(at + 1)
            at += 1
        cuts.append(at)
        for a, b, c in zip(cuts, cuts[1:], cuts[2:]):
            yield a, b - 1, b, c - 1


def faults_of(text):
    """(kind, start, end, replacement) of every fault that could be planted in @text."""
    code = masked(text)
    for m in re.finditer(r"(?<=[\w)\]] )(?:<=|>=|==|!=|<|>)(?= )", code):
        yield "comparison", m.start(), m.end(), NEGATED[m.group()]
    for m in re.finditer(r" (?:\+|-|\+=|-=) ", code):
        yield "sign", m.start(), m.end(), SIGNS[m.group()]
    for m in re.finditer(r"(?<![\w.])(?:\d+\.\d*(?:e[+-]?\d+)?|\d+e[+-]?\d+)(?![\w.])", code):
        if float(m.group()) != 0:
            yield "constant", m.start(), m.end(), repr(float(m.group()) * 1.01)
    for m in STATEMENT.finditer(code):
        if text[m.start() : m.end()].count("(") == text[m.start() : m.end()].count(")"):
            before = code[: m.start()].rstrip()
            if before.endswith((";", "{", "}", ":")):
                yield "statement", m.start(), m.end(), ";"
    for a, b, c, d in pairs_of_arguments(code):
        first, second = text[a:b].strip(), text[c:d].strip()
        if first != second:
            yield "arguments", a, d, f"{second}, {first}"
    for m in re.finditer(r"\b(sin|cos)\(", code):
        yield "sine", m.start(1), m.end(1), "cos" if m.group(1) == "sin" else "sin"


def room_of(path):
    return path.relative_to(TOP / "src").parts[0]


class House:
    """The objects, the shared library, the program and the tests, built once and mended after each fault."""

    def __init__(self, rooms):
        WORK.mkdir(parents=True, exist_ok=True)
        self.rooms = rooms
        self.sources = sorted((TOP / "src").rglob("*.c"))
        self.library = WORK / "libmutant.so"
        self.program = WORK / "tiptrue"
        self.began = {}

    def object_of(self, source):
        return WORK / "o" / (str(source.relative_to(TOP)).replace("/", "__") + ".o")

    def compile(self, source, text=None):
        """Whether @source, or @text in its place, compiles; the object is written."""
        target = self.object_of(source)
        target.parent.mkdir(exist_ok=True)
        # -x c -: the text; the digest of the object does not depend on where it lies
        return (
            subprocess.run(
                [*CC, *FLAGS, f"-I{source.parent}", "-c", "-x", "c", "-", "-o", target],
                stderr=subprocess.DEVNULL,
                input=(source.read_text() if text is None else text).encode(),
            ).returncode
            == 0
        )

    def link(self, source=None):
        """The library; the program too if @source is its own, or None."""
        cli = [self.object_of(s) for s in self.sources if room_of(s) == "cli"]
        core = [self.object_of(s) for s in self.sources if room_of(s) != "cli"]
        good = True
        if source is None or room_of(source) != "cli":
            good = (
                subprocess.run([*CC, "-shared", "-o", self.library, *core, *LIBS]).returncode == 0
            )
        if source is None or room_of(source) == "cli":
            good = (
                good
                and subprocess.run(
                    [*CC, "-o", self.program, *cli, self.library, f"-Wl,-rpath,{WORK}", *LIBS]
                ).returncode
                == 0
            )
        return good

    def build(self):
        for source in self.sources + [TOP / s for s in SHARED_HELPERS]:
            if not self.compile(source):
                sys.exit(f"{source} does not compile")
        if not self.link():
            sys.exit("the library does not link")
        helpers = WORK / "libhelpers.a"
        helpers.unlink(missing_ok=True)
        subprocess.run(
            ["ar", "rc", helpers, *[self.object_of(TOP / s) for s in SHARED_HELPERS]], check=True
        )
        folders = {folder for room in self.rooms for folder in ROOMS[room][0]}
        for test in sorted(
            t for f in folders for t in (TOP / "tests" / "unit" / f).glob("*_test.c")
        ):
            self.build_test(test, helpers)
        if any(s.startswith("history/") for room in self.rooms for s in ROOMS[room][1]):
            self.build_test(TOP / "tests" / "history" / "fill_history.c", helpers)

    def build_test(self, test, helpers):
        binary = WORK / test.relative_to(TOP).with_suffix("")
        binary.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run(
            [
                *CC,
                *FLAGS,
                f"-I{TOP}/tests/unit",
                test,
                helpers,
                self.library,
                f"-Wl,-rpath,{WORK}",
                *LIBS,
                "-o",
                binary,
            ],
            check=True,
        )

    def command(self, test):
        if test.endswith(".sh"):
            return ["sh", str(TOP / "tests" / test)]
        if test.endswith(".py"):
            return [os.environ["PYTHON"], str(TOP / "tests" / test)]
        return ["./" + test]

    def run(self, test, seconds):
        """Whether @test passes within @seconds."""
        environment = dict(
            os.environ,
            TIPTRUE=str(self.program),
            srcdir=str(TOP),
            builddir=str(WORK),
            HOME=str(WORK / "home"),
            TMPDIR=str(WORK / "tmp"),
            CK_DEFAULT_TIMEOUT=str(int(seconds)),
        )
        for folder in ("home", "tmp"):
            shutil.rmtree(WORK / folder, ignore_errors=True)
            (WORK / folder).mkdir()
        process = subprocess.Popen(
            self.command(test),
            cwd=WORK,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30)),
        )
        try:
            return process.wait(seconds) == 0
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, 9)
            process.wait()
            return False

    def measure(self):
        """Tests of each room, quickest first, as (test, seconds allowed); all must pass without a fault."""
        took = {}
        tests = {}
        for room in self.rooms:
            folders, scripts = ROOMS[room]
            tests[room] = [
                str(t.relative_to(TOP).with_suffix(""))
                for f in folders
                for t in sorted((TOP / "tests/unit" / f).glob("*_test.c"))
            ]
            tests[room] += scripts
            for test in tests[room]:
                if test not in took:
                    began = time.monotonic()
                    if not self.run(test, 600):
                        sys.exit(f"{test} fails without any fault: run it alone and look")
                    took[test] = time.monotonic() - began
        return {
            room: [(t, 8 * took[t] + 20) for t in sorted(names, key=took.get)]
            for room, names in tests.items()
        }


def known_faults():
    """(file, kind, line of the fault) -> why it cannot matter."""
    known = {}
    for line in KNOWN.read_text().split("\n") if KNOWN.exists() else []:
        if line and not line.startswith("#"):
            place, kind, rest = line.split(" | ", 2)
            found, reason = rest.rsplit(" | ", 1)
            known[place, kind, found.strip()] = reason
    return known


def draw(rng, rooms):
    """Faults in random order: the kind first, then one of its places, each at most once."""
    by_kind = collections.defaultdict(list)
    for source in sorted((TOP / "src").rglob("*.[ch]")):
        if source.suffix == ".c" and room_of(source) in rooms:
            for fault in faults_of(source.read_text()):
                by_kind[fault[0]].append((source, *fault))
    for faults in by_kind.values():
        rng.shuffle(faults)
    while by_kind:
        kind = rng.choice(sorted(by_kind))
        yield by_kind[kind].pop()
        if not by_kind[kind]:
            del by_kind[kind]


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--faults", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("rooms", nargs="*", default=[])
    options = parser.parse_args()
    rooms = options.rooms or sorted(ROOMS)
    house = House(rooms)
    house.build()
    tests = house.measure()
    digests = {s: hashlib.sha256(house.object_of(s).read_bytes()).digest() for s in house.sources}
    known = known_faults()
    count = collections.defaultdict(lambda: [0, 0])
    planted = 0
    for source, kind, start, end, new in draw(random.Random(options.seed), rooms):
        if planted == options.faults:
            break
        text = source.read_text()
        line = text.count("\n", 0, start) + 1 + (text[start] == "\n")
        shown = text.split("\n")[line - 1].strip()
        name = str(source.relative_to(TOP))
        if (name, kind, shown) in known:
            continue
        if (
            not house.compile(source, text[:start] + new + text[end:])
            or hashlib.sha256(house.object_of(source).read_bytes()).digest() == digests[source]
        ):
            continue
        planted += 1
        room = room_of(source)
        found = (
            "nothing links"
            if not house.link(source)
            else next((t for t, s in tests[room] if not house.run(t, s)), None)
        )
        count[room][found is not None] += 1
        old, new_shown = " ".join(text[start:end].split()), " ".join(new.split())
        print(
            f"{planted:4} {'found   ' if found else 'SURVIVED'} {name}:{line} | {kind} | {old} -> {new_shown} | {shown}"
            + (f" | {found}" if found else ""),
            flush=True,
        )
        house.compile(source)
        house.link(source)
    print("\nroom       planted  found")
    for room in sorted(count):
        missed, found = count[room]
        print(f"{room:9} {missed + found:8} {100 * found / (missed + found):5.1f} %")
    found = sum(c[1] for c in count.values())
    print(f"all       {planted:8} {100 * found / max(planted, 1):5.1f} %")


main()
