"""Says what was really run and walked in GPX and TCX recordings, beside what the plan asked for.

It measures and proposes; the coach decides. It gives no medical advice.
"""

from boutwise._boutwise import (
    Recording,
    Result,
    Table,
    __version__,
    audit_folder,
    audit_recording,
    bouts,
    read,
)
from boutwise._errors import BoutwiseError, RecordingError, SeasonFileError

__all__ = [
    "BoutwiseError",
    "Recording",
    "RecordingError",
    "Result",
    "SeasonFileError",
    "Table",
    "__version__",
    "audit_folder",
    "audit_recording",
    "bouts",
    "read",
]
