"""Slips of the register itself: blanks, words, ids, references, dates, a spreadsheet's doing."""

from collections.abc import Iterator

from ..households import card, permit, person
from ..rows import Entry, Site, add, pick
from .ground import Fault, entry


def holder_missing(site: Site) -> Iterator[Entry]:
    """A permission of nobody is set aside."""
    row = permit(site, "person", "", site.day(9), door_group="G-MAINS", schedule_id="S-WORK")
    yield entry(
        "required-value-missing",
        "a permission without holder",
        table="permissions",
        column="holder_id",
        id=row["permission_id"],
    )


def words_of_their_own(site: Site) -> Iterator[Entry]:
    """A number and a technology that cannot be understood."""
    (door,) = pick(
        site, "doors", 1, lambda row: row["door_id"].endswith("-GATE"), "value-not-understood"
    )
    door["held_open_alarm_s"] = "quickly"
    yield entry(
        "value-not-understood",
        "not a number",
        table="doors",
        column="held_open_alarm_s",
        id=door["door_id"],
    )
    (spare,) = pick(site, "cards", 1, lambda row: row["status"] == "stock", "odd technology")
    spare["technology"] = "the blue ones"
    yield entry(
        "value-not-understood",
        "no technology",
        table="cards",
        column="technology",
        id=spare["card_id"],
    )


def zone_twice(site: Site) -> Iterator[Entry]:
    """One zone was entered twice."""
    (zone,) = pick(site, "zones", 1, lambda row: row["kind"] == "store", "identifier-repeated")
    add(site, "zones", **zone)
    yield entry(
        "identifier-repeated", "the same zone on two rows", table="zones", id=zone["zone_id"]
    )


def nowhere_door(site: Site) -> Iterator[Entry]:
    """The concierge's station is at a door that was renamed."""
    (station,) = pick(
        site, "stations", 1, lambda row: row["kind"] == "concierge", "reference-unknown"
    )
    station["door_id"] = "OLD-LODGE"
    yield entry(
        "reference-unknown",
        "no such door",
        table="stations",
        column="door_id",
        id=station["station_id"],
    )


def end_before_start(site: Site) -> Iterator[Entry]:
    """A permission of a former contractor ended before it began."""
    worker = person(
        site,
        role="contractor",
        status="departed",
        start_date=site.day(500),
        end_date=site.day(180),
    )
    row = permit(
        site,
        "person",
        worker["person_id"],
        site.day(480),
        door_group="G-LIFTS",
        schedule_id="S-WORK",
        valid_from=site.day(300),
        valid_to=site.day(480),
    )
    yield entry(
        "dates-reversed",
        "ended half a year before it began",
        table="permissions",
        id=row["permission_id"],
    )


def spreadsheet(site: Site) -> Iterator[Entry]:
    """Three numbers of spare cards that went through a spreadsheet."""
    rng = site.random("spreadsheet")
    digits = [str(rng.randrange(10**8, 10**9)) for _ in range(3)]
    for number, why in (
        (f"{rng.randint(101, 999) / 100}E+11", "written as a power of ten"),
        (f"{digits[0]}7.0", "written with a decimal"),
        (f"{digits[1]}{digits[2][:6]}000", "its last digits turned to noughts"),
    ):
        spare = card(
            site,
            site.random("spreadsheet"),
            2,
            None,
            status="stock",
            number=number,
            number_form="decimal",
        )
        yield entry("spreadsheet-damage", why, table="cards", column="number", id=spare["card_id"])


def kept_for_ever(site: Site) -> Iterator[Entry]:
    """A caretaker who left eight years ago is still in the register."""
    person(
        site,
        role="staff",
        status="departed",
        start_date=site.day(3400),
        end_date=site.day(3000),
    )
    yield entry("kept-too-long", "left eight years ago", table="people")


FAULTS: tuple[Fault, ...] = (
    kept_for_ever,
    holder_missing,
    words_of_their_own,
    zone_twice,
    nowhere_door,
    end_before_start,
    spreadsheet,
)
