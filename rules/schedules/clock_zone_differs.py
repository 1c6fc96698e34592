import pandas as pd

from audit.arithmetic.recurrence import coming_year
from audit.arithmetic.weeks import asked, same_clock, zone_named
from audit.contract import Dataset, Example, Reference, rule


@rule(
    title="A station in another time zone",
    finds="A station whose time zone differs from the site's at any time of the year.",
    priority="planned",
    upload=True,
    needs={"stations": ("timezone",)},
    subjects=("station",),
    summary="Station {station} keeps the time of {timezone}; the site's is {site_timezone}.",
    evidence=("timezone", "site_timezone"),
    remedy="Set the station's time zone to the site's.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Table 4 line 1; 6.4",
            "from grade 2 the clock keeps to 10 s a week and handles summer time and leap years",
            sure="read",
        ),
        Reference(
            "Clocks of door-entry systems",
            "set the zone, follow network time, mind summer time; each unit on its own",
            sure="common practice, no source",
        ),
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


EXAMPLES = (
    Example(
        "the same zone, one that shows the same time all year, one that does in winter only",
        """
        stations
        station_id | kind       | timezone
        SAME       | controller | Europe/Dublin
        LIKE       | controller | Europe/London
        WINTER     | controller | UTC
        OTHER      | controller | Europe/Paris
        BLUR       | controller | Mars/Base
        BLANK      | controller |
        """,
        expect={
            "SAME": False,
            "LIKE": False,
            "WINTER": True,
            "OTHER": True,
            "BLUR": None,
            "BLANK": None,
        },
    ),
)
