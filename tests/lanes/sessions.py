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


@dataclass(frozen=True)
class Session:
    """One practice on one lane: what was measured and what is true; held is one further shot, thrown but not told."""

    throws: list[Throw]
    held: Throw
    held_launch: dict[str, float]
    oil_end_ft: float
    contact_board: np.ndarray
    entry_deg: np.ndarray
    held_contact: float
    held_entry: float
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
    """Sessions on ``count`` lanes, all balls integrated together; the last good ball of each is held out."""
    random = np.random.default_rng(seed)
    lanes = draw_lanes(count, random)
    drawn = [draw_shots(k, int(random.integers(shots[0], shots[1] + 1)) + 3, random) for k in range(count)]
    every = Shots(*(np.concatenate([getattr(d[0], f) for d in drawn]) for f in Shots.__dataclass_fields__))
    texts = [line + hand for d in drawn for line, hand in zip(d[2], d[3], strict=True)]
    every = aimed(lanes, every, texts, np.repeat(random.uniform(16, 20, count), [len(d[1]) for d in drawn]))
    runs = integrate(lanes, every)
    board, entry, _ = contact(runs, every.side)
    away = np.abs(runs.at_ft(np.arange(5, 60, 1.0), runs.x)).max(axis=1) < 19.5 * 41.5 / 39 * 0.0254
    ends = oil_end_ft(lanes, every, runs)
    out, first = [], 0
    for _, names, lines, hands in drawn:
        rows = np.arange(first, first + len(names))
        first += len(names)
        good = rows[away[rows]][: len(names) - 2]
        if len(good) < 4:
            continue
        out.append(_session(good, (names, lines, hands), rows[0], every, runs, (board, entry, ends), random))
    return out


def _session(good, texts, first, every: Shots, runs: Runs, truth, random) -> Session:
    names, lines, hands = texts
    board, entry, ends = truth
    common: dict[int, np.ndarray] = {}
    throws = []
    for row in good:
        k = int(random.integers(len(NOISE)))
        feet, covariance = template(k)
        true_board = _one(runs, row).board(feet, every.side[row : row + 1])[0]
        times = _one(runs, row).time(feet)[0]
        shared = common.setdefault(0, random.standard_normal(40))
        noise = np.sqrt(COMMON) * shared[: len(covariance)] + np.sqrt(1 - COMMON) * random.standard_normal(
            len(covariance)
        )
        b, t = measured(true_board, times[1:] - times[0], covariance, noise)
        i = row - first
        throws.append(
            Throw(
                f"s{i + 1:02d}",
                i + 1,
                "1",
                names[i],
                hands[i],
                Stations(feet, b, t, covariance),
                line=lines[i],
                intent="same",
            )
        )
    last = good[-1]
    at = 1.4
    one = _one(runs, last)
    held_launch = {
        "board": float(
            20 - every.side[last] * np.interp(at, runs.y[:, last] / 0.3048, runs.x[:, last]) / (41.5 / 39 * 0.0254)
        ),
        "launch_deg": float(-one.heading_deg([at], every.side[last : last + 1])[0, 0]),
        "rpm": float(every.rpm[last] * np.cos(np.radians(every.tilt_deg[last]))),
        "rotation": float(every.rotation_deg[last]),
        "speed_mph": float(np.hypot(one.vx[0, 0], one.vy[0, 0]) / 0.44704),
    }
    kept = good[:-1]
    return Session(
        throws[:-1],
        throws[-1],
        held_launch,
        float(np.nanmean(ends[kept])),
        board[kept],
        entry[kept],
        float(board[last]),
        float(entry[last]),
        {names[r - first]: float(every.grip[r]) for r in good},
    )


def _one(runs: Runs, row: int) -> Runs:
    pick = slice(row, row + 1)
    return Runs(runs.t, runs.x[:, pick], runs.y[:, pick], runs.vx[:, pick], runs.vy[:, pick], runs.slip[:, pick])
