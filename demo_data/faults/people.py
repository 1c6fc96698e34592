"""People who left, who have not come yet, and homes that do not add up."""

from collections.abc import Iterator

from ..households import card, permit, person, pin
from ..rows import READ_BACK_DAYS, Entry, NoneLeftError, Row, Site, pick
from .ground import (
    AFTER_READ_BACK,
    Fault,
    Home,
    depart,
    door_id,
    entry,
    homes,
    read_back_of,
    unload,
    unused_since,
)

LEFT = READ_BACK_DAYS - 1  # gone since the controllers were read: what they held then was right


def _couple_without_household_pin(home: Home) -> bool:
    return len(home.residents) == 2 and not home.household_pins and not home.reader_door


def _alone(home: Home) -> bool:
    return len(home.residents) == 1 and not home.others and not home.reader_door


def _by_themselves(home: Home) -> bool:
    """One or two people with cards only, and nobody before, after or beside them."""
    return len(home.residents) <= 2 and not (home.others or home.pins or home.reader_door)


def departed_keep_their_cards(site: Site) -> Iterator[Entry]:
    """Three people moved out two days ago and still hold a working card."""
    chosen = homes(
        site,
        3,
        lambda home: (
            _couple_without_household_pin(home)
            and not home.own_pins[home.residents[1]["person_id"]]
        ),
        "departed-with-card",
    )
    for home in chosen:
        gone = home.residents[1]
        depart(site, home, gone, LEFT)
        for held in home.cards[gone["person_id"]]:
            yield entry(
                "departed-with-card",
                "left two days ago, the card still works",
                person=gone["person_id"],
                card=held["card_id"],
            )


def departed_keep_their_pins(site: Site) -> Iterator[Entry]:
    """Two people handed their cards back when they left; nobody thought of their PINs."""
    chosen = homes(
        site,
        2,
        lambda home: (
            len(home.residents) >= 2
            and not home.household_pins
            and len(home.own_pins[home.residents[0]["person_id"]]) == 1
        ),
        "departed-with-pin",
        pins=True,
    )
    for home in chosen:
        gone = home.residents[0]
        depart(site, home, gone, LEFT)
        for held in home.cards[gone["person_id"]]:
            unload(site, held)
            unused_since(site, held, site.day(LEFT + 1))
            held["status"], held["valid_to"] = "returned", site.day(LEFT)
        (code,) = home.own_pins[gone["person_id"]]
        yield entry(
            "departed-with-pin",
            "left two days ago, the personal PIN still works",
            person=gone["person_id"],
            pin=code["pin_id"],
        )


def departed_long_ago_still_loaded(site: Site) -> Iterator[Entry]:
    """Gone for weeks, and everything still works and stands in the controllers."""
    (home,) = homes(
        site,
        1,
        lambda home: (
            len(home.residents) >= 2
            and not home.household_pins
            and len(home.own_pins[home.residents[0]["person_id"]]) == 1
        ),
        "loaded-for-departed",
        pins=True,
    )
    gone = home.residents[0]
    depart(site, home, gone, 40)
    who = gone["person_id"]
    for held in home.cards[who]:
        yield entry(
            "departed-with-card",
            "left weeks ago, the card still works",
            person=who,
            card=held["card_id"],
        )
        for row in read_back_of(site, held):
            yield entry(
                "loaded-for-departed",
                "the controller still holds the card of somebody gone",
                door=row["door_id"],
                card=held["card_id"],
                person=who,
            )
    for code in home.own_pins[who]:
        yield entry(
            "departed-with-pin",
            "left weeks ago, the personal PIN still works",
            person=who,
            pin=code["pin_id"],
        )
        for row in read_back_of(site, code):
            yield entry(
                "loaded-for-departed",
                "the controller still holds the PIN of somebody gone",
                door=row["door_id"],
                pin=code["pin_id"],
                person=who,
            )


def former_staff_keep_permissions(site: Site) -> Iterator[Entry]:
    """Two who worked here left; their permissions were never ended."""
    for role in ("staff", "agent"):
        gone = person(
            site, role=role, status="departed", start_date=site.day(900), end_date=site.day(210)
        )
        kept = permit(
            site,
            "person",
            gone["person_id"],
            site.day(890),
            door_group="G-MAINS",
            schedule_id="S-STAFF",
            valid_from=site.day(890),
        )
        yield entry(
            "departed-with-permission",
            "left the estate, the permission has no end",
            person=gone["person_id"],
            permission=kept["permission_id"],
        )


def card_before_the_first_day(site: Site) -> Iterator[Entry]:
    """The next tenant's card works two weeks before the tenancy begins."""
    (home,) = homes(site, 1, lambda home: len(home.residents) == 1, "early-access")
    comes = person(
        site, role="resident", dwelling_id=home.id, status="expected", start_date=site.day(-14)
    )
    early = card(site, site.random("early card"), 2, comes, issued_on=site.day(AFTER_READ_BACK))
    yield entry(
        "early-access",
        "the tenancy begins in two weeks, the card works now",
        person=comes["person_id"],
        card=early["card_id"],
    )


