"""Memory and time of inputs of one shape at n, 2n and 4n: what grows faster than its bytes is named.

Held against the limits that docs/trust.md states: 64 MB and 24 times the bytes of the input; twice the input at most 2.6 times
the time; a second for each MB of text, for archives for each 10 MB that they unpack to; a result of at most 10 MB and 12 times
the input, and what a page each takes where a squad is too large for one; a table of up to 10^6 rows within 10 s and 500 MB. Only the shapes that are named below may be refused.
"""

import datetime
import gzip
import io
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile

program = pathlib.Path(sys.argv[1]).resolve()
# A number makes every shape so many times smaller: for a first look.
smaller = int(sys.argv[2]) if sys.argv[2:3] and sys.argv[2].isdigit() else 1
wanted = sys.argv[3:] if smaller > 1 else sys.argv[2:]
MB = 1_000_000
MOST_GROWTH = 2.6
# A time over its limit is measured again so often, and the least counts: others use the machine too.
MEASURED_AGAIN = 2
# Shortest time that is asked of any run, in seconds.
LEAST_ALLOWED_S = 10.0
# Most that a run may take, in bytes of address space, so that a fault of the program does not end the machine.
MOST_BYTES = 6_000 * MB
# Runs shorter than this are noise, and no growth is told from them.
LEAST_S = 0.4

# Runs a command in a small process of its own: what a process held when another was begun counts as that one's too.
MEASURE = """
import os, resource, subprocess, sys
most = int(sys.argv[1])
limit = lambda: resource.setrlimit(resource.RLIMIT_AS, (most, most))
child = subprocess.Popen(sys.argv[2:], stdout=subprocess.DEVNULL, preexec_fn=limit)
_, status, usage = os.wait4(child.pid, 0)
print(os.waitstatus_to_exitcode(status), usage.ru_utime + usage.ru_stime, usage.ru_maxrss)
"""

START = datetime.datetime(2024, 3, 4, 18, 0, 0)


