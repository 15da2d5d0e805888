"""Audits and demos where the disk takes nothing more, at every stage.

Whatever is refused: status 2, one line that begins `error: ` and names the place, no panic, the earlier result byte for byte
and nothing beside it; or the run ends well, and then the new result stands byte for byte.
"""

import os
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1]))
from stands import Checks, digest, left_in  # noqa: E402

program = pathlib.Path(sys.argv[1]).resolve()
samples = pathlib.Path("testdata/inputs").resolve()
RECORDINGS = ["A1", "A2", "D1", "B1"]
KILOBYTE = 1024
# Room in pages of 4 kB, from none to more than a result takes; every one of the first, which end early stages.
PAGES = [*range(0, 40), *range(40, 400, 12)]
INODES = range(0, 30)
# Calls that are refused one by one, with the ways in which systems refuse them.
REFUSED = {
    "write": ["ENOSPC", "EDQUOT", "EIO"],
    "openat": ["EACCES", "ENOSPC", "EROFS"],
    "mkdir": ["EDQUOT", "EROFS"],
    "rename": ["EACCES"],
    "renameat2": ["EACCES", "EROFS"],
    "fsync": ["EIO", "EDQUOT"],
}
MOST_CALLS = 12
check = Checks()
left_out = []


def run(*arguments, before=()):
    done = subprocess.run([*before, program, *arguments], capture_output=True, check=False)
    return done.returncode, done.stderr.decode(errors="replace"), done.stdout.decode(errors="replace")


def failed_files(out):
    """How many recordings a result says it could not read."""
    return (out / "files.csv").read_text().count(",failed,")


def judge(what, ran, out, old, after, may_leave=False, usually_failed=None):
    """Whether a run ended as it must: `old` is the digest of what stood there, `after` that of the new result. Returns whether
    the new one stands. Where recordings may be refused, which makes each a failed row, `usually_failed` says how many are
    such rows when nothing is refused."""
    status, stderr, stdout = ran
    check(what, "panicked" not in stderr and status in (0, 1, 2), f"{status} {stderr}")
    if status == 2:
        lines = stderr.splitlines()
        check(what, len(lines) == 1 and lines[0].startswith("error: "), stderr)
        check(what, len(stderr) <= 600 + len(str(out)), stderr)
        check(what, "/" in stderr or "standard output" in stderr, stderr)
        check(what, digest(out) == old, "the earlier result is another")
    else:
        of_refused = usually_failed is not None and status == 1 and failed_files(out) > usually_failed
        check(what, of_refused or digest(out) == after, "the new result does not stand as it was made elsewhere")
    check(what, may_leave or not left_in(out.parent), left_in(out.parent))
    return status != 2


def mount(place, options):
    place.mkdir(exist_ok=True)
    return subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", place], capture_output=True).returncode == 0


def remount(place, options):
    subprocess.run(["mount", "-o", f"remount,{options}", place], check=True, capture_output=True)


def full_disks(scratch, old, new, after):
    disk = scratch / "disk"
    if not mount(disk, "size=8m,nr_inodes=2000"):
        left_out.append("full disks: nothing may be mounted here")
        return
    try:
        out, ballast = disk / "out", disk / "ballast"
        check("room", run("audit", old, "--out", out)[0] == 0)
        before = digest(out)
        kept = scratch / "kept"
        shutil.copytree(out, kept)

        def back():
            ballast.unlink(missing_ok=True)
            if digest(out) != before:
                shutil.rmtree(out, ignore_errors=True)
                shutil.copytree(kept, out)
            for name in left_in(disk):
                shutil.rmtree(disk / name) if (disk / name).is_dir() else (disk / name).unlink()

        ended = []
        for pages in PAGES:
            back()
            free = shutil.disk_usage(disk).free
            if free // (4 * KILOBYTE) <= pages:
                break
            ballast.write_bytes(b"\0" * (free - pages * 4 * KILOBYTE))
            ended.append(judge(f"{pages} pages free", run("audit", new, "--out", out), out, before, after))
        check("some were full and some were not", True in ended and False in ended, ended)
        ended = []
        for inodes in INODES:
            back()
            used = 2000 - int(subprocess.run(["df", "--output=iavail", disk], capture_output=True, text=True).stdout.split()[-1])
            remount(disk, f"nr_inodes={used + inodes}" if inodes else f"nr_inodes={used}")
            ended.append(judge(f"{inodes} inodes free", run("audit", new, "--out", out), out, before, after))
            remount(disk, "nr_inodes=2000")
        check("some lacked inodes and some did not", True in ended and False in ended, ended)
        back()
        demo, whole = disk / "demo", scratch / "whole demo"
        run("demo", whole)
        for pages in (0, 1, 3, 30, 100):
            free = shutil.disk_usage(disk).free
            ballast.write_bytes(b"\0" * (free - pages * 4 * KILOBYTE))
            judge(f"demo, {pages} pages free", run("demo", demo), demo, None, digest(whole))
            shutil.rmtree(demo, ignore_errors=True)
            ballast.unlink()
        cache, elsewhere = disk / "cache", scratch / "elsewhere"
        ballast.write_bytes(b"\0" * shutil.disk_usage(disk).free)
        for what in ("no room for a cache", "room for it again"):
            status, stderr, _ = run("audit", new, "--out", elsewhere, "--cache", cache)
            check(what, status != 2 and digest(elsewhere) == after, f"{status} {stderr}")
            check(what, ("Nothing is kept in the cache" in stderr) == ballast.exists(), stderr)
            ballast.unlink(missing_ok=True)
        shutil.rmtree(cache)
        remount(disk, "ro")
        status = judge("read-only", run("audit", new, "--out", out), out, before, after)
        check("read-only", not status, "it was written")
        remount(disk, "rw")
    finally:
        subprocess.run(["umount", disk], check=False)


