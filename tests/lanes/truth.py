"""Lanes and balls that are not of the program's form: tabulated oil, films, viscous loss, unsteady axes, topography.

Shares nothing with the program. All balls are integrated together, fourth-order Runge-Kutta over time of the full
equations of motion of a sphere that touches the lane at a point (Newton and Euler; Coulomb slip as in textbook
mechanics), in metres, seconds, radians; x to the right of the lane's middle, y past the foul line, z up.

Oil is a table of film thickness over 39 boards and distance, laid in steps: a plateau inside, thinner outside by a
ratio, tapered by buffing in steps, ending earlier outside. Friction falls with the film as 1 / (1 + (h / h0)^p), which
is no logistic, and grows with the slip's speed where the film is thick (viscous loss). An asymmetric core turns the
spin about the vertical, slowly and with a wobble. The lane tilts across by a part of the 40/1000 in that rules allow
(seen on a federation's page). A rolling ball slows a little. Magnitudes: own choices inside what facts of the trade
allow; no source has measured them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

G = 9.80665
FT, IN = 0.3048, 0.0254
BOARD = 41.5 * IN / 39
RADIUS = 4.27375 * IN
PIN_RADIUS = 4.766 / 2 * IN
MPH = 0.44704
ROWS_FT = np.arange(0.0, 63.0, 0.5)
STEP_S = 2e-3
END_FT = 60.3


@dataclass(frozen=True)
class Lanes:
    """Many lanes, every field ``(lanes, ...)``."""

    film: np.ndarray
    """``(lanes, 41, rows)`` film over boards 0 .. 40 and ROWS_FT, 1 inside."""
    mu_oil: np.ndarray
    mu_dry: np.ndarray
    film_half: np.ndarray
    power: np.ndarray
    viscous: np.ndarray
    """Friction that one metre a second of slip adds on a film of 1."""
    tilt: np.ndarray
    """``(lanes, 3, 3)`` amplitude in radians, waves over the lane, phase."""
    worn: np.ndarray
    """Share of the film that ten shots take away."""
    carried_ft: np.ndarray
    """How far ten shots carry the oil's end."""
    rolling: np.ndarray

    def take(self, rows) -> Lanes:
        return Lanes(*(getattr(self, f.name)[rows] for f in fields(self)))

    def film_at(self, x, y, number):
        """Film under balls, one a lane, at places in metres."""
        later = number / 10
        feet = np.clip(
            (y / FT - self.carried_ft * later * np.clip((y / FT - 25) / 10, 0, 1)) / 0.5, 0, len(ROWS_FT) - 1.001
        )
        board = np.clip(20 - x / BOARD, 0, 39.999)
        i, j = board.astype(int), feet.astype(int)
        a, b, k = board - i, feet - j, np.arange(len(x))
        f = self.film
        near = f[k, i, j] * (1 - b) + f[k, i, j + 1] * b
        next_ = f[k, i + 1, j] * (1 - b) + f[k, i + 1, j + 1] * b
        return (near * (1 - a) + next_ * a) * (1 - self.worn * later)

    def friction(self, film, cover=1.0):
        """Coulomb part for a ball whose cover reaches through a film ``cover`` times as thick."""
        thin = 1 / (1 + (np.maximum(film, 0) / (self.film_half * cover)) ** self.power)
        return self.mu_oil + (self.mu_dry - self.mu_oil) * thin

    def across(self, y):
        """Tilt across, positive where the ball is drawn to +x."""
        size, waves, phase = (self.tilt[:, :, k] for k in range(3))
        return np.sum(size * np.sin(2 * np.pi * waves * (y / (60 * FT))[:, None] + phase), axis=1)


@dataclass(frozen=True)
class Shots:
    """Many shots, every field ``(shots,)``; lane is a row of :class:`Lanes`, side +1 for a right-hander."""

    lane: np.ndarray
    number: np.ndarray
    side: np.ndarray
    board: np.ndarray
    launch_deg: np.ndarray
    mph: np.ndarray
    rpm: np.ndarray
    rotation_deg: np.ndarray
    tilt_deg: np.ndarray
    grip: np.ndarray
    cover: np.ndarray
    gyration_in: np.ndarray
    turn_deg_s: np.ndarray
    wobble_deg: np.ndarray
    wobble_hz: np.ndarray
    laydown_ft: np.ndarray

    def take(self, rows) -> Shots:
        return Shots(*(getattr(self, f.name)[rows] for f in fields(self)))

    def with_values(self, **values) -> Shots:
        return replace(self, **values)


