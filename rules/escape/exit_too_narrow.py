import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.trade.escape import doors_in_fire, settled


@rule(
    title="Escape door too narrow",
    finds="An escape door narrower than the local code's narrowest, or too narrow for the"
    " people who depend on it.",
    priority="planned",
    life_safety=True,
    needs={"doors": ("escape_route", "clear_width_mm")},
    uses=("zones",),
    policy=("narrowest_escape_door_mm", "width_bands", "mm_per_person"),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is {clear_width_mm} mm wide and passes {passes:1 person|%"
    " people|nobody}{people:; at least 1 person depends on it|; at least % people depend on"
    " it|}; {width_needed_mm} mm are needed here.",
    evidence=("clear_width_mm", "passes", "people", "width_needed_mm"),
    do=(
        Step(
            "Widen the door, or lead some of its people another way; have a competent person"
            " confirm the clear width and the number of people by the local code.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-volume-2-2019-with-a-3",
        "international-building-code-2018-size-of-doors-1",
    ),
)
def exit_too_narrow(data: Dataset) -> pd.DataFrame:
    """A door that passes fewer people than come to it makes the rest wait in the smoke."""
    doors = doors_in_fire(data, "escape_route", "clear_width_mm")
    doors = doors[doors["escape_route"].fillna(True)]
    narrow = doors["clear_width_mm"] < data.policy.narrowest_escape_door_mm
    passes = doors["passes"]
    crowded = settled(doors["people_least"] > passes, doors["people_most"] <= passes)
    return doors.assign(
        people=doors["people_least"], fails=doors["escape_route"] & (narrow | crowded)
    )
