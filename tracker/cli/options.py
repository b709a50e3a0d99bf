"""Options that several commands share, each once, with the checks that belong to them.

========================  ============================
option                    commands
========================  ============================
``-o`` (folder)           measure, demo
``--calibration``         measure
``--session``, ``--balls``  measure
``--hand``                measure
``--capture-fps``         measure
``--workers``, ``--redo``  measure, demo
``--video``               measure
``-v``, ``-q``            every command
========================  ============================

Exit statuses are in :class:`Status`.
"""

from __future__ import annotations

import enum
import functools
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from tracker.cli.talk import Talk

R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])

MOST_WORKERS = 8
"""More processes than this by default only where the user asks for them."""


class Status(enum.IntEnum):
    """Exit statuses: done (partial results included), anything else, usage, some input gave no result."""

    DONE = 0
    ERROR = 1
    USAGE = 2
    NO_RESULT = 3


def usable_cores() -> int:
    """Cores this process may use, at most :data:`MOST_WORKERS`."""
    affinity = getattr(os, "sched_getaffinity", None)
    cores = len(affinity(0)) if affinity is not None else os.cpu_count() or 1
    return max(1, min(cores, MOST_WORKERS))


def _finite(_context: click.Context, _option: click.Parameter, value: float | None) -> float | None:
    if value is not None and (not math.isfinite(value) or value <= 0):
        msg = f"{value} is not a positive number"
        raise click.BadParameter(msg)
    return value


def _regular(_context: click.Context, _option: click.Parameter, values: tuple[Path, ...]) -> tuple[Path, ...]:
    for path in values:
        if not path.is_file() and not path.is_dir():
            msg = f"{click.format_filename(path)} is neither a file nor a folder"
            raise click.BadParameter(msg)
    return values


def _pixel(_context: click.Context, _option: click.Parameter, value: str | None) -> tuple[float, float] | None:
    if value is None:
        return None
    parts = value.split(",")
    try:
        u, v = (float(part) for part in parts)
    except ValueError as error:
        msg = f"{value!r} is not a pixel; give two numbers like 960,540"
        raise click.BadParameter(msg) from error
    if not (math.isfinite(u) and math.isfinite(v) and u >= 0 and v >= 0):
        msg = f"{value!r} lies outside any frame; give two numbers like 960,540"
        raise click.BadParameter(msg)
    return u, v


clips_argument = click.argument(
    "inputs",
    nargs=-1,
    required=True,
    metavar="CLIP|FOLDER...",
    type=click.Path(exists=True, path_type=Path),
    callback=_regular,
)

clip_argument = click.argument("clip", type=click.Path(exists=True, dir_okay=False, path_type=Path))

calibration_option = click.option(
    "--calibration",
    metavar="LANE.json",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Where the camera is: the file that `calibrate` wrote for this place of the phone.  [default: found]",
)

session_option = click.option(
    "--session",
    metavar="SESSION.csv",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Session sheet: clip, ball, hand and what else was noted; its columns go into the table.",
)

balls_option = click.option(
    "--balls",
    metavar="BALLS.csv",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Ball sheet: ball, surface, strength rank, diameter_in.",
)

hand_option = click.option(
    "--hand",
    type=click.Choice(["right", "left"]),
    help="Bowling hand, for clips whose hand the sheet does not tell.  [default: seen from the path]",
)

capture_fps_option = click.option(
    "--capture-fps",
    type=float,
    metavar="F",
    callback=_finite,
    help="True frames a second of a slow-motion clip that plays slowed down.",
)

lane_at_option = click.option(
    "--lane-at",
    metavar="X,Y",
    callback=_pixel,
    help="A pixel of the upright frame on the lane to measure, where several are found.",
)

workers_option = click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=usable_cores,
    show_default="usable cores",
    help="Clips measured at a time, each in a process of its own; the numbers do not depend on it.",
)

redo_option = click.option(
    "--redo", is_flag=True, help="Measure again what is already measured from the same clip in the same way."
)


video_option = click.option(
    "--video",
    is_flag=True,
    help="Also write each shot's marked-up video, OUT/<shot>/marked.mp4. It can show people: keep it to yourself.",
)


def out_option(**kwargs: Any) -> Callable[[F], F]:
    """Option for the output folder: ``out``."""
    folder = click.Path(file_okay=False, path_type=Path)
    return click.option(
        "-o", "--out", metavar="OUT", type=folder, help="Folder for the results; made, or added to.", **kwargs
    )


def talk_options(function: Callable[..., R]) -> Callable[..., R]:
    """Options ``-v`` and ``-q``, given to the command as one argument ``talk``."""

    @click.option("-v", "--verbose", count=True, help="Say more.")
    @click.option("-q", "--quiet", is_flag=True, help="Say only what went wrong.")
    @functools.wraps(function)
    def with_talk(*args: Any, verbose: int, quiet: bool, **kwargs: Any) -> R:
        return function(*args, talk=Talk(-1 if quiet else verbose), **kwargs)

    return with_talk
