"""How fast a bowler learns who throws what the line-up names next, beside those who throw their balls in turn.

    python tests/bench/bench_nextshot.py --from 5000 --count 40 --lines next.jsonl
    python tests/bench/bench_nextshot.py --pool next.jsonl other.jsonl

All are the same bowler on the same true lane (``tests/lineup/practice.py``), with the same luck at each shot: what his
hand and the measurement do to the seventh throw is the same whatever is thrown. All throw the balls in turn with the
usual moves until there is enough to say (four shots, every ball among them). Then one goes on so, each ball begun where
the last one was left (``in turn``); a second one moves each ball from its own last line (``own lines``); the third
throws what the line-up says to throw next, and its answer where it says that looking further is not worth it
(``chosen``). After each shot all let the line-up choose a ball and a line. Loss is by how much its true chance of the
window is below that of the best of a grid of all balls and lines that can be played.

A practice is one line of JSON; a run goes on after the seeds that its file has.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench_lineup import WINDOW, Decided, decide, say
from lanes.truth import contact, integrate
from lineup.practice import Practice, adjusted, draw_practice

from tracker.lineup.lines import Line
from tracker.lineup.nextshot import advise

FIRST, MOST = 4, 10
"""Shots after which something is said, and a practice's shots (common practice, no source)."""
Way = tuple[str, Line]
Policy = Callable[[Practice, Decided, Way], Way]
LOSSES = (7.0, 6.0, 5.0, 4.5, 4.0)
WORTH_S = 6e-3
DRAWS, THROWS = 144, 16
"""Of the decisions here: fewer than a line-up's 400 and 32, three times as fast."""


def teaching(practice: Practice, decided: Decided, _usual: Way) -> Way:
    """What is said to throw next; where it is said that looking further is not worth it, the answer."""
    lesson = advise(decided.now, decided.ranking, MOST - len(practice.throws), None).lesson
    return said(decided) if lesson is None else (lesson.option.choice.ball, lesson.option.choice.line)


def in_turn(_practice: Practice, _decided: Decided, usual: Way) -> Way:
    return usual


def own_lines(practice: Practice, _decided: Decided, usual: Way) -> Way:
    """The balls in turn, each moved from its own last line by its own last shot."""
    last = max(k for k, one in enumerate(practice.throws) if one.ball == usual[0])
    return usual[0], adjusted(practice.aims[last], practice.seen[last][0])


POLICIES: dict[str, Policy] = {"chosen": teaching, "in turn": in_turn, "own lines": own_lines}


def throw(practice: Practice, seed: int, way: Way) -> Way:
    """Throw once, with the luck of this shot of this practice; what the balls in turn and the usual moves have next."""
    k, names = len(practice.throws), list(practice.balls)
    practice.random = np.random.default_rng([seed, 19, k])
    board, _ = practice.throw(way[0], way[1], f"line {k}")
    return names[(k + 1) % len(names)], adjusted(way[1], board)


def said(decided: Decided) -> Way:
    """The ball and line to bowl with."""
    choice = decided.ranking.options[decided.ranking.tied[0]].choice
    return choice.ball, choice.line


def begun(seed: int) -> tuple[Practice, Way]:
    """A practice after its first shots, and the usual next one."""
    practice = draw_practice(seed)
    way = (next(iter(practice.balls)), practice.start())
    for _ in range(FIRST):
        way = throw(practice, seed, way)
    return practice, way


def practised(seed: int, policy: Policy, first: Decided) -> list[Way]:
    """What is chosen after each shot from the first ones on."""
    practice, usual = begun(seed)
    decided, out = first, [said(first)]
    for _ in range(FIRST, MOST):
        usual = throw(practice, seed, policy(practice, decided, usual))
        decided = decide(practice, DRAWS, THROWS)
        out.append(said(decided))
    return out


def best_in_hindsight(practice: Practice) -> Way:
    """The best of a grid of lines with each ball, in the middle of the shots."""
    lines = [
        line
        for laydown in np.arange(6.0, 36.1, 1.5)
        for target in np.arange(3.0, 30.0, 1.5)
        if -1.0 <= (line := Line(float(laydown), float(target), practice.style[0])).launch_deg <= 6.0
    ]
    middle = (FIRST + MOST) / 2 + 1
    ways = [(ball, line) for ball in practice.balls for line in lines]
    ways = best_of(ways, near(practice, ways, middle), 32)
    for points, kept in ((32, 3), (64, 6)):
        ways = best_of(ways, worths(practice, ways, [middle] * len(ways), points, 5), kept)
        if points == 32:
            steps = (-0.75, 0.0, 0.75)
            ways = [(ball, line.moved(feet, target)) for ball, line in ways for feet in steps for target in steps]
    # the best of many by few throws would seem better than it is: it is found by others
    return best_of(ways, worths(practice, ways, [middle] * len(ways), 256, 6), 1)[0]


def best_of(ways: list[Way], worth: np.ndarray, kept: int) -> list[Way]:
    return [ways[k] for k in np.argsort(-worth, kind="stable")[:kept]]


def near(practice: Practice, ways: list[Way], number: float) -> np.ndarray:
    """How near to the window's middle throws as meant come, in usual scatters of board and angle; 0 is best."""
    balls, lines = [ball for ball, _ in ways], [line for _, line in ways]
    shots = practice.shots(balls, lines, np.zeros((len(ways), 5)), number)
    board, angle, _ = contact(integrate(practice.lanes, shots, WORTH_S), shots.side)
    off = np.maximum(np.abs(angle - (WINDOW.low_deg + WINDOW.high_deg) / 2) - 0.75, 0)
    return -(((board - (WINDOW.low_board + WINDOW.high_board) / 2) / 2.0) ** 2) - (off / 0.5) ** 2


