# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""tiptrue export: files of many shapes, read by Python's own parsers before and after; signs, units and rounding against Python's
decimal arithmetic; guards; templates; the way back. What is refused must leave every byte as it was."""
import codecs
import configparser
import csv
import decimal
import fcntl
import json
import math
import os
import pathlib
import re
import stat
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from recorded import Recorded  # noqa: E402
from tally import Tally, times  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
program = os.environ["TIPTRUE"]
board = top / "examples" / "gauge-board"
tally = Tally()
recorded = Recorded("tests/cli/export_said.txt")
scratch = tempfile.TemporaryDirectory()
work = pathlib.Path(scratch.name)
os.chdir(work)


def run(*arguments, stdin=None):
    return subprocess.run([program, *map(str, arguments)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, input=stdin, check=False)


def export(*arguments):
    return run("export", *arguments)


UNCHECKED = "tiptrue: warning: no machine file is named: not checked that the result is of this machine\n  hint: give --machine\n"


def expect(done, status, what, error=None):
    message = done.stderr.decode()
    if not what.startswith("big"):  # these are smaller under sanitizers
        recorded.put(what.replace(str(work), ""), done.stdout.decode(errors="replace") + message.replace(UNCHECKED, ""))
    tally.check(done.returncode == status, f"{what}: exit status {done.returncode}, not {status}: {message}")
    if error is not None:
        tally.check(error in message, f"{what}: not told '{error}' but: {message}")


def write(name, data):
    path = work / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


# A result of which both tips are to be updated: the machine file states no present offsets. The rest is that of the example.
machine = json.loads((board / "machine.json").read_text())
del machine["export"]
for tip in machine["tips"]:
    del tip["offset"], tip["offset_plate"]
write("free.json", json.dumps(machine))
for name in ("plate.json", "run.csv", "run-repeat.csv"):
    write(name, (board / name).read_bytes())
present = json.loads((board / "machine.json").read_text())
del present["export"]
write("machine.json", json.dumps(present))
solved = run("solve", "--json", "--plate", "plate.json", "--machine", "free.json", "run.csv")
tally.check(solved.returncode == 10, f"the run's verdict is update, not exit status {solved.returncode}")
write("result.json", solved.stdout)
result = json.loads(solved.stdout)
tips = {tip["tip"]: tip for tip in result["tips"]}


def exact(number):
    return decimal.Decimal(repr(number))


def number_of(tip, quantity, rotation=None, clockwise=False):
    """The number in mm, worked out here: formats.md, frames and signs."""
    t = tips[tip]
    kind, _, axis = quantity.partition(".")
    if rotation is not None:
        theta = math.radians(-rotation if clockwise else rotation)
        e = t["runout"]["at_zero_mm"]
        turned = {"x": math.cos(theta) * e["x"] - math.sin(theta) * e["y"],
                  "y": math.sin(theta) * e["x"] + math.cos(theta) * e["y"]}
        return exact(turned[axis] + (t["offset_mm"][axis] if kind == "offset" else 0.0))
    return exact({"offset": lambda: t["offset_mm"][axis], "runout": lambda: t["runout"]["at_zero_mm"][axis],
                  "eccentricity": lambda: t["runout"]["eccentricity_mm"], "radius": lambda: t["contact_radius_mm"],
                  "u": lambda: t["u_offset_mm"][axis], "expanded": lambda: t["coverage"]["expanded_mm"][axis]}[kind]())


UNITS = {"mm": (1, 4), "inch": (decimal.Decimal("25.4"), 5), "um": (decimal.Decimal("0.001"), 1)}


def written(field):
    """What @field must be written as."""
    head, *modifiers = field.split(":")
    head, _, rotation = head.partition("@")
    tip, quantity = head.split(".", 1)
    value = number_of(tip, quantity, float(rotation) if rotation else None)
    unit = next((m for m in modifiers if m in UNITS), "mm")
    places = next((int(m[1:]) for m in modifiers if m.startswith(".")), UNITS[unit][1])
    value = (-value if "minus" in modifiers else value) / UNITS[unit][0]
    return format(value.quantize(decimal.Decimal(1).scaleb(-places), rounding=decimal.ROUND_HALF_UP), "f")


def flat_json(data):
    def walk(value, path):
        if isinstance(value, (dict, list)):
            for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
                yield from walk(inner, f"{path}/{key}")
            yield path + "/#", str(len(value))
        else:
            yield path, value
    return dict(walk(json.loads(data.decode("utf-8-sig"), parse_float=str, parse_int=str), ""))


def flat_xml(data):
    def walk(element, path):
        yield path + " text", element.text
        yield path + " tail", element.tail
        for key, value in element.items():
            yield f"{path}@{key}", value
        for i, child in enumerate(element):
            yield from walk(child, f"{path}/{i}:{child.tag}")
    return dict(walk(ElementTree.fromstring(data), ""))


def flat_ini(data):
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str
    parser.read_string(data.decode("utf-8-sig"))
    return {f"{s}.{k}": v for s in parser.sections() for k, v in parser[s].items()}


def flat_lines(data):
    return dict(enumerate(data.decode("latin-1").split("\n")))


def flat_words(data):
    return {(i, j): w for i, line in enumerate(data.decode("latin-1").split("\n")) for j, w in enumerate(line.split(" "))}


def bytes_outside(data, texts):
    """@data without the values, which stand there in the order of @texts."""
    rest = []
    for text in texts:
        before, found, data = data.partition(text.encode())
        tally.check(found != b"", f"'{text}' does not stand in the file")
        rest.append(before)
    return [*rest, data]


def shape(name, data, flat, puts, *more, target=None):
    """Export @puts, {FIELD: (PLACE, key of flat, text in the file now)}, into a file of @data: exactly these values differ."""
    path = write(name, data) if target is None else target
    old = flat(path.read_bytes())
    options = [x for field, (place, _, _) in puts.items() for x in ("--put", f"{field}={place}")]
    done = export("result.json", "--into", path, *options, *more)
    expect(done, 0, name)
    new_data = path.read_bytes()
    new = flat(new_data)
    changed = {key: new.get(key) for key in {*old, *new} if old.get(key) != new.get(key)}
    wanted = {key: old[key].replace(text, written(field), 1) for field, (_, key, text) in puts.items()}
    tally.check(changed == wanted, f"{name}: changed {changed}, meant {wanted}")
    tally.check(bytes_outside(data if isinstance(data, bytes) else data.encode(), [text for _, _, text in puts.values()]) ==
                bytes_outside(new_data, [written(field) for field in puts]), f"{name}: bytes outside the values differ")
    copies = sorted(work.glob(name + ".*.bak"))
    tally.check(len(copies) >= 1 and copies[-1].read_bytes() == (data if isinstance(data, bytes) else data.encode()),
                f"{name}: no copy of the old file: {copies}")
    tally.check(not list(work.glob(".*tiptrue*")), f"{name}: left behind {list(work.glob('.*tiptrue*'))}")
    # and back, byte for byte
    expect(export("--undo", path), 0, f"{name}, undo")
    tally.check(path.read_bytes() == (data if isinstance(data, bytes) else data.encode()),
                f"{name}: undo does not give the old bytes")


XML = """<?xml version="1.0" encoding="ISO-8859-1"?>
<!-- the head at 20 \xb0C; x="7.7" in a remark means nothing -->
<!DOCTYPE h:head [ <!ELEMENT h:head ANY> <!ATTLIST h:tip kind CDATA "]>'plain" > ]>
<h:head xmlns:h="urn:weir:head" xmlns="urn:weir:other" note='a "b" &gt; c'>
  <h:tip name = 'wide' x = "36.2140"\th:y="-18.4420" ><h:r>7</h:r></h:tip>\r
  <h:tip
     name="narrow"><h:x> <![CDATA[ 52.8730 ]]></h:x><?keep x="1"?>
     <h:y>18.306<!-- in the head's own sense --></h:y><empty/><e2 a="&lt;>"/></h:tip>
  <x>-0.7</x>
