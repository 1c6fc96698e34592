"""Events: what happened at the doors, grouped once and asked many times.

A file of millions of rows is coded to numbers once (doors, events, times); every question is
then a count or a sort over those arrays. Times are microseconds of UTC inside, and the site's
wall clock wherever a day is meant or a time is shown.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.schema import TABLES
from audit.trade import card_numbers
from audit.trade.matching import NO, NOT_SHOWN, UNCLEAR, YES, Match, cards_named, pins_named
from audit.trade.standing import by_id, lookup

WORDS: Final = TABLES["events"].column("event").words
"""The event words; an event's code is its place here."""
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


def overdue(code: _Ints, limit: _Ints, sure: _Mask, counts: _Mask, last: _Ints) -> pd.Series:
    """Whether each register row was used at or after its limit (nullable boolean).

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
    result = pd.array(answers, dtype="boolean")
    result[answers & vague[code]] = pd.NA
    return pd.Series(result)


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
    utc = pd.DatetimeIndex(time.view("datetime64[us]")).tz_localize("UTC")
    return [t.isoformat(" ", "seconds")[:19] for t in utc.tz_convert(data.zone)]


# --- the log -------------------------------------------------------------------------


@dataclass(frozen=True)
class Log:
    """The events as numbers, in the file's order: time, event word (CODE) and door.

    `doors` names the doors in the order of their codes; `counts` is doors by words.
    """

    time: _Ints
    event: npt.NDArray[np.int8]
    door: _Ints
    doors: pd.Index
    counts: _Ints

    def rows(self, *words: str) -> _Ints:
        """Positions of the events of these kinds."""
        wanted = np.zeros(len(WORDS) + 1, bool)
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
    word, words = pd.factorize(events["event"])
    code = np.array([*(CODE[w] for w in words), len(WORDS)], np.int8)[word]
    width = len(WORDS) + 1
    counts = np.bincount(door * width + code, minlength=len(doors) * width)
    return Log(
        events["time"].to_numpy("datetime64[us]").view(np.int64),
        code,
        door.astype(np.int64),
        pd.Index(doors),
        counts.reshape(len(doors), width).astype(np.int64),
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
    order = np.lexsort((rows, book.time[rows], door))
    rows, door = rows[order], door[order]
    cuts = np.searchsorted(door, np.arange(len(book.doors) + 1)).tolist()
    times, labels = clock(data, book.time[rows]), data["events"].index[rows].tolist()
    index = pd.RangeIndex(len(book.doors))
    spans = list(pairwise(cuts))
    return pd.DataFrame(
        {
            "door": pd.Series(book.doors, index=index, dtype=TEXT),
            "times": pd.Series([times[a:b] for a, b in spans], index=index, dtype=object),
            "last": [times[b - 1] if b > a else None for a, b in spans],
            "sources": pd.Series(
                [[("events", at) for at in labels[a:b]] for a, b in spans],
                index=index,
                dtype=object,
            ),
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
    names = pd.Series(book.doors, dtype=TEXT)
    opened = book.count("opened")
    other = (opened.sum() - opened) > 0
    told = pd.array(other, dtype="boolean")
    told[~other] = pd.NA
    monitor = lookup(data, "doors", names, "status_monitor")
    return pd.DataFrame(
        {
            "door": names,
            "passages": book.count("granted", "exit"),
            "reports": book.count("opened", "closed", "forced", "held"),
            "status_monitor": monitor,
            "monitored": (monitor != "none").astype("boolean"),
            "told_elsewhere": told,
            "sources": _own_rows(data, "doors", names),
        }
    )


def _own_rows(data: Dataset, table: str, ids: pd.Series) -> pd.Series:
    """The row of each id in its own table, as sources; none where the id is unknown."""
    labels = lookup(data, table, ids, "_label")
    rows = [[] if pd.isna(at) else [(table, int(at))] for at in labels]
    return pd.Series(rows, index=ids.index, dtype=object)


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
    since = pd.array([None] * len(book.doors), dtype=TEXT)
    since[at] = clock(data, time[start])
    labels = data["events"].index[rows].tolist()
    sources: list[list[tuple[str, int]]] = [[] for _ in book.doors]
    for one, begin, size in zip(at.tolist(), start.tolist(), crowd[start].tolist(), strict=True):
        sources[one] = [("events", label) for label in labels[begin : begin + size]]
    index = pd.RangeIndex(len(book.doors))
    return pd.DataFrame(
        {
            "door": pd.Series(book.doors, index=index, dtype=TEXT),
            "most": pd.Series(most, index=index),
            "since": pd.Series(since, index=index),
            "sources": pd.Series(sources, index=index, dtype=object),
        }
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


def last_days(data: Dataset) -> pd.DataFrame:
    """Each person's last moment (index: person_id; first row of a repeated id).

    Columns: `limit` (microseconds of UTC: the first moment after the last day; FOREVER where
    there is no last day) and `sure` (False: departed on a day that is not given, or unread).
    """
    return data.once(_last_days)


def _last_days(data: Dataset) -> pd.DataFrame:
    people = by_id(data, "people")
    end = people["end_date"]
    status = people["status"]
    labels = people["_label"]
    vague = (
        status.eq("departed").fillna(False).to_numpy(bool)
        | data.unread("people", "status").loc[labels].to_numpy(bool)
        | data.unread("people", "end_date").loc[labels].to_numpy(bool)
    )
    if not data.has("people", "end_date"):
        vague = vague | status.isna().to_numpy(bool)  # "from the dates", and there are none
    given = end.notna().to_numpy(bool)
    limit = np.full(len(people), FOREVER)
    limit[given] = day_after(data, end[given])
    return pd.DataFrame({"limit": limit, "sure": given | ~vague}, index=people.index)


def after_departure(data: Dataset, table: str) -> pd.DataFrame:
    """Cards (or PINs) of people with a last day: whether they were used after it.

    A row a person and credential. Columns: `person`, `card` or `pin`, `fails` (nullable),
    `last_day` (date), `uses` (int), `last` (site time), `times`, `doors` (lists), `sources`; the
    last five tell of the uses after the last day, where there are any. Where the register of
    the kind is absent and the events name some, one row without subject says that it is unclear.
    """
    found = uses(data, table)
    if not data.has(table):
        asked = pd.RangeIndex(1 if len(granted(data, table)[0]) else 0)
        return pd.DataFrame({"person": None, "fails": pd.NA}, index=asked)
    register = data[table]
    people = last_days(data)
    person = register["person_id"].iloc[found.row]
    at = people.index.get_indexer(pd.Index(person))
    held = person.notna().to_numpy(bool)
    sure = np.where(at >= 0, people["sure"].to_numpy()[at], ~held) if len(people) else ~held
    limit = (
        np.where(at >= 0, people["limit"].to_numpy()[at], FOREVER)
        if len(people)
        else (np.full(len(at), FOREVER))
    )
    active = (register["status"] == "active").fillna(False).to_numpy(bool)[found.row]
    _, last = granted(data, table)
    verdict = overdue(found.of, limit, sure, active, last)
    scope = np.flatnonzero(held & (~sure | (limit != FOREVER)))
    key = register["card_id" if table == "cards" else "pin_id"]
    frame = pd.DataFrame(
        {
            "person": person.array,
            "card" if table == "cards" else "pin": key.iloc[found.row].array,
            "fails": verdict.array,
            "code": found.of,
            "limit": limit,
        }
    ).iloc[scope]
    return _with_uses(data, table, _once_each(frame)).assign(
        last_day=lambda f: lookup(data, "people", f["person"], "end_date")
    )


def after_withdrawal(data: Dataset) -> pd.DataFrame:
    """Withdrawn cards (lost, returned, destroyed, in stock): whether they were used since.

    A row a card. Columns: `card`, `status`, `fails`, `uses`, `last`, `times`, `doors`,
    `sources`.
    """
    found = uses(data, "cards")
    cards = data["cards"]
    status = cards["status"]
    away = status.isin(WITHDRAWN).to_numpy(bool)[found.row]
    unread = status.isna().to_numpy(bool)[found.row]
    day = cards["valid_to"].fillna(cards["last_used"])
    bad = data.unread("cards", "valid_to") | (
        cards["valid_to"].isna() & data.unread("cards", "last_used")
    )
    given = (day.notna() & ~bad).to_numpy(bool)
    moment = np.full(len(cards), FOREVER)
    moment[given] = day_after(data, day[given])
    limit = np.where(away | unread, moment[found.row], FOREVER)
    sure = ~unread & (~away | given[found.row])
    _, last = granted(data, "cards")
    everyone = np.ones(len(limit), bool)
    verdict = overdue(found.of, limit, sure, everyone, last)
    frame = pd.DataFrame(
        {
            "card": cards["card_id"].iloc[found.row].array,
            "status": status.iloc[found.row].array,
            "fails": verdict.array,
            "code": found.of,
            "limit": limit,
        }
    )[away | unread]
    return _with_uses(data, "cards", _once_each(frame))


WITHDRAWN: Final = ("lost", "returned", "destroyed", "stock")


def _once_each(frame: pd.DataFrame) -> pd.DataFrame:
    """One row a subject, the gravest verdict first: finding, unclear, in order."""
    keys = [k for k in ("person", "card", "pin") if k in frame.columns]
    if not frame.duplicated(keys).any():
        return frame
    grave = frame["fails"].astype("Int64").fillna(-1).map({1: 0, -1: 1, 0: 2})
    return frame.assign(_grave=grave).sort_values([*keys, "_grave", "limit"]).drop_duplicates(keys)


def _with_uses(data: Dataset, table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Adds when and where each failing row's credential was used at or after its limit."""
    book, found = log(data), uses(data, table)
    rows, _ = granted(data, table)
    failing = np.flatnonzero(frame["fails"].fillna(False).to_numpy(bool))
    n = len(frame)
    times: list[list[str]] = [[] for _ in range(n)]
    doors: list[list[str]] = [[] for _ in range(n)]
    sources: list[list[tuple[str, int]]] = [[] for _ in range(n)]
    if failing.size:
        late = np.full(found.size, FOREVER)
        codes, limits = frame["code"].to_numpy(), frame["limit"].to_numpy()
        np.minimum.at(late, codes[failing], limits[failing])
        rows = rows[book.time[rows] >= late[found.code[rows]]]
        rows = rows[np.lexsort((rows, book.time[rows], found.code[rows]))]
        first = np.searchsorted(found.code[rows], codes[failing])
        end = np.searchsorted(found.code[rows], codes[failing], "right")
        shown = clock(data, book.time[rows])
        labels = data["events"].index[rows].tolist()
        where = book.doors.take(book.door[rows]).tolist()
        for at, a, b in zip(failing.tolist(), first.tolist(), end.tolist(), strict=True):
            times[at] = shown[a:b]
            doors[at] = sorted(set(where[a:b]))
            sources[at] = [("events", label) for label in labels[a:b]]
    return frame.assign(
        uses=[len(t) for t in times],
        last=pd.Series([t[-1] if t else None for t in times], index=frame.index, dtype=TEXT),
        times=pd.Series(times, index=frame.index, dtype=object),
        doors=pd.Series(doors, index=frame.index, dtype=object),
        sources=pd.Series(sources, index=frame.index, dtype=object),
    )


