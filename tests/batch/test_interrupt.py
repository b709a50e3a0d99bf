"""Ctrl-C once and twice, and one thread a process."""

from __future__ import annotations

import os
import signal
import threading

import pytest

from tracker.batch.interrupt import stop_on_interrupt
from tracker.batch.threads import limit_threads


def test_first_interrupt_is_a_wish_and_the_second_an_order() -> None:
    said: list[str] = []
    before = signal.getsignal(signal.SIGINT)
    with stop_on_interrupt(lambda: said.append("stopping")) as stop:
        assert not stop()
        signal.raise_signal(signal.SIGINT)
        assert stop()
        assert said == ["stopping"]
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


def test_outside_the_main_thread_nothing_is_caught() -> None:
    seen: list[bool] = []

    def run() -> None:
        with stop_on_interrupt(lambda: None) as stop:
            seen.append(stop())

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    assert seen == [False]


def test_thread_limits_leave_what_the_user_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "3")
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    limit_threads()
    assert os.environ["OMP_NUM_THREADS"] == "3"
    assert os.environ["OPENBLAS_NUM_THREADS"] == "1"
