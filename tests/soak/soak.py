"""Changes a squad's folder at random, audits it, ends audits, and checks after each what must always hold.

Every file has its row; of files that are read or partial the table of files says as many sessions and points as the table of
sessions has; recordings of a person whom nothing touched have the rows of the first audit; nothing is left beside the output;
an audit that was ended leaves the earlier result or a new one, whole by its own manifest.
"""

import collections
import csv
import gzip
import os
import pathlib
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import zipfile

program, minutes, seed = pathlib.Path(sys.argv[1]).resolve(), float(sys.argv[2]), int(sys.argv[3])
CONTROL = "Untouched"
# Recordings that each person begins with, from the shipped squad.
A_PERSON = 4
PEOPLE = 4
faults = []
counts = collections.Counter()


def fault(what):
    faults.append(what)
    print(f"FAILED turn {counts['turns']}, seed {seed}: {what}", flush=True)


def rows(out, table):
    with open(out / f"{table}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def written(name):
    """A name as tables write it: bytes that are no UTF-8, characters that act and backslashes escaped; formulas made text."""
    text = ""
    raw = os.fsencode(name)
    for char in raw.decode("utf-8", "surrogateescape"):
        code = ord(char)
        if 0xDC80 <= code <= 0xDCFF:
            text += f"\\x{code - 0xDC00:02x}"
        elif code < 32 or 0x7F <= code < 0xA0 or char == "\\":
            text += f"\\u{code:04x}"
        else:
            text += char
    return "'" + text if text[:1] in "=+-@\t\r" else text


def all_files(folder):
    """Every file below a folder by its name in the tables; links are followed once."""
    found = []
    for place, folders, files in os.walk(folder):
        for name in files + [name for name in folders if os.path.islink(os.path.join(place, name))]:
            found.append(written(os.path.relpath(os.path.join(place, name), folder)))
    return found


def mutate(chance, folder, pool):
    """One change, never to what lies with the untouched person."""
    # In order of their names, so that one seed gives the same changes on every disk.
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and not path.is_symlink() and CONTROL not in path.parts]
    people = [path for path in sorted(folder.iterdir()) if path.is_dir() and not path.is_symlink() and path.name != CONTROL]
    kind = chance.choice(
        ["add", "add", "break", "cut", "grow", "rename", "copy", "link", "swap", "remove", "empty", "pack", "zip", "pipe", "odd", "person", "folder"]
    )
    counts[kind] += 1
    target = chance.choice(files) if files else None
    person = chance.choice(people) if people else folder
    fresh = f"{chance.randrange(10**9)}"
    match kind:
        case "add":
            source = chance.choice(pool)
            shutil.copy(source, person / f"{fresh}{source.suffix}")
        case "break" if target and target.stat().st_size:
            data = bytearray(target.read_bytes())
            for _ in range(chance.randrange(1, 40)):
                data[chance.randrange(len(data))] = chance.randrange(256)
            target.write_bytes(data)
        case "cut" if target:
            os.truncate(target, chance.randrange(target.stat().st_size + 1))
        case "grow" if target:
            with open(target, "ab") as file:
                file.write(chance.randbytes(chance.randrange(3000)))
        case "rename" if target:
            odd = ["'", " ", "ü", "=", "\n", "%s", "..", "-", "\\", "<b>", "\x1b[31m"]
            target.rename(person / (chance.choice(odd) + fresh + target.suffix))
        case "copy" if target:
            shutil.copy(target, person / f"{fresh}{target.suffix}")
        case "link" if target:
            (person / f"{fresh}.gpx").symlink_to(chance.choice([target, folder, person, "nowhere", fresh]))
        case "swap" if len(files) > 1:
            other = chance.choice(files)
            if other != target:
                aside = target.with_name(fresh)
                target.rename(aside)
                other.rename(target)
                aside.rename(other)
        case "remove" if target:
            target.unlink()
        case "empty" if target:
            os.truncate(target, 0)
        case "pack" if target:
            (person / f"{fresh}.gpx.gz").write_bytes(gzip.compress(target.read_bytes()))
        case "zip" if target:
            with zipfile.ZipFile(person / f"{fresh}.zip", "w") as archive:
                for member in chance.sample(files, min(3, len(files))):
                    archive.write(member, written(member.name))
        case "pipe":
            os.mkfifo(person / fresh)
        case "odd":
            (person / os.fsdecode(b"\xff" + fresh.encode() + b".gpx")).write_bytes(b"<gpx/>")
        case "person":
            (folder / f"P{fresh}").mkdir()
        case "folder":
            (person / fresh / fresh).mkdir(parents=True)


