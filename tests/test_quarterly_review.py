"""A managing agent's quarterly review, with report.html and a spreadsheet only, to its end.

Audit, decide in the page, save, mend the data, audit again with --previous and decisions,
look at the access roll, send the outside pack; the auditor verifies it.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from audit.cli import main
from tests.conftest import AS_OF

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
NEXT = dt.date(2026, 12, 30)


def _record(pack: Path) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((pack / "findings.json").read_text("utf-8"))
    return loaded


def _one(record: dict[str, Any], rule: str) -> dict[str, Any]:
    found: dict[str, Any] = next(f for f in record["findings"] if f["rule"] == rule)
    return found


def _decide_in_the_page(pack: Path, decisions: dict[str, dict[str, str]], to: Path) -> None:
    """Opens the report as a double click does, decides each finding, saves decisions.csv."""
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page()
        page.clock.set_fixed_time("2026-10-05T10:00:00")
        page.goto((pack / "report.html").as_uri())
        for identity, cells in decisions.items():
            page.goto((pack / "report.html").as_uri() + "#" + identity)
            page.reload()  # what was decided before survives it
            finding = page.locator(f'.finding[id="{identity}"], #f-{identity}').first
            finding.get_by_role("radio", name=cells["decision"].capitalize()).check()
            for label, text in cells.items():
                if label != "decision":
                    name = re.compile("^" + label, re.IGNORECASE)
                    finding.get_by_role("textbox", name=name).fill(text)
        with page.expect_download() as waiting:
            page.get_by_role("button", name="Save decisions").click()
        shutil.copy(waiting.value.path(), to)
        browser.close()


def _edit(site: Path, table: str, key: str, identity: str, **cells: str) -> None:
    """One row corrected, as in a spreadsheet program that saves semicolons and a mark."""
    path = site / f"{table}.csv"
    with path.open(encoding="utf-8-sig", newline="") as file:
        text = file.read()
    separator = ";" if text.splitlines()[0].count(";") else ","
    rows = list(csv.DictReader(text.splitlines(), delimiter=separator))
    for row in rows:
        if row[key] == identity:
            row.update(cells)
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
def test_the_whole_walk(
    demo_site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site"
    shutil.copytree(demo_site, site)

    # the first review
    q3 = tmp_path / "q3"
    assert main(["check", str(site), "--as-of", str(AS_OF), "--out", str(q3), "--quiet"]) == 1
    record = _record(q3)
    leaver = _one(record, "departed-with-card")
    dormant = _one(record, "card-dormant")
    locked = _one(record, "escape-door-without-alarm-release")
    plant = _one(record, "reaches-plant")

    # decided in the page
    until = {"until": "2027-03-31", "decided by": "A. Agent"}
    _decide_in_the_page(
        q3,
        {
            leaver["id"]: {
                "decision": "revoke",
                "reason": "card taken back",
                "decided by": "A. Agent",
            },
            dormant["id"]: {"decision": "keep", "reason": "away for the winter", **until},
            locked["id"]: {
                "decision": "keep",
                "reason": "guarded until mended",
                "document": "FRA 2026-17",
                "competent person": "C. Person",
                **until,
            },
            plant["id"]: {"decision": "later", "reason": "new lock ordered", **until},
        },
        site / "decisions.csv",
    )

    # mended: the leaver's card is out
    _edit(site, "cards", "card_id", leaver["subjects"]["card"][0], status="suspended")

    # the second review of the same day sees decisions and mending
    again = tmp_path / "again"
    options = ["--previous", str(q3 / "findings.json"), "--out", str(again), "--quiet"]
    assert main(["check", str(site), "--as-of", str(AS_OF), *options]) == 1
    second = _record(again)
    assert [n.split(": ")[1] for n in second["notices"]] == [
        "the finding is resolved; the row may go"
    ]
    states = {
        f["id"]: f["decision"] and (f["decision"]["decision"], f["decision"]["state"])
        for f in second["findings"]
    }
    assert states[dormant["id"]] == ("keep", "in force")
    assert states[locked["id"]] == ("keep", "in force")
    assert states[plant["id"]] == ("later", "in force")
    assert leaver["id"] not in states
    assert leaver["id"] in {m["id"] for m in second["mended"]}
    listed = (again / "worklist.csv").read_text("utf-8-sig")
    assert dormant["id"] not in listed
    assert (q3 / "worklist.csv").read_text("utf-8-sig").count(dormant["id"]) == 1

    # the next quarter: a resident has left, a decision has not lapsed yet, later it has
    roll = list(csv.DictReader((again / "access-roll.csv").open(encoding="utf-8-sig")))
    gone = next(
        r["person"] for r in roll if r["person"].startswith("R") and "dwelling" in r["through"]
    )
    _edit(site, "people", "person_id", gone, end_date="2026-10-31", status="departed")
    q4 = tmp_path / "q4"
    options = ["--previous", str(again / "findings.json"), "--out", str(q4), "--quiet"]
    assert main(["check", str(site), "--as-of", str(NEXT), *options]) == 1
    roll = list(csv.DictReader((q4 / "access-roll.csv").open(encoding="utf-8-sig")))
    assert {r["change"] for r in roll if r["person"] == gone} == {"gone"}
    spring = tmp_path / "spring"
    options = ["--previous", str(q4 / "findings.json"), "--out", str(spring), "--quiet"]
    main(["check", str(site), "--as-of", "2027-04-01", *options])
    late = _record(spring)
    lapsed = next(f for f in late["findings"] if f["id"] == locked["id"])
    assert lapsed["decision"]["state"] == "lapsed"
    assert any(locked["id"] in n and "open again" in n for n in late["notices"])

    # the pack for the insurer, and what the auditor does with it
    outside = tmp_path / "for-insurer"
    options = ["--audience", "outside", "--out", str(outside), "--quiet"]
    main(["check", str(site), "--as-of", str(NEXT), *options])
    capsys.readouterr()
    assert main(["verify", str(outside)]) == 0
    told = capsys.readouterr().out
    assert "data files are those that were audited" in told
    assert "complete and unchanged" in told
    names = {
        r["name"]
        for r in csv.DictReader((site / "people.csv").open(encoding="utf-8-sig"), delimiter=";")
    }
    text = (outside / "report.html").read_text("utf-8")
    assert [n for n in names if n and n in text] == []
