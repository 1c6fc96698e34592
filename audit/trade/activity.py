"""Events: what happened at the doors, grouped once and asked many times.

A file of millions of rows is coded to numbers once (doors, events, times); every question is
then a count or a sort over those arrays. Times are microseconds of UTC inside, and the site's
wall clock wherever a day is meant or a time is shown.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.schema import TABLES
from audit.trade import card_numbers
from audit.trade.matching import NOT_SHOWN, Match, cards_named, pins_named
from audit.trade.plain import (
    NO,
    UNCLEAR,
    YES,
    given,
    listed,
    nullable,
    places,
    taken,
    texts,
    unread,
    word_codes,
)
from audit.trade.readback import unreadable_pins_at
from audit.trade.standing import EVENTS as WORDS
from audit.trade.standing import by_id, event_codes, stands

CODE: Final = {word: code for code, word in enumerate(WORDS)}
MINUTE: Final = 60_000_000
"""Microseconds."""
FOREVER: Final = int(np.iinfo(np.int64).max)
NEVER: Final = int(np.iinfo(np.int64).min)

_Ints = npt.NDArray[np.int64]
_Mask = npt.NDArray[np.bool_]


# --- over arrays ---------------------------------------------------------------------


def within(group: _Ints, time: _Ints, window: int, *, closed: bool) -> _Ints:
    """How many events of the same group follow each within `window`, itself included.

    Both arrays are sorted by group, then time; the result is aligned with them. `closed`: an
    event exactly `window` later counts too.
    """
    if not len(time):
        return np.zeros(0, np.int64)
    moments, rank = np.unique(time, return_inverse=True)
    end = np.searchsorted(moments, moments + window, "right" if closed else "left")
    place = group * (len(moments) + 1)
    ends = np.searchsorted(place + rank, place + end[rank], "left")
    return np.asarray(np.maximum(ends - np.arange(len(time)), 0), np.int64)


def behind(door: _Ints, time: _Ints, tolerance: int) -> _Ints:
    """How far each event lies behind the latest before it at its door, in the given order.

    0 where it is not behind by more than `tolerance`.
    """
    if not len(time) or (np.maximum.accumulate(time) - time).max() <= tolerance:
        return np.zeros(len(time), np.int64)
    order = np.argsort(door, kind="stable")
    ranked, rank = np.unique(time, return_inverse=True)
    lift = door[order] * len(ranked)
    highest = ranked[np.maximum.accumulate(rank[order] + lift) - lift]
    result = np.zeros(len(time), np.int64)
    result[order] = highest - time[order]
    return np.where(result > tolerance, result, 0)


def apart(card: _Ints, time: _Ints, zones: _Ints, window: int) -> _Mask:
    """Events followed, sooner than `window`, by one of the same card where no zone is shared.

    Rows are sorted by card, then time. `zones` (n by 2) codes the two sides of each event's
    door; a door shares its own. For each event those in its window that touch one of its two
    zones are counted; where they are fewer than the window holds, some are apart. So it takes
    n log n, however many fall into one window.
    """
    n = len(time)
    here = np.arange(n)
    ends = here + within(card, time, window, closed=False)
    low, high = zones.min(axis=1), zones.max(axis=1)
    two = low != high
    sides = np.sort(np.concatenate([low * (n + 1) + here, (high * (n + 1) + here)[two]]))
    _, pair = np.unique(low * (int(high.max(initial=0)) + 1) + high, return_inverse=True)
    pairs = np.sort(pair * (n + 1) + here)

    def touching(sorted_keys: _Ints, value: _Ints) -> _Ints:
        first = np.searchsorted(sorted_keys, value * (n + 1) + here)
        return np.asarray(np.searchsorted(sorted_keys, value * (n + 1) + ends) - first, np.int64)

    shared = touching(sides, low) + np.where(two, touching(sides, high) - touching(pairs, pair), 0)
    return np.asarray(shared < ends - here, bool)


def overdue(
    code: _Ints, limit: _Ints, sure: _Mask, counts: _Mask, last: _Ints
) -> npt.NDArray[np.int8]:
    """Whether each register row was used at or after its limit: YES, NO, UNCLEAR.

    Row i stands for credential `code[i]`, last used at `last[code]` (NEVER: not used), and may
    be used before `limit[i]` (FOREVER: always); `sure[i]` False: the limit is not known. Where
    several rows stand for one credential, the most favourable explains a use, of those that
    `counts` (of all, where none does), and only it is answered for: the others are in order.
    """
    heard = np.zeros(len(last), bool)
    heard[code[counts]] = True
    speaks = counts | ~heard[code]
    best = np.full(len(last), NEVER)
    known = speaks & sure
    np.maximum.at(best, code[known], limit[known])
    vague = np.zeros(len(last), bool)
    vague[code[speaks & ~sure]] = True
    used = last[code]
    late = (used >= best[code]) & (used > NEVER)
    answers = speaks & late & (~sure | (limit == best[code]))
    return np.where(answers, np.where(vague[code], UNCLEAR, YES), NO).astype(np.int8)


# --- the site's clock ----------------------------------------------------------------


def day_after(data: Dataset, days: pd.Series) -> _Ints:
    """The moment (microseconds of UTC) at which the day after each date begins on site.

    NEVER where no date is given.
    """
    following = pd.DatetimeIndex(days.to_numpy()).as_unit("us") + pd.Timedelta(days=1)
    first = following.tz_localize(
        data.zone, ambiguous=np.ones(len(following), bool), nonexistent="shift_forward"
    )
    return np.asarray(first.tz_convert("UTC").asi8, np.int64)


def clock(data: Dataset, time: _Ints) -> list[str]:
    """Moments as the site's wall clock showed them, `2026-09-30 14:05:00`."""
    if not len(time):
        return []
    utc = pd.DatetimeIndex(time.view("datetime64[us]")).tz_localize("UTC")
    wall = utc.tz_convert(data.zone).tz_localize(None).to_numpy("datetime64[s]")
    return [t.replace("T", " ") for t in np.datetime_as_string(wall).tolist()]


