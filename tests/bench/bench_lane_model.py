"""Lane model on simulated lanes that are not of its form: oil end, held-out shots, balls, speed.

    python tests/bench/bench_lane_model.py [--lanes 80] [--seed 100]

Two sets of sessions are drawn: 3 to 12 shots, and 8 shots. Oil end, its definition and the errors of measurement are
those of tests/lanes/truth.py and sessions.py.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from lanes.measures import SEEN, Outcome, covered, median_error, outcome
from lanes.sessions import sessions

from tracker.session.lanemap import LANE_SIZE, LaneMaps
from tracker.session.release import Covers, Releases
from tracker.session.simulate import simulate


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--lanes", type=int, default=80)
    parser.add_argument("--seed", type=int, default=100)
    given = parser.parse_args()
    for title, seed, shots in (("3 to 12 shots", given.seed, (3, 12)), ("8 shots", given.seed + 1, (8, 8))):
        report(title, [outcome(s) for s in sessions(given.lanes, seed, shots)])
    sys.stdout.write(f"simulator: {rate():.0f} shots a second on one core\n")


def report(title: str, found: list[Outcome]) -> None:
    say = sys.stdout.write
    oil = [o.oil for o in found]
    out = sum(o.held_out for o in found)
    say(f"{title}: {len(found)} lanes, {sum(o.shots for o in found)} shots, {out} held out by the fit\n")
    inside, u = np.mean([o.inside_95 for o in found]), np.median([g.u for g in oil])
    say(
        f"  oil end: within 2 u {covered(oil):.3f}, in the 95 % interval {inside:.3f}, "
        f"median |error| {median_error(oil):.2f} ft, median u {u:.2f} ft\n"
    )
    for seen in SEEN:
        contact, entry = ([g for o in found for g in getattr(o, n)[seen]] for n in ("contact", "entry"))
        say(f"  held-out shot seen {seen} ({len(contact)}):\n")
        for name, guesses, unit in (("contact", contact, "board"), ("entry angle", entry, "deg")):
            say(
                f"    {name} within 2 u {covered(guesses):.3f}, median |error| {median_error(guesses):.2f} {unit}, "
                f"median u {np.median([g.u for g in guesses]):.2f}\n"
            )
    told, right = sum(o.order_told for o in found), sum(o.order_right for o in found)
    say(f"  balls told apart by 2 u: {told} pairs, {right} in the true order\n")
    most = max(found, key=lambda o: o.seconds)
    middle = np.median([o.seconds for o in found])
    say(f"  fit: median {middle:.2f} s, longest {most.seconds:.2f} s ({most.shots} shots)\n")


def rate(count: int = 4096) -> float:
    """Shots a second over lanes drawn from the priors."""
    random = np.random.default_rng(0)
    maps = LaneMaps.from_deviates(random.standard_normal((count, LANE_SIZE)))
    covers = Covers(np.zeros(count), np.zeros(count), np.full(count, 2.55), np.zeros((count, 6)))
    u = random.uniform
    spin = u(250, 400, count), u(30, 60, count)
    releases = Releases("right", u(10, 28, count), u(0, 4, count), u(15, 19, count), *spin)
    begun = time.process_time()
    simulate(maps, covers, releases)
    return count / (time.process_time() - begun)


if __name__ == "__main__":
    main()
