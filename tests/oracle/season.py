"""Plan, squad and journal files, and the days of a plan, read independently of the program (design.md)."""

import csv
import re
import tomllib
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from adherence import Part

RUN_M_PER_S, WALK_M_PER_S = 2.5, 1.5
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


# ------------------------------------------------------------------ the notation of a session


def parse_session(text, speeds):
    """Interval text to parts, written out."""
    words = re.findall(r"[()x,]|\d+(?::\d+)+|\d+(?:\.\d+)?|[a-z]+", text.lower())
    parts, rest = parse_items(words, speeds)
    if rest:
        raise ValueError(f"cannot read {rest} of {text!r}")
    return parts


def parse_items(words, speeds):
    parts = []
    while words and words[0] != ")":
        if words[0] == ",":
            words = words[1:]
        elif len(words) > 2 and words[1] == "x" and words[2] == "(":
            inner, rest = parse_items(words[3:], speeds)
            parts += inner * int(words[0])
            words = rest[1:]
        else:
            part, words = parse_interval(words, speeds)
            parts.append(part)
    return parts, words


def parse_interval(words, speeds):
    number, words = words[0], words[1:]
    if ":" in number:
        seconds, metres = 0, None
        for field_ in number.split(":"):
            seconds = 60 * seconds + int(field_)
    else:
        unit, words = words[0], words[1:]
        seconds = {"s": 1, "min": 60}.get(unit, 0) * float(number)
        metres = {"m": 1, "km": 1000}.get(unit, 0) * float(number) or None
        if not seconds and not metres:
            raise ValueError(f"unknown unit {unit}")
    kind, words = words[0], words[1:]
    if metres is not None:
        seconds = metres / speeds[kind]
    return Part(kind, float(seconds), metres), words


# ------------------------------------------------------------------ plans


@dataclass
class Planned:
    """One session of a plan."""

    block: int
    label: str
    number: int
    text: str
    parts: list
    day: date | None = None

    @property
    def run_s(self):
        return sum(part.seconds for part in self.parts if part.kind == "run")


@dataclass
class Plan:
    title: str
    blocks: list
    speeds: dict
    pauses: list
    goal_m: float | None = None
    sessions: list = field(default_factory=list)

    def find(self, label, number):
        found = [session for session in self.sessions if (session.label, session.number) == (label, number)]
        return found[0] if found else None

    def of_block(self, block):
        return [session for session in self.sessions if session.block == block]


def read_plan(path):
    document = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    speeds = {
        "run": document.get("run_speed_m_per_s", RUN_M_PER_S),
        "walk": document.get("walk_speed_m_per_s", WALK_M_PER_S),
    }
    pauses = [(pause["from"], pause["to"]) for pause in document.get("pause", [])]
    goal = re.fullmatch(r"([\d.]+) (k?)m", document.get("goal", ""))
    goal_m = float(goal[1]) * (1000 if goal[2] else 1) if goal else None
    plan = Plan(document.get("title", Path(path).stem), document["block"], speeds, pauses, goal_m)
    for at, block in enumerate(plan.blocks):
        texts = block["session"] if isinstance(block["session"], list) else [block["session"]]
        parsed = [parse_session(text, speeds) for text in texts]
        label = block.get("label", chr(ord("A") + at))
        for number in range(block.get("sessions", len(texts))):
            turn = number % len(texts)
            plan.sessions.append(Planned(at, label, number + 1, texts[turn], parsed[turn]))
    return plan


def days_of(plan, start):
    """The plan's days from the day of its first session on; None where a block has no days."""
    days, day = [], None
    for session in plan.sessions:
        block = plan.blocks[session.block]
        weekdays = [WEEKDAYS.index(name[:3].lower()) for name in block.get("days", [])]
        if day is None:
            day = start
        elif "every_days" in block:
            day += timedelta(block["every_days"])
        elif weekdays:
            day += timedelta(1)
            while day.weekday() not in weekdays:
                day += timedelta(1)
        else:
            return [None] * len(plan.sessions)
        while any(first <= day <= last for first, last in plan.pauses):
            day += timedelta(1)
            while weekdays and day.weekday() not in weekdays:
                day += timedelta(1)
        days.append(day)
    return days


# ------------------------------------------------------------------ squad and journal


def rows(path):
    with open(path, encoding="utf-8-sig", newline="") as file:
        return [{key: value.strip() for key, value in row.items()} for row in csv.DictReader(file)]


def number(cell):
    return float(cell) if cell else None


def flag(cell):
    return {"yes": True, "no": False}.get(cell.lower()) if cell else None


def read_squad(path):
    return {row["athlete"]: row for row in rows(path)}


@dataclass
class Note:
    """A row of the journal."""

    day: date
    effort: float | None
    talkable: bool | None
    soreness: float | None
    pain: float | None
    next_morning: bool | None
    worse_running: bool | None
    sign: bool
    hot: bool | None
    excused: bool
    decision: str

    @property
    def is_painful(self):
        return (self.pain or 0) > 0 or self.is_lasting

    @property
    def is_lasting(self):
        return self.next_morning is True or self.worse_running is True


# Cells that say that there was no sign.
NO_SIGN = ("", "no", "none", "0", "-")


def read_journal(path):
    """Notes by athlete, in order of their days."""
    notes = {}
    for row in rows(path):
        cell = lambda name: row.get(name) or ""
        note = Note(
            date.fromisoformat(cell("date")),
            number(cell("effort_0_10")),
            flag(cell("talkable")),
            number(cell("soreness_0_10")),
            number(cell("pain_0_10")),
            flag(cell("pain_next_morning")),
            flag(cell("pain_worse_running")),
            cell("warning_sign").lower() not in NO_SIGN,
            flag(cell("hot")),
            flag(cell("excused")) is True,
            cell("coach_decision"),
        )
        notes.setdefault(row["athlete"], []).append(note)
    for own in notes.values():
        own.sort(key=lambda note: note.day)
    return notes
