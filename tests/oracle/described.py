"""Holds manifest.json and codebook.json against the result that they describe and against the input."""

import gzip
import json
import re
import zipfile

import xxhash

# What a cell of a type looks like.
TYPES = {
    "string": r"(?s).+",
    "integer": r"-?\d+",
    "number": r"-?\d+(\.\d+)?",
    "boolean": r"true|false",
    "date": r"\d{4}-\d\d-\d\d",
    "datetime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z?",
}
# Of these tables no file is part of a result.
ELSEWHERE = {"columns"}


def codebook(report, path, tables):
    """Every column is described, in its order, and every cell is of its type."""
    entries = {}
    for entry in json.loads(path.read_text(encoding="utf-8")):
        entries.setdefault(entry["table"], []).append(entry)
    for table in sorted(entries.keys() - tables.keys() - ELSEWHERE):
        report.say(f"codebook: there is no table {table}")
    for table, rows in tables.items():
        known = entries.get(table, [])
        if rows and [entry["column"] for entry in known] != list(rows[0]):
            report.say(f"codebook: the columns of {table} are others")
            continue
        for entry in known:
            of_type = re.compile(TYPES[entry["type"]])
            decimals = entry["decimals"]
            for row in rows:
                cell = row[entry["column"]]
                fits = of_type.fullmatch(cell) if cell else entry["nullable"]
                if cell and decimals is not None:
                    fits = len(cell.partition(".")[2]) == decimals
                if cell and entry.get("allowed") and fits:
                    fits = cell in entry["allowed"]
                if not fits:
                    report.say(f"codebook: {table}.{entry['column']} holds {cell or 'nothing'}, not {entry['type']}")
                    break


def digest(content):
    return xxhash.xxh3_128_hexdigest(content)


def unpacked(folder, name):
    """The bytes of an input, of a member of an archive too, without their packing."""
    if ".zip/" in name:
        archive, member = name.split(".zip/", 1)
        with zipfile.ZipFile(folder / f"{archive}.zip") as opened:
            content = opened.read(member)
    else:
        content = (folder / name).read_bytes()
    return gzip.decompress(content) if content[:2] == b"\x1f\x8b" else content


def manifest(report, result, folder, files, as_of):
    """Day, inputs and outputs with their digests; nothing of where they lie."""
    text = (result / "manifest.json").read_text(encoding="utf-8")
    made = json.loads(text)
    report.check(made["as_of"] == str(as_of), f"manifest: as of {made['as_of']}, expected {as_of}")
    for place in (folder.resolve(), result.resolve()):
        report.check(str(place) not in text and str(place.parent) not in text, f"manifest: names {place}")
    inputs = {entry["file"]: entry["digest"] for entry in made["inputs"]}
    report.check(set(inputs) == {file.name for file in files}, "manifest: the inputs are others")
    for name, stated in inputs.items():
        if stated is not None and not name.endswith(".txt"):
            report.check(digest(unpacked(folder, name)) == stated, f"manifest: the digest of {name} is another")
    outputs = {entry["file"]: entry["digest"] for entry in made["outputs"]}
    written = {path.relative_to(result).as_posix() for path in result.rglob("*") if path.is_file()} - {"manifest.json"}
    report.check(set(outputs) == written, f"manifest: the outputs are others: {sorted(set(outputs) ^ written)}")
    for name in outputs.keys() & written:
        report.check(digest((result / name).read_bytes()) == outputs[name], f"manifest: the digest of {name} is another")
