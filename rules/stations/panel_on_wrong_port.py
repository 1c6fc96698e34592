import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.lines import named, panel_ports


@rule(
    title="Entrance panel on a port that can't carry it",
    finds="An entrance panel on another port than the one meant for panels, or a second panel"
    " on one controller.",
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "controller_id", "port")},
    subjects=("station",),
    summary="Entrance panel {station} {port:is on port %|is on port %|is on port %|has no port}"
    "{controller_id: of controller %|}: {fault}.",
    evidence=("controller_id", "port", "fault", "panel_port"),
    remedy="Move the panel to the panel port of a controller that has no other panel.",
    references=(
        Reference(
            "the equipment's data sheet",
            "which port carries an entrance panel (site.toml, [equipment]); one panel a controller",
            sure="common practice, no source",
        ),
    ),
)
def panel_on_wrong_port(data: Dataset) -> pd.DataFrame:
    """A panel draws more power than the other ports give: it restarts, and the door stays shut."""
    rows = panel_ports(data)
    faults = {
        "not the panel port": rows["elsewhere"],
        "the controller has another panel": rows["second"],
    }
    return rows.assign(
        station=rows["station_id"],
        panel_port=data.equipment.panel_port,
        fault=named(faults),
        fails=(rows["elsewhere"] | rows["second"]).mask(rows["kind"].isna()),
    )


EXAMPLES = (
    Example(
        "port 6 carries one panel",
        """
        stations
        station_id | kind            | controller_id | port
        P1         | entrance-panel  | C1            | 6
        P2         | entrance-panel  | C2            | 06
        P3         | entrance-panel  | C2            | 6
        P4         | entrance-panel  | C4            | 5
        P5         | entrance-panel  | C5            |
        P6         | entrance-panel  |               | 6
        P7         | entrance-panel  |               | 1
        A8         | entrance-panel  | C1            |
        S1         | secondary-panel | C1            | 1
        X1         |                 | C9            | 1
        """,
        equipment={"panel_port": 6},
        expect={
            "P1": False,
            "P2": False,
            "P3": True,
            "P4": True,
            "P5": None,
            "P6": None,
            "P7": True,
            "A8": True,
            "S1": OUT,
            "X1": None,
        },
    ),
    Example(
        "without the equipment's port, a second panel is one too many all the same",
        """
        stations
        station_id | kind            | controller_id | port
        P1         | entrance-panel  | C1            | 6
        P2         | entrance-panel  | C1            | 5
        """,
        expect={"P1": None, "P2": True},
    ),
)
