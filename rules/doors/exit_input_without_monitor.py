import pandas as pd

from audit.arithmetic.freedom import is_word
from audit.arithmetic.three import YES
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged, words, words_of_locks


@rule(
    title="Exit button without a door contact",
    finds=(
        "A door that is unlocked from inside by a button, sensor or switched handle, and has no"
        " contact that reports whether it is shut."
    ),
    priority="planned",
    upload=True,
    needs={"doors": ("exit_input", "status_monitor")},
    uses=("locks",),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} has an exit input ({exit_input}) and no status monitor.",
    evidence=("exit_input",),
    do=(
        Step(
            "Fit a door contact and connect it to the controller.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-access-point-status-monitorin",),
)
def exit_input_without_monitor(data: Dataset) -> pd.DataFrame:
    """An exit button unlocks the door and tells nobody whether it shut again or was forced."""
    own = doors(data)
    scope = own.per_door(own.locks.input)
    bare = is_word(words(own.frame["status_monitor"]), "none")
    named = words_of_locks(data, "exit_input")
    inputs = pd.Series(named, own.at)[own.locks.input == YES].groupby(level=0).first()
    return judged(
        data,
        scope,
        bare,
        ("exit_input", "status_monitor"),
        life_safety=False,
        exit_input=inputs.reindex(range(len(own.frame))).to_numpy(object),
    )
