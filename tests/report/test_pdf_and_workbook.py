"""report.pdf and findings.xlsx, seen through programs we did not write."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest

from audit.check import all_rules
from audit.record import Finding, Outcome, Record, SiteFacts, SourceRow, order, totals
from audit.report import pdf, tables, workbook

HOSTILE = (
    "=HYPERLINK(\"http://x\")", "+1", "-2+3", "@SUM(A1)", "#read(\"/etc/passwd\")", "*bold* _x_",
    "$x^2$", "= heading", "\u202eright to left", "\x07bell\x00", "</script><b>", "山田", "😀",
    "\ufeff", "a\tb\nc",
)  # fmt: skip


def _finding(n: int, text: str = "plain") -> Finding:
    return Finding(
        id=f"{n:016x}",
        rule=f"rule-{n % 7}",
        priority="planned",
        life_safety=n % 3 == 0,
        subjects={"door": [text]},
        sources=[SourceRow(file="doors.csv", sheet=None, row=n + 2)],
        summary=f"Door {text}.",
        why="A door is a door.",
        remedy=f"Mend {text}.",
        evidence={"text": text},
        references=["A document, 2020: a clause (read)"],
        change=None,
        decision=None,
    )


def _record(findings: list[Finding]) -> Record:
    return Record(
        site=SiteFacts(name="Hostile & Sons =1+1", timezone="Europe/Dublin", local_code="generic"),
        as_of="2026-09-30",
        stage="review",
        audience="full",
        inputs=[],
        outcomes=[
            Outcome(
                rule="rule-1",
                state="partly",
                checked=3,
                unassessed=1,
                found=1,
                reason="1 could not be judged",
            )
        ],
        findings=order(findings),
        mended=[],
        not_reassessed=[],
        totals=totals(findings),
        notices=[],
    )


@pytest.fixture(scope="module")
def hostile() -> Record:
    return _record([_finding(i, text) for i, text in enumerate(HOSTILE)])


def test_pdf_is_tagged_archivable_and_carries_the_record(demo_pack: Path) -> None:
    reader = pypdf.PdfReader(demo_pack / "report.pdf")
    root: Any = reader.trailer["/Root"]
    assert bool(root["/MarkInfo"]["/Marked"])
    assert "/StructTreeRoot" in root
    assert root["/Lang"].startswith("en")
    metadata = root["/Metadata"].get_data().decode()
    assert "pdfaid:part>3" in metadata.replace('="3', ">3")
    assert "pdfuaid" in metadata
    attached = reader.attachments["findings.json"][0]
    assert attached == (demo_pack / "findings.json").read_bytes()
    assert reader.metadata is not None
    assert "2026-09-30" in str(reader.metadata.title)


def test_pdf_says_first_what_was_not_assessed(demo_pack: Path) -> None:
    reader = pypdf.PdfReader(demo_pack / "report.pdf")
    titles = [str(o.title) for o in reader.outline if not isinstance(o, list)]
    plain = [t.lstrip("0123456789. ") for t in titles]
    assert plain.index("What was not assessed") < plain.index("What was assessed")
    assert plain.index("What was assessed") < plain.index("Findings")
    text = reader.pages[0].extract_text()
    assert "not a fire risk assessment" in " ".join(text.split())
    last = reader.pages[-1].extract_text()
    assert f"page {len(reader.pages)} of {len(reader.pages)}" in last


def test_pdf_names_every_finding(demo_pack: Path) -> None:
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    text = "".join(p.extract_text() for p in pypdf.PdfReader(demo_pack / "report.pdf").pages)
    missing = [f["id"] for f in record["findings"] if f["id"] not in text]
    assert missing == []


def test_hostile_text_is_inert_in_the_pdf(hostile: Record, tmp_path: Path) -> None:
    data = pdf.render(hostile, {})
    (tmp_path / "r.pdf").write_bytes(data)
    reader = pypdf.PdfReader(tmp_path / "r.pdf")
    text = "\n".join(p.extract_text() for p in reader.pages)
    assert '#read("/etc/passwd")' in text.replace("\u201c", '"').replace("\u201d", '"')
    assert "*bold*" in text
    assert "[U+5C71]" in text
    assert "\u202e" not in text
    links = [a.get_object() for p in reader.pages for a in p.get("/Annots", [])]
    assert not [a for a in links if "/URI" in a.get("/A", {})]
    assert "written as their code" in text
    assert pdf.render(hostile, {}) == data


def test_a_long_report_is_cut_in_the_pdf_and_says_so() -> None:
    record = _record([_finding(i) for i in range(pdf.MOST_FINDINGS + 12)])
    assert pdf._content(record, {})["omitted"] == 12


def _books(path: Path) -> dict[str, list[list[Any]]]:
    book = openpyxl.load_workbook(path)
    return {s.title: [list(r) for r in s.iter_rows(values_only=True)] for s in book}


def test_workbook_holds_findings_coverage_roll_and_worklists(demo_pack: Path) -> None:
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    sheets = _books(demo_pack / "findings.xlsx")
    assert {"summary", "findings", "coverage", "access roll", "worklist"} <= set(sheets)
    ids = [row[0] for row in sheets["findings"][1:]]
    assert ids == [f["id"] for f in record["findings"]]
    assert len(sheets["coverage"]) == 1 + len(all_rules())
    roll = list(csv.reader((demo_pack / "access-roll.csv").open(encoding="utf-8-sig")))
    assert len(sheets["access roll"]) == len(roll)
    work = list(csv.reader((demo_pack / "worklist.csv").open(encoding="utf-8-sig")))
    assert len(sheets["worklist"]) == len(work)
    book = openpyxl.load_workbook(demo_pack / "findings.xlsx")
    assert book["findings"].freeze_panes == "B2"
    assert book["findings"].auto_filter.ref


def test_no_formula_in_the_workbook(hostile: Record, tmp_path: Path) -> None:
    path = tmp_path / "f.xlsx"
    path.write_bytes(workbook.render(hostile, {}))
    with zipfile.ZipFile(path) as z:
        sheets = [z.read(n) for n in z.namelist() if n.startswith("xl/worksheets/sheet")]
    assert sheets
    assert not [s for s in sheets if b"<f>" in s or b"<f " in s or b"<hyperlink" in s]
    assert workbook.render(hostile, {}) == path.read_bytes()


def test_no_cell_of_a_csv_runs(hostile: Record) -> None:
    for data in (tables.findings_csv(hostile), tables.worklist_csv(hostile)):
        rows = list(csv.reader(data.decode("utf-8-sig").splitlines()))
        assert not [c for r in rows for c in r if c.startswith(tuple("=+-@\t"))]
        assert b"\x07" not in data
        assert b"\x00" not in data


@pytest.mark.skipif(shutil.which("soffice") is None, reason="no LibreOffice on this machine")
def test_a_spreadsheet_program_opens_the_workbook(demo_pack: Path, tmp_path: Path) -> None:
    soffice = shutil.which("soffice") or ""
    done = subprocess.run(
        [soffice, f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to",
         'csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1',
         "--outdir", str(tmp_path), str(demo_pack / "findings.xlsx")],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    record = json.loads((demo_pack / "findings.json").read_text("utf-8"))
    with (tmp_path / "findings-findings.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [r["finding id"] for r in rows] == [f["id"] for f in record["findings"]]
    assert [r["summary"] for r in rows] == [f["summary"] for f in record["findings"]]


def test_nothing_looked_at_is_no_good_report() -> None:
    blind = Outcome(
        rule="rule-1", state="not-assessed", checked=0, unassessed=0, found=0, reason="no doors"
    )
    record = _record([]).model_copy(update={"outcomes": [blind]})
    content = pdf._content(record, {})
    assert content["verdict"] == "No verdict."
    assert content["counts"] == []
    assert pdf._content(_record([]), {})["counts"] != []


def test_a_long_reference_stays_in_its_column(tmp_path: Path) -> None:
    record = _record([_finding(1, "D" * 300)])
    line = dict.fromkeys(tables.ROLL_COLUMNS, "") | {"person": "P" * 90, "door_group": "G" * 90}
    (tmp_path / "r.pdf").write_bytes(pdf.render(record, {"roll": [line]}))
    reader = pypdf.PdfReader(tmp_path / "r.pdf")
    lines = [line for p in reader.pages for line in p.extract_text().splitlines()]
    assert max(line.count("D") for line in lines if "DDDD" in line) < 100
    assert max(line.count("P") for line in lines if "PPPP" in line) < 30


def test_the_roll_tells_first_who_came_and_who_went() -> None:
    line = dict.fromkeys(tables.ROLL_COLUMNS, "")
    roll = [{**line, "person": p, "change": c} for p, c in
            (("A", ""), ("B", "new"), ("C", "gone"), ("D", "hours were: always"))]  # fmt: skip
    content = pdf._content(_record([]), {"roll": roll})
    assert [r[0] for r in content["roll"]] == ["B", "C", "D", "A"]
    assert "new 1, gone 1, with other hours 1" in content["roll_changes"]
    assert pdf._content(_record([]), {"roll": roll[:1]})["roll_changes"] == ""


def test_rows_of_the_workbook_are_as_high_as_their_text(tmp_path: Path) -> None:
    (tmp_path / "f.xlsx").write_bytes(workbook.render(_record([_finding(1, "word " * 60)]), {}))
    sheet = openpyxl.load_workbook(tmp_path / "f.xlsx")["findings"]
    assert 80 < sheet.row_dimensions[2].height < 250
    assert "$L$" in sheet.print_area
