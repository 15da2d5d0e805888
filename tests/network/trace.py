"""Every command with its calls to the system traced: none reaches for a network.

A pair of sockets within the process, by which it hears of signals, is the only one that may be made.
"""

import pathlib
import re
import subprocess
import sys
import tempfile

program = str(pathlib.Path(sys.argv[1]).resolve())
folder = tempfile.TemporaryDirectory()
place = pathlib.Path(folder.name)
demo, recordings = str(place / "demo"), str(place / "demo" / "recordings")
squad, plan = str(place / "demo" / "squad.csv"), str(place / "demo" / "plan.toml")
result, key = str(place / "result"), place / "key"
key.write_bytes(b"a key of the tests, 32 bytes long")

# Each command at least once, in an order in which each finds what it needs.
RUNS = [
    ["demo", demo],
    ["plan", plan],
    ["assign", recordings, "--out", str(place)],
    ["audit", recordings, "--squad", squad, "--journal", str(place / "demo" / "journal.csv"), "--out", result, "--format", "csv,parquet"],
    ["audit", recordings, "--pseudonyms", str(key), "--json", "--out", str(place / "coded")],
    ["verify", result, recordings],
    ["bouts", "RECORDING"],
    ["longest", recordings],
    ["columns"],
    ["completions", "bash"],
    ["manual"],
    ["help"],
    ["--version"],
]
# Calls that open a way to anywhere, or take one.
OPENING = re.compile(r"\b(socket|connect|bind|listen|accept4?)\(|socketpair\((?!AF_UNIX)|sa_family=AF_INET")


def traced(arguments):
    """What the command ended with, and its calls about sockets."""
    log = place / "calls"
    ran = subprocess.run(["strace", "-f", "-qq", "-o", log, "-e", "trace=network", *arguments], capture_output=True)
    return ran, log.read_text(errors="replace").splitlines()


faults = []
# What the trace would show of a command that does open one.
_, calls = traced([sys.executable, "-c", "import socket; socket.socket()"])
if not any(OPENING.search(call) for call in calls):
    sys.exit("the trace shows no socket where one is opened: nothing was checked")

shown = subprocess.run([program, "--help"], capture_output=True, text=True).stdout
commands = set(re.findall(r"^  ([a-z]+) ", shown.split("Commands:")[1].split("Options:")[0], re.MULTILINE))
untried = commands - {run[0] for run in RUNS}
if untried or not commands:
    faults.append(f"no run tries {sorted(untried)}")

for run in RUNS:
    if run[-1] == "RECORDING":
        run = [run[0], str(next(path for path in sorted(pathlib.Path(recordings).rglob("*")) if path.is_file()))]
    ran, calls = traced([program, *run])
    if ran.returncode not in (0, 1):
        faults.append(f"{run[0]} ended with {ran.returncode}: {ran.stderr[:300]!r}")
    faults += [f"{run[0]}: {call}" for call in calls if OPENING.search(call)]

for fault in faults:
    print(fault)
print(f"{len(RUNS)} runs of {len(commands)} commands, {len(faults)} faults")
sys.exit(bool(faults))
