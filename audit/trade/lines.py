"""Stations: what hangs on what, and which numbers and addresses occur twice.

Everything here is linear in the number of stations (sorting aside), whatever the shape: a
line of 5,000 controllers and a circle of them cost no more than a flat list. Stations whose
kind is not given stay in scope as unclear, for they may be of the kind a rule speaks of.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.contract import TEXT, Dataset
from audit.trade.standing import lookup

START = -1
"""In `follow`: the chain ends here."""
UNKNOWN = -2
"""In `follow`: the chain goes on to something that is not known."""

_Ints = npt.NDArray[np.int64]
_Mask = npt.NDArray[np.bool_]


def follow(above: npt.ArrayLike) -> tuple[_Ints, _Mask, _Mask]:
    """Lengths of the chains that start at each of n members.

    `above[i]` is the member that i hangs on (0..n-1), or START, or UNKNOWN. Returns the number
    of distinct members from i to the end of its chain, itself included (in a circle: those
    before it and all of it); whether that length is certain (the chain ends at a START); and
    whether i is on a circle. By pointer doubling: log2(n) passes over arrays.
    """
    step = np.asarray(above, dtype=np.int64)
    count, jump = _doubled(step)
    looped = jump >= 0
    circle = np.zeros(len(step), np.int64)
    if looped.any():
        circle = _circles(step, jump)
        # opened before its circle, a chain's length is that of its tail and one of the circle
        tail, _ = _doubled(np.where(circle > 0, START, step))
        count[looped] = (tail - 1)[looped] + circle[jump[looped]]
    return count, jump == START, circle > 0


def _doubled(step: _Ints) -> tuple[_Ints, _Ints]:
    count = np.ones(len(step), np.int64)
    jump = step.copy()
    for _ in range(len(step).bit_length() + 1):
        on = np.flatnonzero(jump >= 0)
        if not on.size:
            break
        then = jump[on]
        more, further = count[then], jump[then]
        count[on] += more
        jump[on] = further
    return count, jump


def _circles(step: _Ints, jump: _Ints) -> _Ints:
    """The size of the circle each member is on, 0 where it is on none."""
    size = np.zeros(len(step), np.int64)
    # having gone on at least n times, the `jump` of a looped member lies on its circle
    for start in np.unique(jump[jump >= 0]).tolist():
        if size[start]:
            continue
        ring = [start]
        while (following := int(step[ring[-1]])) != start:
            ring.append(following)
        size[ring] = len(ring)
    return size


def gathered(codes: npt.ArrayLike, values: Sequence[str], groups: int) -> list[list[str]]:
    """The values of each group 0..groups-1, sorted; code -1 is in no group."""
    lists: list[list[str]] = [[] for _ in range(groups)]
    for code, value in zip(np.asarray(codes).tolist(), values, strict=True):
        if code >= 0:
            lists[code].append(value)
    for one in lists:
        one.sort()
    return lists


def pairs_of(first: pd.Series, second: pd.Series) -> tuple[npt.NDArray[np.intp], int]:
    """A code for each pair of values, -1 where either is not given; and the number of codes."""
    a, _ = pd.factorize(first)
    b, right = pd.factorize(second)
    key = a.astype(np.int64) * max(len(right), 1) + b
    given = (a >= 0) & (b >= 0)
    codes = np.full(len(key), -1, np.intp)
    found, distinct = pd.factorize(key[given])
    codes[given] = found
    return codes, len(distinct)


def stations(data: Dataset) -> pd.DataFrame:
    """The stations table, the first row of a repeated id only; labels are the table's."""
    return data.once(_stations)


def _stations(data: Dataset) -> pd.DataFrame:
    frame = data["stations"]
    return frame if frame["station_id"].is_unique else frame.drop_duplicates("station_id")


def of_kind(data: Dataset, kind: str) -> pd.DataFrame:
    """The stations of that kind, and those whose kind is not given (may be, may not)."""
    frame = stations(data)
    return frame[(frame["kind"] == kind).fillna(True).to_numpy(bool)]


def plain_number(text: pd.Series) -> pd.Series:
    """Ports and dial numbers as people mean them: case, leading zeros and `.0` aside."""
    return text.str.casefold().str.replace(r"^0+(?=\d)|(?<=\d)\.0+$", "", regex=True)


def beyond(count: pd.Series, limit: int | None) -> pd.Series:
    """Whether the count is above the limit; NA everywhere where no limit is given."""
    if limit is None:
        return pd.Series(pd.NA, index=count.index, dtype="boolean")
    return (count > limit).astype("boolean")


