import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.escape._shared import capacity_of_buildings, capacity_of_zones


@rule(
    title="Exits that pass fewer people than need them",
    finds=(
        "A zone with two or more exits, or a building with two or more final exits, which by"
        " the local code's table and its rule for several exits pass fewer people than must"
        " leave by them."
    ),
    priority="planned",
    life_safety=True,
    needs={"doors": ("clear_width_mm", "inside_zone", "outside_zone"), "zones": ("occupants",)},
    uses=("locks", "dwellings", "buildings"),
    policy=("width_bands", "mm_per_person", "several_exits", "people_counted"),
    subjects=("zone", "building"),
    cause=Cause("zone", ("zone",)),
    summary=(
        "The exits of {place} have capacity for {passes:no one|1 person|% people} by the rule"
        " for several exits; at least {people:1 person needs|% people need} them."
    ),
    evidence=("people", "passes", "exits", "place"),
    do=(
        Step(
            "Have a competent person confirm widths and numbers of people; then widen an exit,"
            " provide another, or lower the number of people.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-volume-2-2019-with-a-3",
        "building-bulletin-100-england-2007-widths-of-exi",
        "international-building-code-2021-1005-5",
    ),
)
def exit_capacity_short(data: Dataset) -> pd.DataFrame:
    """When one exit is lost, the others must carry everybody who is left."""
    zones_ = capacity_of_zones(data)
    at_fault = set(zones_.loc[zones_["fails"].fillna(False).to_numpy(bool), "of"])
    buildings = capacity_of_buildings(data)
    return pd.concat([zones_, buildings[~buildings["of"].isin(at_fault)]])
