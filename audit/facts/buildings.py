"""Buildings and zones: which building, floor and use a zone has, and the facts that hang on them.

Words are data.md's. A fact that is not recorded is NA, never assumed. A column of [building] in
site.toml stands for every building that has no value of its own; where there is a buildings
table, not for zones whose building is not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.plain import TEXT, codes, places
from audit.arithmetic.three import Ints
from audit.contract import Dataset

HIGH_RISE_M: Final = 18.0
HIGH_RISE_STOREYS: Final = 7
ABOVE_M: Final = 11.0
"""Heights of the Fire Safety (England) Regulations 2022, reg. 3 and 10 (references/egress 10.1)."""

FACTS: Final = (
    *("use", "evacuation", "communal_alarm", "detection", "sprinklers"),
    *("top_storey_m", "storeys", "all_exits_listed"),
)
HEIGHTS: Final = ("high_rise", "above_11_m")


@dataclass(frozen=True)
class Zones:
    """Every zone that the register or a door names, with its building's facts.

    `frame` has a row a zone (index 0..n-1): `zone` and, NA where not recorded, `kind`,
    `occupants`, `tenancy`, `safe`, `building`, `floor`, `use`, the facts of FACTS, `high_rise`,
    `above_11_m`; and `listed`, whether the zones table has it. `building` and `storey` (int64)
    number buildings (-1 not recorded) and storeys (a zone whose floor is not recorded is one by
    itself).
    """

    frame: pd.DataFrame
    building: Ints
    storey: Ints


def zones(data: Dataset) -> Zones:
    """The site's zones, once a Dataset."""
    return data.once(_zones)


def place_of_door(data: Dataset) -> Ints:
    """Each door's place (row of the doors table): the position of its zone in `zones`, -1 none.

    The inside zone; where that is not recorded, the outside zone.
    """
    return data.once(_place_of_door)


def at_place(data: Dataset, column: str) -> pd.Series:
    """A column of `zones` for each row of the doors table, by the door's place."""
    at = place_of_door(data)
    values = pd.Series(
        zones(data).frame[column].array.take(at, allow_fill=True), index=data["doors"].index
    )
    if column in (*FACTS, *HEIGHTS) and (at < 0).any():  # as a zone whose building is not known
        anywhere = building_facts(data, pd.Series([pd.NA], dtype=TEXT))[column].iloc[0]
        if not pd.isna(anywhere) and anywhere != "mixed":
            values = values.mask(at < 0, anywhere)
    return values


def named_buildings(data: Dataset) -> pd.Index[Any]:
    """Every building by name in any table, sorted."""
    named: pd.Index[Any] = data.once(_named_buildings)
    return named


def building_facts(data: Dataset, buildings: pd.Series) -> pd.DataFrame:
    """The facts of FACTS, `high_rise` and `above_11_m` of each building named (NA: none named)."""
    frame = data["buildings"]
    first = frame.drop_duplicates("building")
    at = places(first["building"], buildings)
    facts = {}
    for fact in FACTS:
        own = pd.Series(first[fact].array.take(at, allow_fill=True), index=buildings.index)
        default = _default(data, fact, own)
        if default is not None:
            anywhere = buildings.notna() | ("buildings" not in data.tables)
            blank = own.isna() & anywhere.to_numpy(bool)
            unread = data.unread("buildings", fact).to_numpy(bool)
            if unread.any():  # an unreadable cell is not an empty one
                blank &= ~np.append(unread[first.index], False)[at]
            own = own.mask(blank, default)
        facts[fact] = own
    made = pd.DataFrame(facts, index=buildings.index)
    height, storeys = made["top_storey_m"], made["storeys"]
    tall = (height >= HIGH_RISE_M).astype("boolean") | (storeys >= HIGH_RISE_STOREYS)
    return made.assign(high_rise=tall, above_11_m=(height > ABOVE_M).astype("boolean"))


def _default(data: Dataset, fact: str, like: pd.Series) -> object:
    value = getattr(data.site.building, fact)
    return value == "yes" if value is not None and like.dtype == "boolean" else value


