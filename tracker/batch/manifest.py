"""What an output folder already holds: which clip, measured how, with what outcome."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration.errors import SixtyfeetError

MANIFEST_NAME = "manifest.json"
FORMAT = "sixtyfeet-manifest"
LAYOUT = 1


class ManifestError(SixtyfeetError, ValueError):
    """A manifest that is not one, with what to do about it."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One clip of the manifest.

    Attributes
    ----------
    clip : str
        File name, never a path.
    inputs : mapping of str to object
        Everything the result depends on (hashes, settings, version), as JSON values: equal inputs, equal result.
    shots : tuple of str
        Ids of the shots it gave.
    failure : tuple of (str, str) or None
        Reason and detail when it gave none.
    """

    clip: str
    inputs: Mapping[str, Any]
    shots: tuple[str, ...] = ()
    failure: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Manifest:
    """Entries by clip id."""

    entries: Mapping[str, Entry] = field(default_factory=dict)

    def with_entry(self, clip_id: str, entry: Entry) -> Manifest:
        """Return the manifest with one entry added or replaced."""
        return Manifest({**self.entries, clip_id: entry})

    @property
    def hashes(self) -> dict[str, str]:
        """The sha256 of every clip by its id."""
        return {clip_id: str(entry.inputs.get("clip_sha256", "")) for clip_id, entry in self.entries.items()}


def hash_file(path: Path) -> str:
    """Return the sha256 of a file's content in lower-case hexadecimal; empty if it cannot be read."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return ""


def hash_text(text: str) -> str:
    """Return the sha256 of a text's UTF-8 bytes in lower-case hexadecimal."""
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()


def save_manifest(out: Path, manifest: Manifest) -> None:
    """Write ``manifest.json`` into the folder; whole or not at all, and the same bytes for the same entries."""
    clips = {clip_id: _entry_data(entry) for clip_id, entry in sorted(manifest.entries.items())}
    data = {"format": FORMAT, "layout": LAYOUT, "clips": clips}
    temporary = out / f".{MANIFEST_NAME}.tmp-{os.getpid()}"
    temporary.write_bytes((json.dumps(data, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode("utf-8"))
    temporary.replace(out / MANIFEST_NAME)


def load_manifest(out: Path) -> Manifest:
    """Read the folder's manifest; an empty one if there is none.

    Raises
    ------
    ManifestError
        If the file is damaged or of another kind.
    """
    file = out / MANIFEST_NAME
    if not file.exists():
        return Manifest()
    try:
        return _manifest(json.loads(file.read_text(encoding="utf-8")))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        msg = f"{MANIFEST_NAME}: not a manifest of this program ({error!r}); move it away and measure again"
        raise ManifestError(msg) from error


def _manifest(data: Mapping[str, Any]) -> Manifest:
    found = (data["format"], data["layout"])
    if found != (FORMAT, LAYOUT):
        msg = f"format and layout {found}, expected {(FORMAT, LAYOUT)}"
        raise ValueError(msg)
    return Manifest({clip_id: _entry(entry) for clip_id, entry in data["clips"].items()})


def _entry_data(entry: Entry) -> dict[str, Any]:
    failure = None if entry.failure is None else {"reason": entry.failure[0], "detail": entry.failure[1]}
    return {"clip": entry.clip, "inputs": dict(entry.inputs), "shots": list(entry.shots), "failure": failure}


def _entry(data: Mapping[str, Any]) -> Entry:
    failure = data["failure"]
    return Entry(
        clip=str(data["clip"]),
        inputs=dict(data["inputs"].items()),
        shots=tuple(str(shot) for shot in data["shots"]),
        failure=None if failure is None else (str(failure["reason"]), str(failure["detail"])),
    )
