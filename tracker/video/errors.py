"""What can be wrong with a clip."""

from __future__ import annotations

from calibration.errors import SixtyfeetError

REASONS = frozenset(
    {
        "clip_missing",
        "clip_empty",
        "clip_unreadable",
        "clip_truncated",
        "not_a_video",
        "no_video_stream",
        "no_frames",
        "too_few_frames",
    }
)
"""Every code a :class:`ClipError` can carry."""


class ClipError(SixtyfeetError):
    """A clip that cannot be read.

    Attributes
    ----------
    reason : str
        One of :data:`REASONS`.
    detail : str
        One sentence for a person: which clip, what is wrong, what to do. It is also the text of the exception.
    """

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(reason, detail)
        self.reason = reason
        self.detail = detail

    def __str__(self) -> str:
        return self.detail
