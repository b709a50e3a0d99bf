"""A shot's marked-up video: read the stretch of the clip, draw, write; whatever goes wrong comes back as a value."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
from av.error import FFmpegError
from numpy.typing import NDArray

from calibration.errors import Failure
from tracker.detection.region import Box
from tracker.lane.hold import Holder
from tracker.report.ink import INK
from tracker.report.marked.draw import Marks, marked
from tracker.report.marked.encode import VideoWriter, encoder_here
from tracker.report.marked.sheet import sheet_of
from tracker.report.marked.stamp import code_of, planes_in
from tracker.report.marked.told import ToldShot, read_told
from tracker.report.marked.tone import Tone, output_codes, tone_of
from tracker.report.marked.view import View, stretch_s, track_of, view_of
from tracker.video.errors import ClipError
from tracker.video.reader import Crop, Frame
from tracker.video.stretch import StretchReader

Image = NDArray[np.uint8]

VIDEO_NAME = "marked.mp4"
NO_ENCODER = "the installed decoding library cannot write H.264"


def marked_video(clip: Path, shot_json: bytes, path_csv: bytes, file: Path) -> Failure | None:
    """Write the video of a shot; same files, same bytes.

    Parameters
    ----------
    clip : Path
        The clip the shot was measured from.
    shot_json, path_csv : bytes
        The shot's own files.
    file : Path
        Takes the video; there is none after a failure.

    Returns
    -------
    Failure or None
        Why there is no video.
    """
    failure = _tried(clip, shot_json, path_csv, file)
    if failure is not None:
        file.unlink(missing_ok=True)
    return failure


def _tried(clip: Path, shot_json: bytes, path_csv: bytes, file: Path) -> Failure | None:
    if not encoder_here():
        return Failure("video_no_encoder", NO_ENCODER)
    try:
        shot = read_told(shot_json, path_csv)
        view = None if shot is None else view_of(shot.camera)
        if shot is None or view is None:
            return Failure("video_nothing", "the shot has no path in the picture")
        return _written(clip, shot, view, file)
    except ClipError as error:
        return Failure(error.reason, str(error))
    except FFmpegError as error:
        return Failure("video_failed", f"the encoder says: {error}")
    except Exception as error:  # a picture must never cost the numbers it shows
        return Failure("video_failed", f"{type(error).__name__}: {error}".rstrip(": "))


def _written(clip: Path, shot: ToldShot, view: View, file: Path) -> Failure | None:
    begin_s, end_s = stretch_s(shot)
    sheet = sheet_of(shot, view)
    marks = Marks(sheet, track_of(shot, sheet.view))
    size = (sheet.view.full_width, sheet.view.out_height)
    with StretchReader(clip, 0.0 if shot.shaky or shot.jumps else begin_s) as reader:
        tone = tone_of(reader.colour)
        cut = _cutter(view, reader.first_frame) if shot.shaky else _cut(view)
        frames = _between(reader, cut, begin_s, end_s)
        first = next(frames, None)
        if first is None:
            return Failure("video_nothing", "the clip has no pictures at the times of the path")
        start = round(first.t_s / reader.tick)
        codes = output_codes(reader.colour, min(reader.first_frame.luma.shape))
        with VideoWriter(file, size, reader.tick, fps=shot.fps, codes=codes) as writer:
            while first is not None:
                canvas = _canvas(first, tone, sheet.view)
                writer.write(marked(canvas, marks, first.t_s), round(first.t_s / reader.tick) - start)
                first = next(frames, None)
    return None


def _cut(view: View) -> Callable[[Frame], Crop]:
    return lambda frame: frame.crop(view.left, view.top, view.width, view.height)


def _cutter(view: View, first: Frame) -> Callable[[Frame], Crop]:
    """Cut crops that hold still, as the first picture shows them."""
    holder = Holder(view.camera, first)
    box = Box(view.left, view.top, view.width, view.height)

    def cut(frame: Frame) -> Crop:
        holder.look(frame)
        return holder.crop(frame, box) or frame.crop(box.left, box.top, box.width, box.height)

    return cut


def _between(reader: StretchReader, cut: Callable[[Frame], Crop], begin_s: float, end_s: float) -> Iterator[Crop]:
    for frame in reader:
        if frame.t_s > end_s:
            return
        crop = cut(frame)
        if frame.t_s >= begin_s:
            yield crop


def _canvas(crop: Crop, tone: Tone | None, view: View) -> Image:
    """The crop in the video's size ``(3 H / 2, W)``, with the columns beside it dark."""
    own = (crop.luma, crop.cb, crop.cr) if tone is None else tone.ordinary(crop)
    canvas = np.empty((view.out_height * 3 // 2, view.full_width), np.uint8)
    planes = planes_in(canvas)
    way = cv2.INTER_AREA if view.out_width < view.width else cv2.INTER_LINEAR
    for plane, source, dark, half in zip(
        (planes.luma, planes.cb, planes.cr), own, code_of(INK), (1, 2, 2), strict=True
    ):
        size = (view.out_width // half, view.out_height // half)
        if sum(view.pad):
            plane[...] = dark
        left = view.pad[0] // half
        plane[:, left : left + size[0]] = cv2.resize(source, size, interpolation=way)
    return canvas
