"""CSV: encodings, separators, header lines, row numbers; the fast way against the careful one."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audit.ingest.readers import csv_text
from audit.ingest.readers.raw import RawTable
from audit.site import InputError
from tests.ingest.sites import csv_text as as_csv
from tests.ingest.sites import load, same

ROWS = [
    ["person_id", "name", "dwelling_id", "start_date"],
    ["P1", "Zoë Müller-Ångström", "A1", "01/02/2026"],
    ["P2", "O'Brien, Séamus", "A2", "2026-02-01"],
    ["007", 'Fé "Fay" Quill', "", "-"],
    ["P4", "François\nof the attic", "A3", "31/12/2025"],
]


@pytest.mark.parametrize("cut", [",", ";", "\t", "|"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_every_saving_gives_the_same_dataset(tmp_path: Path, encoding: str, cut: str) -> None:
    plain = load(tmp_path / "a", {"people.csv": as_csv(ROWS)})
    saved = load(tmp_path / "b", {"people.csv": as_csv(ROWS, cut).encode(encoding)})
    same(plain, saved)
    assert saved["people"]["person_id"].tolist() == ["P1", "P2", "007", "P4"]
    assert saved["people"]["name"][0] == "Zoë Müller-Ångström"
    said = [n for n in saved.notes if "Windows code page 1252" in n]
    assert len(said) == (encoding == "cp1252")


@pytest.mark.parametrize(
    ("encoding", "names"),
    [
        ("cp1252", ["José Núñez", "Zoë Ångström", "Groß", "Françoise", "O’Brien"]),
        ("cp1250", ["Łukasz Wąsik", "Jiří Dvořák", "Żaneta Kęska", "Grzegorz Brzęczyński"]),
        ("cp1251", ["Иванов Пётр", "Щукина Яна", "Ёлкин"]),
    ],
)
def test_windows_code_pages_are_told_apart(
    tmp_path: Path, encoding: str, names: Sequence[str]
) -> None:
    rows = [["person_id", "name"], *[[f"P{i}", n] for i, n in enumerate(names)]]
    data = load(tmp_path, {"people.csv": as_csv(rows, ";").encode(encoding)})
    assert data["people"]["name"].tolist() == list(names)
    assert any(f"code page {encoding[2:]}" in n for n in data.notes)


def test_the_sites_word_on_the_encoding_decides_where_utf8_fails(tmp_path: Path) -> None:
    text = as_csv([["person_id", "name"], ["P1", "Łęcki"]]).encode("iso8859-2")
    data = load(tmp_path, {"people.csv": text}, '[sources.people]\nencoding = "iso8859-2"\n')
    assert data["people"]["name"].tolist() == ["Łęcki"]
    with pytest.raises(InputError, match="not known"):
        load(tmp_path, {"people.csv": text}, '[sources.people]\nencoding = "utf-99"\n')


def test_a_late_accent_counts_as_much_as_an_early_one(tmp_path: Path) -> None:
    rows = [["person_id", "name"], *[[f"P{i}", "plain"] for i in range(20_000)], ["X", "Zoë"]]
    data = load(tmp_path, {"people.csv": as_csv(rows).encode("cp1252")})
    assert data["people"]["name"].iloc[-1] == "Zoë"


def test_row_numbers_are_those_of_the_spreadsheet(tmp_path: Path) -> None:
    text = (
        "Residents of Mill Yard\r\n\r\nPerson ID;Name;Flat\r\n"
        'P1;"two\r\nlines";A1\r\n\r\nP2;;A2\r\n;;\r\nP3;x;A3\r\n\r\n\r\n'
    )
    data = load(tmp_path, {"people.csv": text})
    assert data.tables["people"].rows.tolist() == [4, 6, 8]
    assert data.where("people", 2) == ("people.csv", None, 8)
    assert data["people"]["dwelling_id"].tolist() == ["A1", "A2", "A3"]


def test_sep_line_is_honoured_and_is_no_row(tmp_path: Path) -> None:
    data = load(tmp_path, {"people.csv": "sep=|\r\nperson_id|name\r\nP1|a;b\r\n"})
    assert data["people"]["name"].tolist() == ["a;b"]
    assert data.tables["people"].rows.tolist() == [2]


def test_separators_within_values_do_not_mislead(tmp_path: Path) -> None:
    text = "person_id;name\nP1;Quill, Ada, née Tarn\nP2;Vane, Cy\n"
    assert load(tmp_path, {"people.csv": text})["people"]["name"][0] == "Quill, Ada, née Tarn"


def test_ragged_rows_are_said(tmp_path: Path) -> None:
    text = (
        "person_id,name,role,phone\nP1,Ada\nP2,Quill, Bo,staff,1\nP3,Cy,staff,1,,\nP4,Di,staff,2\n"
    )
    data = load(tmp_path, {"people.csv": text})
    assert any("row 2 has fewer cells" in n for n in data.notes)
    assert any("row 3 has more cells" in n for n in data.notes)
    assert data["people"]["person_id"].tolist() == ["P1", "P2", "P3", "P4"]
    assert data.unread("people", "phone").tolist() == [False, True, False, False]
    assert data.unread("people", "role").tolist() == [False, True, False, False]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('person_id,name\nP1,"Ada\nP2,Bo\n', "row 2: a double quote is opened and never closed"),
        ('person_id,name\nP1,"Ada\nP2,Bo\nP3,"Cy"\n', "row 2: a double quote swallows"),
        ("person_id,name\nP1,Ada\0\n", "row 2: holds NUL bytes"),
        ("person_id,name\nP1," + "x" * 40_000 + "\n", "row 2: a cell longer than 32,767"),
        ("person_id,name\nP1," + "x" * 1_200_000 + "\n", "row 2: a line longer than"),
        ("", "the file is empty"),
        ("\n\n", "the file is empty"),
        (" ; \n", "the file is empty"),
        ("a,b,c\n1,2,3\n", "no column person_id"),
        ("person_id,name,NAME\nP1,a,b\n", "two columns are called"),
        ("x," * 1001 + "person_id\n", "columns"),
    ],
)
def test_what_is_no_table_is_one_clear_line(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError, match=r"people\.csv") as caught:
        load(tmp_path, {"people.csv": text})
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "Ada" not in str(caught.value)


def test_headers_repeated_among_what_is_not_used_do_no_harm(tmp_path: Path) -> None:
    data = load(tmp_path, {"people.csv": "person_id,note,note,,\nP1,a,b,c,\n"})
    assert len(data["people"]) == 1
    assert any("not used: 'note', 'note'" in n for n in data.notes)
    assert any("column 4, which has no name" in n for n in data.notes)


# --- the fast way against the careful one -----------------------------------------------

CELL = st.text(
    st.sampled_from(list('ab1 ,;"\n\r\té#'))
    | st.characters(codec="utf-8", exclude_characters="\0"),
    max_size=6,
)


def _either_way(path: Path, cut: str) -> tuple[RawTable | None, RawTable | InputError]:
    scan = csv_text.scan_text(path, "x.csv")
    header = ("id", "b", "c")
    fast = csv_text._fast(path, "x.csv", scan, cut, header, list(header), 0, [])
    try:
        return fast, csv_text._careful(path, "x.csv", scan, cut, header, 0, None, [])
    except InputError as e:
        return fast, e


def _equal(fast: RawTable, careful: RawTable) -> None:
    cells = [[c or "" for c in column.to_pylist()] for column in fast.cells]
    some = [any(c and not c.isspace() for c in row) for row in zip(*cells, strict=True)]
    kept = np.array(some, bool) if some else np.empty(0, bool)
    assert fast.rows[kept].tolist() == careful.rows.tolist()
    for ours, theirs in zip(cells, careful.cells, strict=True):
        assert [c for c, k in zip(ours, some, strict=True) if k] == [
            c or "" for c in theirs.to_pylist()
        ]


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.lists(CELL, min_size=3, max_size=3), max_size=6),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from([",", ";", "\t"]),
)
def test_well_formed_files_read_alike(
    tmp_path: Path, rows: list[list[str]], quoting: int, end: str, cut: str
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=cut, quoting=quoting, lineterminator=end)  # type: ignore[arg-type]
    writer.writerows([["id", "b", "c"], *rows])
    path = tmp_path / "x.csv"
    path.write_bytes(out.getvalue().encode("utf-8", "ignore"))
    fast, careful = _either_way(path, cut)
    if fast is not None:
        assert isinstance(careful, RawTable)
        _equal(fast, careful)


@settings(max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(st.sampled_from(list('a1,"\n\r ')), max_size=40))
def test_any_text_reads_alike_or_goes_the_careful_way(tmp_path: Path, text: str) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(b"id,b,c\n" + text.encode())
    fast, careful = _either_way(path, ",")
    if fast is not None:
        assert isinstance(careful, RawTable), str(careful)
        _equal(fast, careful)


def test_long_regular_files_do_go_the_fast_way(tmp_path: Path) -> None:
    rows = "".join(f'"C{i}","{i}","Flat ""{i}"""\r\n' for i in range(9_000))
    path = tmp_path / "x.csv"
    path.write_bytes(b'"id","b","c"\r\n' + rows.encode())
    fast, careful = _either_way(path, ",")
    assert fast is not None
    assert isinstance(careful, RawTable)
    _equal(fast, careful)
    path.write_bytes(path.read_bytes() + b'\r\n\n"C","1","x"\r\n\r\n')
    fast, careful = _either_way(path, ",")
    assert fast is not None
    assert isinstance(careful, RawTable)
    _equal(fast, careful)
    path.write_bytes(path.read_bytes() + b'"C","1\r\n')
    assert _either_way(path, ",")[0] is None


