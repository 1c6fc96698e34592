"""Controllers that hold something else than the register says."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta

from ..codes import as_logged, new_code, new_number
from ..rows import READ_BACK_DAYS, Entry, NoneLeftError, Row, Site, add, index, live, pick
from .ground import Fault, entry, read_back_of


def _first_building(site: Site) -> str:
    return site.tables["dwellings"][0]["dwelling_id"].split("-")[0]


def _load(site: Site, door: str, kind: str, number: str, valid_to: str = "") -> None:
    add(
        site,
        "loaded",
        door_id=door,
        credential_kind=kind,
        number=number,
        valid_to=valid_to,
        read_on=site.day(READ_BACK_DAYS),
    )


def unknown_at_the_door(site: Site) -> Iterator[Entry]:
    """A card and a PIN that no register knows."""
    b = _first_building(site)
    number, _ = new_number(site, site.random("unknown card"), "decimal")
    _load(site, f"{b}-MAIN", "card", number)
    _load(site, f"{b}-PARCEL", "pin", new_code(site, site.random("loaded-unknown")))
    yield entry("loaded-unknown", "in no register", door=f"{b}-MAIN", number=number)
    yield entry(
        "loaded-unknown", "a PIN in no register", door=f"{b}-PARCEL", number="pin, not shown"
    )


def at_a_door_not_permitted(site: Site) -> Iterator[Entry]:
    """A resident's card stands at the plant room, where it has no business."""
    today = site.as_of.isoformat()
    people = index(site.tables["people"], "person_id")
    (held,) = pick(
        site,
        "cards",
        1,
        lambda row: (
            row["person_id"] in people
            and row["person_id"] not in site.taken
            and people[row["person_id"]]["role"] == "resident"
            and people[row["person_id"]]["status"] in ("current", "")
            and live(row, today)
            and row["issued_on"] < site.day(READ_BACK_DAYS)
        ),
        "loaded-without-permission",
    )
    site.taken.add(held["person_id"])
    door = f"{held['dwelling_id'].split('-')[0]}-PLANT"
    _load(site, door, "card", as_logged(held), held["valid_to"])
    yield entry(
        "loaded-without-permission",
        "no permission for the plant room",
        door=door,
        card=held["card_id"],
    )


def another_end(site: Site) -> Iterator[Entry]:
    """A door keeps a card for two months longer than the register."""
    held = next(
        row
        for row in site.tables["cards"]
        if row["valid_to"]
        and read_back_of(site, row)
        and row["status"] == "active"
        and row["card_id"] not in site.taken
    )
    row: Row = read_back_of(site, held)[0]
    row["valid_to"] = (date.fromisoformat(held["valid_to"]) + timedelta(days=60)).isoformat()
    yield entry(
        "loaded-validity-differs",
        "ends two months later at the door",
        door=row["door_id"],
        card=held["card_id"],
    )


def read_long_ago(site: Site) -> Iterator[Entry]:
    """The office's door was last read forty days ago."""
    door = f"{_first_building(site)}-OFFICE"
    rows = [row for row in site.tables["loaded"] if row["door_id"] == door]
    if not rows:
        raise NoneLeftError("read-back-old")
    for row in rows:
        row["read_on"] = site.day(40)
    yield entry("read-back-old", "read forty days ago", door=door)


def logged_without_facility(site: Site) -> Iterator[Entry]:
    """The log writes the cards of one stock without their facility code."""
    cards = [row for row in site.tables["cards"] if "," in as_logged(row)]
    short = {as_logged(row): as_logged(row).split(",")[1] for row in cards}
    times = Counter(short[as_logged(row)] for row in cards)
    others = {row["number"] for row in site.tables["cards"]} - {row["number"] for row in cards}
    today = site.as_of.isoformat()
    plain = {
        as_logged(row)
        for row in cards
        if live(row, today)
        and times[short[as_logged(row)]] == 1
        and short[as_logged(row)] not in others
    }
    used = {row["card_number"] for row in site.tables["events"]} & plain
    if len(used) < 8:  # fewer are too few to tell a form by
        raise NoneLeftError("read-back-in-another-form")
    for row in site.tables["events"]:
        if row["card_number"] in used:
            row["card_number"] = short[row["card_number"]]
    yield entry(
        "read-back-in-another-form",
        "numbers without their facility code",
        table="events",
        column="card_number",
    )


LAST: tuple[Fault, ...] = (logged_without_facility,)
FAULTS: tuple[Fault, ...] = (
    read_long_ago,
    unknown_at_the_door,
    at_a_door_not_permitted,
    another_end,
)
