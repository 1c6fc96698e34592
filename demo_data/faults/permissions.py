"""Permissions that give too much, nothing, or the same twice."""

from collections.abc import Iterator

from ..households import card, permit, person, pin
from ..rows import Entry, NoneLeftError, Site, add, pick
from .cards import resident
from .ground import AFTER_READ_BACK, Fault, entry


def _applied(site: Site) -> str:
    return site.day(AFTER_READ_BACK)


def _first_building(site: Site) -> str:
    return site.tables["dwellings"][0]["dwelling_id"].split("-")[0]


def _newcomer(site: Site, role: str = "staff") -> str:
    """Somebody at work there without a card or PIN yet."""
    ends = site.day(-40) if role == "contractor" else ""
    return person(site, role=role, status="current", start_date=site.day(20), end_date=ends)[
        "person_id"
    ]


def circle(site: Site) -> Iterator[Entry]:
    """Two groups that contain each other."""
    for one, other in (("G-NORTH", "G-SOUTH"), ("G-SOUTH", "G-NORTH")):
        add(site, "door_groups", door_group=one, member_kind="door_group", member_id=other)
    add(
        site,
        "door_groups",
        door_group="G-NORTH",
        member_kind="door",
        member_id=f"{_first_building(site)}-MAIN",
    )
    yield entry("group-in-circle", "each contains the other", door_group=["G-NORTH", "G-SOUTH"])


def empty_group(site: Site) -> Iterator[Entry]:
    """A permission for a group that was never filled."""
    add(site, "door_groups", door_group="G-ROOF")
    permit(
        site,
        "person",
        _newcomer(site, "agent"),
        _applied(site),
        door_group="G-ROOF",
        schedule_id="S-WORK",
    )
    yield entry("group-empty", "used by a permission, opens no door", door_group="G-ROOF")


def said_twice(site: Site) -> Iterator[Entry]:
    """A permission for a door, beside one for a group that holds it, at the same hours."""
    who = _newcomer(site)
    both = [
        permit(site, "person", who, _applied(site), door_group="G-MAINS", schedule_id="S-WORK"),
        permit(
            site,
            "person",
            who,
            _applied(site),
            door_id=f"{_first_building(site)}-MAIN",
            schedule_id="S-WORK",
        ),
    ]
    yield entry(
        "permission-repeated",
        "the second adds neither door nor hour",
        permission=[row["permission_id"] for row in both],
    )


def never_sent(site: Site) -> Iterator[Entry]:
    """A permission was prepared at the desk and never sent."""
    row = permit(site, "person", _newcomer(site), "", door_group="G-LIFTS", schedule_id="S-WORK")
    yield entry("permission-not-applied", "in force, never sent", permission=row["permission_id"])


def into_another_flat(site: Site) -> Iterator[Entry]:
    """A resident may open a neighbour's flat."""
    who = resident(site, "reaches-other-dwelling")
    doors = [
        row["door_id"]
        for row in site.tables["doors"]
        if row["door_id"].endswith("-D")
        and row["entry"] == "card"
        and row["door_id"] != f"{who['dwelling_id']}-D"
    ]
    if not doors:
        raise NoneLeftError("reaches-other-dwelling")
    door = site.random("other flat").choice(doors)
    permit(site, "person", who["person_id"], _applied(site), door_id=door)
    yield entry(
        "reaches-other-dwelling",
        "a permission for another household's door",
        person=who["person_id"],
        door=door,
    )


def visitor_in_the_plant_room(site: Site) -> Iterator[Entry]:
    """A visitor may open a plant room."""
    host = resident(site, "reaches-plant")
    b = host["dwelling_id"].split("-")[0]
    guest = person(
        site,
        role="visitor",
        dwelling_id=host["dwelling_id"],
        status="current",
        start_date=site.day(5),
        end_date=site.day(-6),
    )
    since = {"valid_from": _applied(site), "valid_to": site.day(-6)}
    card(site, site.random("plant"), 2, guest, issued_on=_applied(site), **since)
    permit(
        site,
        "person",
        guest["person_id"],
        _applied(site),
        door_group=f"G-{b}-PLANT",
        schedule_id="S-WORK",
        **since,
    )
    yield entry(
        "reaches-plant",
        "a visitor's permission opens the plant room",
        person=guest["person_id"],
        zone=f"{b}-PLANT",
    )


