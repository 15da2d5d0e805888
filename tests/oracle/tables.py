"""What is expected in each row of the tables of sessions: sessions.csv, bouts.csv, intervals.csv."""

from adherence import Demand, Match, WalkMatch
from checks import Exempt, Meets, Near
from measured import GAP_S, TALKABLE_SHARE
from robust import mean

# Half a unit of what bouts.csv holds: its times, and its metres.
TIME_S, METRE_M, BEAT_BPM = 0.05, 0.005, 0.05
# The reader's cheaper step (design.md, "Distance").
DISTANCE_RELATIVE = 1e-8
# How far the filtered speed may be from plain chords of 10 s, which keep noise and cut bends: share, and metres at the edges.
CHORD_SHARE, CHORD_M = 0.06, 12.0
# The same where positions are missing for longer than sampling.
LOST_SHARE = 0.5
# How far drift and loss of speed per beat by plain chords may be from those by filtered speed, in points.
DRIFT_PCT, SPEED_PER_BEAT_PCT = 6.0, 3.0
# Adherence moves by about 1.3 points with a second (adherence.md), and times are rounded to 0.1 s.
SCORE_PCT = 0.1
# Two means of one heart rate: over points and over seconds; points of cadence that the program repairs.
TWO_MEANS_PCT = 1.0
CADENCE_SPM, CADENCE_BOUT_SPM = 1.5, 6.0


def near(value, within=0.0):
    return None if value is None else Near(value, within)


def resolved(measured, value, within=0.0):
    return near(value, within) if measured.resolvable else None


def wide(limit_pct):
    """Slack of the end of an interval, which moves with the few slices that it rests on."""
    return 2 * DRIFT_PCT + 0.4 * abs(limit_pct or 0.0)


def words(must):
    """A cell of words that must be there, or may."""
    return Meets(lambda cell: bool(cell) or not must, "a sentence")


def session_row(m, athlete, overlaps):
    session, longest, match = m.session, m.longest(), m.match
    run_m, run_s = m.metres("run"), m.seconds("run")
    pace = 1000 * run_s / run_m if run_m else None
    way_m = session.way_m()
    heart_rates = session.known_heart_rates()
    drift = m.drift()
    steady = m.speed_per_beat()
    row = {
        "athlete": m.athlete,
        "file": m.file,
        "session": m.number,
        "start_local": m.start_local.isoformat(timespec="auto"),
        "start_utc": m.start_utc.isoformat(timespec="auto").replace("+00:00", "Z"),
        "duration_s": session.duration_s(),
        "distance_m": DRIVE if m.drives else near(way_m, DISTANCE_RELATIVE * (way_m or 0)),
        "points": len(m.times_s),
        "hr_mean_bpm": near(mean(heart_rates)),
        "hr_share_pct": 100 * len(heart_rates) / len(m.times_s),
        "run_s": near(run_s, TIME_S * len(m.bouts)),
        "run_m": near(run_m, METRE_M * len(m.bouts)),
        "walk_s": near(m.seconds("walk"), TIME_S * len(m.bouts)),
        "walk_m": near(m.metres("walk"), METRE_M * len(m.bouts)),
        "stand_s": near(m.seconds("stand"), TIME_S * len(m.bouts)),
        "gap_s": DRIVE if m.drives else near(m.gap_s(), TIME_S),
        "longest_run_s": near(longest and longest.seconds, 2 * TIME_S),
        "longest_run_m": near(longest and longest.metres, METRE_M),
        "longest_run_start_s": near(longest and longest.start_s),
        "run_pace_s_per_km": near(pace, 0.1),
        "pace_drift_pct": near(drift and drift[0], chance_pct(drift)),
        "pace_drift_low_pct": near(drift and drift[1], wide(drift and drift[1])),
        "pace_drift_high_pct": near(drift and drift[2], wide(drift and drift[2])),
        "run_hr_mean_bpm": near(m.mean_running(session.heart_rates_bpm)),
        "hr_fall_60s_bpm": near(m.heart_rate_fall()),
        "speed_per_beat_loss_pct": speed_per_beat(steady),
        "run_cadence_spm": near(m.mean_running(m.cadences_spm), CADENCE_SPM),
        "resolvable": Meets(lambda cell: cell in ("true", "false"), "true or false"),
        "confidence": Meets(lambda cell: 0 <= float(cell) <= 1, "a probability"),
        "notes": words(not m.resolvable),
    }
    return row | effort_cells(m, athlete) | plan_cells(m, match) | place_cells(m, overlaps) | bound_cells(m)