# --- the log -------------------------------------------------------------------------


@dataclass(frozen=True)
class Log:
    """The events as numbers, in the file's order: time, event word (CODE) and door.

    `doors` names the doors in the order of their codes; `counts` is doors by words.
    """

    time: _Ints
    event: npt.NDArray[np.int8]
    door: _Ints
    doors: pd.Series
    counts: _Ints

    def rows(self, *words: str) -> _Ints:
        """Positions of the events of these kinds."""
        wanted = np.zeros(len(WORDS), bool)
        wanted[[CODE[w] for w in words]] = True
        return np.flatnonzero(wanted[self.event])

    def count(self, *words: str) -> _Ints:
        """Events of these kinds at each door."""
        return np.asarray(self.counts[:, [CODE[w] for w in words]].sum(axis=1), np.int64)


def log(data: Dataset) -> Log:
    """The site's events, coded once."""
    return data.once(_log)


def _log(data: Dataset) -> Log:
    events = data["events"]
    door, doors = pd.factorize(events["door_id"])
    code = event_codes(data)
    width = len(WORDS)
    counts = np.bincount(door * width + code, minlength=len(doors) * width)
    return Log(
        events["time"].to_numpy("datetime64[us]").view(np.int64),
        code,
        door.astype(np.int64),
        pd.Series(doors, dtype=TEXT),
        counts.reshape(len(doors), width),
    )


def happened(data: Dataset, *words: str) -> pd.DataFrame:
    """A row a door of the file: how often any of these happened there, and when.

    Columns: `door`, `count` (int), `times` (list of site times in order), `last` (the last of
    them), `sources`.
    """
    book = log(data)
    rows = book.rows(*words)
    return _told(data, rows, book.door[rows]).assign(count=book.count(*words))


def _told(data: Dataset, rows: _Ints, door: _Ints) -> pd.DataFrame:
    """A row a door: the times of the given events there, and their places in the file."""
    book = log(data)
    n = len(book.doors)
    order = np.lexsort((rows, book.time[rows], door))
    rows, door = rows[order], door[order]
    at = np.unique(door)
    first, end = np.searchsorted(door, at), np.searchsorted(door, at, "right")
    times, labels = clock(data, book.time[rows]), data["events"].index.to_numpy()[rows].tolist()
    spans = list(zip(at.tolist(), first.tolist(), end.tolist(), strict=True))
    last = np.full(n, None, object)
    last[at] = [times[b - 1] for _, _, b in spans]
    return pd.DataFrame(
        {
            "door": book.doors,
            "times": listed(n, {d: times[a:b] for d, a, b in spans}),
            "last": last,
            "sources": listed(n, {d: [("events", r) for r in labels[a:b]] for d, a, b in spans}),
        }
    )


