"""``sixtyfeet doctor``: versions, decoders, and what would go wrong on this machine."""

from __future__ import annotations

import platform
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import metadata, resources

import click

from tracker.cli.options import Status, talk_options
from tracker.cli.talk import Talk

CV2_DISTRIBUTIONS = (
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
    "opencv-python",
    "opencv-python-headless",
)
DECODERS = {"h264": "clips of most phones", "hevc": "clips of phones set to high efficiency"}
ENCODERS = {"libx264": "marked-up video and making the sample clips again"}


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the doctor: whether it is a problem, and the words."""

    words: str
    problem: bool = False


@click.command()
@talk_options
@click.pass_context
def doctor(context: click.Context, talk: Talk) -> None:
    """Say which versions are in use, which clips can be decoded, and what would go wrong here.

    Exit status 0 when all is well, 1 when there is a problem.
    """
    findings = [
        *version_findings(),
        *cv2_findings(installed_cv2()),
        *codec_findings(),
        *sample_findings(),
        *temporary_findings(),
    ]
    for finding in findings:
        if finding.problem or talk.level >= 0:
            click.echo(f"{'PROBLEM' if finding.problem else 'ok':8}{finding.words}")
    talk.detail(sys.version)
    context.exit(Status.ERROR if any(f.problem for f in findings) else Status.DONE)


def version_findings() -> list[Finding]:
    """Versions of Python, this program and the libraries; a missing library is a problem."""
    from tracker.report.provenance import tool_versions

    machine = Finding(f"{platform.system()} {platform.machine()}")
    return [machine, *(Finding(f"{n} {v}", problem=v == "not installed") for n, v in tool_versions().items())]


def installed_cv2() -> list[str]:
    """Names of installed distributions that all provide the package cv2."""
    names = {str(d.metadata["Name"]).lower() for d in metadata.distributions()}
    return sorted(names.intersection(CV2_DISTRIBUTIONS))


def cv2_findings(installed: Iterable[str]) -> list[Finding]:
    """Whether exactly one distribution provides cv2: two overwrite each other's files."""
    names = list(installed)
    if len(names) <= 1:
        return []
    words = (
        f"{' and '.join(names)} overwrite each other. Cure: pip uninstall -y {' '.join(names)}, "
        "then pip install opencv-python-headless"
    )
    return [Finding(words, problem=True)]


def codec_findings() -> list[Finding]:
    """Whether the decoders are there; a missing encoder is only mentioned."""
    decoders = [_codec(name, "r", f"decoder {name} ({use})") for name, use in DECODERS.items()]
    encoders = [_codec(name, "w", f"encoder {name} ({use})") for name, use in ENCODERS.items()]
    return [*decoders, *(Finding(f.words) for f in encoders)]


def _codec(name: str, mode: str, words: str) -> Finding:
    import av.codec

    try:
        av.codec.Codec(name, mode)  # type: ignore[arg-type]
    except ValueError:
        return Finding(f"{words} is missing", problem=True)
    return Finding(words)


def sample_findings() -> list[Finding]:
    """Whether a clip that comes with the program can be opened and its first picture decoded."""
    from tracker.video.errors import ClipError
    from tracker.video.reader import ClipReader

    clip = resources.files("sample_media").joinpath("practice-1.mp4")
    try:
        with resources.as_file(clip) as path, ClipReader(path) as reader:
            return [Finding(f"sample clip decodes, {reader.width}x{reader.height}")]
    except (ClipError, FileNotFoundError) as error:
        return [Finding(f"sample clip does not decode: {error}", problem=True)]


def temporary_findings() -> list[Finding]:
    """Whether temporary files can be written."""
    try:
        with tempfile.TemporaryFile() as file:
            file.write(b"sixtyfeet")
    except OSError as error:
        return [
            Finding(
                f"cannot write temporary files ({error.strerror}): set TMPDIR to a folder you may write", problem=True
            )
        ]
    return [Finding("temporary files can be written")]
