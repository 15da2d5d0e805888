"""Holds a result against the truth that `boutwise demo` writes beside its recordings."""

from checks import read_table

# Shares of sessions that must be right; the same lines as in the tests of the demo.
RIGHT_PLACE, RIGHT_RUNS, RIGHT_TIME = 0.97, 0.97, 0.97
# Largest difference between a mean confidence and the share that is right.
CALIBRATION = 0.1
EDGE_S = 10.0


def compare(report, folder, measured, athlete_rows, athletes):
    by_file = {m.file: m for m in measured}
    sessions = [row for row in read_table(folder / "sessions.csv") if row["file"] in by_file]
    bouts = {}
    for row in read_table(folder / "bouts.csv"):
        bouts.setdefault(row["file"], []).append((row["kind"], float(row["start_s"]), float(row["end_s"])))
    told = [row for row in sessions if by_file[row["file"]].resolvable]
    place = lambda row, m: (row["plan_block"], row["plan_session"]) == (m.row["plan_block"], m.row["plan_session"])
    at_least(report, "on the right planned session", RIGHT_PLACE, [place(row, by_file[row["file"]]) for row in told])
    runs = lambda row, m: int(row["runs"]) == len(m.of_kind("run"))
    at_least(report, "with the right number of runs", RIGHT_RUNS, [runs(row, by_file[row["file"]]) for row in told])
    for row in told:
        m = by_file[row["file"]]
        same_s = sum(
            max(0.0, min(end, b.end_s) - max(start, b.start_s))
            for kind, start, end in bouts.get(m.file, ())
            for b in m.bouts
            if b.kind == kind
        )
        share = same_s / m.session.duration_s()
        report.check(share > 0.9, f"bouts {m.file}: {100 * share:.0f} % of the time is of its true kind")
    confidences(report, told, by_file, bouts)
    true = {row["athlete"]: row for row in read_table(folder / "athletes.csv")}
    for row in athlete_rows:
        for column in ("sessions_due", "sessions_attempted", "sessions_missed"):
            wanted = true[row["athlete"]][column]
            report.check(row[column] == wanted, f"athletes {row['athlete']}: {column} {row[column]}, truth {wanted}")
    days = {(a.name, d.session.label, str(d.session.number)): d.day for a in athletes.values() for d in a.planned}
    for row in read_table(folder / "missed.csv"):
        key = (row["athlete"], row["plan_block"], row["plan_session"])
        if key in days:
            report.check(str(days[key]) == row["planned_date"], f"the oracle itself: {key} planned on {days[key]}")


def at_least(report, what, line, rights):
    share = sum(rights) / len(rights)
    report.check(share >= line, f"sessions: {sum(rights)} of {len(rights)} {what}")


def confidences(report, told, by_file, bouts):
    """Mean confidence against the share that is right, of sessions and of bouts."""
    of_sessions, of_bouts = [], []
    for row in told:
        m = by_file[row["file"]]
        true_runs = [(s, e) for kind, s, e in bouts[m.file] if kind == "run"]
        runs = m.of_kind("run")
        edges = [(abs(a.start_s - s), abs(a.end_s - e)) for a, (s, e) in zip(runs, true_runs)]
        right = len(runs) == len(true_runs) and all(max(pair) <= EDGE_S for pair in edges)
        of_sessions.append((float(m.row["confidence"]), right))
        for b, cells in zip(m.bouts, m.bout_rows):
            met = any(kind == b.kind and overlap(b, s, e) >= 0.5 for kind, s, e in bouts[m.file])
            of_bouts.append((float(cells["confidence"]), met))
    for name, pairs in (("sessions", of_sessions), ("bouts", of_bouts)):
        mean = sum(confidence for confidence, _ in pairs) / len(pairs)
        share = sum(right for _, right in pairs) / len(pairs)
        report.check(abs(mean - share) < CALIBRATION, f"{name}: mean confidence {mean:.3f}, right {share:.3f}")


def overlap(bout, start_s, end_s):
    both = max(0.0, min(bout.end_s, end_s) - max(bout.start_s, start_s))
    return both / (max(bout.end_s, end_s) - min(bout.start_s, start_s))
