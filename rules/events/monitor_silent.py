import numpy as np
import pandas as pd

from audit.arithmetic.plain import places, taken, word_codes
from audit.arithmetic.three import NO, UNCLEAR, YES, nullable
from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.facts.log import MONITORS, log
from audit.facts.standing import by_id


@rule(
    title="Door monitor that reports nothing",
    finds="A door with a status monitor that let people through twenty times or more and never"
    " reported being opened, closed, forced or held, while another door of the site does.",
    priority="planned",
    needs={"events": (), "doors": ("status_monitor",)},
    subjects=("door",),
    summary="Door {door} let people through {passages} times and never reported being open.",
    evidence=("passages", "status_monitor"),
    remedy="Test the door's contact and its line to the controller.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Table 2 line 20",
            "the access point's status is monitored: mandatory from grade 2 on",
            sure="read",
        ),
    ),
)
def monitor_silent(data: Dataset) -> pd.DataFrame:
    """The register counts on this monitor; if it is dead, nobody learns that the door is forced."""
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


EXAMPLES = (
    Example(
        "twenty passages and not a word, while another door speaks",
        f"""
        events
        time | door_id | event
{_passages("D1", "granted", 19)}
        2026-09-01T10:00:19Z | D1 | exit
{_passages("D2", "granted", 19)}
{_passages("D3", "granted", 20)}
        2026-09-01T11:00:00Z | D3 | opened
{_passages("D4", "granted", 20)}
{_passages("D5", "granted", 20)}
{_passages("D9", "exit", 20)}
{_DOORS}""",
        expect={"D1": True, "D2": False, "D3": False, "D4": OUT, "D5": None, "D9": None},
    ),
    Example(
        "where no door reports its openings, the file just does not carry them",
        f"""
        events
        time | door_id | event
{_passages("D1", "granted", 20)}
{_passages("D2", "granted", 19)}
        2026-09-01T11:00:00Z | D3 | forced
{_DOORS}""",
        expect={"D1": None, "D2": False, "D3": False},
    ),
)