def named(faults: Mapping[str, pd.Series]) -> pd.Series:
    """Which of the faults surely hold in each row, in words: "too many units; …"."""
    index = next(iter(faults.values())).index
    words: list[list[str]] = [[] for _ in range(len(index))]
    for word, holds in faults.items():
        for at in np.flatnonzero(holds.fillna(False).to_numpy(bool)).tolist():
            words[at].append(word)
    return pd.Series(["; ".join(w) for w in words], index=index, dtype=TEXT)


# --- controllers ---------------------------------------------------------------------


def controllers(data: Dataset) -> pd.DataFrame:
    """Every controller (and station of unknown kind) with what hangs on it.

    Columns: `station_id`, `kind`; `units` (Int64: stations with this controller_id and a port;
    NA where the table has no ports), `shared` (list of ports with two units or more),
    `doubled` (boolean), `in_line` (Int64: controllers in its line up to and with it),
    `last` (boolean: no controller hangs on it), `certain` (bool: the whole line is known).
    """
    return data.once(_controllers)


def _controllers(data: Dataset) -> pd.DataFrame:
    every = stations(data)
    frame = of_kind(data, "controller")
    at = pd.Index(frame["station_id"]).get_indexer(pd.Index(every["controller_id"]))
    hangs = at >= 0
    n = len(frame)

    port = plain_number(every["port"])
    unit = hangs & port.notna().to_numpy(bool)
    slots, ports = pd.factorize(port)
    key, counts = np.unique(at[unit] * np.int64(len(ports) + 1) + slots[unit], return_counts=True)
    twice = key[counts > 1]
    shared = gathered(
        twice // (len(ports) + 1), [str(ports[i]) for i in twice % (len(ports) + 1)], n
    )
    given = data.has("stations", "port")
    doubled = pd.array([bool(s) for s in shared], dtype="boolean")
    units = pd.array(np.bincount(at[unit], minlength=n).astype(np.int64), dtype="Int64")
    if not given:
        doubled[:] = units[:] = pd.NA

    own = frame.index.get_indexer(every.index)
    sure = (every["kind"] == "controller").fillna(False).to_numpy(bool)
    above = np.full(n, UNKNOWN, np.int64)
    mine = own >= 0
    known = pd.Index(every["station_id"]).get_indexer(pd.Index(every["controller_id"])) >= 0
    # on nothing, or on a station that is no controller: a line begins here
    begins = every["controller_id"].isna().to_numpy(bool) | (known & ~hangs)
    above[own[mine]] = np.where(hangs, at, np.where(begins, START, UNKNOWN))[mine]
    is_sure = (frame["kind"] == "controller").fillna(False).to_numpy(bool)
    through = np.where((above >= 0) & ~is_sure[np.where(above >= 0, above, 0)], UNKNOWN, above)
    in_line, certain, circle = follow(through)

    followed = np.zeros(n, bool)
    followed[at[hangs & sure & mine]] = True
    perhaps = np.zeros(n, bool)
    perhaps[at[hangs & ~sure & mine]] = True
    last = pd.array(~followed, dtype="boolean")
    last[perhaps & ~followed] = pd.NA
    last[circle] = pd.NA  # a circle has no last one: nothing can be said of those on it
    return pd.DataFrame(
        {
            "station_id": frame["station_id"],
            "kind": frame["kind"],
            "units": pd.Series(units, index=frame.index),
            "shared": pd.Series(shared, index=frame.index, dtype=object),
            "doubled": pd.Series(doubled, index=frame.index),
            "in_line": pd.Series(in_line, index=frame.index, dtype="Int64"),
            "last": pd.Series(last, index=frame.index),
            "certain": certain,
        }
    )


def line_too_long(rows: pd.DataFrame, limit: int | None) -> pd.Series:
    """Whether each controller ends a line of more than `limit` (boolean, NA unclear).

    A line whose beginning is not known is too long for certain when its known part is, and
    never surely short enough. `rows` are those of `controllers`.
    """
    over = beyond(rows["in_line"], limit)
    return over.mask(~over.fillna(True) & ~rows["certain"]) & rows["last"]


# --- main units and panels -----------------------------------------------------------


def extensions(data: Dataset) -> pd.DataFrame:
    """Every extension unit (and station of unknown kind) with its main unit and its number.

    Columns: `station_id`, `kind`; `main` (boolean: it has its main unit; NA where `main_id`
    names no known station, or neither a main unit nor a dwelling is given), `own_number`
    (Int64; -1: given, but no whole number), `repeated` (boolean: another extension of the same
    main unit bears the number).
    """
    return data.once(_extensions)