def empty_flat_with_a_code(site: Site) -> Iterator[Entry]:
    """Nobody lives there, yet the flat's code was renewed after the last tenant left."""
    occupied = {row["dwelling_id"] for row in site.tables["people"] if row["status"] != "departed"}
    (flat,) = pick(
        site, "dwellings", 1, lambda row: row["dwelling_id"] not in occupied, "vacant with PIN"
    )
    made = site.day(5)
    pin(
        site,
        site.random("vacant code"),
        "unit-release",
        dwelling_id=flat["dwelling_id"],
        set_on=made,
        valid_from=made,
    )
    yield entry(
        "vacant-with-credentials",
        "nobody lives there, its release code works",
        dwelling=flat["dwelling_id"],
    )


def marked_empty_but_in_use(site: Site) -> Iterator[Entry]:
    """The flat is marked empty; its household's cards work."""
    (home,) = homes(site, 1, lambda home: len(home.residents) == 2, "marked empty")
    home.dwelling["occupied"] = "no"
    yield entry(
        "vacant-with-credentials", "marked as not occupied, its cards work", dwelling=home.id
    )


def resident_of_nowhere(site: Site) -> Iterator[Entry]:
    """A resident without a flat; the PIN was handed out after the controllers were read."""
    lost = person(site, role="resident", status="current", start_date=site.day(30))
    pin(
        site,
        site.random("nowhere"),
        "personal",
        person_id=lost["person_id"],
        set_on=site.day(AFTER_READ_BACK),
        phone=lost["phone"],
    )
    yield entry(
        "resident-without-dwelling",
        "a resident with no flat in the register",
        person=lost["person_id"],
    )


def locked_out(site: Site) -> Iterator[Entry]:
    """Every card of a household is suspended."""
    (home,) = homes(site, 1, _by_themselves, "resident-without-credential")
    for resident, held in home.cards.items():
        for one in held:
            unload(site, one)
            one["status"], one["status_since"] = "suspended", site.day(0)
        yield entry(
            "resident-without-credential",
            "the only card is suspended, and there is no PIN",
            person=resident,
        )


def contractor_without_last_day(site: Site) -> Iterator[Entry]:
    """A contractor was entered without an end date."""
    worker = person(site, role="contractor", status="current", start_date=site.day(60))
    yield entry(
        "visitor-without-end", "a contractor without an end date", person=worker["person_id"]
    )


def permission_home_ended(site: Site) -> Iterator[Entry]:
    """A household's permission ran out, and the controllers took it to heart."""
    (home,) = homes(site, 1, _by_themselves, "no-way-home")
    for row in site.tables["permissions"]:
        if row["holder_id"] == home.id:
            row["valid_to"] = site.day(10)
    site.taken.add(door_id(home, "MAIN"))  # must not stand unlocked at any hour
    for resident, held in home.cards.items():
        for one in held:
            unload(site, one)
            unused_since(site, one, site.day(10))
        yield entry(
            "no-way-home",
            "the permission for the entrance ended, the card opens nothing",
            person=resident,
        )


def locked_out_at_night(site: Site) -> Iterator[Entry]:
    """A household's way in is bound to a schedule that ends before midnight."""
    (home,) = homes(site, 1, _alone, "way-home-not-always")
    for row in site.tables["permissions"]:
        if row["holder_id"] == home.id and row["door_group"].endswith("-RES"):
            row["schedule_id"] = "S-DAY"
    yield entry(
        "way-home-not-always",
        "the entrance opens from 05:30 to 23:30 only",
        person=home.residents[0]["person_id"],
    )


def listed_twice(site: Site) -> Iterator[Entry]:
    """One person twice in the list: family name first, without accents, no telephone."""
    found = homes(
        site,
        1,
        lambda home: (
            bool(home.household_pins) and not home.reader_door and len(home.residents) >= 2
        ),
        "person-listed-twice",
    )
    resident = found[0].residents[0]
    first, _, last = resident["name"].partition(" ")
    again = person(
        site,
        name=f"{last.upper()} {first}",
        role="resident",
        dwelling_id=found[0].id,
        status="current",
        start_date=resident["start_date"],
    )
    again["phone"] = ""
    yield entry(
        "person-listed-twice",
        "the same name in the same flat, family name first",
        person=[resident["person_id"], again["person_id"]],
    )


