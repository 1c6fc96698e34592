"""What several rules on doors ask: what contradicts itself, what is kept shut, what is overdue."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from audit.arithmetic.freedom import HANDLES, Words, all_of, any_of, is_word, opposite
from audit.arithmetic.three import NO, UNCLEAR, YES, Small, coded
from audit.arithmetic.thresholds import Found, found
from audit.contract import Dataset
from audit.facts.buildings import at_place, zones
from audit.facts.doors import doors, judged, on_route, words, words_of_locks

SILENT_ON_KEPT_LOCKED: Final = "no value in the pack: a closer on a fire door kept locked shut"
ASKS: Final = ("card", "pin", "card-or-pin", "card-and-pin")


def facts_of_doors(data: Dataset) -> dict[str, pd.Series]:
    """What a threshold may hang on, by each door's place."""
    own = doors(data).frame
    return {f: at_place(data, f).loc[own.index] for f in ("kind", "use", "above_11_m", "high_rise")}


def contradictions(data: Dataset) -> list[list[str]]:
    """What cannot be so at each door, in words; only of what is recorded."""
    own = doors(data)
    frame = own.frame
    lists: list[list[str]] = [[] for _ in range(len(frame))]
    entry = words(frame["entry"])
    lock, mechanical, exit_input = (
        words_of_locks(data, c) for c in ("lock", "mechanical_exit", "exit_input")
    )
    power = words_of_locks(data, "power_loss")
    yes = {
        c: np.array([v == "True" for v in words_of_locks(data, c)], bool)
        for c in ("exit_reader", "emergency_release", "alarm_release")
    }
    has_input = (exit_input != "") & (exit_input != "none")
    at_entry = entry[own.at]
    taken = own.locks.taken
    key = taken == "key"
    none = lock == "none"
    handled = (mechanical != "") & (mechanical != "none") & (exit_input != "handle-switch")
    unsaid_switch = exit_input == ""
    for mask, text in (
        (
            (lock == "magnet") & (power == "stays-locked"),
            "a magnet that stays locked without power",
        ),
        ((lock == "magnet") & handled & ~unsaid_switch, "a magnet with a mechanical exit"),
        (none & np.isin(at_entry, ASKS), "no lock, yet entry asks for a card or PIN"),
        (none & has_input, "no lock, yet an exit input"),
        (none & yes["exit_reader"], "no lock, yet an exit reader"),
        (none & yes["emergency_release"], "no lock, yet an emergency release"),
        (none & yes["alarm_release"], "no lock, yet the fire alarm releases it"),
        (key & ~none & has_input, "a key lock with an exit input"),
        (key & ~none & yes["emergency_release"], "a key lock with an emergency release"),
        (key & ~none & yes["alarm_release"], "a key lock that the fire alarm releases"),
        ((lock == "key") & (at_entry == "none"), "a key lock, yet anyone may enter"),
    ):
        for door in own.at[mask].tolist():
            if text not in lists[door]:
                lists[door].append(text)
    delayed = coded((frame["exit_delay_s"] > 0).astype("boolean")) == YES
    powerless = own.per_door(own.locks.powered) == NO
    shut = coded(frame["kept_locked"]) == YES
    route = on_route(data) == YES
    for mask, text in (
        (delayed & powerless, "an exit delay without a controlled lock"),
        (shut & route, "kept locked, yet on an escape route"),
    ):
        for door in np.flatnonzero(mask).tolist():
            lists[door].append(text)
    return lists


def same_dwelling(data: Dataset) -> Small:
    """Whether both sides of each door are the same dwelling zone."""
    frame = doors(data).frame
    inside, outside = frame["inside_zone"], frame["outside_zone"]
    kind = is_word(words(at_place(data, "kind").loc[frame.index]), "dwelling")
    same = (inside == outside).astype("boolean")
    return all_of(kind, coded(same.mask(inside.isna() | outside.isna(), False)))


def kept_shut(data: Dataset) -> Small:
    """Whether each fire door needs no closer: kept locked, or under key into plant or store.

    Never one on an escape route.
    """
    frame = doors(data).frame
    locked = coded(frame["kept_locked"])
    inner = zones(data).frame.set_index("zone")["kind"].reindex(frame["inside_zone"])
    store = is_word(words(inner.reset_index(drop=True)), "plant", "store")
    key = is_word(words(frame["entry"]), "key", "closed")
    return all_of(any_of(locked, all_of(store, key)), opposite(on_route(data)))


