"""Columns and tables in the packages that researchers use: python -m unittest test_interop."""

import datetime
import math
import unittest

import duckdb
import numpy
import pandas
import polars
import pyarrow
import pyarrow.parquet

import boutwise
from case import TABLES, Case, run
from gpx import gpx


class Columns(unittest.TestCase):
    def test_points_are_numpy_arrays_of_the_values_in_the_file(self):
        content = gpx([("run", 60)]).replace(b"<hr>123</hr>", b"<hr></hr>").replace(b"<ele>1.5</ele>", b"", 1)
        recording = boutwise.read(content)[0]
        time = recording["time"]
        self.assertEqual((time.dtype, time.shape), (numpy.dtype("M8[us]"), (60,)))
        self.assertEqual(time[0], numpy.datetime64("2025-03-01T10:00:00"))
        self.assertTrue((numpy.diff(time) == numpy.timedelta64(1, "s")).all())
        for name in ("lat", "lon", "ele", "hr_bpm", "cadence_spm", "distance_m"):
            self.assertEqual((recording[name].dtype, recording[name].shape), (numpy.dtype("f8"), (60,)), name)
        self.assertTrue((recording["lat"] == 0.01).all())
        self.assertAlmostEqual(recording["lon"][10], -30 + 28 / 111_320, places=7)
        self.assertTrue(math.isnan(recording["ele"][0]) and recording["ele"][1] == 1.5)
        missing = [second for second in range(60) if second % 7 == 3]
        self.assertEqual(list(numpy.flatnonzero(numpy.isnan(recording["hr_bpm"]))), missing)
        self.assertTrue(numpy.isnan(recording["distance_m"]).all())
        recording["lat"][0] = 1.0
        self.assertEqual(recording["lat"][0], 0.01)


class Tables(Case):
    def setUp(self):
        super().setUp()
        self.found = boutwise.audit_recording(gpx())
        self.table = self.found.sessions

    def test_pyarrow_gets_types_and_values(self):
        table = pyarrow.table(self.table)
        self.assertEqual(table.column_names, self.table.column_names)
        self.assertEqual(table.to_pydict(), self.table.to_dict())
        self.assertEqual(table.schema, pyarrow.schema(self.table))
        self.assertEqual(table.schema.field("start_utc").type, pyarrow.timestamp("us", tz="UTC"))
        self.assertEqual(table.schema.field("run_s").metadata[b"unit"], b"s")
        self.assertFalse(table.schema.field("athlete").nullable)
        kinds = pyarrow.table(self.found.bouts)["kind"].type
        self.assertTrue(pyarrow.types.is_dictionary(kinds), kinds)
        self.assertEqual(pyarrow.table(self.found.planned).num_rows, 0)

    def test_numbers_reach_others_without_a_copy(self):
        bouts = self.found.bouts
        there = [pyarrow.table(bouts)["duration_s"].chunk(0).buffers()[1].address for _ in range(2)]
        self.assertEqual(there[0], there[1])
        in_polars = polars.DataFrame(bouts)["duration_s"].to_numpy(allow_copy=False)
        self.assertEqual(in_polars.__array_interface__["data"][0], there[0])

    def test_polars_pandas_and_duckdb_get_the_rows(self):
        expected = self.found.bouts.to_dict()
        frame = polars.DataFrame(self.found.bouts)
        self.assertEqual(frame["kind"].to_list(), expected["kind"])
        self.assertEqual(frame["duration_s"].to_list(), expected["duration_s"])
        self.assertEqual(frame.schema["start_utc"], polars.Datetime("us", "UTC"))
        frame = pandas.DataFrame.from_arrow(self.found.bouts)
        self.assertEqual(list(frame["kind"]), expected["kind"])
        self.assertEqual(str(frame["bout"].dtype), "int64")
        bouts = self.found.bouts  # DuckDB finds it by its name.
        runs = duckdb.sql("SELECT count(*), sum(duration_s) FROM bouts WHERE kind = 'run'").fetchall()[0]
        of_runs = [s for kind, s in zip(expected["kind"], expected["duration_s"]) if kind == "run"]
        self.assertEqual((runs[0], round(runs[1], 3)), (len(of_runs), round(sum(of_runs), 3)))
        self.assertIsNotNone(bouts)

    def test_the_parquet_files_of_the_command_hold_the_same(self):
        demo, out = self.place / "demo", self.place / "out"
        run("demo", demo)
        run("audit", demo / "recordings", "--out", out, "--squad", demo / "squad.csv", "--no-report", "--format", "parquet")
        for threads in (1, 2):
            found = boutwise.audit_folder(demo / "recordings", squad=demo / "squad.csv", threads=threads)
            for name in TABLES:
                written = pyarrow.parquet.read_table(out / f"{name}.parquet")
                table = pyarrow.table(getattr(found, name))
                self.assertTrue(written.schema.equals(table.schema), name)
                self.assertEqual([field.metadata for field in written.schema], [field.metadata for field in table.schema])
                self.assertEqual(written.to_pydict(), table.to_pydict(), name)
        self.assertGreater(table.num_rows, 0)

    def test_moments_are_in_utc_without_another_package(self):
        start = self.table.to_dict()["start_utc"][0]
        self.assertEqual(start, datetime.datetime(2025, 3, 1, 10, tzinfo=datetime.timezone.utc))


if __name__ == "__main__":
    unittest.main()
