#!/usr/bin/env python3
"""Finds steps of widely known plans in what people read: `tests/own_plans/find.py PATH...`.

Examples, messages, generated plans and reports show plans of our own. This looks through every text that git knows and
through the paths that are named, such as the output of `boutwise demo` and `boutwise audit`, for the steps below, written
in any way that the notation of plans allows. Published tables stand as test data under their source, and the worked
arithmetic of adherence and of segmentation in tests: they are named here and nowhere else.
"""

import pathlib
import re
import subprocess
import sys
import zlib

STEPS_S = {(60, 90), (60, 60), (90, 90), (90, 120)}  # run, walk
LAST_RUNS_S = {1500, 1800}

FIXTURES = {
    "crates/bouts/src/adherence/": "the worked examples of adherence",
    "crates/bouts/tests/segmentation.rs": "the worked session of segmentation",
    "testdata/plans/graded-running-six-phases.toml": "a published table",
    "testdata/plans/return-to-running-six-phases.toml": "a published table",
    "testdata/plans/walk-to-run-six-levels.toml": "a published table",
    "testdata/plans/walking-twelve-weeks.toml": "a published table",
    "tests/own_plans/": "this list",
}

AMOUNT = r"(?<![\d:.])(\d+:\d\d(?::\d\d)?|\d+(?:\.\d+)?\s?(?:s|sec|seconds|min|minutes))"
RUN = r"\s+(?:run|runs|running|of running)\b"
WALK = r"\s+(?:walk|walks|walking|of walking)\b"
BETWEEN = r"(?:\s*[,/+]\s*|\s+and\s+|\s+then\s+)"
RUN_WALK = re.compile(AMOUNT + RUN + BETWEEN + AMOUNT + WALK)
WALK_RUN = re.compile(AMOUNT + WALK + BETWEEN + AMOUNT + RUN)
SLASHED = re.compile(r"\d+\s*[x×]\s*\(?" + AMOUNT + r"\s*/\s*" + AMOUNT)
SINGLE = re.compile(AMOUNT + RUN)


def seconds(text):
    if ":" in text:
        total = 0
        for field in text.split(":"):
            total = 60 * total + int(field)
        return total
    number, unit = re.fullmatch(r"([\d.]+)\s?(\w+)", text).groups()
    return float(number) * (60 if unit.startswith("min") else 1)


def found(text):
    for pattern, order in ((RUN_WALK, (1, 2)), (WALK_RUN, (2, 1)), (SLASHED, (1, 2))):
        for match in pattern.finditer(text):
            if (seconds(match[order[0]]), seconds(match[order[1]])) in STEPS_S:
                yield match
    for match in SINGLE.finditer(text):
        if seconds(match[1]) in LAST_RUNS_S:
            yield match


def texts(paths):
    for path in paths:
        for file in [path] if path.is_file() else sorted(path.rglob("*")):
            if file.is_file():
                data = file.read_bytes()
                if data.startswith(b"\x1f\x8b"):
                    # Some samples are cut off or damaged on purpose: what unpacks is read.
                    try:
                        data = zlib.decompressobj(wbits=31).decompress(data)
                    except zlib.error:
                        continue
                yield file, data.decode("utf-8", "replace")


def main():
    # What is looked for is found where it stands.
    for sample in ("8 x (1:00 run, 1:30 walk)", "60 s walk, 60 s run", "6 x 1:30/2:00", "25 min run", "0:30:00 run"):
        assert list(found(sample)), sample
    for sample in ("9 x (0:40 run, 1:20 walk)", "35:00 walk", "2026-03-02T07:30:00Z run", "27:00 run"):
        assert not list(found(sample)), sample
    tracked = subprocess.run(["git", "ls-files", "-z"], check=True, capture_output=True, text=True).stdout
    tracked = [name for name in tracked.split("\0") if name and not name.startswith(tuple(FIXTURES))]
    faults = files = 0
    named = [pathlib.Path(name) for name in sys.argv[1:]]
    for path, text in texts([pathlib.Path(name) for name in tracked if pathlib.Path(name).is_file()] + named):
        files += 1
        for match in found(text):
            faults += 1
            print(f"{path}:{text.count(chr(10), 0, match.start()) + 1}: {match[0]}")
    print(f"{files} files, {faults} steps of known plans")
    return faults > 0


sys.exit(main())
