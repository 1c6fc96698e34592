"""Many sites at once: each audited by itself, then summed up and looked at across.

A site that can't be used doesn't stop the rest. With --out each site's result is kept under
its folder's name with the digest of all that it is a function of, so that an interrupted run
goes on where it stopped and a changed site is audited anew. One machine's cores work as
processes; where that is outgrown, the same function runs on the workers of a distributed
scheduler that see the same folders, and gives the same bytes.

Across sites the sum-up compares card numbers, the patterns of guessable PINs and who holds
what as a contractor. PIN digits take no part in it: a digest of six digits is as good as the
digits.
"""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import json
import os
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from audit.contract import InputError
from audit.faults import without_data
from audit.record import PRIORITIES
from audit.terminal import CAUTION, plain

FORMAT = "door-audit portfolio 1"
RESULT = "site.json"
SHOWN = 20
Result = dict[str, Any]


def site_folders(folder: Path) -> list[Path]:
    """Every folder with a site.toml below `folder`, in order of their names."""
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such folder")
    found = []
    for place, inner, files in os.walk(folder):
        inner.sort()
        if "site.toml" in files:
            found.append(Path(place))
            inner.clear()
    if not found:
        raise InputError(f"{folder}: no folder below it holds a site.toml")
    return found


def audit_one(folder: str, name: str, as_of: str | None, stage: str, out: str | None) -> Result:
    """One site's result, JSON-safe; a site that can't be used says why instead of raising.

    With `out`, its findings.json is written there, and a result that is still true is reused.
    """
    from audit import check
    from audit.site import read_site

    site = Path(folder)
    try:
        zone = ZoneInfo(read_site(site / "site.toml").timezone)
        day = dt.date.fromisoformat(as_of) if as_of else dt.datetime.now(zone).date()
        print_ = _fingerprint(site, day, stage)
        if out is not None and (kept := _kept(Path(out), print_)) is not None:
            return kept
        audit = check.audited(site, as_of=day, stage=stage)
        record = audit.record
        result: Result = {
            "site": name,
            "title": record.site.name,
            "as_of": record.as_of,
            "state": "failed inside"
            if any(o.state == "failed" for o in record.outcomes)
            else "audited",
            "why": None,
            "fingerprint": print_,
            "open": {
                p: sum(f.priority == p and not f.silenced for f in record.findings)
                for p in PRIORITIES
            },
            "rules": dict(sorted(Counter(f.rule for f in record.findings).items())),
            "not_assessed": sum(o.state == "not-assessed" for o in record.outcomes),
            **_shared(audit),
        }
        if out is not None:
            _write(Path(out), record.to_json(), result)
        return result
    except InputError as e:
        return _unusable(name, str(e))
    except Exception as e:
        return _unusable(name, f"a fault of this program: {without_data(e)}")


def _unusable(name: str, why: str) -> Result:
    return {
        "site": name,
        "title": name,
        "as_of": None,
        "state": "unusable",
        "why": why,
        "fingerprint": None,
        "open": dict.fromkeys(PRIORITIES, 0),
        "rules": {},
        "not_assessed": 0,
        "cards": [],
        "pin_patterns": [],
        "contractors": [],
    }


def _shared(audit: Any) -> Result:
    """What may repeat in other buildings: live card numbers, PIN patterns, contractors."""
    from audit.trade.card_numbers import canonical
    from audit.trade.names import fold_name
    from audit.trade.standing import entitled, live

    data = audit.data
    cards = data["cards"][live(data, "cards").fillna(False).to_numpy(bool)]
    numbers = canonical(cards["number"], cards["facility_code"], cards["number_form"])
    people = data["people"]
    contractors = people[
        (entitled(data) & (people["role"] == "contractor")).fillna(False).to_numpy(bool)
    ]
    patterns = {
        str(f.evidence["pattern"])
        for f in audit.record.findings
        if f.rule == "pin-guessable" and f.evidence.get("pattern")
    }
    return {
        "cards": sorted(set(numbers["canonical"].dropna().astype(str))),
        "pin_patterns": sorted(patterns),
        "contractors": sorted({" ".join(fold_name(n)) for n in contractors["name"].dropna()}),
    }


def _fingerprint(site: Path, as_of: dt.date, stage: str) -> str:
    """sha256 of every file of the site, the day, the stage and the program's version."""
    from audit.cli import _version

    total = hashlib.sha256(f"{FORMAT} {_version()} {as_of} {stage}".encode())
    for path in sorted(p for p in site.rglob("*") if p.is_file() and not p.is_symlink()):
        total.update(path.relative_to(site).as_posix().encode("utf-8", "replace"))
        with path.open("rb") as file:
            total.update(hashlib.file_digest(file, "sha256").digest())
    return total.hexdigest()


