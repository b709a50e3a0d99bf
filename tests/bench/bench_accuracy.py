"""Accuracy of the whole measuring chain on varied rendered shots: ``python tests/bench/bench_accuracy.py --shots 24``.

Cameras, frame rates, hands, balls, lanes and shots are drawn from a seed; a few balls are straight, a few end in the
gutter. The lane is found in each clip, or with ``--marks`` solved from marks clicked to about a pixel; hand and ball
diameter are not told, except that a clip whose hand was read wrong is counted and then measured again with the right
one. Prints a table a column (how many, missing where the truth has a number, invented where it has none, root mean
square and median error, share within 2 u, root mean square of error / u, cells beyond 3 u), errors of the path, states
with counts, and the worst cells. With ``--keep`` clips and truths stay and are used again, so that a change of the
tracker is measured on the same pictures.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from random_shots import Cell, Job, Outcome, run_clip

WORST = 12


def column_table(cells: Sequence[Cell]) -> list[str]:
    """One line a column."""
    head = ("column", "n", "missing", "invented", "rms", "median", "in 2u", "rms/u", "bias/u", ">3u")
    lines = ["{:20}{:>5}{:>9}{:>10}{:>9}{:>9}{:>8}{:>8}{:>8}{:>5}".format(*head)]
    for name in dict.fromkeys(c.column for c in cells):
        own = [c for c in cells if c.column == name]
        both = [c for c in own if c.value is not None and c.true is not None]
        missing = sum(c.value is None and c.true is not None for c in own)
        invented = sum(c.value is not None and c.true is None for c in own)
        lines.append(f"{name:20}{len(both):5}{missing:9}{invented:10}" + _spread(both))
    both = [c for c in cells if c.value is not None and c.true is not None]
    return [*lines, f"{'all':20}{len(both):5}{'':19}{'':18}" + _spread(both)[18:]]


def _spread(both: Sequence[Cell]) -> str:
    if not both:
        return ""
    error, sigmas = (np.array([getattr(c, k) for c in both]) for k in ("error", "sigmas"))
    far = np.abs(sigmas)
    return (
        f"{math.sqrt(np.mean(error**2)):9.3f}{np.median(np.abs(error)):9.3f}{np.mean(far <= 2):8.2f}"
        f"{math.sqrt(np.mean(sigmas**2)):8.2f}{np.mean(sigmas):+8.2f}{int((far > 3).sum()):5}"
    )


def report(outcomes: Sequence[Outcome]) -> str:
    """The whole text."""
    cells = [c for o in outcomes for c in o.cells]
    lines = [f"{len(outcomes)} clips", "", *column_table(cells), ""]
    board, feet = (np.array([getattr(o, k) for o in outcomes]) for k in ("board_rms", "ft_rms"))
    for name, values in (("path, boards", board), ("path, feet", feet)):
        kept = values[np.isfinite(values)]
        if len(kept):
            lines.append(f"{name}: rms {math.sqrt(np.mean(kept**2)):.3f}, median clip {np.median(kept):.3f}, worst "
                         f"{kept.max():.3f} (clip {outcomes[int(np.nanargmax(values))].clip})")  # fmt: skip
    for title, counts in (
        ("wanted -> said", Counter(f"{o.wanted} -> {o.status}" for o in outcomes)),
        ("hand", Counter(o.hand for o in outcomes)),
        ("flags", Counter(f for o in outcomes for f in o.flags)),
    ):
        lines += ["", title, *(f"  {n:3} {key}" for key, n in counts.most_common())]
    lines += ["", "worst cells (error / u)"]
    far = sorted((c for c in cells if math.isfinite(c.sigmas)), key=lambda c: -abs(c.sigmas))[:WORST]
    lines += [f"  clip {c.clip:2} {c.column:18} {c.value:8.2f} +- {c.u:.2f}, true {c.true:8.2f}, {c.sigmas:+.1f} u"
              for c in far]  # fmt: skip
    lines += ["", "invented", *(f"  clip {c.clip:2} {c.column} {c.value:.2f} +- {c.u:.2f}" for c in cells
                                if c.value is not None and c.true is None)]  # fmt: skip
    lines += ["", "missing", *(f"  clip {c.clip:2} {c.column} true {c.true:.2f}" for c in cells
                               if c.value is None and c.true is not None)]  # fmt: skip
    lines += ["", "clips", *map(_line, outcomes)]
    return "\n".join(lines) + "\n"


def _line(o: Outcome) -> str:
    return (
        f"  {o.clip:2} {o.short}\n     {o.status}; hand {o.hand}; path {o.board_rms:.2f} boards {o.ft_rms:.2f} ft; "
        f"{' '.join(o.flags)}; cpu {o.seconds[0]:.1f} + {o.seconds[1]:.1f} s"
    )


def _nice() -> None:
    os.nice(10)


def main() -> None:
    """Render and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first shot")
    parser.add_argument("--keep", type=Path, help="folder in which clips and truths stay and are used again")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--marks", action="store_true", help="solve the camera from clicked marks")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        jobs = [Job(n, given.seed, str(folder), given.marks) for n in range(given.first, given.first + given.shots)]
        context = multiprocessing.get_context("spawn")
        outcomes: list[Outcome] = []
        with ProcessPoolExecutor(given.workers, mp_context=context, initializer=_nice) as pool:
            for outcome in pool.map(run_clip, jobs):
                outcomes.append(outcome)
                sys.stderr.write(_line(outcome) + "\n")
                sys.stderr.flush()
    sys.stdout.write(report(outcomes))


if __name__ == "__main__":
    main()
