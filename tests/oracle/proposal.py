"""The proposal, what comes next and readiness, by domain.md 11 and 12, written anew."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from adherence import OVERDONE_PCT, Match, WalkMatch
from robust import median

WINDOW, MIN_GOOD = 3, 2
COMPLETE_ADV_PCT, COMPLETE_EASE_PCT = 90.0, 60.0
BREAKS_PCT = 60.0
EFFORT_OK, EFFORT_HARD, SORE_EASE, PAIN_EASE = 4, 7, 5, 5
REST_DAYS, PAIN_REST_DAYS = 1, 1
GAP_REPEAT_DAYS, GAP_BACK_DAYS = 7, 14
SPIKE_DAYS = 30
READY, CLOSE, DONE = 0.80, 0.60, 0.99
READINESS_DAYS = 14
LONG_REPS, LONG_REP_S = 3, 0.9 * 480
# domain.md, F5.
RIEGEL, RIEGEL_RATIO, RIEGEL_S = 1.06, 2.5, (210.0, 13_800.0)


@dataclass
class Evidence:
    """One session of the plan as the rules see it."""

    day: date
    block: int | None
    dose_pct: float
    breaks_pct: float | None
    overdone_pct: float
    walked: bool
    # Notes of its day and later until the next session; and those before it, more than a day after the session before.
    own: list = field(default_factory=list)
    earlier: list = field(default_factory=list)

    def noted(self):
        return [*self.earlier, *self.own]

    def worst(self, name, notes):
        values = [getattr(note, name) for note in notes]
        return max((value for value in values if value is not None), default=None)

    def effort(self):
        return self.worst("effort", self.own)

    def talkable(self):
        return speech(self.own)

    def is_complete(self):
        kept = self.breaks_pct is None or self.breaks_pct >= BREAKS_PCT
        return not self.walked and self.dose_pct >= COMPLETE_ADV_PCT and self.overdone_pct <= OVERDONE_PCT and kept

    def is_good(self):
        easy = self.is_easy(self.own) and self.is_easy(self.earlier)
        return self.is_complete() and easy and not any(note.is_painful for note in self.noted())

    def is_easy(self, notes):
        effort, talkable = self.worst("effort", notes), speech(notes)
        return effort is None and talkable is None or talkable is True or (effort is not None and effort <= EFFORT_OK)

    def is_hard(self, notes):
        return (self.worst("soreness", notes) or 0) >= SORE_EASE or (self.worst("effort", notes) or 0) >= EFFORT_HARD


def speech(notes):
    said = [note.talkable for note in notes if note.talkable is not None]
    return all(said) if said else None


@dataclass
class Verdict:
    """The word of the table, and what belongs to it."""

    word: str | None = None
    computed: str | None = None
    decided: str | None = None
    rest: bool = False
    ask: bool = False
    pain: bool = False
    strong_pain: bool = False
    no_run_before: date | None = None
    must_name: list = field(default_factory=list)

    def explains(self, cell):
        return bool(cell) and all(word in cell.lower() for word in self.must_name)


def strong(notes):
    return any(note.is_lasting or (note.pain or 0) > PAIN_EASE for note in notes)


class Standing:
    """Where an athlete stands in the plan."""

    def __init__(self, athlete):
        self.athlete = athlete
        laid = [m for m in athlete.sessions if m.planned is not None]
        told = [m for m in laid if m.match is not None]
        last_of_day = {m.day: m for m in told}
        self.laid = [evidence_of(m, beside_pct(m, athlete) if last_of_day[m.day] is m else 0.0) for m in told]
        # Without a plan each run is a session that was done as it was meant.
        self.sessions = self.laid or [
            Evidence(m.day, None, 100.0, None, 0.0, False) for m in athlete.sessions if m.has_runs()
        ]
        attach(self.sessions, athlete.notes)
        self.block = laid[-1].planned.block if laid else 0 if athlete.plan else None
        self.newest_laid = laid[-1].day if laid else None
        untold = [m.day for m in laid if not m.resolvable]
        self.newest_run = max([*(m.day for m in athlete.sessions if m.has_runs()), *untold], default=None)

    def since_last_good(self):
        """Notes of the sessions since the last good one."""
        notes = []
        for session in reversed(self.sessions):
            if session.is_good():
                break
            notes += session.noted()
        return notes

    def open_signs(self):
        answered = max((n.day for n in self.athlete.notes if n.decision and n.decision != "stop"), default=None)
        return [n for n in self.athlete.notes if n.sign and (answered is None or n.day >= answered)]

    def coach(self):
        """The coach's newest word, where no session was recorded after it; `stop` until the next word."""
        decided = [note for note in self.athlete.notes if note.decision]
        if not decided:
            return None
        newest = decided[-1]
        holds = newest.decision == "stop" or self.newest_laid is None or self.newest_laid <= newest.day
        return newest.decision if holds else None

    def propose(self):
        verdict = self.weigh()
        verdict.computed = verdict.word
        verdict.decided = self.coach()
        if verdict.word != "stop" and verdict.decided:
            verdict.word = verdict.decided
        if verdict.rest:
            verdict.no_run_before = self.rested()
        if verdict.rest:
            verdict.must_name.append("rest")
        if verdict.ask:
            verdict.must_name.append("speak in sentences")
        return verdict

    def rested(self):
        """The first day for a run after pain: both rests after the newest run, and the further one after what was noted."""
        days = [n.day + timedelta(PAIN_REST_DAYS + 1) for n in self.athlete.notes if n.is_painful]
        if self.newest_run:
            days.append(self.newest_run + timedelta(REST_DAYS + PAIN_REST_DAYS + 1))
        return max(days)

    def weigh(self):
        noted = self.since_last_good()
        verdict = Verdict()
        verdict.pain = any(note.is_painful for note in noted)
        verdict.strong_pain = strong(noted)
        if self.open_signs():
            verdict.word, verdict.must_name = "stop", ["sign"]
            return verdict
        if self.block is None or not self.athlete.plan:
            if verdict.pain:
                verdict.word, verdict.rest = ("ease" if verdict.strong_pain else "hold"), True
                verdict.must_name.append("pain")
            return verdict
        window = [session for session in self.laid if session.block == self.block][-WINDOW:]
        if not window:
            return verdict
        verdict.word = self.word_of(window, verdict)
        verdict.rest = verdict.pain
        if verdict.pain:
            verdict.must_name.append("pain")
        if verdict.word == "advance":
            good = [session for session in window if session.is_good()]
            known = [s for s in good if s.effort() is not None or s.talkable() is not None]
            verdict.ask = len(known) < MIN_GOOD
        return verdict

    def word_of(self, window, verdict):
        last_two = window[-2:]
        gap = (self.athlete.as_of - (self.newest_run or self.athlete.as_of)).days
        twice = len(last_two) == 2
        if verdict.strong_pain or gap > GAP_BACK_DAYS:
            return "ease"
        if twice and all(session.dose_pct < COMPLETE_EASE_PCT for session in last_two):
            return "ease"
        before = [session for session in window if session.day != window[-1].day][-1:]
        if before and all(session.is_hard(session.own) for session in [*before, window[-1]]):
            return "ease"
        if verdict.pain or window[-1].is_hard(window[-1].noted()) or gap > GAP_REPEAT_DAYS:
            return "hold"
        good = [session for session in window if session.is_good()]
        return "advance" if len(good) >= MIN_GOOD and window[-1].is_good() else "hold"

    def next_session(self, verdict):
        """The session that follows from the word; None where nothing does."""
        if self.block is None or verdict.word == "stop":
            return None
        plan = self.athlete.plan
        of_block = plan.of_block(self.block)
        tried = {id(day.session) for day in self.athlete.planned if day.is_attended()}
        open_ = next((session for session in of_block if id(session) not in tried), None)
        if verdict.word == "advance" and open_ is None:
            following = plan.of_block(self.block + 1)
            return following[0] if following else None
        if verdict.word == "ease" and self.block > 0:
            return plan.of_block(self.block - 1)[0]
        if verdict.word is None and any(session.block == self.block for session in self.laid):
            return None
        return open_ or of_block[-1]

    def next_step_pct(self):
        """How far the running asked next is above the longest of 30 days, at the athlete's own pace; None without a basis."""
        a, following = self.athlete, self.next_session(Verdict("advance"))
        speeds = [m.run_speed() for m in a.sessions if m.run_speed()][-2:]
        from_day = a.as_of + timedelta(1) - timedelta(SPIKE_DAYS)
        before = [metres for day, metres in a.runs() if day >= from_day and metres != 0]
        longest = None if None in before else max(before, default=None)
        if following is None or not speeds or longest is None:
            return None
        speed = median(speeds)
        asked = sum(p.metres or p.seconds * speed for p in following.parts if p.kind == "run")
        return 100 * (asked / longest - 1)

    def readiness(self, distance_m):
        """The words of ready_3km and ready_5km; None before the evidence allows."""
        a = self.athlete
        # Beside pain or a sign no run is called for, whatever was done.
        last = self.sessions[-1] if self.sessions else None
        not_now = bool(self.open_signs()) or (last is not None and any(n.is_painful for n in last.noted()))
        done = any((m.longest().metres or 0) >= DONE * distance_m for m in a.sessions if m.has_runs())
        shown = self.shown(distance_m, not_now)
        if shown == "not now":
            return shown
        return "done" if done else shown

    def shown(self, distance_m, not_now):
        a = self.athlete
        runs = [m for m in a.sessions if m.has_runs()]
        late = [m for m in runs if (a.as_of - m.day).days < READINESS_DAYS]
        measured = [m.longest() for m in late if m.longest().metres]
        if len(runs) < 2 or not measured:
            return None
        longest = max(measured, key=lambda bout: bout.seconds)
        speed = median([m.run_speed() for m in runs[-2:]])
        by_endurance = endurance_s(longest.seconds, longest.metres, distance_m)
        needed = max(distance_m / speed, by_endurance or 0)
        share = longest.seconds / needed
        last_two = self.sessions[-2:]
        good = len(last_two) == 2 and all(session.is_good() for session in last_two)
        if not self.laid:
            shorter = min(m.longest().seconds for m in runs[-2:])
            is_late = (a.as_of - runs[-2].day).days < READINESS_DAYS
            good = good and is_late and shorter >= CLOSE * needed
        long_reps = any(sum(b.seconds >= LONG_REP_S for b in m.of_kind("run")) >= LONG_REPS for m in late)
        if not_now:
            return "not now"
        if share >= READY and good:
            return "ready to try"
        return "close" if share >= CLOSE or long_reps else "not yet"


