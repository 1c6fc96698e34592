"""site.toml: who and where, the policy, the equipment's limits, and where each table comes from.

Read with tomllib and checked with pydantic: an unknown key, a value of the wrong kind or an
unknown pack is one clear line that names the key, its line and the nearest valid name.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    SkipValidation,
    ValidationError,
    field_validator,
)

from audit import packs
from audit.arithmetic.thresholds import Case, always
from audit.faults import InputError as InputError
from audit.schema import TABLES

_FROZEN = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
Days = Annotated[int, Field(ge=0, le=36_500)]
Count = Annotated[int, Field(ge=0, le=1_000_000)]
HOURS = r"^([01]\d|2[0-3]):[0-5]\d-(([01]\d|2[0-3]):[0-5]\d|24:00)$"


Threshold = Annotated[tuple[Case, ...], SkipValidation]


class _Keys(BaseModel):
    model_config = _FROZEN


class Policy(_Keys):
    """What the site asks for; the defaults are its pack's."""

    pin_minimum_digits: Annotated[int, Field(ge=1, le=12)]
    pin_guesses_minimum: Count
    pin_attempts_before_lockout: Annotated[int, Field(ge=1, le=1_000_000)]
    pin_lockout_minutes: Annotated[float, Field(ge=0)]
    pin_attack_visit_minutes: Annotated[float, Field(ge=0)]
    pin_guess_risk: Annotated[float, Field(ge=0, le=1)]
    shared_pin_maximum_age_days: Days
    departure_grace_days: Days
    card_dormant_days: Days
    cards_per_dwelling: Count
    visitor_credential_days: Days
    review_every_months: Annotated[int, Field(ge=1, le=120)]
    read_back_maximum_age_days: Days
    events_kept_days: Days | None = None
    leavers_kept_days: Days | None = None
    held_open_alarm_seconds: Count
    secure_hours: Annotated[str, Field(pattern=HOURS)]
    travel_seconds_minimum: Annotated[float, Field(ge=0)]
    # set by a local code, by use, kind and height; a site overrides them under packs.NAMES
    one_way_out_people: Threshold
    opens_against_people: Threshold
    exit_delay_s: Threshold
    narrowest_escape_door_mm: Threshold
    narrowest_from_people: Threshold
    panic_hardware_people: Threshold
    fire_door_check_months: Threshold
    dwelling_door_check_months: Threshold
    escape_door_test_months: Threshold
    release_test_every_months: Threshold
    alarm_interface_test_every_months: Threshold
    battery_test_every_months: Threshold
    width_bands: tuple[tuple[int, int], ...]
    capacity_uses: tuple[str, ...]
    mm_per_person: str
    several_exits: str
    people_counted: dict[str, int]
    leaf_switch_needs_alarm: bool
    kept_locked_needs_closer: bool | None

    @property
    def secure_minutes(self) -> tuple[int, int]:
        """The secure hours as minutes from midnight; an end at or before the start runs on."""
        start, end = (int(t[:2]) * 60 + int(t[3:]) for t in self.secure_hours.split("-"))
        return start, end


class Equipment(_Keys):
    """The installer's own limits, from the equipment's data sheet; None is not checked."""

    pins_per_panel: Count | None = None
    secondary_panels: Count | None = None
    extension_units_per_dwelling: Count | None = None
    units_per_controller: Count | None = None
    controllers_in_line: Count | None = None
    panel_ports: list[Count] | None = None
    credentials_per_controller: Count | None = None


YesNo = Literal["yes", "no"]
_USE = Literal["flats", "student-hall", "sheltered", "hotel", "office", "shop", "mixed"]


class Building(_Keys):
    """Facts of the one building, or the defaults of every building; None: not recorded."""

    use: _USE | None = None
    evacuation: Literal["simultaneous", "stay-put", "phased"] | None = None
    communal_alarm: YesNo | None = None
    detection: YesNo | None = None
    sprinklers: YesNo | None = None
    top_storey_m: Annotated[float, Field(ge=-50, le=1000)] | None = None
    storeys: Annotated[int, Field(ge=1, le=300)] | None = None
    all_exits_listed: YesNo | None = None