def _extensions(data: Dataset) -> pd.DataFrame:
    every = stations(data)
    frame = of_kind(data, "extension-unit")
    answers = every[(every["kind"] == "answering-unit").fillna(False).to_numpy(bool)]
    unclear = every[every["kind"].isna().to_numpy(bool)]
    named = pd.Index(every["station_id"]).get_indexer(pd.Index(frame["main_id"]))
    kinds = every["kind"].reset_index(drop=True).reindex(named)
    by_name = (kinds == "answering-unit").array
    homes = frame["dwelling_id"]
    at_home = homes.isin(answers["dwelling_id"].dropna()).astype("boolean")
    perhaps = homes.isna() | homes.isin(unclear["dwelling_id"].dropna())
    by_home = at_home.mask(~at_home & perhaps)
    blank = frame["main_id"].isna()
    main = by_home.where(blank, pd.Series(by_name, index=frame.index, dtype="boolean"))

    # the main unit itself where it is certain which; else the dwelling speaks for it
    housed = answers[answers["dwelling_id"].notna()]
    single = housed[~housed["dwelling_id"].duplicated(keep=False)]
    at = pd.Index(single["dwelling_id"]).get_indexer(pd.Index(homes))
    of_home = single["station_id"].reset_index(drop=True).reindex(at)
    of_home = pd.Series(of_home.array, index=frame.index, dtype=TEXT).fillna("\0" + homes)
    number = _whole(frame["number"])
    sure = frame["kind"].notna()
    codes, groups = pairs_of(frame["main_id"].fillna(of_home).where(sure), number)
    sizes = np.bincount(codes[codes >= 0], minlength=groups)
    repeated = np.zeros(len(frame), bool)
    repeated[codes >= 0] = sizes[codes[codes >= 0]] > 1
    return pd.DataFrame(
        {
            "station_id": frame["station_id"],
            "kind": frame["kind"],
            "main": main,
            "own_number": number,
            "repeated": pd.Series(repeated, index=frame.index).astype("boolean"),
        }
    )


def _whole(text: pd.Series) -> pd.Series:
    plain = plain_number(text)
    whole = plain.where(plain.str.fullmatch(r"\d{1,9}").fillna(False), "-1").where(plain.notna())
    return whole.astype("Int64")


def panels(data: Dataset) -> pd.DataFrame:
    """Every entrance panel (and station of unknown kind) with its secondary panels.

    Columns: `station_id`, `kind`, `secondary` (Int64: those that surely extend it), `perhaps`
    (Int64: those too that may). A secondary panel without `main_id` extends the site's one
    entrance panel; where there are several, it may extend any.
    """
    return data.once(_panels)


def _panels(data: Dataset) -> pd.DataFrame:
    every = stations(data)
    frame = of_kind(data, "entrance-panel")
    kind = every["kind"]
    blank = every["main_id"].isna().to_numpy(bool)
    named = pd.Index(frame["station_id"]).get_indexer(pd.Index(every["main_id"]))
    surely = (kind == "secondary-panel").fillna(False).to_numpy(bool)
    maybe = kind.isna().to_numpy(bool)
    n = len(frame)
    secondary = np.bincount(named[surely & (named >= 0)], minlength=n)
    perhaps = secondary + np.bincount(named[maybe & (named >= 0)], minlength=n)
    entrances = (frame["kind"] == "entrance-panel").fillna(False).to_numpy(bool)
    loose = int((surely & blank).sum())
    perhaps = perhaps + loose
    if n == 1 and entrances.all():
        secondary = secondary + loose
    return pd.DataFrame(
        {
            "station_id": frame["station_id"],
            "kind": frame["kind"],
            "secondary": pd.Series(secondary, index=frame.index, dtype="Int64"),
            "perhaps": pd.Series(perhaps, index=frame.index, dtype="Int64"),
        }
    )


def panel_ports(data: Dataset) -> pd.DataFrame:
    """Every entrance panel (and station of unknown kind) with its port.

    Columns: `station_id`, `kind`, `controller_id`, `port` (as plain_number), `elsewhere`
    (boolean: not on the equipment's panel port; NA where either is not given), `second`
    (boolean: another panel of the same controller has the better claim: first the one on the
    equipment's panel port, then the lower id; NA where the controller is not given).
    """
    return data.once(_panel_ports)


def _panel_ports(data: Dataset) -> pd.DataFrame:
    frame = of_kind(data, "entrance-panel")
    port = plain_number(frame["port"])
    elsewhere = port != str(data.equipment.panel_port)
    if data.equipment.panel_port is None:
        elsewhere = elsewhere.mask(elsewhere.notna())
    sure = frame["kind"].notna().to_numpy(bool)
    claims = pd.DataFrame(
        {
            "controller": frame["controller_id"],
            "wrong": elsewhere.fillna(True),
            "id": frame["station_id"],
        }
    )[sure].sort_values(["wrong", "id"], kind="stable")
    later = claims["controller"].duplicated() & claims["controller"].notna()
    second = later.reindex(frame.index, fill_value=False).astype("boolean")
    return pd.DataFrame(
        {
            "station_id": frame["station_id"],
            "kind": frame["kind"],
            "controller_id": frame["controller_id"],
            "port": port,
            "elsewhere": elsewhere.astype("boolean"),
            "second": second.mask(frame["controller_id"].isna()),
        }
    )