def _named_buildings(data: Dataset) -> pd.Index[Any]:
    named = [data[t]["building"] for t in ("buildings", "dwellings", "zones")]
    every = pd.concat(named).dropna().drop_duplicates().sort_values()
    index: pd.Index[Any] = pd.Index(every, dtype=TEXT)
    return index


def _one_of(data: Dataset, column: str, zone: pd.Series) -> pd.Series:
    """The one value of a column that all dwellings with that zone have; NA where they differ.

    NA too where a dwelling of the zone has none: it may be another.
    """
    homes = data["dwellings"][["zone_id", column]].dropna(subset=["zone_id"])
    group = homes.groupby("zone_id", sort=False)[column]
    same = (group.nunique(dropna=False) == 1).reindex(zone).fillna(False).to_numpy(bool)
    first = group.first().reindex(zone).array
    return pd.Series(first, index=zone.index).astype(TEXT).where(same)


def _zones(data: Dataset) -> Zones:
    own = data["zones"].drop_duplicates("zone_id")
    sides = pd.concat([data["doors"]["inside_zone"], data["doors"]["outside_zone"]]).dropna()
    others = sides[~sides.isin(own["zone_id"])].drop_duplicates().sort_values()
    zone = pd.concat([own["zone_id"], others], ignore_index=True).astype(TEXT)
    listed = np.arange(len(zone)) < len(own)
    columns = {
        name: pd.Series(own[name].array.take(_padded(len(own), len(zone)), allow_fill=True))
        for name in ("name", "kind", "occupants", "tenancy", "building", "floor", "use")
    }
    unread = {
        name: np.append(data.unread("zones", name).to_numpy(bool)[own.index], [False])[
            _padded(len(own), len(zone))
        ]
        for name in ("building", "floor", "use")
    }
    building = columns["building"].fillna(_one_of(data, "building", zone))
    named = named_buildings(data)
    if len(named) == 1:
        building = building.fillna(named[0])
    building = building.mask(unread["building"])
    floor = columns["floor"].fillna(_one_of(data, "floor", zone)).mask(unread["floor"])
    facts = building_facts(data, building)
    use = columns["use"].fillna(facts["use"].mask(facts["use"] == "mixed")).mask(unread["use"])
    frame = pd.DataFrame(
        {
            "zone": zone,
            "listed": listed,
            **{c: columns[c] for c in ("name", "kind", "occupants", "tenancy")},
            "safe": _safe(data, own, len(zone)),
            "building": building,
            "floor": floor,
            "use": use,
        }
    ).join(facts.drop(columns="use"))
    number, _ = codes(building)
    pair = building.fillna("").str.cat(floor.fillna(""), sep="\x1f")
    storey, _ = codes(pair.mask(floor.isna(), "\x1e" + zone))
    return Zones(frame, number, storey)


def _padded(size: int, wanted: int) -> Ints:
    return np.concatenate([np.arange(size), np.full(wanted - size, -1)]).astype(np.int64)


def _safe(data: Dataset, own: pd.DataFrame, size: int) -> pd.Series:
    """Whether each zone is a place of safety: as said, else outside only; NA unknown."""
    said = own["place_of_safety"].reset_index(drop=True)
    kind = own["kind"].reset_index(drop=True)
    default = pd.Series(
        pd.arrays.BooleanArray(
            (kind == "outside").fillna(False).to_numpy(bool), kind.isna().to_numpy(bool)
        )
    )
    unread = data.unread("zones", "place_of_safety").to_numpy(bool)[own.index]
    never = kind.notna() & (kind != "outside").fillna(False)
    made = said.fillna(default).mask(unread & ~never.to_numpy(bool)).mask(never, False)
    return made.reindex(range(size)).astype("boolean")


def _place_of_door(data: Dataset) -> Ints:
    zone = zones(data).frame["zone"]
    inside = places(zone, data["doors"]["inside_zone"])
    return np.where(inside >= 0, inside, places(zone, data["doors"]["outside_zone"]))