def worths(practice: Practice, ways: list[Way], numbers: list[float], points: int, seed: int) -> np.ndarray:
    balls, lines = [ball for ball, _ in ways], [line for _, line in ways]
    return practice.worth(balls, lines, WINDOW, points=points, seed=seed, numbers=np.array(numbers), step_s=WORTH_S)


def one_practice(seed: int, policies: dict[str, Policy]) -> dict[str, object]:
    """True chances of what is chosen after each shot, by each way to practise, and of the best in hindsight."""
    since = time.process_time()
    practice, _ = begun(seed)
    first = decide(practice, DRAWS, THROWS)
    ways = {name: practised(seed, policy, first) for name, policy in policies.items()}
    decided = time.process_time() - since
    counts = list(range(FIRST, MOST + 1))
    ways["best"] = [best_in_hindsight(practice)] * len(counts)
    every = [way for found in ways.values() for way in found]
    worth = worths(practice, every, [n + 1.0 for n in counts] * len(ways), 256, 8)
    rows = dict(zip(ways, worth.reshape(len(ways), -1).round(5).tolist(), strict=True))
    took = time.process_time() - since
    return {"seed": seed, "balls": len(practice.balls), **rows, "decided_s": round(decided, 1), "s": round(took, 1)}


def run(first: int, count: int, policies: dict[str, Policy], lines: Path | None) -> list[dict[str, object]]:
    """Practices of these seeds; those that the file has are not thrown again."""
    had = [] if lines is None or not lines.exists() else read(lines)
    done = {row["seed"] for row in had}
    out = [row for row in had if first <= int(str(row["seed"])) < first + count]
    for seed in range(first, first + count):
        if seed in done:
            continue
        out.append(one_practice(seed, policies))
        if lines is not None:
            with lines.open("a", encoding="utf-8") as file:
                file.write(json.dumps(out[-1]) + "\n")
        say(json.dumps(out[-1]))
    return out


def read(lines: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in lines.read_text(encoding="utf-8").splitlines() if line]


def shots_to(curve: np.ndarray, loss: float) -> float:
    """Shots after which a mean loss is first reached, in proportion between shots; one too many where it is not."""
    counts = np.arange(FIRST, FIRST + len(curve), dtype=float)
    below = np.flatnonzero(curve <= loss)
    if not len(below):
        return MOST + 1.0
    k = int(below[0])
    return float(counts[0]) if k == 0 else float(counts[k] - (loss - curve[k]) / (curve[k - 1] - curve[k]))


def report(rows: list[dict[str, object]], names: tuple[str, str], samples: int = 4000) -> None:
    """Loss after each number of shots, and shots to a loss; central 95 % over resampled practices."""
    best = np.array([row["best"] for row in rows])
    loss = {name: 100 * (best - np.array([row[name] for row in rows])) for name in names}
    picks = np.random.default_rng(1).integers(0, len(rows), (samples, len(rows)))
    means = {name: values[picks].mean(axis=1) for name, values in loss.items()}
    less = means[names[1]] - means[names[0]]
    say(f"{len(rows)} practices; the best in hindsight has {100 * best.mean():.1f} of 100")
    say("shots  " + "  ".join(f"{name:>22s}" for name in names) + "             less by")
    for k in range(best.shape[1]):
        each = [_told(loss[name][:, k].mean(), means[name][:, k]) for name in names]
        gap = (loss[names[1]] - loss[names[0]])[:, k].mean()
        say(f"{FIRST + k:5d}  " + "  ".join(f"{text:>22s}" for text in each) + f"  {_told(gap, less[:, k]):>22s}")
    after = slice(1, None)
    gap = (loss[names[1]] - loss[names[0]])[:, after].mean()
    say(f"{names[0]} loses less than {names[1]}, mean over all shots: {_told(gap, less[:, after].mean(axis=1))}")
    for level in LOSSES:
        found = [shots_to(loss[name].mean(axis=0), level) for name in names]
        drawn = [np.array([shots_to(curve, level) for curve in means[name]]) for name in names]
        fewer = drawn[1] - drawn[0]
        more = 100 * np.mean(fewer > 0)
        say(
            f"loss {level:.1f} after {found[0]:.1f} ({names[0]}) and {found[1]:.1f} ({names[1]}) shots: fewer by "
            f"{_told(found[1] - found[0], fewer)}, in {more:.0f} of 100 resamplings"
        )
    say(f"({MOST + 1} stands for a loss that is not reached within {MOST}: the difference is at least what it says)")


def _told(value: float, drawn: np.ndarray) -> str:
    low, high = np.percentile(drawn, [2.5, 97.5])
    return f"{value:.2f} ({low:.2f} to {high:.2f})"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--from", type=int, default=5000, dest="first", metavar="SEED")
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--without", nargs="*", default=[], choices=["in turn", "own lines"], help="ways left away")
    parser.add_argument("--lines", type=Path, help="where practices are added, one a line")
    parser.add_argument("--pool", type=Path, nargs="+", help="report these practices, throw none")
    given = parser.parse_args()
    if given.pool:
        rows = [row for file in given.pool for row in read(file)]
    else:
        policies = {name: policy for name, policy in POLICIES.items() if name not in given.without}
        rows = run(given.first, given.count, policies, given.lines)
    for usual in ("in turn", "own lines"):
        having = [row for row in rows if usual in row]
        if having:
            report(having, ("chosen", usual))


if __name__ == "__main__":
    main()
