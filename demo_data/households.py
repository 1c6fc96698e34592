"""Who lives and works there, with their cards, PINs and permissions: all in order."""

import random
from dataclasses import dataclass

from .codes import new_code, new_number
from .estate import Building, member
from .rows import READ_BACK_DAYS, Row, Site, add, numbered

CARD_STOCKS = (("hex", "hf-secure"), ("wiegand26", "hf-secure"), ("decimal", "hf-secure"))


@dataclass(frozen=True)
class Household:
    """What one dwelling of the cycle is like."""

    residents: int
    personal_pins: int = 0
    shared: bool = False
    release: bool = False
    duress: bool = False
    former: bool = False
    parking: bool = False
    visitor: bool = False
    expected: bool = False


# a cycle of two dozen dwellings, so that every site of that size has each kind of household
CYCLE = (
    Household(1),
    Household(2, personal_pins=2, parking=True),
    Household(2, personal_pins=1, release=True),
    Household(3, personal_pins=2, shared=True, parking=True),
    Household(1, personal_pins=1, parking=True),
    Household(2),
    Household(4, personal_pins=2, former=True, parking=True),
    Household(2, personal_pins=1, duress=True, parking=True),
    Household(1),
    Household(2, personal_pins=2, former=True, parking=True),
    Household(0, former=True),
    Household(3, personal_pins=1, shared=True, release=True, parking=True),
    Household(1, personal_pins=1, former=True, release=True),
    Household(2, visitor=True),
    Household(2, personal_pins=2, shared=True, parking=True),
    Household(1, former=True),
    Household(2, personal_pins=1, parking=True),
    Household(0, expected=True),
    Household(3, personal_pins=2, parking=True),
    Household(1, personal_pins=1, shared=True, parking=True),
    Household(2, former=True),
    Household(2, personal_pins=2, duress=True, parking=True),
    Household(1),
    Household(2, personal_pins=1, release=True),
)


def build(site: Site, houses: list[Building]) -> None:
    """People, cards, PINs and permissions."""
    rng = site.random("households")
    places = list(range(len(site.tables["dwellings"])))
    kinds = [CYCLE[place % len(CYCLE)] for place in places]
    if len(places) > 1:
        rng.shuffle(kinds)
    by_name = {house.name: (place, house) for place, house in enumerate(houses)}
    for dwelling, kind in zip(site.tables["dwellings"], kinds, strict=True):
        place, house = by_name[dwelling["building"]]
        _move_in(site, rng, dwelling, kind, place, house)
    _empty_flats(site, houses[0])
    _workforce(site, houses)
    _panel_codes(site, houses)
    _drawer(site)


def person(site: Site, **cells: str) -> Row:
    """Add a person, with a name and a telephone number unless given."""
    row = add(site, "people", person_id=numbered(site, "people", "R", 4), **cells)
    row["name"] = row["name"] or site.names.person(site.names.family())
    row["phone"] = row["phone"] or site.names.phone()
    return row


def card(site: Site, rng: random.Random, stock: int, holder: Row | None, **cells: str) -> Row:
    """Add a card of one of the three stocks (their place in CARD_STOCKS, any whole number).

    The holder's dwelling is written on the card too.
    """
    form, technology = CARD_STOCKS[stock % len(CARD_STOCKS)]
    chance = rng.random()
    if form == "hex" and chance < 0.3:
        form = "hex-reversed"
    if form == "wiegand26" and chance < 0.3:
        form = "pair"
    if chance > 0.9:
        form, technology = "decimal", "mobile"
    number, facility = new_number(site, rng, form, facility=20 + stock % 200)
    stated = "" if form == "pair" or (form != "hex-reversed" and chance < 0.5) else form
    made = {
        "number": number,
        "facility_code": facility,
        "technology": technology,
        "number_form": stated,
        "kind": "ordinary",
        "status": "active",
    }
    if holder is not None:
        made |= {"person_id": holder["person_id"], "dwelling_id": holder["dwelling_id"]}
    return add(site, "cards", card_id=numbered(site, "cards", "C", 4), **(made | cells))


