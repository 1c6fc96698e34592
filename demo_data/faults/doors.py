"""Doors that nobody watches, that hold people in, or that are too few for them."""

from collections.abc import Iterator

from ..estate import door, member, zone
from ..rows import Entry, Row, Site, pick
from .ground import Fault, entry


def _one(site: Site, suffixes: tuple[str, ...], purpose: str) -> Row:
    """A door whose id ends so."""
    return pick(site, "doors", 1, lambda row: row["door_id"].endswith(suffixes), purpose)[0]


def _building(site: Site, purpose: str) -> str:
    """A building's id; a building may have several faults."""
    return site.random(purpose).choice(_buildings(site))


def _buildings(site: Site) -> list[str]:
    return [row["door_id"][:3] for row in site.tables["doors"] if row["door_id"].endswith("-MAIN")]


def exit_input_unwatched(site: Site) -> Iterator[Entry]:
    """Doors with a button or a handle switch, and nothing that tells whether they closed."""
    for suffix in ("-STORE", "-CP", "-PLANT", "-PARCEL"):
        unwatched = _one(site, (suffix,), f"exit-input-without-monitor {suffix}")
        unwatched["status_monitor"], unwatched["held_open_alarm_s"] = "none", ""
        site.tables["events"] = [
            row
            for row in site.tables["events"]
            if row["door_id"] != unwatched["door_id"] or row["event"] in ("granted", "exit")
        ]
        yield entry(
            "exit-input-without-monitor", "an exit input and no contact", door=unwatched["door_id"]
        )


def flat_door_unwatched(site: Site) -> Iterator[Entry]:
    """A flat's reader door without contact: no exit input, but a grade 2 zone."""
    unwatched = pick(
        site,
        "doors",
        1,
        lambda row: row["door_id"].endswith("-D") and row["entry"] == "card",
        "controlled-door-without-monitor",
    )[0]
    unwatched["status_monitor"], unwatched["held_open_alarm_s"] = "none", ""
    site.tables["events"] = [
        row
        for row in site.tables["events"]
        if row["door_id"] != unwatched["door_id"] or row["event"] in ("granted", "exit")
    ]
    yield entry(
        "controlled-door-without-monitor",
        "a lock, a grade 2 zone, no contact",
        door=unwatched["door_id"],
    )


def held_open_alarm(site: Site) -> Iterator[Entry]:
    """An alarm too soon, one too late, and none."""
    for suffix, seconds in (("-REAR", "5"), ("-LIFT", "180"), ("-STORE", "")):
        bad = _one(site, (suffix,), f"held-open-alarm-unsuitable {suffix}")
        bad["held_open_alarm_s"] = seconds
        yield entry(
            "held-open-alarm-unsuitable",
            f"{seconds} seconds" if seconds else "no alarm",
            door=bad["door_id"],
        )


def tests_overdue(site: Site) -> Iterator[Entry]:
    """An escape door tested more than a year ago, a fire door never."""
    for suffix, tested, why in (
        ("-REAR", site.day(400), "tested more than a year ago"),
        ("-S0", "", "never tested"),
    ):
        late = _one(site, (suffix,), f"door-test-overdue {suffix}")
        late["last_tested"] = tested
        yield entry("door-test-overdue", why, door=late["door_id"])


def fire_doors(site: Site) -> Iterator[Entry]:
    """A fire door that stays open, and one whose strike lets go of it without power."""
    stays = pick(
        site,
        "doors",
        1,
        lambda row: row["fire_minutes"] == "30" and row["lock"] == "none",
        "not self-closing",
    )[0]
    stays["self_closing"] = "no"
    yield entry("fire-door-not-self-closing", "a fire door without closer", door=stays["door_id"])
    loose = _one(site, ("-OFFICE",), "fire-door-may-unlatch")
    loose["power_loss"] = "unlocks"
    yield entry(
        "fire-door-may-unlatch",
        "a fire door on a strike that unlocks without power",
        door=loose["door_id"],
    )