class CardFormat(_Keys):
    """One format that the readers send: its bits, and how many say facility and number."""

    bits: Annotated[int, Field(ge=1, le=256)]
    facility_bits: Annotated[int, Field(ge=0, le=64)]
    number_bits: Annotated[int, Field(ge=1, le=64)]


class Cards(_Keys):
    """What the site's readers send, and how many master cards were ever delivered."""

    formats: list[CardFormat] = []
    facility_codes: list[Count] = []
    master_cards: Count | None = None


class Role(_Keys):
    """The door groups that a role may reach at most."""

    door_groups: list[Annotated[str, Field(min_length=1)]]


class Source(_Keys):
    """Where a table comes from, where it differs from the canonical file and headers."""

    file: str | None = None
    sheet: str | None = None
    header_row: Annotated[int, Field(ge=1)] | None = None
    encoding: str | None = None
    separator: Annotated[str, Field(min_length=1, max_length=1)] | None = None
    date_order: Literal["dmy", "mdy", "ymd"] | None = None
    schedule_property: str | None = None
    columns: dict[str, str] = {}
    values: dict[str, dict[str, str]] = {}


class _Place(_Keys):
    id: str | None = None
    contact: str | None = None
    without: list[Literal["cards", "pins", "schedules", "stations"]] = []
    name: Annotated[str, Field(min_length=1)]
    timezone: str
    local_code: str = "generic"
    security_grade: Annotated[int, Field(ge=1, le=4)] | None = None
    date_order: Literal["dmy", "mdy", "ymd"] = "dmy"

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            if value.casefold() in ("localtime", "factory"):  # hangs on the machine, not the site
                raise ValueError(value)
            ZoneInfo(value)
        except Exception as e:
            near = get_close_matches(value, sorted(available_timezones()), n=1)
            hint = f"; the nearest is {near[0]!r}" if near else ""
            raise ValueError(f"{value!r} is no IANA time zone{hint}") from e
        return value

    @field_validator("local_code")
    @classmethod
    def _known_pack(cls, value: str) -> str:
        packs.load(value)
        return value


class _File(_Keys):
    site: _Place
    building: Building = Building()
    cards: Cards = Cards()
    roles: dict[str, Role] = {}
    policy: dict[str, Any] = {}
    equipment: Equipment = Equipment()
    sources: dict[str, Source] = {}
    synonyms: dict[str, dict[str, list[str]]] = {}


class Site(_Keys):
    """A site's own facts, with its policy resolved against its pack."""

    name: str
    timezone: str
    local_code: str
    security_grade: int | None
    date_order: Literal["dmy", "mdy", "ymd"]
    id: str | None = None
    contact: str | None = None
    without: list[str] = []
    building: Building = Building()
    cards: Cards = Cards()
    roles: Mapping[str, Role] = MappingProxyType({})
    policy: Policy
    equipment: Equipment
    sources: Mapping[str, Source] = MappingProxyType({})
    synonyms: Mapping[str, Mapping[str, list[str]]] = MappingProxyType({})


_OF_PACKS = {*(t.value for t in packs.NAMES.values()), "capacity_uses"}
POLICY_KEYS = tuple(k for k in Policy.model_fields if k not in _OF_PACKS)
_INTERVALS = tuple(
    f"{what}_every_months" for what in ("release_test", "alarm_interface_test", "battery_test")
)
"""Intervals that a pack sets by use and height, under policy keys of their own."""