def endurance_s(known_s, known_m, wanted_m):
    ratio = wanted_m / known_m
    time_s = known_s * ratio**RIEGEL
    within = all(RIEGEL_S[0] <= s <= RIEGEL_S[1] for s in (known_s, time_s))
    return time_s if within and ratio <= RIEGEL_RATIO else None


def evidence_of(m, beside_pct):
    match, overdone_pct = m.match, 100 * m.match.overdone() + beside_pct
    if isinstance(match, WalkMatch):
        on_foot_pct = min(100.0, 100 * (match.adherence() + match.overdone()))
        return Evidence(m.day, m.planned.block, on_foot_pct, None, overdone_pct, False)
    breaks = 100 * match.breaks() if len(match.done) > 1 else None
    return Evidence(m.day, m.planned.block, 100 * match.dose(), breaks, overdone_pct, not m.has_runs())


def beside_pct(m, athlete):
    """What was run on the day of a session in recordings on none, in % of the plan; of two recordings of one time one counts."""
    of_day = [other for other in athlete.sessions if other.day == m.day]
    sessions = [other for other in of_day if other.planned is not None]
    span = lambda of: (of.start_utc, of.start_utc + timedelta(seconds=of.bouts[-1].end_s if of.bouts else 0))
    shares_time = lambda a, b: span(a)[0] < span(b)[1] and span(b)[0] < span(a)[1]
    beside = [o for o in of_day if o.planned is None and o.has_runs() and not any(shares_time(o, of) for of in sessions)]
    asked_s = m.match.asked_s() if isinstance(m.match, WalkMatch) else m.match.demand.run_s
    return 100 * sum(other.seconds("run") for other in beside) / asked_s


def attach(sessions, notes):
    """Gives each note to the newest session by then; one of more than a day after it to the session that follows too."""
    for note in notes:
        before = [session for session in sessions if session.day <= note.day]
        if not before:
            continue
        newest = before[-1]
        for session in before:
            if session.day == newest.day:
                session.own.append(note)
        if (note.day - newest.day).days > 1:
            after = [session for session in sessions if session.day > note.day]
            if after:
                after[0].earlier.append(note)
