"""Audits a folder of recordings on Spark, an athlete a task; the rows are those of `boutwise audit` under the same day.

The athlete is the first folder below FOLDER. What is about several athletes at once comes in as an argument: the squad file,
and the day to judge from, without which each athlete is judged from their own newest recording.
"""

import argparse
import os
import pathlib
import tempfile

import boutwise
import pyarrow as pa
from pyspark.sql import SparkSession
from pyspark.sql.functions import col, concat_ws, lit

TABLES = ("sessions", "bouts")


def plain(table):
    """Words of fixed lists as text, which is all that Spark knows."""
    table = pa.table(table)
    return table.cast(pa.schema([
        field.with_type(pa.string()) if pa.types.is_dictionary(field.type) else field for field in table.schema
    ]))


def auditor(root, name, options):
    """A function from the files of one athlete to the rows of `name`: it lays them into a folder of their own."""

    def audit(files: pa.Table) -> pa.Table:
        with tempfile.TemporaryDirectory() as scratch:
            folder = pathlib.Path(scratch, os.path.basename(root))
            folder.mkdir()
            for file in files.to_pylist():
                place = folder / file["file"]
                place.parent.mkdir(parents=True, exist_ok=True)
                if "content" in file:
                    place.write_bytes(file["content"])
                elif os.path.exists(source := os.path.join(root, file["file"])):  # else it went after it was listed
                    place.symlink_to(source)
            return plain(getattr(boutwise.audit_folder(folder, threads=1, **options), name))

    return audit


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=os.path.abspath)
    parser.add_argument("out")
    for option in ("squad", "journal", "settings"):
        parser.add_argument(f"--{option}", type=os.path.abspath)
    parser.add_argument("--as-of")
    parser.add_argument("--master", default="local[2]")
    parser.add_argument("--partitions", type=int, default=8)
    parser.add_argument("--bytes", action="store_true", help="workers see no paths: send them the bytes")
    given = parser.parse_args()
    options = {key: getattr(given, key) for key in ("squad", "journal", "settings", "as_of")}
    spark = (
        SparkSession.builder.master(given.master).appName("boutwise")
        .config("spark.sql.session.timeZone", "UTC")
        .config("spark.sql.parquet.outputTimestampType", "TIMESTAMP_MICROS")
        .config("spark.sql.shuffle.partitions", given.partitions)
        .getOrCreate()
    )
    root = pathlib.Path(given.folder)
    names = sorted(path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())
    files = spark.createDataFrame([(name.split("/")[0] if "/" in name else "", name) for name in names], "athlete string, file string")
    if given.bytes:
        read = spark.read.format("binaryFile").option("recursiveFileLookup", "true").load(root.as_uri())
        files = files.join(read.select("path", "content"), concat_ws("/", lit(f"file:{root}"), col("file")) == col("path"))
    empty = boutwise.audit_recording(b"<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt></trkseg></trk></gpx>")
    for name in TABLES:
        schema = spark.createDataFrame(plain(getattr(empty, name)).slice(0, 0)).schema
        files.groupBy("athlete").applyInArrow(auditor(given.folder, name, options), schema).write.mode("overwrite").parquet(f"{given.out}/{name}")
    spark.stop()


main()