def pin(site: Site, rng: random.Random, kind: str, length: int = 6, **cells: str) -> Row:
    """Add a PIN of random digits; `phone` names digits that it must not be part of."""
    phone = cells.pop("phone", "")
    return add(
        site,
        "pins",
        **{
            "pin_id": numbered(site, "pins", "P", 3),
            "kind": kind,
            "status": "active",
            "pin": new_code(site, rng, length, "".join(filter(str.isdigit, phone))),
        }
        | cells,
    )


def permit(site: Site, kind: str, holder: str, applied: str, **cells: str) -> Row:
    """Add a permission of a holder, sent to the controllers on the ISO date `applied`."""
    return add(
        site,
        "permissions",
        permission_id=numbered(site, "permissions", "PM", 4),
        holder_kind=kind,
        holder_id=holder,
        applied_on=applied,
        approved_by="Estate manager",
        granted_by="Estate office",
        **cells,
    )


def _move_in(
    site: Site, rng: random.Random, dwelling: Row, kind: Household, place: int, house: Building
) -> None:
    day, home = site.day, dwelling["dwelling_id"]
    reader = house.own_doors == "flat-reader"
    started = rng.randint(60, 1800)
    if kind.former:
        left = rng.randint(9, 14) if kind.residents == 0 else started + rng.randint(4, 40)
        family = site.names.family()
        came = left + rng.randint(300, 1200)
        for _ in range(rng.choice((1, 1, 2))):
            gone = person(
                site,
                name=site.names.person(family),
                role="resident",
                dwelling_id=home,
                status="departed",
                start_date=day(came),
                end_date=day(left),
            )
            card(
                site,
                rng,
                place,
                gone,
                status=rng.choice(("returned", "returned", "destroyed")),
                issued_on=day(came),
                valid_from=day(came),
                valid_to=day(left),
                last_used=day(left + rng.randint(0, 3)),
            )
            if kind.residents == 0:  # the log still tells of their days here
                permit(
                    site,
                    "person",
                    gone["person_id"],
                    day(came),
                    door_group=f"G-{house.id}-RES",
                    valid_from=day(came),
                    valid_to=day(left),
                )
    if kind.residents == 0:
        dwelling["occupied"] = "no"
        if kind.expected:
            ahead = rng.randint(7, 20)
            comes = person(
                site,
                role="resident",
                dwelling_id=home,
                status="expected",
                start_date=day(-ahead),
            )
            card(site, rng, place, comes, issued_on=day(1), valid_from=day(-ahead))
            permit(
                site,
                "dwelling",
                home,
                "",
                door_group=f"G-{house.id}-RES",
                valid_from=day(-ahead),
            )
        return
    family = site.names.family()
    residents = [
        person(
            site,
            name=site.names.person(family if rng.random() < 0.7 else site.names.family()),
            role="resident",
            dwelling_id=home,
            status=rng.choice(("current", "current", "")),
            start_date=day(started),
        )
        for _ in range(kind.residents)
    ]
    for nth, resident in enumerate(residents):
        if nth >= 2 and kind.shared and not reader:
            continue  # a child of the house uses the household's PIN
        issued = rng.randint(max(started - 20, 30), started)
        ends = day(-rng.randint(60, 600)) if rng.random() < 0.3 else ""
        card(
            site,
            rng,
            place,
            resident,
            issued_on=day(issued),
            valid_from=day(issued),
            valid_to=ends,
            last_used=day(min(issued, rng.randint(25, 80))),
        )
    if rng.random() < 0.12:
        lost = rng.randint(30, started)
        card(
            site,
            rng,
            place,
            residents[0],
            status="lost",
            issued_on=day(started),
            valid_from=day(started),
            valid_to=day(lost),
            last_used=day(lost),
        )
    for nth, resident in enumerate(residents[: kind.personal_pins]):
        made = day(rng.randint(8, max(started, 9)))
        pin(
            site,
            rng,
            "personal",
            person_id=resident["person_id"],
            set_on=made,
            valid_from=made,
            dwelling_id=home if nth == 0 else "",
            phone=resident["phone"],
        )
    if kind.duress:
        made = day(rng.randint(8, 50))
        pin(
            site,
            rng,
            "duress",
            person_id=residents[0]["person_id"],
            dwelling_id=home,
            set_on=made,
            valid_from=made,
            phone=residents[0]["phone"],
        )
    if kind.shared:
        made = day(rng.randint(8, 50))
        pin(site, rng, "shared", dwelling_id=home, set_on=made, valid_from=made)
    if kind.release:
        made = day(rng.randint(8, started - 2))
        pin(site, rng, "unit-release", dwelling_id=home, set_on=made, valid_from=made)
    applied = day(started - 1)
    since = {"valid_from": day(started)}
    permit(site, "dwelling", home, applied, door_group=f"G-{house.id}-RES", **since)
    permit(
        site,
        "dwelling",
        home,
        applied,
        door_id=f"{house.id}-STORE",
        schedule_id="S-DAY",
        **since,
    )
    if reader:
        permit(site, "dwelling", home, applied, door_id=f"{home}-D", **since)
    if kind.parking:
        permit(site, "dwelling", home, applied, door_group="G-PARK", **since)
    if kind.visitor:
        _visitor(site, rng, home, place, house, reader)


