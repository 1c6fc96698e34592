"""The sites of a portfolio on this machine's cores: a process each, imports paid once."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import active_children, get_context, parent_process
from multiprocessing.connection import wait as until
from threading import Thread
from typing import Final

from audit.portfolio.one_site import Result, Task, audit_one, not_audited

MOST: Final = 61  # more a pool can't have on Windows


def on_cores(tasks: Sequence[Task], jobs: int | None = None) -> Generator[Result, None, None]:
    """Every site's result, as it comes, from `jobs` processes (one a core)."""
    waiting = deque(tasks)
    while waiting:
        lost = yield from _together(waiting, min(jobs or _cores(), len(waiting), MOST))
        # The system ended a worker, and with it the pool. What was under way is tried twice
        # more, each site alone, so that the one at fault is known and bad luck is not.
        for task in lost:
            again = yield from _together(deque([task]), 1)
            again = again and (yield from _together(deque([task]), 1))
            if again:
                why = "its process was ended by the system again and again; it may lack memory"
                yield not_audited(task.name, why, "failed inside")


def _together(waiting: deque[Task], workers: int) -> Generator[Result, None, list[Task]]:
    """Results until none is waiting or a worker is lost; then the tasks that were under way."""
    under_way: dict[Future[Result], Task] = {}
    lost: list[Task] = []
    others = set(active_children())
    with ProcessPoolExecutor(workers, get_context("spawn"), initializer=_begin) as pool:
        try:
            while under_way or (waiting and not lost):
                # A few ahead of the workers and no more: ten thousand results would fill memory.
                while waiting and not lost and len(under_way) < 2 * workers:
                    task = waiting.popleft()
                    try:
                        under_way[pool.submit(audit_one, task)] = task
                    except BrokenProcessPool:
                        lost.append(task)
                for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                    task = under_way.pop(future)
                    try:
                        yield future.result()
                    except BrokenProcessPool:
                        lost.append(task)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            for worker in set(active_children()) - others:
                worker.terminate()
            raise
    return lost


def _cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def _begin() -> None:
    """A worker leaves an interrupt to its parent, and ends when the parent does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        until([parent.sentinel])
        os._exit(1)
