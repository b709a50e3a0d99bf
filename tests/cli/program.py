"""Run the program as a process, and read its tables."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
Done = subprocess.CompletedProcess[str]


def run_program(*args: str | Path, cwd: Path) -> Done:
    """Run the program as a user does, from another folder than the checkout."""
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-m", "tracker.cli.main", *map(os.fspath, args)]
    return subprocess.run(
        command, cwd=cwd, env=environment, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
    )


def table(file: Path) -> dict[str, dict[str, str]]:
    """Rows of a table by shot id."""
    with file.open(encoding="utf-8", newline="") as stream:
        return {row["shot_id"]: row for row in csv.DictReader(stream)}


def contents(folder: Path) -> dict[str, bytes]:
    """Bytes of every file below a folder by its relative name."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}