def site_from(raw: Mapping[str, Any], text: str = "", name: str = "site.toml") -> Site:
    """A site from the parsed file; InputError with one line for the first thing wrong."""
    try:
        parsed = _File.model_validate(_plain(raw))
    except ValidationError as e:
        raise InputError(_first_error(e, text, name)) from None
    for section, known in (("sources", TABLES), ("synonyms", TABLES)):
        for table in getattr(parsed, section):
            if table not in known:
                raise InputError(
                    _unknown(f"[{section}.{table}]", table, known, text, name, what="table")
                )
    for section in ("sources", "synonyms"):
        for table, entry in getattr(parsed, section).items():
            columns = {c.name for c in TABLES[table].columns}
            named = {**entry.columns, **entry.values} if isinstance(entry, Source) else entry
            for column in named:
                if column not in columns:
                    where = f"[{section}.{table}]"
                    raise InputError(_unknown(where, column, columns, text, name, what="column"))
    roles = TABLES["people"].column("role").words
    for role in parsed.roles:
        if role not in roles:
            raise InputError(_unknown(f"[roles.{role}]", role, roles, text, name, what="role"))
    policy = _policy(parsed.site.local_code, parsed.policy, text, name)
    return Site(
        name=parsed.site.name,
        timezone=parsed.site.timezone,
        local_code=parsed.site.local_code,
        security_grade=parsed.site.security_grade,
        date_order=parsed.site.date_order,
        id=parsed.site.id,
        contact=parsed.site.contact,
        without=list(parsed.site.without),
        building=parsed.building,
        cards=parsed.cards,
        roles=parsed.roles,
        policy=policy,
        equipment=parsed.equipment,
        sources=parsed.sources,
        synonyms=parsed.synonyms,
    )


def read_site(path: Path) -> Site:
    """The site file at `path`; InputError where it is missing, no TOML, or wrong."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(
            f"{path.name}: not found in {path.parent.name or 'the folder'}; a site folder needs a"
            ' site.toml with [site] name = "…" and timezone = "…"'
        ) from None
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: not UTF-8 text; save it as UTF-8") from None
    except OSError as e:
        raise InputError(f"{path.name}: can't be read ({e.strerror})") from None
    return parse_site(text, path.name)


def parse_site(text: str, name: str = "site.toml") -> Site:
    """A site from the text of its file."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        raise InputError(f"{name}: not valid TOML: {e}") from None
    except RecursionError:
        raise InputError(f"{name}: nested too deep to be a site file") from None
    return site_from(raw, text, name)


def _policy(pack: str, given: Mapping[str, Any], text: str, name: str) -> Policy:
    values = dict(packs.load(pack).values)
    for key, value in given.items():
        if key in packs.NAMES:
            threshold = packs.NAMES[key]
            own = _override(key, value, text, name)
            values[threshold.value] = always(own) if threshold.kind == "whole" else own
            if threshold.kind in ("bands", "decimal"):
                values["capacity_uses"] = packs.USES  # the site's own stands for every use
        elif key in _INTERVALS:
            values[key] = always(_months(key, value, text, name))
        elif key in POLICY_KEYS:
            values[key] = value
        else:
            names = [*POLICY_KEYS, *packs.NAMES]
            raise InputError(_unknown("[policy]", key, names, text, name, what="key"))
    try:
        return Policy.model_validate(values)
    except ValidationError as e:
        raise InputError(_first_error(e, text, name, "policy")) from None


def _months(key: str, value: Any, text: str, name: str) -> int:
    if type(value) is not int or not 1 <= value <= 120:
        where = f"{name}{_line(text, key)}: [policy] {key}"
        raise InputError(f"{where} must be a whole number of months from 1 to 120")
    return value


