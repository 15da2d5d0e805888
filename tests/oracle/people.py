"""What is expected of an athlete and of each week: weeks.csv, athletes.csv (domain.md E to G, 11, 12; design.md)."""

import re
from collections import defaultdict
from datetime import date, timedelta

import proposal
from adherence import OVERDONE_PCT, Match
from checks import Meets
from robust import circular, mean, theil_sen
from season import days_of
from tables import METRE_M, SCORE_PCT, TIME_S, near, words

TREND_WEEKS, TREND_SESSIONS = 8, 4
SPIKE_DAYS = 30
HABIT_SHORT_DAYS, HABIT_LONG_DAYS = 14, 28
INTERRUPTED = 3
# domain.md, D1.
PREDICTED_MAX_BPM = lambda age: 211 - 0.64 * age
RISE_PCT, SPIKE_PCT = 30.0, 10.0
HEAT_DAYS, FAR_DAYS = 7, 7
GOAL_M = 5000.0
# Words of planned.csv for what became of a session.
OUTCOMES = {"walked": "attended", "interrupted": "missed", "ahead": None}


class PlannedDay:
    """A planned session with its day and what became of it."""

    def __init__(self, session, day, laid, due):
        self.session, self.day, self.laid, self.due = session, day, laid, due
        told = [m for m in laid if isinstance(m.match, Match)]
        best = max(told, key=lambda m: m.dose_pct(), default=None)
        # The row names the recording that it tells of.
        self.shown = best or (laid[0] if laid else None)
        if best:
            self.outcome, asked_s = best.outcome(), best.match.demand.run_s
            self.done_s = best.match.dose() * asked_s
            # What was not recorded is neither done nor missed.
            self.counted_s = asked_s if self.outcome != "attended" or (best.outside or best.cut) and not best.is_open else None
        else:
            self.outcome = laid[0].outcome() if laid else "missed" if due else "ahead"
            self.done_s, self.counted_s = None, None if laid else session.run_s

    def is_attended(self):
        return self.outcome not in ("missed", "interrupted", "ahead", "excused")


class Athlete:
    def __init__(self, name, squad_row, plan, start, notes, sessions, as_of):
        self.name, self.squad_row, self.plan, self.start = name, squad_row or {}, plan, start
        self.as_of = as_of
        self.notes = [note for note in notes if note.day <= as_of]
        self.sessions = sorted((m for m in sessions if m.day <= as_of), key=lambda m: m.order())
        self.max_bpm, self.is_max_predicted = self.largest_heart_rate()
        self.planned = self.planned_days() if plan else []
        self.standing = proposal.Standing(self)

    def takes_pulse_medicine(self):
        return self.squad_row.get("pulse_medicine") == "yes"

    def largest_heart_rate(self):
        if self.squad_row.get("max_hr_bpm"):
            return float(self.squad_row["max_hr_bpm"]), False
        if self.squad_row.get("birth_year"):
            return PREDICTED_MAX_BPM(self.as_of.year - int(self.squad_row["birth_year"])), True
        return None, False

    def goal_m(self):
        """Distance to be run unbroken: the squad's, else the plan's, else 5 km."""
        own = self.squad_row.get("goal_m")
        return float(own) if own else (self.plan and self.plan.goal_m) or GOAL_M

    def reached(self, distance_m):
        """The first day of an unbroken run as far, short by what outdoor distances are off at least."""
        far = (m.day for m in self.sessions if m.has_runs() and (m.longest().metres or 0) >= proposal.DONE * distance_m)
        return next(far, None)

    def planned_days(self):
        laid = defaultdict(list)
        for m in self.sessions:
            if m.planned is not None:
                laid[id(m.planned)].append(m)
        newest = max((at for at, s in enumerate(self.plan.sessions) if id(s) in laid), default=-1)
        start = self.start
        if start is None:
            firsts = [m.day for m in self.sessions if m.planned is not None]
            start = firsts[0] if firsts else None
        days = days_of(self.plan, start) if start else [None] * len(self.plan.sessions)
        excused = {note.day for note in self.notes if note.excused}
        # Absences after which everybody of these squads is to rejoin, so that the plan's days stay.
        for first, last in re.findall(r"(\d{4}-\d\d-\d\d)\.\.(\d{4}-\d\d-\d\d)", self.squad_row.get("away") or ""):
            first, last = date.fromisoformat(first), date.fromisoformat(last)
            excused |= {first + timedelta(days) for days in range((last - first).days + 1)}
        planned = []
        for at, (session, day) in enumerate(zip(self.plan.sessions, days)):
            due = at <= newest or (day is not None and day <= self.as_of)
            # What is excused and was not done all the same is neither due nor missed.
            is_excused = due and day in excused and not laid[id(session)]
            planned.append(PlannedDay(session, day, laid[id(session)], due and not is_excused))
            if is_excused:
                planned[-1].outcome = "excused"
        at = 0
        while at < len(planned):
            end = at
            while end < len(planned) and planned[end].outcome == "missed":
                end += 1
            if end - at >= INTERRUPTED:
                for day in planned[at:end]:
                    day.outcome = "interrupted"
            at = max(end, at + 1)
        return planned

    def due(self):
        return [day for day in self.planned if day.due]

    def runs(self):
        """Local day and run metres of each session that tells them."""
        return [(m.day, m.metres("run")) for m in self.sessions if m.resolvable]

    def trend(self, value):
        """Slope a week and its interval over the last weeks; None for too few sessions."""
        after = self.as_of - timedelta(weeks=TREND_WEEKS)
        found = [((m.day - after).days, value(m)) for m in self.sessions if m.day > after]
        found = [(day, v) for day, v in found if v is not None]
        line = theil_sen(*zip(*found)) if len(found) >= TREND_SESSIONS else None
        if line is None:
            return None, None, None
        low, high = line[2] or (None, None)
        return 7 * line[0], low and 7 * low, high and 7 * high

    def rise_14_days_pct(self):
        middle, begin = self.as_of - timedelta(14), self.as_of - timedelta(28)
        if not any(day <= begin for day, _ in self.runs()):
            return None
        if any(m is None for day, m in self.runs() if begin < day):
            return None
        before = sum(m for day, m in self.runs() if begin < day <= middle)
        now = sum(m for day, m in self.runs() if middle < day)
        return 100 * (now / before - 1) if before > 0 else None