def bound_cells(m):
    """Ends of intervals come from the method's own doubts, which nothing outside it knows (docs/accuracy.md says how often
    they hold). But what was found lies between them where it can be told, and what is certain is at most the low end."""
    runs = [bout.seconds for bout in m.of_kind("run")]
    found = {"runs": len(runs), "run_s": sum(runs), "longest": max(runs, default=0.0)}
    cells = {"reps_at_least": at_most(m, "runs_low"), "longest_at_least_s": at_most(m, "longest_low_s")}
    cells = dict.fromkeys(cells) if m.resolvable else cells
    for name, value in found.items():
        low, high = (f"{name}_{end}{'_s' if name == 'longest' else ''}" for end in ("low", "high"))
        told = value if m.resolvable else None
        cells[low] = within(m, None, told if told is not None else high)
        cells[high] = within(m, told if told is not None else low, None)
    return cells


def at_most(m, column):
    """No more than the cell of another column; empty where that is."""
    return Meets(lambda cell: bool(cell) == bool(m.row[column]) and (not cell or float(cell) <= float(m.row[column])), f"at most {column}")


def within(m, least, most):
    """Between two values or cells of other columns, within rounding; empty where nothing is known of the session."""
    value = lambda bound: float(m.row[bound] or 0) if isinstance(bound, str) else bound
    return Meets(
        lambda cell: not cell and not m.resolvable
        or (least is None or value(least) <= float(cell) + 0.1) and (most is None or float(cell) <= value(most) + 0.1),
        f"{least if least is not None else ''} to {most if most is not None else ''}",
    )


def outcome_cell(m):
    """Events tell whether a session was cut short or a rep otherwise than planned; the dose only whether any was run."""
    expected = m.outcome_by_dose()
    if expected in (None, "walked", "attended"):
        return expected
    seen = ("completed", "modified", "cut short") + (("attended",) if m.outside or m.cut else ())
    return Meets(lambda cell: cell in seen, " or ".join(seen))


def place_cells(m, overlaps):
    """Where the session stands in time, and whether in the weeks."""
    return {
        "time_zone": str(m.zone),
        "time_zone_source": m.zone_source,
        "utc_offset_s": Near(m.utc_offset_s),
        # Of sessions that share time one counts.
        "counted": Meets(lambda cell: one_counts(m, cell, overlaps), "one of those that share time") if overlaps else True,
        # Nothing is said by hand in these squads.
        "by_hand": None,
        "overlaps_file": "; ".join(other.file for other in overlaps) or None,
    }


def chance_pct(drift):
    """Two reckonings may be as far apart as half of what chance leaves open, where that is more than slices make out."""
    low, high = drift[1:3] if drift else (None, None)
    return DRIFT_PCT if low is None or high is None else max(DRIFT_PCT, (high - low) / 2)


def one_counts(m, cell, overlaps):
    """Of two that share time the longer counts."""
    longest = all(m.session.duration_s() > other.session.duration_s() for other in overlaps)
    return cell == str(longest).lower()


def speed_per_beat(steady):
    if steady is None:
        return None
    loss_pct, spread_pct = steady
    # Near the line of steadiness either speed may be on the other side.
    if spread_pct > 8.0:
        return Exempt("the speed is about as uneven as the line of steadiness")
    return Near(loss_pct, SPEED_PER_BEAT_PCT)