def _kept(out: Path, fingerprint: str) -> Result | None:
    try:
        kept: Result = json.loads((out / RESULT).read_text("utf-8"))
        whole = kept["fingerprint"] == fingerprint and (out / "findings.json").is_file()
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return kept if whole else None


def _write(out: Path, record: str, result: Result) -> None:
    """findings.json first, the result last: a result that is there is whole."""
    out.mkdir(parents=True, exist_ok=True)
    for name, text in (("findings.json", record), (RESULT, json.dumps(result, indent=1) + "\n")):
        part = out / f".{name}.{os.getpid()}"
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(out / name)


# --- many -----------------------------------------------------------------------------


def audit_all(
    folder: Path,
    *,
    as_of: dt.date | None = None,
    stage: str = "review",
    out: Path | None = None,
    jobs: int | None = None,
    scheduler: str | None = None,
    progress: Callable[[str], None] | None = None,
) -> list[Result]:
    """Every site's result, in the order of the sites' names."""
    sites = site_folders(folder)
    if out is not None:
        sites = [s for s in sites if not s.resolve().is_relative_to(out.resolve())]
    tasks = []
    for site in sites:
        name = site.relative_to(folder).as_posix()
        place = None if out is None else str((out / "sites" / name).resolve())
        day = as_of.isoformat() if as_of else None
        tasks.append((str(site.resolve()), name, day, stage, place))
    stream = _on_scheduler(tasks, scheduler) if scheduler is not None else _on_cores(tasks, jobs)
    results = []
    for done, result in enumerate(stream, 1):
        results.append(result)
        if progress is not None:
            progress(f"{done:,} of {len(tasks):,} sites")
    if progress is not None:
        progress("")
    return sorted(results, key=lambda r: str(r["site"]))


Task = tuple[str, str, str | None, str, str | None]


def _on_cores(tasks: Sequence[Task], jobs: int | None) -> Iterator[Result]:
    workers = min(jobs or os.cpu_count() or 1, len(tasks))
    if workers == 1:
        yield from (audit_one(*task) for task in tasks)
        return
    left = list(tasks)
    for attempt in (1, 2):
        # A worker that the system ends takes its pool with it: what is left is tried once
        # more, one site at a time, so that the one at fault is known.
        unfinished = []
        with ProcessPoolExecutor(
            workers if attempt == 1 else 1, get_context("spawn"), initializer=_import
        ) as pool:
            futures = {pool.submit(audit_one, *task): task for task in left}
            for future in as_completed(futures):
                try:
                    yield future.result()
                except BrokenProcessPool:
                    unfinished.append(futures[future])
        left = unfinished
        if not left:
            return
    yield from (_unusable(task[1], "its process was ended by the system, twice") for task in left)


def _import() -> None:
    """Pays for the imports once a process, and keeps each process to its own core."""
    import pyarrow

    from audit import check

    pyarrow.set_cpu_count(1)
    check.all_rules()


def _on_scheduler(tasks: Sequence[Task], address: str) -> Iterator[Result]:
    """Runs the tasks on a distributed scheduler's workers; a lost worker's tasks run again."""
    try:
        from distributed import Client
        from distributed import as_completed as completed
    except ImportError:
        raise InputError("--scheduler needs the extra: pip install door-audit[cluster]") from None
    try:
        client = Client(address, timeout="20s")
    except (OSError, TimeoutError, ValueError) as e:
        raise InputError(f"--scheduler {address}: not reached ({type(e).__name__})") from None
    with client:
        futures = {client.submit(audit_one, *t, pure=False, retries=3): t for t in tasks}
        for future in completed(futures):
            if future.status == "finished":
                yield future.result()
            else:
                yield _unusable(futures[future][1], "its worker was lost again and again")


# --- sum-up ---------------------------------------------------------------------------


def summed_up(results: Sequence[Result]) -> Result:
    """Sites ranked by what is open, rules by how many sites they touch, and what repeats."""
    ranked = sorted(
        results,
        key=lambda r: (
            r["state"] == "audited",
            *(-r["open"][p] for p in PRIORITIES),
            r["site"],
        ),
    )
    by_rule: dict[str, dict[str, int]] = defaultdict(lambda: {"sites": 0, "findings": 0})
    for r in results:
        for rule, n in r["rules"].items():
            by_rule[rule]["sites"] += 1
            by_rule[rule]["findings"] += n
    keys = ("site", "title", "as_of", "state", "why", "open", "not_assessed")
    return {
        "format": FORMAT,
        "sites": [{k: r[k] for k in keys} for r in ranked],
        "totals": {p: sum(r["open"][p] for r in results) for p in PRIORITIES},
        "unusable": sum(r["state"] == "unusable" for r in results),
        "rules": dict(
            sorted(by_rule.items(), key=lambda i: (-i[1]["sites"], -i[1]["findings"], i[0]))
        ),
        "repeats": {
            "card number": _repeats(results, "cards"),
            "PIN pattern": _repeats(results, "pin_patterns"),
            "contractor": _repeats(results, "contractors"),
        },
    }


