"""Three weeks at the doors: people coming home, going out, working, now and then refused."""

from datetime import date, datetime, time, timedelta

from .codes import as_logged
from .estate import holidays
from .readback import opens
from .rows import READ_BACK_DAYS, Row, Site, add, grouped, index

DAYS = 21  # to the evening before the as-of date


class Diary:
    """Adds events, and keeps two people from standing at one door in the same minute."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.busy: set[tuple[str, int]] = set()
        self.rng = site.random("events")

    def free(self, door: str, moment: datetime) -> bool:
        """Whether nobody is at the door for a minute around."""
        minute = int(moment.timestamp() // 60)
        return not any((door, minute + near) in self.busy for near in (-1, 0, 1))

    def pass_through(
        self, door: str, moment: datetime, event: str, card: str = "", pin: str = ""
    ) -> None:
        """Somebody is let in (`granted`) or leaves (`exit`); the door opens and closes."""
        self.busy.add((door, int(moment.timestamp() // 60)))
        opened = moment + timedelta(seconds=self.rng.randint(1, 3))
        closed = opened + timedelta(seconds=self.rng.randint(4, 14))
        record(self.site, moment, door, event, card, pin)
        record(self.site, opened, door, "opened")
        record(self.site, closed, door, "closed")


def record(
    site: Site, moment: datetime, door: str, event: str, card: str = "", pin: str = ""
) -> Row:
    """Add one event at a local time."""
    stamp = moment.isoformat(timespec="seconds")
    return add(site, "events", time=stamp, door_id=door, event=event, card_number=card, pin_id=pin)


def build(site: Site) -> None:
    """Fill `events` in order of time, and bring `last_used` of the cards up to date."""
    diary = Diary(site)
    rng = diary.rng
    off = {day for day, _ in holidays(site.as_of)}
    people = index(site.tables["people"], "person_id")
    usable = [
        (row, kind, doors, people.get(row["person_id"]))
        for row, kind, doors in opens(site, site.day(READ_BACK_DAYS))
        if doors
    ]
    former = _still_there_then(site)
    for ago in range(DAYS, 0, -1):
        day = site.as_of - timedelta(days=ago)
        workday = day.weekday() < 5 and day not in off
        for row, kind, doors, holder in usable:
            role = holder["role"] if holder else "nobody"
            chance = {
                "resident": 0.3 if kind == "card" else 0.12,
                "visitor": 0.5,
                "responder": 0.0,
                "nobody": 0.25,
            }.get(role, 0.8 if workday else 0.0)
            works = role in ("staff", "agent", "contractor", "nobody")
            if rng.random() > chance or (works and not workday) or row["valid_from"] >= str(day):
                continue
            first, last = (9, 12) if works else (7, 21)
            _journey(diary, row, kind, doors, day, rng.randint(first, last - 1))
        for row, door in former:
            if day.isoformat() < row["valid_to"] and rng.random() < 0.4:
                moment = _moment(diary, day, rng.randint(7, 20))
                if diary.free(door, moment):
                    diary.pass_through(door, moment, "granted", card=as_logged(row))
        for door in ("CP-GATE", *(r["door_id"] for r in site.tables["doors"] if _entrance(r))):
            for _ in range(rng.randint(1, 3)):
                moment = _moment(diary, day, rng.randint(6, 21))
                if diary.free(door, moment):
                    diary.pass_through(door, moment, "exit")
            if rng.random() < 0.08:
                moment = _moment(diary, day, rng.randint(6, 21))
                record(site, moment, door, "denied")
    _propped_open_once(site)
    site.tables["events"].sort(key=lambda row: row["time"])
    seen = grouped(
        (row for row in site.tables["events"] if row["event"] == "granted"), "card_number"
    )
    for card in site.tables["cards"]:
        used = seen.get(as_logged(card))
        if used:
            card["last_used"] = used[-1]["time"][:10]


def _entrance(door: Row) -> bool:
    return door["entry"] == "card-or-pin"


def _moment(diary: Diary, day: date, hour: int) -> datetime:
    return datetime.combine(day, time(hour, diary.rng.randrange(60), diary.rng.randrange(60)))


def _journey(diary: Diary, row: Row, kind: str, doors: list[str], day: date, hour: int) -> None:
    """In at an entrance, and on to one or two more doors of the same building."""
    rng = diary.rng
    entrances = [door for door in doors if door.endswith("-MAIN")]
    start = rng.choice(entrances) if entrances else doors[0]
    inside = [d for d in doors if d[:3] == start[:3] and not d.endswith(("-MAIN", "-CP"))]
    card = as_logged(row) if kind == "card" else ""
    pin = row["pin_id"] if kind == "pin" else ""
    moment = _moment(diary, day, hour)
    for door in (start, *rng.sample(inside, min(len(inside), rng.randint(0, 2)))):
        if diary.free(door, moment):
            diary.pass_through(door, moment, "granted", card, pin)
        moment += timedelta(seconds=rng.randint(61, 170))


def _still_there_then(site: Site) -> list[tuple[Row, str]]:
    """Cards handed back within the three weeks, and the entrance that they opened."""
    since = site.day(DAYS)
    buildings = {row["dwelling_id"]: row["dwelling_id"][:3] for row in site.tables["dwellings"]}
    return [
        (row, f"{buildings[row['dwelling_id']]}-MAIN")
        for row in site.tables["cards"]
        if row["status"] in ("returned", "destroyed")
        and row["dwelling_id"] in buildings
        and row["valid_to"] > since
    ]


def _propped_open_once(site: Site) -> None:
    """A removal van: an entrance that stood open once is no habit."""
    door = next(row["door_id"] for row in site.tables["doors"] if _entrance(row))
    moment = datetime.combine(site.as_of - timedelta(days=DAYS // 2), time(10, 17, 23))
    record(site, moment, door, "opened")
    record(site, moment + timedelta(seconds=46), door, "held")
    record(site, moment + timedelta(seconds=312), door, "closed")
