"""A bowler who practises on a true lane: what he throws is measured with errors, what a choice is worth is known.

The lane, the balls and the equations are those of :mod:`lanes.truth`, which share nothing with the program.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from lanes.sessions import measured, template
from lanes.truth import Lanes, Shots, contact, draw_lanes, integrate, pattern
from scipy.special import ndtri
from scipy.stats import qmc

from tracker.lineup.lines import Line
from tracker.lineup.window import Window
from tracker.results import Stations
from tracker.session.throws import Throw

STEP_S = 4e-3
SCATTER = (0.6, 0.22, 0.22, 0.03, 2.5)
"""Of board, launch in degrees, mph, share of the rpm, rotation in degrees: a practised bowler (own choice)."""
LAYDOWN_FT = 1.4
WORTH_POINTS = 512


USUAL = Lanes(
    pattern(40.0, 6.0, 8.0, 5.0, 0.65, 5, 2.0)[None], np.array([0.035]), np.array([0.20]), np.array([0.08]),
    np.array([1.4]), np.array([0.0005]), np.zeros((1, 3, 3)), np.array([0.0]), np.array([0.0]), np.array([0.0005]),
)  # fmt: skip
"""A house's usual oil (common practice, no source): 40 ft, six times as much inside."""


@dataclass
class Practice:
    """One bowler with some balls on one lane, throwing with a seed of his own.

    Attributes
    ----------
    lanes : Lanes
        One lane.
    hand : {'right', 'left'}
    style : tuple of float
        mph, rpm, rotation and tilt in degrees.
    balls : dict of str to tuple of float
        Grip, cover, gyration in inches, turn in degrees a second, wobble in degrees.
    random : Generator
    throws : list of Throw
        What has been thrown and measured so far.
    seen : list of (float, float)
        True contact board and entry angle of each.
    aims : list of Line
        The line each was meant for.
    """

    lanes: Lanes
    hand: str
    style: tuple[float, float, float, float]
    balls: dict[str, tuple[float, float, float, float, float]]
    random: np.random.Generator
    throws: list[Throw] = field(default_factory=list)
    seen: list[tuple[float, float]] = field(default_factory=list)
    aims: list[Line] = field(default_factory=list)

    @property
    def side(self) -> float:
        return 1.0 if self.hand == "right" else -1.0

    def start(self) -> Line:
        """Over the second arrow, from where his middle ball comes to the pocket on a house's usual oil."""
        ball = list(self.balls)[len(self.balls) // 2]
        usual = replace(self, lanes=USUAL)
        lines = [Line(float(b), 10.5, self.style[0]) for b in np.arange(8.0, 36.0, 1.0)]
        shots = usual.shots([ball] * len(lines), lines, np.zeros((len(lines), 5)), 1)
        board = contact(integrate(USUAL, shots, STEP_S), shots.side)[0]
        return lines[int(np.argmin(np.abs(board - 17.5)))]

    def shots(self, balls: list[str], lines: list[Line], off: np.ndarray, number: float | np.ndarray) -> Shots:
        """Shots of balls on lines, each off by ``(n, 5)`` standard deviations of the bowler's scatter."""
        n = len(balls)
        board, launch, mph, rpm, rotation = (off * np.array(SCATTER)).T
        own = np.array([self.balls[b] for b in balls])
        full = np.ones(n)
        return Shots(
            np.zeros(n, int), number * full, self.side * full,
            np.array([one.laydown_board for one in lines]) + board,
            np.array([one.launch_deg for one in lines]) + launch,
            np.array([one.speed_mph for one in lines]) + mph, self.style[1] * (1 + rpm), self.style[2] + rotation,
            self.style[3] * full, own[:, 0], own[:, 1], own[:, 2], own[:, 3], own[:, 4], 3.0 * full, LAYDOWN_FT * full,
        )  # fmt: skip

    def throw(self, ball: str, line: Line, name: str = "") -> tuple[float, float]:
        """Throw once; the measured shot is added, the true contact board and entry angle come back."""
        number = len(self.throws) + 1
        shots = self.shots([ball], [line], self.random.standard_normal((1, 5)), number)
        runs = integrate(self.lanes, shots, STEP_S)
        feet, covariance = template(int(self.random.integers(8)))
        boards, times = runs.board(feet, shots.side)[0], runs.time(feet)[0]
        b, t = measured(boards, times[1:] - times[0], covariance, self.random.standard_normal(len(covariance)))
        self.throws.append(
            Throw(
                f"s{number:02d}",
                number,
                "1",
                ball,
                self.hand,
                Stations(feet, b, t, covariance),
                line=name,
                intent="move",
            )
        )
        board, angle, _ = contact(runs, shots.side)
        self.seen.append((float(board[0]), float(angle[0])))
        self.aims.append(line)
        return self.seen[-1]

    def meant(self, ball: str, line: Line, feet: float | None = None) -> float:
        """True board of a throw exactly as meant, at contact or at a distance."""
        shots = self.shots([ball], [line], np.zeros((1, 5)), len(self.throws) + 1)
        runs = integrate(self.lanes, shots, STEP_S)
        return float(contact(runs, shots.side)[0][0] if feet is None else runs.board([feet], shots.side)[0, 0])

    def worth(
        self,
        balls: list[str],
        lines: list[Line],
        window: Window,
        *,
        points: int = WORTH_POINTS,
        seed: int = 3,
        numbers: np.ndarray | None = None,
        step_s: float = STEP_S,
    ) -> np.ndarray:
        """True chance of the window of choices ``(n,)`` by the same scatter for each, at the next shot or at others."""
        points = ndtri(np.clip(qmc.Sobol(5, rng=np.random.default_rng(seed)).random(points), 1e-4, 1 - 1e-4))
        shots = self.shots(
            [b for b in balls for _ in points],
            [one for one in lines for _ in points],
            np.tile(points, (len(balls), 1)),
            len(self.throws) + 1 if numbers is None else np.repeat(numbers, len(points)),
        )
        runs = integrate(self.lanes, shots, step_s)
        board, angle, _ = contact(runs, shots.side)
        held = (
            (board >= window.low_board)
            & (board <= window.high_board)
            & (angle >= window.low_deg)
            & (angle <= window.high_deg)
        )
        away = np.abs(runs.x).max(axis=0) > 20.75 * 0.0254
        return (held & ~away).reshape(len(balls), -1).mean(axis=1)


def draw_practice(seed: int) -> Practice:
    """A bowler, two to four balls and a lane by chance; none of them straight."""
    random = np.random.default_rng([seed, 17])
    lanes = draw_lanes(1, random)
    count = int(random.integers(2, 5))
    grip = np.exp(np.sort(random.normal(0, 0.15, count))[::-1])
    balls = {
        f"ball {k}": (
            float(grip[k]),
            float(np.exp(0.8 * np.log(grip[k]) + random.normal(0, 0.08))),
            float(random.uniform(2.46, 2.62)),
            float(random.normal(0, 2.0)),
            float(random.uniform(0, 1.2)),
        )
        for k in range(count)
    }
    style = (
        float(random.normal(17, 1.0)),
        float(np.exp(random.normal(np.log(340), 0.18))),
        float(np.clip(random.normal(48, 9), 30, 70)),
        float(random.uniform(5, 18)),
    )
    return Practice(lanes, str(random.choice(["right", "right", "left"])), style, balls, random)


def adjusted(line: Line, board: float) -> Line:
    """The usual answer to a shot: one board with the target and two with the feet for every three boards high."""
    step = float(np.clip(round((board - 17.5) / 3.0), -3, 3))
    return line.moved(2.0 * step, step)


def practise(seed: int, count: int = 8) -> Practice:
    """The balls in turn, each begun where the last one was left, moves as usual."""
    one = draw_practice(seed)
    line, names = one.start(), list(one.balls)
    for k in range(count):
        board, _ = one.throw(names[k % len(names)], line, f"line {k}")
        line = adjusted(line, board)
    return one
