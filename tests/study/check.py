"""Runs the study on one trial and holds it against the truth: check.py SCRATCH, with BOUTWISE naming the command."""

import csv
import json
import os
import pathlib
import resource
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
SEED = "1"
MOST_S = 300  # Processor time of the study, audits and all.
TABLES = ["table1", "weeks", "missing", "who_leaves", "estimates", "heart_rate"]


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


scratch = pathlib.Path(sys.argv[1])
demo, out = scratch / "trial", scratch / "out"
study = [sys.executable, ROOT / "docs/study/study.py"]
subprocess.run([os.environ["BOUTWISE"], "--quiet", "demo", demo, "--athletes", "40", "--arms", "2", "--seed", SEED], check=True)
subprocess.run([*study, demo, out], check=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
used_s = used.ru_utime + used.ru_stime

planted, = rows(demo / "truth/effect.csv")
found = json.loads((out / "effect.json").read_text())
assert found["measure"] == planted["measure"] and found["unit"] == planted["unit"], (found, planted)
assert (found["arm"], found["against"]) == (planted["arm"], planted["against"]), (found, planted)
effect = float(planted["effect"])
assert found["low"] <= effect <= found["high"], f"planted {effect}, found {found}"
assert found["low"] > 0, f"an effect of {effect} s is not told from none: {found}"
estimates = {row["analysis"]: {key: float(row[key]) for key in ("estimate", "low", "high")} for row in rows(out / "estimates.csv")}
assert len(estimates) == 6, list(estimates)
for name, row in estimates.items():
    assert row["low"] <= row["estimate"] <= row["high"], (name, row)
for table in TABLES:
    assert rows(out / f"{table}.csv"), table
# Of all that was due, never more was done than of what was recorded, and every planned session is accounted for.
weeks, missing = rows(out / "weeks.csv"), rows(out / "missing.csv")
for week, why in zip(weeks, missing):
    assert (week["arm"], week["week"]) == (why["arm"], why["week"])
    assert float(week["dose_pct_of_all_due"]) <= float(week["dose_pct_of_laid"]) + 1e-6, week
    assert sum(int(count) for reason, count in why.items() if reason not in ("arm", "week")) == int(week["sessions_due"]), why
assert sum(int(row["sessions_due"]) for row in weeks) == 40 * 3 * len(weeks) // 2
report = (out / "report.md").read_text(encoding="utf-8")
assert "What sessions alone get wrong" in report and "nan" not in report, report
assert subprocess.run([os.environ["BOUTWISE"], "--quiet", "verify", out / "audit", demo / "recordings", "--squad", demo / "squad.csv", "--journal", demo / "journal.csv"]).returncode == 0
# A squad without arms is refused in a sentence.
subprocess.run([os.environ["BOUTWISE"], "--quiet", "demo", scratch / "squad"], check=True)
refused = subprocess.run([*study, scratch / "squad", scratch / "none"], capture_output=True, text=True)
assert refused.returncode and "no column arm" in refused.stderr and "Traceback" not in refused.stderr, refused.stderr
print(f"planted {effect:.0f} s, found {found['estimate']:.1f} s, {found['low']:.1f} to {found['high']:.1f} s; {used_s:.0f} s of processor time")
assert used_s < MOST_S, f"{used_s:.0f} s of processor time, {MOST_S} s allowed"
