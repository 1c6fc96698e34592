"""What the controllers hold: worked out from the permissions, apart from any auditor."""

from collections.abc import Callable, Iterable, Iterator

from .codes import as_logged
from .rows import READ_BACK_DAYS, Row, Site, add, grouped, index, live

ASKS = {
    "card": ("card", "card-or-pin", "card-and-pin"),
    "pin": ("pin", "card-or-pin", "card-and-pin"),
}


def flattened(site: Site) -> Callable[[str], frozenset[str]]:
    """The doors of a group, through groups in groups; a group met again adds nothing."""
    members = grouped(site.tables["door_groups"], "door_group")
    known: dict[str, frozenset[str]] = {}

    def doors(group: str) -> frozenset[str]:
        if group in known:
            return known[group]
        found, seen, waiting = set(), {group}, [group]
        while waiting:
            for row in members.get(waiting.pop(), []):
                if row["member_kind"] != "door_group":
                    found.add(row["member_id"])
                elif row["member_id"] not in seen:
                    seen.add(row["member_id"])
                    waiting.append(row["member_id"])
        known[group] = frozenset(found - {""})
        return known[group]

    return doors


def opens(site: Site, on: str) -> Iterator[tuple[Row, str, list[str]]]:
    """Each credential that is live on an ISO date, its kind, and the doors that it opens then.

    A permission counts from the day it was sent to the controllers.
    """
    doors_of = flattened(site)
    entry = {row["door_id"]: row["entry"] for row in site.tables["doors"]}
    order = {door: place for place, door in enumerate(entry)}
    people = index(site.tables["people"], "person_id")
    granted: dict[tuple[str, str], set[str]] = {}
    for row in site.tables["permissions"]:
        ends = row["valid_to"]
        if row["valid_from"] <= on and (not ends or on <= ends) and "" < row["applied_on"] <= on:
            group = row["door_group"]
            found = granted.setdefault((row["holder_kind"], row["holder_id"]), set())
            found |= doors_of(group) if group else {row["door_id"]}
    everything: Iterable[tuple[str, Row]] = [
        *(("card", row) for row in site.tables["cards"]),
        *(("pin", row) for row in site.tables["pins"]),
    ]
    for kind, row in everything:
        if not live(row, on) or (row.get("set_on") or row.get("issued_on") or "") > on:
            continue
        holder = people.get(row["person_id"])
        holders = [(kind, row["card_id" if kind == "card" else "pin_id"])]
        home = row["dwelling_id"]
        if holder is not None:
            holders += [("person", holder["person_id"]), ("role", holder["role"])]
            home = holder["dwelling_id"] if holder["role"] == "resident" else ""
        holders.append(("dwelling", home))
        doors = set().union(*(granted.get(key, set()) for key in holders))
        able = [door for door in doors if entry.get(door) in ASKS[kind]]
        yield row, kind, sorted(able, key=order.__getitem__)


def build(site: Site) -> None:
    """Fill `loaded`: in every other building PINs are held by their digits, not their id."""
    read_on = site.day(READ_BACK_DAYS)
    held: dict[str, list[Row]] = {}
    for row, kind, doors in opens(site, read_on):
        for door in doors:
            by_digits = door[:1] == "B" and int(door[1:3]) % 2 == 1
            if kind == "card":
                number = as_logged(row)
                if by_digits and len(number) == 14 and not number.isdigit():
                    number = ":".join(number[at : at + 2] for at in range(0, 14, 2)).lower()
            else:
                number = row["pin"] if by_digits else row["pin_id"]
            held.setdefault(door, []).append(
                {"credential_kind": kind, "number": number, "valid_to": row["valid_to"]}
            )
    for row in site.tables["doors"]:
        for cells in held.get(row["door_id"], []):
            add(site, "loaded", door_id=row["door_id"], read_on=read_on, **cells)
