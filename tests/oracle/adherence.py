"""Adherence of one session by adherence.md, written anew: groups are the states of the search, and what a walk between two
of them earns is reckoned from the two groups themselves.
"""

from dataclasses import dataclass

WEIGHT_DOSE, WEIGHT_BREAKS, WEIGHT_FULL = 0.60, 0.25, 0.15
EDGES_S = 6.0
REP_TOLERANCE_SHARE = 0.12
WALK_TOLERANCE_SHARE = 1 / 3
FULL_FROM_SHARE = 0.75
FREE_REST_S = 10.0
TIE = 1e-9
TINY_S = 1e-9
# Shorter reps and walks are about as long as the error of their edges (adherence.md, "What does not hold", 6).
JUDGED_REP_S, JUDGED_WALK_S = 45.0, 18.0
# More running than this beyond the plan is overdone (design.md, proposal).
OVERDONE_PCT = 15.0


@dataclass(frozen=True)
class Part:
    """What is asked for: seconds, or metres that count as seconds at the plan's fixed speed."""

    kind: str
    seconds: float
    metres: float | None = None

    @property
    def by_distance(self):
        return self.metres is not None


@dataclass(frozen=True)
class Bout:
    kind: str
    start_s: float
    end_s: float
    metres: float | None

    @property
    def seconds(self):
        return self.end_s - self.start_s


def tolerance(part):
    share = REP_TOLERANCE_SHARE if part.kind == "run" else WALK_TOLERANCE_SHARE
    return min(EDGES_S, share * part.seconds)


def joined(parts):
    """Adjoining parts as one; in metres only where all are."""
    metres = [part.metres for part in parts]
    whole = sum(metres) if all(m is not None for m in metres) else None
    return Part(parts[0].kind, sum(part.seconds for part in parts), whole)


class Demand:
    """Reps in order, the walks before, between and after them, each a list of its parts."""

    def __init__(self, parts):
        self.before, self.reps, self.walks, self.after = [], [], [], []
        last = None
        for part in parts:
            if part.kind == "run" and last == "run":
                self.reps[-1] = joined([self.reps[-1], part])
            elif part.kind == "run":
                if self.reps:
                    self.walks.append(self.after)
                self.after = []
                self.reps.append(part)
            elif self.reps:
                self.after.append(part)
            else:
                self.before.append(part)
            last = part.kind
        self.run_s = sum(rep.seconds for rep in self.reps)

    def weight(self, j):
        """What the walk after rep j (from 0) weighs among the breaks."""
        n = len(self.reps)
        before, after = self.reps[j].seconds, self.reps[j + 1].seconds
        return ((n - 1 - j) * before + (j + 1) * after) / ((n - 1) * self.run_s)

    def is_too_short_to_judge(self):
        short_reps = any(rep.seconds < JUDGED_REP_S for rep in self.reps)
        return short_reps or any(joined(walk).seconds < JUDGED_WALK_S for walk in self.walks)


@dataclass(frozen=True)
class Group:
    """Runs a to b laid on reps i to k, both included."""

    i: int
    k: int
    a: int
    b: int


