"""What the doors reported: strangers, bursts, alarms, silence, clocks gone wrong."""

from collections import Counter
from collections.abc import Iterator

from ..codes import as_logged, new_number
from ..households import card, person
from ..rows import Entry, NoneLeftError, Row, Site, grouped, live, pick
from .ground import Fault, entry, happened


def _first_building(site: Site) -> str:
    return site.tables["dwellings"][0]["dwelling_id"].split("-")[0]


def after_departure(site: Site) -> Iterator[Entry]:
    """Somebody came in six days after leaving, with a card that is suspended by now."""
    b = _first_building(site)
    gone = person(
        site, role="visitor", status="departed", start_date=site.day(40), end_date=site.day(11)
    )
    held = card(
        site,
        site.random("after departure"),
        2,
        gone,
        status="suspended",
        issued_on=site.day(30),
        valid_from=site.day(30),
        last_used=site.day(12),
    )
    happened(site, 5, "03:41:09", f"{b}-MAIN", "granted", card=as_logged(held))
    yield entry(
        "used-after-departure",
        "let in six days after the last day",
        person=gone["person_id"],
        card=held["card_id"],
    )
    yield entry("used-while-suspended", "suspended, and let in", card=held["card_id"])


def stranger(site: Site) -> Iterator[Entry]:
    """A card that no register knows opened an entrance."""
    b = _first_building(site)
    number, _ = new_number(site, site.random("stranger"), "decimal")
    happened(site, 4, "03:22:51", f"{b}-MAIN", "granted", card=number)
    yield entry("used-unknown", "let in, in no register", door=f"{b}-MAIN", number=number)


def burst(site: Site) -> Iterator[Entry]:
    """Somebody tried fourteen times in four minutes."""
    door = f"{_first_building(site)}-MAIN"
    for nth in range(14):
        happened(site, 6, "02:31:08", door, "denied", seconds=17 * nth)
    yield entry("refused-burst", "fourteen refusals in four minutes", door=door)


def two_places(site: Site) -> Iterator[Entry]:
    """One card at two buildings within three seconds."""
    used = Counter(row["card_number"] for row in site.tables["events"] if row["event"] == "granted")
    staff = {row["person_id"] for row in site.tables["people"] if row["role"] == "staff"}
    plants = [row["door_id"] for row in site.tables["doors"] if row["door_id"].endswith("-PLANT")]
    if len(plants) < 2:
        raise NoneLeftError("one-card-two-places")
    (held,) = pick(
        site,
        "cards",
        1,
        lambda row: (
            row["person_id"] in staff and row["status"] == "active" and used[as_logged(row)] > 0
        ),
        "one-card-two-places",
    )
    for nth in range(2):
        happened(site, 7, "04:47:12", plants[nth], "granted", card=as_logged(held), seconds=3 * nth)
        happened(site, 7, "04:47:14", plants[nth], "opened", seconds=3 * nth)
    yield entry("one-card-two-places", "two buildings within three seconds", card=held["card_id"])
    by_night = {
        row["holder_id"] for row in site.tables["permissions"] if row["schedule_id"] == "S-NIGHT"
    }
    for plant in () if held["person_id"] in by_night else plants[:2]:
        yield entry(
            "used-outside-hours", "before five, by day alone", card=held["card_id"], door=plant
        )


def at_the_wrong_hour(site: Site) -> Iterator[Entry]:
    """Somebody of the agent's came in at a quarter past three."""
    door = f"{_first_building(site)}-MAIN"
    agents = {row["person_id"] for row in site.tables["people"] if row["role"] == "agent"}
    held = _own_card(site, agents, "used-outside-hours")
    happened(site, 12, "03:15:27", door, "granted", card=as_logged(held))
    happened(site, 12, "03:15:29", door, "opened")
    yield entry("used-outside-hours", "at night, by day alone", card=held["card_id"], door=door)


