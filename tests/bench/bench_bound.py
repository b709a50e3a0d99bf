"""How near the program comes to what can be known at all: ``python tests/bench/bench_bound.py``.

Shots are drawn from the priors of the physical fit and seen, without pictures, through three known cameras with white
noise of a known size, then with a rim bias that stays for a while as well. Of every column: the bound (see
tests/limit.py; root mean square over the shots in which it exists smoothly), for how many measurements the program
says that there is none, the scatter (root mean square error) of the physical fit and of the plain smoother, and scatter
over bound with the standard error of that ratio (bootstrap over shots). ``each`` is the root mean square of error over
the shot's own bound, ``e2/u2`` the mean square of error over claimed uncertainty without the small term for what the
models leave behind. Then normalised innovations and errors against their chi-square bounds.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))
from limit import Bound, View, bound_of
from limit_checks import Squares, matched, path_nis, place_squares
from limit_shots import SETUPS, Measured, Setup, Shot, draw_shot, looks_at, measure

from tracker.path.motion import MotionModel
from tracker.shot.analyse import MODEL_U, Analysis

Array = NDArray[np.float64]

BIAS = MotionModel(bias_px=(0.2, 0.35))
AT_FT = np.array([10.0, 30.0, 45.0, 57.0])
MATCHED_BALLS = 80
RESAMPLED = 400
WANTED = ("board_15ft", "breakpoint_board", "entry_angle_deg", "speed_release_mph", "speed_pins_mph")
ALLOWED = 1.5
SPREAD_BY_LAYDOWN = ("laydown_board", "launch_angle_deg", "speed_release_mph", "boards_out")
"""Their claimed uncertainty knows that the laydown is not seen, of which there is no error here."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One shot: its limit and what the chain made of several realisations of the noise."""

    shot: Shot
    bound: Bound
    found: tuple[Measured | None, ...]


@dataclass(frozen=True, slots=True)
class Misses:
    """One column over the trials: bounds ``(s,)``, errors and claimed uncertainties ``(s, r)`` (NaN where missing)."""

    bound: Array
    error: Array
    claimed: Array

    @property
    def count(self) -> int:
        return int(np.isfinite(self.error).sum())

    def ratio(self, rows: NDArray[np.intp]) -> float:
        """Root mean square error over the root mean square of the bounds, of some trials."""
        error, here = self.error[rows], np.isfinite(self.error[rows])
        bound = np.broadcast_to(self.bound[rows][:, None], error.shape)
        return float(np.sqrt(np.mean(error[here] ** 2) / np.mean(bound[here] ** 2))) if here.any() else np.nan

    def ratio_u(self, seed: int = 5) -> float:
        """Its standard error: shots are drawn again, because errors of one shot hang together."""
        random, n = np.random.default_rng(seed), len(self.bound)
        return float(np.nanstd([self.ratio(random.integers(0, n, n)) for _ in range(RESAMPLED)]))


def run_trials(setup: Setup, view: View, *, shots: int, noises: int, seed: int) -> list[Trial]:
    """Trials of one camera: the same shots whatever the noise."""
    trials = []
    for k in range(shots):
        random = np.random.default_rng([seed, k, round(setup.fps)])
        shot = draw_shot(setup, random, view.radius_in)
        bound = bound_of(view, shot.parameters, shot.t_s[shot.seen], contact_s=shot.contact_s, hand=shot.hand)
        found = tuple(measure(view, looks_at(view, shot, random), shot.hand) for _ in range(noises))
        trials.append(Trial(shot, bound, found))
    return trials


def _analysis(found: Measured | None, *, plain: bool) -> Analysis | None:
    return None if found is None else found.plain if plain else found.physical


def misses_of(trials: Sequence[Trial], name: str, *, plain: bool = False) -> Misses:
    """One column's misses over the trials in which it exists smoothly."""
    own = [t for t in trials if name in t.bound.sigma]
    errors, claimed = [], []
    for trial in own:
        got = [_analysis(f, plain=plain) for f in trial.found]
        both = [a.quantities[name] if a is not None else None for a in got]
        errors.append([q.value - trial.bound.truth[name] if q and q.value is not None else np.nan for q in both])
        claimed.append([q.u if q and q.u is not None else np.nan for q in both])
    square = np.array(claimed).reshape(len(own), -1) ** 2 - MODEL_U.get(name, 0.0) ** 2
    bound = np.array([t.bound.sigma[name] for t in own])
    return Misses(bound, np.array(errors).reshape(len(own), -1), np.sqrt(np.maximum(square, 1e-12)))