@pytest.mark.parametrize("block", [16, 64, 257])
def test_quotes_at_the_edge_of_a_block(
    tmp_path: Path, block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = b'"a","b ""x"" y",c\n' * 40
    path = tmp_path / "x.csv"
    monkeypatch.setattr(csv_text, "_BLOCK", block)
    for stray, regular in ((b"", True), (b'a,b"c,d\n', False), (b'a,"b"c,d\n', False),
                           (b'"a\nb",c,d\n', False), (b'"",,""""\n', True)):  # fmt: skip
        path.write_bytes(good + stray + good)
        assert csv_text._quotes_regular(path, "utf-8", ",") is regular, stray


def test_titles_and_empty_lines_above_a_long_table(tmp_path: Path) -> None:
    rows = "".join(f"P{i},Name {i}\n" for i in range(9_000))
    data = load(tmp_path, {"people.csv": "Residents\n\nperson_id,name\n" + rows + "\nP,x\n"})
    assert len(data["people"]) == 9_001
    assert data.where("people", 0).row == 4
    assert data.where("people", 9_000).row == 9_005


@pytest.mark.parametrize("quoting", [csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_every_saving_of_a_long_file(
    tmp_path: Path, encoding: str, quoting: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [["person_id", "name"], *[[f"P{i:05}", f"Zoë Müller {i}"] for i in range(6_000)]]
    out = io.StringIO()
    csv.writer(out, delimiter=";", quoting=quoting).writerows(rows)  # type: ignore[arg-type]
    careful: list[str] = []
    usual = csv_text._careful
    monkeypatch.setattr(
        csv_text, "_careful", lambda *a, **k: (careful.append(str(a[1])), usual(*a, **k))[1]
    )
    data = load(tmp_path, {"people.csv": out.getvalue().encode(encoding)})
    assert careful == []  # none of these is odd
    assert data["people"]["person_id"].tolist() == [r[0] for r in rows[1:]]
    assert data["people"]["name"].tolist() == [r[1] for r in rows[1:]]
    assert data.where("people", 5_999).row == 6_001