# --- numbers and addresses -----------------------------------------------------------


def call_numbers(data: Dataset) -> pd.DataFrame:
    """Answering units by building and the number a caller dials; a row for each.

    Columns: `station` (list of ids), `building`, `number`, `dwellings` (sorted list of the
    dwellings it rings at), `homes` (Int64: how many they are; NA where building, number or
    dwelling is not given), `sources`.
    The index is that of each row's first station.
    """
    return data.once(_call_numbers)


def _call_numbers(data: Dataset) -> pd.DataFrame:
    frame = of_kind(data, "answering-unit")
    building = lookup(data, "dwellings", frame["dwelling_id"], "building")
    number = plain_number(frame["number"]).where(frame["kind"].notna())
    codes, groups = pairs_of(building, number)
    rows = _one_row_each(frame, codes, groups)
    dwellings = gathered(codes, frame["dwelling_id"].tolist(), groups)
    given = [sorted(set(d)) for d in dwellings] + [[] for _ in range(groups, len(rows))]
    homes = [len(d) or None for d in given]
    return rows.assign(
        building=building.reindex(rows.index),
        number=frame["number"].reindex(rows.index),
        dwellings=pd.Series(given, index=rows.index, dtype=object),
        homes=pd.Series(homes, index=rows.index, dtype="Int64"),
    )


def addresses(data: Dataset) -> pd.DataFrame:
    """Stations by network and IP address; a row for each pair, and for each unclear station.

    Columns: `station` (list of ids), `address` (canonical; NA: blank or no IP address),
    `network` (blank: the one network), `sources`. The index is that of the first station.
    """
    return data.once(_addresses)


def _addresses(data: Dataset) -> pd.DataFrame:
    frame = stations(data)
    codes, distinct = pd.factorize(frame["address"])
    known = pd.array([*map(canonical_address, distinct), None], dtype=TEXT)
    address = pd.Series(known.take(codes), index=frame.index)
    network = frame["network"].fillna("")
    codes, groups = pairs_of(network, address)
    rows = _one_row_each(frame, codes, groups)
    return rows.assign(address=address.reindex(rows.index), network=network.reindex(rows.index))


def canonical_address(text: str) -> str | None:
    """An IPv4 or IPv6 address in its one spelling (RFC 5952); None where it is none.

    Leading zeros of dotted numbers (a spreadsheet's habit) are read as decimal; a prefix
    length (`/24`) is left aside.
    """
    plain = text.strip().partition("/")[0].strip("[]")
    if plain.count(".") == 3 and ":" not in plain:
        plain = ".".join(p.lstrip("0") or "0" if p.isdecimal() else p for p in plain.split("."))
    try:
        return str(ipaddress.ip_address(plain))
    except ValueError:
        return None


def answering(data: Dataset) -> pd.DataFrame:
    """Every dwelling, `unit` saying whether an answering unit hangs there.

    NA where none does for certain and a station of unknown kind may be one. A repeated
    dwelling's first row only.
    """
    return data.once(_answering)


def _answering(data: Dataset) -> pd.DataFrame:
    homes = data["dwellings"]
    if not homes["dwelling_id"].is_unique:
        homes = homes.drop_duplicates("dwelling_id")
    frame = of_kind(data, "answering-unit")
    sure = frame["kind"].notna()
    unit = homes["dwelling_id"].isin(frame["dwelling_id"][sure].dropna()).astype("boolean")
    perhaps = homes["dwelling_id"].isin(frame["dwelling_id"][~sure].dropna())
    return homes.assign(unit=unit.mask(~unit & perhaps))


def _one_row_each(frame: pd.DataFrame, codes: npt.NDArray[np.intp], groups: int) -> pd.DataFrame:
    """A row a group with its stations, then one for each station in no group (code -1)."""
    ids = frame["station_id"].tolist()
    labels = frame.index.to_numpy()
    inside = np.flatnonzero(codes >= 0)
    first = np.zeros(groups, np.intp)
    first[codes[inside][::-1]] = inside[::-1]
    loose = np.flatnonzero(codes < 0)
    members: list[list[int]] = [[] for _ in range(groups)]
    for at in inside.tolist():
        members[codes[at]].append(at)
    members += [[at] for at in loose.tolist()]
    index = pd.Index(labels[np.concatenate([first, loose])])
    lists = [sorted(ids[at] for at in row) for row in members]
    sources = [[("stations", int(labels[at])) for at in row] for row in members]
    return pd.DataFrame(
        {
            "station": pd.Series(lists, index=index, dtype=object),
            "sources": pd.Series(sources, index=index, dtype=object),
        }
    )