def attendance(days):
    """Counts and sums over planned sessions that are due."""
    counts = defaultdict(int)
    planned_s = done_s = 0.0
    completions = []
    for day in days:
        counts[day.outcome] += 1
        if day.counted_s:
            done = day.done_s or 0.0
            planned_s, done_s = planned_s + day.counted_s, done_s + done
            if day.is_attended():
                completions.append(100 * done / day.counted_s)
    attended = sum(day.is_attended() for day in days)
    told = attended == 0 or completions
    return {
        "due": len(days),
        "attended": attended,
        "counts": counts,
        "attendance_pct": 100 * attended / len(days) if days else None,
        "dose_pct": 100 * done_s / planned_s if told and planned_s else None,
        "completion_pct": mean(completions),
    }


def athlete_row(a):
    sums = attendance(a.due())
    counts = sums["counts"]
    of_plan = lambda value: value if a.plan else None
    longest = max((m for m in a.sessions if m.has_runs()), key=lambda m: m.longest().seconds, default=None)
    run = longest and longest.longest()
    slope, low, high = a.trend(lambda m: m.longest() and m.longest().seconds)
    # A fall is compared only after like runs (domain.md, D4), and no figure is made beside a medicine that lowers the pulse.
    asked = [m.planned.text for m in a.sessions if m.planned is not None and m.heart_rate_fall() is not None]
    is_like = lambda m: asked and m.planned is not None and m.planned.text == asked[-1] and not a.takes_pulse_medicine()
    fall, *_ = a.trend(lambda m: m.heart_rate_fall() if is_like(m) else None)
    beat, *_ = a.trend(lambda m: None if a.takes_pulse_medicine() else m.metres_per_beat())
    days = sorted({m.day for m in a.sessions})
    usual, spread = circular([m.start_local.hour * 60 + m.start_local.minute + m.start_local.second / 60 for m in a.sessions], 1440)
    out = lambda span: sum(day > a.as_of - timedelta(span) for day in days) if days else None
    verdict = a.standing.propose()
    next_session = a.standing.next_session(verdict)
    possible = cautions(a, verdict)
    return {
        "athlete": a.name,
        "sessions_due": of_plan(sums["due"]),
        "sessions_attempted": of_plan(sums["attended"]),
        "attendance_pct": near(sums["attendance_pct"]),
        "dose_pct": near(sums["dose_pct"], SCORE_PCT),
        "longest_run_s": near(run and run.seconds, 2 * TIME_S),
        "longest_run_m": near(run and run.metres, METRE_M),
        "longest_run_date": longest and longest.day,
        "longest_run_trend_s_per_week": near(slope, 0.3),
        "longest_run_trend_low_s_per_week": near(low, 0.3),
        "longest_run_trend_high_s_per_week": near(high, 0.3),
        "proposal": verdict.word,
        "reasons": Meets(verdict.explains, "reasons that name " + ", ".join(verdict.must_name)),
        "next_block": next_session and next_session.label,
        "next_session": next_session and next_session.number,
        "no_run_before": verdict.no_run_before,
        "sessions_completed": of_plan(counts["completed"]),
        "sessions_modified": of_plan(counts["modified"] + counts["cut short"] + counts["walked"]),
        "sessions_cut_short": of_plan(counts["cut short"]),
        "sessions_missed": of_plan(counts["missed"] + counts["interrupted"]),
        "sessions_interrupted": of_plan(counts["interrupted"]),
        "completion_mean_pct": near(sums["completion_pct"], SCORE_PCT),
        "run_rise_14d_pct": near(a.rise_14_days_pct(), 0.1),
        "hr_fall_60s_trend_bpm_per_week": near(fall, 0.01),
        "run_per_beat_trend_m_per_week": near(beat, 0.0006),
        "days_out_14d": out(HABIT_SHORT_DAYS),
        "days_out_28d": out(HABIT_LONG_DAYS),
        "days_between_max": max(((b - a_).days for a_, b in zip(days, days[1:])), default=None),
        "usual_start": usual if usual is None else clock(usual),
        "usual_start_spread_s": near(spread and 60 * spread),
        "computed_proposal": verdict.computed,
        "coach_decision": verdict.decided,
        "goal_m": a.goal_m(),
        "goal_reached_date": a.reached(a.goal_m()),
        "ready_3km": a.standing.readiness(3000.0),
        "ready_5km": a.standing.readiness(5000.0),
        "cautions": Meets(lambda cell: kinds_of(cell) in possible, " or ".join(str(sorted(kinds)) for kinds in possible)),
    }


