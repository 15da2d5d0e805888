"""Every measure of one recorded session, from its points, its bouts and its plan (design.md, domain.md D and E)."""

import math
from bisect import bisect_left
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo

from adherence import Bout, Demand, Match, WalkMatch
from robust import mean, median, theil_sen
from way import Way

GAP_S = 20.0
# domain.md, D4.
FALL_END_S, FALL_AFTER_S, FALL_WINDOW_S, FALL_SHARE = 5.0, 60.0, 5.0, 0.8
# domain.md, E: the definition of pace drift.
DRIFT_SKIP_S, DRIFT_SLICE_S, DRIFT_SLICES = 10.0, 30, 6
# domain.md, D6a.
STEADY_S, STEADY_SKIP_S, STEADY_SPREAD_PCT, STEADY_SHARE = 1200.0, 600.0, 10.0, 0.8
# domain.md, D3 and D1.
TALKABLE_SHARE = 0.79
# domain.md, A7.
ONE_LEG_BELOW_SPM = 100
# Dose from which a session is done in full (rounding).
WHOLE = 1 - 1e-8
# A slope over the ends of the reps needs so many.
SLOPE_REPS = 3
# A sensor is not believed that shows one value for 90 % of at least 5 min of running, or the cadence, within 3 a minute in
# the mean, over at least 5 min.
STUCK_SHARE, JUDGED_S, LIKE_CADENCE = 0.9, 300.0, 3.0


def instant(text):
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def number(cell):
    return float(cell) if cell else None