def openings(data: Dataset) -> pd.DataFrame:
    """A row a door of the file: how often it was passed, and how often it reported its leaf.

    Columns: `door`, `passages` (granted or exit), `reports` (opened, closed, forced or held),
    `status_monitor` (the doors table's word; NA unknown), `monitored` (boolean),
    `told_elsewhere` (boolean: some other door reports openings; NA where none does, for then
    the file may not carry them at all), `sources` (none: the door's own row).
    """
    book = log(data)
    doors = by_id(data, "doors")
    at = places(doors.index, book.doors)
    opened = book.count("opened")
    other = opened.sum() - opened > 0
    monitor = taken(doors["status_monitor"], at)
    word = word_codes(pd.Series(monitor), MONITORS)
    labels = np.append(doors["_label"].to_numpy(), -1)[at].tolist()
    return pd.DataFrame(
        {
            "door": book.doors,
            "passages": book.count("granted", "exit"),
            "reports": book.count("opened", "closed", "forced", "held"),
            "status_monitor": monitor,
            "monitored": nullable(np.where(word < 0, UNCLEAR, word > 0).astype(np.int8)),
            "told_elsewhere": nullable(np.where(other, YES, UNCLEAR).astype(np.int8)),
            "sources": [[("doors", label)] if label >= 0 else [] for label in labels],
        }
    )


MONITORS: Final = TABLES["doors"].column("status_monitor").words
"""`none` first."""


def refusals(data: Dataset, minutes: int) -> pd.DataFrame:
    """A row a door of the file: the most refusals that came within `minutes`, both ends counted.

    Columns: `door`, `most` (int), `since` (site time at which the first such crowd began; NA
    without a refusal), `sources` (the refusals of that crowd).
    """
    book = log(data)
    rows = book.rows("denied")
    door, time = book.door[rows], book.time[rows]
    order = np.lexsort((time, door))
    rows, door, time = rows[order], door[order], time[order]
    crowd = within(door, time, minutes * MINUTE, closed=True)
    most = np.zeros(len(book.doors), np.int64)
    np.maximum.at(most, door, crowd)
    peak = np.flatnonzero(crowd == most[door])
    at, first = np.unique(door[peak], return_index=True)
    start = peak[first]
    n = len(book.doors)
    since = np.full(n, None, object)
    since[at] = clock(data, time[start])
    labels = data["events"].index.to_numpy()[rows]
    sources = {
        one: [("events", label) for label in labels[begin : begin + size].tolist()]
        for one, begin, size in zip(at.tolist(), start.tolist(), crowd[start].tolist(), strict=True)
    }
    return pd.DataFrame(
        {"door": book.doors, "most": most, "since": since, "sources": listed(n, sources)}
    )


def days_covered(data: Dataset) -> int:
    """The days from the file's first event to its last, both counted, by the site's clock."""
    time = log(data).time
    if not len(time):
        return 0
    first, last = (
        dt.date.fromisoformat(t[:10]) for t in clock(data, np.array([time.min(), time.max()]))
    )
    return (last - first).days + 1


def out_of_time(data: Dataset) -> pd.DataFrame:
    """A row a door of the file: events later than the as-of day, and such as run backwards.

    Columns: `door`, `later` and `backwards` (int), `times` (list), `sources`. An event of an
    hour that the clock repeats is no step back where the hour's other reading is none.
    """
    book = log(data)
    later = book.time >= day_after(data, pd.Series([data.today]))[0]
    turn = slice(None, None, -1) if _descending(data, book.time) else slice(None)
    lag = behind(book.door[turn], book.time[turn], MINUTE)[turn]
    back = lag > MINUTE
    suspect = np.flatnonzero(back)
    if suspect.size:
        back[suspect] = lag[suspect] - _other_reading(data, book.time[suspect]) > MINUTE
    n = len(book.doors)
    rows = np.flatnonzero(later | back)
    return _told(data, rows, book.door[rows]).assign(
        later=np.bincount(book.door[later], minlength=n),
        backwards=np.bincount(book.door[back], minlength=n),
    )


