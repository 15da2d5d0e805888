"""Audits a folder of recordings on Spark, an athlete a task; the rows are those of `boutwise audit` under the same day.
What is about several athletes at once is an argument. Workers must see the files about the season. See docs/cluster.md."""

import argparse, datetime, os, pathlib, re, sys
import boutwise
import pyarrow as pa
from pyspark.sql import SparkSession
from pyspark.sql.functions import col, concat, lit
TABLES = ("sessions", "bouts")
START, MINUTE = datetime.datetime(2000, 1, 1, tzinfo=datetime.timezone.utc), datetime.timedelta(minutes=1)
POINT = "<gpx><trk><trkseg><trkpt lat='0' lon='0'><time>{:%FT%TZ}</time></trkpt></trkseg></trk></gpx>"
CONFIG = {  # Times as they are; a task an athlete, however small; a file that went after it was listed is no file.
    "spark.sql.session.timeZone": "UTC", "spark.sql.timestampType": "TIMESTAMP_NTZ", "spark.sql.parquet.outputTimestampType": "TIMESTAMP_MICROS",
    "spark.sql.adaptive.coalescePartitions.enabled": "false", "spark.sql.files.ignoreMissingFiles": "true",
}

def plain(table):
    """Words of fixed lists as text, which is all that Spark knows."""
    table = pa.table(table)
    return table.cast(pa.schema([f.with_type(pa.string()) if pa.types.is_dictionary(f.type) else f for f in table.schema]))

def packed(table):
    with pa.ipc.new_stream(rows := pa.BufferOutputStream(), table.schema) as out:
        out.write_table(table)
    return rows.getvalue().to_pybytes()

def unpacked(batches):
    return (part for batch in batches for rows in batch["rows"] for part in pa.ipc.open_stream(rows.as_buffer()))

def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=lambda path: pathlib.Path(os.path.abspath(path)))
    parser.add_argument("out")
    for option in ("--squad", "--journal", "--settings"):
        parser.add_argument(option, type=os.path.abspath)
    parser.add_argument("--as-of")
    parser.add_argument("--master", default="local[2]")
    parser.add_argument("--partitions", type=int, default=8)
    parser.add_argument("--bytes", action="store_true", help="workers do not see the folder: send them the recordings")
    given = parser.parse_args()
    if given.journal and not (given.squad and given.as_of):
        parser.error("--journal needs --squad, which names everybody in it, and --as-of, from which all are judged")
    root, options = given.folder, {key: getattr(given, key) for key in ("squad", "journal", "settings", "as_of")}
    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    spark = SparkSession.builder.master(given.master).config(map={**CONFIG, "spark.sql.shuffle.partitions": given.partitions}).getOrCreate()
    names = sorted(path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())
    # Whose each file is: by an audit of files of these names, each with one point in a minute of its own.
    points = [(name, POINT.format(START + n * MINUTE).encode()) for n, name in enumerate(names)]
    owned = boutwise.audit_folder(root, files=points, squad=given.squad)
    rows = owned.sessions.to_dict()  # Which write some letters of a name another way: the minute tells the file.
    rows = {"athlete": rows["athlete"], "file": [names[(at - START) // MINUTE] for at in rows["start_utc"]]}
    files = spark.createDataFrame(pa.table(rows, pa.schema({name: pa.string() for name in rows}))).withColumn("content", lit(None).cast("binary"))
    if given.bytes and (hidden := [name for name in rows["file"] if re.search("(^|/)[._]", name)]):
        sys.exit(f"error: {hidden[0]}: Spark passes over names that begin with _ or a point; rename it, or leave out --bytes")
    if given.bytes:
        read = spark.read.format("binaryFile").option("recursiveFileLookup", "true").load(root.as_uri())
        files = files.drop("content").join(read.select("path", "content"), concat(lit(f"file:{root}/"), col("file")) == col("path"))
    def audit(files):  # Both tables of one athlete, packed: an audit is made once for all.
        of_one = [
            name if content is None else (name, content)
            for name, content in zip(files["file"].to_pylist(), files["content"].to_pylist())
            if content is not None or os.path.exists(root / name)
        ]
        found = boutwise.audit_folder(root, files=of_one, threads=1, **options)
        return pa.table({"name": TABLES, "rows": [packed(plain(getattr(found, name))) for name in TABLES]})
    done = files.groupBy("athlete").applyInArrow(audit, "name string, rows binary").cache()
    for name in TABLES:
        schema = spark.createDataFrame(plain(getattr(owned, name)).slice(0, 0)).schema
        rows = done.filter(col("name") == name).select("rows").mapInArrow(unpacked, schema)
        rows.write.mode("overwrite").parquet(f"{given.out}/{name}")
    spark.stop()

main()
