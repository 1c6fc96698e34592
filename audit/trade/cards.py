"""What several rules ask of the cards as a whole: which are alike, which are withdrawn."""

from __future__ import annotations

import numpy as np
import pandas as pd

from audit.contract import Dataset
from audit.trade import card_numbers
from audit.trade.holders import among, counted, in_household, places
from audit.trade.plain import codes
from audit.trade.plain import lists as lists_of
from audit.trade.standing import in_force, live, one_row_each
from audit.trade.subjects import is_in, lists


def alike(data: Dataset) -> pd.DataFrame:
    """Cards that are live, or may be, by number: a row for each number.

    Columns: `card` (list of the ids), `numbers` (as written), `surely` (how many of them are
    surely live), `unclear` (bool: unreadable, or it hangs on a row that may be live or not),
    `sources`.
    """
    cards, alive = data["cards"], live(data, "cards")
    frame = pd.DataFrame(
        {
            "card": cards["card_id"],
            "number": cards["number"],
            "key": card_numbers.register(data)["canonical"],
            "sure": alive.fillna(False),
        }
    )[alive.fillna(True)]
    code, _ = codes(frame["key"])
    several = (code >= 0) & (np.bincount(code[code >= 0], minlength=1)[code] > 1)
    alone = frame[~several]
    rows = [_group(group) for _, group in frame[several].groupby("key", sort=False)]
    each = np.arange(len(alone))
    single = pd.DataFrame(
        {
            "card": pd.Series(lists_of(alone["card"], each, np.ones_like(each)), alone.index),
            "numbers": None,
            "surely": alone["sure"].astype(int),
            "unclear": alone["key"].isna(),
            "sources": None,
        }
    )
    if rows:
        told = pd.DataFrame(rows)
        whole = pd.concat([single, told.assign(card=told["card"].astype(single["card"].dtype))])
    else:
        whole = single
    return whole if one_row_each(data, "cards") else _merged(whole)


def _group(group: pd.DataFrame) -> dict[str, object]:
    """The rows of one number: those surely live where there are two, else all of them."""
    sure = group["sure"].astype(bool)
    part = group[sure] if sure.sum() > 1 else group
    return {
        "card": sorted(set(part["card"])),
        "numbers": sorted(set(part["number"])),
        "surely": int(sure.sum()),
        "unclear": int(sure.sum()) < 2,
        "sources": [("cards", label) for label in part.index],
    }


def _merged(groups: pd.DataFrame) -> pd.DataFrame:
    """Groups with the same ids (an id on several rows) as one: the graver stands."""
    names = ["+".join(c) if isinstance(c, list) else str(c) for c in groups["card"]]
    rank = np.select([groups["surely"] > 1, groups["unclear"]], [0, 1], 2)
    text = groups["numbers"].map(repr)
    ordered = groups.assign(_name=names, _rank=rank, _text=text).sort_values(["_rank", "_text"])
    return ordered.drop_duplicates("_name").drop(columns=["_name", "_rank", "_text"])


def withdrawn(data: Dataset, *, stock: bool) -> pd.Series:
    """Whether each card is lost, returned or destroyed (or in stock): NA where not readable."""
    words = ("lost", "returned", "destroyed")
    return among(data["cards"]["status"], *words, *(("stock",) if stock else ()))


def elsewhere(data: Dataset) -> pd.DataFrame:
    """Where each card's number works besides its own row; aligned with data["cards"].

    Columns: `on_a_row` (nullable: a live row has the number), `at_a_door` (nullable: it was
    read back at a door; NA where nothing was read back), `key`. A live card is itself such a
    row: ask only of cards that are not.
    """
    return data.once(_elsewhere)


def _elsewhere(data: Dataset) -> pd.DataFrame:
    key = card_numbers.register(data)["canonical"]
    alive = live(data, "cards")
    on_a_row = is_in(key, key[alive.fillna(False)]).astype("boolean")
    may = is_in(key, key[alive.isna()])
    # Its own row may be the one that may be live; two such rows are unclear either way.
    on_a_row = on_a_row.mask(may & ~on_a_row)
    if data.has("loaded"):
        at_a_door = is_in(key, card_numbers.loaded(data)).astype("boolean")
        if data["loaded"]["credential_kind"].isna().any():
            perhaps = is_in(key, card_numbers.loaded_perhaps(data))
            at_a_door = at_a_door.mask(perhaps & ~at_a_door)
    else:
        at_a_door = pd.Series(pd.NA, index=key.index, dtype="boolean")
    lost = key.isna().to_numpy()
    return pd.DataFrame(
        {"on_a_row": on_a_row.mask(lost), "at_a_door": at_a_door.mask(lost), "key": key}
    )


