"""Doors that nobody watches, that hold people in, or that are too few for them."""

from collections.abc import Collection, Iterator

from ..estate import door, member, zone
from ..rows import Entry, NoneLeftError, Row, Site, add, pick
from .ground import Fault, entry


def _one(site: Site, suffixes: tuple[str, ...], purpose: str, but: Collection[str] = ()) -> Row:
    """A door whose id ends so, none of `but`."""

    def fits(row: Row) -> bool:
        return row["door_id"].endswith(suffixes) and row["door_id"] not in but

    return pick(site, "doors", 1, fits, purpose)[0]


def _building(site: Site, purpose: str) -> str:
    """A building's id; a building may have several faults."""
    return site.random(purpose).choice(_buildings(site))


def _buildings(site: Site) -> list[str]:
    return [row["door_id"][:3] for row in site.tables["doors"] if row["door_id"].endswith("-MAIN")]


def _house(site: Site, prefix: str) -> Row:
    """The building that ids beginning so belong to."""
    return site.tables["buildings"][int(prefix[1:3]) - 1]


def _with_use(site: Site, use: str) -> list[str]:
    """The buildings of a use; NoneLeftError where the site has none."""
    rows = enumerate(site.tables["buildings"], 1)
    found = [f"B{place:02d}" for place, row in rows if row["use"] == use]
    if not found:
        raise NoneLeftError(use)
    return found


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
            "exit-input-without-monitor",
            "an exit input and no contact",
            door=unwatched["door_id"],
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
        # in sheltered housing a long opening time may be what people need
        late = seconds == "180"
        sheltered = [
            f"B{n:02d}-LIFT"
            for n, house in enumerate(site.tables["buildings"], 1)
            if late and house["use"] == "sheltered"
        ]
        bad = _one(site, (suffix,), f"held-open-alarm-unsuitable {suffix}", sheltered)
        bad["held_open_alarm_s"] = seconds
        yield entry(
            "held-open-alarm-unsuitable",
            f"{seconds} seconds" if seconds else "no alarm",
            door=bad["door_id"],
        )


def tests_overdue(site: Site) -> Iterator[Entry]:
    """A fire door checked more than a year ago, and one never."""
    for suffix, tested, why in (
        ("-PLANT", site.day(400), "checked more than a year ago"),
        ("-S0", "", "never checked"),
    ):
        late = _one(site, (suffix,), f"door-test-overdue {suffix}")
        late["fire_door_checked"] = tested
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
        {"lock": "strike", "power_loss": "stays-locked"},
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
        where = _buildings(site)
        if rule == "escape-door-without-alarm-release":  # only where there is an alarm
            where = [b for b in where if _house(site, b)["communal_alarm"] == "yes"]
            if not where:
                continue
        b = site.random(rule).choice(where)
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
    yield entry("only-way-out-not-marked", "the only door of the laundry", door=f"{b}-LAUNDRY")


def hall_with_one_door(site: Site) -> Iterator[Entry]:
    """A games room for seventy with a single door."""
    b = _building(site, "zone-with-one-way-out")
    zone(site, f"{b}-GAMES", "Games room", "common", 70, 2)
    door(
        site,
        f"{b}-GAMES",
        "Games room",
        f"{b}-GAMES",
        f"{b}-LOBBY",
        "hall",
        clear_width_mm="1050",
    )
    yield entry("zone-with-one-way-out", "seventy people and one door", zone=f"{b}-GAMES")


def gym_for_too_many(site: Site) -> Iterator[Entry]:
    """A gym for 130: with its wide exit out of use the other passes 110."""
    b = site.random("exit-capacity-short").choice(_with_use(site, "student-hall"))
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
    zone(site, f"{b}-YARD", "Yard", "court", 0, 1)
    door(
        site,
        f"{b}-YARD",
        "Yard barrier",
        f"{b}-YARD",
        "OUT",
        "hall",
        entry="card",
        lock="key",
        mechanical_exit="thumbturn",
        fire_minutes="0",
        escape_route="no",
    )
    yield entry("door-nobody-opens", "asks for a card, no permission names it", door=f"{b}-YARD")


def tests_of_releases(site: Site) -> Iterator[Entry]:
    """A manual release, an alarm link and a battery, each tested too long ago or never."""
    for rule, column, day, why in (
        ("release-test-overdue", "release_tested", site.day(400), "pressed over a year ago"),
        ("battery-test-overdue", "battery_tested", "", "no test on record"),
    ):
        late = pick(
            site,
            "doors",
            1,
            lambda row: row["lock"] == "magnet" and row["emergency_release"] == "yes",
            rule,
        )[0]
        late[column] = day
        yield entry(rule, why, door=late["door_id"])


