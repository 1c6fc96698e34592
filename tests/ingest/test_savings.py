"""A whole site, saved by a spreadsheet in its usual ways, reads the same as the plain files."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from audit.contract import Dataset
from audit.ingest import load_site
from tests.ingest.books import workbook
from tests.ingest.sites import AS_OF, same

DEMO = Path(__file__).parents[2] / "demo_data" / "site"


@pytest.fixture(scope="module")
def plain() -> Dataset:
    return load_site(DEMO, AS_OF)


def _again(
    folder: Path, saved: Callable[[list[list[str]]], bytes], suffix: str = ".csv"
) -> Dataset:
    folder.mkdir(exist_ok=True)
    shutil.copy(DEMO / "site.toml", folder)
    for path in DEMO.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as stream:
            rows = list(csv.reader(stream))
        (folder / path.name).with_suffix(suffix).write_bytes(saved(rows))
    return load_site(folder, AS_OF)


def _csv(encoding: str, cut: str) -> Callable[[list[list[str]]], bytes]:
    def saved(rows: list[list[str]]) -> bytes:
        out = io.StringIO()
        csv.writer(out, delimiter=cut).writerows(rows)
        return out.getvalue().encode(encoding)

    return saved


@pytest.mark.parametrize(
    ("encoding", "cut"),
    [("utf-8-sig", ";"), ("utf-16", "\t"), ("cp1252", ";"), ("utf-8", "|"), ("utf-16-le", ",")],
)
def test_as_csv(tmp_path: Path, plain: Dataset, encoding: str, cut: str) -> None:
    again = _again(tmp_path, _csv(encoding, cut))
    same(plain, again)
    assert [(i.table, i.rows, i.set_aside) for i in plain.inputs] == [
        (i.table, i.rows, i.set_aside) for i in again.inputs
    ]


def test_as_workbooks_of_text(tmp_path: Path, plain: Dataset) -> None:
    def saved(rows: list[list[str]]) -> bytes:
        return workbook({"S": [[c or None for c in r] for r in rows]})

    same(plain, _again(tmp_path, saved, ".xlsx"))


def test_as_json(tmp_path: Path, plain: Dataset) -> None:
    def saved(rows: list[list[str]]) -> bytes:
        return json.dumps([dict(zip(rows[0], r, strict=True)) for r in rows[1:]]).encode()

    same(plain, _again(tmp_path, saved, ".json"))


def test_the_demo_has_what_these_tests_need(plain: Dataset) -> None:
    assert len(plain.tables) == 15
    assert any(t.unread for t in plain.tables.values())
    assert any(t.damage for t in plain.tables.values())
    assert not plain["people"]["name"].str.isascii().all() or len(plain["people"]) > 10
