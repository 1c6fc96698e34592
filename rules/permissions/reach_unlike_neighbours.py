import numpy as np
import pandas as pd

from audit.arithmetic.three import NO, YES, Bools, Ints
from audit.contract import TEXT, Cause, Dataset, Step, rule
from audit.facts.doors import controlled
from audit.facts.neighbours import zone_kind
from audit.facts.reach import person_doors, reach
from audit.facts.standing import by_id, entitled, lookup
from rules.permissions._way_in import on_way_in


@rule(
    title="Access that neighbours do not have",
    finds="Doors that a resident can open but fewer than one in ten residents of the same"
    " building and core can (at least ten residents). Doors on the way home, dwelling"
    " doors, and doors that three or more residents open are left out.",
    priority="advisory",
    needs={
        "people": ("dwelling_id",),
        "dwellings": ("building", "core"),
        "doors": ("entry", "lock"),
        "permissions": (),
    },
    uses=("zones", "cards", "pins", "door_groups", "schedules", "calendars"),
    subjects=("person", "door"),
    anchor=("person",),
    cause=Cause("person", ("person",)),
    summary="Resident {person} can open {door:door %|doors %}; few of the {neighbours} residents"
    " of the same building and core can.",
    evidence=("neighbours",),
    do=(
        Step(
            "Ask why. If there is no reason, remove the doors from this person's permissions.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ac-6-7-2",
        "access-that-differs-from-the-neighbours",
    ),
)
def reach_unlike_neighbours(data: Dataset) -> pd.DataFrame:
    """Access that neighbours do not have is often left over, and nobody remembers why."""
    people = unlike_neighbours(data)
    return people.assign(door=people["doors"], fails=people["odd"])


def unlike_neighbours(data: Dataset) -> pd.DataFrame:
    """Doors that hardly any neighbour reaches, for residents with ten neighbours or more.

    Index: labels of the people table. Columns `person`, `doors` (list, None where there is
    none), `odd` (nullable boolean), `neighbours` (residents of the same building and core,
    this one among them). Entitled residents only; NA where building, core or reach is not
    known.

    A door counts when it is controlled, when fewer than one in ten of those residents reach
    it, this one among them, and fewer than three residents of the whole site; not when it
    leads into a zone of kind dwelling, or can be passed on a way in from outside to the home.
    """
    people = by_id(data, "people")
    right = entitled(data).reindex(people["_label"]).set_axis(people.index)
    stands = ((people["role"] == "resident") & right).astype("boolean")
    ours = people[stands.fillna(True).to_numpy(dtype=bool)]
    building = lookup(data, "dwellings", ours["dwelling_id"], "building")
    core = lookup(data, "dwellings", ours["dwelling_id"], "core")
    known = (building.notna() & core.notna()).to_numpy(dtype=bool)
    counted = stands.fillna(False).to_numpy(dtype=bool)
    at = np.flatnonzero(stands.fillna(True).to_numpy(dtype=bool))
    place = np.full(len(people), -1)
    codes = pd.DataFrame({"b": building[known], "c": core[known]}).groupby(["b", "c"]).ngroup()
    place[at[known]] = codes.to_numpy()
    size = np.bincount(place[counted & (place >= 0)], minlength=int(place.max(initial=0)) + 1)

    doors = by_id(data, "doors")
    kind = zone_kind(data, "inside_zone")
    locked = controlled(data)
    dwelling = (kind == "dwelling").fillna(False).to_numpy(dtype=bool)
    given = (locked == YES) & kind.notna().to_numpy(dtype=bool)
    pairs = person_doors(data, (locked > NO) & ~dwelling & _rare(data, at))
    who, door = pairs["person"].to_numpy(), pairs["door"].to_numpy()
    sure = pairs["sure"].to_numpy(dtype=bool)
    # a door that three or more residents reach is nobody's oddity
    many = np.bincount(door[sure & counted[who]], minlength=len(doors))
    kept = (many[door] < 3) & (place[who] >= 0)
    who, door, sure = who[kept], door[kept], sure[kept]
    cell = place[who] * len(doors) + door
    _, which, here = np.unique(cell, return_inverse=True, return_counts=True)
    share = size[place[who]]
    kept = (share >= 10) & (here[which.reshape(-1)] * 10 < share)
    who, door, sure = who[kept], door[kept], sure[kept]
    home = lookup(data, "dwellings", people["dwelling_id"].iloc[who], "zone_id")
    homes = [None if pd.isna(h) else str(h) for h in home]
    on_way = on_way_in(data, doors.index[door].tolist(), homes)
    odd, doubt = np.zeros(len(people), bool), np.zeros(len(people), bool)
    listed: dict[int, list[str]] = {}
    names = doors.index.tolist()
    for person, d, certain, way in zip(
        who.tolist(), door.tolist(), sure.tolist(), on_way, strict=True
    ):
        if way is False and certain and given[d]:
            odd[person] = True
            listed.setdefault(person, []).append(names[d])
        elif way is not True:
            doubt[person] = True
    odd &= counted
    doubt |= ~counted
    doubt[at[~known]] = True
    neighbours = np.where(place[at] >= 0, size[place[at]], 0)
    frame = pd.DataFrame(
        {
            "person": ours.index.astype(TEXT),
            "doors": pd.Series(
                [sorted(listed[i]) if i in listed else None for i in at.tolist()], dtype=object
            ).array,
            "odd": pd.arrays.BooleanArray(odd[at], doubt[at] & ~odd[at]),
            "neighbours": neighbours,
        },
        index=pd.Index(ours["_label"].to_numpy(dtype=np.int64)),
    )
    return frame[(neighbours >= 10) | ~known]


def _rare(data: Dataset, residents: Ints) -> Bools:
    """Doors that no single grant surely opens to three of these residents.

    Only a first sieve, to keep the work small: the doors that it drops are aside.
    """
    r = reach(data)
    people = r.people
    weight = np.bincount(people.of[residents], minlength=people.size)
    size = np.diff(people.start)
    of = np.repeat(np.arange(people.size), size)
    grant, certain = people.items >> 1, (people.items & 1).astype(bool)

    def holders(has: Bools) -> Ints:
        mine = certain & has[of]
        return np.bincount(grant[mine], weights=weight[of[mine]], minlength=len(r.grant_target))

    card, pin = people.card == YES, people.pin == YES
    by_entry = {1: holders(card), 2: holders(pin), 4: holders(card & pin)}
    by_entry[3] = np.maximum(by_entry[1], by_entry[2])
    rare = np.ones(len(r.door_ids), bool)
    opens = np.array([r.year.hours_of(s)[0] != 0 for s in r.schedules], bool)
    for entry, count in by_entry.items():
        for g in np.flatnonzero((count >= 3) & opens[r.grant_schedule]).tolist():
            t = r.grant_target[g]
            span = slice(r.targets.start[t], r.targets.start[t + 1])
            doors = r.targets.doors[span][r.targets.sure[span]]
            rare[doors[r.entry[doors] == entry]] = False
    return rare