def overdue(
    data: Dataset, scope: Small, column: str, limit: Found, rule: str, **more: Any
) -> pd.DataFrame:
    """The doors in scope whose day in `column` is older than the limit's months, or never."""
    own = doors(data)
    frame = own.frame
    last = frame[column]
    late = older_than(last, limit.value, data.today)
    blank = coded(data.blank("doors", column).loc[frame.index]) == YES
    reason = np.asarray(more.pop("reason", np.full(len(frame), "", object))).copy()
    lacks = np.asarray(more.pop("lacks", np.full(len(frame), "", object))).copy()
    _say(reason, lacks, limit, column)
    verdict = np.where(blank, YES, late)
    if limit.silent.any() or (limit.lacks != "").any():
        verdict = np.where(limit.silent | (limit.lacks != ""), UNCLEAR, verdict)
    return judged(
        data,
        scope,
        verdict.astype(np.int8),
        (column,),
        life_safety=False,
        reason=reason,
        lacks=lacks,
        last=last,
        months=limit.value,
        cause_key=round_key(data, rule),
        **more,
    )


def older_than(last: pd.Series, months: pd.Series, today: pd.Timestamp) -> Small:
    """Whether the day so many months later is before today; a later day tells nothing."""
    verdict = np.full(len(last), UNCLEAR, np.int8)
    for count in months.dropna().unique().tolist():
        here = (months == count).fillna(False).to_numpy(bool)
        day = last[here]
        due = day + pd.DateOffset(months=int(count))
        late = coded((due < today).astype("boolean").mask(day.isna() | (day > today)))
        verdict[here] = late
    return verdict


def _say(reason: Words, lacks: Words, limit: Found, column: str) -> None:
    reason[limit.silent] = f"no value in the pack: months for {column}"
    for fact in set(limit.lacks) - {""}:
        here = limit.lacks == fact
        name = {"above_11_m": "top_storey_m", "high_rise": "top_storey_m or storeys"}.get(
            fact, fact
        )
        reason[here] = f"{name} of the building is not recorded"
        lacks[here] = f"building.{name.split(' ')[0]}"


def round_key(data: Dataset, rule: str) -> list[str]:
    """The key of the round of checks that each door belongs to: its building and the rule."""
    frame = doors(data).frame
    building = words(at_place(data, "building").loc[frame.index])
    return [f"{b} {rule}" for b in building]


def door_checks(data: Dataset) -> pd.DataFrame:
    """Fire doors by their class, and escape doors without fire rating: when last checked."""
    own = doors(data)
    frame = own.frame
    rated = coded((frame["fire_minutes"] > 0).astype("boolean"))
    tenancy = zones(data).frame.set_index("zone")["tenancy"]
    sides = [
        tenancy.reindex(frame[c]).reset_index(drop=True) for c in ("inside_zone", "outside_zone")
    ]
    one = (sides[0] == sides[1]).fillna(False).to_numpy(bool)
    scope = all_of(
        any_of(rated, on_route(data)),
        opposite(same_dwelling(data)),
        np.where(one, NO, YES).astype(np.int8),
    )
    facts = facts_of_doors(data)
    kinds = zones(data).frame.set_index("zone")["kind"]
    inner = words(kinds.reindex(frame["inside_zone"]).reset_index(drop=True))
    home = inner == "dwelling"
    common, dwelling, plain = (
        found(getattr(data.policy, f"{name}_months"), frame.index, facts)
        for name in ("fire_door_check", "dwelling_door_check", "escape_door_test")
    )
    fire = rated == YES
    classes = [(fire & ~home, common), (fire & home, dwelling), (~fire, plain)]
    months = pd.Series(pd.array([pd.NA] * len(frame), "Int64"), frame.index)
    silent, lacks = np.zeros(len(frame), bool), np.full(len(frame), "", object)
    for mask, limit in classes:
        months = months.mask(mask, limit.value)
        silent, lacks = np.where(mask, limit.silent, silent), np.where(mask, limit.lacks, lacks)
    lacks = np.where(fire & (inner == ""), "kind", lacks).astype(object)
    checked = "fire_door_checked" if data.has("doors", "fire_door_checked") else "last_tested"
    tested = "last_tested"
    last = frame[checked].where(fire, frame[tested])
    blank = np.where(
        fire,
        coded(data.blank("doors", checked).loc[frame.index]) == YES,
        coded(data.blank("doors", tested).loc[frame.index]) == YES,
    )
    verdict = np.where(blank, YES, older_than(last, months, data.today))
    verdict = np.where(silent | (lacks != "") | (rated == UNCLEAR), UNCLEAR, verdict)
    reason, lack = np.full(len(frame), "", object), np.full(len(frame), "", object)
    limit = Found(months, silent, lacks)
    _say(reason, lack, limit, "checks of this door")
    what = np.where(fire & home, "dwelling fire door", np.where(fire, "fire door", "escape door"))
    return judged(
        data,
        scope,
        verdict.astype(np.int8),
        ("fire_minutes", "escape_route", checked),
        life_safety=False,
        reason=reason,
        lacks=lack,
        what=what,
        last=last,
        months=months,
        cause_key=round_key(data, "door-test-overdue"),
    )


__all__ = ["HANDLES", "contradictions", "door_checks", "kept_shut", "overdue", "same_dwelling"]
