import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.activity import out_of_time


@rule(
    title="Events later than today, or running backwards",
    finds="Events of a door that lie after the day of the audit, or whose times run backwards"
    " by more than a minute in the order of the file.",
    priority="advisory",
    needs={"events": ()},
    subjects=("door",),
    summary="The times recorded at door {door} can't be right{later:; 1 event lies after the"
    " day of the audit|; % events lie after the day of the audit|}{backwards:; they run"
    " backwards once|; they run backwards % times|}.",
    evidence=("later", "backwards", "times"),
    remedy="Set the clock of the door's controller, and let it follow network time.",
    references=(
        Reference(
            "EN 60839-11-1:2013, Table 4 line 1",
            "the clock keeps within 10 s a week and follows summer time: mandatory from grade 2",
            sure="read",
        ),
    ),
    cannot={"unclear": "an event row without time, door or event is set aside and reported"},
)
def event_out_of_time(data: Dataset) -> pd.DataFrame:
    """With a wrong clock the record proves nothing, and schedules open the door at wrong hours."""
    rows = out_of_time(data)
    return rows.assign(fails=(rows["later"] > 0) | (rows["backwards"] > 0))


EXAMPLES = (
    Example(
        "a minute back may happen, and so may the last minute of the as-of day",
        """
        events
        time                 | door_id | event
        2026-09-30T10:00:00  | D1      | opened
        2026-09-30T09:59:00  | D1      | closed
        2026-09-30T10:00:00  | D2      | opened
        2026-09-30T09:58:59  | D2      | closed
        2026-09-30T23:59:59  | D3      | opened
        2026-10-01T00:00:00  | D4      | opened
        2026-09-30T01:00:00  | D5      | opened

        doors
        door_id
        D6
        """,
        expect={"D1": False, "D2": True, "D3": False, "D4": True, "D5": False, "D6": OUT},
    ),
    Example(
        "a file in descending order throughout is read from its end",
        """
        events
        time                 | door_id | event
        2026-09-30T10:00:00  | D1      | opened
        2026-09-30T09:00:00  | D1      | closed
        2026-09-30T08:00:00  | D2      | closed
        """,
        expect={"D1": False, "D2": False},
    ),
)
