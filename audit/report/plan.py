"""What the pictures are drawn from: a small, JSON-safe extract of the site beside the record.

`findings.json` says what was found; the plan says how the site looks: names, places, hours, zones
and doors, who reaches what, the access roll. Every key is optional; what is absent is not drawn,
and the report says so. Nothing here is a frame or a date: texts, whole numbers, lists and mappings
only, so that a report can be drawn again from the two JSON texts alone. A PIN's digits have no
place in it.
"""

from typing import Literal, NotRequired, TypedDict

DayKind = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"]
State = Literal["normal", "power-lost", "fire-alarm"]
Outcome = Literal["out", "trapped", "unclear"]
Cell = Literal["always", "part", "never", "unclear"]

DAYS: tuple[DayKind, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday")
STATES: tuple[State, ...] = ("normal", "power-lost", "fire-alarm")


class RuleWords(TypedDict):
    """How a rule is called, and how grave it is, also where it found nothing."""

    title: str
    priority: Literal["immediate", "planned", "advisory"]
    life_safety: bool
    family: NotRequired[str]


class Place(TypedDict):
    """A building, core, floor or zone; `parent` is the id of the wider place."""

    id: str
    name: str
    parent: NotRequired[str | None]


class Week(TypedDict):
    """The hours of one schedule, or of one door that a schedule holds unlocked.

    `days` gives for each kind of day the open minutes as [start, end) pairs, 0 <= start < end <=
    1440, in order and apart; hours that run past midnight stand at the next day as well.
    """

    id: str
    name: str
    kind: Literal["schedule", "door"]
    days: dict[DayKind, list[list[int]]]
    note: NotRequired[str]


class Zone(TypedDict):
    """A zone, and for each state whether those in it come out; `safe` marks a place of safety."""

    id: str
    name: str
    kind: str
    occupants: int | None
    safe: NotRequired[bool]
    building: NotRequired[str]
    results: dict[State, Outcome]


class Door(TypedDict):
    """A door between two zones; `free` from inside to outside, `back` the other way round.

    True free to pass, False not, None not given. `weak`: the one door on which a zone's ways out
    hang.
    """

    id: str
    name: str
    inside: str
    outside: str
    free: dict[State, bool | None]
    back: NotRequired[dict[State, bool | None]]
    weak: NotRequired[bool]


class ReachColumn(TypedDict):
    """A door, or a group of doors that the same people reach."""

    id: str
    name: str


class ReachRow(TypedDict):
    """People who reach the same doors at the same hours; `cells` in the order of the columns."""

    name: str
    people: int
    cells: list[Cell]


class Reach(TypedDict):
    """Who reaches what. Sites with very many doors give groups as columns."""

    columns: list[ReachColumn]
    rows: list[ReachRow]


class RollRow(TypedDict):
    """One line of the access roll; the keys are the columns of access-roll.csv."""

    person: str
    name: str
    dwelling: str
    door_group: str
    hours: str
    through: str
    since: str
    change: str


class Plan(TypedDict, total=False):
    """`names[kind][id]` is the name of a person, door, dwelling, zone, station ...

    `where[finding id]` lists the ids of the narrowest places of a finding; a finding without an
    entry belongs to the site as a whole. `secure_hours` is [start, end] in minutes of the day and
    may run past midnight (end at or before start).
    """

    rules: dict[str, RuleWords]
    names: dict[str, dict[str, str]]
    places: list[Place]
    where: dict[str, list[str]]
    secure_hours: list[int]
    weeks: list[Week]
    zones: list[Zone]
    doors: list[Door]
    reach: Reach
    roll: list[RollRow]
