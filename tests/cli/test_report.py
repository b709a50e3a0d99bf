"""``sixtyfeet report`` through its real entry point."""

from __future__ import annotations

import os
import shutil
import stat

import pytest
from lineup.folder import write_practice
from lineup.practice import practise
from program import contents, run_program


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report") / "OUT"
    write_practice(folder, practise(2, 4))
    return folder


def test_a_page_and_the_data(out):
    done = run_program("report", "OUT", cwd=out.parent)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "OUT/session.html\n"
    assert "sixtyfeet lineup" in done.stderr
    page = (out / "session.html").read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "s01" in page
    assert (out / "shots_long.csv").read_text(encoding="utf-8").startswith("shot_id,lane,ball,hand")
    assert (out / "dictionary.csv").is_file()
    assert not (out / "shots_excel.csv").exists()


def test_the_same_bytes_again(out):
    run_program("report", "OUT", "--excel", cwd=out.parent)
    first = contents(out)
    run_program("report", "OUT", "--excel", cwd=out.parent)
    assert contents(out) == first
    assert "shots_excel.csv" in first


def test_two_sessions(out):
    shutil.copytree(out, out.parent / "LATER")
    done = run_program("report", "OUT", "LATER", cwd=out.parent)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "LATER/compare.html\n"
    assert "No number is told apart" in (out.parent / "LATER" / "compare.html").read_text(encoding="utf-8")
    assert not (out / "compare.html").exists()


def test_one_folder_twice_is_no_comparison(out):
    done = run_program("report", "OUT", "OUT/../OUT", cwd=out.parent)
    assert done.returncode == 2
    assert "same folder" in done.stderr


def test_a_folder_without_a_table(tmp_path):
    (tmp_path / "empty").mkdir()
    done = run_program("report", "empty", cwd=tmp_path)
    assert done.returncode == 3
    assert done.stderr.startswith("empty: no shots.csv here")
    assert not list((tmp_path / "empty").iterdir())


def test_wrong_command_lines(out):
    assert run_program("report", "nowhere", cwd=out.parent).returncode == 2
    assert run_program("report", "OUT", "OUT", "--excel", cwd=out.parent).returncode == 2
    assert run_program("report", cwd=out.parent).returncode == 2


@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written(out):
    out.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        done = run_program("report", "OUT", cwd=out.parent)
    finally:
        out.chmod(stat.S_IRWXU)
    assert done.returncode == 1
    assert "cannot write into the output folder" in done.stderr


def test_a_file_in_the_way_is_one_line(out):
    (out / "session.html").unlink(missing_ok=True)
    (out / "session.html").mkdir()
    done = run_program("report", "OUT", cwd=out.parent)
    (out / "session.html").rmdir()
    assert done.returncode == 1
    assert "cannot write into the output folder" in done.stderr
    assert "Traceback" not in done.stderr
