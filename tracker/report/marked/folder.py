"""Marked-up videos in shots' folders: together with the rest, or added to what is there."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from calibration.errors import Failure
from tracker.report.files import write_folder, written_into
from tracker.report.marked.make import VIDEO_NAME, marked_video

NEEDED = ("shot.json", "path.csv")
"""Files of a shot that a video is made from."""


def write_with_video(folder: Path, files: Mapping[str, bytes | Path], clip: Path) -> Failure | None:
    """Write a shot's folder with its video, or without it where none can be made.

    Parameters
    ----------
    folder : Path
    files : mapping of str to bytes or Path
        The folder's other files; without a path there is no video.
    clip : Path
        The clip the shot was measured from.

    Returns
    -------
    Failure or None
        Why there is no video.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    shot_json, path_csv = (files.get(name) for name in NEEDED)
    if not isinstance(shot_json, bytes) or not isinstance(path_csv, bytes):
        write_folder(folder, files)
        return None
    video = _temporary(folder)
    try:
        with written_into(folder.parent):
            failure = marked_video(clip, shot_json, path_csv, video)
        write_folder(folder, files if failure is not None else {**files, VIDEO_NAME: video})
    finally:
        video.unlink(missing_ok=True)
    return failure


def add_video(folder: Path, clip: Path) -> Failure | None:
    """Make the video of a shot that is measured already; it appears in the folder whole or not at all.

    Returns
    -------
    Failure or None
        Why there is no video.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    video = _temporary(folder)
    with written_into(folder):
        try:
            shot_json, path_csv = ((folder / name).read_bytes() for name in NEEDED)
            failure = marked_video(clip, shot_json, path_csv, video)
            if failure is None:
                video.rename(folder / VIDEO_NAME)
        finally:
            video.unlink(missing_ok=True)
    return failure


def _temporary(folder: Path) -> Path:
    """A name beside the folder that no other process takes, however long the folder's own name is."""
    return folder.parent / f".{VIDEO_NAME}.tmp-{os.getpid()}"