def alarm_link_untested(site: Site) -> Iterator[Entry]:
    """In a building with a communal alarm, a lock whose release nobody has seen for a year."""
    late = pick(
        site,
        "doors",
        1,
        lambda row: (
            row["door_id"].startswith("B")
            and row["alarm_release"] == "yes"
            and _house(site, row["door_id"])["communal_alarm"] == "yes"
        ),
        "alarm-interface-test-overdue",
    )[0]
    late["alarm_interface_tested"] = site.day(380)
    yield entry("alarm-interface-test-overdue", "seen over a year ago", door=late["door_id"])


def wedged_open(site: Site) -> Iterator[Entry]:
    """A fire door held by a wedge."""
    held = pick(
        site,
        "doors",
        1,
        lambda row: row["fire_minutes"] == "30" and row["lock"] == "none",
        "hold-open-not-released",
    )[0]
    held["hold_open"] = "not-released"
    yield entry("hold-open-not-released", "nothing lets it go", door=held["door_id"])


def studio_under_key(site: Site) -> Iterator[Entry]:
    """A studio whose second way out needs a key, and one marked as kept locked besides."""
    b = _building(site, "escape-door-locked-by-key")
    key = {"entry": "key", "lock": "key", "mechanical_exit": "none", "clear_width_mm": "900"}
    door(site, f"{b}-KEYED", "Side exit under key", f"{b}-LOBBY", "OUT", "panic", **key)
    yield entry("escape-door-locked-by-key", "a key from inside", door=f"{b}-KEYED")
    odd = {"emergency_release": "yes"}
    door(site, f"{b}-ODD", "Side exit without a lock", f"{b}-LOBBY", "OUT", "panic", **odd)
    yield entry("hardware-contradicts-itself", "no lock, yet a release", door=f"{b}-ODD")


def lever_for_a_crowd(site: Site) -> Iterator[Entry]:
    """A room for ninety, half of whom leave by a lever."""
    b = _building(site, "panic-hardware-missing")
    zone(site, f"{b}-CLUB", "Club room", "common", 90, 2)
    door(site, f"{b}-CLUB-A", "Club room, exit", f"{b}-CLUB", "OUT", "panic")
    lever = {"lock": "bolt", "power_loss": "stays-locked", "mechanical_exit": "lever"}
    tested = {"battery_tested": site.day(60)}
    door(site, f"{b}-CLUB-B", "Club room, side", f"{b}-CLUB", "OUT", "panic", **lever, **tested)
    yield entry("panic-hardware-missing", "ninety people and a lever", door=f"{b}-CLUB-B")


def interlocked_exits(site: Site) -> Iterator[Entry]:
    """A lock of two doors in a row that no alarm undoes."""
    b = _building(site, "interlock-cannot-open")
    zone(site, f"{b}-AIRLOCK", "Draught lobby", "common", 0, 2)
    inner, outer = f"{b}-LOCK-A", f"{b}-LOCK-B"
    door(site, inner, "Draught lobby, inner", f"{b}-LOBBY", f"{b}-AIRLOCK", "panic",
         interlocked_with=outer, interlock_released="no", entry="none")  # fmt: skip
    door(site, outer, "Draught lobby, outer", f"{b}-AIRLOCK", "OUT", "panic",
         interlocked_with=inner, interlock_released="no")  # fmt: skip
    yield entry("interlock-cannot-open", "nothing undoes it", door=[inner, outer])


def no_way_in_for_the_fire_service(site: Site) -> Iterator[Entry]:
    """An entrance at which nothing lets the fire service in."""
    main = _one(site, ("-MAIN",), "responder-cannot-enter")
    main["responder_entry"] = "none"
    yield entry("responder-cannot-enter", "no key, switch, card or PIN", door=main["door_id"])


def annexe_without_doors(site: Site) -> Iterator[Entry]:
    """An annexe with people in it, of whose doors the register has none."""
    zone(site, "ANNEXE", "Annexe", "common", 6, 1)["building"] = "Annexe House"
    facts = {"use": "office", "evacuation": "simultaneous", "communal_alarm": "no"}
    facts |= {"detection": "no", "sprinklers": "no", "storeys": "1", "top_storey_m": "0"}
    add(site, "buildings", building="Annexe House", name="Annexe House", **facts)
    yield entry("door-schedule-incomplete", "no door of it is listed", building="Annexe House")


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
    studio_under_key,
    lever_for_a_crowd,
    interlocked_exits,
    annexe_without_doors,
)
LAST: tuple[Fault, ...] = (
    no_way_in_for_the_fire_service,
    tests_of_releases,
    alarm_link_untested,
    wedged_open,
)
"""Those that nearly any door will do for: when the others have theirs."""