def at_all_hours(site: Site) -> Iterator[Entry]:
    """A contractor's permission has no schedule."""
    who = _newcomer(site, "contractor")
    permit(site, "person", who, _applied(site), door_group="G-MAINS")
    yield entry("visitor-at-all-hours", "no schedule", person=who)


def unlike_the_neighbours(site: Site) -> Iterator[Entry]:
    """One resident opens the estate office."""
    who = resident(site, "reach-unlike-neighbours")
    homes = {row["dwelling_id"]: row for row in site.tables["dwellings"]}

    def place(dwelling: str) -> tuple[str, str]:
        return homes[dwelling]["building"], homes[dwelling]["core"]

    neighbours = [
        row
        for row in site.tables["people"]
        if row["role"] == "resident"
        and row["status"] in ("current", "")
        and row["dwelling_id"]
        and place(row["dwelling_id"]) == place(who["dwelling_id"])
    ]
    if len(neighbours) < 12:  # ten are asked for
        raise NoneLeftError("reach-unlike-neighbours")
    office = f"{_first_building(site)}-OFFICE"
    permit(site, "person", who["person_id"], _applied(site), door_id=office)
    yield entry(
        "reach-unlike-neighbours",
        "no other resident opens the office",
        person=who["person_id"],
        door=office,
    )


def contractor_opens_everything(site: Site) -> Iterator[Entry]:
    """A contractor with card and PIN may open every door that asks for either."""
    who = person(
        site,
        role="contractor",
        status="current",
        start_date=site.day(6),
        end_date=site.day(-20),
    )
    since = {"valid_from": _applied(site), "valid_to": site.day(-20)}
    rng = site.random("every door")
    card(site, rng, 2, who, issued_on=_applied(site), **since)
    pin(
        site,
        rng,
        "personal",
        length=7,
        person_id=who["person_id"],
        set_on=_applied(site),
        phone=who["phone"],
        **since,
    )
    for row in site.tables["doors"]:
        if row["lock"] in ("magnet", "strike", "bolt", "motor") and row["entry"] in (
            "card",
            "pin",
            "card-or-pin",
            "card-and-pin",
        ):
            add(
                site,
                "door_groups",
                door_group="G-EVERY",
                member_kind="door",
                member_id=row["door_id"],
            )
    permit(
        site,
        "person",
        who["person_id"],
        _applied(site),
        door_group="G-EVERY",
        schedule_id="S-WORK",
        **since,
    )
    yield entry(
        "reaches-every-door",
        "every controlled door that asks for a card or PIN",
        person=who["person_id"],
    )


def beyond_the_list(site: Site) -> Iterator[Entry]:
    """Somebody of the agent's may open the estate office, which the agents' list leaves out."""
    office = f"{_first_building(site)}-OFFICE"
    who = person(site, role="agent", status="current", start_date=site.day(20))
    since = {"issued_on": _applied(site), "valid_from": _applied(site)}
    card(site, site.random("beyond the list"), 2, who, **since)
    name = who["person_id"]
    permit(site, "person", name, _applied(site), door_id=office, schedule_id="S-WORK")
    yield entry("role-beyond-template", "agents open the entrances alone", person=name)


def approved_alone(site: Site) -> Iterator[Entry]:
    """Two permissions that one and the same person granted and approved."""
    today = site.as_of.isoformat()
    chosen = pick(
        site,
        "permissions",
        2,
        lambda row: (
            row["holder_kind"] == "dwelling"
            and row["valid_from"] <= today
            and row["applied_on"] != ""
            and not row["valid_to"]
        ),
        "approved-by-granter",
    )
    for row in chosen:
        row["approved_by"], row["granted_by"] = "Night Porter", "night porter"
    yield entry(
        "approved-by-granter",
        "granted and approved by the same person",
        permission=[row["permission_id"] for row in chosen],
    )


FAULTS: tuple[Fault, ...] = (
    beyond_the_list,
    approved_alone,
    circle,
    empty_group,
    said_twice,
    never_sent,
    into_another_flat,
    visitor_in_the_plant_room,
    at_all_hours,
    unlike_the_neighbours,
)
