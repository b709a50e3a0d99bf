"""The lane of a session: found once, kept with the results, and the words and the picture that say how well."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from calibration.errors import CalibrationFileError, Failure
from calibration.quality import CHECK_DISTANCES_FT, lane_point_sigma
from calibration.store import Calibration, check_frame, load, save
from tracker.lane.check import Checked, check_place
from tracker.lane.choose import lane_at
from tracker.lane.locate import Located, locate
from tracker.report.files import write_file
from tracker.report.grid import draw_lane_grid
from tracker.report.image import encode_png, picture_bgr
from tracker.video.errors import ClipError
from tracker.video.reader import ClipReader

LANE_NAME, GRID_NAME = "lane.json", "lane.png"
TRIED = 3
"""Clips in which the lane is looked for before every clip has to look for itself."""


def session_lane(
    out: Path,
    clips: Sequence[Path],
    pixel: tuple[float, float] | None,
    *,
    anew: bool,
    say: Callable[[str], None],
) -> Calibration | None:
    """The lane that the results' folder knows from before, or the first that is found in a clip; None if none is.

    Parameters
    ----------
    out : Path
        Folder of the results; takes ``lane.json`` and ``lane.png``.
    clips : sequence of Path
        Looked at in this order.
    pixel : (float, float), optional
        Pixel on the lane to take.
    anew : bool
        Find it again whatever the folder knows.
    say : callable
        Called with sentences for a person.
    """
    known = None if anew else _known(out / LANE_NAME, pixel)
    if known is not None and clips and _holds(known, clips[0]):
        say(f"lane as found before on {known.clip} ({LANE_NAME})")
        return known
    for clip in clips[:TRIED]:
        found = _looked_for(clip, pixel)
        if isinstance(found, Located):
            save(out / LANE_NAME, found.calibration)
            write_file(out / GRID_NAME, grid_png(found))
            say(" ".join([f"lane found on {clip.name}:", *lane_sentences(found)]))
            say(f"look at {GRID_NAME}: the lines must lie on the lane; it can show people, so keep it to yourself")
            return found.calibration
        say(f"no lane yet: {found.detail}")
    return None


def _known(file: Path, pixel: tuple[float, float] | None) -> Calibration | None:
    """A calibration of an earlier run, if it is whole and of the lane that is asked for."""
    if not file.is_file():
        return None
    try:
        known = load(file)
    except CalibrationFileError:
        return None
    return known if pixel is None or lane_at([known.camera], pixel) == 0 else None


def _holds(known: Calibration, clip: Path) -> bool:
    """Whether a clip is filmed from where a calibration says; a clip that cannot be read says nothing against it."""
    try:
        with ClipReader(clip) as reader:
            check_frame(known, reader.width, reader.height, reader.rotation_deg)
            return isinstance(check_place(known, reader.first_frame.luma), Checked)
    except ClipError:
        return True
    except CalibrationFileError:
        return False


def _looked_for(clip: Path, pixel: tuple[float, float] | None) -> Located | Failure:
    try:
        return locate(clip, pixel)
    except ClipError as error:
        return Failure(error.reason, str(error))


def lane_sentences(found: Located) -> list[str]:
    """How good a found lane is, in words."""
    boards, feet = np.max([lane_point_sigma(found.calibration, y) for y in CHECK_DISTANCES_FT], axis=0)
    sentences = [f"{found.lane.verdict}, a point on it within {boards:.2f} board and {feet:.2f} ft, {_told_by(found)}."]
    places = " or ".join(f"{u},{v}" for u, v in found.others_px)
    if found.calibration.lane_doubtful:
        other = f": --lane-at {places} takes another" if places else ""
        sentences.append(f"Nobody was clearly seen to bowl on it{other}.")
    elif places:
        sentences.append(f"Other lanes in view: --lane-at {places}.")
    return sentences


def _told_by(found: Located) -> str:
    agreement = found.lane.agreement
    pins = f"fitted to {agreement.pins} pins" if agreement.pins else "without pins"
    if not agreement.arrows:
        return pins
    return f"{pins}; {agreement.arrows} arrows lie {agreement.arrows_aside_boards or 0.0:.2f} board from theirs"


def grid_png(found: Located) -> bytes:
    """The lane grid on the clean picture, PNG."""
    return encode_png(draw_lane_grid(picture_bgr(found.clean), found.calibration))
