"""Where a code comes from: its holder's own record, or the memory of someone who has left."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade.pin_guessing import DATE_ORDERS, LONGEST, Ints, by_length
from audit.trade.pin_holders import live_pins
from audit.trade.standing import departed, lookup

Bools = npt.NDArray[np.bool_]

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
    known = lookup(data, "people", person, "role").notna() | person.isna()
    home = lookup(data, "people", person, "dwelling_id")
    homes = [pins["dwelling_id"], home]
    numbers = [_digits_in(lookup(data, "dwellings", ids, "number")) for ids in homes]
    phone = _digits_in(lookup(data, "people", person, "phone"))
    dates = {
        START: lookup(data, "people", person, "start_date"),
        ISSUED: pins["set_on"],
    }
    origin = np.full(len(pins), "", object)
    coded = np.zeros(len(pins), bool)
    for digits, at, codes in by_length(pins["secret"]):
        coded[at] = True
        for name, date in dates.items():
            _mark(origin, at, reads_as_date(codes, digits, date.iloc[at]), name)
        _mark(origin, at, ends(codes, digits, phone.iloc[at]), PHONE)
        for number in numbers:
            _mark(origin, at, repeats_or_pads(codes, digits, number.iloc[at]), DWELLING)
    given = [*dates.values(), phone, *numbers]
    something = np.logical_or.reduce([g.notna().to_numpy() for g in given])
    unread = np.zeros(len(pins), bool)
    for column in ("set_on", "person_id", "dwelling_id"):
        unread |= data.unread("pins", column).reindex(pins.index).to_numpy(bool)
    for column in ("start_date", "phone", "dwelling_id"):
        cell = data.unread("people", column)
        if cell.any():
            bad = set(data["people"]["person_id"][cell])
            unread |= person.isin(bad).to_numpy(bool)
    found = origin != ""
    judged = coded & (found | (something & known.to_numpy(bool) & ~unread))
    text = pd.Series(origin, index=pins.index, dtype=TEXT).mask(~found)
    return pins.assign(origin=text, judged=judged)


def _mark(origin: npt.NDArray[np.object_], at: Ints, fits: Bools, name: str) -> None:
    origin[at[fits]] = name


def _digits_in(text: pd.Series) -> pd.Series:
    """The digits of a number as people write it; NA where there are none."""
    digits = text.str.replace(r"[^0-9]", "", regex=True)
    return digits.mask(digits == "")


def _numbers(text: pd.Series) -> tuple[Ints, Ints]:
    """Text of up to LONGEST digits (the last ones) as (number, how many digits); 0 digits: NA."""
    cut = text.str.slice(-LONGEST)
    width = np.asarray(cut.str.len().astype("Int64").fillna(0), np.int64)
    number = np.asarray(cut.fillna("0").astype("int64[pyarrow]"), np.int64)
    return number, width


def ends(codes: Ints, digits: int, phone: pd.Series) -> Bools:
    """Whether each code is the end of the phone number (text of digits) beside it."""
    number, width = _numbers(phone)
    fits: Bools = (width >= digits) & (number % 10**digits == codes)
    return fits


def repeats_or_pads(codes: Ints, digits: int, number: pd.Series) -> Bools:
    """Whether each code is the dwelling number itself, padded with zeros, or repeated.

    Repeated: twice or more, the last time perhaps cut short.
    """
    value, width = _numbers(number)
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


# --- what someone who has left may know ---------------------------------------------------

STAFF_ROLES: Final = ("staff", "contractor", "agent")
STAFF: Final = "staff"


def known_to_departed(data: Dataset) -> pd.DataFrame:
    """Shared codes with the departed people who could know them, as a rule returns them.

    A shared or unit-release PIN of a dwelling: people of that dwelling. An admin code, and a
    shared or delivery PIN of a door or station and of no dwelling: staff, contractors, agents.
    Known is what was set on or before their last day. `person` is a list where it fails.
    """
    pins = _told_to(data)
    circles = _departed_circles(data)
    sure = circles[~circles["unsure"]].sort_values(["circle", "last_day", "person_id"])
    newest = pins["circle"].map(sure.groupby("circle")["last_day"].max())
    doubtful = pins["circle"].isin(circles["circle"][circles["unsure"]]).to_numpy(bool)
    known = (newest >= pins["set_on"]).to_numpy(bool)
    dateless = pins["set_on"].isna().to_numpy() & newest.notna().to_numpy()
    fails = pd.Series(known, pins.index, dtype="boolean")
    fails = fails.mask(~known & (doubtful | dateless) | pins["circle"].isna().to_numpy())
    fails &= pins["live"] | ~fails
    people = pd.Series([pd.NA] * 0, dtype=object).reindex(pins.index)
    failing = np.flatnonzero(fails.fillna(False))
    if len(failing):
        people = people.astype(object)
        people.iloc[failing] = _who_knew(pins.iloc[failing], sure)
    return pins.assign(person=people, fails=fails)


def _told_to(data: Dataset) -> pd.DataFrame:
    """The PINs that several people know, with `circle`: who; NA where the kind is not given."""
    pins = live_pins(data)
    kind = pins["kind"]
    home = pins["dwelling_id"].fillna(lookup(data, "people", pins["person_id"], "dwelling_id"))
    homeless = home.isna().to_numpy()
    placed = homeless & (pins["door_id"].notna() | pins["station_id"].notna()).to_numpy(bool)
    admin = kind.eq("admin").fillna(False).to_numpy(bool)
    of_staff = admin | (kind.isin(("shared", "delivery")).to_numpy(bool) & placed)
    of_home = kind.isin(("shared", "unit-release")).to_numpy(bool) & ~homeless
    circle = ("home " + home).mask(of_staff, STAFF).mask(~(of_home | of_staff))
    return pins.assign(circle=circle)[of_home | of_staff | kind.isna().to_numpy()]


def _departed_circles(data: Dataset) -> pd.DataFrame:
    """Everyone who has or may have left, a row each circle they were in.

    Columns circle, person_id, last_day, unsure (whether they left, when, or as what they
    came is not known).
    """
    people = data["people"]
    gone = departed(data)
    people = people.assign(
        last_day=people["end_date"], unsure=gone.isna() | people["end_date"].isna()
    )[gone.fillna(True)]
    at_home = people.assign(circle="home " + people["dwelling_id"])
    role = people["role"]
    staff = people.assign(circle=STAFF, unsure=people["unsure"] | role.isna())
    both = pd.concat([at_home, staff[role.isin(STAFF_ROLES) | role.isna()]])
    return both[both["circle"].notna()][["circle", "person_id", "last_day", "unsure"]]


def _who_knew(pins: pd.DataFrame, people: pd.DataFrame) -> list[list[str]]:
    """For each PIN the people of its circle (sorted by it and last day) from its day on."""
    first = {k: int(v[0]) for k, v in people.groupby("circle").indices.items()}
    size = people.groupby("circle").size().to_dict()
    days, ids = people["last_day"].to_numpy(), people["person_id"].to_numpy(object)
    knew = []
    for circle, day in zip(pins["circle"], pins["set_on"].to_numpy(), strict=True):
        start, end = first[circle], first[circle] + size[circle]
        since = start + int(np.searchsorted(days[start:end], day))
        knew.append(sorted(set(ids[since:end])))
    return knew