class Measured:
    """One session: its input, the rows of bouts.csv, and what follows from them."""

    def __init__(self, athlete, session, row, bout_rows, zone, zone_source, plan):
        self.athlete, self.session, self.row, self.bout_rows = athlete, session, row, bout_rows
        self.file, self.number = session.file, session.number
        self.resolvable = row["resolvable"] == "true"
        self.bouts = [
            Bout(b["kind"], float(b["start_s"]), float(b["end_s"]), number(b["distance_m"])) for b in bout_rows
        ]
        self.times_s = session.since_start_s()
        self.way = Way(session)
        self.zone, self.zone_source = zone, zone_source
        self.start_utc = session.start()
        self.start_local = self.start_utc.astimezone(zone).replace(tzinfo=None)
        self.utc_offset_s = int(self.start_utc.astimezone(zone).utcoffset().total_seconds())
        self.day = self.start_local.date()
        self.cadences_spm = self.of_both_legs()
        self.plan, self.planned, self.match = plan, None, None
        # Intervals that lie outside the recording, as the table tells them; they leave the plan before it is scored.
        self.outside = []
        # Reps of which a part was recorded: what shows is all that is asked of them.
        self.cut = {}
        self.is_open = False
        # Stretches in a vehicle, as the events tell them.
        self.drives = []

    def is_drive(self, bout):
        """Whether a bout is a stretch in a vehicle."""
        return any(start_s - 1 < bout.start_s and bout.end_s < end_s + 1 for start_s, end_s in self.drives)

    def order(self):
        return (self.start_utc, self.file, self.number)

    def of_both_legs(self):
        """Cadence of both legs; 0 is a dropout."""
        known = [spm if spm else None for spm in self.session.cadences_spm]
        moving = [spm for spm in known if spm is not None]
        one_leg = moving and median(moving) < ONE_LEG_BELOW_SPM
        return [spm * 2 if spm is not None and one_leg else spm for spm in known]

    # Bouts.

    def of_kind(self, kind):
        return [bout for bout in self.bouts if bout.kind == kind]

    def seconds(self, kind):
        return sum(bout.seconds for bout in self.of_kind(kind))

    def metres(self, kind):
        metres = [bout.metres for bout in self.of_kind(kind)]
        return None if None in metres else sum(metres)

    @cache
    def longest(self):
        runs = self.of_kind("run") if self.resolvable else []
        return max(runs, key=lambda bout: (bout.seconds, -bout.start_s), default=None)

    def has_runs(self):
        return self.longest() is not None

    def run_speed(self):
        runs = [bout for bout in self.of_kind("run") if bout.metres is not None]
        metres, seconds = sum(b.metres for b in runs), sum(b.seconds for b in runs)
        return metres / seconds if self.resolvable and metres > 0 else None

    def gap_s(self):
        """Steps without a point that are no sampling."""
        steps = (b - a for a, b in zip(self.times_s, self.times_s[1:]))
        return sum(step for step in steps if step > GAP_S)

    # Points of stretches.

    def values(self, values, from_s, to_s):
        """A list of the points from one time up to another, None where the value is missing."""
        return values[bisect_left(self.times_s, from_s) : bisect_left(self.times_s, to_s)]

    def mean_between(self, values, from_s, to_s):
        return mean([value for value in self.values(values, from_s, to_s) if value is not None])

    def mean_running(self, values):
        known = [v for bout in self.of_kind("run") for v in self.values(values, bout.start_s, bout.end_s)]
        return mean([value for value in known if value is not None])

    @cache
    def heart_rate_fall(self):
        """domain.md, D4: the median over the walks that follow a run."""
        rates, falls = self.session.heart_rates_bpm, []

        def share(from_s, to_s):
            found = self.values(rates, from_s, to_s)
            return sum(v is not None for v in found) / len(found) if found else 0.0

        for run, walk in zip(self.bouts, self.bouts[1:]):
            if (run.kind, walk.kind) != ("run", "walk") or walk.seconds < FALL_AFTER_S:
                continue
            end = (max(run.start_s, walk.start_s - FALL_END_S), walk.start_s)
            middle = walk.start_s + FALL_AFTER_S
            later = (middle - FALL_WINDOW_S / 2, middle + FALL_WINDOW_S / 2)
            if min(share(*end), share(*later), share(end[0], later[1])) >= FALL_SHARE:
                falls.append(self.mean_between(rates, *end) - self.mean_between(rates, *later))
        return median(falls) if self.resolvable and self.is_believed() else None

    # Heart rate over the run time: each point stands for the time to the next one.

    @cache
    def read_rates(self):
        """Seconds, heart rate and cadence of the points in run bouts, up to sampling steps."""
        found = []
        runs = self.of_kind("run")
        steps = [b - a for a, b in zip(self.times_s, self.times_s[1:])] + [1.0]
        for time_s, step, bpm, spm in zip(self.times_s, steps, self.session.heart_rates_bpm, self.cadences_spm):
            if bpm is not None and step <= GAP_S and any(b.start_s <= time_s < b.end_s for b in runs):
                found.append((step, bpm, spm))
        return found

    @cache
    def is_believed(self):
        """Whether the sensor shows neither one value nor the cadence."""
        seconds = {}
        for step, bpm, _ in self.read_rates():
            seconds[bpm] = seconds.get(bpm, 0.0) + step
        known = sum(seconds.values())
        if known >= JUDGED_S and max(seconds.values()) >= STUCK_SHARE * known:
            return False
        beside = [(step, abs(bpm - spm)) for step, bpm, spm in self.read_rates() if spm]
        beside_s = sum(step for step, _ in beside)
        return beside_s < JUDGED_S or sum(step * apart for step, apart in beside) > LIKE_CADENCE * beside_s

    def run_rates(self):
        """Seconds and heart rate while running, of a sensor that can be believed."""
        return [(step, bpm) for step, bpm, _ in self.read_rates()] if self.is_believed() else []

    def run_mean_over_time(self):
        rates = self.run_rates()
        seconds = sum(step for step, _ in rates)
        return sum(step * bpm for step, bpm in rates) / seconds if seconds else None

    def share_above_pct(self, limit_bpm):
        rates = self.run_rates()
        seconds = sum(step for step, _ in rates)
        return 100 * sum(step for step, bpm in rates if bpm > limit_bpm) / seconds if seconds else None

    def metres_per_beat(self):
        mean_bpm, speed = self.run_mean_over_time(), self.run_speed()
        return 60 * speed / mean_bpm if mean_bpm and speed else None

    def rep_end_slope(self):
        ends = [number(row["hr_end_bpm"]) for row in self.bout_rows if row["kind"] == "run"]
        ends = [bpm for bpm in ends if bpm is not None]
        if len(ends) < SLOPE_REPS or not self.run_rates():
            return None
        return theil_sen(range(len(ends)), ends)[0]

    # Pace.

    @cache
    def drift(self):
        """Drift and its interval by own speeds; None for too little running."""
        if not self.resolvable or not self.way.is_known():
            return None
        speeds = []
        for bout in self.of_kind("run"):
            speeds += self.way.speeds(bout.start_s + DRIFT_SKIP_S, bout.end_s, (bout.start_s, bout.end_s))
        slices = [speeds[at : at + DRIFT_SLICE_S] for at in range(0, len(speeds) - DRIFT_SLICE_S + 1, DRIFT_SLICE_S)]
        if len(slices) < DRIFT_SLICES:
            return None
        middles = [DRIFT_SLICE_S * (at + 0.5) for at in range(len(slices))]
        paces = [1000 * DRIFT_SLICE_S / sum(part) for part in slices]
        slope, start, interval = theil_sen(middles, paces)
        scale = 100 * DRIFT_SLICE_S * len(slices) / start
        low, high = interval or (None, None)
        return slope * scale, low and low * scale, high and high * scale

    @cache
    def speed_per_beat(self):
        """Of the longest run, by own speeds; None where it is too short or not steady."""
        run = self.longest()
        if run is None or run.seconds < STEADY_S or not self.session.known_heart_rates() or not self.is_believed():
            return None
        from_s, to_s = math.ceil(run.start_s + STEADY_SKIP_S), math.floor(run.end_s)
        middle = from_s + (to_s - from_s) // 2
        whole = self.way.speeds(from_s, to_s, (run.start_s, run.end_s))
        slices = [mean(whole[at : at + 30]) for at in range(0, len(whole) - 29, 30)]
        spread = math.sqrt(sum((v - mean(slices)) ** 2 for v in slices) / (len(slices) - 1)) / mean(slices)
        rates = self.session.heart_rates_bpm
        ratios = []
        for a, b in ((from_s, middle), (middle, to_s)):
            known = self.values(rates, a, b)
            if not known or sum(v is not None for v in known) < STEADY_SHARE * len(known):
                return None
            speed = mean(self.way.speeds(a, b, (run.start_s, run.end_s)))
            ratios.append(speed / self.mean_between(rates, a, b))
        return 100 * (1 - ratios[1] / ratios[0]), 100 * spread

    # The plan.

    def lay_on(self, planned, outside, cut, holes):
        """Lays the session on what was planned; `outside` are the places of the intervals that were not recorded, `cut` the
        seconds that show of reps of which a part was, `holes` what the recording does not show."""
        self.planned, self.outside, self.cut = planned, outside, cut
        if not self.resolvable:
            return
        shown = {at: replace(part, seconds=min(part.seconds, cut.get(at, part.seconds))) for at, part in enumerate(planned.parts)}
        parts = [part for at, part in shown.items() if at not in outside]
        speeds = self.plan.speeds
        if any(part.kind == "run" for part in parts):
            self.match = Match(Demand(parts), self.bouts, speeds["run"], speeds["walk"], holes)
        elif parts:
            self.match = WalkMatch(parts, self.bouts, speeds["walk"])

    def outcome(self):
        """What became of the planned session here, as the table tells it: events decide, which this reckoning does not read."""
        return self.told_outcome if self.planned else None

    def outcome_by_dose(self):
        """What the dose says became of the planned session (domain.md, G)."""
        if self.planned is None:
            return None
        if self.match is None:
            return "attended"
        if isinstance(self.match, WalkMatch):
            return "completed" if self.match.is_as_asked() else "modified"
        states = [self.match.status(rep) for rep in range(len(self.match.done))]
        if all(state == "missed" for state in states):
            return "walked"
        if states[-1] == "missed":
            return "cut short"
        return "completed" if self.match.tolerant_dose() >= WHOLE else "modified"

    def dose_pct(self):
        return 100 * self.match.dose() if isinstance(self.match, Match) else None


def zone_of(squad_row, named, session):
    """The zone that tells local days, and what told it: the squad, the command, the recording, or nobody (UTC)."""
    if squad_row and squad_row.get("time_zone"):
        return ZoneInfo(squad_row["time_zone"]), "squad"
    if named:
        return ZoneInfo(named), "setting"
    if session.offset_s is not None:
        return timezone(timedelta(seconds=session.offset_s)), "recording"
    return UTC, "assumed"
