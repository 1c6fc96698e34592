"""The rules as a reader knows them who has only the words of the contract (rules.md, data.md).

`outside_reader_2.txt` holds small sites in CSV with the findings that the words demand: written
without a look at the rules (register, permissions, schedules, stations, read-back, events), each
difference decided by the words. A case is `=== rule | title`, its files, `--- state unassessed`
and a line a finding; `row-*` stands for a row's digest.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from pathlib import Path
from typing import NamedTuple

import pytest

from audit import ingest
from audit.engine import run
from tests.sites import all_rules

HERE = Path(__file__).parent
RULES = {r.name: r for r in all_rules()}


class Case(NamedTuple):
    rule: str
    title: str
    options: dict[str, str]
    site: str
    outcome: str
    findings: list[str]


def _cases() -> list[Case]:
    found = []
    text = "\n" + (HERE / "outside_reader_2.txt").read_text("utf-8")
    for block in text.split("\n=== ")[1:]:
        head, _, rest = block.partition("\n")
        rule, title, *options = head.split(" | ")
        site, _, told = rest.partition("\n--- ")
        outcome, *findings = told.strip().splitlines()
        named = dict(o.split(" ", 1) for o in options)
        found.append(Case(rule, title, named, site, outcome, findings))
    return found


CASES = _cases()


def _priorities() -> dict[str, str]:
    with (HERE / "catalogue.tsv").open(encoding="utf-8", newline="") as file:
        return {r["rule"]: r["priority"] for r in csv.DictReader(file, delimiter="\t")}


def _write(folder: Path, case: Case) -> None:
    zone = case.options.get("zone", "Europe/Dublin")
    settings = f'[site]\nname = "Case"\ntimezone = "{zone}"\n'
    for block in ("\n" + case.site).split("\n@")[1:]:
        name, _, body = block.partition("\n")
        if name == "toml":
            settings += body + "\n"
        else:
            file = name if "." in name else f"{name}.csv"
            (folder / file).write_text(body + "\n", encoding="utf-8")
    (folder / "site.toml").write_text(settings, encoding="utf-8")


@pytest.mark.parametrize("case", CASES, ids=[f"{c.rule}: {c.title}" for c in CASES])
def test_what_the_words_demand(case: Case, tmp_path: Path) -> None:
    _write(tmp_path, case)
    day = dt.date.fromisoformat(case.options.get("as_of", "2026-09-30"))
    judged = run((RULES[case.rule],), ingest.load_site(tmp_path, day))[0]
    found = [
        ";".join(f"{k}={'+'.join(sorted(v))}" for k, v in sorted(f.subjects.items()))
        for f in judged.findings
    ]
    assert sorted(re.sub(r"row-[0-9a-f]{12}", "row-*", f) for f in found) == case.findings
    assert f"{judged.outcome.state} {judged.outcome.unassessed}" == case.outcome
    assert {f.priority for f in judged.findings} <= {_priorities()[case.rule]}
