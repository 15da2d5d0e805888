"""Whether the tables that Spark wrote hold the rows of the command's: same.py RESULT SPARK..."""

import os
import pathlib
import sys

import pyarrow.parquet


def rows(place):
    """The schema without dictionaries, which Spark does not know, and every row once, in one order."""
    table = pyarrow.parquet.read_table(place)
    kinds = [field.type.value_type if pyarrow.types.is_dictionary(field.type) else field.type for field in table.schema]
    schema = pyarrow.schema(list(zip(table.column_names, kinds)))
    return [str(field) for field in schema], sorted(table.cast(schema).to_pylist(), key=repr)


result, *of_spark = map(pathlib.Path, sys.argv[1:])
for place in of_spark:
    for name in ("sessions", "bouts"):
        (kinds, expected), (found_kinds, found) = rows(result / f"{name}.parquet"), rows(place / name)
        if kinds != found_kinds:
            sys.exit(f"{place.name}: {name}: other columns: {set(kinds) ^ set(found_kinds)}")
        differ = [(a, b) for a, b in zip(expected, found) if a != b]
        if len(found) != len(expected) or differ or not expected and "EMPTY" not in os.environ:
            sys.exit(f"{place.name}: {name}: {len(found)} rows, the command has {len(expected)}; the first that differ: {differ[:1]}")
        print(f"{place.name}: {len(found)} rows of {name} are the command's")
