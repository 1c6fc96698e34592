import numpy as np
import pandas as pd

from audit.arithmetic.plain import places, taken, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.log import MONITORS, log
from audit.facts.standing import by_id


@rule(
    title="Door monitor never reports",
    finds="A monitored door used twenty times or more that never reported opened, closed, forced"
    " or held open, while another door on the site did.",
    priority="planned",
    needs={"events": (), "doors": ("status_monitor",)},
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} was used {passages} times but never reported opening.",
    evidence=("passages", "status_monitor"),
    do=(
        Step(
            "Test the door contact and its wiring to the controller.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-table-2-line-20",),
)
def monitor_silent(data: Dataset) -> pd.DataFrame:
    """The register relies on this monitor. If it is dead, nobody will know when the door is
    forced.
    """
    rows = openings(data)
    rows = rows[(rows["status_monitor"] != "none").fillna(True)]
    silent = (rows["passages"] >= 20) & (rows["reports"] == 0)
    return rows.assign(fails=silent & rows["monitored"] & rows["told_elsewhere"])


def _passages(door: str, event: str, times: int) -> str:
    return "\n".join(f"        2026-09-01T10:00:{n:02}Z | {door} | {event}" for n in range(times))


_DOORS = """
        doors
        door_id | status_monitor
        D1      | contact
        D2      | contact
        D3      | contact-and-bolt
        D4      | none
        D5      |
"""


def openings(data: Dataset) -> pd.DataFrame:
    """A row a door of the file: how often it was passed, and how often it reported its leaf.

    Columns: `door`, `passages` (granted or exit), `reports` (opened, closed, forced or held),
    `status_monitor` (the doors table's word; NA unknown), `monitored` (boolean),
    `told_elsewhere` (boolean: some other door reports openings; NA where none does, for then
    the file may not carry them at all), `sources` (none: the door's own row).
    """
    book = log(data)
    doors = by_id(data, "doors")
    at = places(doors.index, book.doors)
    opened = book.count("opened")
    other = opened.sum() - opened > 0
    monitor = taken(doors["status_monitor"], at)
    word = word_codes(pd.Series(monitor), MONITORS)
    labels = np.append(doors["_label"].to_numpy(), -1)[at].tolist()
    return pd.DataFrame(
        {
            "door": book.doors,
            "passages": book.count("granted", "exit"),
            "reports": book.count("opened", "closed", "forced", "held"),
            "status_monitor": monitor,
            "monitored": nullable(
                np.where(word < 0, UNCLEAR, np.where(word > 0, YES, NO)).astype(np.int8)
            ),
            "told_elsewhere": nullable(np.where(other, YES, UNCLEAR).astype(np.int8)),
            "sources": [[("doors", label)] if label >= 0 else [] for label in labels],
        }
    )
