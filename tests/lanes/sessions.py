"""Simulated practice sessions on true lanes, measured with errors as those of really measured shots."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lanes.truth import Lanes, Runs, Shots, contact, draw_lanes, integrate, oil_end_ft
from tracker.results import Stations
from tracker.session.throws import Throw

NOISE = json.loads((Path(__file__).parent / "station_noise.json").read_text())
"""Stations, standard uncertainties and correlations of the sample session's eight shots, as measured."""
COMMON = 0.5
"""Part of the variance that a session's shots share (camera); own choice: the measured covariances do not tell."""
AIMS = 4
HELD, SPARE = 2, 3
"""Shots held out of each session, and drawn beside those wanted for some that end in the gutter."""


@dataclass(frozen=True)
class Session:
    """One practice on one lane: what was measured and what is true; held are further shots, thrown but not told."""

    throws: list[Throw]
    held: list[Throw]
    oil_end_ft: float
    contact: dict[str, float]
    entry: dict[str, float]
    grip: dict[str, float]


def template(k: int) -> tuple[np.ndarray, np.ndarray]:
    """Distances and covariance of one of the measured shots."""
    one = NOISE[k % len(NOISE)]
    n = len(one["u"])
    c = np.eye(n)
    for i, row in enumerate(one["correlation"]):
        c[i, :i] = c[:i, i] = row
    u = np.array(one["u"])
    return np.array(one["distance_ft"]), c * np.outer(u, u)


def root(covariance):
    values, vectors = np.linalg.eigh(covariance)
    return vectors * np.sqrt(np.maximum(values, 0))


def draw_shots(lane: int, count: int, random: np.random.Generator) -> tuple[Shots, list[str], list[str], list[str]]:
    """Shots of one or two bowlers with two to four balls on two or three lines; ball, line and hand names."""
    hands = ["right", "left"] if random.random() < 0.25 else [str(random.choice(["right", "left"]))]
    balls = int(random.integers(2, 5))
    grip = np.exp(random.normal(0, 0.13, balls))
    cover = np.exp(0.8 * np.log(grip) + random.normal(0, 0.08, balls))
    gyration = random.uniform(2.46, 2.62, balls)
    turn, wobble = random.normal(0, 2.5, balls), random.uniform(0, 1.5, balls)
    style = {
        h: (
            random.normal(17, 1.2),
            np.exp(random.normal(np.log(330), 0.22)),
            random.normal(45, 12),
            random.uniform(5, 18),
        )
        for h in hands
    }
    lines = [(b, 1.0 + (b - 13) * 0.17) for b in random.uniform(13, 26, int(random.integers(2, 4)))]
    rows, names, told, who = [], [], [], []
    for n in range(count):
        ball, line, hand = n * balls // count, int(random.integers(len(lines))), hands[n % len(hands)]
        mph, rpm, rotation, tilt = style[hand]
        board, degrees = lines[line]
        rows.append(
            (
                lane,
                n + 1,
                1.0 if hand == "right" else -1.0,
                board + random.normal(0, 0.6),
                degrees + random.normal(0, 0.22),
                mph + random.normal(0, 0.22),
                rpm * (1 + random.normal(0, 0.03)),
                rotation + random.normal(0, 2.5),
                tilt,
                grip[ball],
                cover[ball],
                gyration[ball],
                turn[ball],
                wobble[ball],
                random.uniform(2, 4),
                random.uniform(1, 2),
            )
        )
        names.append(f"ball {ball}")
        told.append(f"line {line}")
        who.append(hand)
    return Shots(*(np.array(v) for v in zip(*rows, strict=True))), names, told, who


def aimed(lanes: Lanes, shots: Shots, lines: list[str], wanted: np.ndarray) -> Shots:
    """The same shots with each line's launch turned until its middle comes near the board wanted, as a bowler would."""
    for _ in range(AIMS):
        runs = integrate(lanes, shots, 4e-3)
        high = contact(runs, shots.side)[0] - wanted
        keys = [f"{k} {line}" for k, line in zip(shots.lane, lines, strict=True)]
        middle = {key: np.median(high[[k == key for k in keys]]) for key in set(keys)}
        turn = np.degrees([middle[key] * 41.5 / 39 / 12 / 58 for key in keys])
        shots = shots.with_values(launch_deg=np.clip(shots.launch_deg + 0.8 * turn, -1.0, 5.5))
    return shots


def measured(board, elapsed, covariance, noise) -> tuple[np.ndarray, np.ndarray]:
    off = root(covariance) @ noise
    return board + off[: len(board)], elapsed + off[len(board) :]


def sessions(count: int, seed: int, shots: tuple[int, int] = (3, 12)) -> list[Session]:
    """Sessions on ``count`` lanes, all balls integrated together; gutter balls are no part of them."""
    random = np.random.default_rng(seed)
    lanes = draw_lanes(count, random)
    wanted = random.integers(shots[0], shots[1] + 1, count)
    drawn = [draw_shots(k, int(n) + HELD + SPARE, random) for k, n in enumerate(wanted)]
    every = Shots(*(np.concatenate([getattr(d[0], f) for d in drawn]) for f in Shots.__dataclass_fields__))
    texts = [line + hand for d in drawn for line, hand in zip(d[2], d[3], strict=True)]
    every = aimed(lanes, every, texts, np.repeat(random.uniform(16, 20, count), [len(d[1]) for d in drawn]))
    runs = integrate(lanes, every)
    away = np.abs(runs.at_ft(np.arange(5, 60, 1.0), runs.x)).max(axis=1) < 19.5 * 41.5 / 39 * 0.0254
    truth = (*contact(runs, every.side)[:2], oil_end_ft(lanes, every, runs))
    out, first = [], 0
    for n, (_, *words) in zip(wanted, drawn, strict=True):
        rows = np.arange(first, first + len(words[0]))
        first += len(rows)
        good = rows[away[rows]][: int(n) + HELD]
        if len(good) == int(n) + HELD:
            out.append(_session(good, words, rows[0], (every, runs, truth), random))
    return out


def _session(good, words, first, world, random) -> Session:
    every, runs, (board, entry, ends) = world
    names, lines, hands = words
    common = random.standard_normal(40)
    throws = []
    for row in good:
        feet, covariance = template(int(random.integers(len(NOISE))))
        one = _one(runs, row)
        times = one.time(feet)[0]
        own = random.standard_normal(len(covariance))
        noise = np.sqrt(COMMON) * common[: len(covariance)] + np.sqrt(1 - COMMON) * own
        true_board = one.board(feet, every.side[row : row + 1])[0]
        i = int(row - first)
        seen = Stations(feet, *measured(true_board, times[1:] - times[0], covariance, noise), covariance)
        throws.append(Throw(f"s{i + 1:02d}", i + 1, "1", names[i], hands[i], seen, line=lines[i], intent="same"))
    held = set(random.choice(len(good), HELD, replace=False))
    kept = [k for k in range(len(good)) if k not in held]
    by_id = {t.shot_id: row for t, row in zip(throws, good, strict=True)}
    return Session(
        [throws[k] for k in kept],
        [throws[k] for k in sorted(held)],
        float(np.nanmean(ends[good[kept]])),
        {name: float(board[row]) for name, row in by_id.items()},
        {name: float(entry[row]) for name, row in by_id.items()},
        {names[row - first]: float(every.grip[row]) for row in good},
    )


def _one(runs: Runs, row: int) -> Runs:
    pick = slice(row, row + 1)
    return Runs(runs.t, runs.x[:, pick], runs.y[:, pick], runs.vx[:, pick], runs.vy[:, pick], runs.slip[:, pick])
