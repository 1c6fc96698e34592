"""Folding of names and telephones, and letters apart, against a slow second implementation."""

from itertools import combinations, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic import names


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Ada Quill", "QUILL, Ada"),
        ("Ada Quill", "Mrs. Ada QUILL"),
        ("Zoë Brüel", "zoe bruel"),
        ("Søren Łuk", "Soren Luk"),
        ("Ada O'Quill", "Ada OQuill"),
        ("Ada-Mae Quill", "Quill Ada Mae"),
        ("Dr. Prof. Ada Quill", "Ada  Quill"),
        ("Straße Ada", "STRASSE ADA"),
        ("Zoe\u0301 Quill", "Zo\u00e9 Quill"),
        ("\uff21da Quill", "Ada Quill"),
    ],
)
def test_names_that_are_one(one: str, other: str) -> None:
    assert names.same_key(names.fold_name(one)) == names.same_key(names.fold_name(other))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Ada Quill", "Ida Quill"),
        ("Ada Quill", "Ada Quill Jr"),
        ("Ada Mae Quill", "Adamae Quill"),
        ("Tenant 12", "Tenant 13"),
        ("कमल", "कमला"),  # a vowel sign is no accent
    ],
)
def test_names_that_are_two(one: str, other: str) -> None:
    assert names.same_key(names.fold_name(one)) != names.same_key(names.fold_name(other))


def test_a_name_of_titles_only_is_kept() -> None:
    assert names.fold_name("Miss") == ("miss",)
    assert names.fold_name(" . ") == ()


@pytest.mark.parametrize(
    "phone", ["087 123 4567", "+353 87 123 4567", "00353 (0)87 1234567", "0871234567", "۰۸۷۱۲۳۴۵۶۷"]
)
def test_one_telephone_in_many_spellings(phone: str) -> None:
    assert names.fold_phone(phone) == "871234567"


def test_telephones_that_differ() -> None:
    assert names.fold_phone("087 123 4568") != names.fold_phone("087 123 4567")
    assert names.fold_phone("123 4567") == "1234567"
    assert names.fold_phone("ask at the desk") == ""


def letters_apart(a: str, b: str) -> int:
    """The textbook table (Wagner and Fischer 1974), row by row."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        above, row = row, [i]
        for j, y in enumerate(b, 1):
            row.append(min(above[j] + 1, row[-1] + 1, above[j - 1] + (x != y)))
    return row[-1]


def slow_pairs(all_names: list[tuple[str, ...]]) -> list[tuple[int, int]]:
    found = []
    for i, j in combinations(range(len(all_names)), 2):
        a, b = all_names[i], all_names[j]
        digits = ["".join(c for c in "".join(sorted(n)) if c.isdecimal()) for n in (a, b)]
        least = min(
            letters_apart("".join(a), "".join(b)),
            letters_apart("".join(sorted(a)), "".join(sorted(b))),
            letters_apart("".join(a), "".join(b[::-1])),
            letters_apart("".join(a[::-1]), "".join(b)),
        )
        if digits[0] == digits[1] and least <= 2:
            found.append((i, j))
    return found


WORDS = st.text("abz1", min_size=1, max_size=5)
NAMES = st.lists(st.lists(WORDS, min_size=1, max_size=3).map(tuple), min_size=2, max_size=14)


@settings(max_examples=100, deadline=None)
@given(NAMES)
def test_close_pairs_as_the_slow_way_finds_them(all_names: list[tuple[str, ...]]) -> None:
    assert names.close_pairs(all_names) == slow_pairs(all_names)


@settings(max_examples=40, deadline=None)
@given(NAMES)
def test_large_groups_as_the_slow_way_finds_them(all_names: list[tuple[str, ...]]) -> None:
    kept = names._ALL_PAIRS, names._AT_ONCE
    try:
        names._ALL_PAIRS, names._AT_ONCE = 1, 40  # by letters left out, in several passes
        assert names.close_pairs(all_names) == slow_pairs(all_names)
    finally:
        names._ALL_PAIRS, names._AT_ONCE = kept


# "kitten"/"sitting" 3 and "saturday"/"sunday" 3: the usual textbook examples, from memory.
def test_textbook_distances() -> None:
    pairs = [("kitten", "sitting", 3), ("saturday", "sunday", 3), ("abc", "acb", 2)]
    left, right, expected = zip(*pairs, strict=True)
    found = names.apart([(w,) for w in left], [(w,) for w in right], 9)
    assert tuple(found) == expected


def test_words_in_either_order_with_a_slip_in_a_first_letter() -> None:
    for a, b in permutations([("beth", "taylor"), ("aylor", "beth"), ("taylor", "betj")], 2):
        assert names.close_pairs([a, b]) == ([(0, 1)])
    assert names.close_pairs([("ada", "quill"), ("ida", "quell")]) == [(0, 1)]
    assert names.close_pairs([("ada", "quill"), ("ido", "quell")]) == []


def test_a_large_group_is_no_matter_of_all_pairs() -> None:
    """3,000 names at one telephone: 4.5 million pairs, of which few are looked at."""
    some = [(f"{chr(97 + i % 26)}{i:x}".replace("0", "g"), f"w{i * 7919:x}") for i in range(3000)]
    letters = [tuple("".join(chr(97 + int(c, 36) % 26) for c in w) for w in n) for n in some]
    left, _ = names._candidates(letters, 2)
    assert len(left) < 450_000
