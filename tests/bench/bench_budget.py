"""Error budget: what each source alone adds to the uncertainty of each number, ``python tests/bench/bench_budget.py``.

Measures the sample session's clips, or the clips given, and repeats fit and numbers with one source of uncertainty at
a time (JCGM 100, 5.1: contributions add in squares where sources are independent). Prints the root mean square over
the shots, a column a source, and beside it what all together give; ``--figure FILE`` draws the shares of the squares.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

import cv2
import numpy as np

from calibration.lane import BALL_RADIUS_IN
from tracker import measure
from tracker.path.motion import MotionModel
from tracker.path.physical import fit_physical
from tracker.path.posterior import CommonErrors, widen
from tracker.path.runs import find_runs
from tracker.path.smooth import smooth_run
from tracker.shot import analyse as shot

COLUMNS = (
    "laydown_board", "launch_angle_deg", "board_15ft", "arrows_board", "onset_ft", "breakpoint_board", "breakpoint_ft",
    "turn_deg", "roll_ft", "slip_end_ft", "entry_angle_deg", "contact_board", "board_60ft", "speed_release_mph",
    "speed_pins_mph",
)  # fmt: skip
SOURCES = ("pixels", "camera", "ball size", "laydown", "arrows", "shutter", "model")
MEDIA = Path(__file__).parents[2] / "sample_media"
Squares = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Given:
    """Everything of one shot that its numbers are worked out from."""

    path: measure.SmoothPath
    model: MotionModel
    errors: CommonErrors
    arrows: shot.Arrows
    timing_u: tuple[float, float]


def shots_of(clip: Path) -> list[Given]:
    """The shots of a clip as far as the smoothed path."""
    watched = measure._watched(clip, None, BALL_RADIUS_IN, measure.MeasureSettings())
    if not isinstance(watched, measure._Watched):
        return []
    camera, found = watched.calibration.camera, []
    for run in find_runs(watched.looks, measure._pixel_at_pins_in(watched.calibration, BALL_RADIUS_IN)):
        clarity = float(np.median([d.fit.contrast * d.fit.rim_share**2 for d in run.detections]))
        model = widen(MotionModel(), clarity)
        smoothed = smooth_run(run, watched.looks, camera, BALL_RADIUS_IN, model=model)
        if smoothed is None or not smoothed[0].reaches_pins:
            continue
        errors = CommonErrors(camera, watched.calibration.covariance, BALL_RADIUS_IN, float(measure.BALL_RADIUS_U_IN))
        timing = measure._timing_u(smoothed[0], camera, BALL_RADIUS_IN)
        found.append(Given(*smoothed, errors, measure._arrows(watched.calibration), timing))
    return found


def squares(given: Given, sources: Sequence[str]) -> Squares:
    """Squared uncertainty of each number with only some sources of it besides the pixels."""
    errors = replace(
        given.errors,
        camera_covariance=given.errors.camera_covariance * ("camera" in sources),
        ball_radius_u_in=given.errors.ball_radius_u_in * ("ball size" in sources),
    )
    fitted = fit_physical(given.path, errors, given.model)
    if fitted is None:
        return {}
    arrows = given.arrows
    if "arrows" not in sources:
        arrows = replace(arrows, centre_u_ft=0.0, slope_u_ft=0.0)
    timing = given.timing_u if "shutter" in sources else (0.0, 0.0)
    model_u = shot.MODEL_U if "model" in sources else {}
    spread_ft = shot.LAYDOWN_SPREAD_FT if "laydown" in sources else 0.0
    with patch.multiple(shot, MODEL_U=model_u, LAYDOWN_SPREAD_FT=spread_ft):
        analysis = shot.analyse(given.path, fitted.draws, arrows, BALL_RADIUS_IN, hand=None, timing_u=timing)
    found = analysis.quantities
    return {name: found[name].u ** 2 for name in COLUMNS if found[name].u is not None}


def budget(given: Given) -> dict[str, Squares]:
    """Squared contribution of each source, and of all together, to each number."""
    base = squares(given, ())
    parts: dict[str, Squares] = {"pixels": base}
    for source in SOURCES[1:]:
        more = squares(given, (source,))
        parts[source] = {name: max(more[name] - base[name], 0.0) for name in base if name in more}
    return {**parts, "all": squares(given, SOURCES)}


def table(budgets: Sequence[Mapping[str, Squares]]) -> dict[str, list[float]]:
    """Root mean square contributions, a row a number: every source, then all together; NaN where none was given."""
    rows = {}
    for name in COLUMNS:
        known = [[b[source].get(name, np.nan) for b in budgets] for source in (*SOURCES, "all")]
        rows[name] = [float(np.sqrt(np.nanmean(v))) if np.isfinite(v).any() else float("nan") for v in known]
    return rows


def draw(rows: Mapping[str, Sequence[float]], path: Path) -> None:
    """Shares of the squared uncertainty as bars, one a number; the sources are told apart by hatching too."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.5, 5.5), layout="constrained")
    axes = figure.subplots()
    names = list(rows)[::-1]
    share = np.array([np.square(rows[name][:-1]) / np.sum(np.square(rows[name][:-1])) for name in names])
    left, hatches, greys = np.zeros(len(names)), ("", "//", "..", "xx", "--", "oo", "\\\\"), np.linspace(0.25, 0.95, 7)
    for k, source in enumerate(SOURCES):
        axes.barh(names, share[:, k], left=left, label=source, color=str(greys[k]), hatch=hatches[k], edgecolor="black")
        left += share[:, k]
    axes.set_xlabel("share of the squared standard uncertainty")
    axes.set_xlim(0, 1)
    figure.legend(loc="outside upper center", ncols=len(SOURCES), frameon=False)
    figure.savefig(path, dpi=110, metadata={"Software": None})


def main() -> None:
    """Print the table; draw it where asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("clips", nargs="*", type=Path, help="clips; the sample session without any")
    parser.add_argument("--figure", type=Path, help="picture of the shares, PNG")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    clips = given.clips or sorted(MEDIA.glob("*.mp4"))
    budgets = [budget(one) for clip in clips for one in shots_of(clip)]
    rows = table(budgets)
    sys.stdout.write(f"{len(budgets)} shots; standard uncertainty by each source alone, root mean square\n")
    sys.stdout.write(f"| number | {' | '.join((*SOURCES, 'all'))} |\n|---|{'---|' * (len(SOURCES) + 1)}\n")
    for name, values in rows.items():
        sys.stdout.write(f"| {name} | {' | '.join(f'{v:.3f}' for v in values)} |\n")
    if given.figure is not None:
        draw(rows, given.figure)


if __name__ == "__main__":
    main()
