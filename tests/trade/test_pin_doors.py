"""The codes at each door, counted door by door and PIN by PIN."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from audit.contract import Dataset
from rules.pins.pin_code_space import crowded_doors
from rules.pins.pin_guess_risk import guessed_doors
from tests.sites import dataset, example

CODES = ["839", "740", "111", "4917", "4918", "83914"]
ENTRIES = {"E1": "pin", "E2": "card-or-pin", "E3": "card-and-pin", "E4": "card"}

one_pin = st.tuples(
    st.sampled_from(CODES),
    st.sampled_from([None, "E1", "E2", "E3"]),  # bound to a door
    st.sampled_from([None, "S1"]),  # bound to a station, whose door is E2
    st.sampled_from(["personal", "admin"]),
    st.sampled_from(["active", "suspended"]),
    st.sampled_from([None, "E1", "E4", "G"]),  # a permission of the PIN's own
)


def site(pins: list[tuple[str | None, ...]]) -> Dataset:
    text = ["doors", "door_id | entry", *(f"{d} | {e}" for d, e in ENTRIES.items())]
    text += ["", "stations", "station_id | door_id", "S1 | E2"]
    text += ["", "door_groups", "door_group | member_id", "G | E1", "G | E2"]
    text += ["", "permissions", "permission_id | holder_kind | holder_id | door_id | door_group"]
    text += [
        f"R{i} | pin | P{i} | {'' if to == 'G' else to} | {'G' if to == 'G' else ''}"
        for i, (*_, to) in enumerate(pins)
        if to
    ]
    text += ["", "pins", "pin_id | pin | door_id | station_id | kind | status"]
    text += [f"P{i} | " + " | ".join(c or "" for c in row[:5]) for i, row in enumerate(pins)]
    policy = {"pin_lockout_minutes": 30, "pin_guess_risk": 0.005}
    return dataset(example("\n".join(text), policy=policy))


@settings(max_examples=30, deadline=None)
@given(st.lists(one_pin, min_size=1, max_size=8))
def test_codes_door_by_door(pins: list[tuple[str | None, ...]]) -> None:
    data = site(pins)
    crowded, guessed = (f(data).set_index("door") for f in (crowded_doors, guessed_doors))
    assert sorted(crowded.index) == sorted(guessed.index) == ["E1", "E2"]
    for door in ("E1", "E2"):
        codes = set()
        for code, bound, station, kind, status, to in pins:
            at_station = station and not bound and kind != "admin" and door == "E2"
            if status == "active" and (bound == door or at_station or to in (door, "G")):
                codes.add(code)
        shortest = min(map(len, codes), default=18)
        assert crowded.loc[door, "codes"] == len(codes)
        assert bool(crowded.loc[door, "over"]) == (len(codes) * 1000 > 10**shortest)
        chances = [Fraction(0)]
        for digits in {len(c) for c in codes}:
            miss, own = Fraction(1), sum(len(c) == digits for c in codes)
            for i in range(10):  # five attempts, twice in half an hour
                miss *= Fraction(10**digits - own - i, 10**digits - i)
            chances.append(1 - miss)
        assert bool(guessed.loc[door, "over"]) == (max(chances) > Fraction(5, 1000))
        assert abs(guessed.loc[door, "chance"] - float(max(chances))) < 1e-6


def test_without_permissions_an_unbound_pin_may_open_anything() -> None:
    pins = "pins\npin_id | pin | door_id\nP1 | 839146 |"
    doors = "doors\ndoor_id | entry\nE1 | pin"
    free = dataset(example(f"{doors}\n\n{pins}"))
    assert crowded_doors(free)["may_be_over"].tolist() == [True]
    bound = dataset(
        example(
            f"{doors}\n\n{pins} \nP2 | 839147 | E1".replace("P1 | 839146 |", "P1 | 839146 | E1")
        )
    )
    assert crowded_doors(bound)["may_be_over"].tolist() == [False]
