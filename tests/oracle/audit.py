"""Holds every column of an audit against a second, independent reckoning.

    audit.py RESULT FOLDER [--squad SQUAD.csv] [--journal JOURNAL.csv] [--plan PLAN.toml] [--time-zone ZONE] [--truth DIR]
             [--tally FILE]

The oracle shares nothing with the program. Points are read with lxml and measured with PROJ; everything else is
reckoned from bouts.csv, the points, the plan, squad and journal files and the contract's definitions. Which planned session
a recording belongs to (`plan_block`, `plan_session`) is taken from the result and held against truth where there is any.

It fails when a cell is unlike, when a row or table is missing, and when there is a table or column that it does not know.
"""

import argparse
import json
import sys
from datetime import date
from pathlib import Path

import described
import happened
import truth
from checks import Meets, Report, read_table
from measured import Measured, zone_of
from people import Athlete, athlete_row, planned_rows, week_rows
from recordings import read_folder, set_duplicates_apart
from season import read_journal, read_plan, read_squad
from tables import bout_rows, interval_rows, session_row, words

TABLES = ("files", "sessions", "bouts", "intervals", "events", "athletes", "weeks")
# Tables of the contract that may not be there yet.
COMING = ("planned", "notes")
# Written beside the tables, with the reason why no cell of it is compared here.
NOT_COMPARED = {
    "report.html": "the tables again, for people; tests/browser reads it",
    "group.html": "the tables again, for people; tests/group_sheet.rs reads it",
}
DESCRIBED = {"manifest.json", "codebook.json"}

# Lines shown of one audit.
MOST_SHOWN = 100


def file_row(file):
    sessions = len(file.sessions)
    kept = sum(len(session.times_s) for session in file.sessions)
    dropped = file.points - kept if sessions else None
    notes = words(file.status != "read" or bool(dropped))
    if file.first:
        notes = Meets(lambda cell: file.first in cell, f"a note that names {file.first}")
    return {
        "file": file.name,
        "status": file.status,
        "format": file.format,
        "sessions": sessions,
        "points_kept": kept,
        "points_dropped": dropped,
        "notes": notes,
    }


def athlete_of(name, folder, squad):
    for athlete, row in squad.items():
        if (row.get("folder") or athlete) == name.split("/")[0]:
            return athlete
    return name.split("/")[0] if "/" in name else Path(folder).resolve().name


