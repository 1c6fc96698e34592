"""Many sites: the same bytes however they are shared out, and nothing lost when stopped."""

from __future__ import annotations

import csv
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import psutil
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import demo_data
from audit import check
from audit.cli import main
from audit.portfolio import cores, one_site, places, scheduler
from audit.portfolio.one_site import Result, Task, audit_one, program
from audit.portfolio.sum_up import summed_up
from tests.conftest import AS_OF
from tests.dying import dies

DAY = ["--as-of", str(AS_OF)]
SMALL = '[site]\nname = "Small"\ntimezone = "Europe/Dublin"\n'
ODD = "=1+1 <b>[red]\x1b[2J ünd \u202egnol"
Tree = dict[str, bytes]


def _small(folder: Path, cards: str = "card_id,number,person_id,dwelling_id\nC1,4711,,\n") -> Path:
    folder.mkdir(parents=True)
    (folder / "site.toml").write_text(SMALL, "utf-8")
    (folder / "cards.csv").write_text(cards, "utf-8")
    return folder


def _tree(folder: Path) -> Tree:
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in files}


def _command(*arguments: str | Path) -> list[str]:
    return [sys.executable, "-m", "audit", "portfolio", *map(str, arguments), *DAY]


def _run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(_command(*arguments), capture_output=True, encoding="utf-8", check=False)


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nine sites that can be audited, one of them within another, and three that can't."""
    folder = tmp_path_factory.mktemp("portfolio") / "sites"
    demo_data.write_portfolio(folder, 6, as_of=AS_OF)
    _small(folder / "site-0002" / "annexe")
    _small(folder / ODD, "card_id,number\nC1,6120984417\n")
    _small(folder / os.fsdecode(b"not \xff utf-8"))
    _small(folder / "wrong-key").joinpath("site.toml").write_text(SMALL + "colour = 1\n", "utf-8")
    _small(folder / "wrong-table").joinpath("cards.csv").write_bytes(b"\0\1\2" * 99)
    outside = _small(folder.parent / "outside")
    (folder / "leads-out").symlink_to(outside)
    (folder / "round-and-round").symlink_to(folder)
    (folder / "no site here").mkdir()
    return folder


@pytest.fixture(scope="module")
def whole(sites: Path) -> Tree:
    """What one uninterrupted run with two processes gives."""
    out = sites.parent / "whole"
    done = _run(sites, "--out", out, "--jobs", "2")
    assert (done.returncode, done.stderr) == (2, "")  # unusable sites; no progress when piped
    assert "12 sites" in done.stdout
    assert "\x1b" not in done.stdout
    assert "\u202e" not in done.stdout
    assert max(map(len, done.stdout.splitlines()[:-1])) <= 80
    return _tree(out)


# --- what is audited, and what is said of it -----------------------------------------------


def test_every_site_is_there_with_the_findings_of_its_own_audit(sites: Path, whole: Tree) -> None:
    total = json.loads(whole["portfolio.json"])
    states = {s["site"]: s["state"] for s in total["sites"]}
    bad = {"wrong-key", "wrong-table", "leads-out"}
    good = {f"site-000{n}" for n in range(1, 7)} | {"site-0002/annexe", ODD, "not \\udcff utf-8"}
    assert states == dict.fromkeys(good, "audited") | dict.fromkeys(bad, "unusable")
    assert {s["site"] for s in total["sites"][:3]} == bad
    assert all(s["why"] for s in total["sites"][:3])
    kept = {name.rpartition("/")[0] for name in whole if name.startswith("sites/")}
    assert len(kept) == len(good)
    audit = check.audited(sites / "site-0003", as_of=AS_OF)
    assert whole["sites/site-0003/findings.json"].decode() == audit.record.to_json()
    assert set(whole) == {"portfolio.csv", "portfolio.json"} | {
        f"{place}/{name}" for place in kept for name in ("findings.json", "site.json")
    }


