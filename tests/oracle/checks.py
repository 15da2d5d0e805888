"""Holds the cells of a table against what is expected of them, and says what was not compared."""

import csv
import re
from dataclasses import dataclass

# Columns of the contract that may not be there yet; they are held against their expectation where they are.
COMING = {
    *("plan", "time_zone", "time_zone_source", "utc_offset_s", "counted", "overlaps_file"),
    *("computed_proposal", "coach_decision", "goal_m", "goal_reached_date"),
}
# Decimals by the unit in a column's name (design.md, "Output files").
DECIMALS = (
    (r"_per_km$", 1),
    (r"run_per_beat_trend_m_per_week$", 3),
    (r"_per_week$", 1),
    (r"_s(_low|_high)?$", 1),
    (r"^(run|longest)_s_(low|high)$|_s$|^longest_(low|high)_s$|_at_least_s$", 1),
    (r"_m$|_m_max$|_m_max_before_30d$", 2),
    (r"_pct$", 1),
    (r"_bpm$", 1),
    (r"_spm$", 1),
    (r"confidence$", 3),
)
ROUNDING = 1e-9


class Unlike(Exception):
    """A cell that is not as expected."""


@dataclass(frozen=True)
class Near:
    """A number; `within` comes on top of half a unit of the last decimal."""

    value: float
    within: float = 0.0


@dataclass(frozen=True)
class Meets:
    """Any cell that a test takes."""

    test: object
    what: str


@dataclass(frozen=True)
class Exempt:
    """A cell that is not compared, with the reason."""

    reason: str


def decimals(column):
    return next((digits for pattern, digits in DECIMALS if re.search(pattern, column)), None)


def compare(column, cell, expected):
    """Raises `Unlike` where a cell is not as expected."""
    digits = decimals(column)
    if digits is not None and cell and not re.fullmatch(rf"-?\d+\.\d{{{digits}}}", cell):
        raise Unlike(f"{cell} has not {digits} decimals")
    match expected:
        case Exempt():
            return
        case Meets():
            if not expected.test(cell):
                raise Unlike(f"{cell or 'empty'}, expected {expected.what}")
        case None:
            if cell:
                raise Unlike(f"{cell}, expected empty")
        case Near():
            slack = expected.within + (0.5 * 10**-digits if digits is not None else 0.0) + ROUNDING
            if not cell or abs(float(cell) - expected.value) > slack:
                raise Unlike(f"{cell or 'empty'}, expected {expected.value:.6f} within {slack:.6f}")
        case bool():
            if cell != str(expected).lower():
                raise Unlike(f"{cell or 'empty'}, expected {str(expected).lower()}")
        case float():
            compare(column, cell, Near(expected))
        case _:
            if cell != str(expected):
                raise Unlike(f"{cell or 'empty'}, expected {expected}")


class Report:
    """What was compared in an audit, and what was unlike."""

    def __init__(self):
        self.unlike = []
        self.rows = {}
        # Cells with a value that were held against an expectation, by table and column.
        self.held = {}
        self.exempt = {}

    def say(self, text):
        self.unlike.append(text)

    def table(self, table, actual, expected, key):
        """Rows of a table in their order against the expected ones; `expected` maps columns to expectations."""
        self.rows[table] = len(actual)
        for column in actual[0] if actual else ():
            self.held.setdefault((table, column), 0)
        for at in range(max(len(actual), len(expected))):
            if at >= len(actual):
                self.say(f"{table}: no row for {name(expected[at], key)}")
                continue
            if at >= len(expected):
                self.say(f"{table}: a row too many, {name(actual[at], key)}")
                continue
            self.row(table, actual[at], expected[at], key)

    def row(self, table, actual, expected, key):
        where = f"{table} {name(actual, key)}"
        for column in sorted(expected.keys() - actual.keys() - COMING):
            self.say(f"{table}: the column {column} is missing")
        for column, cell in actual.items():
            if column not in expected:
                self.say(f"{table}: no check of the column {column}; add one, or an exemption with its reason")
                continue
            wanted = expected[column]
            try:
                compare(column, cell, wanted)
            except Unlike as unlike:
                self.say(f"{where}: {column} {unlike}")
            if isinstance(wanted, Exempt):
                self.exempt[(table, column)] = wanted.reason
            elif cell:
                self.held[(table, column)] += 1

    def check(self, holds, text):
        if not holds:
            self.say(text)


def name(row, key):
    return " ".join(str(row.get(column, "")) for column in key)


def read_table(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))