class Match:
    """The best alignment of the runs of a session with the reps of its plan."""

    def __init__(self, demand, bouts, run_m_per_s, walk_m_per_s, holes=()):
        self.demand, self.holes = demand, holes
        self.run_m_per_s, self.walk_m_per_s = run_m_per_s, walk_m_per_s
        self.runs, self.rests = [], [[]]
        for bout in bouts:
            if bout.kind != "run":
                self.rests[-1].append(bout)
            elif self.runs and not self.rests[-1]:
                self.runs[-1].append(bout)
            else:
                self.runs.append([bout])
                self.rests.append([])
        self.groups = self.align()
        self.done, self.share_of = self.fill_all()
        self.credits = [self.credit(rep, done) for rep, done in zip(demand.reps, self.done)]

    # Lengths, by time or by metres.

    def length(self, bouts, part):
        if not part.by_distance:
            return sum(bout.seconds for bout in bouts)
        speed = self.run_m_per_s if part.kind == "run" else self.walk_m_per_s
        measured = [b.metres / speed if b.kind in ("run", "walk") and b.metres is not None else b.seconds for b in bouts]
        return sum(measured)

    def between(self, a, b):
        """Rest bouts from run a to run b, those of runs in between left out."""
        return [bout for at in range(a, b) for bout in self.rests[at + 1]]

    def lost_s(self, a, b):
        rests = (sum(bout.seconds for bout in self.rests[at + 1]) - self.hidden_s(at, at + 1) for at in range(a, b))
        return sum(max(0.0, rest - FREE_REST_S) for rest in rests)

    def hidden_s(self, a, b):
        """Seconds from run a to run b of which the recording does not show whether they were run or rested."""
        middle_s = lambda bout: 0.5 * (bout.start_s + bout.end_s)
        is_hole = lambda bout: bout.kind == "gap" and any(begin <= middle_s(bout) < end for begin, end in self.holes)
        return sum(bout.seconds for bout in self.between(a, b) if is_hole(bout))

    def bouts_of(self, a, b):
        return [bout for run in self.runs[a : b + 1] for bout in run]

    def fill(self, parts, bouts, lost_s=0.0):
        """Seconds that each part gets and the shares of the bouts that they take; shorter than `parts` where all is used up.

        Time and metres of the bouts shrink alike, so that parts in seconds and in metres may follow each other.
        """
        left, begun, filled = 1.0, 0.0, []
        for at, part in enumerate(parts):
            have = (self.length(bouts, part) - lost_s) * left
            if have <= TINY_S:
                break
            takes_all = at + 1 == len(parts) or have <= part.seconds
            done = have if takes_all else part.seconds
            end = 1.0 if takes_all else begun + (1.0 - begun) * done / have
            filled.append((done, begun, end))
            left *= 1.0 - done / have
            begun = end
        return filled

    # Credits.

    def credit(self, rep, done):
        return 0.0 if done <= 0 else min(1.0, done / (rep.seconds - tolerance(rep)))

    def full(self, rep, done):
        low, high = FULL_FROM_SHARE * rep.seconds, rep.seconds - tolerance(rep)
        return min(1.0, max(0.0, (done - low) / (high - low)))

    def rep_points(self, rep, done):
        dose = WEIGHT_DOSE + (WEIGHT_BREAKS if len(self.demand.reps) == 1 else 0.0)
        dose_points = dose * rep.seconds / self.demand.run_s * self.credit(rep, done)
        return dose_points + WEIGHT_FULL / len(self.demand.reps) * self.full(rep, done)

    def walk_credit(self, before, after):
        """Of the walk between two groups of which one ends where the other begins, without what the reps beside it earned."""
        walk = joined(self.demand.walks[before.k])
        rest = self.length(self.between(before.b, after.a), walk)
        rest -= min(self.hidden_s(before.b, after.a), max(0.0, rest - walk.seconds))
        lost_s = self.lost_s(before.a, before.b) + self.lost_s(after.a, after.b)
        if rest <= 0:
            return 0.0
        return min(1.0, rest / (walk.seconds - tolerance(walk)), (walk.seconds + tolerance(walk)) / (rest + lost_s))

    # The search.

    def align(self):
        reps = self.demand.reps
        possible = {}
        for a in range(len(self.runs)):
            for b in range(a, len(self.runs)):
                for i in range(len(reps)):
                    for k in range(i, len(reps)):
                        filled = self.fill(reps[i : k + 1], self.bouts_of(a, b), self.lost_s(a, b))
                        if len(filled) < k + 1 - i:
                            break
                        done = [seconds for seconds, *_ in filled]
                        points = sum(self.rep_points(rep, s) for rep, s in zip(reps[i:], done))
                        ends = (self.credit(reps[i], done[0]), self.credit(reps[k], done[-1]))
                        possible[Group(i, k, a, b)] = (points, ends)
        # Best alignment that ends with each group: points, and the groups from the last to the first. Of equals the one
        # that ends at earlier reps, then runs.
        best = {}

        def better(one, other):
            if abs(one[0] - other[0]) > TIE:
                return one if one[0] > other[0] else other
            order = lambda found: [(group.k, group.b, group.i, group.a) for group in found[1]]
            return one if order(one) <= order(other) else other

        for group in sorted(possible, key=lambda group: (group.k, group.b)):
            points, (first_credit, _) = possible[group]
            chosen = (points, (group,))
            for before, (value, groups) in list(best.items()):
                if before.k >= group.i or before.b >= group.a:
                    continue
                value += points
                if before.k + 1 == group.i:
                    beside = min(possible[before][1][1], first_credit)
                    earned = self.walk_credit(before, group) * beside
                    value += WEIGHT_BREAKS * self.demand.weight(before.k) * earned
                chosen = better(chosen, (value, (group, *groups)))
            best[group] = chosen
        chosen = (0.0, ())
        for found in best.values():
            chosen = better(chosen, found)
        return list(reversed(chosen[1]))

    def fill_all(self):
        done, shares = [0.0] * len(self.demand.reps), [None] * len(self.demand.reps)
        for group in self.groups:
            parts = self.demand.reps[group.i : group.k + 1]
            filled = self.fill(parts, self.bouts_of(group.a, group.b), self.lost_s(group.a, group.b))
            for rep, (seconds, begun, end) in zip(range(group.i, group.k + 1), filled):
                done[rep], shares[rep] = seconds, (group, begun, end)
        return done, shares

    # What the tables hold.

    def sides(self, j):
        """The groups that walk j lies between, where one ends at rep j and the next begins at rep j + 1."""
        before, after = self.share_of[j], self.share_of[j + 1]
        return (before[0], after[0]) if before and after and before[0] != after[0] else None

    def dose(self):
        return sum(min(s, rep.seconds) for s, rep in zip(self.done, self.demand.reps)) / self.demand.run_s

    def tolerant_dose(self):
        return sum(rep.seconds * c for rep, c in zip(self.demand.reps, self.credits)) / self.demand.run_s

    def walk_earned(self, j):
        sides = self.sides(j)
        return self.walk_credit(*sides) * min(self.credits[j], self.credits[j + 1]) if sides else 0.0

    def breaks(self):
        if len(self.demand.reps) == 1:
            return self.tolerant_dose()
        return sum(self.demand.weight(j) * self.walk_earned(j) for j in range(len(self.demand.walks)))

    def adherence(self):
        full = sum(self.full(rep, s) for s, rep in zip(self.done, self.demand.reps)) / len(self.demand.reps)
        return WEIGHT_DOSE * self.tolerant_dose() + WEIGHT_BREAKS * self.breaks() + WEIGHT_FULL * full

    def extra(self):
        """The runs in no group."""
        taken = {run for group in self.groups for run in range(group.a, group.b + 1)}
        return [run for run in range(len(self.runs)) if run not in taken]

    def overdone(self):
        run = next(part for part in self.demand.reps)
        all_in_metres = all(rep.by_distance for rep in self.demand.reps)
        unit = run if all_in_metres else Part("run", 1.0)
        beyond = sum(self.length(self.runs[at], unit) for at in self.extra())
        for group in self.groups:
            reps = self.demand.reps[group.i : group.k + 1]
            lost_s = self.lost_s(group.a, group.b)
            run_s = sum(self.done[group.i : group.k + 1]) + lost_s
            beyond += max(0.0, run_s - sum(rep.seconds for rep in reps) - EDGES_S)
        return beyond / self.demand.run_s

    def walk_missing_s(self):
        missing = 0.0
        for j, parts in enumerate(self.demand.walks):
            walk, sides = joined(parts), self.sides(j)
            if sides:
                rest = self.length(self.between(sides[0].b, sides[1].a), walk)
                missing += max(0.0, walk.seconds - tolerance(walk) - rest)
            else:
                missing += walk.seconds
        return missing

    def status(self, rep):
        done, asked = self.done[rep], self.demand.reps[rep]
        if done <= 0:
            return "missed"
        if self.credits[rep] < 1 - TIE:
            return "short"
        return "long" if done > asked.seconds + EDGES_S else "done"

    # The rows of intervals.csv.

    def rows(self):
        """Rows as dictionaries; None is an empty cell."""
        reps, groups = self.demand.reps, self.groups
        rows = self.outer_rows(self.demand.before, self.resting(None, groups[0].a if groups else None))
        for rep, asked in enumerate(reps):
            rows.append(self.rep_row(rep, asked))
            if rep + 1 < len(reps):
                parts, sides = self.demand.walks[rep], self.sides(rep)
                credit = 100 * self.walk_earned(rep)
                rest = self.resting(sides[0].b, sides[1].a) if sides else None
                walked = self.walk_rows(parts, rest, credit)
                beside = self.share_of[rep], self.share_of[rep + 1]
                if not sides and all(beside):
                    # Run through, in one group.
                    walked = [row | {"done_s": 0.0, "done_m": 0.0} for row in walked]
                rows += walked
        rows += self.outer_rows(self.demand.after, self.resting(groups[-1].b, None) if groups else [])
        return with_extra(rows, [self.extra_row(run) for run in self.extra()])

    def resting(self, after, before):
        first = 0 if after is None else after + 1
        last = len(self.rests) - 1 if before is None else before
        return [bout for rest in self.rests[first : last + 1] for bout in rest]

    def rep_row(self, rep, asked):
        row = planned_row(asked) | {"status": self.status(rep), "credit_pct": 100 * self.credits[rep]}
        if self.share_of[rep] is None:
            return row | {"done_s": 0.0, "done_m": 0.0}
        group, begun, end = self.share_of[rep]
        bouts = self.bouts_of(group.a, group.b)
        if asked.by_distance:
            done_s = (end - begun) * sum(bout.seconds for bout in bouts)
            done_m = self.done[rep] * self.run_m_per_s
        else:
            done_s, done_m = self.done[rep], metres_between(bouts, begun, end)
        return row | {"done_s": done_s, "done_m": done_m, "start_s": time_at(bouts, begun)}

    def walk_rows(self, parts, rest, credit):
        rows = [planned_row(part) | {"status": "missed", "credit_pct": credit} for part in parts]
        if rest is None:
            return rows
        filled = self.fill(parts, rest)
        for at, row in enumerate(rows):
            if at >= len(filled):
                rows[at] = row | {"done_s": 0.0, "done_m": 0.0}
                continue
            done, begun, end = filled[at]
            off, slack = done - parts[at].seconds, tolerance(parts[at]) + 1e-6
            status = "long" if off > slack else "short" if off < -slack else "done"
            seconds = (end - begun) * sum(bout.seconds for bout in rest)
            where = {"start_s": time_at(rest, begun), "done_m": metres_between(rest, begun, end)}
            rows[at] = row | where | {"done_s": seconds, "status": status}
        return rows

    def outer_rows(self, parts, rest):
        """Walks before the first and after the last rep are never demanded: done as far as walked, else not recorded."""
        rows = self.walk_rows(parts, [bout for bout in rest if bout.kind in ("walk", "stand")], None)
        for at, row in enumerate(rows):
            if row["status"] == "short" and row["done_s"] > 0:
                rows[at] = row | {"status": "done"}
            elif row["status"] in ("short", "missed"):
                rows[at] = row | {"status": "not_recorded", "done_s": None, "done_m": None, "start_s": None}
        return rows

    def extra_row(self, run):
        return extra_row(self.runs[run])


