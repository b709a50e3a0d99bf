"""``sixtyfeet calibrate``: from one clip, or marks on it, to the file that says where the camera is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tracker.cli import options
from tracker.cli.options import Status
from tracker.cli.talk import Talk

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from calibration.marks import Marks
    from calibration.store import Calibration
    from tracker.pages.marks import MarksData


NOT_FOR_MARKS = ("lane_not_there", "view_pans", "view_zooms", "lane_too_flat", "foul_line_unseen")
"""Refusals that clicked marks would not mend."""


@click.command()
@options.clip_argument
@click.option(
    "--marks",
    metavar="MARKS.json",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Marks on the upright frame: width, height, marks_px {name: [x, y]}.",
)
@click.option("--page", is_flag=True, help="Click the marks on a page that opens in the browser of this machine.")
@options.lane_at_option
@click.option(
    "-o",
    "--out",
    metavar="LANE.json",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write; LANE.png beside it shows the lane grid on the frame.",
)
@options.talk_options
@click.pass_context
def calibrate(
    context: click.Context,
    talk: Talk,
    clip: Path,
    marks: Path | None,
    *,
    page: bool,
    lane_at: tuple[float, float] | None,
    out: Path,
) -> None:
    """Find where the camera of CLIP is, once for every place of the phone.

    Finds the lane by itself; where it cannot, or you know better, marks are clicked on a page or given in a file. Look
    at the picture it writes: the lines must lie on the lane. Prints the path of the file.

    \b
    sixtyfeet calibrate tuesday/IMG_2041.MOV -o lane12.json
    sixtyfeet calibrate tuesday/IMG_2041.MOV --page -o lane12.json
    sixtyfeet calibrate tuesday/IMG_2041.MOV --marks marks.json -o lane12.json
    """
    if out.suffix.lower() == ".png":
        msg = f"{click.format_filename(out)} is the name of the picture; give a .json file"
        raise click.BadParameter(msg, param_hint="'-o'")
    if lane_at is not None and (page or marks is not None):
        msg = "--lane-at is for a lane that is found in the clip; marks say which lane it is"
        raise click.UsageError(msg)
    if marks is None and not page:
        context.exit(find_lane(clip, out, lane_at, talk=talk))
    context.exit(calibrate_clip(clip, marks, out, talk=talk, page=page))


def find_lane(clip: Path, out: Path, lane_at: tuple[float, float] | None, *, talk: Talk) -> Status:
    """Find the lane, write the file and the picture, tell how good it is, and return the exit status."""
    from calibration.errors import Failure
    from calibration.store import save
    from tracker.batch.lane import grid_png, lane_sentences
    from tracker.lane.locate import locate
    from tracker.report.files import write_file
    from tracker.video.errors import ClipError

    try:
        found = locate(clip, lane_at)
    except ClipError as error:
        talk.warn(f"{error.detail} ({error.reason})")
        return Status.NO_RESULT
    if isinstance(found, Failure):
        talk.warn(f"no calibration: {found.detail} ({found.reason})")
        if found.reason not in NOT_FOR_MARKS:
            talk.warn("--page lets you click the marks yourself")
        return Status.NO_RESULT
    write_file(out.with_suffix(".png"), grid_png(found))
    save(out, found.calibration)
    talk.say(" ".join([f"lane found on {clip.name}:", *lane_sentences(found)]))
    _point_at(out, talk)
    return Status.DONE


def calibrate_clip(clip: Path, marks_file: Path | None, out: Path, *, talk: Talk, page: bool = False) -> Status:
    """Solve, write the file and the picture, tell how good it is, and return the exit status.

    With ``page`` the marks are clicked on a page, which starts with those of ``marks_file`` if there is one.
    """
    from calibration.anchors import choose_anchors
    from calibration.drift import LEAST_WINDOWS
    from calibration.errors import Failure
    from calibration.solve import solve
    from calibration.store import from_solution
    from tracker.video.errors import ClipError

    try:
        look = _look_at(clip)
    except ClipError as error:
        talk.warn(f"{error.detail} ({error.reason})")
        return Status.NO_RESULT
    marks = None if marks_file is None else _marks_for(marks_file, look)
    if page:
        marks = _clicked(clip, look, marks, talk=talk)
    if marks is None:
        talk.warn("no marks were saved on the page, so there is no calibration")
        return Status.NO_RESULT
    solution = solve(marks.marks_px, width=marks.width, height=marks.height)
    if isinstance(solution, Failure):
        talk.warn(f"no calibration: {solution.detail} ({solution.reason})")
        return Status.NO_RESULT
    solved = from_solution(solution, marks.marks_px, clip=clip.name, rotation_deg=look.rotation_deg)
    anchors = choose_anchors(look.luma, solved.camera)
    plain = len(anchors.centres) < LEAST_WINDOWS
    calibration = solved if plain else replace(solved, reference=anchors)
    _write(calibration, look.bgr, out)
    _tell(calibration, out, talk)
    if plain:
        talk.warn(f"the first picture of {clip.name} is too plain to notice by it that a camera has moved")
    return Status.DONE


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """First upright picture of a clip: ``(h, w, 3)`` for people, luma ``(h, w)``, and the turn that made it upright."""

    bgr: NDArray[np.uint8]
    luma: NDArray[np.uint8]
    rotation_deg: int

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.bgr.shape[1], self.bgr.shape[0]


def _look_at(clip: Path) -> Look:
    from tracker.report.image import picture_bgr
    from tracker.video.reader import ClipReader

    with ClipReader(clip) as reader:
        frame = reader.first_frame.crop(0, 0, reader.width, reader.height)
        return Look(picture_bgr(frame), frame.luma, reader.rotation_deg)


def _marks_for(file: Path, look: Look) -> Marks:
    """Read the marks; what is wrong with them is a usage error."""
    from calibration.errors import CalibrationFileError
    from calibration.marks import read_marks

    try:
        marks = read_marks(file)
    except CalibrationFileError as error:
        raise click.BadParameter(str(error), param_hint="'--marks'") from error
    if (marks.width, marks.height) != look.size:
        width, height = look.size
        msg = (
            f"the marks are for a {marks.width}x{marks.height} frame, the clip's upright frame is {width}x{height}; "
            "mark a frame of this clip"
        )
        raise click.BadParameter(msg, param_hint="'--marks'")
    return marks


def _clicked(clip: Path, look: Look, start: Marks | None, *, talk: Talk) -> Marks | None:
    """Serve the page and return the marks clicked there, or None."""
    from calibration.marks import parse_marks
    from tracker.pages.marks import serve_marks
    from tracker.report.image import encode_png

    def ready(address: str) -> None:
        talk.warn(f"mark the lane on {address} (Ctrl-C here stops)")
        click.launch(address)

    width, height = look.size
    marks_px = {} if start is None else start.marks_px
    found = serve_marks(
        encode_png(look.bgr),
        width=width,
        height=height,
        on_save=_judge,
        on_ready=ready,
        clip=click.format_filename(clip.name),
        marks_px=marks_px,
    )
    return None if found is None else parse_marks(found)


def _judge(data: MarksData) -> str:
    """Words for the page: how good the camera of these marks is; no camera refuses them."""
    from calibration.errors import CalibrationFileError, Failure
    from calibration.marks import parse_marks
    from calibration.solve import solve
    from calibration.store import from_solution

    marks = parse_marks(data)
    solution = solve(marks.marks_px, width=marks.width, height=marks.height)
    if isinstance(solution, Failure):
        raise CalibrationFileError(solution.detail)
    return " ".join(_sentences(from_solution(solution, marks.marks_px)))


def _write(calibration: Calibration, bgr: NDArray[np.uint8], out: Path) -> None:
    from calibration.store import save
    from tracker.report.files import write_file
    from tracker.report.grid import draw_lane_grid
    from tracker.report.image import encode_png

    write_file(out.with_suffix(".png"), encode_png(draw_lane_grid(bgr, calibration)))
    save(out, calibration)


def _sentences(calibration: Calibration) -> list[str]:
    """How good a calibration is, in words."""
    from calibration.quality import CHECK_DISTANCES_FT, lane_point_sigma, verdict

    count, rms = len(calibration.residuals), calibration.rms_px
    sentences = [f"Calibration {verdict(calibration)}: {count} marks, residual {rms:.1f} px rms."]
    for distance in CHECK_DISTANCES_FT:
        boards, feet = lane_point_sigma(calibration, distance)
        sentences.append(f"At {distance:.0f} ft: +- {boards:.2f} board, +- {feet:.2f} ft.")
    return [*sentences, *(f"Note: {note}." for note in calibration.notes)]


def _tell(calibration: Calibration, out: Path, talk: Talk) -> None:
    for sentence in _sentences(calibration):
        talk.say(sentence)
    for r in calibration.residuals:
        talk.detail(f"  {r.name:14}{r.size_px:6.1f} px {r.across_boards:+7.2f} board  weight {r.weight:.2f}")
    _point_at(out, talk)


def _point_at(out: Path, talk: Talk) -> None:
    talk.say(f"Look at {click.format_filename(out.with_suffix('.png'))}: the lines must lie on the lane.")
    talk.say("It shows the whole frame with everyone in it: keep it to yourself.")
    talk.data(out)
