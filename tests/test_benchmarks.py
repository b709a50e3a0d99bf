"""The slow scripts beside the tests start as their pages say; what they measure is not run here."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SCRIPTS = ["tests/bench/bench_hard.py", "tests/bench/bench_scenes.py", "docs/make_gallery.py"]


@pytest.mark.parametrize("script", SCRIPTS)
def test_it_starts_from_any_folder(script, tmp_path):
    """Neither the folder it is called from nor tests that share a package's name hide what it imports."""
    told = subprocess.run(
        [sys.executable, str(ROOT / script), "--help"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stderr
    assert "--keep" in told.stdout