def check(folder, out, before):
    files = rows(out, "files")
    named = collections.Counter(row["file"] for row in files)
    for name in all_files(folder):
        # Links to folders that are listed already, and those that lead nowhere, have rows of their own too.
        if not named[name] and not any(other.startswith(name + "/") for other in named):
            fault(f"no row for {name!r}")
    sessions, points = collections.Counter(), collections.Counter()
    for row in rows(out, "sessions"):
        sessions[row["file"]] += 1
        points[row["file"]] += int(row["points"])
    for row in files:
        kept = (int(row["sessions"] or 0), int(row["points_kept"] or 0))
        if row["status"] in ("read", "partial") and kept != (sessions[row["file"]], points[row["file"]]):
            fault(f"{row['file']!r} is {row['status']} and says {kept}, the sessions {sessions[row['file']], points[row['file']]}")
        if row["status"] in ("ignored", "failed") and (kept != (0, 0) or sessions[row["file"]]):
            fault(f"{row['file']!r} is {row['status']} and says {kept}")
    if max(named.values()) > 1:
        fault(f"two rows for {named.most_common(1)}")
    # Names that a table writes as text lest they run as formulas have a sign before them that does not count.
    plain = lambda name: name[1:] if name.startswith("'") and name[1:2] in tuple("=+-@\t\r") else name
    names = [plain(row["file"]).encode() for row in files]
    if names != sorted(names):
        fault("files.csv is not in order")
    held = [row for row in rows(out, "sessions")]
    order = [(plain(row["athlete"]).encode(), not row["start_utc"], row["start_utc"]) for row in held]
    if order != sorted(order):
        fault("sessions.csv is not in order")
    own = [row for row in held if row["athlete"] == CONTROL]
    if len(own) != A_PERSON:
        fault(f"{len(own)} sessions of {A_PERSON} untouched recordings")
    if before is not None and own != before:
        fault("an untouched recording has another row")
    return own


def left(place):
    return [path.name for path in place.iterdir() if path.name.startswith(".boutwise")]


def main():
    chance = random.Random(seed)
    place = pathlib.Path(tempfile.mkdtemp(prefix="soak-"))
    try:
        demo, folder, out = place / "demo", place / "squad", place / "out"
        subprocess.run([program, "demo", demo], check=True, capture_output=True)
        for number, person in enumerate(sorted((demo / "recordings").iterdir())[: PEOPLE + 1]):
            own = folder / (CONTROL if number == 0 else person.name)
            own.mkdir(parents=True)
            for path in sorted(path for path in person.iterdir() if path.is_file())[:A_PERSON]:
                shutil.copy(path, own)
        pool = [path for path in sorted((demo / "recordings").rglob("*")) if path.is_file()]
        control = {path.read_bytes() for path in (folder / CONTROL).iterdir()}
        pool = [path for path in pool if path.read_bytes() not in control]
        audit = [program, "audit", folder, "--out", out, "--as-of", "2030-01-01"]
        before, until = None, time.monotonic() + 60 * minutes
        lasts = 1.0
        while time.monotonic() < until and len(faults) < 20:
            counts["turns"] += 1
            begun = time.monotonic()
            threads = str(chance.choice([1, 2, 4]))
            done = subprocess.run([*audit, "--threads", threads], capture_output=True, check=False, timeout=120)
            lasts = time.monotonic() - begun
            if done.returncode not in (0, 1) or b"panicked" in done.stderr:
                fault(f"status {done.returncode}: {done.stderr[:300]}")
            else:
                before = check(folder, out, before)
            if left(place):
                fault(f"left behind: {left(place)}")
            for _ in range(chance.randrange(1, 8)):
                mutate(chance, folder, pool)
            if chance.random() < 0.4:
                counts["ended"] += 1
                running = subprocess.Popen([*audit, "--threads", threads], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                time.sleep(chance.uniform(0, lasts))
                running.send_signal(chance.choice([signal.SIGKILL, signal.SIGTERM, signal.SIGINT]))
                running.wait()
                if subprocess.run([program, "verify", out], capture_output=True).returncode != 0:
                    fault("what stands after an end is not whole")
            # A folder that only grows says less and less.
            for path in sorted(folder.iterdir()):
                if path.name != CONTROL and path.is_dir() and not path.is_symlink() and sum(1 for _ in path.rglob("*")) > 60:
                    shutil.rmtree(path)
    finally:
        shutil.rmtree(place, ignore_errors=True)
    print(", ".join(f"{kind} {count}" for kind, count in sorted(counts.items())))
    print(f"{counts['turns']} audits checked, {counts['ended']} ended, {len(faults)} faults")
    sys.exit(bool(faults))


main()
