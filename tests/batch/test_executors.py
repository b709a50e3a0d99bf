"""Tasks in this process and in others, some of which die."""

from __future__ import annotations

import os
import threading

import pytest

from tracker.batch.executors import Work, run_tasks


def double(task: int) -> tuple[int, int]:
    """Twice the task and the process; 13 kills its process, 7 fails."""
    if task == 13:
        os._exit(9)
    if task == 7:
        msg = "seven"
        raise ValueError(msg)
    return 2 * task, os.getpid()


def blame(task: int, error: BaseException) -> tuple[int, int]:
    return -task, 1 if isinstance(error, ValueError) else 2


def never() -> bool:
    return False


WORK = Work(double, blame, never)


def test_one_worker_or_one_task_runs_here() -> None:
    assert dict(run_tasks(WORK, [1, 2], 1)) == {1: (2, os.getpid()), 2: (4, os.getpid())}
    assert dict(run_tasks(WORK, [3], 4)) == {3: (6, os.getpid())}


def test_pool_runs_elsewhere_and_gives_every_result_once() -> None:
    results = list(run_tasks(WORK, list(range(5)), 2))
    assert sorted(task for task, _ in results) == [0, 1, 2, 3, 4]
    assert all(value == 2 * task for task, (value, _) in results)
    assert os.getpid() not in {pid for _, (_, pid) in results}


def test_only_the_task_that_kills_its_process_is_blamed() -> None:
    results = dict(run_tasks(WORK, [1, 13, 2, 3, 4], 2))
    assert results.pop(13) == (-13, 2)
    assert {task: value for task, (value, _) in results.items()} == {1: 2, 2: 4, 3: 6, 4: 8}


def test_error_that_comes_back_is_a_result_of_its_task_alone() -> None:
    results = dict(run_tasks(WORK, [1, 7, 2], 2))
    assert results[7] == (-7, 1)
    assert {results[1][0], results[2][0]} == {2, 4}


@pytest.mark.parametrize("workers", [1, 2])
def test_wish_to_stop_leaves_the_rest(workers: int) -> None:
    wish = threading.Event()
    seen = []
    for task, _ in run_tasks(Work(double, blame, wish.is_set), list(range(20, 32)), workers):
        seen.append(task)
        wish.set()
    assert 1 <= len(seen) <= workers + 1
