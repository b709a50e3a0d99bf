"""Root of the exceptions and the value that stands for an estimate that failed."""

from __future__ import annotations

from dataclasses import dataclass


class SixtyfeetError(Exception):
    """Root of every error this project raises on purpose.

    Subclasses pass all their arguments to ``super().__init__`` so that they survive pickling.
    """


class CalibrationFileError(SixtyfeetError, ValueError):
    """A calibration or marks file that cannot be used, with what to do about it."""


@dataclass(frozen=True, slots=True)
class Failure:
    """An estimate that could not be made: a falsy value with a reason.

    Attributes
    ----------
    reason : str
        Short code, lower case with underscores (``marks_degenerate``).
    detail : str
        One sentence for a person: what, where, the value, what to do.
    """

    reason: str
    detail: str

    def __bool__(self) -> bool:
        return False
