"""How good the line-up is on lanes that are not of its form: what its choice loses against the best in hindsight.

    python tests/bench/bench_lineup.py --sessions 60 [--shots 8]

A bowler practises on a true lane (``tests/lineup/practice.py``), the balls in turn with the usual moves; then the
line-up chooses, and so do three rules: stay, the board of the oil's length less 31, and the ball and line that came to
the pocket last. Worth is the true chance of the window under the bowler's own scatter. What the next
shot it names is worth: ``bench_nextshot.py``.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from lanes.truth import ROWS_FT
from lineup.practice import Practice, practise

from tracker.lineup.chances import THROWS, Outlook
from tracker.lineup.decide import Ranking, last_of_each_ball, rank
from tracker.lineup.lines import Line
from tracker.lineup.lineup import scatter_draws
from tracker.lineup.moves import moves_of
from tracker.lineup.played import Played, played_lines
from tracker.lineup.window import Window
from tracker.session.bowler import read_bowler
from tracker.session.lanefit import fit_lanes
from tracker.session.posterior import DRAWS, Posterior, draw_posterior

WINDOW = Window()
RULES = ("line-up", "stay", "length less 31", "struck last")


@dataclass
class Decided:
    """A decision after some shots, and how long it took."""

    posterior: Posterior
    now: Outlook
    bases: tuple[Played, ...]
    ranking: Ranking
    seconds: float


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def decide(practice: Practice, draws: int = DRAWS, throws: int = THROWS) -> Decided:
    begun = time.process_time()
    posterior = draw_posterior(fit_lanes(practice.throws, {}), draws)
    scatter = scatter_draws(read_bowler(posterior, practice.hand), len(posterior))
    now = Outlook(posterior, WINDOW, float(len(practice.throws) + 1), scatter)
    bases = last_of_each_ball(played_lines(posterior))
    return Decided(posterior, now, bases, rank(now, bases, throws), time.process_time() - begun)


def in_hindsight(practice: Practice, decided: Decided, extra: list[tuple[str, Line]]) -> tuple[float, np.ndarray]:
    """Worth of the best of many ways, and of the extra ones."""
    moves = [m for b in decided.bases for m in moves_of(b)]
    even = [choice for choice, feet, target in moves if feet % 2 == 0 and target % 2 == 0]
    ranked = [o.choice for o in decided.ranking.options]
    ways = [(choice.ball, choice.line) for choice in [*even, *ranked]] + extra
    rough = practice.worth([ball for ball, _ in ways], [line for _, line in ways], WINDOW, points=32)
    # the best of many by few throws would seem better than it is: it is worked out anew by other throws
    kept = [ways[int(np.argmax(rough))], *extra]
    worth = practice.worth([ball for ball, _ in kept], [line for _, line in kept], WINDOW, points=256, seed=4)
    return float(worth.max()), worth[1:]


def released(decided: Decided, k: int) -> Line:
    """Release of the shot of this rank; the middle of what was played where it is held out of the fit."""
    ids = [t.shot_id for t in decided.posterior.fit.throws]
    name = f"s{k + 1:02d}"
    if name not in ids:
        return decided.bases[-1].line
    return Line.of(*(float(v) for v in decided.posterior.launch_of(ids.index(name))))


def sheet_length_ft(practice: Practice) -> float:
    """Length that the pattern's sheet would have: where the oil inside ends as it was laid."""
    return float(ROWS_FT[np.flatnonzero(practice.lanes.film[0, 20] > 0.0).max()])


def rules(practice: Practice, decided: Decided) -> list[tuple[str, Line]]:
    """What the line-up and the rules choose."""
    ranking = decided.ranking
    best = ranking.options[ranking.tied[0]].choice if ranking.options else None
    last = len(practice.throws) - 1
    stay = (practice.throws[last].ball, released(decided, last))
    length = sheet_length_ft(practice)
    laydown = stay[1].laydown_board
    exit_line = Line(laydown, laydown + (length - 31.0 - laydown) * 15.0 / length, stay[1].speed_mph)
    hits = [k for k, (b, e) in enumerate(practice.seen) if 16.8 <= b <= 18.2 and 3 <= e <= 6]
    k = hits[-1] if hits else last
    struck = (practice.throws[k].ball, released(decided, k))
    return [(best.ball, best.line) if best is not None else stay, stay, (stay[0], exit_line), struck]


def interval(values: np.ndarray) -> str:
    """Mean and central 95 % of it over resampled sessions."""
    random = np.random.default_rng(1)
    means = values[random.integers(0, len(values), (2000, len(values)))].mean(axis=1)
    low, high = np.percentile(means, [2.5, 97.5])
    return f"{100 * values.mean():5.1f} ({100 * low:.1f} to {100 * high:.1f})"


def compare(count: int, shots: int) -> None:
    losses, claimed, seconds = [], [], []
    for seed in range(count):
        practice = practise(seed, shots)
        decided = decide(practice)
        chosen = rules(practice, decided)
        best, worth = in_hindsight(practice, decided, chosen)
        losses.append(best - worth)
        said = decided.ranking.chance[decided.ranking.tied[0]] if decided.ranking.options else 0.0
        claimed.append((said, worth[0], best))
        seconds.append(decided.seconds)
    found, told = np.array(losses), np.array(claimed)
    say(f"{count} lanes, {shots} shots; best in hindsight {100 * told[:, 2].mean():.1f} of 100")
    for name, column in zip(RULES, found.T, strict=True):
        say(f"  loss of {name:15s} {interval(column)} of 100")
    for name, column in zip(RULES[1:], found.T[1:], strict=True):
        say(f"  line-up better than {name:15s} by {interval(column - found[:, 0])}")
    say(
        f"  said {100 * told[:, 0].mean():.1f}, true {100 * told[:, 1].mean():.1f}; "
        f"processor {np.median(seconds):.1f} s in the median"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, default=60)
    parser.add_argument("--shots", type=int, default=8)
    given = parser.parse_args()
    compare(given.sessions, given.shots)


if __name__ == "__main__":
    main()
