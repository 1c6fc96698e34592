"""Ways out of the site: zones and doors with what data.md's words say of them.

Everything is computed once a Dataset from `audit.arithmetic.network`. It is an aid to a
competent person and no fire risk assessment.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.network import (
    Built,
    Plan,
    built,
    doors_at_fault,
    members,
    recorded,
    ways_out,
)
from audit.arithmetic.plain import codes, places
from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints, Small, coded, nullable
from audit.contract import Dataset
from audit.facts.buildings import zones
from audit.facts.doors import doors

PASSABLE: Final = ("outside", "court", "common", "stair", "parking")
NOBODY: Final = pd.NA


@dataclass(frozen=True)
class Count:
    """How many people, at least and at most (-1: any number), of a set of zones.

    `counted` by the evacuation of each zone's building, the buildings added up; `lacks` names
    the fact that is missing for that ("" where none is): "evacuation", "floor". `everybody`
    whatever the evacuation.
    """

    everybody: tuple[int, int]
    counted: tuple[int, int]
    lacks: str
    building: str


def plan(data: Dataset) -> Plan:
    """The site's zones and doors, each in the order of their ids."""
    return data.once(_plan)


def network(data: Dataset) -> Built:
    """What hangs on which door, as built."""
    return data.once(_network)


def ways(data: Dataset) -> Small:
    """Whether each zone of the plan has a way out in each state."""
    return data.once(_ways)


def at_fault(data: Dataset) -> Ints:
    """The door at fault for each zone of the plan and state, -1 none."""
    return data.once(_at_fault)


def is_recorded(data: Dataset) -> Small:
    """Whether each zone of the plan is recorded."""
    return data.once(_recorded)


def inhabited(data: Dataset) -> Small:
    """Whether each zone of the plan is inhabited."""
    return data.once(_inhabited)


def zone_rows(data: Dataset) -> pd.DataFrame:
    """The zones of the plan that the zones table has: `zone`, and all columns of `zones`.

    The index is the label of the zone's first row in the table; `at` its position in the plan.
    """
    return data.once(_zone_rows)


def door_positions(data: Dataset) -> Ints:
    """The position in the plan of each door of `doors(data).frame`."""
    return data.once(_door_positions)


def count_people(data: Dataset, sure: int, perhaps: int) -> Count:
    """The people of the zones in these two sets (bits of an int), at least and at most."""
    return data.once(_counter).count(sure, perhaps)


def _order(ids: pd.Series) -> Ints:
    return np.asarray(np.argsort(np.asarray(ids.astype(object)), kind="stable"), np.int64)


def _plan(data: Dataset) -> Plan:
    frame = zones(data).frame
    order = _order(frame["zone"])
    own = doors(data)
    door_order = _order(own.frame["door"])
    position = np.empty(len(order), np.int64)
    position[order] = np.arange(len(order))

    def side(column: str) -> Ints:
        at = places(frame["zone"], own.frame[column])
        return np.where(at >= 0, np.append(position, -1)[at], -1)[door_order]

    kind = frame["kind"]
    within = kind.isin(PASSABLE).fillna(False).to_numpy(bool)
    passable = np.where(kind.isna(), UNCLEAR, np.where(within, YES, NO)).astype(np.int8)
    tenancy, _ = codes(frame["tenancy"])
    loose = bool(len(data.tables["doors"].set_aside)) if "doors" in data.tables else False
    return Plan(
        zones=tuple(frame["zone"].iloc[order]),
        doors=tuple(own.frame["door"].iloc[door_order]),
        passable=passable[order],
        safe=coded(frame["safe"])[order],
        tenancy=tenancy[order],
        alarm=coded(frame["communal_alarm"])[order],
        inside=side("inside_zone"),
        outside=side("outside_zone"),
        out=own.out[door_order],
        back=own.back[door_order],
        loose=loose,
    )


def _network(data: Dataset) -> Built:
    return built(plan(data))


def _ways(data: Dataset) -> Small:
    return ways_out(plan(data))


def _at_fault(data: Dataset) -> Ints:
    return doors_at_fault(plan(data))


def _recorded(data: Dataset) -> Small:
    return recorded(plan(data))