def where_it_works(data: Dataset, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame (with `key` and `fails`) and, for its failing rows, `live_as` and `doors`."""
    keys = _failing(frame, "key")
    if keys.empty:
        return frame.assign(live_as=None, doors=None)
    live_rows = live(data, "cards").fillna(False).to_numpy(dtype=bool)
    register = card_numbers.register(data)["canonical"]
    told = pd.DataFrame(
        {
            "live_as": lists(register[live_rows], data["cards"]["card_id"], keys),
            "doors": lists(card_numbers.loaded(data), data["loaded"]["door_id"], keys),
        },
        index=keys.index,
        dtype=object,
    )
    return frame.join(told)


def _failing(frame: pd.DataFrame, column: str) -> pd.Series:
    failing: pd.Series = frame.loc[frame["fails"].fillna(False).to_numpy(dtype=bool), column]
    return failing


def permitted(data: Dataset) -> pd.Series:
    """Whether a card permission is in force for each card; aligned with data["cards"]."""
    rows = data["permissions"]
    standing = among(rows["holder_kind"], "card") & in_force(data)
    ids = data["cards"]["card_id"]
    sure = is_in(ids, rows.loc[standing.fillna(False).to_numpy(dtype=bool), "holder_id"])
    may = is_in(ids, rows.loc[standing.isna().to_numpy(dtype=bool), "holder_id"])
    return sure.astype("boolean").mask(may & ~sure)


def faulty(data: Dataset) -> pd.DataFrame:
    """What is wrong with each card's number; aligned with data["cards"].

    Columns: `card`, `number`, `form`, `fault`, `live`, and nullable booleans `malformed` and
    `random`. Of a technology other than `hf-*` or unstated, 88 and 08 are bytes like others.
    """
    return data.once(_faulty)


def _faulty(data: Dataset) -> pd.DataFrame:
    cards, read = data["cards"], card_numbers.register(data)
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


def last_seen(data: Dataset) -> pd.DataFrame:
    """When each card was last used, by the register's column and the events, the later.

    Aligned with data["cards"]: `day` (NaT = never, as far as is known) and `unclear` (bool: it
    may have been used later than `day`). Without a column of last use, the events tell only
    where they reach back as far as `card_dormant_days`.
    """
    return data.once(_last_seen)


def _last_seen(data: Dataset) -> pd.DataFrame:
    column = data["cards"]["last_used"]
    unclear = data.unread("cards", "last_used").to_numpy()
    if not data.has("cards", "last_used"):
        unclear = np.ones(len(column), dtype=bool)
    if not data.has("events"):
        return pd.DataFrame({"day": column, "unclear": unclear}, index=column.index)
    if not data.has("cards", "last_used") and len(data["events"]):
        first = _first_day(data)
        before = data.today - pd.Timedelta(days=data.policy.card_dormant_days)
        unclear = np.full(len(column), not first <= before)
    key = card_numbers.register(data)["canonical"]
    days = card_numbers.last_use(data).dt.normalize().astype("datetime64[s]")
    at = places(days.index, key)
    in_events = pd.Series(days.array.take(at, allow_fill=True), index=column.index)
    unclear = unclear | key.isna().to_numpy(dtype=bool)
    return pd.DataFrame({"day": np.fmax(column, in_events), "unclear": unclear})


def _first_day(data: Dataset) -> pd.Timestamp:
    first = data["events"]["time"].min()
    local: pd.Timestamp = first.tz_localize("UTC").tz_convert(data.zone).tz_localize(None)
    return local.normalize()


def permissions_of(data: Dataset, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame (with `card` and `fails`) and, for its failing rows, the list `permissions`."""
    ids = _failing(frame, "card")
    if ids.empty:
        return frame.assign(permissions=None)
    rows = data["permissions"]
    standing = (among(rows["holder_kind"], "card") & in_force(data)).fillna(False)
    held = rows.loc[standing.to_numpy(dtype=bool), "holder_id"]
    told = {"permissions": lists(held, rows["permission_id"], ids)}
    return frame.join(pd.DataFrame(told, index=ids.index, dtype=object))


def days_valid(data: Dataset) -> pd.Series:
    """Days from `valid_from`, where blank from `issued_on`, to `valid_to` (Int64).

    NA where an end is not given or not readable.
    """
    cards = data["cards"]
    start = cards["valid_from"].fillna(cards["issued_on"])
    start = start.mask(data.unread("cards", "valid_from"))
    return (cards["valid_to"] - start).dt.days.astype("Int64")


def by_dwelling(data: Dataset) -> pd.DataFrame:
    """Dwellings with cards that are live, or may be: `dwelling`, `sure`, `possible`, `sources`.

    Bound by the card itself, else through its holder.
    """
    count = counted(data, "cards")
    count = count[(count["possible"] > 0).to_numpy()].reset_index(names="dwelling")
    limit = data.policy.cards_per_dwelling
    many = count["dwelling"][count["sure"] > limit]
    if many.empty:
        return count
    bound = in_household(data, "cards")["dwelling"]
    rows = bound[is_in(bound, many) & live(data, "cards").fillna(False)]
    labels: dict[str, list[tuple[str, int]]] = {}
    for label, name in zip(rows.index.tolist(), rows, strict=True):
        labels.setdefault(name, []).append(("cards", label))
    sources = pd.Series([labels[name] for name in many], index=many.index, dtype=object)
    return count.assign(sources=sources.reindex(count.index))
