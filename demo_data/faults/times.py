"""Schedules that open too much, never, or at an hour that the clock skips."""

from collections.abc import Iterator

from ..households import permit, person
from ..rows import Entry, Site, add, pick
from .ground import AFTER_READ_BACK, Fault, entry


def _schedule(site: Site, name: str, days: str, start: str, end: str, calendar: str = "") -> None:
    add(site, "schedules", schedule_id=name, days=days, start=start, end=end, calendar=calendar)


def _entrance(site: Site, purpose: str) -> dict[str, str]:
    return pick(
        site,
        "doors",
        1,
        lambda row: row["door_id"].endswith("-MAIN") and not row["unlock_schedule"],
        purpose,
    )[0]


def open_before_six(site: Site) -> Iterator[Entry]:
    """An entrance stands unlocked from five in the morning."""
    door = _entrance(site, "entrance-unlocked-in-secure-hours")
    _schedule(site, "S-EARLY", "mon-fri", "05:00", "09:00", "PUBLIC")
    door["unlock_schedule"] = "S-EARLY"
    yield entry(
        "entrance-unlocked-in-secure-hours",
        "unlocked from five, secure until six",
        door=door["door_id"],
    )


def open_on_holidays(site: Site) -> Iterator[Entry]:
    """A schedule that unlocks an entrance knows no holidays."""
    door = pick(
        site,
        "doors",
        1,
        lambda row: (
            row["outside_zone"] == "OUT" and row["entry"] == "card" and row["lock"] == "magnet"
        ),
        "unlock-without-holidays",
    )[0]
    _schedule(site, "S-SHOP", "mon-sat", "09:00", "17:00")
    door["unlock_schedule"] = "S-SHOP"
    yield entry("unlock-without-holidays", "unlocks a door to the street", schedule="S-SHOP")


def windows_overlap(site: Site) -> Iterator[Entry]:
    """Two windows of one schedule share an hour on Wednesdays."""
    _schedule(site, "S-CLEANING", "mon-fri", "08:00", "12:00", "PUBLIC")
    _schedule(site, "S-CLEANING", "wed", "11:00", "14:00", "PUBLIC")
    yield entry("schedule-overlap", "Wednesdays, eleven to twelve", schedule="S-CLEANING")


def never_open(site: Site) -> Iterator[Entry]:
    """A schedule for the holidays of a calendar that has run out."""
    add(site, "calendars", calendar="OLD", date=site.day(500), name="Last day of the old list")
    _schedule(site, "S-OLD", "holiday", "09:00", "12:00", "OLD")
    who = person(site, role="staff", status="current", start_date=site.day(20))
    permit(
        site,
        "person",
        who["person_id"],
        site.day(AFTER_READ_BACK),
        door_group="G-MAINS",
        schedule_id="S-OLD",
    )
    yield entry("schedule-never-open", "no holiday ahead in its calendar", schedule="S-OLD")


def clock_change(site: Site) -> Iterator[Entry]:
    """A window that ends in the hour the clock repeats in autumn and skips in spring."""
    _schedule(site, "S-LATE", "fri sat", "18:00", "01:30")
    yield entry("schedule-in-clock-change", "ends at half past one on a Sunday", schedule="S-LATE")


def clocks(site: Site) -> Iterator[Entry]:
    """A clock that is set by hand, and one in another time zone."""
    by_hand, elsewhere = pick(
        site, "stations", 2, lambda row: row["kind"] == "answering-unit", "clocks"
    )
    by_hand["time_source"] = "manual"
    elsewhere["timezone"] = "Europe/Madrid"
    yield entry("clock-not-synchronised", "set by hand", station=by_hand["station_id"])
    yield entry("clock-zone-differs", "an hour ahead", station=elsewhere["station_id"])


FAULTS: tuple[Fault, ...] = (
    open_before_six,
    open_on_holidays,
    windows_overlap,
    never_open,
    clock_change,
    clocks,
)
