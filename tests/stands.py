"""What stands in a place and beside it: shared by the tests that end runs and by those that refuse them room."""

import hashlib


def digest(folder):
    """Names and bytes of everything below a folder; None where it is not there."""
    if not folder.exists():
        return None
    sums = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        sums.update(str(path.relative_to(folder)).encode() + b"\0")
        if path.is_file():
            sums.update(path.read_bytes())
    return sums.hexdigest()


def left_in(place):
    """What a run left in the folder of its output."""
    return [path.name for path in place.iterdir() if path.name.startswith(".boutwise")]


class Checks:
    """Counts what holds, and says what does not."""

    def __init__(self):
        self.passed = self.failed = 0

    def __call__(self, what, holds, detail=""):
        if holds:
            self.passed += 1
        else:
            self.failed += 1
            print(f"FAILED {what}: {detail}", flush=True)

    def say(self):
        print(f"{self.passed} passed, {self.failed} failed")