def stamp(second):
    return (START + datetime.timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ")


# So far the way leads before it turns round: no latitude is beyond a pole, however many points there are.
TURN_M = 2_000_000


def point(second, way_m):
    north_m = TURN_M - abs(way_m % (2 * TURN_M) - TURN_M)
    return f'<trkpt lat="{52 + north_m / 111195:.6f}" lon="4.5"><time>{stamp(second)}</time></trkpt>'


def gpx(segments):
    body = "".join(f"<trkseg>{''.join(segment)}</trkseg>" for segment in segments)
    return f'<gpx version="1.1" creator="x"><trk>{body}</trk></gpx>'.encode()


def tracks(tracks):
    body = "".join(f"<trk><trkseg>{''.join(track)}</trkseg></trk>" for track in tracks)
    return f'<gpx version="1.1" creator="x">{body}</gpx>'.encode()


def every(seconds, n, speed_m_per_s=2.0):
    return gpx([[point(at * seconds, at * seconds * speed_m_per_s) for at in range(n)]])


def standing(n):
    """A device left lying, and taken for a walk at the end."""
    return gpx([[point(12 * at, max(0, at - n + 50) * 20.0) for at in range(n)]])


def in_bouts(n, bout_s):
    """Points a second, running and walking in turn."""
    points, way_m = [], 0.0
    for at in range(n):
        points.append(point(at, way_m))
        way_m += 2.8 if at // bout_s % 2 else 1.4
    return gpx([points])


def unlike(reps, runs):
    """A plan with different reps, and a recording of other runs, laid on it by hand."""
    reps = ", ".join(f"{6 + at % 50} s run, {5 + at % 37} s walk" for at in range(reps))
    bouts = [(300, 1.4)] + [bout for at in range(runs) for bout in ((14 + at % 40, 2.8), (13 + at % 30, 1.4))]
    points, way_m = [], 0.0
    for seconds, speed_m_per_s in bouts:
        for _ in range(seconds):
            points.append(point(len(points), way_m))
            way_m += speed_m_per_s
    plan = f'[[block]]\nlabel = "A"\nsession = "5:00 walk, {reps}"\n'
    laid = "file,plan_block,plan_session\nAda/a.gpx,A,1\n"
    return {"recordings/Ada/a.gpx": gpx([points]), "--plan": plan.encode(), "--corrections": laid.encode()}


def many_tracks(n, points):
    return tracks([point(1000 * t + at, 1.4 * at) for at in range(points)] for t in range(n))


def same_time(n, points):
    """Tracks that all lie at one time."""
    return tracks([point(at, 1.4 * at + t) for at in range(points)] for t in range(n))


def zipped(n, points):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for member in range(n):
            archive.writestr(f"{member}.gpx", gpx([[point(86400 * member + at, 1.4 * at) for at in range(points)]]))
    return packed.getvalue()


def zipped_empty(n):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for member in range(n):
            archive.writestr(f"{member}", b"")
    return packed.getvalue()


def tcx_laps(n):
    laps = "".join(
        f'<Lap StartTime="{stamp(60 * lap)}"><TotalTimeSeconds>60</TotalTimeSeconds><Track>'
        f"<Trackpoint><Time>{stamp(60 * lap)}</Time><DistanceMeters>{84 * lap}</DistanceMeters></Trackpoint>"
        f"<Trackpoint><Time>{stamp(60 * lap + 5)}</Time><DistanceMeters>{84 * lap + 7}</DistanceMeters></Trackpoint>"
        f"</Track></Lap>"
        for lap in range(n)
    )
    return f"<TrainingCenterDatabase><Activities><Activity Sport=\"Running\">{laps}</Activity></Activities></TrainingCenterDatabase>".encode()


def deep(n):
    return b'<gpx version="1.1"><trk><extensions>' + b"<a>" * n + b"</a>" * n + b"</extensions></trk></gpx>"


def noted(n):
    """Every point has something to remark."""
    points = "".join(f'<trkpt lat="95.{at}" lon="4.5"><time>{stamp(at)}</time><ele>x</ele></trkpt>' for at in range(n))
    return f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()


DAY = datetime.date(2024, 1, 1)


def day(number):
    return (DAY + datetime.timedelta(days=number % 60)).isoformat()


TINY = gpx([[point(at, 1.4 * at) for at in range(3)]])


def on_day(content, number):
    return content.replace(b"2024-03-04", (DAY + datetime.timedelta(days=number)).isoformat().encode())


def with_long_names(letters, bouts):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("n" * letters + ".gpx", in_bouts(20 * bouts, 20))
    return packed.getvalue()


RECORDING = {"recordings/Ada/a.gpx": every(1, 900)}

# Shape: size n, and what makes the files of it. A file that is no recording is given by its option.
SHAPES = {
    "points": (100_000, lambda n: {"recordings/Ada/a.gpx": every(1, n)}),
    "a point a minute": (50_000, lambda n: {"recordings/Ada/a.gpx": every(60, n)}),
    "standing, then on": (20_000, lambda n: {"recordings/Ada/a.gpx": standing(n)}),
    "a point an hour": (5_000, lambda n: {"recordings/Ada/a.gpx": every(3600, n)}),
    "a point a day": (1_000, lambda n: {"recordings/Ada/a.gpx": every(86400, n)}),
    "a point a month": (100, lambda n: {"recordings/Ada/a.gpx": every(86400 * 30, n)}),
    "bouts": (40_000, lambda n: {"recordings/Ada/a.gpx": in_bouts(n, 20)}),
    "tracks of a point": (10_000, lambda n: {"recordings/Ada/a.gpx": many_tracks(n, 1)}),
    "tracks of a minute": (1_000, lambda n: {"recordings/Ada/a.gpx": many_tracks(n, 60)}),
    "tracks at one time": (500, lambda n: {"recordings/Ada/a.gpx": same_time(n, 60)}),
    "laps": (10_000, lambda n: {"recordings/Ada/a.tcx": tcx_laps(n)}),
    "members": (1_000, lambda n: {"recordings/Ada/a.zip": zipped(n, 60)}),
    "empty members": (10_000, lambda n: {"recordings/Ada/a.zip": zipped_empty(n)}),
    "packed points": (100_000, lambda n: {"recordings/Ada/a.gpx.gz": gzip.compress(every(1, n))}),
    "depth": (100_000, lambda n: {"recordings/Ada/a.gpx": deep(n)}),
    "remarks": (50_000, lambda n: {"recordings/Ada/a.gpx": noted(n)}),
    "blanks": (5_000_000, lambda n: {"recordings/Ada/a.gpx": b"<gpx>" + b" " * n + b"</gpx>"}),
    "files": (1_000, lambda n: {f"recordings/Ada/{at}.gpx": b"<gpx/>" for at in range(n)}),
    "a long name": (50, lambda n: {f"recordings/{'n' * n}/a.gpx": every(1, 900)}),
    "journal rows": (250_000, lambda n: RECORDING | {"--journal": b"athlete,date,note\n" + b"".join(f"Ada,{day(at)},said {at}\n".encode() for at in range(n))}),
    "journal rows of one day": (50_000, lambda n: RECORDING | {"--journal": b"athlete,date,pain_0_10,note\n" + b"".join(f"Ada,{day(0)},3,said {at}\n".encode() for at in range(n))}),
    "journal columns": (5_000, lambda n: RECORDING | {"--journal": ("athlete,date," + ",".join(f"c{at}" for at in range(n)) + f"\nAda,{day(0)}," + "," * (n - 1) + "\n").encode()}),
    "journal letters": (2_000_000, lambda n: RECORDING | {"--journal": f"athlete,date,note\nAda,{day(0)},{'a' * n}\n".encode()}),
    "sign letters": (200_000, lambda n: RECORDING | {"--journal": f"athlete,date,warning_sign\nAda,{day(0)},{'odd ' * (n // 4)}\n".encode()}),
    "squad rows": (1_000, lambda n: RECORDING | {"--squad": b"athlete,goal_m\n" + b"".join(f"N{at},3000\n".encode() for at in range(n))}),
    "squad folders": (1_000, lambda n: RECORDING | {"--squad": b"athlete,folder\n" + b"".join(f"N{at},F{at}*\n".encode() for at in range(n))}),
    "squad other names": (20_000, lambda n: RECORDING | {"--squad": ("athlete,also\nAda," + "|".join(f"N{at}" for at in range(n)) + "\n").encode()}),
    "squad absences": (5_000, lambda n: RECORDING | {"--squad": ("athlete,away\nAda," + "|".join(f"{day(at)}..{day(at)}" for at in range(n)) + "\n").encode()}),
    "corrections": (250_000, lambda n: RECORDING | {"--corrections": b"file,use\n" + b"".join(f"Ada/{at}.gpx,no\n".encode() for at in range(n))}),
    "owners": (250_000, lambda n: RECORDING | {"--owners": b"athlete,file\n" + b"".join(f"Ada,Ada/{at}.gpx\n".encode() for at in range(n))}),
    "plan blocks": (200, lambda n: RECORDING | {"--plan": "".join(f'[[block]]\nlabel = "B{at}"\nsession = "6:00 walk, 5 x (0:40 run, 1:20 walk)"\n' for at in range(n)).encode()}),
    "plan sessions": (100, lambda n: RECORDING | {"--plan": f'[[block]]\nsessions = {n}\nsession = "6:00 walk, 5 x (0:40 run, 1:20 walk)"\n'.encode()}),
    "plan pauses": (2_000, lambda n: RECORDING | {"--plan": ('[[block]]\nsession = "5:00 walk, 1:00 run"\n' + "".join(f"[[pause]]\nfrom = {day(0)}\nto = {day(0)}\n" for at in range(n))).encode()}),
    "plan repeats": (100, lambda n: RECORDING | {"--plan": f'[[block]]\nsession = "{n} x (0:10 run, 0:10 walk)"\n'.encode()}),
    "plan letters": (500_000, lambda n: RECORDING | {"--plan": f'title = "{"a" * n}"\n[[block]]\nsession = "5:00 walk, 1:00 run"\n'.encode()}),
    "plan depth": (5_000, lambda n: RECORDING | {"--plan": f'[[block]]\nsession = "{"(" * n}1:00 run{")" * n}"\n'.encode()}),
    "toml depth": (2_000, lambda n: RECORDING | {"--plan": f"x = {'[' * n}{']' * n}\n".encode()}),
    # What stands in every row, and what each of many has to do with each of many others.
    "athlete letters and bouts": (500, lambda n: {"recordings/a/a.gpx": in_bouts(20 * n, 20), "--squad": f"athlete,folder\n{'n' * 200 * n},a\n".encode()}),
    "label letters and sessions": (25, lambda n: RECORDING | {"--plan": f'[[block]]\nlabel = "{"a" * 2000 * n}"\nsessions = {n}\nsession = "5:00 walk, 1:00 run"\n'.encode()}),
    "title letters and athletes": (200, lambda n: RECORDING | {"--plan": f'title = "{"a" * 200 * n}"\n[[block]]\nsession = "5:00 walk, 1:00 run"\n'.encode(), "--squad": b"athlete\n" + b"".join(f"N{at}\n".encode() for at in range(n))}),
    "session letters": (200_000, lambda n: RECORDING | {"--plan": f'[[block]]\nsessions = 50\nsession = "1:00 run,{" " * n}1:00 walk"\n'.encode()}),
    "time zone letters": (200_000, lambda n: RECORDING | {"--squad": f"athlete,time_zone\nAda,{'z' * n}\n".encode()}),
    "journal name letters": (200_000, lambda n: RECORDING | {"--squad": b"athlete\n" + b"".join(f"N{at}\n".encode() for at in range(500)), "--journal": f"athlete,date\n{'x' * n},{day(0)}\n".encode()}),
    "correction letters": (200_000, lambda n: {f"recordings/F/{at}.gpx": TINY for at in range(300)} | {"--corrections": f"file,use\n{'x' * n},no\n".encode()}),
    "member name letters": (15_000, lambda n: {"recordings/a/a.zip": with_long_names(n, 500)}),
    "rows of a group": (300, lambda n: RECORDING | {"--squad": b"athlete,group\n" + b"".join(f"N{at},G\n".encode() for at in range(n)), "--journal": b"group,date,note\n" + b"".join(f"G,{day(at)},said {at}\n".encode() for at in range(n))}),
    "rows of each": (2_000, lambda n: RECORDING | {"--squad": b"athlete\n" + b"".join(f"N{at}\n".encode() for at in range(n)), "--journal": b"athlete,date,note\n" + b"".join(f"N{at},{day(at)},said {at}\n".encode() for at in range(n))}),
    "folders and patterns": (500, lambda n: {f"recordings/F{at}/a.gpx": TINY for at in range(n)} | {"--squad": b"athlete,folder\n" + b"".join(f"N{at},F{at}*\n".encode() for at in range(n))}),
    "folders and other names": (500, lambda n: {f"recordings/Anna {at}/a.gpx": TINY for at in range(n)} | {"--squad": b"athlete\n" + b"".join(f"Annb {at}\n".encode() for at in range(n))}),
    "corrections and files": (500, lambda n: {f"recordings/F/{at}.gpx": on_day(TINY, at) for at in range(n)} | {"--corrections": b"file,use\n" + b"".join(f"F/{at}.gpx,no\n".encode() for at in range(n))}),
    "sign words and signs": (500, lambda n: RECORDING | {"--settings": ("[signs]\ndizzy = [" + ", ".join(f'"word {at}"' for at in range(n)) + "]\n").encode(), "--journal": b"athlete,date,warning_sign\n" + b"".join(f"Ada,{day(at)},word {at} and more\n".encode() for at in range(n))}),
    "absences of a group": (500, lambda n: RECORDING | {"--squad": ("athlete,group,away\n,G," + "|".join(f"{day(at)}..{day(at)} ill" for at in range(50)) + "\n" + "".join(f"N{at},G,\n" for at in range(n))).encode()}),
    "pauses and athletes": (300, lambda n: RECORDING | {"--plan": ('[[block]]\nsessions = 5\nevery_days = 2\nsession = "5:00 walk, 1:00 run"\n' + "".join(f"[[pause]]\nfrom = {day(at)}\nto = {day(at)}\n" for at in range(n))).encode(), "--squad": b"athlete,start\n" + b"".join(f"N{at},2024-03-04\n".encode() for at in range(n))}),
    "reps and runs": (60, lambda n: unlike(n, n)),
    "runs and a plan": (250, lambda n: unlike(9, n)),
    "sessions and a plan": (300, lambda n: {f"recordings/a/{at}.gpx": on_day(every(1, 900), at) for at in range(n)} | {"--plan": b'[[block]]\nsessions = 60\nevery_days = 2\nsession = "6:00 walk, 5 x (0:40 run, 1:20 walk)"\n'}),
    "settings words": (20_000, lambda n: RECORDING | {"--settings": ("[signs]\ndizzy = [" + ", ".join(f'"word {at}"' for at in range(n)) + "]\n").encode()}),
}

# Shapes that end in a message and status 2: what they nest or name is beyond a limit that the message states.
REFUSED = {
    "plan blocks", "plan sessions", "plan repeats", "plan depth", "toml depth", "plan letters", "athlete letters and bouts",
    "squad absences", "label letters and sessions", "title letters and athletes", "session letters", "time zone letters", "journal name letters",
}
# Tables of up to 10^6 rows, which have limits of their own.
TABLES = {"journal rows", "journal rows of one day", "corrections", "owners"}
TABLE_MOST_BYTES, TABLE_MOST_S = 500 * MB, 10.0
# Shapes with n athletes: beyond one page for all each has a page of their own, with the style that it needs; with a
# plan or a note it has tables, with a recording drawings and a script too, and the newest entries of a journal stand on it.
ALONE, WITH_SOMETHING, FULL = 8_000, 32_000, 40_000
PAGE_BYTES = {
    "squad rows": ALONE, "squad folders": ALONE, "absences of a group": ALONE, "rows of each": WITH_SOMETHING,
    "pauses and athletes": WITH_SOMETHING, "folders and other names": ALONE + FULL, "folders and patterns": FULL, "rows of a group": FULL,
}


def unpacked(name, content):
    """Bytes of a file once it is unpacked, each counted as a tenth."""
    if name.endswith(".gz"):
        return len(gzip.decompress(content)) / 10
    if name.endswith(".zip"):
        return sum(member.file_size for member in zipfile.ZipFile(io.BytesIO(content)).infolist()) / 10
    return len(content)


def size_of(folder):
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def run(files, place):
    """Bytes of the input, seconds, most bytes held at a time, status, bytes of the result."""
    options = []
    for name, content in files.items():
        path = place / (f"given{name}.toml" if name.startswith("--") else name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        if name.startswith("--"):
            options += [name, str(path)]
    out = place / "out"
    command = [str(program), "audit", str(place / "recordings"), "--out", str(out), "--threads", "2", *options]
    begun = time.monotonic()
    measured = subprocess.run([sys.executable, "-c", MEASURE, str(MOST_BYTES), *command], capture_output=True)
    seconds = time.monotonic() - begun
    status, cpu_s, most_kib = measured.stdout.split()
    message = measured.stderr
    given = sum(len(content) for content in files.values())
    allowed_s = max(LEAST_ALLOWED_S, sum(unpacked(name, content) for name, content in files.items()) / MB)
    result = size_of(out) if out.exists() else 0
    return given, min(seconds, float(cpu_s)), allowed_s, int(most_kib) * 1024, int(status), result, message


faults = 0
print(f"{'shape':26} {'n':>9} {'input MB':>9} {'s':>7} {'growth':>7} {'peak MB':>8} {'allowed':>8} {'result MB':>9} status")
for shape, (n, make) in SHAPES.items():
    if wanted and shape not in wanted:
        continue
    before_s = None
    n = max(1, n // smaller)
    for times in (1, 2, 4):
        files = make(n * times)
        seconds = float("inf")
        for _ in range(1 + MEASURED_AGAIN):
            place = pathlib.Path(tempfile.mkdtemp())
            try:
                given, this_s, allowed_s, peak, status, result, message = run(files, place)
            finally:
                shutil.rmtree(place)
            seconds = min(seconds, this_s)
            if shape in TABLES:
                allowed_s = TABLE_MOST_S
            growth = seconds / before_s if before_s and before_s >= LEAST_S else None
            if seconds <= allowed_s and not (growth and growth > MOST_GROWTH):
                break
        allowed = TABLE_MOST_BYTES if shape in TABLES else 64 * MB + 24 * given
        said = []
        if status not in (0, 1, 2):
            said.append(f"ended by {status}: {message[:80]!r}")
        if peak > allowed:
            said.append("memory")
        if growth and growth > MOST_GROWTH:
            said.append("growth")
        if seconds > allowed_s:
            said.append("time")
        if status == 2 and shape not in REFUSED:
            said.append(f"refused: {message[:200]!r}")
        if result > 10 * MB + 12 * given + PAGE_BYTES.get(shape, 0) * n * times:
            said.append("result")
        if status == 2 and not message.startswith(b"error: "):
            said.append("no message")
        faults += len(said)
        shown = f"{growth:7.2f}" if growth else " " * 7
        print(
            f"{shape:26} {n * times:9} {given / MB:9.2f} {seconds:7.2f} {shown} {peak / MB:8.1f} {allowed / MB:8.1f} "
            f"{result / MB:9.2f} {status} {' '.join(said)}",
            flush=True,
        )
        before_s = seconds
print(f"{faults} beyond their limits")
sys.exit(faults > 0)
