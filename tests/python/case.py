"""A test with a folder of its own, beside the command that the package must agree with."""

import csv
import io
import json
import os
import pathlib
import subprocess
import tempfile
import unittest

from cells import cell

COMMAND = os.environ["BOUTWISE"]
TABLES = ("files", "sessions", "bouts", "intervals", "athletes", "weeks", "events", "planned", "notes")
PLAN = 'title = "Pier"\n[[block]]\nsession = "5:00 walk, 2 x (2:00 run, 1:20 walk), 5:00 walk"\n'


def run(*arguments):
    """What the command prints; status 1 says that an input failed or is partial."""
    done = subprocess.run([COMMAND, *map(str, arguments)], capture_output=True, text=True)
    assert done.returncode in (0, 1), done.stderr
    return done.stdout


def codebook(name, carry=()):
    carried = ("--carry", ",".join(carry)) if carry else ()
    return [entry for entry in json.loads(run("columns", "--format", "json", *carried)) if entry["table"] == name]


def lines(table, name, carry=()):
    """A table as the CSV has it, by the codebook that the command prints."""
    columns, entries = table.to_dict(), codebook(name, carry)
    assert list(columns) == [entry["column"] for entry in entries], list(columns)
    return [[cell(value, entry) for value, entry in zip(row, entries)] for row in zip(*columns.values())]


def rows(text):
    return list(csv.reader(io.StringIO(text)))[1:]


def files(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


class Case(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.place = pathlib.Path(folder.name)

    def write(self, name, content):
        path = self.place / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path
