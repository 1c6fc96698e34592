"""What several rules on cards ask: which are withdrawn, which numbers are at fault."""

from __future__ import annotations

import pandas as pd

from audit.arithmetic import card_numbers
from audit.arithmetic.columns import among
from audit.contract import Dataset
from audit.facts import card_register
from audit.facts.standing import live


def withdrawn(data: Dataset, *, stock: bool) -> pd.Series:
    """Whether each card is lost, returned or destroyed (or in stock): NA where not readable."""
    words = ("lost", "returned", "destroyed")
    return among(data["cards"]["status"], *words, *(("stock",) if stock else ()))


def faulty(data: Dataset) -> pd.DataFrame:
    """What is wrong with each card's number; aligned with data["cards"].

    Columns: `card`, `number`, `form`, `fault`, `live`, and nullable booleans `malformed` and
    `random`. Of a technology other than `hf-*` or unstated, 88 and 08 are bytes like others.
    """
    return data.once(_faulty)


def _faulty(data: Dataset) -> pd.DataFrame:
    cards, read = data["cards"], card_register.register(data)
    fault = read["fault"]
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "number": cards["number"],
            "form": read["form"],
            "fault": fault,
            "live": live(data, "cards"),
        }
    )
    stump, anew = (
        (fault == remark).fillna(False).to_numpy(dtype=bool)
        for remark in (card_numbers.STUMP, card_numbers.RANDOM)
    )
    malformed = (fault.notna().to_numpy(dtype=bool) & ~stump & ~anew).astype(object)
    unread = read["form"].isna().to_numpy(dtype=bool)
    serial = pd.Series(True, index=frame.index, dtype="boolean")
    if stump.any() or anew.any():
        words = cards["technology"]
        serial = words.str.match("hf-|unknown").astype("boolean")
        serial = serial.fillna(True).mask(data.unread("cards", "technology"))
    for name, sure, hangs in (("malformed", malformed, stump), ("random", None, anew)):
        verdict = pd.Series(False if sure is None else sure, index=frame.index, dtype="boolean")
        verdict = verdict.mask(hangs, serial) if hangs.any() else verdict
        frame[name] = verdict.mask(unread) if unread.any() else verdict
    return frame
