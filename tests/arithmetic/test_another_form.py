"""Which form a list of card numbers stands in; by hand, from the contract's words."""

from __future__ import annotations

import pandas as pd
import pytest

from audit.arithmetic.another_form import Number, another_form, number
from audit.arithmetic.card_numbers import canonical


def read(*texts: str) -> list[Number | None]:
    frame = canonical(pd.Series(texts, dtype="string"))
    rows = zip(frame["canonical"], frame["form"], texts, strict=True)
    return [None if pd.isna(c) else number(c, f, t) for c, f, t in rows]


def found(register: list[str], written: list[str]) -> tuple[str | None, int]:
    told = another_form(read(*written), [n for n in read(*register) if n is not None])
    return told.form, len(told.numbers)


SERIALS = ["04A1B2C1", "04A1B2C2", "04A1B2C3", "04A1B2C4", "04A1B200"]
LONG = ["04A1B2C3D4E5F1", "04A1B2C3D4E5F2", "04A1B2C3D4E5F3", "04A1B2C3D4E5F4", "04A1B2C3D4E5F5"]
PAIRS = ["77,1001", "77,1002", "77,1003", "77,1004", "77,1005"]
ALONE = ["1001", "1002", "1003", "1004", "1005"]


@pytest.mark.parametrize(
    ("register", "written", "form"),
    [
        (SERIALS, [bytes.fromhex(s)[::-1].hex() for s in SERIALS], "reversed"),
        (SERIALS, [str(int.from_bytes(bytes.fromhex(s), "little")) for s in SERIALS], "reversed"),
        ([str(int(s, 16)) for s in SERIALS], [bytes.fromhex(s)[::-1].hex() for s in SERIALS],
         "reversed"),
        (LONG, [bytes.fromhex(s)[::-1].hex() for s in LONG], "reversed"),
        (PAIRS, ALONE, "without-facility"),
        (ALONE, PAIRS, "with-facility"),
        (ALONE, [str(77 * 65536 + int(n)) for n in ALONE], "with-facility"),
        (LONG, [s[-8:] for s in LONG], "low-bytes"),
        (LONG, [s[-6:] for s in LONG], "low-bytes"),
        (LONG, [str(int(s[-6:], 16)) for s in LONG], "low-bytes"),
        (SERIALS, [s[-6:] for s in SERIALS], "low-bytes"),
    ],
)  # fmt: skip
def test_each_form(register: list[str], written: list[str], form: str) -> None:
    assert found(register, written) == (form, 5)
    assert found(register, written[:4]) == (None, 0)
    assert found(register, [*written, "900001", "900002", "900003", "900004", "xyz"])[0] == form
    assert found(register, [*written, *(str(900001 + n) for n in range(6))])[0] is None


def test_a_number_of_two_cards_explains_nothing() -> None:
    twice = [*PAIRS, "78,1005"]
    assert found(twice, ALONE) == (None, 0)
    assert found([*twice, "77,1006"], [*ALONE, "1006"]) == ("without-facility", 5)


def test_the_form_that_explains_most() -> None:
    register = [*ALONE, "78,2001", "78,2002", "78,2003", "78,2004", "78,2005", "78,2006"]
    written = [*PAIRS, "2001", "2002", "2003", "2004", "2005"]
    assert found(register, written) == ("without-facility", 5)
    assert found([*register, "1006"], [*written, "77,1006"]) == ("with-facility", 6)
