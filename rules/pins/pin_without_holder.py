import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.subjects import once_each
from rules.pins._shared import unheld


@rule(
    title="PIN with no holder",
    finds="A personal PIN that names neither a person nor a dwelling, or a shared, delivery or"
    " unit-release PIN that names neither a dwelling nor a door nor a station.",
    priority="planned",
    upload=True,
    needs={"pins": ("kind",)},
    subjects=("pin",),
    cause=Cause("column", ("=pins.person_id",)),
    summary="PIN {pin} ({kind}) has no holder, door or panel entered.",
    evidence=("kind",),
    do=(
        Step(
            "Find out whose PIN it is and enter it, or delete it.",
            who="office",
            does="record",
        ),
    ),
    cites=(
        "en-60839-11-1-2013-6-4-3",
        "nist-sp-800-53-revision-5-1-1-ac-2-3",
    ),
)
def pin_without_holder(data: Dataset) -> pd.DataFrame:
    """A PIN that belongs to nobody is never cancelled, because nobody is asked about it."""
    pins = unheld(data)
    return once_each(data, pins.assign(fails=pins["live"] & pins["unheld"]), "pins", "pin")