def _descending(data: Dataset, time: _Ints) -> bool:
    """Whether the file is wholly in descending order, the hour that the clock repeats aside."""
    if len(time) < 2 or time[0] <= time[-1]:
        return False
    rise = np.diff(time)
    up = np.flatnonzero(rise > 0)
    if not up.size:
        return True
    if rise.max() > 180 * MINUTE:  # no clock is ever put back further
        return False
    return bool((rise[up] <= _other_reading(data, time[up])).all())


def _other_reading(data: Dataset, time: _Ints) -> _Ints:
    """How much later (microseconds) the other reading of a repeated wall time is, else 0."""
    utc = pd.DatetimeIndex(time.view("datetime64[us]")).tz_localize("UTC")
    wall = utc.tz_convert(data.zone).tz_localize(None)
    second = wall.tz_localize(
        data.zone, ambiguous=np.zeros(len(wall), bool), nonexistent="shift_forward"
    )
    return np.asarray(np.maximum(second.asi8 - time, 0), np.int64)


# --- who was there -------------------------------------------------------------------


def uses(data: Dataset, table: str) -> Match:
    """The cards, or the PINs, that the events name, and the register rows they stand for."""
    return data.once(_USES[table])


def _card_uses(data: Dataset) -> Match:
    code, numbers = card_numbers.of_events(data)
    return cards_named(data, code, numbers, data["events"]["card_number"])


def _pin_uses(data: Dataset) -> Match:
    events = data["events"]
    return pins_named(data, events["pin_id"], events["secret"])


_USES = {"cards": _card_uses, "pins": _pin_uses}


def granted(data: Dataset, table: str) -> tuple[_Ints, _Ints]:
    """Positions of the granted events that name a card (or a PIN), and each code's last time."""
    return data.once(_GRANTED[table])


def _granted_of(table: str) -> Callable[[Dataset], tuple[_Ints, _Ints]]:
    def last(data: Dataset) -> tuple[_Ints, _Ints]:
        book, used = log(data), uses(data, table)
        rows = np.flatnonzero((book.event == CODE["granted"]) & (used.code >= 0))
        times = np.full(used.size, NEVER)
        np.maximum.at(times, used.code[rows], book.time[rows])
        return rows, times

    return last


_GRANTED = {"cards": _granted_of("cards"), "pins": _granted_of("pins")}


def last_moments(data: Dataset) -> tuple[_Ints, _Mask]:
    """For each place in `by_id(data, "people")`, and −1: the first moment after the last day.

    In microseconds of UTC, FOREVER where there is no last day; and whether that is sure (it is
    not of those who departed on a day that is not given, nor of an unknown person, −1).
    """
    return data.once(_last_moments)


def _last_moments(data: Dataset) -> tuple[_Ints, _Mask]:
    people = by_id(data, "people")
    status = word_codes(people["status"], ("departed", "current", "expected"))
    labels = people["_label"].to_numpy()
    vague = status == 0
    for column in ("status", "end_date"):
        mask = unread(data, "people", column)
        if isinstance(mask, np.ndarray):
            vague |= mask[labels]
    if not data.has("people", "end_date"):
        vague |= status < 0  # "from the dates", and there are none
    dated = given(people["end_date"])
    limit = np.full(len(people) + 1, FOREVER)
    limit[:-1][dated] = day_after(data, people["end_date"].iloc[np.flatnonzero(dated)])
    return limit, np.append(dated | ~vague, False)


