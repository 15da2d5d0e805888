"""What the job for Spark costs at several sizes: sizing.py PYTHON BOUTWISE SCRATCH [ATHLETES...] (25, 100 and 400 unless named).

Each size is a drawn squad of so many athletes, eight weeks each, audited without and with its squad file. Processor time, and memory at its largest, are read from /proc
every 50 ms, for the Java processes and the Python workers apart; the command runs on one thread over the same folder. Prints a
table, and of processor time, memory and bytes what is fixed and what each further recording takes (least squares).
"""

import os
import pathlib
import resource
import subprocess
import sys
import time

JOB = pathlib.Path(__file__).resolve().parents[2] / "examples/spark/audit.py"
TICKS_A_S = os.sysconf("SC_CLK_TCK")
POLL_S = 0.05
COLUMNS = ("recordings MB", "command s", "workers s", "java s", "driver s", "workers MB", "java MB", "driver MB", "result MB")


def processes(root):
    """Processes below root with their program, processor time in seconds and resident memory in bytes."""
    known, parents = {}, {}
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            try:
                text = pathlib.Path("/proc", entry, "stat").read_text()
                name, fields = text[text.index("(") + 1:text.rindex(")")], text[text.rindex(")") + 2:].split()
            except (OSError, ValueError):
                continue
            parents[int(entry)] = int(fields[1])
            known[int(entry)] = name, (int(fields[11]) + int(fields[12])) / TICKS_A_S, int(fields[21]) * resource.getpagesize()
    below, added = {root}, True
    while added:
        more = {process for process, parent in parents.items() if parent in below} - below
        added, below = bool(more), below | more
    return {process: known[process] for process in below if process in known}


def watched(command, log):
    """Runs a command; processor time and largest memory of its processes, by kind."""
    seconds, largest = {}, {}
    with open(log, "w") as said:
        started = subprocess.Popen(command, stdout=said, stderr=said, env={**os.environ, "SPARK_LOCAL_IP": "127.0.0.1"})
    while started.poll() is None:
        for process, (name, used_s, memory) in processes(started.pid).items():
            kind = "driver" if process == started.pid else "java" if name == "java" else "workers"
            seconds[kind, process] = used_s
            largest[kind] = max(largest.get(kind, 0), memory)
        time.sleep(POLL_S)
    if started.returncode:
        sys.exit(pathlib.Path(log).read_text())
    return {kind: sum(used for (of, _), used in seconds.items() if of == kind) for kind in largest}, largest


def line(points):
    """What is fixed and the slope of least squares."""
    n, (x, y) = len(points), zip(*points)
    x_mean, y_mean = sum(x) / n, sum(y) / n
    slope = sum((a - x_mean) * (b - y_mean) for a, b in points) / sum((a - x_mean) ** 2 for a in x)
    return y_mean - slope * x_mean, slope


def measured(python, boutwise, demo, out, scratch, season):
    """The command and the job over the recordings of one squad, with what is given about the season: a value a column."""
    recordings = demo / "recordings"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    audit = [boutwise, "--quiet", "audit", recordings, *season, "--out", scratch / "command"]
    subprocess.run([*audit, "--no-report", "--format", "parquet", "--threads", "1", "--fail-on", "never"], check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    command_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    options = ["--as-of", "2030-01-01", "--master", "local-cluster[2,1,1024]", "--partitions", "16"]
    used, largest = watched([python, JOB, recordings, out, *season, *options], scratch / "log")
    files = [path.stat().st_size for path in recordings.rglob("*") if path.is_file()]
    kinds = ("workers", "java", "driver")
    result = sum(path.stat().st_size for path in out.rglob("*.parquet"))
    return len(files), sum(files) / 1e6, command_s, *(used[kind] for kind in kinds), *(largest[kind] / 1e6 for kind in kinds), result / 1e6


def main():
    python, boutwise, scratch, *sizes = sys.argv[1:]
    scratch, sizes = pathlib.Path(scratch), [int(size) for size in sizes or (25, 100, 400)]
    for athletes in sizes:
        demo = scratch / f"demo-{athletes}"
        subprocess.run([boutwise, "--quiet", "demo", demo, "--athletes", str(athletes), "--seed", "9"], check=True)
    for with_squad in (False, True):
        print("with the squad file" if with_squad else "recordings alone", flush=True)
        print(" | ".join(["recordings", *COLUMNS]))
        rows = []
        for athletes in sizes:
            demo = scratch / f"demo-{athletes}"
            season = ["--squad", demo / "squad.csv"] if with_squad else []
            rows.append(measured(python, boutwise, demo, scratch / f"out-{athletes}-{with_squad}", scratch, season))
            print(" | ".join([str(rows[-1][0]), *(f"{value:.1f}" for value in rows[-1][1:])]), flush=True)
        for at, name in enumerate(COLUMNS, 1):
            fixed, slope = line([(row[0], row[at]) for row in rows])
            unit, small = ("s", "ms") if name.endswith(" s") else ("MB", "kB")
            print(f"{name.removesuffix(f' {unit}')}: {fixed:.1f} {unit} fixed, {1000 * slope:.3f} {small} a recording")


main()