def clock(minutes):
    whole = int(minutes + 0.5) % 1440
    return f"{whole // 60:02}:{whole % 60:02}"


def planned_rows(a):
    """Rows of planned.csv: every session of the plan, missed ones too."""
    for planned in a.planned:
        session, m = planned.session, planned.shown
        late = (m.day - planned.day).days if m and planned.day else None
        yield {
            "athlete": a.name,
            "plan": a.plan.title,
            "plan_block": session.label,
            "plan_session": session.number,
            "due_date": planned.day,
            "due": planned.due,
            "outcome": OUTCOMES.get(planned.outcome, planned.outcome) if planned.due or planned.outcome == "excused" else None,
            "run_planned_s": session.run_s or None,
            "run_done_s": near(planned.done_s, 1.0),
            "file": m and m.file,
            "session": m and m.number,
            "days_late": late,
            # Nobody of these squads goes back a block by a word, and nothing is said by hand.
            "round": 1,
            "by_hand": False,
        }


# A word of each caution's title, by domain.md 10.
CAUTION_WORDS = {
    "screening": "stepping up",
    "sign": "sign",
    "strong pain": "go back",
    "mild pain": "hold and rest",
    "heat": "Heat",
    "heart rate": "Heart rate",
    "large step": "step",
    "ran far": "Much more",
    "rise": "rise",
}


def kinds_of(cell):
    titles = cell.split("; ") if cell else []
    kinds = set()
    for title in titles:
        found = [kind for kind, word in CAUTION_WORDS.items() if word in title]
        kinds.add(found[0] if found else title)
    return kinds


