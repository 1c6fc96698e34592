import numpy as np
import pandas as pd

from audit.arithmetic.plain import texts
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.stations import named
from rules.stations._shared import board


@rule(
    title="Entrance panel on the wrong controller port",
    finds=(
        "An entrance panel on a controller port not meant for panels, or a second panel on one"
        " controller."
    ),
    priority="planned",
    upload=True,
    needs={"stations": ("kind", "controller_id", "port")},
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary=(
        "Entrance panel {station} {port:is on port %|is on port %|is on port %|has no port}"
        "{controller_id: of controller %|}: {fault}."
    ),
    evidence=("controller_id", "port", "fault", "panel_ports"),
    do=(
        Step(
            "Move the panel to a panel port of a controller with no other panel.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("the-equipment-s-data-sheet-3",),
)
def panel_on_wrong_port(data: Dataset) -> pd.DataFrame:
    """A panel draws more power than the other ports supply: it restarts, and the door stays
    shut.
    """
    rows = panel_ports(data)
    faults = {
        "not the panel port": rows["elsewhere"],
        "the controller has another panel": rows["second"],
    }
    return rows.assign(
        station=rows["station_id"],
        panel_ports=(
            None
            if data.equipment.panel_ports is None
            else ", ".join(map(str, data.equipment.panel_ports))
        ),
        fault=named(faults),
        fails=(rows["elsewhere"] | rows["second"]).mask(rows["kind"].isna()),
    )


def panel_ports(data: Dataset) -> pd.DataFrame:
    """Every entrance panel (and station of unknown kind) with its port.

    Columns: `station_id`, `kind`, `controller_id`, `port` (as plain_number), `elsewhere`
    (boolean: not on the equipment's panel port; NA where either is not given), `second`
    (boolean: another panel of the same controller has the better claim: first the one on the
    equipment's panel port, then the lower id; NA where the controller is not given).
    """
    return data.once(_panel_ports)


def _panel_ports(data: Dataset) -> pd.DataFrame:
    b = board(data)
    at = b.of_kind("entrance-panel")
    port = b.port[at]
    wanted = {str(p) for p in data.equipment.panel_ports or ()}
    right = np.array([t in wanted for t in b.ports] + [False], bool)[port]
    elsewhere = np.where(right, NO, YES).astype(np.int8)
    elsewhere[(port < 0) | (data.equipment.panel_ports is None)] = UNCLEAR
    controller, _ = pd.factorize(b.frame["controller_id"].array.take(at))
    claims: dict[int, list[tuple[bool, str, int]]] = {}
    ids = b.frame["station_id"].array.take(at).tolist()
    for i in np.flatnonzero((controller >= 0) & (b.kind[at] >= 0)).tolist():
        claims.setdefault(int(controller[i]), []).append((bool(elsewhere[i] != NO), ids[i], i))
    second = np.where(controller < 0, UNCLEAR, NO).astype(np.int8)
    for claim in claims.values():
        second[[i for _, _, i in sorted(claim)[1:]]] = YES
    return b.told(
        at,
        controller_id=b.frame["controller_id"].array.take(at),
        port=texts([b.ports[p] if p >= 0 else None for p in port.tolist()]),
        elsewhere=nullable(elsewhere),
        second=nullable(second),
    )
