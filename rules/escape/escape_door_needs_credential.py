import numpy as np
import pandas as pd

from audit.arithmetic.freedom import all_of, opposite
from audit.arithmetic.three import YES
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import controlled, doors, judged, on_route, words


@rule(
    title="Escape door that people cannot leave without a card or PIN",
    finds=(
        "A controlled door on an escape route without exit button, sensor or switched handle,"
        " and without a handle that opens the lock from inside. A magnet has no handle,"
        " whatever is recorded."
    ),
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={"doors": ("escape_route", "lock", "exit_input", "mechanical_exit")},
    uses=("locks",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} is on an escape route and lets people out only by {only_by}.",
    evidence=("only_by",),
    do=(
        Step(
            "Have a competent person say how this door is to be opened in an emergency; then"
            " fit an exit input and a mechanical exit on the escape side. If a competent person"
            " has shown that it is not an escape route, record their document.",
            who="door fitter",
            does="free",
        ),
    ),
    cites=(
        "approved-document-b-england-2019-with-amendments-2",
        "nfpa-101-locks-and-latches-7-2-1-5",
    ),
)
def escape_door_needs_credential(data: Dataset) -> pd.DataFrame:
    """Anyone escaping without a card, or with a card that fails, is trapped."""
    own = doors(data)
    locks = own.locks
    fault = all_of(locks.powered, opposite(locks.input), opposite(locks.handle))
    reader = words(own.frame["exit_reader"].map({True: "yes", False: "no"}))
    manual = own.per_door(locks.manual) == YES
    only_by = np.where(
        reader == "yes",
        "a card or PIN",
        np.where(manual, "the emergency release", "means that are not recorded"),
    )
    return judged(
        data,
        all_of(on_route(data), controlled(data)),
        own.per_door(fault),
        ("escape_route", "lock", "exit_input", "mechanical_exit"),
        only_by=only_by,
    )
