"""A folder with hostile names, once for all tests of pages."""

from __future__ import annotations

from pathlib import Path

import pytest
from hostile import write_hostile

from tracker.report.folder import SessionFolder, read_folder


@pytest.fixture(scope="session")
def hostile_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("hostile") / "OUT <b>&"
    write_hostile(out)
    return out


@pytest.fixture(scope="session")
def hostile_folder(hostile_out: Path) -> SessionFolder:
    return read_folder(hostile_out)