# what a side exit lacks; by itself it would be in order
SIDE_EXITS = (
    (
        "escape-door-needs-credential", "who leaves is asked for a card",
        {"exit_reader": "yes", "exit_input": "none"},
    ),
    (
        "escape-door-locked-without-power", "stays locked without power",
        {"power_loss": "stays-locked"},
    ),
    (
        "escape-door-without-emergency-release", "nothing cuts the lock's power",
        {"emergency_release": "no"},
    ),
    (
        "escape-door-without-alarm-release", "the fire alarm leaves it locked",
        {"alarm_release": "no"},
    ),
    ("escape-door-delayed", "opens after half a minute", {"exit_delay_s": "30"}),
    ("exit-too-narrow", "narrower than any escape door may be", {"clear_width_mm": "700"}),
)  # fmt: skip


def way_out_of_the_lobby(site: Site) -> Iterator[Entry]:
    """Second ways out of a lobby, each with one thing missing; the entrance remains."""
    for nth, (rule, why, cells) in enumerate(SIDE_EXITS, 1):
        b = _building(site, rule)
        side = f"{b}-SIDE{nth}"
        door(site, side, f"Side exit {nth}", f"{b}-LOBBY", "OUT", "escape", **cells)
        yield entry(rule, why, door=side)


def hall_door_opens_inward(site: Site) -> Iterator[Entry]:
    """Eighty people in the hall depend on a door that opens against them."""
    bad = _one(site, ("-HALL-EXIT",), "escape-door-opens-inward")
    bad["opens_with_escape"] = "no"
    yield entry("escape-door-opens-inward", "eighty people depend on it", door=bad["door_id"])


def laundry_holds_people(site: Site) -> Iterator[Entry]:
    """A laundry that can only be left with a card, unless the alarm rings."""
    b = _building(site, "zone-without-way-out")
    zone(site, f"{b}-LAUNDRY", "Laundry", "common", 8, 2)
    door(
        site,
        f"{b}-LAUNDRY",
        "Laundry",
        f"{b}-LAUNDRY",
        f"{b}-LOBBY",
        "from-car-park",
        exit_input="none",
        exit_reader="yes",
        escape_route="no",
        emergency_release="no",
    )
    member(site, "G-STAFF", f"{b}-LAUNDRY")
    yield entry(
        "zone-without-way-out",
        "cannot be left without a card in normal running",
        zone=f"{b}-LAUNDRY",
    )


def hall_with_one_door(site: Site) -> Iterator[Entry]:
    """A games room for seventy with a single door."""
    b = _building(site, "zone-with-one-way-out")
    zone(site, f"{b}-GAMES", "Games room", "common", 70, 2)
    door(
        site, f"{b}-GAMES", "Games room", f"{b}-GAMES", f"{b}-LOBBY", "hall", clear_width_mm="1050"
    )
    yield entry("zone-with-one-way-out", "seventy people and one door", zone=f"{b}-GAMES")


def gym_for_too_many(site: Site) -> Iterator[Entry]:
    """A gym for 130: with its wide exit out of use the other passes 110."""
    b = _building(site, "exit-capacity-short")
    zone(site, f"{b}-GYM", "Gym", "common", 130, 2)
    door(site, f"{b}-GYM", "Gym", f"{b}-GYM", f"{b}-LOBBY", "hall")
    door(site, f"{b}-GYM-EXIT", "Gym exit", f"{b}-GYM", "OUT", "panic")
    yield entry(
        "exit-capacity-short",
        "130 people, 110 pass with the widest exit out of use",
        zone=f"{b}-GYM",
    )


def reader_that_nobody_passes(site: Site) -> Iterator[Entry]:
    """A barrier with a reader on the way to the bicycles, of which no card knows."""
    b = _building(site, "door-nobody-opens")
    zone(site, f"{b}-YARD", "Yard", "common", 0, 1)
    door(
        site,
        f"{b}-YARD",
        "Yard barrier",
        f"{b}-YARD",
        "OUT",
        "hall",
        entry="card",
        fire_minutes="0",
        escape_route="no",
    )
    yield entry("door-nobody-opens", "asks for a card, no permission names it", door=f"{b}-YARD")


FAULTS: tuple[Fault, ...] = (
    exit_input_unwatched,
    flat_door_unwatched,
    held_open_alarm,
    tests_overdue,
    fire_doors,
    way_out_of_the_lobby,
    hall_door_opens_inward,
    laundry_holds_people,
    hall_with_one_door,
    gym_for_too_many,
    reader_that_nobody_passes,
)
