"""Ends an audit at the system calls that change the disk, and an audit and a demo at random moments.

After each end: the output is the old result or the new one, whole, in its place; after the next run nothing else is
left beside it. Also where the file system cannot exchange two folders, which is played by refusing that call.
"""

import pathlib
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1]))
from stands import Checks, digest, left_in  # noqa: E402

# Calls that change what a folder holds, or bring it to the disk. Files are made by openat, which reads too.
CHANGING = "mkdir,mkdirat,rename,renameat,renameat2,unlink,unlinkat,rmdir,fsync,fdatasync,syncfs,flock,openat"
# Ends at so many moments of one call at most, drawn by chance where there are more.
MOST_CALLS = 40
RECORDINGS = ["A1-one-track.gpx", "A2-two-segments.gpx", "D1-laps.tcx"]

program = pathlib.Path(sys.argv[1]).resolve()
random_kills = int(sys.argv[2])
samples = pathlib.Path("testdata/inputs").resolve()
check = Checks()


def strace(arguments, *injections):
    options = [part for injection in injections for part in ("-e", f"inject={injection}")]
    command = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={CHANGING}", *options]
    return subprocess.run([*command, program, *arguments], capture_output=True, check=False)


def calls(arguments, call):
    """How often a run makes a call."""
    with tempfile.NamedTemporaryFile() as log:
        subprocess.run(
            ["strace", "-f", "-qq", "-o", log.name, "-e", f"trace={call}", program, *arguments],
            capture_output=True,
            check=False,
        )
        return sum(f" {call}(" in line for line in open(log.name, errors="replace"))


# How often each call was seen at all: where the system lets nobody trace, nothing would be tried.
seen = {}


def play(scratch, name, arguments, out, before, after, clear):
    """Ends a run at each call, with folders that can be exchanged and with such that cannot."""
    for refused in ([], ["renameat2:error=EINVAL"]):
        for call in CHANGING.split(","):
            before()
            count = calls(arguments, call)
            seen[call] = seen.get(call, 0) + count
            # Most of the many openat only read what the system's loader wants.
            at = range(1, count + 1) if count < MOST_CALLS else random.sample(range(1, count + 1), MOST_CALLS)
            for number in at:
                before()
                old = digest(out)
                if call == "renameat2" and refused:
                    continue
                strace(arguments, *refused, f"{call}:signal=SIGKILL:when={number}")
                judge(scratch, f"{name}, {call} {number}, {'steps' if refused else 'exchange'}", out, old, after, clear)


def judge(scratch, what, out, old, after, clear):
    stands = digest(out)
    if stands is None and old is not None:
        # Between two moves: the next run, whatever becomes of it, puts the whole one back first.
        subprocess.run([program, "audit", scratch / "nothing", "--out", out], capture_output=True, check=False)
        subprocess.run([program, "audit", scratch / "empty", "--out", out, "--settings", scratch / "none"], capture_output=True, check=False)
        stands = digest(out)
    check(what, stands in (old, after), "half a result stands")
    clear()
    left = left_in(scratch)
    check(what, not left, f"left behind: {left}")


def main():
    scratch = pathlib.Path(tempfile.mkdtemp(prefix="ended-"))
    try:
        for folder, names in (("old", RECORDINGS[:1]), ("new", RECORDINGS), ("empty", [])):
            (scratch / folder).mkdir()
            for name in names:
                shutil.copy(next(samples.glob(name[:2] + "-*")), scratch / folder)
        out, demo = scratch / "out", scratch / "demo"
        first = ["audit", scratch / "old", "--out", out]
        second = ["audit", scratch / "new", "--out", out]

        def run(arguments):
            return subprocess.run([program, *arguments], capture_output=True, check=False)

        run(second)
        after = digest(out)
        play(scratch, "audit", second, out, lambda: run(first), after, lambda: run(first))

        for call in ("mkdir", "renameat2", "fsync"):
            check("traced", seen[call] > 0, call)

        begun = time.monotonic()
        run(second)
        lasts = time.monotonic() - begun
        stands_told = 0
        for number in range(random_kills):
            run(first)
            old = digest(out)
            running = subprocess.Popen([program, *second], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
            time.sleep(random.uniform(0, lasts))
            end = random.choice([signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
            sent = time.monotonic()
            running.send_signal(end)
            stderr = running.communicate()[1].decode(errors="replace")
            check("a second", time.monotonic() - sent < 1.0, f"{time.monotonic() - sent:.2f} s after {end.name}")
            check("the status of the signal", running.returncode in (-end, 0), running.returncode)
            if running.returncode == -end and end != signal.SIGKILL and stderr:
                stands_told += "stands as it was" in stderr
                check("says so", stderr.startswith(f"error: ended by {end.name}"), stderr)
                left = left_in(scratch)
                check("cleared at once", not left, left)
            judge(scratch, f"random {number}, {end.name}", out, old, after, lambda: run(first))

        # The handler is set within milliseconds: of twenty signals some meet a run that has begun to write.
        check("a signal is answered", random_kills < 20 or stands_told > 0, "no run said that the earlier result stands")

        def nothing():
            shutil.rmtree(demo, ignore_errors=True)

        whole = ["demo", demo]
        run(whole)
        demo_after = digest(demo)
        for number in range(max(3, random_kills // 10)):
            nothing()
            running = subprocess.Popen([program, *whole], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            time.sleep(random.uniform(0, 1.5))
            running.kill()
            running.wait()
            check(f"demo {number}", digest(demo) in (None, demo_after), "half a demo stands")
            again = run(whole) if not demo.exists() else None
            check(f"demo {number}", again is None or again.returncode == 0, again and again.stderr.decode())
            left = left_in(scratch)
            check(f"demo {number}", again is None or not left, f"left behind: {left}")
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    check.say()
    sys.exit(check.failed > 0)


main()