def column_lines(trials: Sequence[Trial]) -> list[str]:
    """The table of one camera."""
    head = "{:18}{:>6}{:>6}{:>9} |{:>9}{:>7}{:>6}{:>6}{:>7} |{:>9}{:>7}{:>6}"
    names = ("column", "shots", "none", "bound", "scatter", "ratio", "+-", "each", "e2/u2", "smoother", "ratio", "+-")
    lines = [head.format(*names)]
    for name in dict.fromkeys(n for t in trials for n in t.bound.sigma):
        fit, plain = misses_of(trials, name), misses_of(trials, name, plain=True)
        if not fit.count:
            continue
        rows = np.arange(len(fit.bound))
        each = np.sqrt(np.nanmean((fit.error / fit.bound[:, None]) ** 2))
        own = np.nan if name in SPREAD_BY_LAYDOWN else np.nanmean((fit.error / fit.claimed) ** 2)
        above = " above what is wanted" if name in WANTED and fit.ratio(rows) > ALLOWED else ""
        lines.append(
            f"{name:18}{len(rows):6}{fit.error.size - fit.count:6}{_rms(fit.bound):9.4f} |{_rms(fit.error):9.4f}"
            f"{fit.ratio(rows):7.2f}{fit.ratio_u():6.2f}{each:6.2f}{own:7.2f} |"
            f"{_rms(plain.error):9.4f}{plain.ratio(rows):7.2f}{plain.ratio_u():6.2f}{above}"
        )
    return lines


def _rms(values: Array) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


def square_lines(trials: Sequence[Trial], view: View, seed: int) -> list[str]:
    """Normalised innovations and errors of one camera."""
    pairs = [(t.shot, f) for t in trials for f in t.found if f is not None]
    random = np.random.default_rng([seed, 77])
    own = [matched(view, random) for _ in range(MATCHED_BALLS)]
    lines = [
        _line("NIS, ball that moves as the filter says", Squares(np.concatenate([n for n, _ in own]), 2)),
        _line("NEES of its smoothed place, mid-way", Squares(np.array([e[len(e) // 2] for _, e in own]), 2)),
        _line("NIS, ball that slips and rolls", Squares(np.concatenate([path_nis(f.path) for _, f in pairs]), 2)),
    ]
    smooth = np.array([place_squares(f.path, s, AT_FT) for s, f in pairs])
    fitted = np.array([place_squares(f.path, s, AT_FT, f.fitted) for s, f in pairs if f.fitted is not None])
    for k, ft in enumerate(AT_FT):
        lines.append(_line(f"NEES of place at {ft:.0f} ft, smoother", Squares(smooth[:, k], 2)))
        lines.append(_line(f"NEES of place at {ft:.0f} ft, physical fit", Squares(fitted[:, k], 2)))
    return lines


def _line(name: str, s: Squares) -> str:
    low, high = s.bounds
    return (
        f"{name:46}{s.mean:8.3f}  of {len(s.values):6}  {low:.3f} .. {high:.3f}  {'inside' if s.inside else 'OUTSIDE'}"
    )


def _lost(trials: Sequence[Trial]) -> str:
    found = [f for t in trials for f in t.found]
    return (
        f"{len(found)} realisations of {len(trials)} shots: {sum(f is None for f in found)} without a path, "
        f"{sum(f is not None and f.fitted is None for f in found)} without a physical fit, "
        f"{sum(f is not None and f.fitted is not None and not f.agrees for f in found)} in which both disagree"
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shots", type=int, default=32, help="shots a camera; many shots tell more than much noise")
    parser.add_argument("--noises", type=int, default=3, help="realisations of the noise a shot")
    parser.add_argument("--noise-px", type=float, default=0.3, help="standard deviation of the white noise")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=("white", "bias"), help="one kind of noise")
    told = parser.parse_args()
    for kind, bias in (("white", None), ("bias", BIAS)):
        for setup in SETUPS if told.only in (None, kind) else ():
            begun = time.process_time()
            view = View(setup.camera, told.noise_px, bias)
            trials = run_trials(setup, view, shots=told.shots, noises=told.noises, seed=told.seed)
            noise = f"white noise {told.noise_px:g} px" + (
                ", rim bias {} and {} px".format(*bias.bias_px) if bias else ""
            )
            text = [f"== {setup.name}; {noise}", _lost(trials), "", *column_lines(trials), ""]
            text += [*square_lines(trials, view, told.seed), f"{time.process_time() - begun:.0f} s", "", ""]
            sys.stdout.write("\n".join(text))
            sys.stdout.flush()


if __name__ == "__main__":
    main()