def _inhabited(data: Dataset) -> Small:
    frame = zones(data).frame
    homes = frame["zone"].isin(data["dwellings"]["zone_id"]).to_numpy(bool)
    people = coded((frame["occupants"] > 0).astype("boolean"))
    kind = frame["kind"]
    dwelling = (kind == "dwelling").fillna(False).to_numpy(bool)
    is_home = np.where(homes | dwelling, YES, np.where(kind.isna(), UNCLEAR, NO))
    return np.maximum(people, is_home).astype(np.int8)[_order(frame["zone"])]


def _zone_rows(data: Dataset) -> pd.DataFrame:
    frame = zones(data).frame
    order = _order(frame["zone"])
    at = np.empty(len(order), np.int64)
    at[order] = np.arange(len(order))
    own = frame.assign(at=at)[frame["listed"].to_numpy(bool)]
    return own.set_axis(data["zones"].index[~data["zones"]["zone_id"].duplicated()])


def _door_positions(data: Dataset) -> Ints:
    order = _order(doors(data).frame["door"])
    at = np.empty(len(order), np.int64)
    at[order] = np.arange(len(order))
    return at


class _Counter:
    """Counts people of sets of zones; a set that was counted before is not counted again."""

    def __init__(self, data: Dataset) -> None:
        site = zones(data)
        order = _order(site.frame["zone"])
        self.size = len(order)
        people = site.frame["occupants"].to_numpy(np.float64, na_value=np.nan)[order]
        self.unknown: Bools = np.isnan(people)
        self.people = np.where(self.unknown, 0, people).astype(np.int64)
        self.safe: Bools = np.asarray(plan(data).safe == YES)
        self.building = site.building[order]
        self.storey = site.storey[order]
        self.floored = site.frame["floor"].notna().to_numpy(bool)[order]
        self.evacuation = site.frame["evacuation"].astype(object).to_numpy()[order]
        self.name = site.frame["building"].astype(object).to_numpy()[order]
        self.most = data.policy.people_counted
        self.done: dict[tuple[int, int], Count] = {}

    def count(self, sure: int, perhaps: int) -> Count:
        """Least by the sure zones' known occupants, most by the perhaps zones'."""
        if (sure, perhaps) not in self.done:
            self.done[(sure, perhaps)] = self._count(
                members(sure, self.size), members(sure | perhaps, self.size)
            )
        return self.done[(sure, perhaps)]

    def _count(self, sure: Ints, perhaps: Ints) -> Count:
        least, lacks, where = self._counted(sure)
        most, lacks_most, where_most = self._counted(perhaps)
        everybody = int(self.people[sure].sum())
        at_most = int(self.people[perhaps].sum())
        if self.unknown[perhaps].any():
            most = at_most = -1
        return Count((everybody, at_most), (least, most), lacks or lacks_most, where or where_most)

    def _counted(self, zones_: Ints) -> tuple[int, str, str]:
        """The people who count by evacuation, buildings added up; what is missing, and where."""
        total, lacks, where = 0, "", ""
        some = zones_[(self.people[zones_] > 0) | self.unknown[zones_]]
        for building in np.unique(self.building[some]).tolist():
            own = some[self.building[some] == building]
            how = self.evacuation[own[0]]
            if pd.isna(how):
                lacks, where = "evacuation", _named(self.name[own[0]])
                total += int(self.people[own].sum())
                continue
            if how not in self.most:
                total += int(self.people[own].sum())
                continue
            if how == "phased" and not self.floored[own].all():
                lacks, where = lacks or "floor", where or _named(self.name[own[0]])
            floors = np.unique(self.storey[own], return_inverse=True)[1]
            by_floor = np.sort(np.bincount(floors, weights=self.people[own]))
            total += int(by_floor[-self.most[how] :].sum())
        return total, lacks, where


def _named(name: Any) -> str:
    return "" if name is None or pd.isna(name) else str(name)


def _counter(data: Dataset) -> _Counter:
    return _Counter(data)


def fact_is_missing(fact: str, building: str) -> str:
    """The reason in words: which fact of which building is not recorded."""
    whose = f"of building {building}" if building else "of the building"
    return f"{fact} {whose} is not recorded"


__all__ = [
    "Count",
    "at_fault",
    "count_people",
    "door_positions",
    "fact_is_missing",
    "inhabited",
    "is_recorded",
    "network",
    "nullable",
    "plan",
    "ways",
    "zone_rows",
]