def effort_cells(m, athlete):
    if athlete.takes_pulse_medicine():
        return dict.fromkeys(["run_hr_of_max_pct", "above_talkable_pct", "rep_end_hr_slope_bpm"])
    max_bpm = athlete.max_bpm
    mean_bpm = m.run_mean_over_time()
    of_max = 100 * mean_bpm / max_bpm if mean_bpm and max_bpm else None
    above = m.share_above_pct(TALKABLE_SHARE * max_bpm) if max_bpm else None
    return {
        "run_hr_of_max_pct": near(of_max, TWO_MEANS_PCT),
        "above_talkable_pct": near(above, TWO_MEANS_PCT),
        "rep_end_hr_slope_bpm": near(m.rep_end_slope(), 2 * BEAT_BPM),
    }


# Columns that only reps fill.
OF_REPS = (
    "dose_pct breaks_pct overdone_pct reps_planned reps_done reps_short reps_missed reps_extra run_planned_s"
    " walk_missing_s recorded_pct reps_not_recorded"
).split()


def plan_cells(m, match):
    planned = m.planned
    row = {
        "plan_block": planned and planned.label,
        "plan_session": planned and planned.number,
        "planned": planned and planned.text,
        "plan": planned and m.plan.title,
        "outcome": outcome_cell(m),
        "adherence_pct": near(match and 100 * match.adherence(), SCORE_PCT),
        "too_short_to_judge": match and isinstance(match, Match) and Demand(planned.parts).is_too_short_to_judge(),
    }
    if isinstance(match, WalkMatch):
        row["too_short_to_judge"] = False
        return row | dict.fromkeys(OF_REPS) | {"overdone_pct": near(100 * match.overdone(), SCORE_PCT)}
    if not isinstance(match, Match):
        return row | dict.fromkeys(OF_REPS)
    outside_reps = [at for at in m.outside if planned.parts[at].kind == "run"]
    shown_reps = [at for at, part in enumerate(planned.parts) if part.kind == "run" and at not in m.outside]
    states = [match.status(rep) for rep, at in enumerate(shown_reps) if at not in m.cut]
    return row | {
        "dose_pct": near(100 * match.dose(), SCORE_PCT),
        "breaks_pct": near(100 * match.breaks(), 3 * SCORE_PCT),
        "overdone_pct": near(100 * match.overdone(), SCORE_PCT),
        "reps_planned": len(shown_reps) + len(outside_reps),
        "reps_done": states.count("done") + states.count("long"),
        "reps_short": states.count("short"),
        "reps_missed": states.count("missed"),
        "reps_extra": len(match.extra()),
        "run_planned_s": match.demand.run_s,
        "walk_missing_s": near(match.walk_missing_s(), TIME_S * len(m.bouts)),
        "recorded_pct": Near(100.0) if not m.outside and not m.cut else Meets(lambda cell: 0 <= float(cell) < 100, "below 100"),
        "reps_not_recorded": len(outside_reps) + len(m.cut),
    }


def bout_rows(m):
    rates, rows = m.session.heart_rates_bpm, []
    for at, (bout, row) in enumerate(zip(m.bouts, m.bout_rows), 1):
        before = m.bouts[at - 2].end_s if at > 1 else 0.0
        start_utc = m.start_utc.timestamp() + bout.start_s
        pace = 1000 * bout.seconds / bout.metres if bout.metres else None
        # The last bout ends with the last point, which belongs to it as to no other.
        rows.append(
            {
                "athlete": m.athlete,
                "file": m.file,
                "session": m.number,
                "bout": at,
                "kind": kind(m, bout),
                "start_s": before,
                "end_s": Meets(lambda cell, b=bout: b.start_s < float(cell), "after its start"),
                "start_utc": moment(start_utc),
                "duration_s": near(bout.seconds, 0.05),
                "distance_m": bout_distance(m, bout),
                "pace_s_per_km": near(pace, 0.1 + 1000 * METRE_M * bout.seconds / max(bout.metres or 1, 1) ** 2),
                "hr_mean_bpm": near(m.mean_between(rates, bout.start_s, bout.end_s)),
                "hr_end_bpm": near(m.mean_between(rates, max(bout.start_s, bout.end_s - 5), bout.end_s)),
                "cadence_spm": DRIVE if m.is_drive(bout) else near(cadence(m, bout), CADENCE_BOUT_SPM),
                "confidence": Meets(lambda cell: 0 <= float(cell) <= 1, "a probability"),
            }
        )
    return rows


