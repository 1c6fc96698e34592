"""Holders, shared codes, codes in a row, origins: against slow, obvious second versions."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic.guessing import rows_of_codes
from audit.contract import Dataset
from audit.facts.pin_holders import gathered
from rules.pins._shared import live_pins, reused_codes
from rules.pins.pin_from_record import ends, from_record, reads_as_date, repeats_or_pads, written
from rules.pins.pin_series import series
from rules.pins.pin_shared_after_departure import known_to_departed
from tests.sites import dataset, example

TEXT = pd.StringDtype("pyarrow", na_value=pd.NA)


def site(pins: str, people: str = "") -> Dataset:
    return dataset(example(people + "\n\n" + pins if people else pins))


def pins_table(rows: list[tuple[str | None, ...]]) -> str:
    head = "pins\npin_id | pin | person_id | dwelling_id | door_id"
    lines = [f"P{i} | " + " | ".join(cell or "" for cell in row) for i, row in enumerate(rows)]
    return "\n".join([head, *lines])


PEOPLE = """people
person_id | dwelling_id
A | D1
B | D1
C | D2"""
HOMES = {"A": "D1", "B": "D1", "C": "D2"}
CODES = ["839146", "111460"]


def several(members: list[tuple[str | None, ...]]) -> bool:
    """Whether two of the members are surely different holders, a home counted with its person."""
    held = set()
    for _, person, dwelling, door in members:
        held.add(("person", person) if person else ("home", dwelling) if dwelling else
                 ("door", door) if door else None)  # fmt: skip
    held.discard(None)
    people = {name for kind, name in held if kind == "person"}
    apart = {h for h in held if not (h[0] == "home" and h[1] in {HOMES[p] for p in people})}
    return len(apart) > 1


member = st.tuples(
    st.sampled_from(CODES),
    st.sampled_from([None, None, "A", "B", "C"]),
    st.sampled_from([None, "D1", "D2"]),
    st.sampled_from([None, "E1", "E2"]),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(member, min_size=1, max_size=7))
def test_shared_codes_against_pairs(rows: list[tuple[str | None, ...]]) -> None:
    answer = reused_codes(site(pins_table(rows), PEOPLE), duress=False)
    failing = answer[answer["fails"].fillna(False)]
    found = {tuple(sorted(names)) for names in failing["pin"]}
    expected = set()
    for code in CODES:
        at = [i for i, row in enumerate(rows) if row[0] == code]
        if several([rows[i] for i in at]):
            expected.add(tuple(sorted(f"P{i}" for i in at)))
    assert found == expected
    named = [n for p in answer["pin"] for n in (p if isinstance(p, list) else [p])]
    assert sorted(named) == sorted(f"P{i}" for i in range(len(rows)))


@settings(max_examples=150, deadline=None)
@given(st.sets(st.integers(0, 60), max_size=25), st.sampled_from([3, 4]))
def test_rows_of_codes_step_by_step(codes: set[int], need: int) -> None:
    """Every longest row of a step, written out; those within a row of a smaller step dropped."""
    rows: list[tuple[int, frozenset[int]]] = []
    for step in range(1, 11):
        for first in sorted(codes):
            if first - step in codes:
                continue
            row = list(itertools.takewhile(lambda c: c in codes, itertools.count(first, step)))
            if len(row) >= need and not any(set(row) <= earlier for _, earlier in rows):
                rows.append((step, frozenset(row)))
    listed = np.array(sorted(codes), np.int64)
    found = []
    for step, chain in rows_of_codes(listed, need) if len(listed) else []:
        for number in set(chain[chain >= 0].tolist()):
            found.append((step, frozenset(listed[chain == number].tolist())))
    assert sorted(found, key=str) == sorted(rows, key=str)


# --- origins -------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(st.from_regex(r"[0-9]{1,8}", fullmatch=True), st.integers(3, 12), st.booleans())
def test_dwelling_numbers(number: str, digits: int, left: bool) -> None:
    """The number, padded, or repeated, and whatever else: against strings."""
    padded = number.rjust(digits, "0") if left else number.ljust(digits, "0")
    repeated = (number * digits)[:digits]
    for code in {padded[-digits:], repeated, number[:digits].ljust(digits, "7")}:
        fits = (
            code in (number.rjust(digits, "0"), number.ljust(digits, "0"))
            or (len(number) * 2 <= digits and code == repeated)
            or (code.lstrip("0") == number.lstrip("0") != "" and len(number) <= digits)
            or (set(code) == {"0"} == set(number) and len(number) <= digits)
        )
        answer = repeats_or_pads(
            np.array([int(code)], np.int64), digits, written(pd.Series([number], dtype=TEXT))
        )
        assert answer.tolist() == [fits]


@pytest.mark.parametrize(
    ("code", "date", "fits"),
    [
        ("0503", "2021-03-05", True),
        ("0305", "2021-03-05", True),
        ("2021", "2021-03-05", True),
        ("0321", "2021-03-05", True),
        ("5321", "2021-03-05", False),
        ("50321", "2021-03-05", True),
        ("050321", "2021-03-05", True),
        ("030521", "2021-03-05", True),
        ("210305", "2021-03-05", True),
        ("032021", "2021-03-05", True),
        ("05032021", "2021-03-05", True),
        ("20210305", "2021-03-05", True),
        ("151121", "2021-11-15", True),
        ("51121", "2021-11-15", False),
        ("839146", None, False),
    ],
)
def test_dates(code: str, date: str | None, fits: bool) -> None:
    """Day, month and year in every order; month and year alone; no digit of either lost."""
    days = pd.Series([pd.Timestamp(date) if date else pd.NaT], dtype="datetime64[s]")
    assert reads_as_date(np.array([int(code)]), len(code), days).tolist() == [fits]


def test_the_end_of_a_phone_number() -> None:
    phones = written(pd.Series(["+44 1632 960183", "0183", None, "(01632) 960-083"], dtype=TEXT))
    for code, fits in (("960183", [True, False, False, False]),
                       ("0183", [True, True, False, False]),
                       ("0083", [False, False, False, True])):  # fmt: skip
        assert ends(np.full(4, int(code)), len(code), phones).tolist() == fits


# --- scale: nothing quadratic ------------------------------------------------------------------


def many(rows: int, code: list[str], person: list[str]) -> Dataset:
    data = site(
        "pins\npin_id | pin | person_id | set_on | kind\nP0 | 839146 | A | 2026-01-01 | shared"
    )
    frame = data["pins"].loc[np.zeros(rows, int)].reset_index(drop=True)
    frame["pin_id"] = pd.Series([f"P{i}" for i in range(rows)], dtype=TEXT)
    frame["secret"] = pd.Series(code, dtype=TEXT)
    frame["person_id"] = pd.Series(person, dtype=TEXT)
    data.tables["pins"] = type(data.tables["pins"])(
        "pins", frame, rows=np.arange(rows) + 2, columns=data.tables["pins"].columns
    )
    return data


@pytest.mark.parametrize("shape", ["all equal", "all different", "pairs", "one holder"])
def test_shapes_that_a_loop_over_pairs_would_not_end_on(shape: str) -> None:
    rows = 30_000
    numbers = {
        "all equal": [839146] * rows,
        "all different": [(i * 7919) % 10**8 for i in range(rows)],
        "pairs": [i // 2 * 13 for i in range(rows)],
        "one holder": [839146] * rows,
    }[shape]
    person = ["A"] * rows if shape == "one holder" else [f"H{i}" for i in range(rows)]
    data = many(rows, [f"{n:08d}" for n in numbers], person)
    reused = reused_codes(data, duress=False)
    assert int(reused["fails"].fillna(False).sum()) == {"all equal": 1, "pairs": rows // 2}.get(
        shape, 0
    )
    assert not series(data)["fails"].any()
    assert len(from_record(data)) == rows


def test_a_repeated_id_is_named_once() -> None:
    """Two rows of one pin_id: no subject occurs twice, and a finding outweighs."""
    data = site(
        pins_table([("839146", "A", None, None), ("839146", "B", None, None)])
        + """
