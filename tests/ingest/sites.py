"""Small site folders for the tests of ingest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from audit.contract import Dataset
from audit.ingest import load_site

AS_OF = dt.date(2026, 9, 30)
TOML = '[site]\nname = "Mill Yard"\ntimezone = "Europe/Dublin"\n'


def site(folder: Path, files: Mapping[str, str | bytes], toml: str = "") -> Path:
    """A site folder with these files; texts are written as UTF-8."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(TOML + toml, "utf-8")
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return folder


def load(folder: Path, files: Mapping[str, str | bytes], toml: str = "") -> Dataset:
    return load_site(site(folder, files, toml), AS_OF)


def same(a: Dataset, b: Dataset, *, rows: bool = True) -> None:
    """Asserts that two datasets hold the same, files' names and digests aside."""
    assert set(a.tables) == set(b.tables)
    for name, one in a.tables.items():
        two = b.tables[name]
        pd.testing.assert_frame_equal(one.frame, two.frame)
        pd.testing.assert_frame_equal(one.set_aside, two.set_aside)
        if rows:
            assert one.rows.tolist() == two.rows.tolist()
        assert one.columns == two.columns
        for marks in ("unread", "damage"):
            first, second = getattr(one, marks), getattr(two, marks)
            assert {k: list(v) for k, v in first.items()} == {k: list(v) for k, v in second.items()}


def csv_text(rows: Sequence[Sequence[str]], cut: str = ",") -> str:
    """Rows as a spreadsheet saves them: quotes only where they are needed."""
    import csv
    import io

    out = io.StringIO()
    csv.writer(out, delimiter=cut, lineterminator="\r\n").writerows(rows)
    return out.getvalue()