def _visitor(
    site: Site, rng: random.Random, home: str, place: int, house: Building, reader: bool
) -> None:
    day = site.day
    came, leaves = rng.randint(8, 12), rng.randint(5, 14)
    guest = person(
        site,
        role="visitor",
        dwelling_id=home,
        status="current",
        start_date=day(came),
        end_date=day(-leaves),
    )
    card(
        site,
        rng,
        place,
        guest,
        issued_on=day(came),
        valid_from=day(came),
        valid_to=day(-leaves),
        last_used=day(READ_BACK_DAYS + 1),
    )
    term = {"valid_from": day(came), "valid_to": day(-leaves), "schedule_id": "S-VISIT"}
    for target in (
        {"door_group": f"G-{house.id}-RES"},
        {"door_id": f"{house.id}-STORE"},
        *([{"door_id": f"{home}-D"}] if reader else []),
    ):
        permit(site, "person", guest["person_id"], day(came), **target, **term)


def _empty_flats(site: Site, house: Building) -> None:
    """Staff open the flats that nobody lives in, where their doors have readers."""
    empty = [
        row["dwelling_id"]
        for row in site.tables["dwellings"]
        if row["building"] == house.name and row["occupied"] == "no"
    ]
    for home in empty:
        member(site, "G-EMPTY", f"{home}-D")
    if empty:
        permit(site, "role", "staff", site.day(90), door_group="G-EMPTY", schedule_id="S-STAFF")


