"""Measures the package: figures.py ALONE COMMAND BOUTS_AGAIN FILES SCRATCH [PART...], as tests/python/figures calls it.

ALONE is a Python with the package and nothing else, FILES are those of the reading benchmark. Times are processor time, the
median of 5 where not said otherwise. Rows reach others without a copy where the address of their buffers is that of ours.
"""

import pathlib
import statistics
import subprocess
import sys
import tempfile
import time
import zipfile
from datetime import date, datetime, timedelta

import duckdb
import pandas
import polars
import pyarrow

import boutwise

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "benches/reading"))
from python import with_gpxpy, with_lxml  # The readers of the benchmark.

ROUNDS = 5
ALONE, COMMAND, BOUTS_AGAIN, FILES, SCRATCH = map(pathlib.Path, sys.argv[1:6])


def median(measure, rounds=ROUNDS):
    return statistics.median(measure() for _ in range(rounds))


def own_s(work):
    """Processor time of a call in this process."""
    before = time.process_time()
    work()
    return time.process_time() - before


# By a small program of its own: a process begins with the memory of the one that started it.
LAUNCH = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(used.ru_utime + used.ru_stime, 1024 * used.ru_maxrss)
"""


def child(*command):
    """Processor time of a program in seconds, and its largest memory in bytes."""
    said = subprocess.run([ALONE, "-c", LAUNCH, *map(str, command)], capture_output=True, text=True, check=True).stdout
    return tuple(map(float, said.split()))


def child_s(*command):
    """Processor time of a program."""
    return child(*command)[0]


def imported():
    code = (
        "import sys, time; before = time.process_time(); import boutwise; took = time.process_time() - before\n"
        "print(took, *({'numpy', 'pandas', 'pyarrow'} & set(sys.modules)))"
    )
    said = subprocess.run([ALONE, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert said[1:] == [], said
    return float(said[0])


def bouts_beside_rust():
    """A short recording and one of an hour, each so many times, here and by the library; what a program costs to start is
    taken out."""
    demo, hour = SCRATCH / "demo", SCRATCH / "hour"
    subprocess.run([COMMAND, "--quiet", "demo", demo], check=True)
    write_recordings(hour, 1, 60, 1)
    for path, often in (max((demo / "recordings").rglob("*.gpx"), key=lambda file: file.stat().st_size), 400), (*hour.rglob("*.gpx"), 200):
        here, there = [], []
        for _ in range(ROUNDS):
            here.append(own_s(lambda: [boutwise.bouts(path) for _ in range(often)]) / often)
            there.append((child_s(BOUTS_AGAIN, path, 2 * often) - child_s(BOUTS_AGAIN, path, often)) / often)
        yield sum(map(len, boutwise.read(path))), statistics.median(here), statistics.median(there)


def with_package(path):
    return [[recording[name] for name in recording.keys()] for recording in boutwise.read(path)]


def many_bouts():
    """A table of a million bouts: an archive of recordings that hold little but gaps."""
    members, pairs, packed = 500, 1000, SCRATCH / "many" / "all.zip"
    packed.parent.mkdir()
    point = "<trkpt lat='0.01' lon='{:.5f}'><time>{:%FT%T}Z</time></trkpt>"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for member in range(members):
            start = datetime(2020, 1, 1).timestamp() + 86_400 * member
            # 15 s of points every 60 s: a stretch and a gap each.
            at = (start + 60 * pair + 5 * step for pair in range(pairs) for step in range(4))
            points = "".join(point.format(-30 + 1.3e-5 * (second - start), datetime.fromtimestamp(second)) for second in at)
            archive.writestr(f"{member}.gpx", f"<gpx><trk><trkseg>{points}</trkseg></trk></gpx>")
    return boutwise.audit_folder(packed.parent).bouts


def without_copy(table):
    """Which readers have our buffer of a numeric column as their own."""
    ours = pyarrow.table(table)["duration_s"].chunk(0)
    address = ours.buffers()[1].address + 8 * ours.offset

    def is_ours(array):
        return array.__array_interface__["data"][0] == address

    yield "pyarrow", pyarrow.table(table)["duration_s"].chunk(0).buffers()[1].address + 8 * ours.offset == address
    yield "polars", is_ours(polars.DataFrame(table)["duration_s"].to_numpy(allow_copy=False))
    yield "pandas, columns of Arrow", is_ours(pyarrow.table(table).to_pandas(types_mapper=pandas.ArrowDtype)["duration_s"].array.__arrow_array__().chunk(0).to_numpy())


AUDIT = """
import sys, time, boutwise
found = boutwise.audit_folder(sys.argv[1], threads=1)
if len(sys.argv) > 2:
    found.write(sys.argv[2])
