# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Every recorded run solved as a person would solve it, and what must be said of it (README.md: who, what, when, and where the
expected numbers come from). Environment: TIPTRUE, srcdir."""
import json
import os
import re
import subprocess
import sys

# Two sound estimators on the same touches differ by less; a wrong sign, unit, axis or a late contact let in by far more.
NEAR_MM = 0.0015
FIELD = os.path.join(os.environ.get("srcdir", "."), "tests", "field")
KEEP, UPDATE, REPEAT, BAD_INPUT = 0, 10, 20, 65

# folder -> exit status; tip -> offset x, y, runout x, y, contact radius (mm); finding codes that must be there
SOLVED = {
    "01-plain": (UPDATE, {"t1": (-41.15117, 12.65034, 0.00923, 0.04314, 0.31185)}, []),
    "02-film": (UPDATE, {"t1": (-41.44634, 12.89905, -0.00884, -0.02534, 0.33856)}, ["late-contact"]),
    "03-two-tips": (UPDATE, {"t1": (-41.48412, 12.51681, -0.00339, 0.02234, 0.33423),
                             "t2": (-24.28486, 12.83129, -0.04039, 0.03401, 0.44210)}, []),
    "04-oval": (UPDATE, {"t1": (-41.53937, 12.70304, -0.04873, 0.00454, 0.42202)}, ["tip-not-round"]),
    "06-one-sided": (UPDATE, {"t1": (-41.27113, 12.90264, -0.00166, 0.02108, 0.36000)}, ["prior-bound"]),
    "09-inch-comma": (UPDATE, {"t1": (-41.39466, 12.83572, 0.00412, 0.02850, 0.31649)}, ["no-contact"]),
    "10-reversal": (KEEP, {"t1": (-41.53675, 12.78618, -0.00417, 0.01044, 0.22430)}, []),
    "11-eight-tips": (UPDATE, {"t1": (-41.16536, 12.62383, -0.00032, 0.02930, 0.42650),
                               "t2": (-24.40166, 12.59529, -0.00860, 0.05471, 0.26642),
                               "t3": (-7.45390, 12.71107, 0.00653, 0.01116, 0.49376),
                               "t4": (9.75573, 12.80450, -0.01729, 0.01039, 0.26264),
                               "t5": (26.69308, 12.76815, 0.02541, -0.00399, 0.42465),
                               "t6": (43.77584, 12.49976, -0.05369, 0.01165, 0.45986),
                               "t7": (60.73235, 12.71039, 0.03323, 0.02488, 0.44087),
                               "t8": (77.88938, 12.62747, -0.03218, 0.01879, 0.48465)}, []),
    "16-views": (UPDATE, {"s1": (38.58855, -16.21100, 0.03220, -0.01390, 0.37604),
                          "s2": (56.95340, -16.14387, -0.01198, 0.01475, 0.25158)},
                 ["late-contact", "camera-off", "lens-distortion"]),
    "17-axes": (UPDATE, {"s1": (38.61893, -16.25915, -0.00905, -0.00414, 0.29211),
                         "s2": (56.83666, -16.19252, 0.00869, -0.02446, 0.46683)}, ["axes-scale", "axes-not-square"]),
    "14-controller-log": (UPDATE, {"t1": (-41.28211, 12.73112, 0.02152, -0.01592, 0.25264)}, ["no-contact"]),
}
# what may be said as well
ALSO = {"02-film": {"scattered"}}  # of its two early contacts
PATTERN = r"(?:trip|seen) id=(?<id>\d+) at x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"
FILM_ROWS = {34, 37, 38, 41, 42, 45, 49, 52, 53, 56, 57}


class Tally:
    def __init__(self):
        self.passed = self.failed = 0

    def check(self, what, good, detail=""):
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print(f"FAIL {what}: {detail}")


def run(folder, *more):
    """Exit status, standard output and standard error of a solve."""
    at = os.path.join(FIELD, folder)
    command = [os.environ["TIPTRUE"], "solve", *more, "--plate", os.path.join(at, "plate.json"),
               "--machine", os.path.join(at, "machine.json")]
    if folder == "14-controller-log":
        command += ["--plan", os.path.join(at, "plan.json"), "--pattern", PATTERN, os.path.join(at, "controller.log")]
    else:
        command.append(os.path.join(at, "run.csv"))
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    return done.returncode, done.stdout, done.stderr


def result_of(tally, folder, expected_status):
    """The result of a folder, or None (said) where there is none."""
    status, out, errors = run(folder, "--json")
    tally.check(f"{folder}: exit status", status == expected_status, f"{status}, expected {expected_status}; {errors.strip()}")
    try:
        return json.loads(out)
    except ValueError:
        tally.check(f"{folder}: result", False, f"no JSON: {out[:200]!r} {errors.strip()}")
        return None


def findings(result, code):
    return [f for f in result["findings"] if f["code"] == code]


def check_tip(tally, folder, tip, expected):
    e = tip["runout"]["at_zero_mm"]
    found = (tip["offset_mm"]["x"], tip["offset_mm"]["y"], e["x"], e["y"], tip["contact_radius_mm"])
    for name, f, x in zip(("offset x", "offset y", "runout x", "runout y", "contact radius"), found, expected):
        tally.check(f"{folder} {tip['tip']}: {name}", f is not None and abs(f - x) < NEAR_MM, f"{f}, expected {x}")


def check_solved(tally, folder, status, tips, codes):
    result = result_of(tally, folder, status)
    if result is None:
        return
    found = [t["tip"] for t in result["tips"]]
    tally.check(f"{folder}: tips", sorted(found) == sorted(tips), str(found))
    for tip in result["tips"]:
        if tip["tip"] in tips:
            check_tip(tally, folder, tip, tips[tip["tip"]])
    loud = sorted({f["code"] for f in result["findings"] if f["severity"] != "note"})
    said = {f["code"] for f in result["findings"]}
    good = set(codes) <= said and set(loud) <= set(codes) | ALSO.get(folder, set())
    tally.check(f"{folder}: findings", good, f"{loud} of {sorted(said)}, expected {codes}")
    for f in result["findings"]:
        tally.check(f"{folder}: {f['code']} is said in a sentence", len(f["text"].split()) > 5, f["text"])
    text_agrees(tally, folder, status, result)


def text_agrees(tally, folder, status, result):
    """The text for a person: same exit status, the verdict, and every offset with its sign, rounded to the micrometre or finer."""
    text_status, out, _ = run(folder)
    plain = out.replace("\u2212", "-")
    tally.check(f"{folder}: text, exit status", text_status == status, str(text_status))
    tally.check(f"{folder}: text, verdict", result["verdict"] in plain.lower(), plain[:200])
    numbers = [float(n) for n in re.findall(r"[-+]?\d+\.\d{3,}", plain)]
    for tip in result["tips"]:
        for axis in "xy":
            offset = tip["offset_mm"][axis]
            near = any(abs(n - offset) <= 0.0005 for n in numbers)
            tally.check(f"{folder}: text, offset {axis} of {tip['tip']}", near, f"{offset} is not there")


def check_film(tally):
    result = result_of(tally, "02-film", UPDATE)
    if result is None:
        return
    late = [f for f in findings(result, "late-contact") if f.get("edge") == "west"]
    rows = {r for f in late for r in f["rows"]}
    tally.check("02-film: late rows of west", rows == FILM_ROWS, f"{sorted(rows)}, expected {sorted(FILM_ROWS)}")
    tally.check("02-film: set aside", result["run"]["touches"]["set_aside"] == 13, str(result["run"]["touches"]))
    west = next(e for e in result["edges"] if e["edge"] == "west")
    tally.check("02-film: west", west["touches"] == 24 and west["used"] == 13, str(west))


def check_oval(tally):
    result = result_of(tally, "04-oval", UPDATE)
    if result is None:
        return
    terms = {s["order"]: s for s in result["tips"][0]["shape"]}
    tally.check("04-oval: orders kept", set(terms) == {2}, str(sorted(terms)))
    if 2 in terms:
        crest = (terms[2]["angle_deg"] + 19.0 + 90) % 180 - 90
        tally.check("04-oval: amplitude", abs(terms[2]["amplitude_mm"] - 0.01537) < 0.001, str(terms[2]))
        tally.check("04-oval: direction", abs(crest) < 2, str(terms[2]))


def check_one_direction(tally):
    result = result_of(tally, "05-one-direction", REPEAT)
    if result is None:
        return
    found = findings(result, "undetermined")
    tally.check("05-one-direction: undetermined", len(found) > 0, str(result["findings"]))
    tally.check("05-one-direction: names y", any(re.search(r"\by\b", f["text"]) for f in found), str(found))
    tally.check("05-one-direction: y is null", result["tips"][0]["offset_mm"]["y"] is None, str(result["tips"][0]["offset_mm"]))


def check_one_sided(tally):
    result = result_of(tally, "06-one-sided", UPDATE)
    if result is None:
        return
    found = findings(result, "prior-bound")
    tally.check("06-one-sided: names the radius", any("radius" in f["text"] for f in found), str(found))
    u = result["tips"][0]["u_offset_mm"]
    tally.check("06-one-sided: u holds the radius's 20 um", 0.028 < u["x"] < 0.031 and 0.028 < u["y"] < 0.031, str(u))


def check_repeat(tally):
    for folder, code in (("07-sense", "rotation-sense"), ("08-moved", "moved-plate")):
        result = result_of(tally, folder, REPEAT)
        if result is None:
            continue
        tally.check(f"{folder}: {code}", len(findings(result, code)) == 1, str(result["findings"]))
        verdicts = [result["verdict"], result["tips"][0]["verdict"]]
        tally.check(f"{folder}: verdict", verdicts == ["repeat", "repeat"], str(verdicts))
        if folder == "08-moved":
            rows = [r for f in findings(result, code) for r in f["rows"]]
            tally.check("08-moved: from line 67", bool(rows) and abs(rows[0] - 67) <= 1, str(rows))
            text = " ".join(f["text"] for f in findings(result, code))
            tally.check("08-moved: the text names the line", re.search(r"\b6[678]\b", text) is not None, text)


def check_no_contact(tally):
    with open(os.path.join(FIELD, "14-controller-log", "controller.log"), encoding="ascii") as stream:
        failed = [i for i, line in enumerate(stream, 1) if line.rstrip().endswith("ok=0")]
    for folder, status, rows in (("09-inch-comma", UPDATE, [44, 45, 48, 61, 85, 94]), ("14-controller-log", UPDATE, failed)):
        result = result_of(tally, folder, status)
        if result is not None:
            found = sorted(r for f in findings(result, "no-contact") for r in f["rows"])
            tally.check(f"{folder}: rows without contact", found == rows, f"{found}, expected {rows}")
            tally.check(f"{folder}: counted", result["run"]["touches"]["no_contact"] == len(rows), str(result["run"]["touches"]))


def check_reversal(tally):
    result = result_of(tally, "10-reversal", KEEP)
    if result is None:
        return
    u = result["tips"][0]["u_offset_mm"]
    tally.check("10-reversal: a few um", 0.0008 < u["x"] < 0.003 and 0.0008 < u["y"] < 0.003, str(u))
    turned = sorted(abs(p["yaw_deg"]) for p in result["poses"])
    tally.check("10-reversal: two poses", len(turned) == 2 and turned[0] < 1 and abs(turned[1] - 179.749) < 0.01, str(turned))


def check_cut_short(tally):
    status, out, errors = run("12-cut-short")
    tally.check("12-cut-short: exit status", status == BAD_INPUT, str(status))
    tally.check("12-cut-short: nothing on standard output", out == "", out[:200])
    tally.check("12-cut-short: names its line", re.search(r"run\.csv:105:\d+: error: ", errors) is not None, errors)
    status, out, _ = run("12-cut-short", "--json")
    fault = json.loads(out) if out.strip() else {}
    said = (status, fault.get("schema"), fault.get("line"))
    tally.check("12-cut-short: as JSON", said == (BAD_INPUT, "tiptrue.error/1", 105), out)


# height and its u of each tip, slope along x and y (mm/m), face runout of s1 (mm, degrees)
HEIGHTS = {"s1": (-20.70290, 0.00505), "s2": (-19.54508, 0.00505)}
SLOPE, FACE = (-0.8725, 0.1581), (0.00949, 114.26)


def check_heights(tally):
    result = result_of(tally, "15-heights", UPDATE)
    if result is None:
        return
    for tip in result["tips"]:
        height, (value, u) = tip["height"], HEIGHTS[tip["tip"]]
        tally.check(f"15-heights: height of {tip['tip']}", abs(height["value_mm"] - value) < 0.0002, str(height))
        tally.check(f"15-heights: its u, {tip['tip']}", abs(height["u_mm"] / u - 1) < 0.02, str(height))
        verdicts = (tip["offset_verdict"], height["verdict"])
        tally.check(f"15-heights: verdicts of {tip['tip']}", verdicts == ("keep", "update"), str(verdicts))
    slope = result["surface"][0]["slope_mm_per_m"]
    near = abs(slope["x"] - SLOPE[0]) < 0.01 and abs(slope["y"] - SLOPE[1]) < 0.01
    tally.check("15-heights: slope", near, str(slope))
    face = result["tips"][0]["height"]["face_runout"]
    near = face is not None and abs(face["amplitude_mm"] - FACE[0]) < 0.0003 and abs(face["angle_deg"] - FACE[1]) < 1
    alone = result["tips"][1]["height"]["face_runout"] is None
    tally.check("15-heights: face runout of s1, and of it alone", near and alone, str(face))
    late = {row for f in findings(result, "late-contact") for row in f["rows"]}
    tally.check("15-heights: late rows", late == {104, 109, 111}, str(late))


def main():
    tally = Tally()
    for folder, (status, tips, codes) in SOLVED.items():
        check_solved(tally, folder, status, tips, codes)
    for check in (check_film, check_oval, check_one_direction, check_one_sided, check_repeat, check_no_contact, check_reversal,
                  check_cut_short, check_heights):
        check(tally)
    print(f"{tally.passed} passed, {tally.failed} failed")
    return 0 if tally.failed == 0 and tally.passed > 0 else 1


if __name__ == "__main__":
    sys.exit(main())