def test_the_ranking_is_by_what_is_open(whole: Tree) -> None:
    rows = list(csv.DictReader(whole["portfolio.csv"].decode("utf-8-sig").splitlines()))
    audited = [r for r in rows if r["state"] == "audited"]
    counts = [tuple(int(r[p]) for p in ("immediate", "planned", "advisory")) for r in audited]
    assert counts == sorted(counts, reverse=True)
    for site in json.loads(whole["portfolio.json"])["sites"][3:]:
        kept = os.fsdecode(b"not \xff utf-8") if "udcff" in site["site"] else site["site"]
        record = json.loads(whole[f"sites/{kept}/findings.json"])
        assert site["open"] == record["totals"]
    assert [int(r["rank"]) for r in rows] == list(range(1, 13))
    assert all(not r["site"].startswith("=") for r in rows)  # no formula


def test_what_repeats_across_sites(sites: Path, whole: Tree) -> None:
    # The demo's own scenario: one contractor everywhere, his card at every other site, one easy
    # PIN at every fourth; the odd-named site has the same card.
    found = json.loads(whole["portfolio.json"])["repeats"]
    numbered = [f"site-000{n}" for n in range(1, 7)]
    everywhere = {r["value"]: r["sites"] for r in found["contractor"]}
    assert everywhere["Marten Oakshottle"] == numbered
    cards = {r["value"]: r["sites"] for r in found["card number"]}
    assert cards["6120984417"] == [ODD, "site-0001", "site-0003", "site-0005"]
    assert cards["4711"] == ["not \\udcff utf-8", "site-0002/annexe"]
    assert any({"site-0002", "site-0006"} <= set(r["sites"]) for r in found["PIN pattern"])


def test_no_pin_in_the_sum_up(sites: Path, whole: Tree) -> None:
    pins = {
        row["pin"]
        for path in sites.glob("*/pins.csv")
        for row in csv.DictReader(path.read_text("utf-8-sig").splitlines())
        if len(row["pin"]) >= 6 and row["pin"].isdecimal()
    }
    assert len(pins) > 5
    seen = set()
    for name, data in whole.items():
        seen |= pins & set(re.findall(r"\d+", data.decode())) if "findings" not in name else set()
    assert not seen, f"{len(seen)} PINs got out"


# --- the same bytes however the work is shared, stopped and taken up ------------------------


def test_stopped_twice_and_taken_up_it_gives_the_same_bytes(sites: Path, whole: Tree) -> None:
    out = sites.parent / "stopped"
    kept: dict[Path, int] = {}
    for stop, at_least in ((signal.SIGINT, 2), (signal.SIGKILL, 5)):
        run = subprocess.Popen(
            _command(sites, "--out", out, "--jobs", "1"), stderr=subprocess.PIPE, text=True
        )
        _until(partial(_has_begun, run, out, at_least))
        workers = psutil.Process(run.pid).children(recursive=True)
        run.send_signal(stop)
        told = run.communicate(timeout=60)[1]
        psutil.wait_procs(workers, timeout=10)
        assert not [w for w in workers if w.is_running()], "a worker outlived the command"
        if stop == signal.SIGINT:
            assert run.returncode == 130
            assert told.count("\n") == 1  # and no traceback, neither its own nor a worker's
        assert (out / places.UNFINISHED).is_file()
        assert not (out / places.SUM).exists()
        assert all(p.stat().st_mtime_ns == at for p, at in kept.items())
        kept = {p: p.stat().st_mtime_ns for p in _results(out)}
        assert at_least <= len(kept) < 9
    (out / "sites" / "site-0001").mkdir(exist_ok=True)
    (out / "sites" / "site-0001" / ".findings.json.1.part").write_text("{")
    assert _run(sites, "--out", out, "--quiet", "--jobs", "1").returncode == 2
    assert _tree(out) == whole  # one process, in three goes; a part left behind is gone
    assert all(p.stat().st_mtime_ns == at for p, at in kept.items())


def _has_begun(run: subprocess.Popen[str], out: Path, results: int) -> bool:
    assert run.poll() is None, "it ended too early"
    return len(_results(out)) >= results


def _results(out: Path) -> list[Path]:
    return sorted(out.rglob("site.json"))


def _until(true: Callable[[], bool], seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.01)


