"""Accuracy against severity on hard scenes: ``python tests/bench/bench_scenes.py --keep /tmp/scenes``.

One line a case of ``tests/hard_scenes.py``: what the program said, path errors against the truth, largest error over
its own uncertainty, numbers beyond 2 u and 3 u, and numbers given of what did not happen. Then what was not wanted and
the worst cells. The lane is found in each clip; hand and ball are not told.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import cv2

sys.path.insert(0, str(Path(__file__).parents[1]))
from hard_scenes import all_hard, cases_of
from scene_runs import HEAD, Row, markdown, measured, summary


def main() -> None:
    """Render and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, help="folder in which clips and truths stay and are used again")
    parser.add_argument("--only", nargs="*", default=[], help="parts of family and severity")
    parser.add_argument("--markdown", type=Path, help="write the table to this file")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        sys.stdout.write(" | ".join(HEAD) + "\n")
        for hard in all_hard():
            if given.only and not any(part in f"{hard.family} {hard.severity}" for part in given.only):
                continue
            begun = time.process_time()
            for case in cases_of(hard, folder):
                rows.append(measured(case))
                sys.stdout.write(
                    " | ".join((*rows[-1].texts(), f"{time.process_time() - begun:.1f} s", rows[-1].detail)) + "\n"
                )
                sys.stdout.flush()
    sys.stdout.write("\n".join(summary(rows)) + "\n")
    if given.markdown:
        given.markdown.write_text(markdown(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