def after_departure(data: Dataset) -> pd.DataFrame:
    """Cards and PINs of people with a last day: whether they were used after it.

    A row a person and credential. Columns: `person`, `card`, `pin`, `fails` (nullable),
    `last_day` (date), `uses` (int), `last` (site time), `times`, `doors` (lists), `sources`; the
    last five tell of the uses after the last day, where there are any. Where the register of
    a kind is absent and the events name some, a row without subject says that it is unclear.
    """
    people, (limit, sure) = by_id(data, "people"), last_moments(data)
    days = people["end_date"]
    frames = []
    for table, key, other in (("cards", "card", "pin"), ("pins", "pin", "card")):
        found, register = uses(data, table), data[table]
        _, last = granted(data, table)
        if not data.has(table):
            if (last > NEVER).any():
                frames.append(pd.DataFrame({"person": texts([None]), "fails": pd.NA}))
            continue
        at = stands(data, table, "person_id", "people")
        held = given(register["person_id"])
        own_limit, own_sure = limit[at], sure[at] | ~held
        active = word_codes(register["status"], ("active",)) == 0
        row = found.row
        verdict = overdue(found.of, own_limit[row], own_sure[row], active[row], last)
        scope = (held & (~own_sure | (own_limit != FOREVER)))[row]
        kept = _gravest(verdict, row, scope, register[f"{key}_id"], register["person_id"])
        row = row[kept]
        told = _late_uses(data, table, verdict[kept], found.of[kept], own_limit[row])
        person = taken(register["person_id"], row)
        frames.append(
            pd.DataFrame(
                {
                    "person": person,
                    key: taken(register[f"{key}_id"], row),
                    other: texts([None] * len(row)),
                    "fails": nullable(verdict[kept]),
                    "last_day": taken(days, at[row]),
                    **told,
                }
            )
        )
    if not _names_credentials(data) or not (data.has("cards") or data.has("pins")):
        frames = [pd.DataFrame({"person": texts([None]), "fails": pd.NA})]
    some = [frame for frame in frames if len(frame)] or frames[:1]
    told_of = some[0] if len(some) == 1 else pd.concat(some, ignore_index=True)
    return told_of.reindex(columns=list(_AFTER_DEPARTURE))


_AFTER_DEPARTURE: Final = (
    "person", "card", "pin", "fails", "last_day", "uses", "last", "times", "doors", "sources",
)  # fmt: skip


def _names_credentials(data: Dataset) -> bool:
    """Whether the file has a column that could say whose card or PIN it was."""
    return data.has("events", "card_number") or data.has("events", "pin_id")


def after_withdrawal(data: Dataset) -> pd.DataFrame:
    """Withdrawn cards (lost, returned, destroyed, in stock): whether they were used since.

    A row a card. Columns: `card`, `status`, `fails`, `uses`, `last`, `times`, `doors`,
    `sources`.
    """
    found, cards = uses(data, "cards"), data["cards"]
    away = word_codes(cards["status"], WITHDRAWN) >= 0
    odd = ~given(cards["status"])
    ends, used = given(cards["valid_to"]), given(cards["last_used"])
    sure = ends | (used & ~unread(data, "cards", "valid_to"))
    asked = (away | odd) & sure
    limit = np.full(len(cards), FOREVER)
    day = cards["valid_to"].where(ends, cards["last_used"])
    limit[asked] = day_after(data, day.iloc[np.flatnonzero(asked)])
    _, last = granted(data, "cards")
    row = found.row
    verdict = overdue(
        found.of, limit[row], (~odd & (~away | sure))[row], np.ones(len(row), bool), last
    )
    kept = _gravest(verdict, row, (away | odd)[row], cards["card_id"])
    row = row[kept]
    return pd.DataFrame(
        {
            "card": taken(cards["card_id"], row),
            "status": taken(cards["status"], row),
            "fails": nullable(verdict[kept]),
            **_late_uses(data, "cards", verdict[kept], found.of[kept], limit[row]),
        }
    )


WITHDRAWN: Final = ("lost", "returned", "destroyed", "stock")


def _gravest(verdict: npt.NDArray[np.int8], row: _Ints, scope: _Mask, *ids: pd.Series) -> _Ints:
    """Where in `row` each subject in scope has its gravest verdict; `ids` make the subject."""
    kept = np.flatnonzero(scope)
    codes = [pd.factorize(i.array.take(row[kept]))[0] for i in ids]
    rank = np.array([2, 0, 1], np.int8)[verdict[kept]]
    order = np.lexsort([row[kept], rank, *codes])
    new = np.ones(len(order), bool)
    if len(order) > 1:
        new[1:] = np.any([c[order][1:] != c[order][:-1] for c in codes], axis=0)
    return kept[np.sort(order[new])]


