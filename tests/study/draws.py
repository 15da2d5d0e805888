"""The study's effect on many trials: draws.py --seeds N --from SEED [--no-effect].

Writes a row a trial into docs/study/draws.csv (rows of the same seeds are replaced) and says how often the planted effect lay in
the interval, or, with --no-effect, how often an effect was shown where there is none.
"""

import argparse
import csv
import os
import pathlib
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "docs/study"))
import study

DRAWS = ROOT / "docs/study/draws.csv"
COLUMNS = ["seed", "planted_s", "estimate_s", "low_s", "high_s", "naive_estimate_s", "naive_low_s", "naive_high_s"]


def drawn(seed, no_effect):
    with tempfile.TemporaryDirectory() as scratch:
        demo = pathlib.Path(scratch, "trial")
        size = ["--athletes", "40", "--arms", "2", "--seed", str(seed)] + ["--no-effect"] * no_effect
        subprocess.run([os.environ["BOUTWISE"], "--quiet", "demo", demo, *size], check=True)
        with (demo / "truth/effect.csv").open(newline="") as file:
            planted, = csv.DictReader(file)
        trial = study.Trial(demo)
        _, found = study.effect(trial)
        cells = [seed, planted["effect"]]
        for row in (found, study.naive(trial) or {}):
            cells += [f"{row[key]:.1f}" if key in row else "" for key in ("estimate", "low", "high")]
        return dict(zip(COLUMNS, cells))


def told(rows):
    """How often, over rows of trials, the planted effect lies in an interval, and how often an effect is shown."""
    for kind, prefix in (("model", ""), ("sessions alone", "naive_")):
        ends = [(float(row["planted_s"]), float(row[f"{prefix}low_s"]), float(row[f"{prefix}high_s"])) for row in rows if row[f"{prefix}low_s"]]
        held = sum(low <= planted <= high for planted, low, high in ends)
        shown = sum(not low <= 0 <= high for _, low, high in ends)
        mean = sum(float(row[f"{prefix}estimate_s"]) - float(row["planted_s"]) for row in rows if row[f"{prefix}low_s"]) / len(ends)
        yield f"{kind}: {len(ends)} trials, the planted effect in the interval of {held}, an effect shown in {shown}, estimates off by {mean:.1f} s on average"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, required=True)
    parser.add_argument("--from", type=int, required=True, dest="first")
    parser.add_argument("--no-effect", action="store_true")
    given = parser.parse_args()
    seeds = range(given.first, given.first + given.seeds)
    known = []
    if DRAWS.exists():
        with DRAWS.open(newline="") as file:
            known = [row for row in csv.DictReader(file) if int(row["seed"]) not in seeds]
    rows = []
    for seed in seeds:
        rows.append(drawn(seed, given.no_effect))
        with DRAWS.open("w", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows(sorted(known + rows, key=lambda row: int(row["seed"])))
    print(*told(rows), sep="\n")


main()
