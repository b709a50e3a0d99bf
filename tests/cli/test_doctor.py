"""``doctor``: what it finds here, and what it would say elsewhere."""

from __future__ import annotations

import tempfile

import pytest
from click.testing import CliRunner

from tracker.cli import doctor
from tracker.cli.main import cli
from tracker.version import VERSION


def test_all_is_well_here() -> None:
    result = CliRunner().invoke(cli, ["doctor"])
    assert result.exit_code == 0, result.stdout
    assert f"sixtyfeet {VERSION}" in result.stdout
    assert "decoder h264" in result.stdout
    assert "decoder hevc" in result.stdout
    assert "sample clip decodes, 1280x720" in result.stdout


def test_quiet_says_nothing_when_all_is_well() -> None:
    result = CliRunner().invoke(cli, ["doctor", "-q"])
    assert (result.exit_code, result.output) == (0, "")


def test_two_opencv_distributions_are_a_problem_with_a_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "installed_cv2", lambda: ["opencv-python", "opencv-python-headless"])
    result = CliRunner().invoke(cli, ["doctor"])
    assert result.exit_code == 1
    assert "pip uninstall -y opencv-python opencv-python-headless, then pip install opencv" in result.stdout


def test_missing_decoder_is_a_problem_and_missing_encoder_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "DECODERS", {"nosuchcodec": "a test"})
    assert doctor.codec_findings()[0].problem
    monkeypatch.setattr(doctor, "DECODERS", {})
    monkeypatch.setattr(doctor, "ENCODERS", {"nosuchcodec": "a test"})
    (finding,) = doctor.codec_findings()
    assert not finding.problem
    assert finding.words == "encoder nosuchcodec (a test) is missing"


def test_no_place_for_temporary_files_is_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    (finding,) = doctor.temporary_findings()
    assert finding.problem
    assert "Permission denied" in finding.words
