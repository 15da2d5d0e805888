"""What the package finds is what the command writes, cell by cell and byte by byte."""

import datetime
import json
import os
import pathlib
import unittest

import boutwise
from case import PLAN, TABLES, Case, codebook, files, lines, rows, run
from gpx import gpx

TESTDATA = pathlib.Path(os.environ["BOUTWISE_TESTDATA"])
# Of the season of sixty; the whole of one has 8.
WEEKS = os.environ.get("BOUTWISE_WEEKS", "2")
KINDS = {
    "integer": int,
    "number": float,
    "boolean": bool,
    "date": datetime.date,
    "datetime": datetime.datetime,
    "string": str,
}


class Same(Case):
    def check(self, folder, **options):
        """Holds audits on one and on two threads against the command's, and gives the second."""
        out = self.place / "out"
        named = []
        for key, value in options.items():
            value = [] if value is True else [",".join(value)] if isinstance(value, list) else [value]
            named += [f"--{key.replace('_', '-')}", *value]
        run("audit", folder, *named, "--out", out, "--no-report", "--format", "csv,parquet")
        of_command = files(out)
        for threads in (1, 2):
            found = boutwise.audit_folder(folder, threads=threads, **options)
            for name in TABLES:
                table = getattr(found, name)
                self.assertEqual(lines(table, name, options.get("carry", [])), rows(of_command[f"{name}.csv"].decode()), name)
                columns = table.to_dict()
                for entry in codebook(name, options.get("carry", [])):
                    kinds = {type(value) for value in columns[entry["column"]] if value is not None}
                    self.assertLessEqual(kinds, {KINDS[entry["type"]]}, (name, entry["column"]))
                    zones = {value.tzinfo for value in columns[entry["column"]] if isinstance(value, datetime.datetime)}
                    zone = datetime.timezone.utc if entry["column"].endswith("_utc") else None
                    self.assertLessEqual(zones, {zone}, entry["column"])
            found.write(self.place / "written", formats=("csv", "parquet"))
            of_package = files(self.place / "written")
            self.assertEqual([name for name in of_command if of_package.get(name) != of_command[name]], [])
            self.assertEqual(of_package.keys(), of_command.keys())
            self.assertEqual(found.manifest, {**json.loads(of_command["manifest.json"]), "outputs": []})
        return found

    def test_the_demo(self):
        demo = self.place / "demo"
        run("demo", demo)
        found = self.check(demo / "recordings", squad=demo / "squad.csv", journal=demo / "journal.csv")
        self.assertGreater(len(found.sessions), 20)
        self.assertGreater(len(found.events), 10)

    def test_a_season_of_sixty(self):
        demo = self.place / "demo"
        run("demo", demo, "--athletes", 60, "--arms", 2, "--weeks", WEEKS, "--seed", 3)
        found = self.check(demo / "recordings", squad=demo / "squad.csv", journal=demo / "journal.csv", carry=["arm"])
        self.assertEqual(len(found.athletes), 60)
        print(f"a season of 60 over {WEEKS} weeks: {len(found.sessions)} sessions, {len(found.bouts)} bouts")

    def test_audits_of_each_athlete_are_the_audit_of_all(self):
        demo = self.place / "demo"
        run("demo", demo, "--athletes", 12, "--weeks", 3, "--seed", 3)
        folder = demo / "recordings"
        options = {"squad": demo / "squad.csv", "journal": demo / "journal.csv", "as_of": "2026-12-31"}
        whole = boutwise.audit_folder(folder, **options)
        sessions, athletes = whole.sessions.to_dict(), whole.athletes.to_dict()["athlete"]
        of_each = {athlete: [] for athlete in athletes}
        for athlete, file in zip(sessions["athlete"], sessions["file"]):
            of_each[athlete].append(file)
        self.assertTrue(all(of_each.values()))
        for gone, take in (
            (folder, lambda file: file),
            (folder, lambda file: os.fsencode(file)),
            # The folder is somewhere else; its last name is that of whoever has no folder.
            (self.place / "elsewhere" / "recordings", lambda file: (file, (folder / file).read_bytes())),
        ):
            parts = [boutwise.audit_folder(gone, files=[take(file) for file in of_each[name]], **options) for name in athletes]
            self.assertEqual([part.athletes.to_dict()["athlete"] for part in parts], [[name] for name in athletes])
            for name in TABLES:
                expected = lines(getattr(whole, name), name)
                found = [line for part in parts for line in lines(getattr(part, name), name)]
                if name in ("files", "notes"):
                    expected, found = sorted(expected), sorted(found)
                self.assertEqual(found, expected, name)
        self.assertEqual(len(boutwise.audit_folder(folder, files=[], **options).athletes), 0)

    def test_a_week_without_recordings(self):
        for day in (b"2025-03-01", b"2025-03-22"):
            self.write(f"squad/Kim/{day.decode()}.gpx", gpx().replace(b"2025-03-01", day))
        plan = self.write("plan.toml", PLAN + "sessions = 12\nevery_days = 2\n")
        weeks = self.check(self.place / "squad", plan=plan).weeks.to_dict()
        at = weeks["week"].index("2025-W11")
        found = {name: values[at] for name, values in weeks.items()}
        self.assertEqual((found["sessions"], found["sessions_attempted"]), (0, 0))
        self.assertGreater(found["sessions_due"], 2)
        for name in ("run_s", "run_m", "walk_s", "walk_m", "longest_run_s", "session_run_m_max", "spike_pct"):
            self.assertIsNone(found[name], name)

    def test_the_samples(self):
        self.assertGreater(len(self.check(TESTDATA).files), 20)

    def test_names_that_other_readers_take_for_something_else(self):
        for number, name in enumerate(("NA", "None", "007", "true", "=1+1", 'a, "b"', "two\nlines", "Kim", "kim")):
            self.write(f"squad/{name}/{number}.gpx", gpx([("walk", 300), ("run", 100 + number), ("walk", 300)]))
        self.write("squad/Kim/cut.gpx", gpx()[:9000])
        self.write("squad/Kim/page.gpx", "<html></html>")
        plan = self.write("plan.toml", PLAN)
        found = self.check(self.place / "squad", plan=plan, as_of=datetime.date(2025, 3, 5), time_zone="Europe/Oslo")
        self.assertEqual(found.files.to_dict()["status"].count("failed"), 1)
        key = self.write("key", "a key that nobody guesses")
        found = self.check(self.place / "squad", pseudonyms=key)
        self.assertNotIn("Kim", str(found.athletes.to_dict()))

    def test_days_moved_times_cut_and_columns_carried(self):
        for name in ("Ada", "Tom"):
            self.write(f"squad/{name}/run.gpx", gpx([("walk", 300), ("run", 100), ("walk", 300)]))
        squad = self.write("squad.csv", "athlete,arm,site\nAda,007,north\nTom,NA,\n")
        key = self.write("key", "a key that nobody guesses")
        options = {"squad": squad, "pseudonyms": key, "shift_dates": True, "coarse_times": True}
        found = self.check(self.place / "squad", carry=["arm", "site"], **options)
        self.assertEqual(sorted(found.athletes.to_dict()["arm"]), ["007", "NA"])
        self.assertEqual(found.sessions.column_names[-2:], ["arm", "site"])
        self.assertIsNone(found.manifest["as_of"])
        starts = found.sessions.to_dict()["start_utc"]
        self.assertTrue(all(start.year < 2020 and (start.minute, start.second) == (0, 0) for start in starts))

    def test_no_recording_at_all(self):
        (self.place / "empty").mkdir()
        found = self.check(self.place / "empty")
        self.assertEqual(len(found.sessions), 0)
        self.assertEqual(found.sessions.to_dict()["athlete"], [])

    def test_one_recording_is_a_folder_of_one(self):
        path, plan = self.write("pier/run.gpx", gpx()), self.write("plan.toml", PLAN)
        run("audit", self.place / "pier", "--plan", plan, "--out", self.place / "out", "--no-report")
        of_command = files(self.place / "out")
        for source, name in ((path, None), (path.read_bytes(), "run.gpx")):
            found = boutwise.audit_recording(source, plan=plan, name=name)
            for table in TABLES:
                expected = rows(of_command[f"{table}.csv"].decode())
                if name:
                    # Content lies in no folder that could name the athlete.
                    expected = [["athlete" if value == "pier" else value for value in row] for row in expected]
                self.assertEqual(lines(getattr(found, table), table), expected, table)


if __name__ == "__main__":
    unittest.main()
