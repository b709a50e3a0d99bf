"""How a drawn house looks and which pins stand in it, by chance."""

from __future__ import annotations

import numpy as np

from sample_media.spec import ALL_PINS, LaneSpec, LookSpec, Rgb

Rng = np.random.Generator
RACKS = ((7, 10), (10,), (3, 6, 10), (2, 8), (1, 2, 4, 7), (5,), (4, 6, 7, 9, 10), (7,), (1, 3))
LIGHTS: dict[str, Rgb] = {
    "white": (1.0, 1.0, 1.0),
    "warm": (1.08, 0.85, 0.58),
    "cool": (0.8, 0.95, 1.15),
    "blue": (0.22, 0.38, 1.3),
    "violet": (0.75, 0.22, 1.2),
}
FOUL_LINES: dict[str, Rgb] = {"dark": (0.022, 0.02, 0.02), "red": (0.35, 0.03, 0.03), "pale": (0.6, 0.58, 0.5)}


def random_lane(rng: Rng) -> tuple[LaneSpec, list[str]]:
    """Look of a house and words about it."""
    light = list(LIGHTS)[rng.choice(len(LIGHTS), p=(0.4, 0.2, 0.15, 0.15, 0.1))]
    foul = list(FOUL_LINES)[rng.choice(3, p=(0.6, 0.2, 0.2))]
    wooden = bool(rng.random() < 0.6)
    brightness, gutter = float(np.exp(rng.uniform(-1.3, 0.55))), float(np.exp(rng.uniform(-1.2, 1.3)))
    tint = np.exp(rng.normal(0, 0.08 if wooden else 0.15, 3))
    if rng.random() < 0.2:  # a grey or dark printed lane
        tint *= np.array([0.32, 0.31, 0.2]) ** -0.6 / np.mean(np.array([0.32, 0.31, 0.2]) ** -0.6)
    look = LookSpec(
        lane_tint=tuple(tint),
        gutter_tint=tuple(np.exp(rng.normal(0, 0.15, 3))),
        approach_tint=tuple(np.exp(rng.normal(0, 0.09, 3)) * np.exp(rng.uniform(-1.0, 0.5))),
        board_contrast=rng.uniform(0.6, 1.5) if wooden else rng.uniform(0.05, 0.4),
        middle_wood=wooden,
        foul_line=FOUL_LINES[foul],
        arrows=(0.085, 0.035, 0.02) if rng.random() < 0.7 else (0.5, 0.45, 0.3),
        show_arrows=bool(rng.random() < 0.8),
        show_dots=bool(rng.random() < 0.7),
        cap=float(np.exp(rng.uniform(-0.7, 2.0))),
        surround=float(np.exp(rng.uniform(-1.5, 0.8))),
        mask=float(np.exp(rng.uniform(-1.5, 0.8))),
        pit=float(np.exp(rng.uniform(-0.5, 2.2))),
        approach_ft=rng.uniform(15, 18) if rng.random() < 0.6 else 1000.0,
        carpet=tuple(rng.uniform(0.01, 0.1) * np.exp(rng.normal(0, 0.3, 3))),
    )
    gloss = rng.uniform(0.1, 1.7)
    spec = LaneSpec(
        brightness=brightness,
        gutter_brightness=gutter,
        gloss=gloss,
        light=LIGHTS[light],
        look_seed=int(rng.integers(1 << 30)),
        look=look,
    )
    surface = "wooden" if wooden else "printed"
    words = [f"{surface} lane {brightness:.2f}", f"gutters {gutter:.2f}", f"gloss {gloss:.1f}", f"{light} light"]
    return spec, [*words, f"{foul} foul line"]


def random_rack(rng: Rng) -> tuple[int, ...]:
    """Pins that stand: mostly all, else a spare's, none in 12 %."""
    kind = rng.random()
    if kind < 0.12:
        return ()
    return ALL_PINS if kind < 0.65 else RACKS[rng.integers(len(RACKS))]
