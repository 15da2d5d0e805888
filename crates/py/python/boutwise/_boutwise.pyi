from collections.abc import Callable, Iterable, Sequence
from datetime import date
from os import PathLike
from typing import Any, Literal, Protocol, TypeAlias, final, overload

import numpy as np
import numpy.typing as npt

class _Readable(Protocol):
    def read(self) -> bytes: ...

_Path: TypeAlias = str | bytes | PathLike[str] | PathLike[bytes]
_Source: TypeAlias = _Path | bytearray | memoryview | _Readable
_Cell: TypeAlias = Any

__all__ = ["Recording", "Result", "Table", "__version__", "audit_folder", "audit_recording", "bouts", "read"]

__version__: str

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
class Table:
    @property
    def column_names(self) -> list[str]: ...
    def __len__(self) -> int: ...
    def to_dict(self) -> dict[str, list[_Cell]]: ...
    def __arrow_c_schema__(self) -> object: ...
    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object: ...

@final
class Result:
    @property
    def files(self) -> Table: ...
    @property
    def sessions(self) -> Table: ...
    @property
    def bouts(self) -> Table: ...
    @property
    def intervals(self) -> Table: ...
    @property
    def athletes(self) -> Table: ...
    @property
    def weeks(self) -> Table: ...
    @property
    def events(self) -> Table: ...
    @property
    def planned(self) -> Table: ...
    @property
    def notes(self) -> Table: ...
    @property
    def manifest(self) -> dict[str, Any]: ...
    def write(self, dir: _Path, formats: Sequence[str] = ...) -> None: ...

def read(source: _Source, *, name: str | None = None, settings: _Path | None = None) -> list[Recording]: ...
def bouts(source: _Source, *, name: str | None = None, settings: _Path | None = None) -> Table: ...
def audit_recording(
    source: _Source, *, plan: _Path | None = None, name: str | None = None, settings: _Path | None = None
) -> Result: ...
def audit_folder(
    folder: _Path,
    *,
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
