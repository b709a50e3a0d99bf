"""How good the reading of standing pins is: ``python tests/bench/bench_pins.py --cases 300``.

Decks are drawn with known pins in random houses and through three fixed cameras: full racks and spares before, all ten
single pins, common splits and random leaves after, with pins that slid, lie about and rock. Printed are reliability
tables (how often a pin stands of which the reading says so with a probability), the share of right pins where it
claims more than 0.9, how often the whole set is given and right, and the time of a reading.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from deck_pictures import LYING, SMALL, TRIPOD, UPRIGHT, Drawn, House, Pose, drawn, film, upright
from random_shots import _random_lane, random_camera

from tracker.pins.rack import read_rack
from tracker.pins.read import SURE, place_u_px
from tracker.pins.standing import read_standing
from tracker.pins.still import picture_noise, still_of

ALL = tuple(range(1, 11))
SPLITS = ((4, 6), (7, 10), (4, 6, 7, 10), (2, 7), (3, 10), (5, 7), (5, 10), (4, 9), (6, 8), (2, 8), (3, 9), (1, 5),
          (2, 4, 5, 8), (3, 5, 6, 9), (1, 2, 10), (6, 7, 10), (4, 7), (6, 10), (8, 10), (7, 9), ())  # fmt: skip
SPARES = (ALL, ALL, ALL, (10,), (7,), (7, 10), (3, 6, 10), (2, 4, 5, 8), (1, 2, 4, 10), (5, 6), (8,), (9,), (2, 8))
BINS = (0.0, 0.001, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999, 1.0001)


@dataclass(frozen=True, slots=True)
class Case:
    """A deck before and after: pins and where each is."""

    number: int
    house: House
    rack: tuple[int, ...]
    stand: tuple[int, ...]
    after: tuple[Pose, ...]


def lying(rng: np.random.Generator, standing: list[Pose]) -> Pose | None:
    """A pin that lies somewhere without touching a standing one's foot; None where it is gone."""
    if rng.random() < 0.45:
        return None
    for _ in range(20):
        foot = (float(rng.uniform(-26, 26)), float(rng.uniform(708, 752)), 0.0)
        if all(np.hypot(foot[0] - s.foot[0], foot[1] - s.foot[1]) > 5.0 for s in standing):
            low = -2.5 if abs(foot[0]) > 20.75 else 0.0
            return Pose((foot[0], foot[1], low), LYING, float(rng.uniform(-np.pi, np.pi)))
    return None


def slid(rng: np.random.Generator, pin: int) -> Pose:
    """A pin on its spot, or now and then some inches beside it."""
    return upright(pin, *(rng.normal(0, 1.5, 2) if rng.random() < 0.08 else (0.0, 0.0)))


def house_of(rng: np.random.Generator, number: int) -> House:
    """One of three fixed cameras or a random one, bright or dim."""
    which = number % 6
    camera = (TRIPOD, UPRIGHT, SMALL)[which] if which < 3 else random_camera(rng, float(rng.choice([-1.0, 1.0])))
    lane = _random_lane(rng)
    factor = float(rng.choice([0.3, 0.6, 1.0, 1.0, 1.5]))
    light = tuple(factor * c for c in lane.light)
    look = replace(lane.look, pit=float(rng.uniform(0.5, 4.0)))
    camera = replace(camera, crf=int(rng.choice([19, 26, 33])), fps=30, preset="veryfast")
    return House(camera, replace(lane, light=light, look=look), number)