def test_a_worker_that_the_system_ends_costs_only_its_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cores, "audit_one", dies)
    tasks = [
        Task(str(tmp_path), name, None, "review", None, "")
        for name in ("a", "always", "once", "b", "c")
    ]
    results = {r.site: r for r in cores.on_cores(tasks, 1)}
    assert {n for n, r in results.items() if r.state == "audited"} == set("abc") | {"once"}
    assert "ended by the system" in (results["always"].why or "")
    assert results["always"].state == "failed inside"


@pytest.fixture
def scheduled() -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """The address of a scheduler on this machine, and its two workers."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=0, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as cluster:
        address = cluster.scheduler_address
        worker = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--no-nanny"]
        workers = [
            subprocess.Popen(
                [*worker, "--nthreads", "1", "--no-dashboard"], stderr=subprocess.DEVNULL
            )
            for _ in range(2)
        ]
        yield address, workers
        for one in workers:
            one.kill()
            one.wait()


def test_a_scheduler_whose_worker_is_killed_gives_the_same_bytes(
    sites: Path, whole: Tree, scheduled: tuple[str, list[subprocess.Popen[bytes]]]
) -> None:
    out = sites.parent / "scheduled"
    address, workers = scheduled
    run = subprocess.Popen(
        _command(sites, "--out", out, "--scheduler", address),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
    )
    _until(partial(_has_begun, run, out, 1), 180)
    workers[0].kill()
    told = run.communicate(timeout=180)[0]
    assert run.returncode == 2
    assert told.startswith("12 sites\n")  # no chatter of the scheduler's client
    assert "distributed" not in told
    assert _tree(out) == whole


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nowhere", "smoke://signal:1"])
def test_a_scheduler_that_is_not_there_is_one_line(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(scheduler, "TIMEOUT", "0.3s")
    _small(tmp_path / "sites" / "one")
    assert main(["portfolio", str(tmp_path / "sites"), "--scheduler", address]) == 2
    told = capfd.readouterr()
    assert told.out == ""
    assert told.err.startswith(f"door-audit: --scheduler {address}: not reached")
    assert told.err.count("\n") == 1


def test_without_the_extra_the_line_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    _small(tmp_path / "sites" / "one")
    assert main(["portfolio", str(tmp_path / "sites"), "--scheduler", "tcp://x:1"]) == 2
    assert "pip install 'door-audit[cluster]'" in capfd.readouterr().err


def test_a_worker_with_another_version_audits_nothing() -> None:
    result = scheduler._audit_there(Task("nowhere", "one", None, "review", None, "other"))
    assert result.state == "failed inside"
    assert "another version" in (result.why or "")


# --- results that are kept ----------------------------------------------------------------


@pytest.fixture
def in_turn(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Sites are audited in this process; counts how often each really was."""
    audits: Counter[str] = Counter()
    real = check.audited

    def counted(site: Path, **options: Any) -> check.Audit:
        audits[site.name] += 1
        return real(site, **options)

    def one_by_one(tasks: list[Task], jobs: int | None) -> Iterator[Result]:
        yield from (audit_one(task) for task in tasks)

    monkeypatch.setattr(check, "audited", counted)
    monkeypatch.setattr(cores, "on_cores", one_by_one)
    return audits


def test_only_what_changed_is_audited_again(tmp_path: Path, in_turn: Counter[str]) -> None:
    folder, out = tmp_path / "sites", tmp_path / "out"
    for name in ("same", "changed", "added", "meddled", "spoilt", "gone"):
        _small(folder / name)
    run = ["portfolio", str(folder), "--out", str(out), "--quiet"]
    assert main([*run, *DAY]) == 1
    (folder / "changed" / "cards.csv").write_text("card_id,number\nC1,4712\n", "utf-8")
    (folder / "added" / "people.csv").write_text("person_id,name\nP1,Ann Orl\n", "utf-8")
    (folder / "spoilt" / "site.toml").write_text("?", "utf-8")
    shutil.rmtree(folder / "gone")
    (out / "sites" / "meddled" / "findings.json").write_text("{}")
    in_turn.clear()
    assert main([*run, *DAY]) == 2
    assert in_turn == {"changed": 1, "added": 1, "meddled": 1}
    assert sorted(p.parent.name for p in out.rglob("findings.json")) == [
        "added", "changed", "meddled", "same",
    ]  # fmt: skip
    fresh = tmp_path / "fresh"
    assert main(["portfolio", str(folder), "--out", str(fresh), "--quiet", *DAY]) == 2
    assert _tree(out) == _tree(fresh)
    in_turn.clear()
    main([*run, "--as-of", "2026-10-01"])
    main([*run, "--as-of", "2026-10-01", "--stage", "upload"])
    assert set(in_turn.values()) == {2}  # another day, another stage: other results