"""


def folder_beside_command():
    """The same squad, audited by the package and by the command: processor time of both, with what it takes to start them."""
    trial, out = SCRATCH / "trial", SCRATCH / "out"
    subprocess.run([COMMAND, "--quiet", "demo", trial, "--athletes", "60", "--weeks", "8"], check=True)
    folder = trial / "recordings"
    recordings = sum(path.is_file() for path in folder.rglob("*"))
    options = ["--threads", "1", "--no-report", "--fail-on", "never", "--out", out]
    called, written, by_command = [], [], []
    for _ in range(ROUNDS):
        by_command.append(child_s(COMMAND, "--quiet", "audit", folder, *options))
        called.append(child_s(ALONE, "-c", AUDIT, folder))
        written.append(child_s(ALONE, "-c", AUDIT, folder, out))
    return recordings, *map(statistics.median, (by_command, called, written))


def write_recordings(folder, count, minutes, each):
    """Recordings of so many minutes, two of running and one of walking by turns, a point a second; so many an athlete, a day each."""
    metres, points = 0.0, []
    for second in range(60 * minutes):
        metres += 1.4 if second % 180 >= 120 else 2.6
        clock = f"{17 + second // 3600:02}:{second // 60 % 60:02}:{second % 60:02}"
        points.append(f'<trkpt lat="{0.01 + metres / 111_000:.7f}" lon="-30"><time>DAYT{clock}Z</time></trkpt>')
    text = f"<gpx><trk><name>NUMBER</name><trkseg>{''.join(points)}</trkseg></trk></gpx>"
    for number in range(count):
        day = f"{date(2000, 1, 2) + timedelta(days=number % each)}"
        path = folder / f"athlete-{number // each:05}" / f"{day}.gpx"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.replace("DAY", day).replace("NUMBER", str(number)))


def growth():
    """Processor time and largest memory of an audit of many recordings, by the package and by the command; of the time what an
    audit of one recording takes, which is little but the start, is taken out."""
    sizes = [(1, 1000, 50), (1, 10_000, 50), (1, 100_000, 50), (20, 1000, 50), (20, 10_000, 50), (1, 20_000, 20_000)]
    at_start = (0.0, 0.0)
    for minutes, count, each in [(1, 1, 1), *sizes]:
        with tempfile.TemporaryDirectory(dir=SCRATCH) as place:
            folder = pathlib.Path(place, "many")
            write_recordings(folder, count, minutes, each)
            options = ["--threads", "1", "--no-report", "--fail-on", "never", "--out", pathlib.Path(place, "out")]
            used = child(ALONE, "-c", AUDIT, folder), child(COMMAND, "--quiet", "audit", folder, *options)
            if count == 1:
                at_start = used[0][0], used[1][0]
            else:
                yield minutes, count, each, *((used_s - start_s, held) for (used_s, held), start_s in zip(used, at_start))


def import_figures():
    print(f"import: {1000 * median(imported):.1f} ms, none of numpy, pandas, pyarrow")


def bouts_figures():
    for points, here, there in bouts_beside_rust():
        print(f"bouts of {points} points: {1000 * here:.2f} ms, the library from Rust {1000 * there:.2f} ms: {here / there:.2f} times")


def folder_figures():
    recordings, by_command, called, written = folder_beside_command()
    print(
        f"audit_folder of {recordings} recordings: {called:.1f} s, written {written:.1f} s, the command {by_command:.1f} s: "
        f"{called / by_command:.2f} and {written / by_command:.2f} times"
    )


def reading_figures():
    for path in sorted(FILES.iterdir()):
        megabytes = path.stat().st_size / 1e6
        ours = median(lambda: own_s(lambda: with_package(path)))
        text = f"{path.name}: {megabytes / ours:.0f} MB/s"
        for name, read in (("lxml", with_lxml), ("gpxpy", with_gpxpy)):
            if name == "lxml" or path.suffix == ".gpx":
                theirs = median(lambda: own_s(lambda: read(str(path))), 3 if name == "lxml" else 1)
                text += f", {theirs / ours:.0f} times {name}"
        print(text)


def tables_figures():
    table = many_bouts()
    print(f"{len(table)} rows without a copy: " + ", ".join(f"{name} {'yes' if own else 'no'}" for name, own in without_copy(table)))
    for name, take in (
        ("pyarrow", lambda: pyarrow.table(table)),
        ("polars", lambda: polars.DataFrame(table)),
        ("pandas", lambda: pandas.DataFrame.from_arrow(table)),
        ("DuckDB", lambda: duckdb.from_arrow(table).aggregate("sum(duration_s), count(*)").fetchall()),
    ):
        print(f"  to {name}: {1000 * median(lambda: own_s(take)):.0f} ms")


def growth_figures():
    for minutes, count, each, (here_s, here_bytes), (there_s, there_bytes) in growth():
        print(
            f"{count} recordings of {minutes} min, {each} an athlete: {1000 * here_s / count:.2f} ms each and {here_bytes / 1e6:.0f} MB, "
            f"the command {1000 * there_s / count:.2f} ms and {there_bytes / 1e6:.0f} MB",
            flush=True,
        )


PARTS = {
    "import": import_figures,
    "bouts": bouts_figures,
    "folder": folder_figures,
    "reading": reading_figures,
    "tables": tables_figures,
    "growth": growth_figures,
}

for part in sys.argv[6:] or PARTS:
    PARTS[part]()