def _workforce(site: Site, houses: list[Building]) -> None:
    rng, day = site.random("workforce"), site.day
    staff = [
        person(site, role="staff", status="current", start_date=day(rng.randint(300, 2000)))
        for _ in range(4 + len(houses) // 4)
    ]
    kinds = ("master", "rounds", *["ordinary"] * len(staff))
    for nth, worker in enumerate(staff):
        issued = worker["start_date"]
        card(
            site,
            rng,
            len(houses),
            worker,
            kind=kinds[nth],
            issued_on=issued,
            valid_from=issued,
            last_used=day(rng.randint(25, 60)),
        )
        made = day(rng.randint(20, 250))
        pin(
            site,
            rng,
            "personal",
            length=7 + nth % 2,
            person_id=worker["person_id"],
            set_on=made,
            valid_from=made,
            phone=worker["phone"],
        )
    guard = staff[1]["person_id"]
    permit(site, "person", guard, day(290), door_group="G-STAFF", schedule_id="S-NIGHT")
    for role, group, schedule in (
        ("staff", "G-STAFF", "S-STAFF"),
        ("agent", "G-MAINS", "S-STAFF"),
        ("responder", "G-RESPONSE", ""),
    ):
        permit(site, "role", role, day(700), door_group=group, schedule_id=schedule)
    for role, count in (("agent", 2), ("responder", 2)):
        for _ in range(count):
            somebody = person(
                site, role=role, status="current", start_date=day(rng.randint(400, 900))
            )
            somebody["call_out"] = "yes" if role == "responder" else "no"
            card(
                site,
                rng,
                len(houses) + 1,
                somebody,
                issued_on=day(390),
                valid_from=day(390),
                last_used="" if role == "responder" else day(rng.randint(25, 80)),
            )
    for _ in range(2):
        worker = person(
            site,
            role="contractor",
            status="current",
            start_date=day(rng.randint(40, 90)),
            end_date=day(-rng.randint(40, 150)),
        )
        since, until = rng.randint(9, 13), rng.randint(8, 15)
        card(
            site,
            rng,
            len(houses),
            worker,
            issued_on=day(since),
            valid_from=day(since),
            valid_to=day(-until),
            last_used=day(READ_BACK_DAYS + 1),
        )
        permit(
            site,
            "person",
            worker["person_id"],
            worker["start_date"],
            door_group="G-LIFTS",
            schedule_id="S-WORK",
            valid_from=worker["start_date"],
            valid_to=worker["end_date"],
        )
    for role, group, schedule in (
        ("staff", "G-MAINS", "S-STAFF"),
        ("contractor", "G-LIFTS", "S-WORK"),
        ("contractor", "G-LIFTS", "S-WORK"),
    ):
        left = rng.randint(170, 300)
        gone = person(
            site,
            role=role,
            start_date=day(left + rng.randint(30, 400)),
            end_date=day(left),
            status="departed" if role == "staff" else "",
        )
        card(
            site,
            rng,
            len(houses),
            gone,
            status="returned",
            issued_on=gone["start_date"],
            valid_from=gone["start_date"],
            valid_to=day(left),
            last_used=day(left),
        )
        permit(
            site,
            "person",
            gone["person_id"],
            gone["start_date"],
            door_group=group,
            schedule_id=schedule,
            valid_from=gone["start_date"],
            valid_to=day(left),
        )


def _panel_codes(site: Site, houses: list[Building]) -> None:
    rng, day = site.random("panel codes"), site.day
    for house in houses:
        panel, entrance = f"EP-{house.id}", f"{house.id}-MAIN"
        pin(site, rng, "admin", length=8, station_id=panel, set_on=day(rng.randint(30, 140)))
        for kind, group, schedule in (
            ("delivery", f"G-{house.id}-PARCELS", "S-DELIVERY"),
            ("shared", "", "S-WORK"),
        ):
            made = day(rng.randint(8, 50))
            code = pin(
                site,
                rng,
                kind,
                station_id=panel,
                door_id=entrance,
                set_on=made,
                valid_from=made,
            )
            permit(
                site,
                "pin",
                code["pin_id"],
                made,
                door_group=group,
                schedule_id=schedule,
                door_id="" if group else entrance,
                valid_from=made,
            )


def _drawer(site: Site) -> None:
    """Cards nobody holds, and what was withdrawn long ago."""
    rng, day = site.random("drawer"), site.day
    for nth in range(6):
        card(site, rng, nth, None, status="stock", status_since=day(500), issued_on="")
    gone = card(
        site,
        rng,
        1,
        None,
        status="suspended",
        status_since=day(400),
        issued_on=day(800),
        valid_from=day(800),
        valid_to=day(400),
        last_used=day(420),
    )
    permit(
        site,
        "card",
        gone["card_id"],
        day(790),
        door_group="G-MAINS",
        schedule_id="S-WORK",
        valid_from=day(800),
        valid_to=day(400),
    )
    old = site.tables["people"][0]
    pin(
        site,
        rng,
        "personal",
        person_id=old["person_id"],
        status="suspended",
        status_since=day(200),
        set_on=day(300),
        valid_from=day(300),
        valid_to=day(200),
    )
