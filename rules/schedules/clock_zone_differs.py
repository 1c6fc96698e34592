import pandas as pd

from audit.arithmetic.recurrence import coming_year
from audit.arithmetic.weeks import asked, same_clock, zone_named
from audit.contract import Cause, Dataset, Step, rule


@rule(
    title="A station in another time zone",
    finds="A station whose time zone differs from the site's at any time of the year.",
    priority="planned",
    upload=True,
    needs={"stations": ("timezone",)},
    subjects=("station",),
    cause=Cause("column", ("=stations.timezone",)),
    summary="Station {station} keeps the time of {timezone}; the site's is {site_timezone}.",
    evidence=("timezone", "site_timezone"),
    do=(Step("Set the station's time zone to the site's.", who="panel technician", does="cut"),),
    cites=(
        "en-60839-11-1-2013-table-4-line-1-6-4",
        "clocks-of-door-entry-systems",
    ),
    cannot={"out": "every station is in scope"},
)
def clock_zone_differs(data: Dataset) -> pd.DataFrame:
    """Its schedules begin and end at the wrong hour, and its records tell another time."""
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
