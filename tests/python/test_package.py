"""The package alone, in an environment without any other: python -m unittest test_package."""

import ast
import doctest
import errno
import gzip
import io
import json
import os
import pathlib
import resource
import subprocess
import sys
import unittest
import zipfile

import boutwise
from case import TABLES, Case, files, lines, rows, run
from gpx import gpx

GPX = gpx([("run", 60)])
# Types of the codebook as stubs have them.
TYPES = {"integer": "int", "number": "float", "boolean": "bool", "date": "date", "datetime": "datetime", "string": "str"}


class Package(Case):
    def test_import_loads_no_other_package_and_takes_little_time(self):
        code = (
            "import sys, time; before = time.perf_counter(); import boutwise; took = time.perf_counter() - before\n"
            "print(took, *({'numpy', 'pandas', 'pyarrow'} & set(sys.modules)))"
        )
        times = []
        for _ in range(5):
            said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
            self.assertEqual(said[1:], [])
            times.append(float(said[0]))
        print(f"import: {1000 * sorted(times)[2]:.1f} ms, median of 5")
        if os.environ.get("BOUTWISE_RELEASED"):
            self.assertLess(sorted(times)[0], 0.03)

    def test_examples_of_the_documentation_run(self):
        documented = [getattr(boutwise, name) for name in boutwise.__all__ if name != "__version__"]
        tried = 0
        for item in documented:
            self.assertTrue(item.__doc__, item)
            example = doctest.DocTestParser().get_doctest(item.__doc__, {"boutwise": boutwise}, item.__name__, None, 0)
            result = doctest.DocTestRunner().run(example)
            self.assertEqual(result.failed, 0, item)
            tried += result.attempted
        self.assertGreaterEqual(tried, 25)

    def test_bouts_are_those_of_the_command_for_every_kind_of_source(self):
        path = self.write("pier/run.gpx", gpx())
        expected = rows(run("bouts", "--csv", path))
        self.assertGreater(len(expected), 3)
        for source in (str(path), path, os.fsencode(path)):
            self.assertEqual(lines(boutwise.bouts(source), "bouts"), expected)
        content = path.read_bytes()
        with path.open("rb") as file:
            sources = [(content, "run.gpx"), (bytearray(content), "run.gpx"), (memoryview(content), "run.gpx"), (file, None)]
            for source, name in sources:
                found = lines(boutwise.bouts(source, name=name), "bouts")
                # Content lies in no folder that could name the athlete.
                self.assertEqual([row[1:] for row in found], [row[1:] for row in expected])

    def test_a_recording_has_its_points(self):
        recording = boutwise.read(GPX, name="pier.gpx")[0]
        self.assertEqual((len(recording), recording.file, recording.session), (60, "pier.gpx", 1))
        self.assertIn("time", recording.keys())
        with self.assertRaises(KeyError):
            recording["speed"]

    def test_an_archive_gives_the_sessions_of_its_members(self):
        bytes_ = io.BytesIO()
        with zipfile.ZipFile(bytes_, "w") as archive:
            archive.writestr("a.gpx", GPX)
            archive.writestr("b.txt", "nothing")
            archive.writestr("c.gpx", gpx([("walk", 90)]))
        bytes_.seek(0)
        found = boutwise.read(bytes_, name="all.zip")
        self.assertEqual([(r.file, len(r)) for r in found], [("all.zip/a.gpx", 60), ("all.zip/c.gpx", 90)])

    def test_what_cannot_be_read_says_why(self):
        packed = gzip.compress(gpx())
        self.assertGreater(len(boutwise.read(packed[: len(packed) // 2])[0]), 10)
        for content, kind in [
            (b"", "empty"),
            (packed[:10] + b"\xff" * 90, "damaged"),
            (b"<gpx><trk><trkseg><trkpt lat='1'", "cut"),
            (b"<html><body>Sign in</body></html>", "no_recording"),
            (gzip.compress(bytes(40 << 20)), "too_large"),
        ]:
            for call in (boutwise.read, boutwise.bouts, boutwise.audit_recording):
                with self.assertRaises(boutwise.RecordingError, msg=kind) as raised:
                    call(content, name="x.gpx")
                self.assertEqual(raised.exception.kind, kind, raised.exception)
                self.assertIsInstance(raised.exception, ValueError)
                self.assertIsNone(raised.exception.path)
        path = self.write("page.gpx", "<html></html>")
        with self.assertRaises(boutwise.RecordingError) as raised:
            boutwise.bouts(path)
        self.assertEqual(raised.exception.path, str(path))

    def test_wrong_places_and_types(self):
        file = self.write("run.gpx", GPX)
        for call in (boutwise.read, boutwise.bouts, boutwise.audit_recording):
            with self.assertRaises(FileNotFoundError) as raised:
                call(self.place / "none.gpx")
            self.assertEqual(raised.exception.filename, str(self.place / "none.gpx"))
            with self.assertRaises(FileNotFoundError) as raised:
                call(os.fsencode(self.place / "none.gpx"))
            self.assertEqual(raised.exception.filename, str(self.place / "none.gpx"))
            with self.assertRaises(IsADirectoryError):
                call(self.place)
            for wrong in (None, 7, ["run.gpx"], io.StringIO("<gpx/>")):
                with self.assertRaisesRegex(TypeError, "expected a path, bytes or a file object"):
                    call(wrong)
        with self.assertRaises(FileNotFoundError):
            boutwise.audit_folder(self.place / "none")
        with self.assertRaises(NotADirectoryError):
            boutwise.audit_folder(file)
        with self.assertRaises(FileNotFoundError):
            boutwise.audit_folder(self.place, plan=self.place / "none.toml")
        for wrong in (
            {"as_of": "yesterday"},
            {"time_zone": "Nowhere"},
            {"threads": 0},
            {"shift_dates": True},
            {"carry": "arm"},
            {"carry": ["arm", "plan"]},
        ):
            with self.assertRaises(ValueError, msg=wrong):
                boutwise.audit_folder(self.place, **wrong)

    def test_some_files_of_a_folder(self):
        self.write("squad/kim/run.gpx", GPX)
        found = boutwise.audit_folder(self.place / "squad", files=["kim/gone.gpx", pathlib.Path("kim", "run.gpx")])
        self.assertEqual(found.files.to_dict()["status"], ["failed", "read"])
        for wrong in (["../run.gpx"], ["/run.gpx"], [""], ["kim/run.gpx", "kim//run.gpx"], [("kim/run.gpx", GPX)] * 2):
            with self.assertRaises(boutwise.BoutwiseError, msg=wrong):
                boutwise.audit_folder(self.place / "squad", files=wrong)
        for wrong in ("kim/run.gpx", b"kim/run.gpx", 7, [7], [("kim/run.gpx",)], [("kim/run.gpx", "text")], [("kim/run.gpx", None)]):
            with self.assertRaises((TypeError, ValueError), msg=wrong):
                boutwise.audit_folder(self.place / "squad", files=wrong)
        with self.assertRaises(FileNotFoundError):
            boutwise.audit_folder(self.place / "none", files=["kim/run.gpx"])

    @unittest.skipUnless(sys.platform == "linux", "elsewhere names are text")
    def test_a_name_that_is_no_text(self):
        path = os.path.join(os.fsencode(self.place), b"Z\xe9.gpx")
        with open(path, "wb") as file:
            file.write(GPX)
        for source in (path, os.fsdecode(path)):
            self.assertEqual(boutwise.read(source)[0].file, "Z\\xe9.gpx")

    def test_a_fault_in_a_season_file_keeps_its_caret(self):
        plan = self.write("plan.toml", '[[block]]\nsession = "5:00 walk, 2 x (2:00 rum)"\n')
        for call in (
            lambda: boutwise.audit_recording(GPX, plan=plan),
            lambda: boutwise.audit_folder(self.place, plan=plan),
        ):
            with self.assertRaises(boutwise.SeasonFileError) as raised:
                call()
            self.assertEqual((raised.exception.line, str(raised.exception.path)), (2, str(plan)))
            self.assertIn("^", str(raised.exception))

    def test_a_fault_in_the_settings_has_its_place_in_every_call(self):
        folder = self.write("squad/Kim/run.gpx", GPX).parent.parent
        for text, said in (
            ("nothing_such = 1", "unknown key"),
            ("effort_ok = 'four'", "is a text"),
            ("effort_ok = 400", "effort_ok = 400"),
            ("effort_ok = -1", "effort_ok = -1"),
            ("effort_ok = nan", "effort_ok = nan"),
            ("effort_ok = inf", "effort_ok = inf"),
        ):
            settings = self.write("settings.toml", f"[rules]\n{text}\n")
            for call, source in (
                (boutwise.read, GPX),
                (boutwise.bouts, GPX),
                (boutwise.audit_recording, GPX),
                (boutwise.audit_folder, folder),
            ):
                with self.assertRaisesRegex(boutwise.SeasonFileError, said) as raised:
                    call(source, settings=settings)
                self.assertEqual((raised.exception.line, raised.exception.path), (2, str(settings)))
                self.assertIn("^", str(raised.exception))

    def test_carried_columns_that_collide_or_are_not_there_are_named(self):
        folder = self.write("squad/Kim/run.gpx", GPX).parent.parent
        squad = self.write("squad.csv", "athlete,plan,arm\nKim,,A\n")
        for carry, said in (
            (["arm", "plan"], '"plan" is a column of the table sessions already'),
            ("arm,Goal_M", '"Goal_M" is a column of the table athletes already'),
            (["arm", "ARM"], '"ARM" stands twice'),
            (["colour"], 'no column "colour"'),
            ([""], "a name is empty"),
        ):
            with self.assertRaisesRegex(ValueError, said):
                boutwise.audit_folder(folder, squad=squad, carry=carry)
        self.assertEqual(boutwise.audit_folder(folder, squad=squad, carry="arm").athletes.to_dict()["arm"], ["A"])

    def test_a_result_is_never_written_over_something_else(self):
        folder = self.write("squad/Kim/run.gpx", GPX).parent.parent
        found = boutwise.audit_folder(folder)
        self.write("mine/diary.txt", "mine")
        for place in (folder / "out", self.place / "mine"):
            with self.assertRaises(boutwise.BoutwiseError):
                found.write(place)
        with self.assertRaises(ValueError):
            found.write(self.place / "new", formats=("xlsx",))
        self.assertEqual(os.listdir(self.place / "mine"), ["diary.txt"])
        with self.assertRaises(NotADirectoryError):
            found.write(self.place / "mine/diary.txt/out")
        found.write(self.place / "new", formats=["parquet"])
        found.write(self.place / "new")
        self.assertIn("sessions.csv", os.listdir(self.place / "new"))
        self.assertNotIn("sessions.parquet", os.listdir(self.place / "new"))

    @unittest.skipUnless(sys.platform == "linux", "elsewhere no limit on the size of files is an error")
    def test_a_result_that_finds_no_room_leaves_the_earlier_one(self):
        found, out = boutwise.audit_recording(GPX), self.place / "out"
        found.write(out)
        before, limits = files(out), resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
        try:
            with self.assertRaises(OSError) as raised:
                found.write(out)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        self.assertEqual(raised.exception.errno, errno.EFBIG)
        self.assertTrue(raised.exception.filename.startswith(str(out)), raised.exception)
        self.assertEqual((files(out), os.listdir(self.place)), (before, ["out"]))

    def test_schema_stubs_and_tables_have_every_column(self):
        declared = json.loads(run("columns", "--format", "json"))
        stub = ast.parse(pathlib.Path(boutwise.__file__).with_name("_boutwise.pyi").read_text())
        classes = {node.name: node for node in stub.body if isinstance(node, ast.ClassDef)}
        schemas = {entry["name"]: entry["schema"] for entry in json.loads(run("columns", "--format", "frictionless"))["resources"]}
        found, counted = boutwise.audit_recording(GPX), 0
        for name in TABLES:
            entries = [entry for entry in declared if entry["table"] == name]
            expected = [f"{entry['column']}: list[{TYPES[entry['type']]}{' | None' * entry['nullable']}]" for entry in entries]
            columns = [entry["column"] for entry in entries]
            self.assertEqual([ast.unparse(line) for line in classes[f"_{name.capitalize()}"].body], expected)
            self.assertEqual([field["name"] for field in schemas[name]["fields"]], columns)
            for field, entry in zip(schemas[name]["fields"], entries):
                required = field.get("constraints", {}).get("required", False)
                self.assertEqual((field["type"], required), (entry["type"], not entry["nullable"]), field)
            self.assertEqual(getattr(found, name).column_names, columns)
            result = ast.unparse(classes["Result"])
            self.assertIn(f"def {name}(self) -> Table[_{name.capitalize()}]", result)
            counted += len(columns)
        self.assertEqual((counted, len(schemas)), (len(declared), len(TABLES)))
        for name in boutwise.read(GPX)[0].keys():
            self.assertIn(repr(name), ast.unparse(classes["Recording"]))
        print(f"columns in schema, stubs and tables: {counted}")

    def test_columns_without_numpy_say_so(self):
        try:
            import numpy  # noqa: F401
        except ImportError:
            with self.assertRaises(ImportError):
                boutwise.read(GPX)[0]["lat"]


if __name__ == "__main__":
    unittest.main()
