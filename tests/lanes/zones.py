"""Lanes of plain zones, for worked cases: film tables that give friction values, and one shot on them."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from lanes.truth import RADIUS, ROWS_FT, Lanes, Shots

NONE = np.zeros(1)


def zone_lane(mu_oil: float, mu_dry: float, zones: tuple[tuple[float, float], ...]) -> Lanes:
    """One lane whose friction takes the next value at each distance; values between oil and dry by the film's law."""
    film = np.zeros((1, 41, len(ROWS_FT)))
    for begin_ft, mu in zones:
        share = np.clip((mu_dry - mu_oil) / max(mu - mu_oil, 1e-9) - 1, 0, 1e7)
        film[:, :, begin_ft <= ROWS_FT] = 0.1 * share
    flat = np.zeros((1, 3, 3))
    return Lanes(
        film, np.array([mu_oil]), np.array([mu_dry]), np.array([0.1]), np.ones(1), NONE, flat, NONE, NONE, NONE
    )


def plain_shot(mph, rpm, rotation, tilt, right, board, k_in) -> Shots:
    """A right-hander's shot of a plain ball, set down at the foul line."""
    one = np.ones(1)
    return Shots(
        np.zeros(1, int), NONE, one, board * one, right * one, mph * one, rpm * one, rotation * one,
        tilt * one, one, one, k_in * one, NONE, NONE, one, NONE,
    )  # fmt: skip


def same_ball(mph, rpm, rotation, tilt, right, board, k_in) -> Shots:
    """The worked cases' ball has a radius of 4.2975 in; another moves alike with the same R W and k / R."""
    scale = RADIUS / (4.2975 * 0.0254)
    return plain_shot(mph, rpm / scale, rotation, tilt, right, board, k_in * scale)


def joined(parts: list) -> Lanes | Shots:
    """Several lanes or shots as one."""
    return type(parts[0])(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(parts[0])))
