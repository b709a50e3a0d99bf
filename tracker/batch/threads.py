"""One thread a process: clips run side by side, so nothing inside a clip should, and sums keep their order."""

from __future__ import annotations

import os

_SINGLE = (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "OPENCV_FOR_THREADS_NUM",
    "OPENCV_FFMPEG_THREADS",
)


def limit_threads() -> None:
    """Ask the numerical libraries for one thread, here and in processes started later.

    Works for libraries that are not loaded yet; values the user has set stay.
    """
    for name in _SINGLE:
        os.environ.setdefault(name, "1")
