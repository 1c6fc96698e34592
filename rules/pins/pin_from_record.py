from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.pin_guessing import DATE_ORDERS, LONGEST, by_length
from audit.arithmetic.three import Bools, Ints
from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.standing import lookup
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins, of_person


@rule(
    title="PIN based on the holder's own details",
    finds="A live PIN made from the holder's details: dwelling number repeated or padded, end of"
    " the phone number, start date, or the day the PIN was set.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin",)},
    uses=("people", "dwellings"),
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PIN {pin} is based on its holder's details.",
    evidence=("digits",),
    do=(
        Step(
            "Issue a random PIN.",
            who="office",
            does="cut",
        ),
        Step(
            "Delete this one from every panel and controller.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-63b-revision-3-5-1-1-2",
        "bonneau-preibusch-anderson-a-birthday-present-ev-2",
    ),
)
def pin_from_record(data: Dataset) -> pd.DataFrame:
    """Anyone who knows the resident, or reads the nameplate, can work it out.

    The dwelling's number repeated or padded with zeros, the end of the phone number, the
    day the tenancy began, the day the PIN was given.
    """
    pins = from_record(data)
    fails = (pins["live"] & pins["origin"].notna()).mask(~pins["judged"])
    return once_each(data, pins.assign(fails=fails), "pins", "pin")


DWELLING: Final = "the dwelling number, repeated or padded"


PHONE: Final = "the end of the phone number"


START: Final = "the start date"


ISSUED: Final = "the PIN's own issue date"


MORE_DATE_ORDERS: Final[dict[int, tuple[str, ...]]] = {
    4: ("MMYY", "YYMM", "YYYY"),
    6: ("MMYYYY", "YYYYMM", "YYDDMM"),
    8: ("YYYYDDMM",),
}
"""Beside DATE_ORDERS: of a date that stands in the record, month and year will do."""


def from_record(data: Dataset) -> pd.DataFrame:
    """The live PINs with `origin`, the part of the record a code is made of, and `judged`.

    origin: string, NA where none of what the record gives makes the code. judged: whether
    there was a code, something in the record to hold it against, and nothing unreadable.
    """
    pins = live_pins(data)
    person = pins["person_id"]
    known = of_person(data, "role").notna() | person.isna()
    homes = [pins["dwelling_id"], of_person(data, "dwelling_id")]
    numbers = [written(lookup(data, "dwellings", ids, "number")) for ids in homes]
    phone = written(of_person(data, "phone"))
    dates = {START: of_person(data, "start_date"), ISSUED: pins["set_on"]}
    origin = np.full(len(pins), "", object)
    coded = np.zeros(len(pins), bool)
    for digits, at, codes in by_length(pins["secret"]):
        coded[at] = True
        for name, date in dates.items():
            _mark(origin, at, reads_as_date(codes, digits, date.iloc[at]), name)
        _mark(origin, at, ends(codes, digits, phone.at(at)), PHONE)
        for number in numbers:
            _mark(origin, at, repeats_or_pads(codes, digits, number.at(at)), DWELLING)
    something = np.logical_or.reduce(
        [*(date.notna().to_numpy() for date in dates.values())]
        + [number.width > 0 for number in (phone, *numbers)]
    )
    unread = np.zeros(len(pins), bool)
    for column in ("set_on", "person_id", "dwelling_id"):
        unread |= data.unread("pins", column).reindex(pins.index).to_numpy(bool)
    for column in ("start_date", "phone", "dwelling_id"):
        cell = data.unread("people", column).to_numpy(bool)
        if cell.any():
            unread |= person.isin(data["people"]["person_id"][cell]).to_numpy(bool)
    found = origin != ""
    judged = coded & (found | (something & known.to_numpy(bool) & ~unread))
    text = pd.Series(origin, index=pins.index, dtype=TEXT).mask(~found)
    return pins.assign(origin=text, judged=judged)


def _mark(origin: npt.NDArray[np.object_], at: Ints, fits: Bools, name: str) -> None:
    origin[at[fits]] = name


class Written(NamedTuple):
    """Numbers as people write them: their digits (the last LONGEST) and how many; 0: none."""

    value: Ints
    width: Ints

    def at(self, places: Ints) -> Written:
        """The numbers at these places."""
        return Written(self.value[places], self.width[places])


def written(text: pd.Series) -> Written:
    """The digits in each text."""
    digits = pc.replace_substring_regex(pa.array(text.astype(TEXT).array), "[^0-9]", "")
    digits = pc.utf8_slice_codeunits(pc.fill_null(digits, ""), -LONGEST)
    width = np.asarray(pc.utf8_length(digits), np.int64)
    number = pc.cast(pc.if_else(pc.equal(digits, ""), None, digits), pa.int64())
    return Written(np.asarray(pc.fill_null(number, 0), np.int64), width)


def ends(codes: Ints, digits: int, phone: Written) -> Bools:
    """Whether each code is the end of the phone number beside it."""
    fits: Bools = (phone.width >= digits) & (phone.value % 10**digits == codes)
    return fits


def repeats_or_pads(codes: Ints, digits: int, number: Written) -> Bools:
    """Whether each code is the dwelling number itself, padded with zeros, or repeated.

    Repeated: twice or more, the last time perhaps cut short.
    """
    value, width = number
    fits: Bools = (width > 0) & (width <= digits) & (value == codes)
    short = np.clip(digits - width, 0, LONGEST)
    fits |= (width > 0) & (width <= digits) & (value * 10**short == codes)
    for one in np.unique(width[(width > 0) & (width * 2 <= digits)]).tolist():
        block, again = codes // 10 ** (digits - one), codes // 10 ** (digits % one)
        whole = np.zeros(len(codes), np.int64)
        for _ in range(digits // one):
            whole = whole * 10**one + value
        rest = codes % 10 ** (digits % one) == value // 10 ** (one - digits % one)
        fits |= (width == one) & (block == value) & (again == whole) & rest
    return fits


def reads_as_date(codes: Ints, digits: int, date: pd.Series) -> Bools:
    """Whether each code is the date beside it, in any order of day, month and year."""
    orders = (*DATE_ORDERS.get(digits, ()), *MORE_DATE_ORDERS.get(digits, ()))
    there = date.notna().to_numpy()
    fits = np.zeros(len(codes), bool)
    if not orders or not there.any():
        return fits
    when = pd.DatetimeIndex(date[there])
    parts = {
        "D": np.asarray(when.day, np.int64),
        "M": np.asarray(when.month, np.int64),
        "Y": np.asarray(when.year, np.int64),
    }
    here = np.zeros(int(there.sum()), bool)
    for order in orders:
        number = np.zeros(len(here), np.int64)
        possible = np.ones(len(here), bool)
        for letter in dict.fromkeys(order):
            width = order.count(letter)
            part = parts[letter] % 100 if letter == "Y" and width == 2 else parts[letter]
            possible &= part < 10**width
            number = number * 10**width + part
        here |= possible & (number == codes[there])
    fits[there] = here
    return fits
