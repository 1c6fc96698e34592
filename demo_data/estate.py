"""What stands still: buildings, zones, doors, door groups, schedules, calendars, stations.

The zones and doors of one building, `D` a door free to leave:

    outside -D- lobby (ground floor) -D- stair -D- landing of each floor, flats on either
    outside -D- stair (panic exit)      lobby -D- parcel room, lift, plant, car park
    outside -D- bin and bike store      outside -D- car park (its own panic exit)
"""

import random
from dataclasses import dataclass
from datetime import date, timedelta

from .rows import Row, Site, add

PLANTS = [
    "Sorrel",
    "Teasel",
    "Oxlip",
    "Fescue",
    "Tansy",
    "Melilot",
    "Woodruff",
    "Burnet",
    "Campion",
    "Yarrow",
    "Betony",
    "Comfrey",
]

TIMEZONE = "Europe/Dublin"
UNITS = 50
"""The most units on a controller, by the invented data sheet."""

# how the doors of this estate are made; a fault changes a cell of one door
FREE = {
    "entry": "none", "lock": "none", "exit_input": "none", "mechanical_exit": "lever",
    "exit_reader": "no", "emergency_release": "no", "alarm_release": "no",
    "status_monitor": "none", "escape_route": "yes",
    "opens_with_escape": "yes", "clear_width_mm": "850", "fire_minutes": "30",
    "self_closing": "yes", "kept_locked": "no", "hold_open": "none", "exit_delay_s": "0",
    "interlock_released": "yes",
}  # fmt: skip
MONITORED = {"status_monitor": "contact", "held_open_alarm_s": "30"}
MAGNET = FREE | MONITORED | {
    "entry": "card", "lock": "magnet", "power_loss": "unlocks", "exit_input": "button",
    "mechanical_exit": "none", "emergency_release": "yes", "alarm_release": "yes",
    "clear_width_mm": "1050", "fire_minutes": "0",
}  # fmt: skip
LATCHED = FREE | MONITORED | {
    "entry": "card", "lock": "motor", "power_loss": "stays-locked",
    "exit_input": "handle-switch",
}  # fmt: skip
USES = (
    {
        "use": "flats", "evacuation": "stay-put", "communal_alarm": "no", "detection": "no",
        "sprinklers": "no",
    },
    {
        "use": "sheltered", "evacuation": "simultaneous", "communal_alarm": "yes",
        "detection": "yes", "sprinklers": "no",
    },
    {
        "use": "student-hall", "evacuation": "phased", "communal_alarm": "yes",
        "detection": "yes", "sprinklers": "yes",
    },
)  # fmt: skip
"""The facts of the buildings, in turn: what they are used for decides which limits hold."""

PROFILES: dict[str, dict[str, str]] = {
    "entrance": MAGNET | {
        "entry": "card-or-pin", "held_open_alarm_s": "45", "responder_entry": "key",
    },
    "escape": MAGNET | {"entry": "closed", "held_open_alarm_s": "20"},
    "panic": FREE | MONITORED | {
        "entry": "closed", "mechanical_exit": "bar",
        "clear_width_mm": "1050", "fire_minutes": "0",
    },
    "bolted-panic": FREE | MONITORED | {
        "entry": "closed", "lock": "bolt", "power_loss": "stays-locked",
        "mechanical_exit": "bar", "status_monitor": "contact-and-bolt",
        "clear_width_mm": "1050", "fire_minutes": "0",
    },
    "stair": FREE,
    "hall": FREE | {"mechanical_exit": "pad", "clear_width_mm": "900"},
    "lift": LATCHED | {
        "exit_input": "button", "mechanical_exit": "none", "fire_minutes": "0",
        "escape_route": "no", "clear_width_mm": "900", "held_open_alarm_s": "60",
    },
    "store": MAGNET | {"clear_width_mm": "900"},
    "parcel": LATCHED | {"entry": "pin", "lock": "strike"},
    "office": LATCHED | {"lock": "strike"},
    "plant": LATCHED | {"status_monitor": "contact-and-bolt", "fire_minutes": "60"},
    "comms": LATCHED | {
        "entry": "card-and-pin", "lock": "bolt", "status_monitor": "contact-and-bolt",
        "fire_minutes": "60",
    },
    "gate": MAGNET | {
        "lock": "motor", "exit_input": "sensor", "emergency_release": "no",
        "alarm_release": "no", "escape_route": "no",
        "clear_width_mm": "2600", "held_open_alarm_s": "60",
    },
    "from-car-park": MAGNET | {"clear_width_mm": "900"},
    "flat-reader": LATCHED | {
        "exit_input": "none", "escape_route": "yes", "opens_with_escape": "no",
        "clear_width_mm": "800", "held_open_alarm_s": "15",
    },
    "flat-key": FREE | {
        "entry": "key", "mechanical_exit": "thumbturn", "opens_with_escape": "no",
        "clear_width_mm": "800",
    },
}  # fmt: skip


