"""What several rules on cards ask: which are withdrawn, which numbers are at fault."""

from __future__ import annotations

import numpy as np
import pandas as pd

from audit.arithmetic import card_numbers
from audit.arithmetic.columns import among
from audit.arithmetic.three import Bools
from audit.contract import TEXT, Dataset
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
    foreign, vague = _of_other_formats(data, read)
    frame["fault"] = fault = fault.mask(foreign.notna(), foreign)
    malformed = (fault.notna().to_numpy(dtype=bool) & ~stump & ~anew).astype(object)
    malformed[vague] = pd.NA
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


NO_FORMAT = "outside the site's formats"
NO_CODE = "facility code that is not the site's"


def _of_other_formats(data: Dataset, read: pd.DataFrame) -> tuple[pd.Series, Bools]:
    """Faults of facilities and numbers by `[cards]` in site.toml, and which can't be told.

    Beyond 26 bits nobody can tell unless the site's formats are given.
    """
    own = data.site.cards
    sound = read["fault"].isna().to_numpy(dtype=bool)
    pair = sound & among(read["form"], "wiegand26", "bits").fillna(False).to_numpy(dtype=bool)
    fault = pd.Series(None, index=read.index, dtype=TEXT)
    wide = pair & (read["form"] == "bits").fillna(False).to_numpy(dtype=bool)
    if not pair.any() or not (own.formats or own.facility_codes):
        return fault, wide
    texts = read["canonical"][pair]
    parts = texts.str.split(",", expand=True).reindex(columns=[0, 1]).astype(TEXT)
    whole = parts[1].isna().to_numpy(dtype=bool)
    first = parts[0].astype("int64").to_numpy()
    facility = np.where(whole, first // 65536, first)
    number = np.where(whole, first % 65536, parts[1].fillna("0").astype("int64").to_numpy())
    fits = np.full(len(texts), not own.formats)
    for form in own.formats:
        fits |= (facility < 2**form.facility_bits) & (number < 2**form.number_bits)
    ours = np.full(len(texts), True)
    if own.facility_codes:
        ours = np.isin(facility, own.facility_codes)
    named = np.where(~fits, NO_FORMAT, np.where(~ours, NO_CODE, ""))
    fault[pair] = pd.Series(named, dtype=TEXT).replace("", None).to_numpy()
    return fault, wide & (not own.formats) & fault.isna().to_numpy(dtype=bool)
