"""What may stand in events.csv (design.md, "Events"): each row by its own rules, and what must be told of a session.

Which rep a run was laid on is taken from the table; lengths, limits, counts and places are reckoned here from bouts and plan.
"""

from adherence import Demand, joined
from checks import Meets, Near

# Standing from which it is told.
STOOD_S = 60.0
# A rep or walk differs from its plan from this share on, and by more than its tolerance (adherence.md, 1).
TOLD_SHARE = 0.15
# Walking or standing that must follow for somebody to have stopped.
SEEN_AFTER_S = 30.0
# Half of a unit of what the tables hold, on each side.
ROUNDING_S = 0.1
# A unit of the last decimal of a probability.
CONFIDENCE = 0.0011

OF_REPS = {"stopped_after", "rep_walked", "rep_left_out", "rep_short", "rep_long"}
OF_WALKS = {"reps_joined", "walk_short", "walk_long"}
OF_EITHER = {"recording_late", "recording_cut"}
OF_NOTHING = {"rep_extra", "ran_through", "walked_through"}
ASIDE = {"vehicle", "stood", "paused"}
WORDS = OF_REPS | OF_WALKS | OF_EITHER | OF_NOTHING | ASIDE | {"cannot_say"}
# What keeps a session from being in full.
OTHERWISE = {"rep_walked", "rep_left_out", "rep_short", "reps_joined", "ran_through"}


def number(cell):
    return float(cell) if cell else None


def tolerance_s(kind, seconds):
    return min(6.0, 0.12 * seconds) if kind == "rep" else min(6.0, seconds / 3)


class Plan:
    """Reps and walks of what was planned, each as one part."""

    def __init__(self, m):
        demand = Demand(m.planned.parts) if m.planned else None
        self.parts = {
            "rep": demand.reps if demand else [],
            "walk": [joined(walk) for walk in demand.walks] if demand else [],
        }

    def part(self, row):
        """The part that a row is about."""
        parts = self.parts.get(row["part"], [])
        at = int(row["number"] or 0)
        return parts[at - 1] if 1 <= at <= len(parts) else None


def event_row(row, m):
    """A row held against what its kind may be."""
    plan, kind = Plan(m), row["event"]
    part = plan.part(row)
    end_s = m.session.duration_s()
    return {
        "athlete": m.athlete,
        "file": m.file,
        "session": m.number,
        "event": Meets(lambda cell: cell in WORDS and (plan.parts["rep"] or cell in ASIDE | {"cannot_say"}), "a known event"),
        "part": part_cell(kind),
        "number": Meets(lambda cell: numbered(kind, cell, part, plan), "a number of the plan's"),
        "at_s": Meets(lambda cell: -ROUNDING_S <= float(cell) <= end_s + ROUNDING_S, "a time of the session"),
        "to_s": Meets(lambda cell: float(row["at_s"]) <= float(cell) <= end_s + ROUNDING_S, "a time after it began"),
        "planned_s": planned_cell(kind, part),
        "done_s": Meets(lambda cell: done(kind, row, part, m), "what such an event lasts"),
        "confidence": Meets(lambda cell: 0 <= float(cell) <= 1 and as_sure(kind, float(cell), row, m), "as sure as what it stands on"),
        "text": Meets(lambda cell: cell.endswith((".", "?")), "a sentence"),
    }


def as_sure(kind, cell, row, m):
    """A stand or pause is as sure as its bout, and what cannot be said as the session is unsure, or as likely as not where a hole
    hides it; any other is known at least as well as the session, since it needs a part of it alone."""
    session = float(m.row["confidence"])
    if kind == "cannot_say":
        return abs(cell - (0.5 if row["part"] else 1 - session)) < CONFIDENCE
    beginning = [bout for bout in m.bout_rows if abs(float(bout["start_s"]) - float(row["at_s"])) <= ROUNDING_S]
    if kind in ("stood", "paused"):
        return any(abs(cell - float(bout["confidence"])) < CONFIDENCE for bout in beginning)
    return kind == "vehicle" or cell > session - CONFIDENCE


