"""The sample session and its calibration."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from program import run_program


@pytest.fixture(scope="session")
def media() -> Path:
    """Folder of the sample session."""
    return Path(str(resources.files("sample_media")))


@pytest.fixture(scope="session")
def lane_file(media: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Calibration of the sample session, made by the program."""
    folder = tmp_path_factory.mktemp("lane")
    clip, marks = media / "practice-1.mp4", media / "marks.json"
    done = run_program("calibrate", clip, "--marks", marks, "-o", "lane.json", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder / "lane.json"