def _late_uses(
    data: Dataset, table: str, verdict: npt.NDArray[np.int8], codes: _Ints, limits: _Ints
) -> dict[str, Any]:
    """When and where each failing credential was used at or after its limit, as columns."""
    book, found = log(data), uses(data, table)
    n = len(verdict)
    failing = np.flatnonzero(verdict == YES)
    last = np.full(n, None, object)
    count = np.zeros(n, np.int64)
    times: dict[int, list[str]] = {}
    doors: dict[int, list[str]] = {}
    sources: dict[int, list[tuple[str, int]]] = {}
    if failing.size:
        rows, _ = granted(data, table)
        late = np.full(found.size, FOREVER)
        np.minimum.at(late, codes[failing], limits[failing])
        rows = rows[book.time[rows] >= late[found.code[rows]]]
        rows = rows[np.lexsort((rows, book.time[rows], found.code[rows]))]
        first = np.searchsorted(found.code[rows], codes[failing])
        end = np.searchsorted(found.code[rows], codes[failing], "right")
        shown = clock(data, book.time[rows])
        labels = data["events"].index.to_numpy()[rows].tolist()
        where = taken(book.doors, book.door[rows]).tolist()
        for at, a, b in zip(failing.tolist(), first.tolist(), end.tolist(), strict=True):
            times[at] = shown[a:b]
            doors[at] = sorted(set(where[a:b]))
            sources[at] = [("events", label) for label in labels[a:b]]
            last[at], count[at] = shown[b - 1], b - a
    return {
        "uses": count,
        "last": last,
        "times": listed(n, times),
        "doors": listed(n, doors),
        "sources": listed(n, sources),
    }


def unknown_uses(data: Dataset) -> pd.DataFrame:
    """Granted events whose card or PIN no register row explains, by door and number.

    Columns: `door`, `number`, `fails` (True: unexplained; NA: can't be said), `uses` (int),
    `last`, `times` (list), `sources`; and for each door's other granted events one row without
    number (False; NA where the register of the kind is absent). A number written in two ways
    is one, named as the first in order of letters; the PINs of one door are one row, NOT_SHOWN.
    """
    book = log(data)
    rest: dict[str, bool | None] = {}
    told: list[tuple[str | None, str | None, bool | None, list[str], list[tuple[str, int]]]] = []
    for table in ("cards", "pins"):
        found = uses(data, table)
        rows, _ = granted(data, table)
        state = found.explained[found.code[rows]]
        if table == "pins" and (state == UNCLEAR).any() and data.has("pins"):
            digits = (state == UNCLEAR) & given(data["events"]["secret"])[rows]
            possible = places(pd.Series(unreadable_pins_at(data)), book.doors) >= 0
            state[digits & ~possible[book.door[rows]]] = NO
        present = data.has(table)
        there = np.zeros(len(book.doors), bool)
        there[book.door[rows[(state == YES) | (not present)]]] = True
        for door in book.doors[there].tolist():
            known = rest.get(door, False) is False and present
            rest[door] = False if known else None
        if present:
            told += _odd(data, table, rows[state != YES], state[state != YES] == NO)
    told += [(door, None, verdict, [], []) for door, verdict in rest.items()]
    if not _names_credentials(data):
        told = [(None, None, None, [], [])]
    columns = list(zip(*told, strict=True)) if told else [()] * 5
    return pd.DataFrame(
        {
            "door": pd.Series(columns[0], dtype=TEXT),
            "number": pd.Series(columns[1], dtype=TEXT),
            "fails": pd.Series(columns[2], dtype="boolean"),
            "uses": np.array([len(t) for t in columns[3]], np.int64),
            "last": np.array([t[-1] if t else None for t in columns[3]], object),
            "times": pd.Series(columns[3], dtype=object),
            "sources": pd.Series(columns[4], dtype=object),
        }
    )


def _odd(data: Dataset, table: str, rows: _Ints, sure: _Mask) -> list[Any]:
    """A tuple (door, number, fails, times, sources) for each door and unexplained number."""
    if not rows.size:
        return []
    book, found = log(data), uses(data, table)
    doors, door = book.doors.tolist(), book.door[rows]
    if table == "pins":
        group = np.zeros(len(rows), np.int64)
        heard = np.zeros(len(book.doors), bool)
        heard[door[sure]] = True
        keep = sure | ~heard[door]  # at one door, what is certain goes before what is unclear
        rows, sure, door, group = rows[keep], sure[keep], door[keep], group[keep]
        texts = [NOT_SHOWN] * len(rows)
    else:
        group = found.code[rows]
        texts = data["events"]["card_number"].iloc[rows].tolist()
    order = np.lexsort((rows, book.time[rows], group, door))
    rows, group, door, sure = rows[order], group[order], door[order], sure[order]
    cut = np.flatnonzero((np.diff(door) != 0) | (np.diff(group) != 0)) + 1
    starts = [0, *cut.tolist()]
    ends = [*cut.tolist(), len(rows)]
    places = order.tolist()
    times, labels = clock(data, book.time[rows]), data["events"].index[rows].tolist()
    return [
        (
            doors[door[a]],
            min(texts[p] for p in places[a:b]),
            True if sure[a] else None,
            times[a:b],
            [("events", label) for label in labels[a:b]],
        )
        for a, b in zip(starts, ends, strict=True)
    ]