P1 | 111460 | C | | """
    )
    answer = reused_codes(data, duress=False)
    names = [tuple(p) if isinstance(p, list) else p for p in answer["pin"]]
    assert len(names) == len(set(names))
    assert ("P0", "P1") in names


def test_nothing_gathered() -> None:
    pins = live_pins(site("pins\npin_id | pin\nP1 | 839146\nP2 | ****"))
    fails = pd.Series([False, pd.NA], index=pins.index, dtype="boolean")
    answer = gathered(pins, [], [], fails)
    assert answer["pin"].tolist() == ["P1", ["P2"]]
    assert answer["fails"].isna().tolist() == [False, True]


# --- what someone who has left may know --------------------------------------------------------

day = st.sampled_from(["2026-05-01", "2026-05-02", "2026-05-03", None])
person = st.tuples(
    st.sampled_from([None, "D1", "D2"]),
    st.sampled_from(["resident", "staff", "agent", "visitor"]),
    st.sampled_from(["departed", "current", None]),
    day,
)
code_of_many = st.tuples(
    st.sampled_from(["shared", "delivery", "unit-release", "admin", "personal"]),
    st.sampled_from([None, "D1", "D2"]),
    st.sampled_from([None, "E1"]),
    day,
)


def knows(pin: tuple[str | None, ...], someone: tuple[str | None, ...]) -> bool | None:
    """Word for word as rules.md has it; None: it can't be told."""
    kind, dwelling, door, set_on = pin
    home, role, status, last = someone
    if kind == "admin" or (kind in ("shared", "delivery") and not dwelling and door):
        within = role in ("staff", "agent")
    else:
        within = kind in ("shared", "unit-release") and dwelling is not None and home == dwelling
    if not within or not (status == "departed" or last is not None):
        return False
    return None if set_on is None or last is None else set_on <= last


@settings(max_examples=40, deadline=None)
@given(st.lists(code_of_many, min_size=1, max_size=4), st.lists(person, min_size=1, max_size=4))
def test_who_may_know_a_code(
    pins: list[tuple[str | None, ...]], people: list[tuple[str | None, ...]]
) -> None:
    """Every PIN against every person."""
    text = ["people", "person_id | dwelling_id | role | status | end_date"]
    text += [f"H{i} | " + " | ".join(c or "" for c in row) for i, row in enumerate(people)]
    text += ["", "pins", "pin_id | kind | dwelling_id | door_id | set_on | pin"]
    text += [
        f"P{i} | " + " | ".join(c or "" for c in row) + " | 839146" for i, row in enumerate(pins)
    ]
    answer = known_to_departed(dataset(example("\n".join(text)))).set_index("pin")
    for i, pin in enumerate(pins):
        verdicts = [knows(pin, someone) for someone in people]
        if f"P{i}" not in answer.index:
            assert not any(verdicts)
            continue
        row = answer.loc[f"P{i}"]
        if True in verdicts:
            assert bool(row["fails"])
            assert row["person"] == [f"H{n}" for n, v in enumerate(verdicts) if v]
        elif None in verdicts:
            assert row["fails"] is pd.NA
        else:
            assert not bool(row["fails"])
