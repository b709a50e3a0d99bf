"""Fixtures for all tests: small clips, and the rendered clips beside the checkout where there are any."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from clips import even_times, write_clip

_BESIDE = Path(__file__).resolve().parents[2] / "shared" / "clips"


def clips_folder() -> Path | None:
    """Folder of rendered clips with truth (``SIXTYFEET_CLIPS``); None where there is none."""
    folder = Path(os.environ.get("SIXTYFEET_CLIPS") or _BESIDE)
    return folder if any(folder.glob("*.mp4")) else None


@pytest.fixture(scope="session")
def shared_clips() -> Path:
    """Folder of rendered clips with truth; the test is skipped where there is none."""
    folder = clips_folder()
    if folder is None:
        pytest.skip("no rendered clips here; set SIXTYFEET_CLIPS to their folder")
    return folder


@pytest.fixture(scope="session")
def small_clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve frames of 96 x 64 pixels at 30 frames a second."""
    return write_clip(tmp_path_factory.mktemp("clips") / "small.mp4", even_times(12))
