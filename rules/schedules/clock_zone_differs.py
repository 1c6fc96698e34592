import pandas as pd

from audit.arithmetic.recurrence import coming_year
from audit.arithmetic.weeks import asked, same_clock, zone_named
from audit.contract import Cause, Dataset, Step, rule


@rule(
    title="Wrong time zone",
    finds="A panel or unit whose time zone differs from the site's at any time of the year.",
    priority="planned",
    upload=True,
    needs={"stations": ("timezone",)},
    subjects=("station",),
    cause=Cause("column", ("=stations.timezone",)),
    summary="Station {station} is set to {timezone}; the site is in {site_timezone}.",
    evidence=("timezone", "site_timezone"),
    do=(
        Step(
            "Set the device's time zone to the site's.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-table-4-line-1-6-4",
        "clocks-of-door-entry-systems",
    ),
    cannot={"out": "every station is in scope"},
)
def clock_zone_differs(data: Dataset) -> pd.DataFrame:
    """Its schedules start and end at the wrong time, and its log is out."""
    stations = data["stations"]
    return stations.assign(
        station=stations["station_id"],
        site_timezone=data.site.timezone,
        fails=~shows_site_time(data, stations["timezone"]),
    )


def shows_site_time(data: Dataset, names: pd.Series) -> pd.Series:
    """Whether each time zone shows the site's time all through the coming year (boolean)."""
    span = coming_year(data.as_of)

    def same(name: str) -> bool | None:
        zone = zone_named(name)
        return None if zone is None else same_clock(zone, data.zone, span)

    return asked(same, names)