def _override(key: str, value: Any, text: str, name: str) -> Any:
    threshold = packs.NAMES[key]
    where = f"{name}{_line(text, key)}: [policy] {key}"
    if threshold.kind == "whole":
        if type(value) is not int or value < threshold.least:
            raise InputError(f"{where} must be a whole number of at least {threshold.least}")
        return value
    if threshold.kind == "decimal":
        shown = str(value)
        if isinstance(value, bool) or not re.fullmatch(r"\d+(\.\d+)?", shown) or float(shown) <= 0:
            raise InputError(f'{where} must be a number above 0, such as 5 or "5.08"')
        return shown
    if threshold.kind == "yesno":
        if not isinstance(value, bool):
            raise InputError(f"{where} must be true or false, without quotes")
        return value
    if threshold.kind == "word":
        if value not in threshold.words:
            raise InputError(f"{where} must be one of: {', '.join(threshold.words)}")
        return value
    if threshold.kind == "storeys":
        given = value if isinstance(value, Mapping) else {"": 0}
        kinds = TABLES["buildings"].column("evacuation").words
        if not all(k in kinds and type(v) is int and v >= 1 for k, v in given.items()):
            raise InputError(f"{where} must be pairs such as {{ stay-put = 1, phased = 2 }}")
        return dict(given)
    bands = value if isinstance(value, list) else None
    if bands is None or not all(
        isinstance(b, list) and len(b) == 2 and all(type(v) is int and v >= 0 for v in b)
        for b in bands
    ):
        raise InputError(f"{where} must be a list of pairs [mm, people], such as [[750, 60]]")
    if any(a[0] >= b[0] or a[1] > b[1] for a, b in pairwise(bands)):
        raise InputError(f"{where}: widths and people must rise from pair to pair")
    return tuple((b[0], b[1]) for b in bands)


def _plain(raw: Any) -> Any:
    return {k: _plain(v) for k, v in raw.items()} if isinstance(raw, Mapping) else raw


def _line(text: str, key: str) -> str:
    """` line N` of the first line that sets the key, or heads a table of that name."""
    pattern = re.compile(
        rf"""^\s*(\[.*\b{re.escape(key)}\b.*\]|["']?{re.escape(key)}["']?\s*[=.])"""
    )
    for number, line in enumerate(text.splitlines(), 1):
        if pattern.match(line):
            return f" line {number}"
    return ""


def _unknown(where: str, key: str, known: Any, text: str, name: str, *, what: str) -> str:
    near = get_close_matches(key, list(known), n=1, cutoff=0.4)
    hint = f"did you mean {near[0]!r}?" if near else f"it may be one of: {', '.join(sorted(known))}"
    return f"{name}{_line(text, key)}: {where} has no {what} {key!r}; {hint}"


_ASKED = {
    "int": "write a whole number, without quotes",
    "float": "write a number, without quotes",
    "string": "write it in double quotes",
    "bool": "write true or false, without quotes",
    "dict": 'write pairs in braces: { number = "Fob No." }',
}  # by the first word of the kind of error


def _first_error(e: ValidationError, text: str, name: str, section: str = "") -> str:
    error = e.errors(include_url=False, include_context=False)[0]
    path = [section, *map(str, error["loc"])] if section else [str(p) for p in error["loc"]]
    key = path[-1] if path else ""
    where = f"[{'.'.join(path[:-1])}]" if len(path) > 1 else "the file"
    if error["type"] == "extra_forbidden":
        return _unknown(where, key, _fields_at(path[:-1]), text, name, what="key")
    if error["type"] == "missing":
        return f"{name}: {where} lacks {key}; add {key} = …"
    if error["type"] == "string_pattern_mismatch":
        return f"{name}{_line(text, key)}: {where} {key} must look like 22:00-06:00"
    message = error["msg"].removeprefix("Value error, ")
    message = message[:1].lower() + message[1:]
    kind, _, fault = error["type"].partition("_")
    if fault in ("type", "parsing", "from_float"):
        message = _ASKED.get(kind, message)
    if error["type"] == "string_too_short":
        message = "must not be empty"
    return f"{name}{_line(text, key)}: {where} {key}: {message}"


def _fields_at(path: list[str]) -> list[str]:
    models: dict[str, type[BaseModel]] = {
        "": _File,
        "site": _Place,
        "equipment": Equipment,
        "sources": Source,
    }
    model = models.get(path[0] if path else "", _File)
    return list(model.model_fields)
