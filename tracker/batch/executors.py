"""Run one function over many tasks: in this process, or in a few processes that may die."""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Generic, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Work(Generic[Task, Result]):
    """What to run.

    Attributes
    ----------
    function : callable
        A module-level function that returns failures as values; it runs in another process when there are several.
    on_error : callable
        Makes the result of a task that killed its process, alone in it, or whose result could not be brought back.
    stop : callable
        Returns true when no new task shall begin; those in work are finished.
    """

    function: Callable[[Task], Result]
    on_error: Callable[[Task, BaseException], Result]
    stop: Callable[[], bool]


def run_tasks(work: Work[Task, Result], tasks: Sequence[Task], workers: int) -> Iterator[tuple[Task, Result]]:
    """Results as they finish; inline for one worker or one task, else in a pool of spawned processes."""
    if min(workers, len(tasks)) <= 1:
        return _inline(work, tasks)
    return _pooled(work, tasks, min(workers, len(tasks)))


def _inline(work: Work[Task, Result], tasks: Iterable[Task]) -> Iterator[tuple[Task, Result]]:
    for task in tasks:
        if work.stop():
            return
        yield task, work.function(task)


def _pooled(work: Work[Task, Result], tasks: Iterable[Task], workers: int) -> Iterator[tuple[Task, Result]]:
    """Run in rounds: a round lasts until the pool breaks; the few tasks then in work are tried one by one, alone."""
    waiting = deque(tasks)
    while waiting and not work.stop():
        suspects: list[Task] = []
        yield from _one_round(work, waiting, suspects, workers=workers)
        for task in suspects:
            if work.stop():
                return
            yield task, _alone(work, task)


def _one_round(
    work: Work[Task, Result], waiting: deque[Task], suspects: list[Task], *, workers: int
) -> Iterator[tuple[Task, Result]]:
    """Empty ``waiting`` until done, stopped or broken; in the last case put the tasks in work into ``suspects``.

    No more tasks than workers are submitted at a time, so that only those can be to blame.
    """
    running: dict[Future[Result], Task] = {}
    with _pool(workers) as pool:
        while True:
            if not suspects and not work.stop():
                _top_up(pool, work, waiting, running=running, workers=workers)
            if not running:
                return
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in sorted(done, key=list(running).index):
                task = running.pop(future)
                error = future.exception()
                if isinstance(error, BrokenProcessPool):
                    suspects.append(task)
                else:
                    yield task, future.result() if error is None else work.on_error(task, error)


def _top_up(
    pool: ProcessPoolExecutor,
    work: Work[Task, Result],
    waiting: deque[Task],
    *,
    running: dict[Future[Result], Task],
    workers: int,
) -> None:
    """Submit until every worker has a task; a pool already broken takes none."""
    while waiting and len(running) < workers:
        try:
            future = pool.submit(work.function, waiting[0])
        except BrokenProcessPool:
            return
        running[future] = waiting.popleft()


def _alone(work: Work[Task, Result], task: Task) -> Result:
    with _pool(1) as pool:
        future = pool.submit(work.function, task)
        error = future.exception()
        return future.result() if error is None else work.on_error(task, error)


@contextlib.contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Open a pool of spawned processes that ends at once when the user insists on stopping."""
    # Spawn: a forked copy of a process that has used its video or matrix threads may hang.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_ignore_interrupt) as pool:
        try:
            yield pool
        except KeyboardInterrupt:
            for child in multiprocessing.active_children():
                child.terminate()
            raise


def _ignore_interrupt() -> None:
    """Leave Ctrl-C, which a terminal sends to every process of the group, to the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