def part_cell(kind):
    if kind in OF_REPS:
        return "rep"
    if kind in OF_WALKS:
        return "walk"
    if kind in OF_EITHER:
        return Meets(lambda cell: cell in ("rep", "walk"), "rep or walk")
    if kind in OF_NOTHING:
        return None
    return Meets(lambda cell: cell in ("", "rep", "walk"), "rep, walk or nothing")


def numbered(kind, cell, part, plan):
    if kind in OF_NOTHING:
        return not cell
    if kind == "rep_left_out":
        return 1 <= int(cell) < len(plan.parts["rep"])
    if kind in OF_REPS | OF_WALKS:
        return part is not None
    return not cell or part is not None


def planned_cell(kind, part):
    if kind in {"rep_walked", "rep_short", "rep_long"} | OF_WALKS and part is not None:
        return None if part.metres is not None else Near(part.seconds)
    return Meets(lambda cell: not cell or float(cell) > 0, "seconds or nothing")


def done(kind, row, part, m):
    """Whether the length of an event is one of which such an event is told."""
    lasted, at_s, to_s = number(row["done_s"]), float(row["at_s"]), float(row["to_s"])
    if kind in ASIDE:
        return abs(lasted - (to_s - at_s)) <= ROUNDING_S
    if kind in ("rep_walked", "rep_left_out", "reps_joined"):
        return lasted == 0
    if kind == "stopped_after":
        after = sum(min(b.end_s, to_s) - max(b.start_s, at_s) for b in m.bouts if b.kind in ("walk", "stand") and b.end_s > at_s)
        return after >= SEEN_AFTER_S - ROUNDING_S or any(b.kind == "gap" and b.end_s > at_s for b in m.bouts)
    if kind in ("rep_short", "rep_long", "walk_short", "walk_long") and part is not None and part.metres is None:
        limit_s = max(tolerance_s(row["part"], part.seconds), TOLD_SHARE * part.seconds)
        off_s = lasted - part.seconds
        return (off_s if kind.endswith("long") else -off_s) > limit_s - ROUNDING_S
    return lasted is None or lasted > 0


def must_be_told(report, m, rows):
    """What there is no leaving out: stands, gaps, what nobody can tell, and what the outcome rests on."""
    where = f"events {m.file}"
    told = lambda *kinds: {row["event"] for row in rows} & set(kinds)
    spans = lambda *kinds: sorted((float(r["at_s"]), float(r["to_s"])) for r in rows if r["event"] in kinds)
    bouts = lambda kind, least_s: sorted((b.start_s, b.end_s) for b in m.bouts if b.kind == kind and b.seconds >= least_s - 1e-6)
    report.check(spans("stood") == bouts("stand", STOOD_S), f"{where}: stood {spans('stood')}, stands {bouts('stand', STOOD_S)}")
    gone = spans("paused", "vehicle")
    missing = [b for b in bouts("gap", 0.0) if not any(s <= sum(b) / 2 <= e for s, e in gone)]
    report.check(not missing, f"{where}: nothing is told of the gaps {missing}")
    report.check(m.resolvable or "cannot_say" in told("cannot_say"), f"{where}: cannot be told, and does not say so")
    if not m.resolvable:
        report.check(not told(*WORDS - ASIDE - {"cannot_say"}), f"{where}: cannot be told, and tells {told(*WORDS)}")
    times = [float(row["at_s"]) for row in rows]
    report.check(times == sorted(times), f"{where}: not in order of time")
    outcome = m.row["outcome"]
    if not outcome or not Plan(m).parts["rep"] or outcome == "attended":
        return
    expected = (
        "walked" if told("walked_through")
        else "cut short" if told("stopped_after")
        else "modified" if told(*OTHERWISE)
        else "completed"
    )
    # A rep that is not told as short may lack more than its boundaries explain.
    lacks = expected == "completed" and any(row["kind"] == "run" and row["status"] == "short" for row in m.match.rows())
    expected = outcome if lacks and outcome == "modified" else expected
    report.check(outcome == expected, f"{where}: {expected} by its events, {outcome} in sessions")
