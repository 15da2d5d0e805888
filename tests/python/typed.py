"""What a type checker must know of the package, and what it must refuse: checked by mypy --strict, never run."""

from datetime import date, datetime
from pathlib import Path
from typing import Any, assert_type

import numpy as np
import numpy.typing as npt

import boutwise

recording = boutwise.read(Path("run.gpx"))[0]
assert_type(recording["time"], npt.NDArray[np.datetime64])
assert_type(recording["hr_bpm"], npt.NDArray[np.float64])
recording["speed"]  # type: ignore[call-overload]

with open("run.gpx", "rb") as file:
    table = boutwise.bouts(file, name="run.gpx")
assert_type(table.column_names, list[str])
boutwise.bouts(7)  # type: ignore[arg-type]

found = boutwise.audit_folder("squad", squad="squad.csv", as_of=date(2026, 3, 1), progress=lambda done, total: None)
tables: list[boutwise.Table] = [found.planned, found.sessions, table]
assert_type(found.sessions.to_dict()["longest_run_s"], list[float | None])
assert_type(found.bouts.to_dict()["kind"], list[str])
assert_type(table.to_dict()["start_utc"], list[datetime | None])
found.weeks.to_dict()["longest_runs"]  # type: ignore[typeddict-item]
assert_type(found.manifest, dict[str, Any])
found.write(Path("out"), formats=("csv", "parquet"))

try:
    boutwise.audit_recording(b"", plan="plan.toml")
except boutwise.RecordingError as error:
    assert_type(error.line, int | None)
except boutwise.SeasonFileError as error:
    assert_type(error.column, int | None)
