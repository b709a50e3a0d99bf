"""Put a shot's numbers together: values from the best path, uncertainties from equally likely ones, flags for gaps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import INCHES_PER_FOOT, LANE_WIDTH_IN, Hand
from tracker.path.motion import VX, VY, X, Y
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath
from tracker.results import PathCurves, Quantity
from tracker.shot.curves import Curves, curves
from tracker.shot.everyfoot import every_foot
from tracker.shot.numbers import TURN_FROM_FT, Chevron, shot_numbers

Array = NDArray[np.float64]

LAYDOWN_USUAL_FT = 1.4
LAYDOWN_EARLY_FT = 1.0
LAYDOWN_SPREAD_FT = 0.4
"""Balls are usually set down 1 to 2 ft past the foul line (common practice of the trade, several coaching pages)."""
EXISTS_SHARE = 0.8
EVEN_SHARE = 0.4
SETTLED = ("roll_ft", "hook_length_ft")
TURN_SURE_SIGMA = 3.0
TURN_SURE_DEG = 0.7
OVER_EDGE_IN = 1.0
GUTTER_ROWS = 3
STAYS_SHARE = 0.8
LAUNCH_REACH_FT = 8.0
"""Launch angle and speed at release of a ball first seen beyond this would be those of another place."""
MODEL_U = {
    "launch_angle_deg": 0.05,
    "onset_ft": 0.05,
    "breakpoint_ft": 0.05,
    "breakpoint_board": 0.005,
    "turn_deg": 0.03,
    "roll_ft": 0.1,
    "slip_end_ft": 0.15,
    "hook_length_ft": 0.15,
    "entry_angle_deg": 0.03,
    "contact_board": 0.03,
    "contact_ft": 0.012,
    "board_60ft": 0.03,
    "speed_release_mph": 0.03,
    "speed_pins_mph": 0.04,
}
"""What models that round the path's bends leave behind, from rendered shots with truth."""
LAUNCH_TURN_DEG_PER_FT = 0.035
"""A hooking ball has turned so much by where it is first seen: the heading there is not that at the laydown."""
ABSENT = {
    "laydown_board": "laydown_unseen",
    "laydown_ft": "laydown_unseen",
    "boards_out": "no_breakpoint",
    "boards_back": "no_breakpoint",
    "onset_ft": "straight_ball",
    "breakpoint_ft": "no_breakpoint",
    "breakpoint_board": "no_breakpoint",
    "roll_ft": "still_turning",
    "slip_end_ft": "still_turning",
    "hook_length_ft": "still_turning",
}
UNTOLD_BEFORE_PINS = ("onset_ft", "breakpoint_ft", "breakpoint_board", "boards_out", "boards_back")
TO_PINS = (
    "entry_angle_deg",
    "contact_board",
    "contact_ft",
    "board_60ft",
    "speed_pins_mph",
    "boards_back",
    "turn_deg",
    "roll_ft",
    "slip_end_ft",
    "hook_length_ft",
)
FROM_15 = (
    "board_15ft",
    "onset_ft",
    "breakpoint_board",
    "breakpoint_ft",
    "turn_deg",
    "roll_ft",
    "hook_length_ft",
    "boards_out",
    "boards_back",
)


@dataclass(frozen=True, slots=True)
class Arrows:
    """The arrows' chevron with standard uncertainties, feet; ``modelled`` where no arrow was seen."""

    centre_ft: float
    centre_u_ft: float
    slope_ft: float
    slope_u_ft: float
    modelled: bool


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the path says: numbers, curves over distance, hand and flags; ``gutter`` where the ball left the lane."""

    quantities: dict[str, Quantity]
    hand: Hand
    flags: tuple[str, ...]
    gutter: bool
    curves: PathCurves | None = None


def path_hand(draws: PathDraws, last_seen: int) -> Hand | None:
    """Hand that the hook tells: a right-hander's ball turns left. None for a ball that hardly turns."""
    states = np.concatenate([draws.mean[None], draws.draws])
    slope = np.degrees(np.arctan(states[..., VX] / states[..., VY]))
    start = int(np.argmin(np.abs(draws.mean[:, Y] - TURN_FROM_FT * INCHES_PER_FOOT)))
    turn = slope[:, last_seen] - slope[:, start]
    if abs(turn[0]) < max(TURN_SURE_DEG, TURN_SURE_SIGMA * float(np.std(turn[1:]))):
        return None
    return "right" if turn[0] < 0 else "left"


def gutter_row(path: SmoothPath) -> int | None:
    """First row in which the ball's centre is over the lane's edge for good; None for a ball that stays on the lane."""
    sigma = np.sqrt(path.covariance[:, X, X])
    over = np.abs(path.mean[:, X]) - 2 * sigma > LANE_WIDTH_IN / 2 + OVER_EDGE_IN
    rows = np.flatnonzero(over)
    if len(rows) < GUTTER_ROWS or over[rows[0] :].mean() < STAYS_SHARE:
        return None
    return int(rows[0])


def _choose_hand(told: Hand | None, draws: PathDraws, last_seen: int) -> tuple[Hand, list[str]]:
    shown = path_hand(draws, last_seen)
    if told is not None:
        return told, ["hand_differs"] if shown is not None and shown != told else []
    return (shown, []) if shown is not None else ("right", ["hand_assumed"])


