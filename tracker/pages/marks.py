"""The page on which a person clicks the lane's marks on one frame of a clip."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from http import HTTPStatus
from importlib import resources
from typing import TypedDict

from calibration.errors import CalibrationFileError
from calibration.marks import parse_marks
from tracker.pages.guide import mark_guides
from tracker.pages.server import Get, Reply, json_reply, serving

_WAIT_S = 0.2
_FILES = {
    "index": ("marks.html", "text/html; charset=utf-8"),
    "marks.css": ("marks.css", "text/css; charset=utf-8"),
    "marks.js": ("marks.js", "text/javascript; charset=utf-8"),
}


class MarksData(TypedDict):
    """Content of a marks file: upright frame's size and pixel [x, y] of each mark, pixel centres at +0.5."""

    width: int
    height: int
    marks_px: dict[str, list[float]]


def serve_marks(
    image_png: bytes,
    *,
    width: int,
    height: int,
    on_save: Callable[[MarksData], str],
    on_ready: Callable[[str], object],
    clip: str = "",
    marks_px: Mapping[str, tuple[float, float]] | None = None,
    timeout_s: float | None = None,
) -> MarksData | None:
    """Let a person click marks, and return them once saved and accepted.

    Parameters
    ----------
    image_png : bytes
        The upright frame as PNG.
    width, height : int
        Its size in pixels.
    on_save : callable
        Called with the marks each time the person saves; returns the words to show (the solver's verdict). A ValueError
        (such as CalibrationFileError) refuses the marks and its words are shown; any other exception ends the page.
    on_ready : callable
        Called once with the page's address (to print it and open a browser).
    clip : str
        Name of the clip, shown on the page.
    marks_px : mapping of str to (float, float), optional
        Marks to begin with.
    timeout_s : float, optional
        Give up after so long.

    Returns
    -------
    dict or None
        ``width``, ``height``, ``marks_px`` as last saved; None if the person stopped without, or the time ran out.
    """
    desk = _Desk((width, height), on_save, clip=clip, marks_px=marks_px or {})
    gets: dict[str, Get] = {name: partial(_file, *file) for name, file in _FILES.items()}
    gets["frame.png"] = lambda: Reply(HTTPStatus.OK, "image/png", image_png)
    gets["setup.json"] = desk.setup
    posts = {"save": desk.save, "finish": desk.finish, "stop": desk.stop}
    with serving(gets, posts) as address:
        on_ready(address)
        return desk.wait(timeout_s)


def _file(name: str, media_type: str) -> Reply:
    return Reply(HTTPStatus.OK, media_type, resources.files("tracker.pages").joinpath(name).read_bytes())


class _Desk:
    """What the page and the waiting command share."""

    def __init__(
        self,
        size: tuple[int, int],
        on_save: Callable[[MarksData], str],
        *,
        clip: str,
        marks_px: Mapping[str, tuple[float, float]],
    ) -> None:
        self._size = size
        self._on_save = on_save
        self._clip = clip
        self._shown = {name: [float(x), float(y)] for name, (x, y) in marks_px.items()}
        self._saved: MarksData | None = None
        self._accepted = False
        self._error: BaseException | None = None
        self._lock = threading.Lock()
        self._over = threading.Event()

    def setup(self) -> Reply:
        """All that the page must know; after a reload the marks last saved."""
        width, height = self._size
        guides = [asdict(guide) for guide in mark_guides()]
        return json_reply(
            {"clip": self._clip, "width": width, "height": height, "guides": guides, "marks_px": self._shown}
        )

    def save(self, data: object) -> Reply:
        """Check the marks, hand them on and tell the verdict."""
        width, height = self._size
        marks_px = data.get("marks_px") if isinstance(data, dict) else None
        try:
            marks = parse_marks({"width": width, "height": height, "marks_px": marks_px})
        except CalibrationFileError as error:
            return _refusal(error)
        found: MarksData = {
            "width": width,
            "height": height,
            "marks_px": {name: list(pixel) for name, pixel in sorted(marks.marks_px.items())},
        }
        with self._lock:
            self._saved = None
            self._shown = found["marks_px"]
            try:
                message = self._on_save(found)
            except ValueError as error:
                return _refusal(error)
            except BaseException as error:  # raised again where the command waits
                self._error = error
                self._over.set()
                return json_reply({"message": "The program met an error and stops."}, HTTPStatus.INTERNAL_SERVER_ERROR)
            self._saved = found
        return json_reply({"message": message})

    def finish(self, _data: object) -> Reply:
        """End the page with the marks last saved."""
        with self._lock:
            if self._saved is None:
                return json_reply({"message": "Save the marks first."}, HTTPStatus.CONFLICT)
            self._accepted = True
        return self._end()

    def stop(self, _data: object) -> Reply:
        """End the page without marks."""
        return self._end()

    def wait(self, timeout_s: float | None) -> MarksData | None:
        """Wait until the page is over; short waits, so that an interrupt from the keyboard gets through everywhere."""
        end_s = None if timeout_s is None else time.monotonic() + timeout_s
        while not self._over.wait(_WAIT_S):
            if end_s is not None and time.monotonic() >= end_s:
                return None
        if self._error is not None:
            raise self._error
        return self._saved if self._accepted else None

    def _end(self) -> Reply:
        # The answer must reach the browser before the server closes.
        threading.Timer(_WAIT_S, self._over.set).start()
        return json_reply({"message": ""})


def _refusal(error: Exception) -> Reply:
    return json_reply({"message": str(error)}, HTTPStatus.UNPROCESSABLE_ENTITY)