def cautions(a, verdict):
    """The cautions whose trigger is present. A large step may be told, or told to the group where it is the plan's own."""
    is_shown = any(m.run_mean_over_time() for m in a.sessions)
    medicine = a.takes_pulse_medicine()
    rise = a.rise_14_days_pct()
    stopped = verdict.computed == "stop"
    present = {
        "screening": a.squad_row.get("screened") != "yes",
        "sign": stopped,
        "strong pain": verdict.strong_pain,
        "mild pain": verdict.pain and not verdict.strong_pain,
        "heat": any(note.hot and (a.as_of - note.day).days < HEAT_DAYS for note in a.notes),
        "heart rate": is_shown and (medicine or a.is_max_predicted),
        "rise": rise is not None and rise > RISE_PCT and not stopped,
    }
    kinds = {kind for kind, is_present in present.items() if is_present}
    step = a.standing.next_step_pct()
    is_large = verdict.computed == "advance" and step is not None and step > SPIKE_PCT
    possible = [kinds, kinds | {"large step"}] if is_large else [kinds]
    return [of | {"ran far"} for of in possible] if ran_far(a) and not stopped else possible


def ran_far(a):
    """Whether a session of the last week was a spike, and no step that the plan asked for."""

    def is_far(m):
        as_asked = m.planned is not None and (m.match is None or 100 * m.match.overdone() <= OVERDONE_PCT)
        run_m, before_m = m.metres("run") if m.resolvable else None, earlier_m(a, m)
        return not as_asked and run_m and before_m and 100 * (run_m / before_m - 1) > SPIKE_PCT

    return any(is_far(m) for m in a.sessions if (a.as_of - m.day).days < FAR_DAYS)


# ------------------------------------------------------------------ weeks


def week_of(day):
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02}"


def week_rows(a):
    """Rows of weeks.csv."""
    weeks = {week_of(m.day): [] for m in a.sessions}
    for m in a.sessions:
        weeks[week_of(m.day)].append(m)
    due = defaultdict(list)
    for day in a.due():
        if day.day is not None:
            due[week_of(day.day)].append(day)
    run_s_of = {}
    rows = []
    for week in sorted(weeks.keys() | due.keys()):
        sessions = weeks.get(week, [])
        told = [m for m in sessions if m.resolvable]
        total = lambda values: sum(v for v in values if v is not None) if told and any(v is not None for v in values) else None
        run_s = total([m.seconds("run") for m in told])
        run_s_of[week] = run_s
        before_s = run_s_of.get(week_of(monday(week) - timedelta(7)))
        whole = lambda metres: None if None in metres else total(metres)
        run_m, walk_m = (whole([m.metres(kind) for m in told]) for kind in ("run", "walk"))
        most = max((m for m in told if m.metres("run")), key=lambda m: m.metres("run"), default=None) if run_m is not None else None
        earlier = earlier_m(a, most) if most else None
        of_week = attendance(due[week]) if week in due else None
        slack_s, slack_m = TIME_S * sum(len(m.bouts) for m in told), METRE_M * sum(len(m.bouts) for m in told)
        rows.append(
            {
                "athlete": a.name,
                "week": week,
                "sessions": len(sessions),
                "run_s": near(run_s, slack_s),
                "run_m": near(run_m, slack_m),
                "walk_s": near(total([m.seconds("walk") for m in told]), slack_s),
                "walk_m": near(walk_m, slack_m),
                "longest_run_s": near(max((m.longest().seconds for m in told if m.has_runs()), default=None), 2 * TIME_S),
                "session_run_m_max": near(most and most.metres("run"), slack_m),
                "session_run_m_max_before_30d": near(earlier, 0.1),
                "spike_pct": near(earlier and 100 * (most.metres("run") / earlier - 1), 0.05),
                "run_change_pct": near(100 * (run_s / before_s - 1) if run_s is not None and before_s else None, 0.05),
                "sessions_due": of_week and of_week["due"],
                "sessions_attempted": of_week and of_week["attended"],
                "dose_pct": near(of_week and of_week["dose_pct"], SCORE_PCT),
            }
        )
    return rows


def monday(week):
    from datetime import date

    return date.fromisocalendar(int(week[:4]), int(week[-2:]), 1)


def earlier_m(a, session):
    """Most metres run in a session of the 30 days before, the day itself left out; None without any."""
    from_day = session.day - timedelta(SPIKE_DAYS)
    before = [m for day, m in a.runs() if from_day <= day < session.day and m != 0]
    return None if None in before else max(before, default=None)
