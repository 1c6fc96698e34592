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

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from audit import packs
from audit.faults import InputError as InputError
from audit.schema import TABLES

_FROZEN = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
Days = Annotated[int, Field(ge=0, le=36_500)]
Count = Annotated[int, Field(ge=0, le=1_000_000)]
HOURS = r"^([01]\d|2[0-3]):[0-5]\d-(([01]\d|2[0-3]):[0-5]\d|24:00)$"


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
    door_test_every_months: Annotated[int, Field(ge=1, le=120)]
    held_open_alarm_seconds: Count
    secure_hours: Annotated[str, Field(pattern=HOURS)]
    travel_seconds_minimum: Annotated[float, Field(ge=0)]
    # set by a local code; a site overrides them under the names of packs.NAMES
    one_way_out_people: Count
    opens_against_people: Count
    exit_delay_s: Count
    narrowest_escape_door_mm: Count
    width_bands: tuple[tuple[int, int], ...]
    mm_per_person: str

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
    panel_port: Count | None = None


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
    name: Annotated[str, Field(min_length=1)]
    timezone: str
    local_code: str = "generic"
    security_grade: Annotated[int, Field(ge=1, le=4)] | None = None
    date_order: Literal["dmy", "mdy", "ymd"] = "dmy"

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
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
    policy: Policy
    equipment: Equipment
    sources: Mapping[str, Source] = MappingProxyType({})
    synonyms: Mapping[str, Mapping[str, list[str]]] = MappingProxyType({})


POLICY_KEYS = tuple(
    k for k in Policy.model_fields if k not in {t.value for t in packs.NAMES.values()}
)


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
    policy = _policy(parsed.site.local_code, parsed.policy, text, name)
    return Site(
        name=parsed.site.name,
        timezone=parsed.site.timezone,
        local_code=parsed.site.local_code,
        security_grade=parsed.site.security_grade,
        date_order=parsed.site.date_order,
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
            values[packs.NAMES[key].value] = _override(key, value, text, name)
        elif key in POLICY_KEYS:
            values[key] = value
        else:
            names = [*POLICY_KEYS, *packs.NAMES]
            raise InputError(_unknown("[policy]", key, names, text, name, what="key"))
    try:
        return Policy.model_validate(values)
    except ValidationError as e:
        raise InputError(_first_error(e, text, name, "policy")) from None


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
