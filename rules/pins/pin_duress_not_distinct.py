import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from rules.pins._shared import reused_codes


@rule(
    title="Duress PIN with the code of an ordinary one",
    finds="A live duress PIN that has the same digits as an ordinary one.",
    priority="immediate",
    upload=True,
    needs={"pins": ("pin", "kind")},
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="PINs {pin} have the same code, and a duress PIN is among them.",
    evidence=("count", "digits"),
    do=(
        Step(
            "Give the duress PIN a code that no other PIN has, and tell its holder.",
            who="office",
            does="cut",
        ),
    ),
    cites=("en-60839-11-1-2013-6-5-duress",),
)
def pin_duress_not_distinct(data: Dataset) -> pd.DataFrame:
    """Either a call for help is taken for an ordinary entry, or an ordinary entry for a call.

    The controller can't tell one from the other where the codes are the same.
    """
    return reused_codes(data, duress=True)
