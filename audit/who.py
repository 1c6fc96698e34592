"""`door-audit who`: who can open a door and why, and what a person reaches and when.

The answer speaks of one day: the as-of date, or the day of the moment asked for.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Final

import numpy as np
import pandas as pd
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from audit.arithmetic.three import NO, YES, Credential
from audit.arithmetic.weeks import NAMES, Hours
from audit.contract import Dataset, InputError
from audit.facts.hours import Year, year
from audit.facts.permissions import grants_of, holders
from audit.facts.reach import PERSON_FITS, groups, path_to, person_doors, reach
from audit.facts.standing import by_id, departed, entitled, live
from audit.facts.way_home import ways_home
from audit.screen import plain

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
ASKS = {
    "none": "asks nothing of anyone",
    "card": "takes a card",
    "pin": "takes a PIN",
    "card-or-pin": "takes a card or a PIN",
    "card-and-pin": "takes a card and a PIN together",
    "key": "takes a key",
    "closed": "lets nobody in from outside",
}


NO_PERMISSIONS: Final = "there is no permissions table"


def moment(data: Dataset, text: str) -> dt.datetime:
    """The wall-clock time that a text means: a moment, `mon 08:30`, `holiday 10:00`, `08:30`.

    A time of the week is the next one from the as-of date on; a time of day is that of the
    as-of date. InputError where it can't be read.
    """
    words = text.strip().casefold().split()
    clock = re.fullmatch(r"([01]?\d|2[0-3])[:.]([0-5]\d)", words[-1]) if words else None
    if clock and len(words) <= 2:
        at = dt.time(int(clock[1]), int(clock[2]))
        if len(words) == 1:
            return dt.datetime.combine(data.as_of, at)
        days = [i for i, day in enumerate(DAYS) if len(words[0]) >= 3 and day.startswith(words[0])]
        if days:
            ahead = (days[0] - data.as_of.weekday()) % 7
            return dt.datetime.combine(data.as_of + dt.timedelta(days=ahead), at)
        if words[0] in ("holiday", "holidays"):
            dates = data["calendars"]["date"].dropna().dt.date
            to_come = sorted(d for d in dates if d >= data.as_of)
            if not to_come:
                raise InputError("--at: no calendar has a holiday to come")
            return dt.datetime.combine(to_come[0], at)
    try:
        found = dt.datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            f"--at {text!r} is no time; write 2026-10-05T08:30, mon 08:30, holiday 10:00 or 08:30"
        ) from None
    if found.tzinfo is not None:
        found = found.astimezone(data.zone)
    return found.replace(tzinfo=None)


def at_door(data: Dataset, door: str, at: str | None = None) -> RenderableType:
    """Who can open a door, at that time or at any, and why."""
    data, when = _on_the_day(data, at)
    doors = by_id(data, "doors")
    door = _known(door, doors.index, "door")
    r, times = reach(data), year(data)
    now = times.always if when is None else times.at(when)
    place = int(doors.index.get_indexer(pd.Index([door]))[0])
    cell = doors.iloc[place]

    parts: list[RenderableType] = [_head("Door", door, cell["name"])]
    entry = None if pd.isna(cell["entry"]) else str(cell["entry"])
    parts.append(Text("It " + (ASKS[entry] if entry else "is not given what it asks for") + "."))
    parts.append(_when(data, when))
    unlock = cell["unlock_schedule"]
    if not pd.isna(unlock) and times.hours_of(str(unlock))[1] & now:
        stands = times.text(times.hours_of(str(unlock))[1])
        parts.append(
            Text(plain(f"It stands unlocked for anyone by schedule {unlock}: {stands}."), "yellow")
        )
    rows = _openers(data, door, place, now)
    table = _table("person", "with", "because of", "groups", "hours")
    people: set[str] = set()
    for row in rows:
        people.add(row[0])
        table.add_row(*(Text(plain(cell)) for cell in row))
    if rows:
        parts.append(table)
    count = len(people)
    verb = "can open it" if when is None else "can open it then"
    if data.has("permissions"):
        parts.append(Text(f"{count:,} {'holder' if count == 1 else 'holders'} {verb}.", "bold"))
    else:
        who = "Who else can open it" if rows else "Who can open it"
        parts.append(Text(f"{who} is not recorded: {NO_PERMISSIONS}.", "bold"))
    if any(row[1].endswith("?") for row in rows):
        parts.append(Text("?: a value that decides is not given; it may be so.", "italic"))
    if len(r.door_ids) and entry == "key":
        parts.append(Text("Keys are not in the register: whoever holds one can open it.", "italic"))
    return Group(*parts)


def _openers(data: Dataset, door: str, place: int, now: Hours) -> list[tuple[str, ...]]:
    """(who, with, because of, groups, hours) of everyone who opens the door at `now`."""
    r, times, g = reach(data), year(data), groups(data)
    table = data["permissions"]
    has = [name for name, bits in g.possible.items() if bits >> place & 1]
    gives = table["door_group"].isin(has) | (table["door_id"] == door).fillna(False)
    mine = holders(data, gives)
    at = r.person_ids.get_indexer(pd.Index(mine["person_id"]))
    classes = r.people.of[at]
    level = PERSON_FITS[r.entry[place], r.people.card[classes], r.people.pin[classes]]
    entry = r.entry[place]
    words = ("card",) if entry == 1 else ("PIN",) if entry == 2 else ("card", "PIN")
    held = _credentials(data, words)
    people = by_id(data, "people")
    rows: list[tuple[str, ...]] = []
    for label, person, through, sure, fits in zip(
        mine["label"], mine["person_id"], mine["through"], mine["sure"], level, strict=True
    ):
        cell = table.loc[label]
        schedule = None if pd.isna(cell["schedule_id"]) else str(cell["schedule_id"])
        lower, upper = times.hours_of(schedule)
        if fits == NO or not upper & now:
            continue
        path = () if pd.isna(cell["door_group"]) else path_to(data, str(cell["door_group"]), door)
        doubt = "" if sure and fits == YES and lower & now == upper & now else " ?"
        rows.append(
            (
                _named(person, people.at[person, "name"]),
                ", ".join(held.get(person, ["nothing asked"])) + doubt,
                f"permission {cell['permission_id']} to {through}",
                " > ".join(path) or "the door itself",
                _hours(times, schedule, upper),
            )
        )
    rows.sort()
    return rows + _unheld(data, place, now)


def _unheld(data: Dataset, place: int, now: Hours) -> list[tuple[str, ...]]:
    """Live credentials that no person of the register holds, and that open the door."""
    r, times = reach(data), year(data)
    homes = set(by_id(data, "people")["dwelling_id"].dropna())
    mask = np.zeros(len(r.door_ids), bool)
    mask[place] = True
    rows: list[tuple[str, ...]] = []
    tables: tuple[tuple[Credential, str, str], ...] = (
        ("cards", "card_id", "card"),
        ("pins", "pin_id", "PIN"),
    )
    for table, key, word in tables:
        access, labels = r.credentials(table)
        pairs = r.pairs(access, mask)
        at = {int(c): i for i, c in enumerate(pairs.of)}
        frame = data[table].loc[labels, ["person_id", "dwelling_id", key]]
        cells = zip(*(frame[c].tolist() for c in frame.columns), strict=True)
        for of, (whose, home, name) in zip(access.of.tolist(), cells, strict=True):
            known = whose in r.person_ids if not pd.isna(whose) else home in homes
            if of not in at or known:
                continue
            hours = pairs.possible[pairs.hours[at[of]]]
            if hours & now:
                doubt = "" if pairs.sure[pairs.hours[at[of]]] & now == hours & now else " ?"
                holder = whose if not pd.isna(whose) else home
                who = "nobody" if pd.isna(holder) else f"{holder} (not in the register)"
                rows.append((who, f"{word} {name}{doubt}", "", "", times.text(hours)))
    for label, door, sure in zip(*(r.bound[c].tolist() for c in r.bound.columns), strict=True):
        if door == place:
            name = f"PIN {data['pins']['pin_id'][label]}" + ("" if sure else " ?")
            rows.append(("whoever knows it", name, "bound to this door", "", "always"))
    return sorted(rows)


def of_person(data: Dataset, person: str, at: str | None = None) -> RenderableType:
    """Every door that a person reaches, when and why, and a picture of their week."""
    data, when = _on_the_day(data, at)
    people = by_id(data, "people")
    person = _known(person, people.index, "person")
    cell = people.loc[person]
    times = year(data)
    now = times.always if when is None else times.at(when)
    parts: list[RenderableType] = [_head("Person", person, cell["name"])]
    label = cell["_label"]
    role: str = str(cell["role"]) if not pd.isna(cell["role"]) else "role not given"
    home: str = f" of dwelling {cell['dwelling_id']}" if not pd.isna(cell["dwelling_id"]) else ""
    stands = _stands(departed(data)[label], entitled(data)[label])
    parts.append(Text(plain(f"{role}{home}, {stands}")))
    held = _credentials(data).get(person, [])
    parts.append(Text(plain("Live credentials: " + (", ".join(held) or "none"))))
    parts.append(_when(data, when))

    found = person_doors(data, np.ones(len(by_id(data, "doors")), bool))
    mine = found[found["person_id"] == person]
    possible, sure = found.attrs["possible"], found.attrs["sure"]
    why: dict[str, list[str]] = {}
    for grant in grants_of(data, person):
        path = " > ".join(grant.path)
        why.setdefault(grant.door_id, []).append(
            f"{grant.permission_id} to {grant.through}"
            + (f" by {path}" if path else "")
            + (f", {grant.schedule_id}" if grant.schedule_id else "")
        )
    names = by_id(data, "doors")["name"]
    table = _table("door", "hours", "permission")
    weeks: dict[Hours, list[str]] = {}
    doubt = False
    for door, number in sorted(zip(mine["door_id"], mine["hours"], strict=True)):
        hours = possible[number]
        if not hours & now:
            continue
        unsure = sure[number] & now != hours & now
        doubt |= unsure
        weeks.setdefault(hours, []).append(door)
        table.add_row(
            Text(plain(_named(door, names[door]))),
            Text(times.text(hours) + (" ?" if unsure else "")),
            Text(plain("\n".join(why.get(door, [])))),
        )
    if weeks:
        parts.append(table)
    total = sum(len(doors) for doors in weeks.values())
    if data.has("permissions"):
        told = f"{total:,} {'door' if total == 1 else 'doors'}" + (" then." if when else ".")
    else:
        told = f"What this person can open is not recorded: {NO_PERMISSIONS}."
    parts.append(Text(told, "bold"))
    if doubt:
        parts.append(Text("?: a value that decides is not given; it may be so.", "italic"))
    for hours, doors in weeks.items():
        parts += [Text(""), Text(plain(", ".join(doors))), week(times, hours)]
    parts += _way_home(data, person)
    return Group(*parts)


def week(times: Year, hours: Hours) -> Text:
    """A small picture of the week: a line a day, a mark each half hour.

    Full: open throughout; half: for part of it; a dot: shut. Most dates of a weekday speak
    for it; holidays have a line where a calendar brings some.
    """
    usual: dict[int, tuple[int, np.ndarray]] = {}
    for kind, flags in zip(times.kinds, times.minutes(hours), strict=True):
        if len(kind.dates) > usual.get(kind.weekday, (0, flags))[0]:
            usual[kind.weekday] = (len(kind.dates), flags)
    text = Text("         0     3     6     9     12    15    18    21    24\n", "dim")
    for weekday in sorted(usual):
        share = usual[weekday][1].reshape(48, 30).mean(axis=1)
        text.append(f"{NAMES[weekday]:9}")
        for part in share:
            mark, style = ("█", "green") if part == 1 else ("▒", "green") if part else ("·", "dim")
            text.append(mark, style)
        text.append("\n" if weekday < max(usual) else "")
    return text


def _way_home(data: Dataset, person: str) -> list[RenderableType]:
    if not all(data.has(table) for table in ("dwellings", "zones")):
        return []
    found = ways_home(data)
    mine = found[(found["person"] == person).to_numpy(dtype=bool)]
    if mine.empty:
        return []
    row = mine.iloc[0]
    if pd.isna(row["some"]) or pd.isna(row["always"]):
        return [Text("\nThe way home can't be judged: something on it is not given.", "italic")]
    if row["always"]:
        return [Text("\nThe way home is open at every hour.")]
    stops = ", ".join(row["doors"] or ()) or "no door leads there"
    return [Text(plain(f"\nNo way home: {row['missing']}; stopped at {stops}."), "yellow")]


def _on_the_day(data: Dataset, at: str | None) -> tuple[Dataset, dt.datetime | None]:
    """The register as it stands on the day of the moment asked for, and the moment."""
    if at is None:
        return data, None
    when = moment(data, at)
    if when.date() != data.as_of:
        data = Dataset(data.site, when.date(), data.tables, data.inputs, data.notes)
    return data, when


def _known(name: str, ids: pd.Index, what: str) -> str:
    table = {"door": "doors", "person": "people"}[what]
    names = [str(i) for i in ids if not pd.isna(i)]
    if name in names:
        return name
    folded = [n for n in names if n.casefold() == name.casefold()]
    if len(folded) == 1:
        return folded[0]
    near = get_close_matches(name, names, n=1)
    hint = f"; the nearest is {near[0]!r}" if near else ""
    raise InputError(plain(f"there is no {what} {name!r} in the {table} table{hint}"))


def _credentials(data: Dataset, words: Sequence[str] = ("card", "PIN")) -> dict[str, list[str]]:
    """Each person's live cards and PINs, their own and their dwelling's, by id."""
    people = by_id(data, "people")
    found: dict[str, list[str]] = {}
    at_home: dict[str, list[str]] = {}
    for table, key, word in (("cards", "card_id", "card"), ("pins", "pin_id", "PIN")):
        if word not in words:
            continue
        rows = data[table]
        rows = rows[live(data, table).fillna(True).to_numpy(dtype=bool)]
        for name, person, dwelling in zip(
            rows[key], rows["person_id"], rows["dwelling_id"], strict=True
        ):
            if not pd.isna(person):
                found.setdefault(person, []).append(f"{word} {name}")
            elif not pd.isna(dwelling):
                at_home.setdefault(dwelling, []).append(f"{word} {name}")
    if at_home:
        for person, dwelling in zip(people.index, people["dwelling_id"], strict=True):
            if not pd.isna(dwelling) and dwelling in at_home:
                found.setdefault(person, []).extend(f"{c} (dwelling)" for c in at_home[dwelling])
    return found


def _when(data: Dataset, when: dt.datetime | None) -> Text:
    if when is None:
        return Text(f"At any hour, as of {data.as_of}.", "dim")
    return Text(f"At {NAMES[when.weekday()]} {when:%Y-%m-%d %H:%M}, as of that day.", "dim")


def _head(what: str, name: str, called: object) -> Text:
    return Text(plain(f"{what} {_named(name, called)}"), "bold")


def _stands(gone: object, right: object) -> str:
    if gone is pd.NA or right is pd.NA:
        return "standing not known"
    return "departed" if gone else "entitled" if right else "not yet entitled"


def _named(name: str, called: object) -> str:
    return name if called is None or called is pd.NA else f"{name}, {called}"


def _hours(times: Year, schedule: str | None, hours: Hours) -> str:
    if schedule is None:
        return "always"
    return (
        f"{schedule}: {times.text(hours)}" if schedule in times.sure else f"{schedule}: not known"
    )


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


__all__: Sequence[str] = ("at_door", "moment", "of_person", "week")
