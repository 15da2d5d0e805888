"""Validates a package and says what is wrong; a table whose row is spoiled must fail, else the check is no check."""

import pathlib
import sys

import frictionless


def validate(path: pathlib.Path) -> list[str]:
    report = frictionless.validate(str(path))
    return [f"{task.name}: {error.message}" for task in report.tasks for error in task.errors] + [
        error.message for error in report.errors
    ]


package = pathlib.Path(sys.argv[1])
errors = validate(package)
if errors:
    sys.exit("\n".join(errors[:20]))
sessions = package.with_name("sessions.csv")
whole = sessions.read_text(encoding="utf-8")
sessions.write_text(whole.replace("true", "perhaps", 1), encoding="utf-8")
spoiled = validate(package)
sessions.write_text(whole, encoding="utf-8")
if not spoiled:
    sys.exit("a spoiled table passed as valid")
print(f"{package.parent.name}: every table is what its schema says")