def tenancies_overlap(site: Site) -> Iterator[Entry]:
    """The former tenant is said to have stayed a hundred days into the next tenancy."""
    (home,) = homes(
        site,
        1,
        lambda home: (
            len(home.residents) == 1
            and not home.others
            and not home.household_pins
            and home.residents[0]["start_date"] < site.day(160)
        ),
        "overlapping-tenancies",
    )
    resident = home.residents[0]
    began = (site.as_of - site.as_of.fromisoformat(resident["start_date"])).days
    former = person(
        site,
        role="resident",
        dwelling_id=home.id,
        status="departed",
        start_date=site.day(began + 700),
        end_date=site.day(began - 100),
    )
    yield entry(
        "overlapping-tenancies",
        "two households in one flat for a hundred days",
        dwelling=home.id,
        person=[resident["person_id"], former["person_id"]],
    )


def household_code_known_to_former_tenant(site: Site) -> Iterator[Entry]:
    """A release code was set before somebody of that flat left."""
    (home,) = homes(
        site,
        1,
        lambda home: (
            len(home.residents) == 2
            and len(home.household_pins) == 1
            and home.household_pins[0]["kind"] == "unit-release"
            and home.household_pins[0]["set_on"] < site.day(12)
            and not home.own_pins[home.residents[1]["person_id"]]
        ),
        "pin-shared-after-departure",
        pins=True,
    )
    gone, code = home.residents[1], home.household_pins[0]
    depart(site, home, gone, 9)
    for held in home.cards[gone["person_id"]]:
        unload(site, held)
        unused_since(site, held, site.day(10))
        held["status"], held["valid_to"] = "returned", site.day(9)
    yield entry(
        "pin-shared-after-departure",
        "set before somebody of that flat left",
        pin=code["pin_id"],
        person=gone["person_id"],
    )


def cards_without_count(site: Site) -> Iterator[Entry]:
    """One household collected nine cards."""
    (home,) = homes(site, 1, lambda home: len(home.residents) == 2, "cards-per-dwelling")
    rng = site.random("collected cards")
    for nth in range(7):
        card(site, rng, 2, home.residents[nth % 2], issued_on=site.day(AFTER_READ_BACK))
    yield entry("cards-per-dwelling-exceeded", "nine live cards in one flat", dwelling=home.id)


def one_door_forgotten(site: Site) -> Iterator[Entry]:
    """A card is missing at one door that its household may open."""
    (home,) = homes(site, 1, lambda home: len(home.residents) == 2, "permitted-not-loaded")
    held: Row = home.cards[home.residents[0]["person_id"]][0]
    door = door_id(home, "STORE")
    gone = [row for row in read_back_of(site, held) if row["door_id"] == door]
    if len(gone) != 1:
        raise NoneLeftError("permitted-not-loaded")
    site.tables["loaded"].remove(gone[0])
    yield entry(
        "permitted-not-loaded",
        "permitted at the door, not in its controller",
        door=door,
        card=held["card_id"],
    )


def same_card_twice(site: Site) -> Iterator[Entry]:
    """Two of one household hold the same number, written in two forms."""
    chosen = homes(
        site,
        2,
        lambda home: (
            len(home.residents) == 2
            and home.cards[home.residents[0]["person_id"]][0]["valid_to"] == ""
            and home.cards[home.residents[0]["person_id"]][0]["number_form"] != "hex-reversed"
        ),
        "card-number-repeated",
    )
    for home in chosen:
        first = home.cards[home.residents[0]["person_id"]][0]
        twin = card(
            site,
            site.random("twin"),
            2,
            home.residents[1],
            issued_on=first["issued_on"],
            valid_from=first["valid_from"],
            last_used=first["last_used"],
            technology=first["technology"],
        )
        twin |= _other_spelling(first)
        yield entry(
            "card-number-repeated",
            "one number on two live cards",
            card=[first["card_id"], twin["card_id"]],
        )


def _other_spelling(card: Row) -> dict[str, str]:
    """The same number in another of its forms."""
    number, facility = card["number"], card["facility_code"]
    if "," in number:
        facility, number = number.split(",")
        return {"number": number, "facility_code": facility, "number_form": "wiegand26"}
    if facility:
        return {"number": f"{facility},{number}", "facility_code": "", "number_form": ""}
    if number.isdigit():
        return {"number": f"00{number}", "facility_code": "", "number_form": "decimal"}
    spaced = " ".join(number[at : at + 2] for at in range(0, len(number), 2))
    return {"number": spaced.lower(), "facility_code": "", "number_form": "hex"}


FAULTS: tuple[Fault, ...] = (
    locked_out,
    permission_home_ended,
    household_code_known_to_former_tenant,
    departed_keep_their_cards,
    departed_keep_their_pins,
    departed_long_ago_still_loaded,
    tenancies_overlap,
    locked_out_at_night,
    listed_twice,
    empty_flat_with_a_code,
    same_card_twice,
    cards_without_count,
    one_door_forgotten,
    marked_empty_but_in_use,
    card_before_the_first_day,
    former_staff_keep_permissions,
    resident_of_nowhere,
    contractor_without_last_day,
)
