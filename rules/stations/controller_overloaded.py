import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.lines import beyond, controllers, line_too_long, named


@rule(
    title="More on a controller, or in a line, than the equipment carries",
    finds="A controller with more units than it carries, with two units on one port, or the"
    " last of a line with more controllers than the equipment allows.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "controller_id")},
    subjects=("station",),
    summary="Controller {station}: {fault}.",
    evidence=("fault", "units", "shared", "in_line"),
    remedy="Move units to free ports of another controller, or begin a new line of controllers.",
    references=(
        Reference(
            "the equipment's data sheet",
            "units on a controller, and controllers in a line (site.toml, [equipment])",
            sure="common practice, no source",
        ),
    ),
)
def controller_overloaded(data: Dataset) -> pd.DataFrame:
    """Beyond what the equipment carries, units go dead, or fail when many are used at once."""
    rows = controllers(data)
    crowded = beyond(rows["units"], data.equipment.units_per_controller)
    long = line_too_long(rows, data.equipment.controllers_in_line)
    faults = {
        "too many units": crowded,
        "two units on one port": rows["doubled"],
        "too many controllers in its line": long,
    }
    return rows.assign(
        station=rows["station_id"],
        fault=named(faults),
        fails=(crowded | rows["doubled"] | long).mask(rows["kind"].isna()),
    )


_LIMITS = {"units_per_controller": 2, "controllers_in_line": 2}

EXAMPLES = (
    Example(
        "two units are carried, each on its own port",
        """
        stations
        station_id | kind           | controller_id | port
        C1         | controller     |               |
        C2         | controller     |               |
        C3         | controller     |               |
        C4         |                |               |
        U1         | answering-unit | C1            | 1
        U2         | answering-unit | C1            | 2
        U3         | answering-unit | C1            |
        V1         | answering-unit | C2            | 1
        V2         | answering-unit | C2            | 2
        V3         | entrance-panel | C2            | 6
        W1         | answering-unit | C3            | 1
        W2         | answering-unit | C3            | 01
        """,
        equipment=_LIMITS,
        expect={"C1": False, "C2": True, "C3": True, "C4": None, "U1": OUT},
    ),
    Example(
        "the last of a line of three, where two are carried",
        """
        stations
        station_id | kind       | controller_id | port
        A1         | controller |               |
        A2         | controller | A1            |
        B1         | controller |               |
        B2         | controller | B1            |
        B3         | controller | B2            |
        X1         | controller | gone          |
        X2         | controller | X1            |
        X3         | controller | X2            |
        Y1         | controller | gone          |
        Z1         | controller | Z2            |
        Z2         | controller | Z1            |
        """,
        equipment=_LIMITS,
        expect={
            "A1": False,
            "A2": False,
            "B1": False,
            "B2": False,
            "B3": True,
            "X1": False,
            "X2": False,
            "X3": True,
            "Y1": None,
            "Z1": None,
            "Z2": None,
        },
    ),
    Example(
        "a limit that is not given is not checked, and says so",
        """
        stations
        station_id | kind           | controller_id | port
        C1         | controller     |               |
        C2         | controller     |               |
        U1         | answering-unit | C1            | 1
        U2         | answering-unit | C1            | 1
        """,
        expect={"C1": True, "C2": None},
    ),
    Example(
        "without ports nothing can be said of units, and a line is counted all the same",
        """
        stations
        station_id | kind           | controller_id
        C1         | controller     |
        C2         | controller     | C1
        C3         | controller     | C2
        """,
        equipment=_LIMITS,
        expect={"C1": None, "C2": None, "C3": True},
    ),
)
