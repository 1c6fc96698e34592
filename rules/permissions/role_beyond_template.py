from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.columns import bits_to_places
from audit.arithmetic.three import NO, UNCLEAR, YES, Small, nullable
from audit.contract import TEXT, Cause, Dataset, Step, does_not_apply, rule
from audit.facts.doors import controlled
from audit.facts.missing import why
from audit.facts.neighbours import zone_kind
from audit.facts.reach import groups, person_doors
from audit.facts.standing import by_id, lookup
from rules.permissions._way_in import on_way_in


@rule(
    title="Access beyond what the role allows",
    finds="A person who can open a controlled door that is in no door group of their role's list in"
    " site.toml. A resident's own dwelling and the way to it are left out.",
    priority="planned",
    upload=True,
    needs={"people": ("role",), "doors": ("entry", "lock"), "permissions": (), "door_groups": ()},
    uses=("zones", "dwellings", "cards", "pins", "schedules", "calendars"),
    subjects=("person",),
    cause=Cause("person", ("person",)),
    summary="{person}, a {role}, can open {doors:door %, which is|doors %, which are} in no door"
    " group of that role.",
    evidence=("role", "doors"),
    do=(
        Step(
            "Ask why. Remove the doors from this person's permissions, or add the door group to the"
            " role.",
            who="office",
            does="cut",
        ),
    ),
    cites=("nist-sp-800-53-rev-5-1-1-ac-6",),
)
def role_beyond_template(data: Dataset) -> pd.DataFrame:
    """What a role may open was decided once. Whatever goes beyond it was not."""
    lists = data.site.roles
    people = by_id(data, "people")
    role = people["role"]
    listed = role.isin(list(lists)).to_numpy(dtype=bool)
    within = (listed | role.isna().to_numpy(dtype=bool)) & bool(lists)
    verdict, doors = _beyond(data, within)
    verdict = np.where(listed, verdict, np.minimum(verdict, UNCLEAR)).astype(np.int8)
    frame = pd.DataFrame(
        {
            "person": people.index.astype(TEXT),
            "role": role.array,
            "doors": doors,
            "fails": nullable(verdict),
        },
        index=pd.Index(people["_label"].to_numpy(dtype=np.int64)),
    )
    words = "some doors, door groups, roles or ways home are not recorded"
    frame = frame.assign(**why(frame["fails"], (frame["fails"].isna(), words, None)))
    return does_not_apply(frame[within], "site.toml has no list of door groups for a role")


def _beyond(data: Dataset, within: npt.NDArray[Any]) -> tuple[Small, Any]:
    """Whether each person reaches a door beyond their role's list, and which (lists)."""
    people, doors = by_id(data, "people"), by_id(data, "doors")
    locked = controlled(data)
    pairs = person_doors(data, locked.astype(bool))
    pairs = pairs[within[pairs["person"].to_numpy()]]
    who, door = pairs["person"].to_numpy(), pairs["door"].to_numpy()
    level = np.where(pairs["sure"].to_numpy(dtype=bool), locked[door], UNCLEAR)
    role = people["role"].fillna("").to_numpy(object)[who]
    level = np.minimum(level, YES - _allowed(data, role, door))
    beyond = np.flatnonzero(role == "resident")
    level[beyond] = np.minimum(level[beyond], YES - _at_home(data, who[beyond], door[beyond]))
    verdict = np.zeros(len(people), np.int8)
    np.maximum.at(verdict, who, level.astype(np.int8))
    named = doors.index[door[level == YES]]
    found = pd.Series(named, index=who[level == YES]).groupby(level=0).agg(sorted)
    return verdict, found.astype(object).reindex(np.arange(len(people))).array


def _allowed(data: Dataset, role: npt.NDArray[Any], door: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Whether each door is in a group of the role: YES, NO; UNCLEAR: perhaps."""
    g, n = groups(data), len(by_id(data, "doors"))
    level = np.full(len(door), UNCLEAR, np.int64)
    for word, template in data.site.roles.items():
        own = np.zeros(n, np.int64)
        for name in template.door_groups:
            own[bits_to_places(g.possible.get(name, 0), n)] |= UNCLEAR
            if name not in g.possible:  # a group that no table knows
                own = np.maximum(own, UNCLEAR)
        for name in template.door_groups:
            own[bits_to_places(g.sure.get(name, 0), n)] = YES
        here = role == word
        level[here] = own[door[here]]
    return level


def _at_home(data: Dataset, who: npt.NDArray[Any], door: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Whether each door leads into the person's own dwelling or lies on a way in to it."""
    people, doors = by_id(data, "people"), by_id(data, "doors")
    home = lookup(data, "dwellings", people["dwelling_id"].iloc[who], "zone_id")
    homes = [None if pd.isna(h) else str(h) for h in home]
    ways = on_way_in(data, doors.index[door].tolist(), homes)
    # the zone before one's own door: which door beyond it is one's own nobody says
    inner = (zone_kind(data, "inside_zone") == "dwelling").fillna(True).to_numpy(dtype=bool)[door]
    before = doors["outside_zone"].iloc[door].to_numpy(object) == np.array(homes, object)
    perhaps = np.array([way is None for way in ways], bool) | (inner & before)
    return np.select([np.array([w is True for w in ways], bool), perhaps], [YES, UNCLEAR], NO)
