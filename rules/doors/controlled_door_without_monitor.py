import pandas as pd

from audit.arithmetic.freedom import all_of, is_word, opposite
from audit.arithmetic.three import coded
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.doors import doors, judged, words
from audit.facts.grades import inside_grade


@rule(
    title="Controlled door of a guarded zone without a contact",
    finds=(
        "A controlled door without exit input and without status monitor, into a zone of"
        " security grade 2 or higher."
    ),
    priority="planned",
    upload=True,
    needs={"doors": ("lock", "exit_input", "status_monitor", "inside_zone")},
    uses=("locks", "zones"),
    subjects=("door",),
    cause=Cause("door", ("door",)),
    summary="Door {door} leads into a zone of grade {grade} and has no status monitor.",
    evidence=("grade",),
    do=(
        Step(
            "Fit a door contact and connect it to the controller.",
            who="door fitter",
            does="fit",
        ),
    ),
    cites=("en-60839-11-1-2013-table-2-line-20",),
)
def controlled_door_without_monitor(data: Dataset) -> pd.DataFrame:
    """A lock keeps nobody out while the door is open, and without a monitor nobody is told."""
    own = doors(data)
    grade = inside_grade(data).loc[own.frame.index]
    guarded = coded((grade >= 2).astype("boolean"))
    scope = all_of(
        own.per_door(own.locks.powered), opposite(own.per_door(own.locks.input)), guarded
    )
    bare = is_word(words(own.frame["status_monitor"]), "none")
    return judged(
        data,
        scope,
        bare,
        ("lock", "exit_input", "status_monitor", "inside_zone"),
        life_safety=False,
        grade=grade,
    )
