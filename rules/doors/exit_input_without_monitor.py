import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import doors


@rule(
    title="Exit input without a status monitor",
    finds="A door with an exit input (a button, a sensor, a switch in the handle) and without a"
    " status monitor.",
    priority="planned",
    upload=True,
    needs={"doors": ("exit_input", "status_monitor")},
    subjects=("door",),
    summary="Door {door} has an exit input ({exit_input}) and no status monitor: nobody learns"
    " that it was left open or forced.",
    evidence=("exit_input", "lock"),
    remedy="Fit a door contact, wire it to the panel or controller, and set the held-open time;"
    " if there is one already, enter it in the register.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Access point status monitoring, Table 2 C line 20",
            "the status of an access point is monitored: mandatory from grade 2, optional at 1",
            sure="read",
        ),
        Reference(
            "Installers of door panels",
            "a panel has inputs for the exit button and for the door contact; only the contact"
            " tells of a door that does not close or is opened without release",
            sure="common practice, no source",
        ),
    ),
)
def exit_input_without_monitor(data: Dataset) -> pd.DataFrame:
    """An exit button unlocks the door and tells nobody whether it shut again, or was forced."""
    own = doors(data, "lock", "exit_input", "status_monitor")
    freed = own["exit_input"] != "none"
    own = own.assign(freed=freed)[freed.fillna(True)]
    return own.assign(fails=own["freed"] & (own["status_monitor"] == "none"))


EXAMPLES = (
    Example(
        "every exit input, every monitor",
        """
        doors
        door_id | lock   | exit_input    | status_monitor
        BUTTON  | magnet | button        | none
        SENSOR  | magnet | sensor        | none
        HANDLE  | strike | handle-switch | none
        CONTACT | magnet | button        | contact
        BOLT    | bolt   | button        | contact-and-bolt
        LOCKED  | strike | none          | none
        WATCHED | strike | none          | contact
        """,
        expect={
            "BUTTON": True,
            "SENSOR": True,
            "HANDLE": True,
            "CONTACT": False,
            "BOLT": False,
            "LOCKED": OUT,
            "WATCHED": OUT,
        },
    ),
    Example(
        "an empty cell is no proof that a monitor is missing, nor that there is one",
        """
        doors
        door_id | lock   | exit_input | status_monitor
        EMPTY   | magnet | button     |
        DASH    | magnet | button     | -
        TEXT    | magnet | button     | see plan
        INPUT   | magnet |            | none
        BOTH    | magnet |            |
        SEEN    | magnet |            | contact
        NEITHER | magnet | none       |
        """,
        expect={
            "EMPTY": None,
            "DASH": None,
            "TEXT": None,
            "INPUT": None,
            "BOTH": None,
            "SEEN": False,
            "NEITHER": OUT,
        },
    ),
    Example(
        "a door without a lock can be left open too",
        """
        doors
        door_id | lock | exit_input | status_monitor
        SLIDING | none | sensor     | none
        """,
        expect={"SLIDING": True},
    ),
)
