"""Many sites at once: each audited by itself, then summed up and looked at across.

A site that can't be used doesn't stop the rest. With --out each site's findings.json is kept
under its folder's name, so that an interrupted run goes on where it stopped and a changed site
is audited anew. One machine's cores work as processes; where that is outgrown, the same function
runs on the workers of a distributed scheduler that see the same folders, and gives the same
bytes.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from typing import TYPE_CHECKING

from audit.portfolio import places
from audit.portfolio.one_site import Result, Task, not_audited, program
from audit.portfolio.sum_up import summed_up, tell, written
from audit.record import PRIORITIES

if TYPE_CHECKING:
    from rich.console import Console

Progress = Callable[[str], None]


def run(options: argparse.Namespace, out: Console, progress: Progress | None) -> int:
    """The `portfolio` command; 3 a rule failed, 2 a site was unusable, 1 findings, 0 none."""
    folder, kept = options.folder, options.out
    if kept is not None:
        places.check_out(folder, kept)
    sites, unusable = places.found(folder, kept)
    if kept is not None:
        places.begin(kept, [name for name, _ in sites])
    day = options.as_of.isoformat() if options.as_of else None
    mine = program()
    tasks = [
        Task(str(site.resolve()), name, day, options.stage, str(kept.resolve()) if kept else None,
             mine)
        for name, site in sites
    ]  # fmt: skip
    with closing(_results(tasks, unusable, options, progress)) as results:
        total = summed_up(results)
    if kept is not None:
        written(kept, total)
        places.end(kept)
    if not options.quiet:
        tell(total, out)
        if kept is not None:
            out.print(f"\nThe sum-up and each site's findings.json are in {kept}", markup=False)
    if total["failed"]:
        return 3
    if total["unusable"]:
        return 2
    levels = (*PRIORITIES, "never")
    counted = levels[: levels.index(options.fail_on) + 1] if options.fail_on != "never" else ()
    return 1 if any(total["totals"].get(p) for p in counted) else 0


def _results(
    tasks: Sequence[Task],
    unusable: Sequence[tuple[str, str]],
    options: argparse.Namespace,
    progress: Progress | None,
) -> Generator[Result, None, None]:
    """Every site's result as it comes; on the way, how many are done."""
    if options.scheduler is not None:
        from audit.portfolio.scheduler import on_scheduler

        stream = on_scheduler(tasks, options.scheduler)
    else:
        from audit.portfolio.cores import on_cores

        stream = on_cores(tasks, options.jobs)
    yield from (not_audited(name, why) for name, why in unusable)
    try:
        with closing(stream):
            for done, result in enumerate(stream, 1):
                yield result
                if progress is not None:
                    progress(f"{done:,} of {len(tasks):,} sites")
    finally:
        if progress is not None:
            progress("")