def planned_row(part):
    seconds = None if part.by_distance else part.seconds
    empty = {"done_s": None, "done_m": None, "start_s": None}
    return {"kind": part.kind, "planned_s": seconds, "planned_m": part.metres} | empty


def extra_row(bouts):
    return {
        "kind": "run",
        "planned_s": None,
        "planned_m": None,
        "done_s": sum(bout.seconds for bout in bouts),
        "done_m": metres_between(bouts, 0.0, 1.0),
        "status": "extra",
        "credit_pct": None,
        "start_s": bouts[0].start_s,
    }


def with_extra(rows, extra):
    """Puts each extra run before the first row that began later."""
    out, extra = [], list(extra)
    for row in rows:
        while row["start_s"] is not None and extra and extra[0]["start_s"] < row["start_s"]:
            out.append(extra.pop(0))
        out.append(row)
    return out + extra


def time_at(bouts, share):
    """Time at which a share of the bouts is behind; at the end of one, the start of the next."""
    left = share * sum(bout.seconds for bout in bouts)
    for bout in bouts:
        if left < bout.seconds - 1e-6:
            return bout.start_s + max(0.0, left)
        left -= bout.seconds
    return bouts[-1].end_s if bouts else None


def metres_between(bouts, begun, end):
    """Metres between two shares of the bouts, each covered evenly; None where none are known."""
    whole = sum(bout.seconds for bout in bouts)
    low, high, at, metres = begun * whole, end * whole, 0.0, None
    for bout in bouts:
        if bout.metres is not None:
            within = max(0.0, min(high, at + bout.seconds) - max(low, at))
            metres = (metres or 0.0) + bout.metres * within / bout.seconds
        at += bout.seconds
    return metres