def _repeats(results: Sequence[Result], key: str) -> list[Result]:
    places: dict[str, list[str]] = defaultdict(list)
    for r in results:
        for value in r[key]:
            places[value].append(r["site"])
    many = [(v, sorted(s)) for v, s in places.items() if len(s) > 1]
    return [{"value": v, "sites": s} for v, s in sorted(many, key=lambda i: (-len(i[1]), i[0]))]


def run(options: argparse.Namespace, out: Console, progress: Callable[[str], None] | None) -> int:
    """The `portfolio` command; 3 a rule failed, 2 a site was unusable, 1 findings, 0 none."""
    results = audit_all(
        options.folder,
        as_of=options.as_of,
        stage=options.stage,
        out=options.out,
        jobs=options.jobs,
        scheduler=options.scheduler,
        progress=progress,
    )
    total = summed_up(results)
    if options.out is not None:
        _write_sum(options.out, total)
    if not options.quiet:
        tell(total, out)
        if options.out is not None:
            out.print(Text(f"\nThe sum-up and each site's findings.json are in {options.out}"))
    states = {r["state"] for r in results}
    if "failed inside" in states:
        return 3
    if "unusable" in states:
        return 2
    levels = (*PRIORITIES, "never")
    counted = levels[: levels.index(options.fail_on) + 1] if options.fail_on != "never" else ()
    return 1 if any(total["totals"].get(p) for p in counted) else 0


def _write_sum(out: Path, total: Result) -> None:
    from audit.report.tables import csv_bytes

    out.mkdir(parents=True, exist_ok=True)
    rows = [
        (
            n,
            s["site"],
            s["title"],
            s["as_of"],
            s["state"],
            *(s["open"][p] for p in PRIORITIES),
            s["not_assessed"],
            s["why"],
        )
        for n, s in enumerate(total["sites"], 1)
    ]
    columns = ("rank", "site", "title", "as_of", "state", *PRIORITIES, "not_assessed", "why")
    texts = {
        "portfolio.json": (json.dumps(total, ensure_ascii=False, indent=2) + "\n").encode(
            "utf-8", "replace"
        ),
        "portfolio.csv": csv_bytes(columns, rows),
    }
    for name, data in texts.items():
        part = out / f".{name}.part"
        part.write_bytes(data)
        part.replace(out / name)


def tell(total: Result, out: Console) -> None:
    """The sum-up as the terminal shows it."""
    sites = total["sites"]
    out.print(Text(f"{len(sites):,} sites", style="bold"))
    table = Table(box=None, pad_edge=False)
    table.add_column("site", overflow="fold")
    for p in PRIORITIES:
        table.add_column(p, justify="right", no_wrap=True)
    table.add_column("not looked at", justify="right", no_wrap=True)
    for s in sites[:SHOWN]:
        if s["state"] == "unusable":
            table.add_row(Text(plain(s["site"])), Text("can't be used", style="bold red"))
            continue
        counts = [f"{s['open'][p]:,}" for p in PRIORITIES]
        mark = " (a rule failed)" if s["state"] == "failed inside" else ""
        table.add_row(Text(plain(s["site"]) + mark), *counts, f"{s['not_assessed']}")
    out.print(table)
    if len(sites) > SHOWN:
        out.print(f"and {len(sites) - SHOWN:,} more; --out writes them all")
    for s in (s for s in sites if s["state"] == "unusable"):
        out.print(
            Padding(Text(f"{plain(s['site'])}: {plain(s['why'])}", style="red"), (0, 0, 0, 2))
        )
    out.print()
    out.print(Text("rules that touch the most sites", style="bold"))
    for rule, n in list(total["rules"].items())[:10]:
        out.print(f"  {n['sites']:>5,} sites, {n['findings']:>7,} findings  {rule}")
    for what, repeats in total["repeats"].items():
        if repeats:
            out.print()
            out.print(Text(f"the same {what} in several sites: {len(repeats):,}", style="bold"))
            for r in repeats[:5]:
                names = ", ".join(map(plain, r["sites"][:4]))
                more = f" and {len(r['sites']) - 4:,} more" if len(r["sites"]) > 4 else ""
                out.print(Padding(Text(f"{plain(r['value'])}: {names}{more}"), (0, 0, 0, 2)))
    out.print()
    out.print(Text(CAUTION, style="italic"))