def where_it_may_not(site: Site) -> Iterator[Entry]:
    """A resident's card opened the plant room."""
    residents = {
        row["person_id"]
        for row in site.tables["people"]
        if row["role"] == "resident" and row["status"] in ("current", "")
    }
    held = _own_card(site, residents, "used-without-permission")
    door = f"{held['dwelling_id'].split('-')[0]}-PLANT"
    happened(site, 13, "04:21:33", door, "granted", card=as_logged(held))
    happened(site, 13, "04:21:35", door, "opened")
    yield entry(
        "used-without-permission", "no permission at that door", card=held["card_id"], door=door
    )


def _own_card(site: Site, holders: set[str], purpose: str) -> Row:
    today = site.as_of.isoformat()
    (held,) = pick(
        site,
        "cards",
        1,
        lambda row: (
            row["person_id"] in holders
            and row["person_id"] not in site.taken
            and row["kind"] == "ordinary"
            and live(row, today)
            and row["issued_on"] < site.day(30)
        ),
        purpose,
    )
    site.taken.add(held["person_id"])
    return held


def alarms(site: Site) -> Iterator[Entry]:
    """A door forced, and a code used under duress."""
    b = _first_building(site)
    happened(site, 8, "02:58:40", f"{b}-STORE", "forced")
    happened(site, 8, "03:04:10", f"{b}-STORE", "tamper")
    happened(site, 9, "20:15:33", f"{b}-MAIN", "duress")
    yield entry("forced-door", "forced and tampered with", door=f"{b}-STORE")
    yield entry("duress-used", "a duress code was used", door=f"{b}-MAIN")


def propped_open(site: Site) -> Iterator[Entry]:
    """A store that stands open every other day."""
    (door,) = pick(
        site,
        "doors",
        1,
        lambda row: (
            row["door_id"].endswith(("-LIFT", "-CP", "-PARCEL")) and row["status_monitor"] != "none"
        ),
        "held-open-often",
    )
    for nth in range(9):
        happened(site, 2 + 2 * nth, "05:10:20", door["door_id"], "held", seconds=nth)
    yield entry("held-open-often", "nine times in three weeks", door=door["door_id"])


def silent_monitor(site: Site) -> Iterator[Entry]:
    """A contact that never reports: the door is used and never opens."""
    first = _first_building(site)
    uses = Counter(
        row["door_id"] for row in site.tables["events"] if row["event"] in ("granted", "exit")
    )
    (door,) = pick(
        site,
        "doors",
        1,
        lambda row: (
            uses[row["door_id"]] >= 25
            and row["status_monitor"] != "none"
            # doors that other faults will have events at
            and not row["door_id"].endswith("-PLANT")
            and row["door_id"] not in (f"{first}-MAIN", f"{first}-STORE")
        ),
        "monitor-silent",
    )
    silent = ("opened", "closed", "forced", "held")
    site.tables["events"] = [
        row
        for row in site.tables["events"]
        if row["door_id"] != door["door_id"] or row["event"] not in silent
    ]
    yield entry("monitor-silent", "used, and never seen to open", door=door["door_id"])


def wrong_clocks(site: Site) -> Iterator[Entry]:
    """One door is two days ahead; another reported an hour again."""
    doors = grouped((row for row in site.tables["events"] if row["event"] == "exit"), "door_id")
    if len(doors) < 2:
        raise NoneLeftError("event-out-of-time")
    ahead, behind = site.random("event-out-of-time").sample(sorted(doors), 2)
    happened(site, -2, "11:20:45", ahead, "exit")
    late = happened(site, 3, "09:15:30", behind, "exit")
    last = max(row["time"] for row in site.tables["events"] if row["door_id"] == behind)
    assert last > late["time"]
    site.out_of_order.append(late)
    yield entry("event-out-of-time", "after the as-of date", door=ahead)
    yield entry("event-out-of-time", "times run backwards", door=behind)


FAULTS: tuple[Fault, ...] = (
    silent_monitor,
    propped_open,
    wrong_clocks,
    two_places,
    at_the_wrong_hour,
    where_it_may_not,
    after_departure,
    stranger,
    burst,
    alarms,
)
