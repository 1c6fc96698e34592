"""What the faults share: households to choose from, and what happens when somebody leaves."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from ..codes import as_logged
from ..events import record
from ..rows import Entry, NoneLeftError, Row, Site, grouped, live

Fault = Callable[[Site], Iterator[Entry]]

AFTER_READ_BACK = 1  # days ago: what is handed out now cannot be at the controllers yet


@dataclass
class Home:
    """A dwelling with who lives there now and what opens its doors."""

    dwelling: Row
    residents: list[Row]
    cards: dict[str, list[Row]]  # live cards of each resident
    own_pins: dict[str, list[Row]]  # live personal and duress PINs of each resident
    household_pins: list[Row]  # live PINs of the dwelling itself
    others: int  # former, expected and visiting people

    @property
    def id(self) -> str:
        """The dwelling's id."""
        return self.dwelling["dwelling_id"]

    @property
    def building(self) -> str:
        """The id of the building."""
        return self.id.split("-")[0]

    @property
    def reader_door(self) -> bool:
        """Whether the flat's own door asks for a card."""
        return self.building == "B01"

    @property
    def pins(self) -> list[Row]:
        """Every live PIN of the household."""
        return self.household_pins + [pin for pins in self.own_pins.values() for pin in pins]


def entry(rule: str, why: str, **subjects: str | list[str]) -> Entry:
    """A line of the key; a list is sorted, one subject becomes a list of one."""
    return Entry(
        rule,
        {key: [of] if isinstance(of, str) else sorted(of) for key, of in subjects.items()},
        why,
    )


def homes(
    site: Site, count: int, fits: Callable[[Home], bool], purpose: str, pins: bool = False
) -> list[Home]:
    """Occupied dwellings that no other fault has used, marked as used with their residents.

    With `pins`, their PINs are marked too, and homes with a used PIN are passed over.
    Raises NoneLeftError where there are too few.
    """
    found = [
        home
        for home in _all_homes(site)
        if home.residents
        and home.id not in site.taken
        and not any(person["person_id"] in site.taken for person in home.residents)
        and not (pins and any(pin["pin_id"] in site.taken for pin in home.pins))
        and fits(home)
    ]
    if len(found) < count:
        raise NoneLeftError(purpose)
    chosen = site.random(purpose).sample(found, count)
    for home in chosen:
        site.taken.add(home.id)
        site.taken.update(person["person_id"] for person in home.residents)
        for cards in home.cards.values():
            site.taken.update(card["card_id"] for card in cards)
        if pins:
            site.taken.update(pin["pin_id"] for pin in home.pins)
    return chosen


def _all_homes(site: Site) -> list[Home]:
    today = site.as_of.isoformat()
    people = grouped(site.tables["people"], "dwelling_id")
    cards = grouped((row for row in site.tables["cards"] if live(row, today)), "person_id")
    pins = [row for row in site.tables["pins"] if live(row, today)]
    own, household = grouped(pins, "person_id"), grouped(pins, "dwelling_id")
    found = []
    for dwelling in site.tables["dwellings"]:
        everybody = people.get(dwelling["dwelling_id"], [])
        residents = [
            row
            for row in everybody
            if row["role"] == "resident" and row["status"] in ("current", "")
        ]
        ids = [row["person_id"] for row in residents]
        found.append(
            Home(
                dwelling,
                residents,
                {person: cards.get(person, []) for person in ids},
                {person: own.get(person, []) for person in ids},
                [r for r in household.get(dwelling["dwelling_id"], []) if not r["person_id"]],
                len(everybody) - len(residents),
            )
        )
    return found


def read_back_of(site: Site, credential: Row) -> list[Row]:
    """The rows of `loaded` that hold a card or PIN."""
    if "card_id" in credential:
        kind, names = "card", {as_logged(credential).upper()}
    else:
        kind, names = "pin", {credential["pin_id"].upper(), credential["pin"]}
    return [
        row
        for row in site.tables["loaded"]
        if row["credential_kind"] == kind and row["number"].replace(":", "").upper() in names
    ]


def unload(site: Site, credential: Row) -> None:
    """Take a card or PIN out of every controller."""
    gone = {id(row) for row in read_back_of(site, credential)}
    site.tables["loaded"] = [row for row in site.tables["loaded"] if id(row) not in gone]


def unused_since(site: Site, credential: Row, last: str) -> None:
    """No granted event of a card or PIN after an ISO date, nor a last use."""
    column, name = (
        ("card_number", as_logged(credential))
        if "card_id" in credential
        else ("pin_id", credential["pin_id"])
    )
    site.tables["events"] = [
        row
        for row in site.tables["events"]
        if not (row[column] == name and row["event"] == "granted" and row["time"][:10] > last)
    ]
    if credential.get("last_used", "") > last:
        credential["last_used"] = last


def depart(site: Site, home: Home, person: Row, ago: int) -> None:
    """Somebody of a household leaves; nobody takes the card or PIN back."""
    person["status"], person["end_date"] = "departed", site.day(ago)
    ids = person["person_id"]
    for credential in home.cards[ids] + home.own_pins[ids]:
        unused_since(site, credential, site.day(ago))


def moment(site: Site, ago: int, clock: str, seconds: int = 0) -> datetime:
    """A local time so many days before the as-of date."""
    at = datetime.combine(site.as_of - timedelta(days=ago), time.fromisoformat(clock))
    return at + timedelta(seconds=seconds)


def happened(
    site: Site,
    ago: int,
    clock: str,
    door: str,
    event: str,
    card: str = "",
    pin: str = "",
    seconds: int = 0,
) -> Row:
    """Add an event so many days ago."""
    return record(site, moment(site, ago, clock, seconds), door, event, card, pin)


def door_id(home: Home, place: str) -> str:
    """A door of the home's building, such as `MAIN`."""
    return f"{home.building}-{place}"
