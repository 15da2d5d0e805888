"""Audits many recordings of which 5 % are broken: status 1, a row for each, the others' rows equal to a run without them.

Prints the most memory that either run held.
"""

import collections
import csv
import gzip
import os
import pathlib
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import zipfile

program, count = pathlib.Path(sys.argv[1]).resolve(), int(sys.argv[2])
BROKEN_EVERY = 20
# Recordings of one person: more would be a life of running.
A_PERSON = 200
chance = random.Random(19)
faults = []


def recording(number):
    """Five minutes with a point every five seconds, each recording on a time of its own."""
    day, hour = number % A_PERSON, 6
    points = "".join(
        f'<trkpt lat="{52 + 1e-4 * at * (1 + number % 3) / 3:.6f}" lon="4.5"><time>2024-{1 + day // 28:02}-{1 + day % 28:02}'
        f"T{hour:02}:{at // 12:02}:{5 * (at % 12):02}Z</time></trkpt>"
        for at in range(60)
    )
    return f'<gpx version="1.1" creator="x"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()


def damaged(data):
    data = bytearray(data)
    for _ in range(200):
        data[chance.randrange(len(data))] = chance.randrange(256)
    return bytes(data)


# What each kind of break makes of a file that is called a GPX recording, in the order of `break_at`: what can be read of it
# is kept (`partial`), what holds no point has `failed`. Damage by chance leaves more or less; an archive has a row beside its
# member's.
BECOMES = [
    {"failed"},
    {"partial"},
    {"read", "partial", "failed"},
    {"failed"},
    {"failed"},
    {"failed"},
    {"partial"},
    {"failed"},
    {"failed"},
    {"read", "partial", "failed", "ignored"},
    {"failed"},
    {"partial"},
    {"failed"},
    {"failed"},
]


def break_at(path, kind, number):
    data = recording(number)
    match kind:
        case 0:
            path.write_bytes(b"")
        case 1:
            path.write_bytes(data[: len(data) // 2])
        case 2:
            path.write_bytes(damaged(data))
        case 3:
            path.write_bytes(b"\0" * len(data))
        case 4:
            path.write_bytes(chance.randbytes(3000))
        case 5:
            path.write_bytes(data.replace(b"<time>", b"<tim>"))
        case 6:
            path.write_bytes(gzip.compress(data)[:300])
        case 7:
            path.symlink_to("nowhere")
        case 8:
            os.mkfifo(path)
        case 9:
            with zipfile.ZipFile(path, "w") as archive:
                archive.writestr("a.gpx", damaged(data))
        case 10:
            path.write_bytes(b"<gpx><trk>" + b"<a>" * 20_000)
        case 11:
            path.write_bytes(data.replace(b"lat", b"lit"))
        case 12:
            with open(path, "wb") as file:
                file.truncate(4 * 10**9)
        case 13:
            path.write_bytes(b"lat,lon\n1,2\n" * 50)


def audit(folder, out):
    command = [program, "audit", folder, "--out", out, "--no-report", "--quiet"]
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    message = child.stderr.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    print(f"{folder.name}: status {child.returncode}, most memory {usage.ru_maxrss / 1024:.0f} MB, {usage.ru_utime + usage.ru_stime:.1f} s of work")
    if child.returncode not in (0, 1):
        faults.append(message.decode(errors="replace")[:300])
    return child.returncode


def rows(out, table):
    with open(out / f"{table}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def main():
    place = pathlib.Path(tempfile.mkdtemp(prefix="broken-"))
    try:
        with_broken, without = place / "with", place / "without"
        broken = {}
        for number in range(count):
            person = f"P{number // A_PERSON:04}"
            for folder in (with_broken, without):
                (folder / person).mkdir(parents=True, exist_ok=True)
            name = f"{person}/{number:06}.gpx"
            if number % BROKEN_EVERY == 7:
                broken[name] = number // BROKEN_EVERY % len(BECOMES)
                break_at(with_broken / name, broken[name], number)
            else:
                (with_broken / name).write_bytes(recording(number))
                os.link(with_broken / name, without / name)
        if audit(with_broken, place / "out-with") != 1:
            faults.append("the status is not 1")
        if audit(without, place / "out-without") != 0:
            faults.append("the status without the broken ones is not 0")
        files = {row["file"]: row for row in rows(place / "out-with", "files")}

        def file_of(name):
            """The file that a row is about; of a member its archive. Files lie in the folder of a person."""
            return "/".join(name.split("/")[:2])

        statuses = [collections.Counter() for _ in BECOMES]
        of_files = {file_of(name) for name in files}
        missing = [name for name in broken if name not in of_files]
        if missing:
            faults.append(f"no row for {missing[:3]}")
        for name, row in files.items():
            if file_of(name) in broken:
                kind = broken[file_of(name)]
                statuses[kind][row["status"]] += 1
                if row["status"] not in BECOMES[kind]:
                    faults.append(f"{name}, broken in way {kind}, is {row['status']}: {row['notes'][:100]}")
        for table in ("files", "sessions", "bouts"):
            whole = [row for row in rows(place / "out-with", table) if file_of(row["file"]) not in broken]
            if whole != rows(place / "out-without", table):
                faults.append(f"{table}: rows differ")
            if table == "sessions" and len(whole) != count - len(broken):
                faults.append(f"{len(whole)} sessions of {count - len(broken)} whole recordings")
        print(f"{len(broken)} of {count} files broken; {len(files)} rows")
        for kind, found in enumerate(statuses):
            print(f"  way {kind}: " + ", ".join(f"{of} {status}" for status, of in sorted(found.items())))
    finally:
        shutil.rmtree(place, ignore_errors=True)
    for fault in faults[:20]:
        print(f"FAILED {fault}")
    print(f"{len(faults)} faults")
    sys.exit(bool(faults))


main()