class WalkMatch:
    """A session that asks for walking alone: the share of it that was walked."""

    def __init__(self, parts, bouts, walk_m_per_s):
        self.parts = parts
        self.bouts = bouts
        self.walking = [bout for bout in bouts if bout.kind == "walk"]
        self.filler = Match.__new__(Match)
        self.filler.walk_m_per_s = walk_m_per_s
        self.filled = self.filler.fill(parts, self.walking)

    def adherence(self):
        done = sum(min(done, part.seconds) for part, (done, *_) in zip(self.parts, self.filled))
        return done / self.asked_s()

    def asked_s(self):
        return sum(part.seconds for part in self.parts)

    def overdone(self):
        return sum(bout.seconds for bout in self.bouts if bout.kind == "run") / self.asked_s()

    def is_as_asked(self):
        """Whether all was walked, as far as boundaries tell, and no more run than a good session allows."""
        lacks = any(row["status"] in ("short", "missed") for row in self.rows())
        return not lacks and 100 * self.overdone() <= OVERDONE_PCT

    def rows(self):
        rows = self.filler.walk_rows(self.parts, self.walking, 0.0)
        for row, part, (done, *_) in zip(rows, self.parts, self.filled):
            row["credit_pct"] = 100 * min(1.0, done / part.seconds)
        runs = []
        for before, bout in zip([None, *self.bouts], self.bouts):
            if bout.kind == "run" and before is not None and before.kind == "run":
                runs[-1].append(bout)
            elif bout.kind == "run":
                runs.append([bout])
        return with_extra(rows, [extra_row(run) for run in runs])
