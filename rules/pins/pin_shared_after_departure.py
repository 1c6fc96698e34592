from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.arithmetic.three import Bools
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.standing import departed
from audit.facts.subjects import once_each
from rules.pins._shared import live_pins, of_person


@rule(
    title="Shared PIN known to someone who has left",
    finds="A shared or unit-release PIN, or an administrator's code, set on or before the last"
    " day of somebody who has left and could know it.",
    priority="immediate",
    upload=True,
    needs={"pins": ("kind", "set_on"), "people": ()},
    subjects=("pin", "person"),
    anchor=("pin",),
    cause=Cause("pin", ("pin",)),
    policy=("departure_grace_days",),
    summary="PIN {pin} ({kind}), set on {set_on}, may be known to {person:%, who has left|%,"
    " who have left}.",
    evidence=("kind", "set_on"),
    do=(
        Step(
            "Change the PIN and tell those who still need it.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-revision-5-1-1-pe-3-g-ac-2-k-ia-5",
        "iso-iec-27002-2022-5-18-2",
    ),
)
def pin_shared_after_departure(data: Dataset) -> pd.DataFrame:
    """A PIN cannot be handed back. Anyone who knows it can still get in until it is changed.

    Codes of a dwelling are known to its people; codes of a door or station, and the
    administrator's, to staff, contractors and agents.
    """
    return once_each(data, known_to_departed(data), "pins", "pin")


STAFF_ROLES: Final = ("staff", "contractor", "agent")


STAFF: Final = "staff"


def known_to_departed(data: Dataset) -> pd.DataFrame:
    """Shared codes with the departed people who could know them, as a rule returns them.

    A shared or unit-release PIN of a dwelling: people of that dwelling. An admin code, and a
    shared or delivery PIN of a door or station and of no dwelling: staff, contractors, agents.
    Known is what was set on or before their last day. `person` is a list where it fails.
    """
    pins, circle = _told_to(data)
    people, last, unsure, member_of = _departed(data)
    given = pins["set_on"].to_numpy()
    dated = ~np.isnat(given)
    # circles as numbers: a dwelling's from 0, the staff's last, -1 where the kind is unknown
    names, count = pd.factorize(np.concatenate([circle, member_of]), use_na_sentinel=True)
    mine, theirs = names[: len(circle)], names[len(circle) :]
    newest = np.full(len(count) + 1, np.datetime64("NaT"), last.dtype)
    doubtful = np.zeros(len(count) + 1, bool)
    order = np.argsort(last, kind="stable")
    order = order[~unsure[order]]
    newest[theirs[order]] = last[order]
    doubtful[theirs[unsure]] = True
    newest[-1], doubtful[-1] = np.datetime64("NaT"), True
    known = dated & (newest[mine] >= given)
    unclear = ~known & (doubtful[mine] | (~dated & ~np.isnat(newest[mine])))
    fails = pd.Series(pd.arrays.BooleanArray(known, unclear), index=pins.index)
    fails = fails & (pins["live"] | ~fails)
    person = np.full(len(pins), None, object)
    failing = np.flatnonzero(fails.fillna(False))
    if len(failing):
        by_circle = order[np.argsort(theirs[order], kind="stable")]
        start = np.searchsorted(theirs[by_circle], mine[failing])
        end = np.searchsorted(theirs[by_circle], mine[failing], side="right")
        for at, a, b in zip(failing.tolist(), start.tolist(), end.tolist(), strict=True):
            since = a + int(np.searchsorted(last[by_circle[a:b]], given[at]))
            person[at] = sorted(set(people[by_circle[since:b]]))
    return pins.assign(person=person, fails=fails)


Objects = npt.NDArray[np.object_]


def _told_to(data: Dataset) -> tuple[pd.DataFrame, Objects]:
    """The PINs that several people know, and who: a dwelling, STAFF, None: kind not given."""
    pins = live_pins(data)
    kind = pins["kind"]
    concerned = kind.isin(("admin", "shared", "delivery", "unit-release")) | kind.isna()
    home = pins["dwelling_id"].fillna(of_person(data, "dwelling_id"))[concerned]
    pins, kind = pins[concerned], kind[concerned]
    housed = home.notna().to_numpy()
    placed = ~housed & (pins["door_id"].notna() | pins["station_id"].notna()).to_numpy(bool)
    staff = kind.eq("admin").fillna(False).to_numpy(bool)
    staff |= kind.isin(("shared", "delivery")).to_numpy(bool) & placed
    at_home = kind.isin(("shared", "unit-release")).to_numpy(bool) & housed & ~staff
    circle = np.full(len(pins), None, object)
    circle[at_home] = ("home " + home[at_home]).to_numpy(object)
    circle[staff] = STAFF
    scope = at_home | staff | kind.isna().to_numpy()
    return pins[scope], circle[scope]


def _departed(data: Dataset) -> tuple[Objects, npt.NDArray[np.datetime64], Bools, Objects]:
    """Everyone who has or may have left, once for each circle they were in.

    Their ids, their last days, whether it is unsure (that they left, when, or as what they
    came), and the circle.
    """
    gone = departed(data)
    people = data["people"][gone.fillna(True)]
    unsure = (gone[people.index].isna() | people["end_date"].isna()).to_numpy(bool)
    grace = pd.Timedelta(days=data.policy.departure_grace_days)
    role = people["role"]
    home = np.flatnonzero(people["dwelling_id"].notna())
    staff = np.flatnonzero(role.isin(STAFF_ROLES) | role.isna())
    both = np.concatenate([home, staff])
    circle = np.full(len(both), STAFF, object)
    circle[: len(home)] = ("home " + people["dwelling_id"].iloc[home]).to_numpy(object)
    unsure = unsure[both]
    unsure[len(home) :] |= role.iloc[staff].isna().to_numpy()
    return (
        people["person_id"].to_numpy(object)[both],
        (people["end_date"] + grace).to_numpy()[both],
        unsure,
        circle,
    )