def grouped(rows):
    found = {}
    for row in rows:
        found.setdefault((row["athlete"], row["file"], row["session"]), []).append(row)
    return found


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("result", type=Path)
    parser.add_argument("folder", type=Path)
    for name in ("squad", "journal", "plan", "truth", "tally"):
        parser.add_argument(f"--{name}", type=Path)
    parser.add_argument("--time-zone")
    options = parser.parse_args()
    report = Report()

    written = {path.name for path in options.result.iterdir()}
    for name in sorted(written - NOT_COMPARED.keys() - DESCRIBED - {f"{table}.csv" for table in (*TABLES, *COMING)}):
        report.say(f"{name}: nothing is known of this file; add checks, or an exemption with its reason")
    tables = {}
    for table in TABLES:
        if f"{table}.csv" not in written:
            report.say(f"{table}.csv is missing")
        tables[table] = read_table(options.result / f"{table}.csv")
    for table in COMING:
        if f"{table}.csv" in written:
            tables[table] = read_table(options.result / f"{table}.csv")

    squad = read_squad(options.squad) if options.squad else {}
    journal = read_journal(options.journal) if options.journal else {}
    plans = {}

    def plan_of(athlete):
        path = options.plan
        if squad.get(athlete, {}).get("plan"):
            path = options.squad.parent / squad[athlete]["plan"]
        if path and path not in plans:
            plans[path] = read_plan(path)
        return plans.get(path)

    owner = lambda name: athlete_of(name, options.folder, squad)
    files = read_folder(options.folder)
    set_duplicates_apart(files, owner)
    report.table("files", tables["files"], [file_row(file) for file in files], ["file"])

    # Which sessions there must be, in the order of the table.
    counting = [(owner(f.name), s) for f in files if f.status not in ("duplicate", "ignored") for s in f.sessions]
    names = set(squad) | {owner(file.name) for file in files if file.status != "ignored"}
    counting.sort(key=lambda pair: (pair[0], pair[1].times_s[0], pair[1].file, pair[1].number))
    found = {key: rows[0] for key, rows in grouped(tables["sessions"]).items()}
    bouts_of, intervals_of = grouped(tables["bouts"]), grouped(tables["intervals"])
    driven = grouped(tables["events"])
    measured = []
    for athlete, session in counting:
        key = (athlete, session.file, str(session.number))
        if key not in found:
            report.say(f"sessions: no row for {' '.join(key)}")
            continue
        row = found[key]
        zone, source = zone_of(squad.get(athlete), options.time_zone, session)
        m = Measured(athlete, session, row, bouts_of.get(key, []), zone, source, plan_of(athlete))
        if row["plan_block"]:
            planned = m.plan and m.plan.find(row["plan_block"], int(row["plan_session"]))
            if planned is None:
                report.say(f"sessions {session.file}: the plan has no session {row['plan_block']}, {row['plan_session']}")
            else:
                rows = intervals_of.get(key, [])
                # Where nobody can tell what was recorded, holes are rest.
                paused = driven.get(key, []) if row["recorded_pct"] else []
                holes = [(float(e["at_s"]), float(e["to_s"])) for e in paused if e["text"].startswith("The recording has a hole")]
                m.lay_on(planned, outside(rows), cut(rows), holes)
                m.told_outcome = row["outcome"] or None
        # What became of a part nobody can tell, and so not what the session adds to a dose.
        m.is_open = any(row["event"] == "cannot_say" and row["part"] for row in driven.get(key, []))
        m.drives = [(float(row["at_s"]), float(row["to_s"])) for row in driven.get(key, []) if row["event"] == "vehicle"]
        measured.append(m)
    if len(measured) != len(tables["sessions"]):
        report.say(f"sessions: {len(tables['sessions'])} rows, expected {len(counting)}")

    newest = max((m.day for m in measured), default=date.min)
    athletes = {}
    for name in sorted(names):
        notes = journal.get(name, [])
        as_of = max([newest, *(note.day for note in notes)])
        own = [m for m in measured if m.athlete == name and counts(m)]
        start = squad.get(name, {}).get("start")
        start = date.fromisoformat(start) if start else None
        athletes[name] = Athlete(name, squad.get(name), plan_of(name), start, notes, own, as_of)

    key = ["athlete", "file", "session"]
    overlaps = {id(m): overlapping(m, measured) for m in measured}
    rows = [session_row(m, athletes[m.athlete], overlaps[id(m)]) for m in measured]
    report.table("sessions", tables["sessions"], rows, key)
    report.table("bouts", tables["bouts"], [row for m in measured for row in bout_rows(m)], [*key, "bout"])
    rows = [row for m in measured for row in interval_rows(m)]
    report.table("intervals", tables["intervals"], rows, [*key, "interval"])
    events_of = grouped(tables["events"])
    told = [(row, m) for m in measured for row in events_of.get((m.athlete, m.file, str(m.number)), [])]
    report.table("events", tables["events"], [happened.event_row(row, m) for row, m in told], [*key, "event"])
    for m in measured:
        happened.must_be_told(report, m, events_of.get((m.athlete, m.file, str(m.number)), []))
    report.table("athletes", tables["athletes"], [athlete_row(a) for a in athletes.values()], ["athlete"])
    rows = [row for a in athletes.values() for row in week_rows(a)]
    report.table("weeks", tables["weeks"], rows, ["athlete", "week"])

    if "planned" in tables:
        rows = [row for a in athletes.values() for row in planned_rows(a)]
        report.table("planned", tables["planned"], rows, ["athlete", "plan_block", "plan_session"])
    if "notes" in tables:
        rows = [note_row(row, files, tables) for row in tables["notes"]]
        report.table("notes", tables["notes"], rows, ["file", "session", "kind"])
    for m in measured:
        covers(report, m)
    if "codebook.json" in written:
        described.codebook(report, options.result / "codebook.json", tables)
    if "manifest.json" in written:
        described.manifest(report, options.result, options.folder, files, newest)
    as_a_whole(report, measured)
    for name, a in athletes.items():
        in_order(report, name, a)
    if options.truth:
        truth.compare(report, options.truth, measured, tables["athletes"], athletes)
    return finish(report, tables, options.tally)


def counts(m):
    """Whether a session stands in sums over several."""
    return m.row.get("counted") != "false"


def overlapping(m, measured):
    """Other sessions of the athlete that share time with this one."""
    start, end = m.session.times_s[0], m.session.times_s[-1]
    others = (other for other in measured if other is not m and other.athlete == m.athlete)
    return [other for other in others if other.session.times_s[0] < end and start < other.session.times_s[-1]]


def note_row(row, files, tables):
    """A note belongs to a file and a session that there are, and stands in words in the tables of both."""
    file = next((file for file in files if file.name == row["file"]), None)
    beside = [r["notes"] for t in ("files", "sessions") for r in tables[t] if r["file"] == row["file"]]
    said = any(row["text"] in cell for cell in beside)
    sessions = {str(session.number) for session in file.sessions} if file else set()
    return {
        "file": Meets(lambda cell: file is not None, "an input file"),
        "session": Meets(lambda cell: not cell or cell in sessions, "a session of the file"),
        "kind": Meets(bool, "a word"),
        "quantity": Meets(lambda cell: True, "a quantity or none"),
        "count": Meets(lambda cell: int(cell) >= 1, "1 or more"),
        "line": Meets(lambda cell: not cell or int(cell) >= 1, "a line"),
        "byte": Meets(lambda cell: not cell or int(cell) >= 0, "a byte"),
        "text": Meets(lambda cell: said, "words that stand in files.csv or sessions.csv"),
    }