def test_a_rule_that_breaks_is_loud_and_the_rest_go_on(
    tmp_path: Path,
    in_turn: Counter[str],
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    for name in ("one", "two"):
        _small(tmp_path / "sites" / name)

    def breaks(data: Any) -> Any:
        if "two" in str(in_turn):
            raise RuntimeError("839146")
        return good[0].judge(data)

    good = [r for r in check.all_rules() if r.name == "card-without-dwelling"]
    bad = replace(good[0], judge=breaks, needs={"cards": ()})
    monkeypatch.setattr(check, "all_rules", lambda: (bad,))
    out = tmp_path / "out"
    assert main(["portfolio", str(tmp_path / "sites"), "--out", str(out), *DAY]) == 3
    sites = {s["site"]: s for s in json.loads((out / "portfolio.json").read_text())["sites"]}
    assert (sites["one"]["state"], sites["two"]["state"]) == ("audited", "failed inside")
    assert "card-without-dwelling" in sites["two"]["why"]
    assert "839146" not in "".join(capfd.readouterr())
    in_turn.clear()
    main(["portfolio", str(tmp_path / "sites"), "--out", str(out), "--quiet", *DAY])
    assert in_turn == {"two": 1}  # what failed is tried again


def test_a_fault_outside_the_rules_shows_no_data(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ValueError("PIN 839146 of Ann Orl")

    monkeypatch.setattr(check, "audited", broken)
    site = _small(tmp_path / "one")
    result = audit_one(Task(str(site), "one", "2026-09-30", "review", None, program()))
    assert result.state == "failed inside"
    assert "839146" not in result.model_dump_json()
    assert "ValueError" in (result.why or "")


def test_a_program_without_its_rules_passes_no_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check, "collect", lambda _: ())
    site = _small(tmp_path / "one")
    result = audit_one(Task(str(site), "one", "2026-09-30", "review", None, program()))
    assert result.state == "failed inside"


def test_exit_status(
    tmp_path: Path, in_turn: Counter[str], capfd: pytest.CaptureFixture[str]
) -> None:
    _small(tmp_path / "sites" / "one")
    run = ["portfolio", str(tmp_path / "sites"), *DAY, "--quiet"]
    assert main(run) == 1
    assert main([*run, "--fail-on", "never"]) == 0
    assert main(["portfolio", str(tmp_path / "none")]) == 2
    (tmp_path / "empty").mkdir()
    assert main(["portfolio", str(tmp_path / "empty")]) == 2
    told = capfd.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 2
    assert sorted(p.name for p in tmp_path.rglob("*.json")) == []  # no --out: nothing written


# --- where results may go -----------------------------------------------------------------


def test_results_within_the_folder_are_never_taken_for_sites(
    tmp_path: Path, in_turn: Counter[str]
) -> None:
    _small(tmp_path / "sites" / "one")
    out = tmp_path / "sites" / "one" / "results"
    for _ in range(2):
        assert main(["portfolio", str(tmp_path / "sites"), "--out", str(out), "--quiet"]) == 1
        _small(out / "sites" / "copy", "card_id,number\nC1,1\n") if not in_turn["copy"] else None
        shutil.rmtree(out / "sites" / "copy")
    assert in_turn == {"one": 1}


@pytest.mark.parametrize("out", ["sites", "sites/one", "sites/two", "file", "foreign", "."])
def test_results_never_go_where_something_else_lies(
    out: str, tmp_path: Path, in_turn: Counter[str], capfd: pytest.CaptureFixture[str]
) -> None:
    _small(tmp_path / "sites" / "one")
    _small(tmp_path / "sites" / "two" / "deep")
    (tmp_path / "file").touch()
    (tmp_path / "foreign").mkdir()
    (tmp_path / "foreign" / "letter.txt").touch()
    before = _tree(tmp_path)
    status = main(["portfolio", str(tmp_path / "sites"), "--out", str(tmp_path / out)])
    assert (status, _tree(tmp_path)) == (2, before)
    told = capfd.readouterr()
    assert (told.out, told.err.count("\n")) == ("", 1)
    assert not in_turn


def test_a_link_among_the_results_leads_nothing_out(tmp_path: Path, in_turn: Counter[str]) -> None:
    for name in ("one", "two"):
        _small(tmp_path / "sites" / name)
    out, aim = tmp_path / "out", tmp_path / "aim"
    aim.mkdir()
    (aim / "findings.json").write_text("not ours")
    run = ["portfolio", str(tmp_path / "sites"), "--out", str(out), "--quiet"]
    assert main(run) == 1
    shutil.rmtree(out / "sites" / "two")
    (out / "sites" / "two").symlink_to(aim)
    assert main(run) == 2
    assert _tree(aim) == {"findings.json": b"not ours"}


# --- the sum-up against a slow second one --------------------------------------------------

FEW = st.sampled_from(["1", "2", "Ann", "ann", "Ørl", "\0", "'; DROP TABLE held"])
RESULTS = st.lists(
    st.builds(
        lambda n, state, counts, cards, people: Result(
            site=n, title=n, state=state, open=dict(zip(one_site.PRIORITIES, counts, strict=True)),
            rules={f"rule-{c}": c for c in counts if c}, cards=sorted(cards),
            contractors={p.casefold(): p for p in people},
        ),
        st.text("abcé/", min_size=1, max_size=4),
        st.sampled_from(["audited", "unusable", "failed inside"]),
        st.tuples(*[st.integers(0, 3)] * 3),
        st.sets(FEW),
        st.sets(FEW),
    ),
    max_size=8,
    unique_by=lambda r: r.site,
)  # fmt: skip


@given(RESULTS, st.randoms())
@settings(max_examples=60, deadline=None)
def test_the_sum_up_is_that_of_a_slow_one_in_any_order(
    results: list[Result], chance: random.Random
) -> None:
    total = summed_up(results)
    shuffled = list(results)
    chance.shuffle(shuffled)
    assert json.dumps(summed_up(iter(shuffled))) == json.dumps(total)
    for kind, of in (("card number", "cards"), ("contractor", "contractors")):
        slow = {}
        for value in {v for r in results for v in getattr(r, of)}:
            where = sorted(r.site for r in results if value in getattr(r, of))
            spelt = {r.contractors[value] if kind == "contractor" else value
                     for r in results if value in getattr(r, of)}  # fmt: skip
            if len(where) > 1:
                slow[min(spelt)] = where
        found = {r["value"]: r["sites"] for r in total["repeats"][kind]}
        assert found == slow
        sizes = [len(r["sites"]) for r in total["repeats"][kind]]
        assert sizes == sorted(sizes, reverse=True)
    for rule, n in total["rules"].items():
        assert n["sites"] == sum(rule in r.rules for r in results)
        assert n["findings"] == sum(r.rules.get(rule, 0) for r in results)
    assert total["unusable"] == sum(r.state == "unusable" for r in results)
    states = [s["state"] == "audited" for s in total["sites"]]
    assert states == sorted(states)


def test_progress_counts_the_sites(
    tmp_path: Path, in_turn: Counter[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from audit import cli

    told: list[str] = []
    monkeypatch.setattr(cli, "_progress", lambda: told.append)
    for name in ("one", "two"):
        _small(tmp_path / "sites" / name)
    assert main(["portfolio", str(tmp_path / "sites"), "--quiet"]) == 1
    assert told == ["1 of 2 sites", "2 of 2 sites", ""]