</h:head>
<!-- end -->
""".encode("latin-1")
TIP = "{urn:weir:head}tip"
shape("head.xml", XML, flat_xml, {
    "wide.offset.x:.3": ("//h:tip[@name='wide']/@x", f"/0:{TIP}@x", "36.2140"),
    "wide.offset.y": ("/h:head/h:tip[1]/@h:y", f"/0:{TIP}@{{urn:weir:head}}y", "-18.4420"),
    "narrow.offset.x:inch:.6": ("//h:tip[@name='narrow']/h:x", f"/1:{TIP}/0:{{urn:weir:head}}x text", "52.8730"),
    "narrow.offset.y:minus": ("//h:y/text()", f"/1:{TIP}/1:{{urn:weir:head}}y text", "18.306"),
    "narrow.runout.x:um": ("/*/*[local-name()='x']", "/2:{urn:weir:other}x text", "-0.7"),
})

JSON = b"""{"head": {"a/b~c": [ {"x":3.6214E+1 , "y": -18.442e0},\r
   { "x" : "52.873", "y": [ -18.306 ], "\\u006eote": "x" } ], "e": 5e-3},
  "rest": [1.50, true, null, "\\u00b0 \xc2\xb0", {}, []]\t}\n\n"""
shape("head.json", JSON, flat_json, {
    "wide.offset.x": ("/head/a~1b~0c/0/x", "/head/a/b~c/0/x", "3.6214E+1"),
    "wide.offset.y:.6": ("/head/a~1b~0c/0/y", "/head/a/b~c/0/y", "-18.442e0"),
    "narrow.offset.x": ("/head/a~1b~0c/1/x", "/head/a/b~c/1/x", "52.873"),
    "narrow.offset.y:minus": ("/head/a~1b~0c/1/y/0", "/head/a/b~c/1/y/0", "-18.306"),
    "narrow.eccentricity:.5": ("/head/e", "/head/e", "5e-3"),
})
shape("list.json", b'[[3.5], -0.0]', flat_json, {"narrow.radius": ("/0/0", "/0/0", "3.5"), "wide.u.y:um:.2": ("/1", "/1", "-0.0")})

INI = codecs.BOM_UTF8 + b"""; bench\r
[camera]\r
offset_x = 0\r
[tip.wide]\r
offset_x = +36.2140   ; measured\r
offset_y: "-18.4420"\r
[camera]\r
exposure = 12.5\r
[narrow]\r
a.b=52.873\r
# offset_y = 1\r
offset_y =\t-18.306\t\r
unit = mm"""
shape("head.ini", INI, flat_ini, {
    "wide.offset.x:.2": ("tip.wide.offset_x", "tip.wide.offset_x", "+36.2140"),
    "wide.offset.y:um:.0": ("tip.wide.offset_y", "tip.wide.offset_y", "-18.4420"),
    "wide.radius": ("camera.exposure", "camera.exposure", "12.5"),
    "narrow.offset.x:minus:inch": ("narrow.a.b", "narrow.a.b", "52.873"),
    "narrow.offset.y@37.4": ("narrow.offset_y", "narrow.offset_y", "-18.306"),
})

TEXT = b"\xef\xbb\xbfM900\r\nT1 X36.2140 Y-18.4420 ; wide \xb0\r\nT2 X52.8730 Y-18.3060\rT9 X1\n"
shape("head.nc", TEXT, flat_words, {
    "wide.offset.x": (r"~^T1 X(\S+)", (1, 1), "36.2140"),
    "wide.expanded.y:.3": (r"~^T1 .*Y(\S+) ;", (1, 2), "-18.4420"),
    "narrow.offset.x:.1": (r"~T2 X([-.\d]+) Y", (2, 1), "52.8730"),
    "narrow.offset.y:minus": (r"~T2(?: \S+) Y(\S+)$", (2, 2), "-18.3060"),
})

# Large ones: five megabytes, a tenth of that under sanitizers, the values in the middle.
PART = times(1, 10)
filler = [f'<p n="{i}" x="{i * 0.37:.4f}">{i % 17}</p>\n' for i in range(170000 // PART)]
big = "<all>" + "".join(filler[:90000 // PART]) + '<tip x="36.2140"/>' + "".join(filler[90000 // PART:]) + "</all>"
tally.check(len(big) > 5e6 / PART, f"the large file has {len(big)} bytes only")
began = time.monotonic()
shape("big.xml", big, flat_xml, {"wide.offset.x": ("/all/tip/@x", f"/{90000 // PART}:tip@x", "36.2140")})
big_json = '{"p": [' + ",".join(f'{{"n": {i}, "x": {i * 0.37:.4f}}}' for i in range(180000 // PART)) + ', {"wide": 36.2140}]}'
tally.check(len(big_json) > 5e6 / PART, f"the large JSON file has {len(big_json)} bytes only")
shape("big.json", big_json, flat_json, {"wide.offset.x": (f"/p/{180000 // PART}/wide", f"/p/{180000 // PART}/wide", "36.2140")})
big_ini = "".join((f"[s{i}]\n" if i % 3000 == 0 else "") + f"x{i} = {i * 0.37:.4f}\n"
                  for i in range(280000 // PART)) + "[wide]\nx = 36.2140\n"
tally.check(len(big_ini) > 5e6 / PART, f"the large INI file has {len(big_ini)} bytes only")
shape("big.ini", big_ini, flat_ini, {"wide.offset.x": ("wide.x", "wide.x", "36.2140")})
shape("big.txt", big_ini, flat_lines, {"wide.offset.x": (r"~\[wide\]\nx = (\S+)", big_ini.count("\n") - 1, "36.2140")})

# Owner, mode, times' owner aside; a symbolic link stays one and its target is replaced.
(work / "real").mkdir()
target = write("real/head.ini", INI)
target.chmod(0o640)
if os.geteuid() == 0:
    os.chown(target, 12345, 54321)
try:
    os.setxattr(target, "user.origin", b"bench")
    os.setxattr(target, "user.second", b"two\0zwei")
    attributes = True
except OSError:
    attributes = False
link = work / "link.ini"
link.symlink_to("real/head.ini")
before = target.stat()
expect(export("result.json", "--into", "link.ini", "--put", "wide.offset.x=tip.wide.offset_x"), 0, "through a link")
tally.check(link.is_symlink() and os.readlink(link) == "real/head.ini", "the link is none any more")
after = target.stat()
tally.check((after.st_uid, after.st_gid, after.st_mode) == (before.st_uid, before.st_gid, before.st_mode), "owner or mode is lost")
tally.check(not attributes or (os.getxattr(target, "user.origin"), os.getxattr(target, "user.second")) == (b"bench", b"two\0zwei"),
            "an extended attribute is lost")
tally.check(flat_ini(target.read_bytes())["tip.wide.offset_x"].split()[0] == written("wide.offset.x"),
            "the link's target is as it was")
copy, = (work / "real").glob("head.ini.*.bak")
kept = copy.stat()
tally.check((kept.st_uid, kept.st_gid, kept.st_mode) == (before.st_uid, before.st_gid, before.st_mode),
            "the copy's owner or mode differs")
expect(export("--undo", "link.ini"), 0, "undo through a link")
tally.check(target.read_bytes() == INI and link.is_symlink(), "undo through a link")


def refused(name, data, puts, error, status=78, *more, result_file="result.json"):
    """Nothing is written, nothing left behind."""
    path = write(name, data)
    listed = sorted(work.iterdir())
    before = path.stat()
    options = [x for put in puts for x in ("--put", put)]
    expect(export(result_file, "--into", path, *options, *more), status, f"{name} {puts} {more}", error)
    tally.check(path.read_bytes() == (data if isinstance(data, bytes) else data.encode()), f"{name} {puts}: was written to")
    tally.check(path.stat().st_mtime_ns == before.st_mtime_ns and path.stat().st_ino == before.st_ino, f"{name}: was touched")
    tally.check(sorted(work.iterdir()) == listed, f"{name}: left something behind")


X = "wide.offset.x="
# Places that are nothing, more than one thing, or no number: what is there is shown.
refused("a.json", JSON, [X + "/head/z"], "an object with the keys: a/b~c; e")
refused("a.json", JSON, [X + "/head/a~1b~0c/2/x"], "an array of 2, counted from 0")
refused("a.json", JSON, [X + "/head/a~1b~0c/00/x"], "an array of 2")
refused("a.json", JSON, [X + "/head/e/x"], "the value 5e-3")
refused("a.json", JSON, [X + "/head"], "is an object, where a number is meant")
refused("a.json", JSON, [X + "/rest/1"], "holds 'true', which is not a number")
refused("a.json", JSON, [X + "/rest/3"], "which is not a number")
refused("a.json", '{"x": 1.5, "y": 2, "x": 3}', [X + "/x"], "line 1: ")
refused("a.json", '{"x": 1.5, "\\u0078": 3}', [X + "/x"], "is 2 values, where one is meant")
refused("a.json", '{"x": 1.5} // mm\n', [X + "/x"], "a.json:1:12: error: '//' where the end of the file is expected")
refused("a.json", '// mm\n{"x": 1.5}\n', [X + "/x"], "JSON has no comments (RFC 8259)")
refused("a.json", '{"x": /* mm */ 1.5}\n', [X + "/x"], "JSON has no comments (RFC 8259)")
refused("a.json", '{"x": 1.5,}', [X + "/x"], "a comma after the last one")
refused("a.json", '{"x": 1.5', [X + "/x"], "the file looks cut short")
refused("a.json", '{"x": "\xff"}'.encode("latin-1"), [X + "/x"], "UTF-8")
refused("a.json", JSON, [X + "head/e"], "begins with '/'", 64)
refused("a.json", JSON, [X + "/head/~e"], "a '~' without 0 or 1", 64)
refused("a.json", JSON, [X + "/head/e", "wide.offset.y=/head/e"], "are the same value")
refused("a.xml", XML, [X + "//h:tip/@name"], "is 2 values, where one is meant")
refused("a.xml", XML, [X + "//h:tip[2]/h:z"], "has: @name; h:x; h:y; empty; e2")
refused("a.xml", XML, [X + "//tip/@x"], "the outermost element <h:head> has: @note; h:tip; h:tip; x")
refused("a.xml", XML, [X + "//h:tip[2]"], "with other elements in it")
refused("a.xml", XML, [X + "//*[local-name()='empty']"], "without text")
refused("a.xml", XML, [X + "//h:tip[1]/@kind"], "has: @name; @x; @h:y; h:r")
refused("a.xml", XML, [X + "//h:tip[1]/@name"], "holds 'wide', which is not a number")
refused("a.xml", XML, [X + "//*[local-name()='e2']/@a"], "not written plainly")
refused("a.xml", XML, [X + "//comment()[1]"], "is ")
refused("a.xml", XML, [X + "count(//h:tip)"], "is computed from the file", 64)
refused("a.xml", XML, [X + "//h:tip["], "none that can be evaluated", 64)
refused("a.xml", XML, [X + "//k:tip"], "none that can be evaluated", 64)
refused("a.xml", "<a><x>1.5</x></b>", [X + "//x"], "is not well-formed XML")
refused("a.xml", "<a><x>1<!-- -->.5</x></a>", [X + "//x"], "in several pieces")
refused("a.xml", "<a><x>&#49;.5</x></a>", [X + "//x"], "not written plainly")
refused("a.xml", "<a><x>1.5</x></a>".encode("utf-16"), [X + "//x"], "UTF-16")
refused("a.ini", INI, [X + "narrow.offset"], "keys there are: a.b; offset_y; unit")
refused("a.ini", INI, [X + "thin.x"], "sections there are: camera; tip.wide; camera; narrow")
refused("a.ini", INI, [X + "narrow.unit"], "holds 'mm', which is not a number")
refused("a.ini", INI + b"\n[camera]\nexposure = 9\n", [X + "camera.exposure"], "line 8: 'exposure = 12.5'; line 15: 'exposure = 9'")
refused("a.ini", b"[a]\nx = 36,2140\n", [X + "a.x"], "only a number with a decimal point is replaced")
refused("a.ini", b"[a]\nx =\n", [X + "a.x"], "write 0 there")
refused("a.ini", b"[a]\nx = 1\0\n", [X + "a.x"], "NUL")
refused("a.txt", TEXT, [X + r"~T\d X(\S+)"], "line 2: 'T1 X36.2140")
refused("a.txt", TEXT, [X + r"~T7 X(\S+)"], "no value found at '~T7 X")
refused("a.txt", TEXT, [X + r"~T1 X\S+"], "has 0 groups", 64)
refused("a.txt", TEXT, [X + r"~(T1) X(\S+)"], "has 2 groups", 64)
refused("a.txt", TEXT, [X + r"~T1 X(\S+"], "parenthes", 64)
# A pattern that would take for ever, on one line and on many.
began = time.monotonic()
refused("a.txt", "x" * 40 + "\ny", [X + r"~((?:x+x+)+)y"], "takes too long", 64)
refused("a.txt", "aaaaaaaaaaaaaaaaaaaa\n" * 100000 + "b", [X + r"~((?:a+)+)b"], "takes too long", 64)
refused("a.xml", "<a>" + "<b/>" * 3000 + "</a>", [X + "//b[count(//b[count(//b[count(//b)>1])>1])>1]/@x"], "evaluated", 64)
tally.check(time.monotonic() - began < 60, f"hostile places took {time.monotonic() - began:.0f} s")

# A place that depends on the value: once written, it would be another one.
refused("a.xml", '<a><t x="52.9"/><t x="52.901"/></a>', ["narrow.offset.x=//t[not(../t/@x < @x)]/@x"],
        "would no longer be the value")
refused("a.ini", "[a]\nx = 52.9\n", [X + r"~x = (52\.9)$"], "no value found at")

# Entities: none is expanded or fetched, an outer document type is not opened.
write("secret.txt", "7.5")
(work / "outer.dtd").write_text("this is no document type <<<")
refused("a.xml", '<!DOCTYPE a [<!ENTITY e SYSTEM "secret.txt">]><a><x>&e;</x></a>', [X + "//x"], "declares an entity")
refused("a.xml", '<?xml version="1.0"?>\n<!-- e -->\n<!DOCTYPE a [<!ENTITY e "7">]>\n<a><x>1</x></a>', [X + "//x"],
        "a.xml:3: error: declares an entity")
BOMB = '<!DOCTYPE a [<!ENTITY l0 "0">' + "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">'
                                                 for i in range(1, 12)) + "]><a><x>&l11;</x></a>"
began = time.monotonic()
refused("a.xml", BOMB, [X + "//x"], "declares an entity")
tally.check(time.monotonic() - began < 2, "an entity bomb took its time")
refused("a.xml", '<!DOCTYPE a [<!ENTITY % p SYSTEM "secret.txt"> %p;]><a><x>1</x></a>', [X + "//x"], "declares an entity")
shape("outer.xml", '<!DOCTYPE a SYSTEM "outer.dtd"><a><x>1.5</x></a>', flat_xml, {"wide.offset.x": ("/a/x", "/0:x text", "1.5")})
watched = work / "watched.xml"
watched.write_text('<!DOCTYPE a SYSTEM "outer.dtd"><a><x>1.5</x></a>')
(work / "outer.dtd").unlink()
os.mkfifo(work / "outer.dtd")  # whoever opens it waits for ever
done = subprocess.run([program, "export", "result.json", "--into", "watched.xml", "--put", X + "/a/x", "--dry-run"],
                      stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=20, check=False)
tally.check(done.returncode == 0, "an outer document type stops the export")

# Without libxml2 (a file of its name that is no library stands first in the search): told for XML, all else works.
(work / "libraries").mkdir()
(work / "libraries" / "libxml2.so.2").write_bytes(b"")
lacking = {**os.environ, "LD_LIBRARY_PATH": str(work / "libraries")}
for name, text, place, status in (("a.xml", "<a><x>1.5</x></a>", "/a/x", 78), ("a.json", '{"x": 1.5}', "/x", 0)):
    write(name, text)
    done = subprocess.run([program, "export", "result.json", "--into", name, "--put", X + place], stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, env=lacking, check=False)
    expect(done, status, f"{name} without libxml2", "which is not installed" if status else "")
    tally.check(((work / name).read_text() == text) == (status != 0), f"{name} without libxml2: {(work / name).read_text()}")

# Fields that are none; tips that are not there; what the run does not determine.
for field, error in {
    "wide.offset": "no quantity that is known", "wide.offset.z": "no quantity that is known",
    "offset.x": "no quantity that is known",
    "wide.offset.x:cm": "an unknown modifier 'cm'", "wide.offset.x:mm:inch": "a unit is given twice",
    "wide.offset.x:minus:minus": "'minus' is given twice", "wide.offset.x:.3:.4": "decimals are given twice",
    "wide.offset.x:.10": "an unknown modifier", "wide.offset.x:": "a colon has nothing after it",
    "wide.radius@30": "only offset and runout",
    "*.offset.x": "is for templates", "wide.offset.x@*": "no quantity",
}.items():
    refused("a.json", '{"x": 1.5}', [field + "=/x"], error, 64)
refused("a.json", '{"x": 1.5}', ["thin.offset.x=/x"], "tips of the result: 'wide' 'narrow'", 65)
refused("a.json", '{"x": 1.5}', ["wide.offset.x"], "is not FIELD=PLACE", 64)
unknown = json.loads(solved.stdout)
unknown["tips"][0]["runout"] = None
write("unknown.json", json.dumps(unknown))
refused("a.json", '{"x": 1.5}', ["wide.offset.x@90=/x"], "the run does not determine it", 65, result_file="unknown.json")

# Files that are not replaced.
path = write("fixed.json", '{"x": 1.5}')
path.chmod(0o444)
expect(export("result.json", "--into", path, "--put", X + "/x"), 78, "a read-only file", "is read-only, and is not replaced")
tally.check(path.read_text() == '{"x": 1.5}' and stat.S_IMODE(path.stat().st_mode) == 0o444, "a read-only file was touched")
path = write("two.json", '{"x": 1.5}')
os.link(path, work / "names.json")
expect(export("result.json", "--into", path, "--put", X + "/x"), 78, "a file of two names", "several names (hard links)")
os.mkfifo(work / "pipe.json")
expect(export("result.json", "--into", "pipe.json", "--put", X + "/x"), 78, "a pipe", "is not a regular file")
expect(export("result.json", "--into", ".", "--put", X + "/x"), 78, "a folder", "is not a regular file")
expect(export("result.json", "--into", "nowhere.json", "--put", X + "/x"), 66, "no file", "cannot be opened")
path = write("locked.json", '{"x": 1.5}')
for name, lock in {"flock": fcntl.flock, "record lock": fcntl.lockf}.items():
    with open(path, "r+b") as held:
        lock(held, fcntl.LOCK_EX)
        expect(export("result.json", "--into", path, "--put", X + "/x"), 74, f"a file under {name}", "is locked by ")
        tally.check(path.read_text() == '{"x": 1.5}', f"{name}: was written")

# Signs, units and axes: export, read back as the present offset, solve again: the change is nothing to the last written digit. The
# digits themselves were held above against numbers worked out here, so that two wrongs cannot make a right.
LAST = {"mm": 1.0, "inch": 25.4, "um": 0.001}
for unit, places in (("mm", 4), ("mm", 2), ("inch", 5), ("inch", 3), ("um", 1), ("um", 0)):
    for signs in ("", "x", "y", "xy"):
        fields = {axis: f"narrow.offset.{axis}" + (":minus" if axis in signs else "") + f":{unit}:.{places}" for axis in "xy"}
        document = {**machine, "export": [{"file": "c.json", "put": [f"{fields[axis]}=/{axis}" for axis in "xy"]}]}
        write("m.json", json.dumps(document))
        write("c.json", '{"x": 0, "y": 0}')
        expect(export("result.json", "--machine", "m.json", "--tip", "narrow"), 0, f"round trip {fields}")
        stands = json.loads((work / "c.json").read_text(), parse_float=str, parse_int=str)
        tally.check(stands == {axis: written(fields[axis]) for axis in "xy"}, f"{fields}: wrote {stands}")
        again = run("solve", "--json", "--plate", "plate.json", "--machine", "m.json", "--present", "c.json", "run.csv")
        tip = json.loads(again.stdout)["tips"][1]
        for axis in "xy":
            change = abs(tip["change_mm"][axis])
            tally.check(tip["tip"] == "narrow" and change <= 0.5001 * 10.0 ** -places * LAST[unit],
                        f"{fields}: read back, {axis} changes by {change} mm")
            tally.check(abs(tip["present_mm"][axis] - float(tips["narrow"]["offset_mm"][axis])) < 0.02, f"{fields}: present {axis}")
# What a wrong sign or swapped axes in the places would do is seen in the change: twice the offset.
write("m.json", json.dumps({**machine, "export": [{"put": ["narrow.offset.x:minus=/x", "narrow.offset.y=/y"]}]}))
write("c.json", json.dumps({axis: tips["narrow"]["offset_mm"][axis] for axis in "xy"}))
again = json.loads(run("solve", "--json", "--plate", "plate.json", "--machine", "m.json", "--present", "c.json", "run.csv").stdout)
tally.check(abs(again["tips"][1]["change_mm"]["x"] - 2 * tips["narrow"]["offset_mm"]["x"]) < 1e-3, "a wrong sign is not seen")
sign = export("result.json", "--into", "c.json", "--machine", "m.json", "--tip", "narrow", "--max-change", "0.2")
expect(sign, 65, "a wrong sign",
       "would move by 105.8")
# The plausible change holds without being asked for: 0.3 mm, or what the machine file says, in any file but one that holds 0; the
# option can only be stricter; a result whose change was accepted passes.
near = {axis: round(tips["narrow"]["offset_mm"][axis] + d, 4) for axis, d in (("x", 0.28), ("y", -0.33))}
right = {**machine, "export": [{"put": ["narrow.offset.x=/x", "narrow.offset.y=/y"]}]}
accepted = json.loads(solved.stdout)
accepted["change_accepted"] = True
write("accepted.json", json.dumps(accepted))
for document, result, options, status in (
        (right, "result.json", (), 65), (right, "result.json", ("--max-change", "0.4"), 65), (right, "accepted.json", (), 0),
        (right, "accepted.json", ("--max-change", "0.32"), 65), (right, "result.json", ("--force", "change"), 0),
        ({**right, "limits": {"plausible_change": 0.34}}, "result.json", (), 0),
        ({**right, "limits": {"plausible_change": 0.32}}, "result.json", (), 65)):
    write("m.json", json.dumps(document))
    write("c.json", json.dumps(near))
    expect(export(result, "--into", "c.json", "--machine", "m.json", "--tip", "narrow", *options), status,
           f"a change of 0.33 mm, {document.get('limits')}, {result}, {options}", "would move by 0.33" if status else "")
for present, error in {'{"x": 1}': "no value found at '/y'", '{"x": 1, "y": "?"}': "which is not a number"}.items():
    write("c.json", present)
    done = run("solve", "--plate", "plate.json", "--machine", "m.json", "--present", "c.json", "run.csv")
    expect(done, 78, "--present", error)
    tally.check(done.stdout == b"", "--present: solved all the same")
for put, error in {"narrow.offset.x=/x": "one axis of the offset of tip 'narrow'", "narrow.radius=/x": "exports no offset",
                   "thin.offset.x=/x": "exports the tip 'thin'"}.items():
    write("c.json", '{"x": 1, "y": 2}')
    write("m.json", json.dumps({**machine, "export": [{"put": [put]}]}))
    expect(run("solve", "--plate", "plate.json", "--machine", "m.json", "--present", "c.json", "run.csv"), 78, "--present", error)
expect(run("solve", "--plate", "plate.json", "--machine", "free.json", "--present", "c.json", "run.csv"), 78, "--present",
       'no "export"')

# Rotation clockwise: the same run, its rotations counted the other way.
rows = (work / "run.csv").read_text().splitlines()
header = next(line for line in rows if line.startswith("kind,")).split(",")
at = header.index("rotation")
turned = []
for line in rows:
    cells = line.split(",")
    if cells[0] == "touch" or cells[0] == "warmup":
        cells[at] = repr(-float(cells[at]))
    turned.append(",".join(cells))
write("run-cw.csv", "\n".join(turned) + "\n")
write("cw.json", json.dumps({**machine, "rotation": {**machine["rotation"], "sense": "cw"}}))
write("result-cw.json", run("solve", "--json", "--plate", "plate.json", "--machine", "cw.json", "run-cw.csv").stdout)
clockwise = json.loads((work / "result-cw.json").read_text())
for axis in "xy":
    difference = clockwise["tips"][1]["runout"]["at_zero_mm"][axis] - tips["narrow"]["runout"]["at_zero_mm"][axis]
    tally.check(abs(difference) < 1e-6, f"the runout is another one counted clockwise: {difference} mm")
    for rotation in (37.4, -128.5, 251.0):
        for file, clock in (("result.json", False), ("result-cw.json", True)):
            write("c.json", '{"v": 0}')
            expect(export(file, "--into", "c.json", "--put", f"narrow.offset.{axis}@{rotation}:.5=/v"), 0, "at a rotation")
            value = number_of("narrow", f"offset.{axis}", rotation, clock).quantize(decimal.Decimal("0.00001"),
                                                                                    decimal.ROUND_HALF_UP)
            stands = decimal.Decimal(json.loads((work / "c.json").read_text(), parse_float=str)["v"])
            tally.check(abs(stands - value) <= decimal.Decimal("0.00001"),
                        f"{file} offset.{axis}@{rotation}: {stands}, not {value}")

# Guards: each refuses by itself, says so, and is passed over by its own name alone.
stamp = "2026-03-02T07:40:00Z"
GUARDS = {}


def guard(word, error, *options, name="result.json"):
    """Refused with exit 65 and nothing written; --force of another guard does not help; --force @word does."""
    GUARDS[word] = True
    text = '{"x": 52.9, "y": -18.3}'
    for forced in [None, *{"verdict", "age", "machine", "change", "plate"} - {word}]:
        write("g.json", text)
        more = ["--force", forced] if forced else []
        expect(export(name, "--into", "g.json", "--put", "narrow.offset.x=/x", *options, *more), 65, f"guard {word}", error)
        tally.check((work / "g.json").read_text() == text, f"guard {word}: written with {more}")
    expect(export(name, "--into", "g.json", "--put", "narrow.offset.x=/x", *options, "--force", word), 0, f"guard {word}",
           "(forced)")
    tally.check((work / "g.json").read_text() != text, f"guard {word}: not written with --force {word}")


def variant(name, change):
    document = json.loads(solved.stdout)
    change(document)
    write(name, json.dumps(document))
    return name


other = json.loads((board / "machine.json").read_text())
other["name"] = "other-bench"
write("other.json", json.dumps(other))
other_plate = json.loads((board / "plate.json").read_text())
other_plate["serial"] = "CW-18"
write("other-plate.json", json.dumps(other_plate))
repeat = run("solve", "--json", "--plate", "plate.json", "--machine", "free.json", "run-repeat.csv")
tally.check(repeat.returncode == 20, "the slipped run's verdict is repeat")
write("repeat.json", repeat.stdout)
guard("verdict", "the verdict of the run is repeat", name="repeat.json")
guard("machine", "of the machine 'weir-bench', the machine file of 'other-bench'", "--machine", "other.json")
guard("plate", "made with the plate 'CW-17', the present one is 'CW-18'", "--plate", "other-plate.json")
guard("plate", "the present offset of tip 'narrow' was found with the plate 'CW-17', the result was made with 'CW-18'",
      "--machine", "machine.json", name=variant("r.json", lambda r: r["run"].update(plate_serial="CW-18")))
guard("change", "would move by 0.00", "--max-change", "0.0005")
guard("age", "h ago, at 2001-03-02T07:40:00Z; the most allowed is 12 h", "--max-age", "12h",
      name=variant("r.json", lambda r: r["run"].update(started="2001-03-02T07:40:00Z")))
guard("age", "nobody knows how old", "--max-age", "2d", name=variant("r.json", lambda r: r["run"].update(started=None)))
guard("age", "from now", "--max-age", "2d", name=variant("r.json", lambda r: r["run"].update(started="2991-03-02T07:40:00Z")))
tally.check(len(GUARDS) == 5, "every guard was tried")
young = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() - 3000))
write("g.json", '{"x": 52.9}')
name = variant("r.json", lambda r: r["run"].update(started=young))
expect(export(name, "--into", "g.json", "--put", "narrow.offset.x=/x", "--max-age", "1h", "--max-change", "0.2", "--plate",
              "plate.json",
              "--machine", "machine.json"), 0, "all guards pass")
expect(export(name, "--into", "g.json", "--put", "narrow.offset.x=/x", "--max-age", "49min"), 65, "older than 49 min", "0.83 h ago")
# Two guards at once are told both.
write("g.json", '{"x": 52.9}')
done = export("repeat.json", "--into", "g.json", "--put", "narrow.offset.x=/x", "--machine", "other.json")
expect(done, 65, "two guards", "of the machine")
tally.check(b"is repeat" in done.stderr, "two guards: only one is told")

# Verdicts: of keep nothing is written; of a run with both, only the tip to be updated.
write("both.json", run("solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "run.csv").stdout)
tally.check([t["verdict"] for t in json.loads((work / "both.json").read_text())["tips"]] == ["keep", "update"],
            "a tip of each verdict")
write("v.json", '{"w": 36.2, "n": 52.8}')
done = export("both.json", "--into", "v.json", "--put", "wide.offset.x=/w")
expect(done, 0, "verdict keep")
tally.check(b"nothing to do" in done.stdout and (work / "v.json").read_text() == '{"w": 36.2, "n": 52.8}', "keep was written")
done = export("both.json", "--into", "v.json", "--put", "wide.offset.x=/w", "--put", "narrow.offset.x=/n")
expect(done, 0, "both verdicts")
tally.check(json.loads((work / "v.json").read_text(), parse_float=str) == {"w": "36.2", "n": written("narrow.offset.x")},
            "of keep and update, only one is written")
tally.check(b"stays 36.2 (the verdict of wide is keep)" in done.stdout, "what stays is not told")
expect(export("both.json", "--into", "v.json", "--put", "wide.offset.x=/w", "--force", "verdict"), 0, "keep, forced")
tally.check(json.loads((work / "v.json").read_text())["w"] != 36.2, "--force verdict does not write keep")
done = export("both.json", "--into", "v.json", "--put", "narrow.offset.x=/n")
expect(done, 0, "again")
tally.check(b"holds these values already; not written" in done.stdout, "the same again is written again")

# Daily use: places and guards in the machine file, which lies beside the result.
daily = work / "daily"
daily.mkdir()
profile = {**json.loads((board / "machine.json").read_text()), "export": [
    {"file": "head.xml", "put": ["narrow.offset.x:.3=//t[@n='2']/@x", "narrow.offset.y:.3=//t[@n='2']/@y"], "max_change": 0.2},
    {"file": "sub/head.ini", "put": ["narrow.runout.x=narrow.ex"], "max_age_h": 1e6}]}
(daily / "sub").mkdir()
(daily / "machine.json").write_text(json.dumps(profile))
(daily / "result.json").write_bytes((work / "both.json").read_bytes())
(daily / "head.xml").write_text('<h><t n="1" x="0" y="0"/><t n="2" x="52.8" y="-18.4"/></h>')
(daily / "sub" / "head.ini").write_text("[narrow]\nex = 0\n")
done = export("daily/result.json", "--dry-run")
expect(done, 0, "daily use, dry run")
tally.check('x="52.8"' in (daily / "head.xml").read_text() and len(list(daily.iterdir())) == 4, "a dry run wrote something")
done = export("daily/result.json")
expect(done, 0, "daily use")
tally.check(flat_xml((daily / "head.xml").read_bytes())["/1:t@y"] == written("narrow.offset.y:.3"), "daily use, XML")
tally.check(flat_ini((daily / "sub" / "head.ini").read_bytes())["narrow.ex"] == written("narrow.runout.x"), "daily use, INI")
expect(export("daily/result.json", "--into", "v.json"), 64, "--into with two files", "exports into 2")
expect(export("both.json"), 64, "no places", 'error: has no "export"')
(work / "machine.json").rename(work / "machine.kept")
expect(export("both.json"), 66, "no machine file", "neither --machine nor --put")
(work / "machine.kept").rename(work / "machine.json")
# The machine file leads nowhere else: not up, not away, not through a link. The command line may.
OUTSIDE = '{"x": 52.9, "y": -18.4}'
outside = write("outside.json", OUTSIDE)
(daily / "link.json").symlink_to("../outside.json")
(daily / "folder").symlink_to("..")
for file, error in {"../outside.json": "leads out", "sub/../../outside.json": "leads out", str(outside): "leads out",
                    "link.json": "a link that leads out", "folder/outside.json": "a link that leads out"}.items():
    puts = ["narrow.offset.x=/x", "narrow.offset.y=/y"]
    (daily / "machine.json").write_text(json.dumps({**profile, "export": [{"file": file, "put": puts}]}))
    expect(export("daily/result.json"), 78, f"file {file}", error)
    tally.check(outside.read_text() == OUTSIDE, f"file {file} was followed")
expect(export("daily/result.json", "--into", "daily/link.json"), 0, "named on the command line")
tally.check(outside.read_text() != OUTSIDE and (daily / "link.json").is_symlink(), "named on the command line: not written")
(daily / "machine.json").write_text(json.dumps({**profile, "export": [{"put": ["narrow.offset.x=/x"]}]}))
expect(export("daily/result.json"), 64, "no file", "does not say into which file")
for wrong, error in {'{"put": []}': "export", '[{"put": ["x"]}]': "FIELD=PLACE", '[{"file": "a"}]': "put",
                     '[{"put": [], "x": 1}]': "'x'",
                     '[{"put": ["a.radius=/x"], "max_change": 0}]': "max_change", '[3]': "an element of 'export' is 3"}.items():
    (daily / "machine.json").write_text(json.dumps(profile)[:-1].split('"export"')[0] + f'"export": {wrong}}}')
    done = export("daily/result.json")
    tally.check(error in done.stderr.decode() and done.returncode in (65, 64), f"export {wrong}: {done.returncode} {done.stderr}")
# What looks like a command of a shell is a name.
odd = work / "a; touch bad $(touch bad) `touch bad`.json"
odd.write_text('{"x": 52.9}')
expect(export("result.json", "--into", odd, "--put", "narrow.offset.x=/x"), 0, "a name with signs of a shell")
expect(export("--undo", odd), 0, "a name with signs of a shell, undo")
tally.check(not list(work.glob("bad*")), "a shell was called")


def patched(old, diff):
    """@old by the unified diff: its context and its old lines must be there."""
    lines, out, at = old.split("\n"), [], 0
    hunks = diff.split("\n@@ ")
    for hunk in hunks[1:]:
        head, *body = hunk.split("\n")
        first, count = map(int, re.match(r"-(\d+),(\d+) \+\1,\2 @@$", head).groups())
        out += lines[at:first - 1]
        at = first - 1
        body = [b for b in body if b and not b.startswith("\\")] if not body[-1] else body
        for line in body:
            if line.startswith((" ", "-")):
                tally.check(lines[at] == line[1:], f"diff: line {at + 1} is '{lines[at]}', not '{line[1:]}'")
                at += 1
            if line.startswith((" ", "+")):
                out.append(line[1:])
        tally.check(sum(b[0] in " -" for b in body) == count == sum(b[0] in " +" for b in body), f"diff: counts of {head}")
    return "\n".join(out + lines[at:])


for end in ("\n", ""):
    for places in ([0], [1], [3], [39], [0, 39], [5, 12], [5, 13], [5, 6, 20, 21], [0, 8, 16, 24, 32, 39]):
        text = "\n".join(f"[s{i}]\nx = {i}.5" for i in range(40)) + end
        write("d.ini", text)
        puts = [x for i in places for x in ("--put", f"wide.offset.x:.{i % 7}=s{i}.x")]
        done = export("result.json", "--into", "d.ini", *puts, "--dry-run")
        expect(done, 0, f"diff {places}")
        diff = done.stdout.decode()
        expect(export("result.json", "--into", "d.ini", *puts), 0, f"diff {places}")
        tally.check(diff.startswith("--- d.ini\n+++ d.ini\n@@ "), f"diff {places}: begins {diff[:40]}")
        tally.check(patched(text, diff) == (work / "d.ini").read_text(),
                    f"diff {places} with end '{end}': gives something else\n{diff}")
        tally.check(("\\ No newline" in diff) == (end == "" and places[-1] >= 38), f"diff {places}: line feed at the end")

# Undo: only of what an export left; the last one first.
write("u.json", '{"x": 1.5}')
expect(export("--undo", "u.json"), 78, "undo without an export", "cannot undo")
expect(export("result.json", "--into", "u.json", "--put", X + "/x"), 0, "first")
first = (work / "u.json").read_text()
expect(export("result.json", "--into", "u.json", "--put", "narrow.offset.x=/x"), 0, "second")
second = (work / "u.json").read_text()
done = export("--undo", "u.json", "--dry-run")
tally.check(f"-{second}\n" in done.stdout.decode() and (work / "u.json").read_text() == second, "undo, dry run")
expect(export("--undo", "u.json"), 0, "undo of the second")
tally.check((work / "u.json").read_text() == first, "undo of the second")
expect(export("--undo", "u.json"), 0, "undo of the first")
tally.check((work / "u.json").read_text() == '{"x": 1.5}', "undo of the first")
expect(export("--undo", "u.json"), 78, "nothing left", "cannot undo")
write("u.json", second + " ")
expect(export("--undo", "u.json"), 78, "changed since", "cannot undo")
tally.check((work / "u.json").read_text() == second + " ", "undo wrote over a changed file")

# The history: an export is entered with what stood there and stands there; of a run that is not in it, nothing is written.
write("h.json", '{"x": 52.9, "y": -18.3}')
done = run("solve", "--json", "--history", "h.db", "--plate", "plate.json", "--machine", "free.json", "run.csv")
expect(done, 10, "solve into a history")
puts = ("--into", "h.json", "--put", "narrow.offset.x:.3=/x", "--put", "narrow.offset.y:minus=/y")
expect(export("repeat.json", *puts, "--history", "h.db", "--force", "verdict"), 66, "a run that the history lacks")
tally.check((work / "h.json").read_text() == '{"x": 52.9, "y": -18.3}', "a run that the history lacks was exported")
expect(export("result.json", *puts, "--history", "h.db", "--dry-run"), 0, "a dry run with a history")
expect(export("result.json", *puts, "--history", "h.db"), 0, "into the history")
# From the history itself, by the beginning of the run's id; without a history that is no file.
stored = json.loads(done.stdout)["run"]["id"]
(work / "by-id.json").write_text('{"x": 52.9, "y": -18.3}')
by_id = [word.replace("h.json", "by-id.json") for word in puts]
expect(export(stored[:9], *by_id, "--history", "h.db", "--dry-run"), 0, "from the history, dry")
tally.check((work / "by-id.json").read_text() == '{"x": 52.9, "y": -18.3}', "a dry run from the history wrote")
expect(export(stored[:9], *by_id, "--history", "h.db"), 0, "from the history")
tally.check((work / "by-id.json").read_text() == (work / "h.json").read_text(), "the history's result exports as its file")
expect(export(stored[:9], *by_id), 66, "an id without a history")
expect(export("ffffffff", *by_id, "--history", "h.db"), 66, "an id that the history lacks")
kept = json.loads(run("history", "export", "--history", "h.db").stdout)["exports"]
tally.check([one["file"] for one in kept] == ["h.json", "by-id.json"], f"the history holds {kept}")
for key, values in {"old_values": ("52.9", "-18.3"),
                    "new_values": (written("narrow.offset.x:.3"), written("narrow.offset.y:minus"))}.items():
    expected = dict(zip(("narrow.offset.x:.3", "narrow.offset.y:minus"), values))
    found = kept[0][key] if isinstance(kept[0][key], dict) else json.loads(kept[0][key])
    tally.check(found == expected, f"the history's {key} are {found}, not {expected}")
copy, = work.glob("h.json.*.bak")
tally.check(copy.name.endswith(f"-{kept[0]['new_digest']}.bak"), f"the digest of {copy.name} is not {kept[0]['new_digest']}")
tally.check(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", kept[0]["time"]) is not None, "the time of the export")

# Templates.
CSV = top / "examples" / "correction-table.csv.in"
done = export("result.json", "--template", CSV, "--rotations", "0,37.4,-128.5")
expect(done, 0, "the table of corrections")
rows = list(csv.DictReader(done.stdout.decode().splitlines()))
tally.check([(r["tip"], float(r["rotation_deg"])) for r in rows] ==
            [(t, a) for t in ("wide", "narrow") for a in (0, 37.4, -128.5)], f"rows of the table: {rows}")
for row in rows:
    for axis in "xy":
        value = number_of(row["tip"], f"offset.{axis}", float(row["rotation_deg"]))
        tally.check(abs(decimal.Decimal(row[f"offset_{axis}_mm"]) - value) <= decimal.Decimal("0.00005001"),
                    f"table: {row} {axis} {value}")
done = export("result.json", "--template", CSV, "--rotations", "every:30")
tally.check(len(done.stdout.splitlines()) == 1 + 2 * 12, "a table of every 30 degrees")
done = export("result.json", "--template", top / "examples" / "offsets.ngc.in")
expect(done, 0, "lines G10")
blocks = [b for b in done.stdout.decode().splitlines() if not b.startswith("(")]
for number, tip in enumerate(tips, 1):
    x, y = written(f"{tip}.offset.x:minus:.4"), written(f"{tip}.offset.y:minus:.4")
    tally.check(f"G10 L2 P{number + 1} X{x} Y{y} ({tip})" in blocks, f"no G10 of {tip} in {blocks}")
# RS-274/NGC: words are a letter and a number; a comment is closed on its line.
for line in done.stdout.decode().splitlines():
    tally.check(re.fullmatch(r"\([^()]*\)|(?:[A-Z]-?\d+(?:\.\d+)?(?: |$))+(?:\([^()]*\))?", line) is not None, f"no block: {line}")
for text, output in {
    "@@(x) @ (y) @\n": "@(x) @ (y) @\n", "a@(wide.offset.x:.2)b": f"a{written('wide.offset.x:.2')}b", "": "",
    "@(machine) @(plate) @(wide.number) @(narrow.number)@(narrow.name)\r\n": "weir-bench CW-17 1 2narrow\r\n",
    "@@@(wide.radius)": "@@(wide.radius)",
}.items():
    write("t.in", text.encode())
    done = export("result.json", "--template", "t.in")
    expect(done, 0, f"template {text!r}")
    tally.check(done.stdout == output.encode(), f"template {text!r}: {done.stdout}")
for text, error in {
    "\nx @(wide.offset.x": "t.in:2:3: error: '@(' without ')'", "@(offset)": "t.in:1:3: error: field 'offset'",
    "@(thin.radius)": "has no tip 'thin'", "@(*.offset.x@*)": "--rotations is missing", "@(rotation)": "--rotations is missing",
    "@(system ls)": "no quantity that is known", "@()": "no quantity",
}.items():
    write("t.in", text)
    done = export("result.json", "--template", "t.in")
    expect(done, 65, f"template {text!r}", error)
    tally.check(done.stdout == b"", f"template {text!r}: wrote {done.stdout}")
write("t.in", "G1 (@(wide.name))\n")
for name in ('x) G0 X9 (', "a\nG0 X9", 'q"', "a,b", "$(id)"):
    odd = variant("r.json", lambda r, n=name: r["tips"][0].update(tip=n))
    write("t.in", "@(*.name)\n")
    done = export(odd, "--template", "t.in")
    expect(done, 65, f"a tip called {name!r} in a template", "could mean something")
    tally.check(done.stdout == b"", f"a tip called {name!r} came into the template")
write("t.in", "plain\n")
expect(export("repeat.json", "--template", "t.in"), 65, "a template of repeat", "is repeat")
expect(export("result.json", "--template", "t.in", "--rotations", "90"), 0, "rotations for nothing", "has no effect")
expect(export("result.json", "--template", "nowhere.in"), 66, "no template", "cannot be opened")
# The age that the machine file allows holds where none is asked for.
write("c.json", json.dumps(near))
for age, options, status in ((1, (), 65), (1e6, (), 0), (1, ("--force", "age"), 0)):
    write("m.json", json.dumps({**right, "export": [{**right["export"][0], "max_age_h": age}]}))
    done = export("accepted.json", "--into", "c.json", "--machine", "m.json", "--tip", "narrow", "--dry-run", *options)
    tally.check(done.returncode == status, f"at most {age} h, {options}: exit status {done.returncode}: {done.stderr}")
    tally.check((b"; the most allowed is 1 h" in done.stderr) == (age == 1), f"at most {age} h: {done.stderr}")
recorded.compare(tally)
tally.close()