def outside(rows):
    """Places of the planned intervals that lie outside the recording; walks before the first or after the last rep lie there
    only with that rep."""
    planned = [row for row in rows if row["status"] != "extra"]
    places = {at for at, row in enumerate(planned) if row["status"] == "not_recorded"} - cut(rows).keys()
    reps = [at for at, row in enumerate(planned) if row["kind"] == "run"]
    if not reps:
        return set()
    first, last = (planned[at]["status"] == "not_recorded" for at in (reps[0], reps[-1]))
    return {at for at in places if (at >= reps[0] or first) and (at <= reps[-1] or last)}


def cut(rows):
    """Places of the reps of which a part was recorded, with the seconds of it that show."""
    planned = [row for row in rows if row["status"] != "extra"]
    is_cut = lambda row: row["status"] == "not_recorded" and row["kind"] == "run" and row["done_s"]
    return {at: float(row["done_s"]) for at, row in enumerate(planned) if is_cut(row)}


def covers(report, m):
    """The bouts of a session cover it without holes, and neighbours are of different kinds."""
    if not m.bouts:
        report.check(len(m.times_s) < 2, f"bouts {m.file}: none")
        return
    end_s = m.session.duration_s()
    report.check(abs(m.bouts[-1].end_s - end_s) < 0.051, f"bouts {m.file}: the last ends at {m.bouts[-1].end_s}, not {end_s}")
    kinds = [bout.kind for bout in m.bouts]
    report.check(all(a != b for a, b in zip(kinds, kinds[1:])), f"bouts {m.file}: two of one kind in a row")
    speeds = {
        kind: [bout.metres / bout.seconds for bout in m.of_kind(kind) if bout.metres is not None and bout.seconds > 0]
        for kind in ("run", "walk", "stand")
    }
    middle = {kind: sorted(values)[len(values) // 2] for kind, values in speeds.items() if values}
    order = [middle[kind] for kind in ("stand", "walk", "run") if kind in middle]
    report.check(not m.resolvable or order == sorted(order), f"bouts {m.file}: not faster from stand to walk to run")
    report.check(not any(s > 1.0 for s in speeds["stand"]), f"bouts {m.file}: a stand that moves")


def as_a_whole(report, measured):
    """What single rows cannot show: confidences and drifts over all sessions."""
    of = lambda resolvable: [float(m.row["confidence"]) for m in measured if m.resolvable == resolvable]
    told, untold = of(True), of(False)
    for low, high in (("runs_low", "runs_high"), ("run_s_low", "run_s_high"), ("longest_low_s", "longest_high_s")):
        wide = [float(m.row[low]) < float(m.row[high]) for m in measured if not m.resolvable and m.row[low]]
        report.check(any(wide) or not wide, f"sessions: {low} is {high} wherever kinds cannot be told apart")
    report.check(not told or sum(told) / len(told) > 0.5, "sessions: confidence below 0.5 where kinds can be told apart")
    if told and untold:
        report.check(sum(told) / len(told) > sum(untold) / len(untold) + 0.2, "sessions: confidence no higher where kinds can be told apart")
    for column, own in (("pace_drift_pct", 0), ("pace_drift_low_pct", 1), ("pace_drift_high_pct", 2)):
        pairs = [(float(m.row[column]), m.drift()[own]) for m in measured if m.row[column] and m.drift() and m.drift()[own]]
        if len(pairs) < 10:
            continue
        apart = sorted(abs(a - b) for a, b in pairs)[len(pairs) // 2]
        report.check(apart < 1.5, f"sessions: {column} is {apart:.1f} points off in the median of {len(pairs)} sessions")
        alike = sum((a > 0) == (b > 0) for a, b in pairs if abs(b) > 3) / max(1, sum(abs(b) > 3 for _, b in pairs))
        report.check(alike > 0.9, f"sessions: {column} has the sign of an own measure in {100 * alike:.0f} % only")


def in_order(report, name, a):
    """Sessions of the plan are laid in the order of their days, and near their planned days where these are known."""
    places = [next(at for at, s in enumerate(a.plan.sessions) if s is m.planned) for m in a.sessions if m.planned]
    report.check(places == sorted(places), f"sessions {name}: laid out of the plan's order")


def finish(report, tables, tally):
    counted = ", ".join(f"{count} {table}" for table, count in report.rows.items())
    print(f"{counted}: {sum(report.held.values())} cells compared, {len(report.unlike)} unlike")
    for line in report.unlike[:MOST_SHOWN]:
        print(f"UNLIKE: {line}")
    if len(report.unlike) > MOST_SHOWN:
        print(f"... and {len(report.unlike) - MOST_SHOWN} more")
    if tally:
        with open(tally, "a", encoding="utf-8") as file:
            print(json.dumps({f"{table}.{column}": cells for (table, column), cells in report.held.items()}), file=file)
    return bool(report.unlike) or not tables["sessions"]


if __name__ == "__main__":
    sys.exit(main())
