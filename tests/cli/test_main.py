"""The program as a whole: help, version, and errors as sentences."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from program import ROOT, run_program

from calibration.errors import SixtyfeetError
from tracker.cli import main as main_module
from tracker.cli.main import cli
from tracker.cli.options import usable_cores
from tracker.version import VERSION


@pytest.mark.parametrize("command", [[], ["calibrate"], ["measure"], ["lineup"], ["demo"], ["doctor"]])
def test_every_command_has_help_with_its_options_explained(command: list[str]) -> None:
    result = CliRunner().invoke(cli, [*command, "--help"])
    assert result.exit_code == 0
    assert "Usage: " in result.stdout


def test_every_option_of_every_command_is_explained() -> None:
    silent = [
        f"{name} {option.name}"
        for name, command in cli.commands.items()
        for option in command.params
        if option.param_type_name == "option" and not getattr(option, "help", None)
    ]
    assert not silent


def test_version_is_the_packages() -> None:
    assert CliRunner().invoke(cli, ["--version"]).stdout == f"sixtyfeet, version {VERSION}\n"
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["tool"]["setuptools"]["dynamic"]["version"]["attr"] == "tracker.version.VERSION"


def test_unknown_command_is_a_usage_error(tmp_path: Path) -> None:
    done = run_program("measur", cwd=tmp_path)
    assert done.returncode == 2
    assert "No such command 'measur'" in done.stderr


@pytest.mark.parametrize(
    "error", [SixtyfeetError("a.mp4: what to do"), PermissionError(13, "Permission denied", "out")]
)
def test_known_errors_become_one_sentence(
    error: Exception, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(**_: object) -> None:
        raise error

    monkeypatch.setattr(main_module, "cli", fail)
    with pytest.raises(SystemExit) as stopped:
        main_module.main()
    assert stopped.value.code == 1
    assert capsys.readouterr().err == f"sixtyfeet: {error}\n"


def test_workers_are_the_cores_this_process_may_use() -> None:
    assert 1 <= usable_cores() <= 8


def test_installed_command_points_at_main() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["scripts"] == {"sixtyfeet": "tracker.cli.main:main"}


@pytest.mark.skipif(not Path(sys.executable).with_name("sixtyfeet").exists(), reason="the command is not installed")
def test_installed_command_works_from_anywhere(tmp_path: Path) -> None:
    command = Path(sys.executable).with_name("sixtyfeet")
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    done = subprocess.run(
        [command, "--version"], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, f"sixtyfeet, version {VERSION}\n")