@dataclass(frozen=True)
class Building:
    """One building: its id, name, and `(floor, unit)` of each flat."""

    id: str
    name: str
    flats: tuple[tuple[int, int], ...]
    own_doors: str  # "flat-reader", "flat-key", or "" where flat doors are not in the register

    @property
    def floors(self) -> int:
        """How many floors carry flats."""
        return max(floor for floor, _ in self.flats) + 1


def buildings(dwellings: int, seed: int) -> list[Building]:
    """Share flats among buildings of at most 32, four or eight to a floor."""
    count = 1 if dwellings < 6 else 2 if dwellings < 24 else max(3, -(-dwellings // 32))
    shares = [dwellings // count + (place < dwellings % count) for place in range(count)]
    plants = random.Random(f"{seed}/buildings").sample(PLANTS, len(PLANTS))
    found = []
    for place, share in enumerate(shares):
        across = 4 if share <= 24 else 8
        storey = place // len(PLANTS)
        found.append(
            Building(
                id=f"B{place + 1:02d}",
                name=f"{plants[place % len(PLANTS)]} House" + (f" {storey + 1}" if storey else ""),
                flats=tuple((flat // across, flat % across + 1) for flat in range(share)),
                own_doors={0: "flat-reader", 1: "flat-key"}.get(place, ""),
            )
        )
    return found


def flat_id(building: Building, floor: int, unit: int) -> str:
    """The dwelling's id, such as `B02-304`."""
    return f"{building.id}-{floor}{unit:02d}"


def landing(building: Building, floor: int) -> str:
    """The zone in front of the flats of a floor; the ground floor's is the lobby."""
    return f"{building.id}-F{floor}" if floor else f"{building.id}-LOBBY"


def zone(
    site: Site, zone_id: str, name: str, kind: str, occupants: int, grade: int, floor: int = 0
) -> Row:
    """Add a zone, of the building that its id begins with; only the open air is safe here."""
    houses = site.tables["buildings"]
    place = int(zone_id[1:3]) if zone_id[:1] == "B" and zone_id[1:3].isdigit() else 1
    return add(
        site,
        "zones",
        zone_id=zone_id,
        name=name,
        kind=kind,
        building="" if kind == "outside" else houses[place - 1]["building"],
        floor="" if kind == "outside" else str(floor),
        occupants=str(occupants),
        place_of_safety="yes" if kind == "outside" else "no",
        security_grade=str(grade),
    )


def door(
    site: Site, door_id: str, name: str, inside: str, outside: str, profile: str, **cells: str
) -> Row:
    """Add a door of a profile, tested some time in the last five months."""
    tested = site.day(site.random(f"tested/{door_id}").randint(10, 150))
    days = dict.fromkeys(("last_tested", "fire_door_checked"), tested)
    made = PROFILES[profile] | days
    if made["lock"] in ("magnet", "strike", "bolt", "motor"):
        proved = ("release_tested", "alarm_interface_tested", "battery_tested")
        made |= dict.fromkeys(proved, tested)
    made |= cells
    return add(
        site,
        "doors",
        door_id=door_id,
        name=name,
        inside_zone=inside,
        outside_zone=outside,
        **made,
    )


def member(site: Site, group: str, member_id: str, kind: str = "door") -> None:
    """Put a door or a group into a door group."""
    add(site, "door_groups", door_group=group, member_kind=kind, member_id=member_id)


def build(site: Site, houses: list[Building]) -> None:
    """Every table that has no people in it, `dwellings` apart from who lives there."""
    _times(site)
    for place, house in enumerate(houses):
        add(
            site,
            "buildings",
            building=house.name,
            name=house.name,
            top_storey_m=str(3 * (house.floors - 1)),
            storeys=str(house.floors),
            all_exits_listed="yes",
            **USES[place % len(USES)],
        )
    zone(site, "OUT", "Open air", "outside", 0, 1)
    zone(site, "CP", "Car park", "parking", 40, 1)
    door(site, "CP-GATE", "Car park gate", "CP", "OUT", "gate")
    door(site, "CP-EXIT", "Car park emergency exit", "CP", "OUT", "panic")
    for house in houses:
        _common_parts(site, house, first=house is houses[0])
        _flats(site, house)
        _stations(site, house)
    _groups(site, houses)
    add(
        site,
        "stations",
        station_id="CON-1",
        kind="concierge",
        number="900",
        address="10.40.0.1",
        network="site",
        time_source="network",
        timezone=TIMEZONE,
        admin_code="changed",
    )


def _times(site: Site) -> None:
    for schedule, days, start, end, calendar in (
        ("S-DAY", "daily", "05:30", "23:30", ""),
        ("S-VISIT", "daily", "07:00", "23:00", ""),
        ("S-STAFF", "mon-fri", "06:30", "12:30", "PUBLIC"),
        ("S-STAFF", "mon-fri", "13:00", "19:00", "PUBLIC"),
        ("S-STAFF", "sat", "08:00", "13:00", "PUBLIC"),
        ("S-STAFF", "holiday", "09:00", "12:00", "PUBLIC"),
        ("S-NIGHT", "daily", "19:30", "06:00", ""),
        ("S-WORK", "mon-fri", "08:00", "17:00", "PUBLIC"),
        ("S-DELIVERY", "mon-fri sat", "07:00", "20:00", "PUBLIC"),
        ("S-LOBBY", "mon-fri", "08:30", "17:30", "PUBLIC"),
    ):
        add(
            site,
            "schedules",
            schedule_id=schedule,
            days=days,
            start=start,
            end=end,
            calendar=calendar,
        )
    for day, name in holidays(site.as_of):
        add(site, "calendars", calendar="PUBLIC", date=day.isoformat(), name=name)


def holidays(as_of: date) -> list[tuple[date, str]]:
    """The invented site's days off, last year to the year after next."""
    found = []
    for year in range(max(as_of.year - 1, 1), as_of.year + 3):
        may = date(year, 5, 1)
        found += [
            (date(year, 1, 1), "New Year"),
            (may + timedelta(days=-may.weekday() % 7), "First Monday of May"),
            (date(year, 12, 25), "Christmas Day"),
            (date(year, 12, 26), "Day after Christmas"),
        ]
    return found


def _common_parts(site: Site, house: Building, first: bool) -> None:
    b, name = house.id, house.name
    zone(site, f"{b}-LOBBY", f"{name}, lobby", "common", 12, 2)
    zone(site, f"{b}-STAIR", f"{name}, stair", "stair", 0, 2)
    zone(site, f"{b}-LIFT", f"{name}, lift car", "common", 0, 2)
    zone(site, f"{b}-PARCEL", f"{name}, parcel room", "store", 2, 2)
    zone(site, f"{b}-STORE", f"{name}, bins and bicycles", "store", 4, 1)
    zone(site, f"{b}-PLANT", f"{name}, plant room", "plant", 2, 3)
    main = door(site, f"{b}-MAIN", f"{name}, entrance", f"{b}-LOBBY", "OUT", "entrance")
    door(site, f"{b}-REAR", f"{name}, stair exit", f"{b}-STAIR", "OUT", "panic")
    door(site, f"{b}-S0", f"{name}, stair from the lobby", f"{b}-STAIR", f"{b}-LOBBY", "stair")
    door(site, f"{b}-LIFT", f"{name}, lift", f"{b}-LIFT", f"{b}-LOBBY", "lift")
    door(site, f"{b}-PARCEL", f"{name}, parcel room", f"{b}-PARCEL", f"{b}-LOBBY", "parcel")
    door(site, f"{b}-STORE", f"{name}, bins and bicycles", f"{b}-STORE", "OUT", "store")
    door(site, f"{b}-PLANT", f"{name}, plant room", f"{b}-PLANT", f"{b}-LOBBY", "plant")
    door(site, f"{b}-CP", f"{name}, from the car park", f"{b}-LOBBY", "CP", "from-car-park")
    for floor in range(1, house.floors):
        zone(site, landing(house, floor), f"{name}, floor {floor}", "common", 4, 2, floor)
        door(
            site,
            f"{b}-S{floor}",
            f"{name}, stair at floor {floor}",
            landing(house, floor),
            f"{b}-STAIR",
            "stair",
            opens_with_escape="yes",
        )
    if not first:
        return
    main["unlock_schedule"] = "S-LOBBY"
    office = zone(site, f"{b}-OFFICE", f"{name}, estate office", "common", 3, 2)
    office["use"], office["tenancy"] = "office", "Estate office"
    zone(site, f"{b}-COMMS", f"{name}, communications room", "plant", 1, 3)
    zone(site, f"{b}-HALL", f"{name}, residents' hall", "common", 80, 2)
    door(site, f"{b}-OFFICE", f"{name}, estate office", f"{b}-OFFICE", f"{b}-LOBBY", "office")
    door(site, f"{b}-COMMS", f"{name}, communications room", f"{b}-COMMS", f"{b}-LOBBY", "comms")
    inner, outer = f"{b}-HALL", f"{b}-HALL-EXIT"
    door(site, inner, f"{name}, hall from the lobby", f"{b}-HALL", f"{b}-LOBBY", "hall")
    door(site, outer, f"{name}, hall exit", f"{b}-HALL", "OUT", "bolted-panic")
    for one, other in ((f"{b}-OFFICE", f"{b}-COMMS"), (f"{b}-COMMS", f"{b}-OFFICE")):
        next(r for r in site.tables["doors"] if r["door_id"] == one)["interlocked_with"] = other
    add(
        site,
        "locks",
        door_id=f"{b}-COMMS",
        lock_id="lower bolt",
        lock="bolt",
        power_loss="stays-locked",
        exit_input="handle-switch",
        mechanical_exit="lever",
        exit_reader="no",
        emergency_release="no",
        alarm_release="no",
    )


def _flats(site: Site, house: Building) -> None:
    across = max(unit for _, unit in house.flats)
    for floor, unit in house.flats:
        dwelling = flat_id(house, floor, unit)
        front = landing(house, floor)
        if house.own_doors:
            zone(
                site,
                f"{dwelling}-Z",
                f"{house.name}, flat {floor}{unit:02d}",
                "dwelling",
                3,
                2,
                floor,
            )
            door(
                site,
                f"{dwelling}-D",
                f"{house.name}, flat {floor}{unit:02d}",
                f"{dwelling}-Z",
                front,
                house.own_doors,
            )
        add(
            site,
            "dwellings",
            dwelling_id=dwelling,
            building=house.name,
            core="A" if across == 4 or unit <= 4 else "B",
            floor=str(floor),
            number=f"{floor}{unit:02d}",
            zone_id=f"{dwelling}-Z" if house.own_doors else front,
            occupied="yes",
        )


def _groups(site: Site, houses: list[Building]) -> None:
    for house in houses:
        b = house.id
        for place in ("MAIN", "LIFT", "PARCEL"):
            member(site, f"G-{b}-COMMON", f"{b}-{place}")
        member(site, f"G-{b}-RES", f"G-{b}-COMMON", "door_group")
        member(site, f"G-{b}-RES", f"{b}-CP")
        for place in ("MAIN", "PARCEL"):
            member(site, f"G-{b}-PARCELS", f"{b}-{place}")
        member(site, f"G-{b}-PLANT", f"{b}-PLANT")
        member(site, f"G-{b}-SERVICE", f"G-{b}-PLANT", "door_group")
        for place in ("LIFT", "STORE"):
            member(site, f"G-{b}-SERVICE", f"{b}-{place}")
        member(site, "G-STAFF", f"G-{b}-RES", "door_group")
        member(site, "G-STAFF", f"G-{b}-SERVICE", "door_group")
        member(site, "G-LIFTS", f"{b}-MAIN")
        member(site, "G-LIFTS", f"{b}-LIFT")
        member(site, "G-LIFTS", f"G-{b}-PLANT", "door_group")
        member(site, "G-RESPONSE", f"{b}-MAIN")
        member(site, "G-RESPONSE", f"G-{b}-PLANT", "door_group")
        member(site, "G-MAINS", f"{b}-MAIN")
    member(site, "G-PARK", "CP-GATE")
    member(site, "G-STAFF", "G-PARK", "door_group")
    member(site, "G-STAFF", f"{houses[0].id}-OFFICE")
    member(site, "G-STAFF", f"{houses[0].id}-COMMS")
    add(site, "door_groups", door_group="G-SPARE")


def _stations(site: Site, house: Building) -> None:
    b = house.id
    made = 0

    def station(station_id: str, kind: str, **cells: str) -> None:
        nonlocal made
        made += 1
        source = "network" if kind in ("controller", "entrance-panel") else "controller"
        add(
            site,
            "stations",
            **{
                "station_id": station_id,
                "kind": kind,
                "network": f"net-{b}",
                "address": f"10.30.{made // 200}.{made % 200 + 10}",
                "time_source": source,
                "timezone": TIMEZONE,
                "admin_code": "changed",
            }
            | cells,
        )

    # the panel has the first port of the first controller, that supplies enough power; units follow
    for place in range(-(-(len(house.flats) + 1) // UNITS)):
        station(
            f"CTL-{b}-{place + 1}",
            "controller",
            controller_id=f"CTL-{b}-{place}" if place else "",
        )
    station(
        f"EP-{b}",
        "entrance-panel",
        number="0",
        door_id=f"{b}-MAIN",
        controller_id=f"CTL-{b}-1",
        port="1",
        timezone="Europe/London" if b == "B02" else TIMEZONE,  # the same offset all year
    )
    station(f"SP-{b}-1", "secondary-panel", number="1", main_id=f"EP-{b}", door_id=f"{b}-CP")
    rng = site.random(f"stations/{b}")
    for place, (floor, unit) in enumerate(house.flats):
        dwelling = flat_id(house, floor, unit)
        first = place + 2  # beside the panel
        controller, port = (
            (1, first)
            if first <= UNITS
            else (2 + (first - UNITS - 1) // UNITS, (first - 1) % UNITS + 1)
        )
        station(
            f"AU-{dwelling}",
            "answering-unit",
            dwelling_id=dwelling,
            number=f"{floor}{unit:02d}",
            controller_id=f"CTL-{b}-{controller}",
            port=str(port),
        )
        for extension in range(1, rng.choice((0, 0, 0, 1, 1, 2)) + 1):
            station(
                f"EU-{dwelling}-{extension}",
                "extension-unit",
                dwelling_id=dwelling,
                number=str(extension),
                main_id=f"AU-{dwelling}",
            )