@dataclass(frozen=True)
class Runs:
    """Integrated balls, ``(steps, shots)``; SI units."""

    t: np.ndarray
    x: np.ndarray
    y: np.ndarray
    vx: np.ndarray
    vy: np.ndarray
    slip: np.ndarray

    def at_ft(self, feet, values) -> np.ndarray:
        """Values ``(shots, k)`` at distances ``(k,)``."""
        return np.stack([np.interp(np.asarray(feet) * FT, self.y[:, n], values[:, n]) for n in range(self.y.shape[1])])

    def board(self, feet, side) -> np.ndarray:
        return 20 - side[:, None] * self.at_ft(feet, self.x) / BOARD

    def time(self, feet) -> np.ndarray:
        return self.at_ft(feet, np.broadcast_to(self.t[:, None], self.y.shape))

    def heading_deg(self, feet, side) -> np.ndarray:
        """Toward the pocket."""
        return np.degrees(np.arctan2(-side[:, None] * self.at_ft(feet, self.vx), self.at_ft(feet, self.vy)))


def launch(shots: Shots) -> np.ndarray:
    """States ``(6, shots)``: place, velocity, horizontal spin."""
    a, rot, tilt = (np.radians(v) for v in (shots.launch_deg, shots.rotation_deg, shots.tilt_deg))
    v, w = shots.mph * MPH, shots.rpm * 2 * np.pi / 60
    across, along = -w * np.cos(tilt) * np.cos(rot), -w * np.cos(tilt) * np.sin(rot)
    # travel direction (sin a, cos a) for a right-hander; the left-hander's motion is the mirror image
    wx = across * np.cos(a) + along * np.sin(a)
    wy = -across * np.sin(a) + along * np.cos(a)
    x = (20 - shots.board) * BOARD
    return np.stack(
        [shots.side * x, shots.laydown_ft * FT, shots.side * v * np.sin(a), v * np.cos(a), wx, shots.side * wy]
    )


def integrate(lanes: Lanes, shots: Shots, step_s: float = STEP_S, end_ft: float = END_FT) -> Runs:
    """All shots from laydown to the head pin."""
    own = lanes.take(shots.lane)
    k2 = (shots.gyration_in * IN) ** 2
    q = k2 / (k2 + RADIUS**2)
    s = launch(shots)
    rolls = np.zeros(s.shape[1], bool)
    rows, t = [], 0.0

    def slip(s):
        return s[2] - RADIUS * s[5], s[3] + RADIUS * s[4]

    def pull(s, t):
        ux, uy = slip(s)
        speed = np.hypot(ux, uy)
        film = own.film_at(s[0], s[1], shots.number)
        mu = shots.grip * own.friction(film, shots.cover) + own.viscous * np.maximum(film, 0) * speed
        return mu * G, ux / np.maximum(speed, 1e-9), uy / np.maximum(speed, 1e-9)

    def rate(s, t):
        a, ex, ey = pull(s, t)
        a = np.where(rolls, 0.0, a)
        turn = np.radians(
            shots.turn_deg_s + shots.wobble_deg * 2 * np.pi * shots.wobble_hz * np.cos(2 * np.pi * shots.wobble_hz * t)
        )
        # a ball is drilled for its bowler's hand: what its core does is mirrored too
        turn = np.where(rolls, 0.0, shots.side * turn)
        side = G * own.across(s[1]) * np.where(rolls, 1 - q, 1.0)
        slow = own.rolling * G * np.where(rolls, 1.0, 0.0)
        ax = -a * ex + side
        ay = -a * ey - slow
        wx = -a * ey * RADIUS / k2 - turn * s[5]
        wy = a * ex * RADIUS / k2 + turn * s[4]
        return np.stack([s[2], s[3], ax, ay, np.where(rolls, -ay / RADIUS, wx), np.where(rolls, ax / RADIUS, wy)])

    while np.any(s[1] < end_ft * FT) and t < 6:
        speed = np.hypot(*slip(s))
        rows.append((t, *s[:4].copy(), np.where(rolls, 0.0, speed)))
        a, _, _ = pull(s, t)
        left = np.where(rolls, np.inf, speed / np.maximum(a * (1 + RADIUS**2 / k2), 1e-9))
        h = np.minimum(step_s, left)
        k1 = rate(s, t)
        k2_ = rate(s + h / 2 * k1, t + h / 2)
        k3 = rate(s + h / 2 * k2_, t + h / 2)
        k4 = rate(s + h * k3, t + h)
        s = s + h / 6 * (k1 + 2 * k2_ + 2 * k3 + k4)
        done = left <= step_s
        if done.any():
            vx = (RADIUS * s[2] + k2 * s[5]) / (RADIUS + k2 / RADIUS)
            vy = (RADIUS * s[3] - k2 * s[4]) / (RADIUS + k2 / RADIUS)
            vx, vy = np.where(done, vx, s[2]), np.where(done, vy, s[3])
            s = np.stack(
                [
                    s[0] + np.where(done, step_s - h, 0) * vx,
                    s[1] + np.where(done, step_s - h, 0) * vy,
                    vx,
                    vy,
                    np.where(done, -vy / RADIUS, s[4]),
                    np.where(done, vx / RADIUS, s[5]),
                ]
            )
            rolls = rolls | done
        t += step_s
    return Runs(np.array([r[0] for r in rows]), *(np.array([r[k] for r in rows]) for k in range(1, 6)))