def cases(count: int, seed: int) -> Iterator[Case]:
    """Cases in turn: single pins, splits, random leaves of a full rack, and spares."""
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        kind = number % 4
        rack = ALL if kind < 3 else SPARES[int(rng.integers(3, len(SPARES)))]
        if kind == 0:
            stand: tuple[int, ...] = (int(rng.integers(1, 11)),) if number >= 40 else (number // 4 + 1,)
        elif kind == 1:
            stand = SPLITS[int(rng.integers(len(SPLITS)))]
        else:
            stand = tuple(n for n in rack if rng.random() < 0.35)
        poses = [slid(rng, n) for n in stand]
        poses += [p for n in rack if n not in stand if (p := lying(rng, poses)) is not None]
        yield Case(number, house_of(rng, number), rack, stand, tuple(poses))


@dataclass(frozen=True, slots=True)
class Read:
    """What was read of a case: probabilities, and whether the whole set was given and right."""

    case: Case
    before: np.ndarray
    after: np.ndarray
    given: bool
    right: bool
    seconds: float


def read(case: Case, made: Drawn, folder: Path) -> Read | None:
    """Film and read one case."""
    stretches = [(1.0, [upright(n) for n in case.rack]), (0.6, case.after)]
    crops = film(made, stretches, folder / "deck.mp4", seed=case.number)
    begun = time.process_time()
    early = [c for c in crops if c.t_s < 0.9]
    noise = picture_noise(np.stack([c.luma for c in early]).astype(np.float32))
    rack = read_rack(made.view, still_of(early[::3], noise), noise, place_u_px(made.known, made.covariance))
    if rack is None:
        return None
    standing = read_standing(made.view, rack, [c for c in crops if c.t_s > 1.1], 0.5)
    spent = time.process_time() - begun
    if standing is None:
        return Read(case, rack.probability, np.full(10, np.nan), given=False, right=False, seconds=spent)
    given = standing.sure >= SURE and not standing.flying
    return Read(case, rack.probability, standing.probability, given, standing.pins == case.stand, spent)


def reliability(claims: np.ndarray, true: np.ndarray) -> list[str]:
    """Rows of a reliability table: claimed probability, pins, share that stand."""
    rows = []
    for low, high in pairwise(BINS):
        inside = (claims >= low) & (claims < high)
        if inside.any():
            share, stand = claims[inside].mean(), true[inside].mean()
            rows.append(f"| {low:g} to {min(high, 1):g} | {inside.sum()} | {share:.4f} | {stand:.4f} |")
    return ["| claimed | pins | mean claim | stand |", "|---|---|---|---|", *rows]


def main() -> None:
    """Draw, read and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=float("inf"), help="draw no further case after this time")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    done: list[Read] = []
    refused, begun = 0, time.monotonic()
    with tempfile.TemporaryDirectory() as scratch:
        for case in cases(given.cases, given.seed):
            if time.monotonic() - begun > given.seconds:
                break
            made = drawn(case.house)
            result = None if made is None else read(case, made, Path(scratch))
            if result is None:
                refused += 1
                continue
            done.append(result)
            wrong_before = [n for n in ALL if (result.before[n - 1] > 0.5) != (n in case.rack)]
            wrong = [n for n in ALL if (result.after[n - 1] > 0.5) != (n in case.stand)]
            if wrong_before or wrong or (result.given and not result.right):
                c, chances = case.house.camera, [round(float(result.after[n - 1]), 3) for n in wrong]
                sys.stdout.write(
                    f"{case.number}: {c.width}x{c.height} crf{c.crf} light {case.house.lane.light[1]:.2f} "
                    f"rack {case.rack} stand {case.stand} wrong before {wrong_before} after {wrong} ({chances}), "
                    f"given {result.given}\n"
                )
    say(done, refused)


def say(done: list[Read], refused: int) -> None:
    """Print the tables."""
    lines = [f"{len(done)} decks read, {refused} without a camera or contrast"]
    for name, values, truth in (
        ("before", [r.before for r in done], [r.case.rack for r in done]),
        ("after", [r.after for r in done], [r.case.stand for r in done]),
    ):
        claims = np.concatenate(values)
        true = np.concatenate([np.isin(ALL, t) for t in truth])
        told = np.isfinite(claims)
        claims, true = claims[told], true[told]
        sure = np.maximum(claims, 1 - claims) > 0.9
        right = (claims > 0.5) == true
        lines += ["", name, *reliability(claims, true)]
        lines.append(f"claimed over 0.9: {sure.sum()} of {len(claims)}, right {right[sure].mean():.2%}")
    given = [r for r in done if r.given]
    lines.append(f"whole set given {len(given)} of {len(done)}, right {sum(r.right for r in given)} of {len(given)}")
    lines.append(f"a reading takes {np.median([r.seconds for r in done]):.3f} s (median)")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
