"""Where a code comes from: its holder's own record, or the memory of someone who has left."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import TEXT, Dataset
from audit.trade.pin_guessing import DATE_ORDERS, LONGEST, Ints, by_length
from audit.trade.pin_holders import live_pins, of_person
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


# --- what someone who has left may know ---------------------------------------------------

STAFF_ROLES: Final = ("staff", "contractor", "agent")
STAFF: Final = "staff"


def known_to_departed(data: Dataset) -> pd.DataFrame:
    """Shared codes with the departed people who could know them, as a rule returns them.

    A shared or unit-release PIN of a dwelling: people of that dwelling. An admin code, and a
    shared or delivery PIN of a door or station and of no dwelling: staff, contractors, agents.
    Known is what was set on or before their last day. `person` is a list where it fails.
    """
    pins, circle = _told_to(data)
    people, last, unsure, member_of = _departed(data)
    given = pins["set_on"].to_numpy()
    dated = ~np.isnat(given)
    # circles as numbers: a dwelling's from 0, the staff's last, -1 where the kind is unknown
    names, count = pd.factorize(np.concatenate([circle, member_of]), use_na_sentinel=True)
    mine, theirs = names[: len(circle)], names[len(circle) :]
    newest = np.full(len(count) + 1, np.datetime64("NaT"), last.dtype)
    doubtful = np.zeros(len(count) + 1, bool)
    order = np.argsort(last, kind="stable")
    order = order[~unsure[order]]
    newest[theirs[order]] = last[order]
    doubtful[theirs[unsure]] = True
    newest[-1], doubtful[-1] = np.datetime64("NaT"), True
    known = dated & (newest[mine] >= given)
    unclear = ~known & (doubtful[mine] | (~dated & ~np.isnat(newest[mine])))
    fails = pd.Series(pd.arrays.BooleanArray(known, unclear), index=pins.index)
    fails = fails & (pins["live"] | ~fails)
    person = np.full(len(pins), None, object)
    failing = np.flatnonzero(fails.fillna(False))
    if len(failing):
        by_circle = order[np.argsort(theirs[order], kind="stable")]
        start = np.searchsorted(theirs[by_circle], mine[failing])
        end = np.searchsorted(theirs[by_circle], mine[failing], side="right")
        for at, a, b in zip(failing.tolist(), start.tolist(), end.tolist(), strict=True):
            since = a + int(np.searchsorted(last[by_circle[a:b]], given[at]))
            person[at] = sorted(set(people[by_circle[since:b]]))
    return pins.assign(person=person, fails=fails)


Objects = npt.NDArray[np.object_]


def _told_to(data: Dataset) -> tuple[pd.DataFrame, Objects]:
    """The PINs that several people know, and who: a dwelling, STAFF, None: kind not given."""
    pins = live_pins(data)
    kind = pins["kind"]
    concerned = kind.isin(("admin", "shared", "delivery", "unit-release")) | kind.isna()
    home = pins["dwelling_id"].fillna(of_person(data, "dwelling_id"))[concerned]
    pins, kind = pins[concerned], kind[concerned]
    housed = home.notna().to_numpy()
    placed = ~housed & (pins["door_id"].notna() | pins["station_id"].notna()).to_numpy(bool)
    staff = kind.eq("admin").fillna(False).to_numpy(bool)
    staff |= kind.isin(("shared", "delivery")).to_numpy(bool) & placed
    at_home = kind.isin(("shared", "unit-release")).to_numpy(bool) & housed & ~staff
    circle = np.full(len(pins), None, object)
    circle[at_home] = ("home " + home[at_home]).to_numpy(object)
    circle[staff] = STAFF
    scope = at_home | staff | kind.isna().to_numpy()
    return pins[scope], circle[scope]


def _departed(data: Dataset) -> tuple[Objects, npt.NDArray[np.datetime64], Bools, Objects]:
    """Everyone who has or may have left, once for each circle they were in.

    Their ids, their last days, whether it is unsure (that they left, when, or as what they
    came), and the circle.
    """
    gone = departed(data)
    people = data["people"][gone.fillna(True)]
    unsure = (gone[people.index].isna() | people["end_date"].isna()).to_numpy(bool)
    role = people["role"]
    home = np.flatnonzero(people["dwelling_id"].notna())
    staff = np.flatnonzero(role.isin(STAFF_ROLES) | role.isna())
    both = np.concatenate([home, staff])
    circle = np.full(len(both), STAFF, object)
    circle[: len(home)] = ("home " + people["dwelling_id"].iloc[home]).to_numpy(object)
    unsure = unsure[both]
    unsure[len(home) :] |= role.iloc[staff].isna().to_numpy()
    return (
        people["person_id"].to_numpy(object)[both],
        people["end_date"].to_numpy()[both],
        unsure,
        circle,
    )
