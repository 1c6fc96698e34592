"""The site's card numbers in their canonical form, and what is wrong with them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.another_form import Found, Number, another_form, number
from audit.arithmetic.card_numbers import canonical
from audit.arithmetic.plain import places
from audit.contract import TEXT, Dataset


def register(data: Dataset) -> pd.DataFrame:
    """`canonical` of every card of the register, aligned with data["cards"].

    A row whose form or facility code stands there and can't be understood is not read at all:
    canonical, form and fault are NA.
    """
    return data.once(_register)


def loaded(data: Dataset) -> pd.Series:
    """The canonical number of every card that was read back, aligned with data["loaded"].

    NA for PINs, and where the number can't be read.
    """
    return data.once(_loaded)


def of_events(data: Dataset) -> tuple[npt.NDArray[np.int64], pd.Series]:
    """Which card each event names: a code a row (-1 = none), and each code's canonical number.

    Codes are by canonical number, so that a card written in two forms is one card; a number
    that can't be read has a code of its own and NA for its number.
    """
    return data.once(_of_events)


def _register(data: Dataset) -> pd.DataFrame:
    cards = data["cards"]
    read = canonical(cards["number"], cards["facility_code"], cards["number_form"])
    unread = data.unread("cards", "number_form") | data.unread("cards", "facility_code")
    if unread.any():
        read[unread.to_numpy()] = pd.NA
    return read


def _loaded(data: Dataset) -> pd.Series:
    rows = data["loaded"]
    kind = (rows["credential_kind"] == "card").fillna(False).to_numpy(dtype=bool)
    texts = rows["number"].where(kind)
    read = canonical(texts)
    found = _another(data, texts, read)
    return _translated(read["canonical"], found)


def _of_events(data: Dataset) -> tuple[npt.NDArray[np.int64], pd.Series]:
    codes, distinct = pd.factorize(data["events"]["card_number"])
    texts = pd.Series(distinct, dtype=TEXT)
    raw = canonical(texts)
    read = _translated(raw["canonical"], _another(data, texts, raw))
    # An unreadable number keeps its own text as key, apart from every canonical value.
    keys = read.fillna("? " + texts)
    merged, distinct = pd.factorize(keys)
    numbers = pd.Series(distinct, dtype=TEXT)
    own = np.append(merged.astype(np.int64), -1)
    return own[codes], numbers.mask(numbers.str.startswith("? "))


def form_of(data: Dataset, table: str) -> Found:
    """Whether `loaded` or `events` writes card numbers otherwise than the register does."""
    return data.once(_FORMS[table])


def _form_of_loaded(data: Dataset) -> Found:
    rows = data["loaded"]
    texts = rows["number"].where((rows["credential_kind"] == "card").fillna(False))
    return _another(data, texts, canonical(texts))


def _form_of_events(data: Dataset) -> Found:
    texts = pd.Series(data["events"]["card_number"].dropna().unique(), dtype=TEXT)
    return _another(data, texts, canonical(texts))


_FORMS = {"loaded": _form_of_loaded, "events": _form_of_events}


def _another(data: Dataset, texts: pd.Series, read: pd.DataFrame) -> Found:
    """The form in which the numbers stand that the register does not have as they are."""
    own, cards = register(data), data["cards"]
    missing = texts.notna().to_numpy() & (places(own["canonical"], read["canonical"]) < 0)
    if not data.has("cards") or not missing.any():
        return Found(None, {}, 0)
    keys = read["canonical"].fillna("? " + texts)[missing]
    asked = read.assign(text=texts)[missing][~keys.duplicated()]
    known = own.assign(text=cards["number"])[own["canonical"].notna()]
    return another_form(_numbers(asked), [n for n in _numbers(known) if n is not None])


def _numbers(frame: pd.DataFrame) -> list[Number | None]:
    rows = zip(frame["canonical"], frame["form"], frame["text"], strict=True)
    return [None if pd.isna(c) else number(c, str(form), str(text)) for c, form, text in rows]


def _translated(numbers: pd.Series, found: Found) -> pd.Series:
    """The register's numbers in the place of those that the form explains."""
    if not found.numbers:
        return numbers
    told = numbers.map(found.numbers).astype(TEXT)
    return told.fillna(numbers)
