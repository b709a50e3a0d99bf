"""Which clips a command line means, and the names of their results."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.batch.clips import RESERVED_IDS, find_clips, name_clips, safe_id


def touch(folder: Path, *names: str) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / name for name in names]
    for path in paths:
        path.write_bytes(b"")
    return paths


def ids(paths: list[Path], hashes: list[str], known: dict[str, str] | None = None) -> list[str]:
    return [c.clip_id for c in name_clips(paths, dict(zip(paths, hashes, strict=True)), known)]


def test_folder_gives_its_videos_in_natural_order(tmp_path: Path) -> None:
    touch(tmp_path, "shot10.mp4", "shot2.MOV", "Shot1.mp4", "notes.txt", ".hidden.mp4", "sheet.csv")
    (tmp_path / "folder.mp4").mkdir()
    found = find_clips([tmp_path])
    assert [p.name for p in found.paths] == ["Shot1.mp4", "shot2.MOV", "shot10.mp4"]


def test_file_is_taken_whatever_its_name_and_only_once(tmp_path: Path) -> None:
    (clip,) = touch(tmp_path, "a.mp4")
    (odd,) = touch(tmp_path, "b.dat")
    found = find_clips([odd, tmp_path, clip, tmp_path / "." / "a.mp4"])
    assert [p.name for p in found.paths] == ["b.dat", "a.mp4"]


def test_folder_without_clips_is_named(tmp_path: Path) -> None:
    touch(tmp_path / "empty", "readme.txt")
    found = find_clips([tmp_path / "empty"])
    assert found.paths == ()
    assert found.empty_folders == (tmp_path / "empty",)


def test_equal_stems_do_not_collide() -> None:
    paths = [Path("mon/x.mp4"), Path("tue/x.mp4"), Path("tue/X.mov"), Path("tue/y.mp4")]
    assert ids(paths, ["aaaaaaaa", "bbbbbbbb", "cccccccc", "dddddddd"]) == ["x", "x-bbbbbb", "X-cccccc", "y"]


def test_equal_stems_with_equal_content_do_not_collide() -> None:
    paths = [Path(f"{day}/x.mp4") for day in ("mon", "tue", "wed")]
    assert ids(paths, ["aaaaaaaa"] * 3) == ["x", "x-aaaaaa", "x-aaaaaa-2"]


def test_clip_keeps_the_id_of_an_earlier_run_whatever_the_order() -> None:
    a, b = Path("mon/x.mp4"), Path("tue/x.mp4")
    known = {"x": "aaaaaaaa", "x-bbbbbb": "bbbbbbbb"}
    assert ids([b, a], ["bbbbbbbb", "aaaaaaaa"], known) == ["x-bbbbbb", "x"]
    assert ids([b], ["bbbbbbbb"], known) == ["x-bbbbbb"]


def test_changed_clip_takes_the_place_of_the_earlier_one() -> None:
    assert ids([Path("x.mp4")], ["bbbbbbbb"], {"x": "aaaaaaaa"}) == ["x"]


def test_clip_named_like_a_shot_of_another_take_gets_its_hash() -> None:
    """``day.mp4`` may give the shots day-01 and day-02."""
    assert ids([Path("day.mp4"), Path("day-01.mp4")], ["aaaaaaaa", "bbbbbbbb"]) == ["day", "day-01-bbbbbb"]
    assert ids([Path("day-01.mp4")], ["bbbbbbbb"]) == ["day-01"]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("my shot 1.mp4", "my shot 1"),
        ("Kegelbahn-\u00e4\u00f6.mp4", "Kegelbahn-\u00e4\u00f6"),
        ("a\u0308.mp4", "\u00e4"),
        ("=cmd.mp4", "=cmd"),
        ("-x.mp4", "-x"),
        ("shots.csv.mp4", "clip-shots.csv"),
        ("..mp4", "clip"),
        ("...mp4", "clip"),
        (".hidden.mp4", "clip-hidden"),
        ("a:b.mp4", "a_b"),
        ("two\nlines.mp4", "two_nlines"),
        (os.fsdecode(b"\xff\xfe.mp4"), "_xff_xfe"),
        ("end. .mp4", "end"),
        ("no ending", "no ending"),
    ],
)
def test_id_is_a_safe_folder_name(name: str, expected: str) -> None:
    assert safe_id(Path(name)) == expected


@given(st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1, max_size=30))
def test_every_name_gives_a_safe_id(name: str) -> None:
    made = safe_id(Path("folder") / f"{name}.mp4")
    assert made
    assert made.isprintable()
    assert not set(made) & set('<>:"/\\|?*')
    assert not made.startswith(".")
    assert made[-1] not in ". "
    assert made.casefold() not in RESERVED_IDS