# What is told of a drive stands in events.csv; which seconds it takes this reckoning cannot tell.
DRIVE = Exempt("a drive is cut off; crates/track and crates/truth test where")


def cadence(m, bout):
    """Mean cadence of both legs; 0 is a dropout while moving, and no step while standing."""
    still = bout.kind in ("stand", "gap")
    values = [0.0 if spm is None and raw == 0 and still else spm for spm, raw in zip(m.cadences_spm, m.session.cadences_spm)]
    return m.mean_between(values, bout.start_s, bout.end_s)


def moment(seconds):
    from datetime import UTC, datetime

    return datetime.fromtimestamp(round(seconds, 3), UTC).isoformat(timespec="auto").replace("+00:00", "Z")


def kind(m, bout):
    gaps = [(a, b) for a, b in zip(m.times_s, m.times_s[1:]) if b - a > 20]
    is_gap = any(abs(a - bout.start_s) < 1.01 and abs(b - bout.end_s) < 1.01 for a, b in gaps)
    if is_gap or m.is_drive(bout):
        return "gap"
    return Meets(lambda cell: cell in ("run", "walk", "stand"), "run, walk or stand where no gap is")


def bout_distance(m, bout):
    if bout.kind == "gap":
        return None
    if not m.way.is_known():
        return Meets(lambda cell: True, "a distance or none")
    if bout.kind == "stand":
        # A stand adds at most its net displacement.
        return Near(0.0, m.way.chord_m(bout.start_s, bout.end_s) + CHORD_M)
    metres = m.way.metres(bout.start_s, bout.end_s)
    if m.way.longest_hole_s(bout.start_s, bout.end_s) > GAP_S:
        # Positions are missing for long: the way between is anybody's guess, and none is a fair answer.
        return Meets(lambda cell: not cell or abs(float(cell) - metres) < CHORD_M + LOST_SHARE * metres, f"about {metres:.0f} m")
    return Near(metres, CHORD_M + CHORD_SHARE * metres)


def asked_cell(asked):
    return asked if isinstance(asked, Exempt) else near(asked)


def interval_rows(m):
    if m.match is None:
        return []
    rows = []
    found = m.match.rows()
    for at in sorted(m.outside):
        part = m.planned.parts[at]
        own = Exempt("what was asked for stands in the plan")
        missing = dict.fromkeys(("done_s", "done_m", "credit_pct", "start_s"))
        asked = {"planned_s": own, "planned_m": own}
        found.insert(at, {"kind": part.kind, "status": "not_recorded"} | missing | asked)
    planned_rows = [at for at, row in enumerate(found) if row["status"] != "extra"]
    for at in m.cut:
        own = Exempt("what was asked for stands in the plan")
        place = planned_rows[at]
        found[place] = found[place] | {"status": "not_recorded", "credit_pct": None, "planned_s": own, "planned_m": own}
    for at, row in enumerate(found, 1):
        rows.append(
            {
                "athlete": m.athlete,
                "file": m.file,
                "session": m.number,
                "interval": at,
                "kind": row["kind"],
                "planned_s": asked_cell(row["planned_s"]),
                "planned_m": asked_cell(row["planned_m"]),
                "done_s": near(row["done_s"], TIME_S * 2),
                "done_m": near(row["done_m"], 1.0),
                "status": row["status"],
                "credit_pct": near(row["credit_pct"], 3 * SCORE_PCT),
                "start_s": near(row["start_s"], TIME_S),
            }
        )
    return rows
