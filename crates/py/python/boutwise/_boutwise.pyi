from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from os import PathLike
from typing import Any, Generic, Literal, Protocol, TypeAlias, TypedDict, final, overload

import numpy as np
import numpy.typing as npt
from typing_extensions import TypeVar

class _Readable(Protocol):
    def read(self) -> bytes: ...

_Path: TypeAlias = str | bytes | PathLike[str] | PathLike[bytes]
_Source: TypeAlias = _Path | bytearray | memoryview | _Readable
_Columns = TypeVar("_Columns", default=Any)

__all__ = ["Recording", "Result", "Table", "__version__", "audit_folder", "audit_recording", "bouts", "read"]

__version__: str

# The columns of each table as `to_dict` gives them. Those that are carried from a squad file are none of these.

class _Files(TypedDict):
    file: list[str]
    status: list[str]
    format: list[str | None]
    sessions: list[int]
    points_kept: list[int]
    points_dropped: list[int | None]
    notes: list[str | None]

class _Sessions(TypedDict):
    athlete: list[str]
    file: list[str]
    session: list[int]
    start_local: list[datetime | None]
    start_utc: list[datetime | None]
    duration_s: list[float | None]
    distance_m: list[float | None]
    points: list[int | None]
    hr_mean_bpm: list[float | None]
    hr_share_pct: list[float | None]
    plan_block: list[str | None]
    plan_session: list[int | None]
    planned: list[str | None]
    adherence_pct: list[float | None]
    dose_pct: list[float | None]
    breaks_pct: list[float | None]
    overdone_pct: list[float | None]
    reps_planned: list[int | None]
    reps_done: list[int | None]
    reps_short: list[int | None]
    reps_missed: list[int | None]
    reps_extra: list[int | None]
    run_planned_s: list[float | None]
    run_s: list[float | None]
    run_m: list[float | None]
    walk_s: list[float | None]
    walk_m: list[float | None]
    stand_s: list[float | None]
    gap_s: list[float | None]
    longest_run_s: list[float | None]
    longest_run_m: list[float | None]
    longest_run_start_s: list[float | None]
    run_pace_s_per_km: list[float | None]
    pace_drift_pct: list[float | None]
    run_hr_mean_bpm: list[float | None]
    hr_fall_60s_bpm: list[float | None]
    run_cadence_spm: list[float | None]
    resolvable: list[bool | None]
    confidence: list[float | None]
    notes: list[str | None]
    outcome: list[str | None]
    too_short_to_judge: list[bool | None]
    walk_missing_s: list[float | None]
    pace_drift_low_pct: list[float | None]
    pace_drift_high_pct: list[float | None]
    speed_per_beat_loss_pct: list[float | None]
    run_hr_of_max_pct: list[float | None]
    above_talkable_pct: list[float | None]
    rep_end_hr_slope_bpm: list[float | None]
    plan: list[str | None]
    time_zone: list[str | None]
    time_zone_source: list[str | None]
    utc_offset_s: list[float | None]
    counted: list[bool | None]
    overlaps_file: list[str | None]
    recorded_pct: list[float | None]
    reps_not_recorded: list[int | None]
    reps_at_least: list[int | None]
    longest_at_least_s: list[float | None]
    runs_low: list[int | None]
    runs_high: list[int | None]
    run_s_low: list[float | None]
    run_s_high: list[float | None]
    longest_low_s: list[float | None]
    longest_high_s: list[float | None]
    by_hand: list[str | None]

class _Bouts(TypedDict):
    athlete: list[str]
    file: list[str]
    session: list[int]
    bout: list[int]
    kind: list[str]
    start_s: list[float]
    end_s: list[float]
    start_utc: list[datetime | None]
    duration_s: list[float]
    distance_m: list[float | None]
    pace_s_per_km: list[float | None]
    hr_mean_bpm: list[float | None]
    hr_end_bpm: list[float | None]
    cadence_spm: list[float | None]
    confidence: list[float]

class _Intervals(TypedDict):
    athlete: list[str]
    file: list[str]
    session: list[int]
    interval: list[int]
    kind: list[str]
    planned_s: list[float | None]
    planned_m: list[float | None]
    done_s: list[float | None]
    done_m: list[float | None]
    status: list[str]
    credit_pct: list[float | None]
    start_s: list[float | None]

