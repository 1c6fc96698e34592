"""Page 1 of every report says what the audit rests on, and what nobody can prove."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import pytest

from audit import check
from audit.faults import InputError
from audit.report.scope import SIGNER, UNPROVABLE, sentences

TOML = """[site]
name = "Example Court"
timezone = "Europe/Dublin"
[policy]
pin_minimum_digits = 4
[sources.cards]
columns = { number = "Fob No." }
values.status = { "In use" = "active", "Back" = "returned" }
"""
CARDS = "card_id,Fob No.,status,issued_on\n"


def _site(folder: Path) -> Path:
    folder.mkdir()
    (folder / "site.toml").write_text(TOML, "utf-8")
    (folder / "cards.csv").write_text(CARDS + "C1,1001,In use,2026-09-01\n", "utf-8")
    return folder


def _firsts(files: dict[str, bytes]) -> dict[str, str]:
    """Page 1 of each report as text: the page, the first sheet, the head of the HTML."""
    import openpyxl
    import pypdf

    found = {"report.html": files["report.html"].decode()}
    page = pypdf.PdfReader(io.BytesIO(files["report.pdf"])).pages[0].extract_text()
    found["report.pdf"] = " ".join(page.split())
    if "findings.xlsx" in files:
        sheet = openpyxl.load_workbook(io.BytesIO(files["findings.xlsx"])).worksheets[0]
        found["findings.xlsx"] = " ".join(str(c.value) for row in sheet for c in row if c.value)
    return found


@pytest.mark.parametrize("audience", ["full", "outside", "insurer"])
def test_page_one(tmp_path: Path, audience: str) -> None:
    site = _site(tmp_path / "s")
    first = check.audited(site, as_of=dt.date(2026, 6, 30), out=tmp_path / "q2")
    check.write_pack(first, tmp_path / "q2", ("json", "csv"))
    rows = "".join(f"C{i},{1000 + i},In use,2026-09-{i:02}\n" for i in range(1, 8))
    (site / "cards.csv").write_text(CARDS + rows, "utf-8")
    audit = check.audited(
        site, as_of=dt.date(2026, 9, 30), previous=tmp_path / "q2", audience=audience, make_key=True
    )
    firsts = _firsts(check.drawn(audit, ("json", "xlsx", "html", "pdf")))
    before = "fewer than five" if audience == "insurer" else "1"
    newest = "2026-09-07" if audience == "full" else "2026-09"
    mapped = ": cards.number is 'Fob No.'; cards.status 'Back' is returned; cards.status 'In use'"
    for name, text in firsts.items():
        for words in (
            "pin_minimum_digits 4 (usually 6)",
            f"site.toml maps 1 column and 2 words{mapped if audience == 'full' else '.'}",
            f"Rows: cards 7 (before {before}, newest date {newest}).",
            "Compared with the record as of 2026-06-30.",
            "Tables not recorded: ",
            SIGNER,
            UNPROVABLE,
        ):
            assert words in text, (name, words)


def test_without_an_earlier_record(tmp_path: Path) -> None:
    audit = check.audited(_site(tmp_path / "s"), as_of=dt.date(2026, 9, 30))
    told = sentences(audit.record.model_dump())
    assert "Not compared with an earlier record." in told
    assert "Rows: cards 1 (newest date 2026-09-01)." in told


def test_a_previous_record_of_another_site_or_a_later_day_is_refused(tmp_path: Path) -> None:
    site, other = _site(tmp_path / "s"), _site(tmp_path / "t")
    (other / "site.toml").write_text(TOML.replace("Example Court", "Elsewhere House"), "utf-8")
    audit = check.audited(other, as_of=dt.date(2026, 6, 30), out=tmp_path / "q2")
    check.write_pack(audit, tmp_path / "q2", ("json",))
    with pytest.raises(InputError, match="of another site \\(Elsewhere House\\)"):
        check.audited(site, as_of=dt.date(2026, 9, 30), previous=tmp_path / "q2")
    with pytest.raises(InputError, match="later than this audit"):
        check.audited(other, as_of=dt.date(2026, 6, 29), previous=tmp_path / "q2")
    # ids, where both have one, and not names
    for folder, identity in ((site, "aa"), (other, "aa")):
        text = (folder / "site.toml").read_text("utf-8")
        (folder / "site.toml").write_text(
            text.replace("[site]", f'[site]\nid = "{identity}"'), "utf-8"
        )
    audit = check.audited(other, as_of=dt.date(2026, 6, 30), out=tmp_path / "q3")
    check.write_pack(audit, tmp_path / "q3", ("json",))
    check.audited(site, as_of=dt.date(2026, 9, 30), previous=tmp_path / "q3")
