"""The sites of a portfolio on the workers of an existing distributed scheduler.

The workers must see the sites' folder, and that of the results, under the same path. A lost
worker's sites run again on another.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Generator, Sequence
from itertools import islice
from typing import Any, Final

from audit.faults import InputError
from audit.portfolio.one_site import Result, Task, audit_one, not_audited, program

TIMEOUT: Final = "20s"


def on_scheduler(tasks: Sequence[Task], address: str) -> Generator[Result, None, None]:
    """Every site's result, as it comes; InputError where the scheduler is not to be had."""
    try:
        import distributed
    except ImportError:
        raise InputError(
            "--scheduler needs the extra 'cluster': pip install 'door-audit[cluster]'"
        ) from None
    # Its own log repeats on standard error what the results say, with a traceback each.
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    client = _client(distributed, address)
    try:
        yield from _handed_out(distributed, client, tasks, address)
    finally:
        client.close(timeout=2)


def _audit_there(task: Task) -> Result:
    """What a worker does with one site: the same, if it is the same program."""
    if task.program != program():
        why = "its worker has another version of this program; install the same there"
        return not_audited(task.name, why, "failed inside")
    return audit_one(task)


def _client(distributed: Any, address: str) -> Any:
    try:
        client = distributed.Client(address, timeout=TIMEOUT, set_as_default=False)
    except Exception as e:
        raise InputError(
            f"--scheduler {address}: not reached ({type(e).__name__}); give the address that the"
            " scheduler prints at its start, such as tcp://10.0.0.1:8786"
        ) from None
    try:
        client.wait_for_workers(1, timeout=TIMEOUT)
    except Exception:
        client.close(timeout=2)
        raise InputError(f"--scheduler {address}: has no workers; start some first") from None
    return client


def _handed_out(
    distributed: Any, client: Any, tasks: Sequence[Task], address: str
) -> Generator[Result, None, None]:
    threads = sum(client.nthreads().values())
    waiting = iter(tasks)
    under_way: dict[Any, Task] = {}

    def more(count: int) -> list[Any]:
        fresh = {client.submit(_audit_there, t, pure=False): t for t in islice(waiting, count)}
        under_way.update(fresh)
        return list(fresh)

    # A few ahead of each thread and no more: ten thousand results would fill the memory of all.
    done = distributed.as_completed(more(max(16, 4 * threads)), loop=client.loop)
    for future in done:
        task = under_way.pop(future)
        if future.status in ("cancelled", "lost"):
            raise InputError(
                f"--scheduler {address}: the connection was lost; with --out, the same command"
                " goes on where this stopped"
            )
        yield _result(future, task)
        future.release()
        for fresh in more(1):
            done.add(fresh)


def _result(future: Any, task: Task) -> Result:
    if future.status == "finished":
        result: Result = future.result()
        return result
    kind = type(future.exception()).__name__
    why = (
        "its worker was ended by the system again and again; it may lack memory"
        if kind == "KilledWorker"
        else f"the worker can't run this program ({kind}); install the same version there"
    )
    return not_audited(task.name, why, "failed inside")
