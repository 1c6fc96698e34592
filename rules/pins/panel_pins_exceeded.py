import numpy as np
import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.pin_holders import _numbered
from rules.pins._shared import live_pins


@rule(
    title="More PINs than the panel can store",
    finds="More live PINs set at a panel than it can store; administrator codes not counted.",
    priority="planned",
    upload=True,
    needs={"pins": ("station_id",)},
    equipment=("pins_per_panel",),
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary="{sure:1 PIN is|% PINs are} set at panel {station}; it can store {most}.",
    evidence=("sure", "most"),
    do=(
        Step(
            "Withdraw PINs that are not needed, or move some to another panel.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("data-sheet-of-the-equipment-as-the-installer-giv",),
)
def panel_pins_exceeded(data: Dataset) -> pd.DataFrame:
    """PINs that do not fit are dropped at upload, and their holders are locked out."""
    most = data.equipment.pins_per_panel or 0
    panels = panel_pins(data)
    over = (panels["sure"] > most).astype("boolean")
    return panels.assign(most=most, fails=over.mask(~over & (panels["possible"] > most)))


def panel_pins(data: Dataset) -> pd.DataFrame:
    """The stations that PINs name: how many live PINs each surely holds, and possibly.

    Admin codes aside; a kind that is not given may be one. The index is that of the station's
    first PIN, `sources` names all of them.
    """
    pins = live_pins(data)
    pins = pins[pins["station_id"].notna() & pins["kind"].ne("admin").fillna(True)]
    sure = pins["live"].fillna(False).to_numpy(bool) & pins["kind"].notna().to_numpy()
    at = _numbered(pins["station_id"])
    many = np.bincount(at)
    by_station = np.split(pins.index.to_numpy()[np.argsort(at, kind="stable")], np.cumsum(many))
    sources = [[("pins", int(label)) for label in labels] for labels in by_station[: len(many)]]
    first = pd.Index([rows[0][1] for rows in sources], dtype="int64")
    return pd.DataFrame(
        {
            "station": pins["station_id"].loc[first],
            "sure": np.bincount(at, sure, minlength=len(many)).astype(np.int64),
            "possible": many,
            "sources": pd.Series(sources, index=first, dtype=object),
        }
    )
