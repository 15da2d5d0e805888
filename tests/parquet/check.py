"""Holds the Parquet files of results against their CSVs and the codebook, as pyarrow, polars and DuckDB read them.

Expected types are those of the codebook, written here a second time; expected cells are made from the values anew (cells.py).
"""

import csv
import datetime
import json
import pathlib
import sys

import duckdb
import polars
import pyarrow
import pyarrow.parquet
from cells import cell

ARROW = {
    "integer": pyarrow.int64(),
    "number": pyarrow.float64(),
    "boolean": pyarrow.bool_(),
    "date": pyarrow.date32(),
    "string": pyarrow.string(),
}
POLARS = {
    "integer": polars.Int64,
    "number": polars.Float64,
    "boolean": polars.Boolean,
    "date": polars.Date,
    "datetime": polars.Datetime,
}
DUCKDB = {"integer": "BIGINT", "number": "DOUBLE", "boolean": "BOOLEAN", "date": "DATE", "string": "VARCHAR"}


def arrow_type(entry):
    if entry["allowed"]:
        return pyarrow.dictionary(pyarrow.int32(), pyarrow.string())
    if entry["type"] == "datetime":
        return pyarrow.timestamp("us", tz="UTC" if entry["column"].endswith("_utc") else None)
    return ARROW[entry["type"]]


def table_faults(result, table, entries, made_from):
    """What is wrong with one Parquet file, as sentences."""
    path = result / f"{table}.parquet"
    file = pyarrow.parquet.ParquetFile(path)
    if file.schema_arrow.names != [entry["column"] for entry in entries]:
        yield f"columns are {file.schema_arrow.names}"
        return
    if file.metadata.metadata.get(b"boutwise.manifest") != made_from.encode():
        yield "the manifest's made_from does not stand in it"
    for group in range(file.metadata.num_row_groups):
        codecs = {file.metadata.row_group(group).column(n).compression for n in range(len(entries))}
        if codecs != {"ZSTD"}:
            yield f"compressed by {codecs}"
    for field, entry in zip(file.schema_arrow, entries):
        said = {key.decode(): text.decode() for key, text in (field.metadata or {}).items()}
        if field.type != arrow_type(entry):
            yield f"{field.name} is {field.type}"
        if field.nullable != entry["nullable"]:
            yield f"{field.name}: nullable is {field.nullable}"
        if said.get("unit") != entry["unit"] or said.get("meaning") != entry["meaning"]:
            yield f"{field.name} says {said}"
    rows = file.read().to_pylist()
    with (result / f"{table}.csv").open(encoding="utf-8", newline="") as lines:
        expected = list(csv.DictReader(lines))
    if len(rows) != len(expected):
        yield f"{len(rows)} rows, the CSV has {len(expected)}"
        return
    for number, (row, line) in enumerate(zip(rows, expected), start=1):
        for entry in entries:
            written = cell(row[entry["column"]], entry)
            if written != line[entry["column"]]:
                yield f"row {number}, {entry['column']}: {written!r}, the CSV has {line[entry['column']]!r}"
    yield from polars_faults(path, entries, rows)
    yield from duckdb_faults(path, entries, rows)


def polars_faults(path, entries, rows):
    frame = polars.read_parquet(path)
    for entry in entries:
        kind = frame.schema[entry["column"]]
        if entry["allowed"]:
            ok = kind in (polars.Categorical, polars.Enum)
        else:
            ok = kind == POLARS.get(entry["type"], polars.String)
        if not ok:
            yield f"polars: {entry['column']} is {kind}"
    if frame.to_dicts() != rows:
        yield "polars reads other values"


def duckdb_faults(path, entries, rows):
    connection = duckdb.connect()
    connection.execute("SET TimeZone = 'UTC'")
    found = connection.execute("SELECT * FROM read_parquet(?)", [str(path)])
    for (name, kind, *_), entry in zip(found.description, entries):
        zoned = entry["column"].endswith("_utc")
        expected = DUCKDB.get(entry["type"], "TIMESTAMP WITH TIME ZONE" if zoned else "TIMESTAMP")
        if (name, str(kind)) != (entry["column"], expected):
            yield f"duckdb: {name} is {kind}"
    values = [tuple(map(comparable, line)) for line in found.fetchall()]
    if values != [tuple(map(comparable, row.values())) for row in rows]:
        yield "duckdb reads other values"


def comparable(value):
    """Moments by their distance from 1970, whatever object stands for their zone."""
    if isinstance(value, datetime.datetime) and value.tzinfo:
        return value.timestamp()
    return value


def faults(result):
    codebook = json.loads((result / "codebook.json").read_text(encoding="utf-8"))
    made_from = json.loads((result / "manifest.json").read_text(encoding="utf-8"))["made_from"]
    tables = {}
    for entry in codebook:
        tables.setdefault(entry["table"], []).append(entry)
    of_result = {path.stem for path in result.glob("*.csv")}
    if {path.stem for path in result.glob("*.parquet")} != of_result:
        yield "not every table has both files"
    for table in sorted(of_result):
        yield from (f"{table}: {fault}" for fault in table_faults(result, table, tables[table], made_from))


def main():
    results = [pathlib.Path(name) for name in sys.argv[1:]]
    for result in results:
        found = list(faults(result))
        if found:
            sys.exit("\n".join(f"{result.name}: {fault}" for fault in found[:20]))
        rows = sum(pyarrow.parquet.read_metadata(path).num_rows for path in result.glob("*.parquet"))
        print(f"{result.name}: {rows} rows are the same in CSV, pyarrow, polars and DuckDB")
    # A check that passes whatever stands there would be none.
    sessions = results[0] / "sessions.csv"
    whole = sessions.read_text(encoding="utf-8")
    sessions.write_text(whole.replace("true", "false", 1), encoding="utf-8")
    if len(list(faults(results[0]))) != 1:
        sys.exit("a changed cell was not noticed, or more than it was")
    sessions.write_text(whole, encoding="utf-8")


main()