def contact(runs: Runs, side) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Board, heading toward the pocket and distance in feet at first contact with a rack, else at 59.5 ft."""
    spots = [
        (dx * IN, (60 + row * np.sqrt(0.75)) * FT)
        for row, xs in enumerate(((0,), (-6, 6), (-12, 0, 12), (-18, -6, 6, 18)))
        for dx in xs
    ]
    feet = np.arange(57.0, 60.3, 0.005)
    x, reach = runs.at_ft(feet, runs.x), RADIUS + PIN_RADIUS
    gap = np.min([np.hypot(x - px, feet * FT - py) for px, py in spots], axis=0)
    hit = gap <= reach
    where = np.where(hit.any(axis=1), feet[np.argmax(hit, axis=1)], 59.5)
    board = np.array([np.interp(w, feet, 20 - s * row / BOARD) for w, s, row in zip(where, side, x, strict=True)])
    heading = runs.heading_deg(feet, side)
    return board, np.array([np.interp(w - 0.5, feet, row) for w, row in zip(where, heading, strict=True)]), where


def oil_end_ft(lanes: Lanes, shots: Shots, runs: Runs) -> np.ndarray:
    """From where on, along each shot's own line, log friction of a ball of grip 1 stays above half way to dry.

    Oiled is its mean over 10 to 25 ft, dry its mean over 56 to 60 ft.
    """
    feet = np.arange(8.0, 60.0, 0.05)
    x = runs.at_ft(feet, runs.x)
    own = lanes.take(shots.lane)
    log_mu = np.stack(
        [np.log(own.friction(own.film_at(x[:, k], np.full(len(x), f * FT), shots.number))) for k, f in enumerate(feet)],
        axis=1,
    )
    oiled = log_mu[:, (feet >= 10) & (feet <= 25)].mean(axis=1)
    dry = log_mu[:, feet >= 56].mean(axis=1)
    below = log_mu < ((oiled + dry) / 2)[:, None]
    return feet[log_mu.shape[1] - 1 - np.argmax(below[:, ::-1], axis=1)] + 0.025


def pattern(length_ft, ratio, inside, slope, taper_from, steps, shorter_ft) -> np.ndarray:
    """Film ``(41, rows)``: plateau within ``inside`` boards of the middle, thinner by ``ratio`` over ``slope`` boards,
    buffed from a share ``taper_from`` of the length on in ``steps`` steps, ``shorter_ft`` shorter outside."""
    off = np.abs(np.arange(41) - 20.0)
    outside = np.round(np.clip((off - inside) / slope, 0, 1) * 4) / 4
    level = ratio ** (-outside)
    out = np.zeros((41, len(ROWS_FT)))
    for b in range(41):
        end = length_ft - shorter_ft * outside[b]
        start = taper_from * length_ft
        share = np.clip((ROWS_FT - start) / (end - start), 0, 1)
        stepped = np.ceil(share * steps) / (steps + 1)
        out[b] = np.where(end >= ROWS_FT, level[b] * (1 - 0.85 * stepped), 0.0)
    return out


def draw_lanes(count: int, random: np.random.Generator) -> Lanes:
    """Lanes of 33 to 47 ft and ratios of 1.5 to 10."""
    u = random.uniform
    film = np.stack(
        [
            pattern(
                u(33, 47),
                np.exp(u(np.log(1.5), np.log(10))),
                u(6, 11),
                u(2, 6),
                u(0.5, 0.8),
                int(random.integers(3, 8)),
                u(0, 4),
            )
            for _ in range(count)
        ]
    )
    tilt = np.stack(
        [random.normal(0, 0.25 * 0.04 / 41.5, (count, 3)), u(0.5, 3, (count, 3)), u(0, 6.3, (count, 3))], axis=-1
    )
    return Lanes(
        film,
        np.exp(random.normal(np.log(0.033), 0.2, count)),
        np.exp(random.normal(np.log(0.2), 0.15, count)),
        u(0.05, 0.11, count),
        u(1.0, 1.8, count),
        u(0, 0.0012, count),
        tilt,
        u(0, 0.10, count),
        u(-0.5, 1.2, count),
        u(0, 0.0015, count),
    )
