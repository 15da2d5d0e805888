"""What the package raises beside Python's own exceptions."""

from __future__ import annotations

# What type checkers alone read; typing is slow to import.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Literal


class BoutwiseError(Exception):
    """Something could not be done; the text says what was found, what was expected and how to mend it."""


class RecordingError(BoutwiseError, ValueError):
    """A recording gives no session.

    ``kind`` is ``empty``, ``cut``, ``damaged``, ``too_large`` or ``no_recording``; ``path`` is where it lies, None for
    content; ``byte`` (from 0) and ``line`` (from 1) are the place of the fault, where it has one.
    """

    def __init__(
        self,
        text: str,
        kind: Literal["empty", "cut", "damaged", "too_large", "no_recording"],
        path: str | None = None,
        byte: int | None = None,
        line: int | None = None,
    ) -> None:
        super().__init__(text, kind, path, byte, line)
        self.kind = kind
        self.path = path
        self.byte = byte
        self.line = line

    def __str__(self) -> str:
        text = str(self.args[0])
        return f"{self.path}: {text}" if self.path else text


class SeasonFileError(BoutwiseError, ValueError):
    """A plan, squad, journal, owners, corrections or settings file says what cannot be understood.

    The text shows the line with a caret under the place; ``path`` is the file, ``line`` and ``column`` count from 1.
    """

    def __init__(
        self, text: str, path: str | None = None, line: int | None = None, column: int | None = None
    ) -> None:
        super().__init__(text, path, line, column)
        self.path = path
        self.line = line
        self.column = column

    def __str__(self) -> str:
        return str(self.args[0])
