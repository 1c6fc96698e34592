"""The fewest actions, against every subset there is."""

from __future__ import annotations

from itertools import chain, combinations
from math import ceil, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic.cover import Need, fewest, prune

members = st.frozensets(st.sampled_from("abcdefgh"), min_size=1, max_size=5)
needs = st.lists(
    members.flatmap(lambda m: st.integers(1, len(m)).map(lambda least: Need(m, least))),
    max_size=7,
)


@given(needs)
@settings(max_examples=150, deadline=None)
def test_meets_all_loses_none_and_is_near_the_best(wanted: list[Need]) -> None:
    chosen = fewest(wanted)
    assert all(n.met(chosen) for n in wanted)
    for member in chosen:
        assert not all(n.met(chosen - {member}) for n in wanted)
    subsets = chain.from_iterable(combinations("abcdefgh", k) for k in range(9))
    best = next(len(s) for s in subsets if all(n.met(s) for n in wanted))
    units = sum(n.least for n in wanted)
    assert len(chosen) <= ceil(best * (1 + log(max(units, 1)))) + best
    assert fewest(wanted[::-1]) == chosen


def test_textbook_cover() -> None:
    """One set that meets all is taken before three that meet one each."""
    wanted = [Need(frozenset({"all", x}), 1) for x in "abc"]
    assert fewest(wanted) == {"all"}
    assert fewest([]) == frozenset()
    assert fewest([Need(frozenset("abc"), 2)]) == {"a", "b"}


def test_what_is_forced_makes_the_rest_needless() -> None:
    """A card that must go anyway also meets the need that two actions could meet."""
    assert fewest([Need(frozenset({"card"}), 1), Need(frozenset({"card", "end"}), 1)]) == {"card"}


def test_a_need_beyond_its_members_is_refused() -> None:
    with pytest.raises(ValueError, match="more than it has"):
        fewest([Need(frozenset("a"), 2)])


@given(st.sets(st.integers(0, 40)), st.integers(1, 41))
@settings(max_examples=80, deadline=None)
def test_prune_leaves_none_that_could_go(needed: set[int], size: int) -> None:
    asked = 0

    def spared(out: frozenset[str]) -> bool:
        nonlocal asked
        asked += 1
        return not any(int(o) in needed for o in out)

    out = prune([str(i) for i in range(size)], spared)
    assert out == {str(i) for i in range(size) if i not in needed}
    assert asked <= 2 * size