class _Athletes(TypedDict):
    athlete: list[str]
    sessions_due: list[int | None]
    sessions_attempted: list[int | None]
    attendance_pct: list[float | None]
    dose_pct: list[float | None]
    longest_run_s: list[float | None]
    longest_run_m: list[float | None]
    longest_run_date: list[date | None]
    longest_run_trend_s_per_week: list[float | None]
    proposal: list[str | None]
    reasons: list[str | None]
    next_block: list[str | None]
    next_session: list[int | None]
    no_run_before: list[date | None]
    sessions_completed: list[int | None]
    sessions_modified: list[int | None]
    sessions_cut_short: list[int | None]
    sessions_missed: list[int | None]
    sessions_interrupted: list[int | None]
    completion_mean_pct: list[float | None]
    longest_run_trend_low_s_per_week: list[float | None]
    longest_run_trend_high_s_per_week: list[float | None]
    run_rise_14d_pct: list[float | None]
    hr_fall_60s_trend_bpm_per_week: list[float | None]
    run_per_beat_trend_m_per_week: list[float | None]
    days_out_14d: list[int | None]
    days_out_28d: list[int | None]
    days_between_max: list[int | None]
    usual_start: list[str | None]
    usual_start_spread_s: list[float | None]
    ready_3km: list[str | None]
    ready_5km: list[str | None]
    cautions: list[str | None]
    computed_proposal: list[str | None]
    coach_decision: list[str | None]
    goal_m: list[float | None]
    goal_reached_date: list[date | None]

class _Weeks(TypedDict):
    athlete: list[str]
    week: list[str]
    sessions: list[int]
    run_s: list[float | None]
    run_m: list[float | None]
    walk_s: list[float | None]
    walk_m: list[float | None]
    longest_run_s: list[float | None]
    session_run_m_max: list[float | None]
    session_run_m_max_before_30d: list[float | None]
    spike_pct: list[float | None]
    run_change_pct: list[float | None]
    sessions_due: list[int | None]
    sessions_attempted: list[int | None]
    dose_pct: list[float | None]

class _Events(TypedDict):
    athlete: list[str]
    file: list[str]
    session: list[int]
    event: list[str]
    part: list[str | None]
    number: list[int | None]
    at_s: list[float]
    to_s: list[float]
    planned_s: list[float | None]
    done_s: list[float | None]
    confidence: list[float]
    text: list[str]

class _Planned(TypedDict):
    athlete: list[str]
    plan: list[str]
    plan_block: list[str]
    plan_session: list[int]
    due_date: list[date | None]
    due: list[bool]
    outcome: list[str | None]
    run_planned_s: list[float | None]
    run_done_s: list[float | None]
    file: list[str | None]
    session: list[int | None]
    days_late: list[int | None]
    round: list[int]
    by_hand: list[bool]

class _Notes(TypedDict):
    file: list[str]
    session: list[int | None]
    kind: list[str]
    quantity: list[str | None]
    count: list[int]
    line: list[int | None]
    byte: list[int | None]
    text: list[str]

@final
class Recording:
    @property
    def file(self) -> str: ...
    @property
    def session(self) -> int: ...
    def keys(self) -> list[str]: ...
    def __len__(self) -> int: ...
    @overload
    def __getitem__(self, column: Literal["time"], /) -> npt.NDArray[np.datetime64]: ...
    @overload
    def __getitem__(
        self, column: Literal["lat", "lon", "ele", "hr_bpm", "cadence_spm", "distance_m"], /
    ) -> npt.NDArray[np.float64]: ...

@final
class Table(Generic[_Columns]):
    @property
    def column_names(self) -> list[str]: ...
    def __len__(self) -> int: ...
    def to_dict(self) -> _Columns: ...
    def __arrow_c_schema__(self) -> object: ...
    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object: ...

@final
class Result:
    @property
    def files(self) -> Table[_Files]: ...
    @property
    def sessions(self) -> Table[_Sessions]: ...
    @property
    def bouts(self) -> Table[_Bouts]: ...
    @property
    def intervals(self) -> Table[_Intervals]: ...
    @property
    def athletes(self) -> Table[_Athletes]: ...
    @property
    def weeks(self) -> Table[_Weeks]: ...
    @property
    def events(self) -> Table[_Events]: ...
    @property
    def planned(self) -> Table[_Planned]: ...
    @property
    def notes(self) -> Table[_Notes]: ...
    @property
    def manifest(self) -> dict[str, Any]: ...
    def write(self, dir: _Path, formats: Sequence[str] = ...) -> None: ...

def read(source: _Source, *, name: str | None = None, settings: _Path | None = None) -> list[Recording]: ...
def bouts(source: _Source, *, name: str | None = None, settings: _Path | None = None) -> Table[_Bouts]: ...
def audit_recording(
    source: _Source, *, plan: _Path | None = None, name: str | None = None, settings: _Path | None = None
) -> Result: ...
def audit_folder(
    folder: _Path,
    *,
    files: Iterable[_Path | tuple[_Path, bytes | bytearray | memoryview]] | None = None,
    plan: _Path | None = None,
    squad: _Path | None = None,
    journal: _Path | None = None,
    owners: _Path | None = None,
    corrections: _Path | None = None,
    settings: _Path | None = None,
    pseudonyms: _Path | None = None,
    shift_dates: bool = False,
    coarse_times: bool = False,
    carry: str | Iterable[str] | None = None,
    as_of: str | date | None = None,
    time_zone: str | None = None,
    threads: int | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> Result: ...
