"""The rows of an invented site while it is being built: plain text cells, table by table."""

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from .names import Names

Row = dict[str, str]

COLUMNS: dict[str, tuple[str, ...]] = {
    table: tuple(columns.split())
    for table, columns in {
        "buildings": (
            "building name use evacuation communal_alarm detection sprinklers top_storey_m"
            " storeys all_exits_listed"
        ),
        "dwellings": "dwelling_id building core floor number zone_id occupied",
        "people": "person_id name role dwelling_id status start_date end_date phone call_out",
        "cards": (
            "card_id number facility_code number_form technology kind person_id dwelling_id"
            " status status_since valid_from valid_to issued_on last_used"
        ),
        "pins": (
            "pin_id pin kind person_id dwelling_id door_id station_id status status_since"
            " set_on valid_from valid_to"
        ),
        "zones": (
            "zone_id name kind building floor use tenancy occupants place_of_safety security_grade"
        ),
        "doors": (
            "door_id name inside_zone outside_zone entry lock power_loss exit_input"
            " mechanical_exit exit_reader emergency_release alarm_release status_monitor"
            " escape_route opens_with_escape clear_width_mm fire_minutes self_closing"
            " kept_locked hold_open held_open_alarm_s exit_delay_s interlocked_with"
            " interlock_released responder_entry unlock_schedule last_tested fire_door_checked"
            " release_tested alarm_interface_tested battery_tested"
        ),
        "locks": (
            "door_id lock_id lock power_loss exit_input mechanical_exit exit_reader"
            " emergency_release alarm_release"
        ),
        "door_groups": "door_group member_kind member_id",
        "permissions": (
            "permission_id holder_kind holder_id door_group door_id schedule_id"
            " valid_from valid_to applied_on approved_by granted_by"
        ),
        "schedules": "schedule_id days start end calendar",
        "calendars": "calendar date name",
        "stations": (
            "station_id kind dwelling_id number main_id door_id controller_id port"
            " address network time_source timezone admin_code"
        ),
        "loaded": "door_id credential_kind number valid_to read_on",
        "events": "time door_id event card_number pin_id",
    }.items()
}

READ_BACK_DAYS = 3  # the controllers were read three days before the as-of date


@dataclass
class Entry:
    """One line of the answer key: what an auditor must find, and why."""

    rule: str
    subjects: dict[str, list[str]]
    why: str


@dataclass
class Site:
    """Everything written so far. `taken` holds the ids that a planted fault has already used."""

    name: str
    as_of: date
    seed: int
    tables: dict[str, list[Row]] = field(default_factory=lambda: {name: [] for name in COLUMNS})
    taken: set[str] = field(default_factory=set)
    codes: set[int] = field(default_factory=set)
    numbers: set[int] = field(default_factory=set)
    master_cards: int = 1  # as many as were delivered
    out_of_order: list[Row] = field(default_factory=list)
    names: Names = field(init=False)

    def __post_init__(self) -> None:
        self.names = Names(self.seed)

    def day(self, ago: int) -> str:
        """The ISO date so many days before the as-of date; a negative number lies ahead."""
        return (self.as_of - timedelta(days=ago)).isoformat()

    def random(self, purpose: str) -> random.Random:
        """A stream of its own for each purpose: more of one thing never changes another."""
        return random.Random(f"{self.seed}/{purpose}")


class NoneLeftError(Exception):
    """The site is too small for this fault: it has nobody, or no door, left to plant it on."""


def add(site: Site, table: str, **cells: str) -> Row:
    """Append a row; a column that is not named stays empty."""
    row = dict.fromkeys(COLUMNS[table], "")
    unknown = cells.keys() - row.keys()
    if unknown:
        raise KeyError(f"{table} has no column {sorted(unknown)}")
    row.update(cells)
    site.tables[table].append(row)
    return row


def numbered(site: Site, table: str, prefix: str, width: int) -> str:
    """The next id of a table, such as `C0042`."""
    return f"{prefix}{len(site.tables[table]) + 1:0{width}d}"


def index(rows: Iterable[Row], column: str) -> dict[str, Row]:
    """Rows by an id; the first of a repeated id is kept."""
    found: dict[str, Row] = {}
    for row in rows:
        found.setdefault(row[column], row)
    return found


def grouped(rows: Iterable[Row], column: str) -> dict[str, list[Row]]:
    """Rows by a reference, in file order."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row[column], []).append(row)
    return found


def live(row: Row, on: str) -> bool:
    """Whether a card or PIN works on an ISO date."""
    return (
        row["status"] == "active"
        and row["valid_from"] <= on
        and (not row["valid_to"] or on <= row["valid_to"])
    )


def pick(
    site: Site, table: str, count: int, fits: Callable[[Row], bool], purpose: str
) -> list[Row]:
    """`count` rows not used by another fault, in an order drawn for this purpose.

    They are marked as used. Raises NoneLeftError, and marks nothing, where there are too few.
    """
    column = COLUMNS[table][0]
    rows = [r for r in site.tables[table] if r[column] not in site.taken and fits(r)]
    if len(rows) < count:
        raise NoneLeftError(purpose)
    chosen = site.random(purpose).sample(rows, count)
    site.taken.update(row[column] for row in chosen)
    return chosen
