import pandas as pd

from audit.contract import Dataset, Example, Reference, rule
from rules.stations._shared import stations


@rule(
    title="Administrator's code as delivered",
    finds="A station whose administrator's code is still the one it was delivered with.",
    priority="immediate",
    upload=True,
    needs={"stations": ("admin_code",)},
    subjects=("station",),
    summary="Station {station} still has the administrator's code that it was delivered with.",
    remedy="Set a code of its own at this station, and keep it where the site keeps its secrets.",
    references=(
        Reference(
            "NIST SP 800-53 rev 5.1.1, IA-5 (e)", "change defaults before first use", sure="read"
        ),
        Reference(
            "EN 60839-11-1:2013, Table 7 line 16",
            "factory pre-set values can be overwritten: mandatory at grades 3 and 4",
            sure="quoted",
        ),
    ),
    cannot={"out": "every station that is listed may have an administrator's code"},
)
def admin_code_default(data: Dataset) -> pd.DataFrame:
    """The code that a station is delivered with stands in its manual, which anyone can read.

    Whoever knows it can add a PIN, open the door and change every setting.
    """
    rows = stations(data)
    return rows.assign(
        station=rows["station_id"],
        fails=(rows["admin_code"] == "default").mask(rows["admin_code"] == "unknown"),
    )


EXAMPLES = (
    Example(
        "only a code known to be changed is in order",
        """
        stations
        station_id | kind           | admin_code
        S1         | entrance-panel | default
        S2         | entrance-panel | changed
        S3         | controller     | unknown
        S4         | answering-unit |
        """,
        expect={"S1": True, "S2": False, "S3": None, "S4": None},
    ),
)