def unknown_uses(data: Dataset) -> pd.DataFrame:
    """Granted events whose card or PIN no register row explains, by door and number.

    Columns: `door`, `number`, `fails` (True: unexplained; NA: can't be said), `uses` (int),
    `last`, `times` (list), `sources`; and for each door's other granted events one row without
    number (False; NA where the register of the kind is absent). A number written in two ways
    is one, named as the first in order of letters; the PINs of one door are one row, NOT_SHOWN.
    """
    book = log(data)
    doors = book.doors.tolist()
    rest: dict[str, bool | None] = {}
    told: list[tuple[str, str | None, bool | None, list[str], list[tuple[str, int]]]] = []
    for table in ("cards", "pins"):
        found = uses(data, table)
        rows, _ = granted(data, table)
        state = found.explained[found.code[rows]]
        present = data.has(table)
        for door in np.unique(book.door[rows[(state == YES) | (not present)]]).tolist():
            known = rest.get(doors[door], False) is False and present
            rest[doors[door]] = False if known else None
        if present:
            told += _odd(data, table, rows[state != YES], state[state != YES] == NO)
    told += [(door, None, verdict, [], []) for door, verdict in rest.items()]
    columns = list(zip(*told, strict=True)) if told else [()] * 5
    return pd.DataFrame(
        {
            "door": pd.Series(columns[0], dtype=TEXT),
            "number": pd.Series(columns[1], dtype=TEXT),
            "fails": pd.Series(columns[2], dtype="boolean"),
            "uses": pd.Series([len(t) for t in columns[3]], dtype="int64"),
            "last": [t[-1] if t else None for t in columns[3]],
            "times": pd.Series(columns[3], dtype=object),
            "sources": pd.Series(columns[4], dtype=object),
        }
    )