def _laydown_draws(path: SmoothPath, count: int, random: np.random.Generator) -> Array:
    first = path.mean[0, Y] / INCHES_PER_FOOT
    spread = random.standard_normal(count + 1)
    spread[0] = 0.0
    usual = max(LAYDOWN_EARLY_FT, min(LAYDOWN_USUAL_FT, float(first)))
    return np.asarray(usual + LAYDOWN_SPREAD_FT * spread)


def _model_u(first_ft: float) -> dict[str, float]:
    """What the models leave behind in a shot first seen at a distance."""
    unseen_deg = LAUNCH_TURN_DEG_PER_FT * max(first_ft - LAYDOWN_USUAL_FT, 0.0)
    return MODEL_U | {"launch_angle_deg": float(np.hypot(MODEL_U["launch_angle_deg"], unseen_deg))}


def _quantity(
    name: str, values: Array, absent: str, timing_u: Mapping[str, float], *, model_u: Mapping[str, float] = MODEL_U
) -> Quantity:
    drawn = values[1:][np.isfinite(values[1:])]
    if not np.isfinite(values[0]):
        return Quantity(missing=absent)
    if len(drawn) < (EVEN_SHARE if name in SETTLED else EXISTS_SHARE) * (len(values) - 1):
        return Quantity(missing="not_determined")
    # width of the central 95 %: a second possibility far off counts, one stray draw does not
    low, high = np.percentile(drawn, [2.5, 97.5])
    spread = float(high - low) / 3.92
    u = float(np.hypot(spread, model_u.get(name, 0.0)))
    u = float(np.hypot(u, timing_u.get(name, 0.0) * values[0]))
    return Quantity(float(values[0]), u)


def _seen_limits(c: Curves, *, reaches_pins: bool) -> dict[str, str]:
    missing: dict[str, str] = {}
    if c.first_ft > LAUNCH_REACH_FT:
        missing |= dict.fromkeys(("launch_angle_deg", "speed_release_mph"), "late_start")
    if c.first_ft > TURN_FROM_FT:
        missing |= dict.fromkeys((*FROM_15, "arrows_board"), "late_start")
    if not reaches_pins:
        missing |= dict.fromkeys(TO_PINS, "early_end")
    return missing


def analyse(
    path: SmoothPath,
    draws: PathDraws,
    arrows: Arrows,
    ball_radius_in: float,
    *,
    hand: Hand | None,
    timing_u: tuple[float, float] = (0.0, 0.0),
    seed: int = 15,
) -> Analysis:
    """Numbers of one shot with standard uncertainties.

    Parameters
    ----------
    path : SmoothPath
        The smoothed path.
    draws : PathDraws
        Equally likely paths around it, camera and ball size included.
    arrows : Arrows
        Where the arrows are.
    ball_radius_in : float
        Radius of the ball.
    hand : {'right', 'left'} or None
        Hand that the sheet or the user told; None takes it from the hook.
    timing_u : tuple of float
        Relative uncertainty of speeds by timing at the first and at the last row.
    seed : int
        Seed for what is drawn here (laydown, arrows).
    """
    random = np.random.default_rng(seed)
    count = len(draws.draws)
    gutter = gutter_row(path)
    # in the gutter the ball turns along it, which says nothing of the hand
    chosen, flags = _choose_hand(hand, draws, path.last_seen if gutter is None else max(gutter - 1, 0))
    reaches = path.reaches_pins and gutter is None
    states = np.concatenate([draws.mean[None], draws.draws])
    if gutter is not None:
        states = states[:, : max(gutter, 2)]
    c = curves(states, min(path.last_seen, states.shape[1] - 1), chosen, ball_radius_in, reaches_pins=reaches)
    wobble = random.standard_normal((2, count + 1))
    wobble[:, 0] = 0.0
    chevron = Chevron(
        arrows.centre_ft + arrows.centre_u_ft * wobble[0], arrows.slope_ft + arrows.slope_u_ft * wobble[1]
    )
    numbers = shot_numbers(c, _laydown_draws(path, count, random), chevron, draws.slip_end_ft)
    limits = _seen_limits(c, reaches_pins=reaches)
    absent = ABSENT if reaches else {**ABSENT, **dict.fromkeys(UNTOLD_BEFORE_PINS, "early_end")}
    model_u = _model_u(c.first_ft)
    timing = {"speed_release_mph": timing_u[0], "speed_pins_mph": timing_u[1]}
    quantities = {
        name: Quantity(missing=limits[name])
        if name in limits
        else _quantity(name, values, absent.get(name, "not_seen"), timing, model_u=model_u)
        for name, values in numbers.values.items()
    }
    if quantities["laydown_board"].value is None and quantities["boards_out"].value is None:
        quantities["boards_out"] = Quantity(missing=quantities["laydown_board"].missing)
    flags += sorted({q.missing for q in quantities.values() if q.missing})
    flags += ["arrows_modelled"] if arrows.modelled else []
    flags += ["misses_pins"] if reaches and bool(c.misses[0]) else []
    over = every_foot(c, timing_u)
    return Analysis(quantities, chosen, tuple(dict.fromkeys(flags)), gutter is not None, over)
