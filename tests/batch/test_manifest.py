"""The manifest: what a folder holds."""

from __future__ import annotations

import hashlib
import pickle
from pathlib import Path

import pytest

from tracker.batch.manifest import Entry, Manifest, ManifestError, hash_file, load_manifest, save_manifest

FULL = Manifest(
    {
        "b": Entry("b.mp4", {"clip_sha256": "bb", "settings": {"hand": None}}, ("b-01", "b-02")),
        "a": Entry("a.mp4", {"clip_sha256": "aa"}, (), ("clip_empty", "a.mp4: the file is empty")),
    }
)


def test_round_trip(tmp_path: Path) -> None:
    save_manifest(tmp_path, FULL)
    assert load_manifest(tmp_path) == FULL
    assert FULL.hashes == {"a": "aa", "b": "bb"}


def test_no_file_is_an_empty_manifest(tmp_path: Path) -> None:
    assert load_manifest(tmp_path) == Manifest()


def test_order_of_entries_does_not_change_the_bytes(tmp_path: Path) -> None:
    save_manifest(tmp_path, FULL)
    first = (tmp_path / "manifest.json").read_bytes()
    save_manifest(tmp_path, Manifest(dict(reversed(FULL.entries.items()))))
    assert (tmp_path / "manifest.json").read_bytes() == first
    assert [p.name for p in tmp_path.iterdir()] == ["manifest.json"]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '{"format": "other", "layout": 1, "clips": {}}',
        '{"format": "sixtyfeet-manifest"}',
        '{"format": "sixtyfeet-manifest", "layout": 1, "clips": {"a": {"clip": "a.mp4"}}}',
    ],
)
def test_damaged_file_is_named_with_what_to_do(tmp_path: Path, text: str) -> None:
    (tmp_path / "manifest.json").write_text(text, encoding="utf-8")
    with pytest.raises(ManifestError, match=r"^manifest\.json: not a manifest of this program .*; move it away"):
        load_manifest(tmp_path)


def test_manifest_error_survives_pickling() -> None:
    error = ManifestError("manifest.json: not one")
    assert str(pickle.loads(pickle.dumps(error))) == str(error)  # noqa: S301 -- our own bytes


def test_hash_is_the_contents(tmp_path: Path) -> None:
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"abc")
    # SHA-256 of "abc": FIPS 180-4, example B.1.
    assert hash_file(clip) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hash_file(clip) == hashlib.sha256(b"abc").hexdigest()
    assert hash_file(tmp_path / "missing.mp4") == ""
