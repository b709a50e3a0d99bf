"""Ctrl-C as a wish to stop after the clips in work, and as an order when it comes twice."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def stop_on_interrupt(announce: Callable[[], None]) -> Iterator[Callable[[], bool]]:
    """Inside the block the first Ctrl-C only makes the given function true; a second one raises KeyboardInterrupt.

    Parameters
    ----------
    announce : callable
        Called once at the first Ctrl-C, to tell the user.

    Yields
    ------
    callable
        Returns whether the user wants to stop.
    """
    wish = threading.Event()

    def handle(_number: int, _frame: FrameType | None) -> None:
        if wish.is_set():
            raise KeyboardInterrupt
        wish.set()
        announce()

    if threading.current_thread() is not threading.main_thread():
        yield wish.is_set
        return
    before = signal.signal(signal.SIGINT, handle)
    try:
        yield wish.is_set
    finally:
        signal.signal(signal.SIGINT, before)
