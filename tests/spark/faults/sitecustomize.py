"""Loaded by every Python of a Spark run in tests/spark/check: does once, to one of them, what FAULT names.

The file FAULT_DONE is made by the first that comes to it, so that what is tried again goes well. An audit in the driver has no
as-of day; those in workers have one.
"""

import os
import signal
import time

FAULT = os.environ.get("FAULT")


def is_first():
    try:
        os.close(os.open(os.environ["FAULT_DONE"], os.O_CREAT | os.O_EXCL))
    except FileExistsError:
        return False
    return True


def parent_of(process):
    with open(f"/proc/{process}/stat") as file:
        return int(file.read().rsplit(")", 1)[1].split()[1])


if FAULT:
    import boutwise

    audit = boutwise.audit_folder

    def audit_folder(folder, **options):
        in_worker = bool(options.get("as_of"))
        if FAULT == "gone" and not in_worker:
            # All files are listed by now; one goes before any is read by a worker.
            found = audit(folder, **options)
            os.remove(os.environ["FAULT_FILE"])
            is_first()
            return found
        if not in_worker or FAULT == "gone":
            return audit(folder, **options)
        if FAULT == "worker" and is_first():
            os.kill(os.getpid(), signal.SIGKILL)
        if FAULT == "executor" and is_first():
            # A worker is a fork of a daemon that the executor, a Java machine, started.
            os.kill(parent_of(os.getppid()), signal.SIGKILL)
            time.sleep(60)
        found = audit(folder, **options)
        if FAULT == "again" and is_first():
            raise RuntimeError("the task fails when its work is done, and is tried again")
        return found

    boutwise.audit_folder = audit_folder