def two_places(data: Dataset, seconds: float) -> pd.DataFrame:
    """Cards granted at two doors that share no zone, nearer in time than `seconds`.

    A row for each number that the register explains, under its (first active) card. Columns:
    `card`, `fails` (NA: a door's zones are not given, or no time of the file tells seconds),
    `doors` (the two of the first such pair), `times`, `sources`.
    """
    book, found = log(data), uses(data, "cards")
    rows, last = granted(data, "cards")
    cards = data["cards"]
    idle = word_codes(cards["status"], ("active",)) < 0
    scope = last[found.of] > NEVER
    row, code = found.row[scope], found.of[scope]
    if (np.bincount(code) > 1).any():
        ids = pd.factorize(cards["card_id"].array.take(row), sort=True)[0]
        order = np.lexsort((ids, idle[row], code))
        order = order[np.append(True, np.diff(code[order]) != 0)]
        row, code = row[order], code[order]
    verdict = np.full(found.size, NO, np.int8)
    pairs: dict[int, tuple[int, int]] = {}
    if not (book.time[:1000] % MINUTE).any() and not (book.time % MINUTE).any():
        verdict[:] = UNCLEAR
    else:
        pairs = _far_pairs(data, rows, int(seconds * 1_000_000), verdict)
    n = len(row)
    met = {at: pairs[code[at]] for at in np.flatnonzero(verdict[code] == YES).tolist()}
    where, labels = book.doors.tolist(), data["events"].index
    return pd.DataFrame(
        {
            "card": taken(cards["card_id"], row),
            "fails": nullable(verdict[code]),
            "doors": listed(n, {at: [where[book.door[e]] for e in m] for at, m in met.items()}),
            "times": listed(n, {at: clock(data, book.time[[*m]]) for at, m in met.items()}),
            "sources": listed(
                n, {at: [("events", int(labels[e])) for e in m] for at, m in met.items()}
            ),
        }
    )


def _far_pairs(
    data: Dataset, rows: _Ints, window: int, verdict: npt.NDArray[np.int8]
) -> dict[int, tuple[int, int]]:
    """Writes each code's verdict (YES, UNCLEAR) and returns a pair of events for each YES."""
    book, found = log(data), uses(data, "cards")
    code, time = found.code[rows], book.time[rows]
    order = np.lexsort((rows, time, code))
    rows, code, time = rows[order], code[order], time[order]
    near = (code[1:] == code[:-1]) & (time[1:] - time[:-1] < window)
    close = np.zeros(len(rows), bool)
    close[1:] |= near
    close[:-1] |= near
    rows, code, time = rows[close], code[close], time[close]
    zones, known = _zones(data)
    door = book.door[rows]
    # a side that is not given is a zone of its own: what may be apart, then what surely is
    verdict[code[apart(code, time, zones[door], window)]] = UNCLEAR
    sure = known[door]
    rows, code, time, door = rows[sure], code[sure], time[sure], door[sure]
    at = np.flatnonzero(apart(code, time, zones[door], window))
    verdict[code[at]] = YES
    pairs = {}
    for begin in at[np.unique(code[at], return_index=True)[1]].tolist():
        here = zones[door[begin]]
        other = begin + 1
        while (zones[door[other]][:, None] == here).any():
            other += 1
        pairs[int(code[begin])] = (int(rows[begin]), int(rows[other]))
    return pairs


def _zones(data: Dataset) -> tuple[_Ints, _Mask]:
    """The two zones of each door of the file as codes, and whether both are given."""
    doors = by_id(data, "doors")
    at = places(doors.index, log(data).doors)
    n = len(doors)
    codes, distinct = pd.factorize(pd.concat([doors["inside_zone"], doors["outside_zone"]]))
    sides = codes.astype(np.int64)
    both = np.stack([np.append(side, -1)[at] for side in (sides[:n], sides[n:])], axis=1)
    lacking = both < 0
    both[lacking] = len(distinct) + np.arange(int(lacking.sum()))
    known = np.asarray(~lacking.any(axis=1), bool)
    return both, known
