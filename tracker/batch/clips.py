"""Which clips a command line names, and the name under which each one's results are kept."""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.report.files import natural_key
from tracker.video.source import clip_name

VIDEO_SUFFIXES = frozenset({".3gp", ".avi", ".m2ts", ".m4v", ".mkv", ".mov", ".mp4", ".mpg", ".mts", ".webm"})

RESERVED_IDS = frozenset({"shots.csv", "failures.csv", "manifest.json", "session.html", "lineup.json"})
"""Names of files beside the shot folders, which no shot folder may take."""

_HASH_LETTERS = 6
_FORBIDDEN = re.compile(r'[<>:"/\\|?*]')
_TAKE = re.compile(r"(.+)-\d{2,}")


@dataclass(frozen=True, slots=True)
class NamedClip:
    """A clip and the name of its results.

    Attributes
    ----------
    path : Path
        As given on the command line or found in a folder.
    name : str
        File name, printable: characters that are not are written as escapes.
    clip_id : str
        Name of its results, unique in a run: the stem, made safe for a folder, with a hash where two would be equal.
    sha256 : str
        Of the file's content, lower-case hexadecimal.
    """

    path: Path
    name: str
    clip_id: str
    sha256: str


@dataclass(frozen=True, slots=True)
class FoundClips:
    """Clips in the order of the command line, each file once, and the folders in which there was none."""

    paths: tuple[Path, ...]
    empty_folders: tuple[Path, ...]


def find_clips(inputs: Iterable[Path]) -> FoundClips:
    """Clips named by files and folders; a folder stands for the video files in it (by suffix), naturally sorted.

    Hidden files (a leading dot) and subfolders are left out; a file named twice counts once.
    """
    found: dict[Path, Path] = {}
    empty = []
    for item in inputs:
        inside = clips_in_folder(item) if item.is_dir() else (item,)
        if not inside:
            empty.append(item)
        for path in inside:
            found.setdefault(path.resolve(), path)
    return FoundClips(tuple(found.values()), tuple(empty))


def clips_in_folder(folder: Path) -> tuple[Path, ...]:
    """Video files directly in a folder, naturally sorted by name."""
    inside = (p for p in folder.iterdir() if p.suffix.lower() in VIDEO_SUFFIXES and not p.name.startswith("."))
    return tuple(sorted((p for p in inside if p.is_file()), key=lambda p: natural_key(p.name)))


def safe_id(path: Path) -> str:
    """Name of a clip's results from its stem: never hidden, never a path, never the name of another output."""
    name = clip_name(path)
    stem = name[: -len(path.suffix)] if path.suffix else name
    stem = _FORBIDDEN.sub("_", unicodedata.normalize("NFC", stem)).strip(" ")
    if not stem.strip(".") or stem.startswith(".") or stem.casefold() in RESERVED_IDS:
        stem = f"clip-{stem.strip('.')}".rstrip("-")
    return stem.rstrip(". ")


def name_clips(
    paths: Sequence[Path], hashes: Mapping[Path, str], known: Mapping[str, str] | None = None
) -> tuple[NamedClip, ...]:
    """Give every clip an id of its own.

    Parameters
    ----------
    paths : sequence of Path
    hashes : mapping of Path to str
        sha256 of every path.
    known : mapping of str to str, optional
        Ids of an earlier run with their clips' sha256: a clip keeps the id it had.

    Returns
    -------
    tuple of NamedClip
        In the order of ``paths``. Of clips with equal stems (case ignored) the first keeps the plain stem, the others
        get ``-`` and the first letters of their hash; so does a stem that looks like one shot of another clip's take
        (``day-01`` beside ``day``).
    """
    earlier = known or {}
    stems = {safe_id(path).casefold() for path in paths}
    ids: dict[Path, str] = {}
    taken: set[str] = set()
    for path in sorted(paths, key=lambda p: earlier.get(safe_id(p)) != hashes[p]):
        candidates = _candidate_ids(safe_id(path), hashes[path], stems, earlier)
        ids[path] = next(c for c in candidates if c.casefold() not in taken)
        taken.add(ids[path].casefold())
    return tuple(NamedClip(path, clip_name(path), ids[path], hashes[path]) for path in paths)


def _candidate_ids(stem: str, sha256: str, stems: set[str], earlier: Mapping[str, str]) -> Iterator[str]:
    """Ids a clip may have, best first."""
    hashed = f"{stem}-{sha256[:_HASH_LETTERS]}"
    take = _TAKE.fullmatch(stem.casefold())
    if earlier.get(hashed) != sha256 and not (take and take[1] in stems):
        yield stem
    yield hashed
    yield from (f"{hashed}-{k}" for k in itertools.count(2))
