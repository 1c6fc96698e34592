"""The site's card numbers in their canonical form, and what is wrong with them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.card_numbers import _NIBBLE, canonical
from audit.contract import TEXT, Dataset

_NIBBLE[[ord(c) for c in "0123456789ABCDEF"]] = np.arange(16)


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
    return canonical(rows["number"].where(kind))["canonical"]


def _of_events(data: Dataset) -> tuple[npt.NDArray[np.int64], pd.Series]:
    codes, texts = pd.factorize(data["events"]["card_number"])
    read = canonical(pd.Series(texts, dtype=TEXT))["canonical"]
    # An unreadable number keeps its own text as key, apart from every canonical value.
    keys = read.fillna("? " + pd.Series(texts, dtype=TEXT))
    merged, distinct = pd.factorize(keys)
    numbers = pd.Series(distinct, dtype=TEXT)
    own = np.append(merged.astype(np.int64), -1)
    return own[codes], numbers.mask(numbers.str.startswith("? "))