def refused_calls(scratch, old, new, after):
    out = scratch / "traced" / "out"
    out.parent.mkdir()
    for call, errors in REFUSED.items():
        run("audit", old, "--out", out)
        with tempfile.NamedTemporaryFile() as log:
            ran = run("audit", new, "--out", out, before=["strace", "-f", "-qq", "-o", log.name, "-e", f"trace={call}"])
            lines = [line for line in open(log.name, errors="replace") if f" {call}(" in line]
        usually_failed = failed_files(out)
        if ran[0] not in (0, 1):
            left_out.append(f"refused calls: nothing may be traced here ({ran[1].strip()[:80]})")
            return
        # What the system's loader opens before the program begins is not its own.
        first = next((at for at, line in enumerate(lines) if ".boutwise-" in line or call != "openat"), 0)
        numbers = range(first + 1, len(lines) + 1)
        for number in numbers if len(numbers) <= MOST_CALLS else sorted(random.sample(numbers, MOST_CALLS)):
            for error in errors:
                run("audit", old, "--out", out)
                before = digest(out)
                options = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}", "-e", f"inject={call}:error={error}:when={number}"]
                ran = run("audit", new, "--out", out, before=options)
                may_refuse = usually_failed if call == "openat" else None
                judge(f"{call} {number} refused with {error}", ran, out, before, after, may_leave=True, usually_failed=may_refuse)
                run("audit", old, "--out", out)
                check(f"{call} {number} refused with {error}", not left_in(out.parent), left_in(out.parent))


def places(scratch, old, new, after):
    place = scratch / "places"
    folder = place / "around" / "squad"
    folder.mkdir(parents=True)
    for name in new.iterdir():
        shutil.copy(name, folder)
    before = digest(place)
    a_file, loop = scratch / "a file", scratch / "loop"
    a_file.write_text("mine")
    loop.symlink_to(loop)
    for what, out in [
        ("inside", folder / "out"),
        ("the input itself", folder),
        ("around", folder.parent),
        ("further around", place),
        ("a file", a_file),
        ("below a file", a_file / "out"),
        ("a link to itself", loop),
        ("a device", pathlib.Path("/dev/null")),
        ("the root", pathlib.Path("/")),
    ]:
        status, stderr, _ = run("audit", folder, "--out", out)
        check(what, status == 2 and stderr.startswith("error: ") and stderr.count("\n") == 1, f"{status} {stderr}")
        check(what, digest(place) == before and a_file.read_text() == "mine", "something was changed")
    out = scratch / "linked"
    (scratch / "target").mkdir()
    out.symlink_to(scratch / "target")
    check("a link to a folder", run("audit", folder, "--out", out)[0] in (0, 1) and (scratch / "target" / "files.csv").exists())
    out = place / "three"
    run("audit", old, "--out", out)
    earlier = digest(out)
    for turn in range(4):
        running = [
            subprocess.Popen([program, "audit", which, "--out", out], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
            for which in (old, new, new)
        ]
        for one in running:
            stderr = one.communicate()[1].decode()
            check(f"three at once, {turn}", one.returncode in (0, 1) or (one.returncode == 2 and stderr.startswith("error: ")), stderr)
        check(f"three at once, {turn}", digest(out) in (earlier, after), "a mixture stands")
        check(f"three at once, {turn}", not left_in(place), left_in(place))


def read_only_result(scratch, old, new, after):
    """An earlier result that lets nothing be taken out of it is replaced, and nothing of it stays."""
    place = scratch / "read-only"
    place.mkdir(mode=0o777)
    before = [program]
    if os.geteuid() == 0:
        # Whoever may do anything is refused nothing.
        before = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
        for folder in (scratch, place):
            folder.chmod(0o777)
        shutil.copy(program, scratch / "program")
        before.append(scratch / "program")
        if subprocess.run([*before, "--version"], capture_output=True).returncode != 0:
            left_out.append("a read-only result: nothing may be run as somebody else here")
            return
    for which in (old, new):
        ran = subprocess.run([*before, "audit", which, "--out", place / "out", "--quiet"], capture_output=True, text=True)
        check("read-only result", ran.returncode in (0, 1), ran.stderr)
        (place / "out").chmod(0o555)
    check("read-only result", digest(place / "out") == after, "the new result does not stand")
    check("read-only result", not left_in(place), left_in(place))


def main():
    scratch = pathlib.Path(tempfile.mkdtemp(prefix="full-"))
    try:
        for folder, names in (("old", RECORDINGS[:1]), ("new", RECORDINGS)):
            (scratch / folder).mkdir()
            for name in names:
                shutil.copy(next(samples.glob(name + "-*")), scratch / folder)
        run("audit", scratch / "new", "--out", scratch / "after")
        which = scratch, scratch / "old", scratch / "new", digest(scratch / "after")
        places(*which)
        read_only_result(*which)
        full_disks(*which)
        refused_calls(*which)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    for what in left_out:
        print(f"LEFT OUT {what}")
    check.say()
    sys.exit(check.failed > 0)


main()