def _odd(data: Dataset, table: str, rows: _Ints, sure: _Mask) -> list[Any]:
    """A tuple (door, number, fails, times, sources) for each door and unexplained number."""
    if not rows.size:
        return []
    book, found = log(data), uses(data, table)
    door = book.door[rows]
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
            book.doors[door[a]],
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
    named = pd.DataFrame(
        {
            "card": cards["card_id"].iloc[found.row].array,
            "code": found.of,
            "idle": (cards["status"] != "active").fillna(True).to_numpy(bool)[found.row],
        }
    )
    named = named[last[found.of] > NEVER]
    if named["code"].duplicated().any():
        named = named.sort_values(["code", "idle", "card"]).drop_duplicates("code")
    n = found.size
    verdict = np.zeros(n, np.int8)
    pairs: dict[int, tuple[int, int]] = {}
    if len(book.time) and (book.time % MINUTE == 0).all():
        verdict[:] = UNCLEAR
    else:
        pairs = _far_pairs(data, rows, int(seconds * 1_000_000), verdict)
    code = named["code"].to_numpy()
    met = [pairs.get(c, ()) for c in code.tolist()]
    fails = pd.array(verdict[code] == YES, dtype="boolean")
    fails[verdict[code] == UNCLEAR] = pd.NA
    index = named.index
    return pd.DataFrame(
        {
            "card": named["card"].astype(TEXT),
            "fails": pd.Series(fails, index=index),
            "doors": pd.Series(
                [[str(book.doors[book.door[at]]) for at in m] for m in met],
                index=index,
                dtype=object,
            ),
            "times": pd.Series(
                [clock(data, book.time[list(m)]) if m else [] for m in met],
                index=index,
                dtype=object,
            ),
            "sources": pd.Series(
                [[("events", int(data["events"].index[at])) for at in m] for m in met],
                index=index,
                dtype=object,
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
    names = pd.Series(log(data).doors, dtype=TEXT)
    sides = [lookup(data, "doors", names, c) for c in ("inside_zone", "outside_zone")]
    codes, distinct = pd.factorize(pd.concat(sides))
    both = codes.astype(np.int64).reshape(2, -1).T.copy()
    lacking = both < 0
    both[lacking] = len(distinct) + np.arange(int(lacking.sum()))
    return both, ~lacking.any(axis=1)
