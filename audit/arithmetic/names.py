"""Whether two rows name one person: folded names, folded telephones, few letters apart.

Names are compared without regard to case, accents, word order, titles and punctuation. "Letters
apart" is the Levenshtein distance (a letter put in, left out or replaced counts one each, so two
letters swapped count two): it is what a person counts who looks for the letters that differ.
A transposition as one step (Damerau) would let two swaps, four letters out of place, pass for
two. Spaces are no letters.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.plain import TEXT, arrow, codes
from audit.arithmetic.three import Ints

TITLES: Final = frozenset(
    word
    for language in (
        "mr mrs ms miss mx sir dame lord lady dr prof professor rev revd reverend",
        "herr frau",
        "monsieur madame mademoiselle mme mlle mm",
        "senor senora senorita sra srta",
        "dhr mevr mevrouw meneer mijnheer mej",
        "sig sigra signor signora signorina dott dottssa",
    )
    for word in language.split()
)


_NO_DIGIT: Final = re.compile(r"\D+")


_WITHIN: Final = re.compile(r"['\u2019\u02bc`\u00b4.]")


_ASCII: Final = {c: " " for c in range(128) if not chr(c).isalnum()} | {
    ord("'"): None,
    ord("`"): None,
    ord("."): None,
}


_LETTERS: Final = str.maketrans(
    {"ø": "o", "đ": "d", "ð": "d", "ł": "l", "æ": "ae", "œ": "oe", "þ": "th", "ħ": "h", "ı": "i"}
)


_ALL_PAIRS: Final = 40
"""Groups up to this size are compared pair by pair; larger ones by their letters left out."""


_AT_ONCE: Final = 20_000_000


_BASE: Final = np.uint64(0x9E3779B97F4A7C15)
"""An odd multiplier whose powers spread over 64 bits."""


_SHIFTS: Final = tuple(np.uint64(pow(0x9E3779B97F4A7C15, -n, 2**64)) for n in range(3))
"""What a letter's place is worth less after none, one or two letters left out before it."""


def fold_name(name: str) -> tuple[str, ...]:
    """The words of a name in the order written: lower case, no accents, no titles.

    Dots and apostrophes join ("O'Dea" is one word), other punctuation parts. A name of nothing
    but titles keeps them.
    """
    plain = name.casefold()
    if plain.isascii():
        words = plain.translate(_ASCII).split()
    else:
        opened = unicodedata.normalize("NFKD", plain)
        kept = "".join(c for c in opened if not "\u0300" <= c <= "\u036f")
        bare = unicodedata.normalize("NFC", kept).translate(_LETTERS)
        words = "".join(c if _belongs(c) else " " for c in _WITHIN.sub("", bare)).split()
    if TITLES.isdisjoint(words):
        return tuple(words)
    return tuple(w for w in words if w not in TITLES) or tuple(words)


def fold_names(names: pd.Series) -> pd.Series:
    """The words of `fold_name` of every name, joined by blanks (text, NA for NA)."""
    text = arrow(names)
    plain = pc.replace_substring_regex(pc.ascii_lower(text), "['`.]", "")
    plain = pc.ascii_trim(pc.replace_substring_regex(plain, "[^a-z0-9]+", " "), " ")
    titled = pc.match_substring_regex(plain, f"(^| )({'|'.join(sorted(TITLES))})( |$)")
    foreign = pc.not_equal(pc.binary_length(text), pc.utf8_length(text))
    odd = np.flatnonzero(pc.fill_null(pc.or_(titled, foreign), False).to_numpy())
    if len(odd):
        by_hand = [" ".join(fold_name(name)) for name in text.take(pa.array(odd)).to_pylist()]
        mask = np.zeros(len(text), bool)
        mask[odd] = True
        found = pa.array(by_hand, pa.large_string())
        plain = pc.replace_with_mask(plain.combine_chunks(), pa.array(mask), found)
    return pd.Series(pd.array(plain, dtype=TEXT), index=names.index)


def word_marks(folded: pd.Series) -> npt.NDArray[np.uint64]:
    """A number for each folded name: the same where the words are, in whatever order.

    The sum of random numbers, one a word: two names that differ share it as good as never.
    """
    parts = pc.split_pattern(arrow(folded), " ")
    code, words = codes(pd.Series(pd.array(pc.list_flatten(parts), dtype=TEXT)))
    random = np.random.default_rng(60839).integers(1, 2**63, len(words), dtype=np.uint64)
    total = np.concatenate([np.zeros(1, np.uint64), np.cumsum(random[code])])
    end = np.cumsum(pc.list_value_length(parts).to_numpy())
    return np.asarray(np.diff(total[np.concatenate([[0], end])]), np.uint64)


def _belongs(c: str) -> bool:
    """Letters, digits, and the signs that some scripts write on their letters."""
    return c.isalnum() or (c > "\u036f" and unicodedata.category(c).startswith("M"))


def same_key(words: tuple[str, ...]) -> str:
    """What two folded names share when they differ in word order only."""
    return " ".join(sorted(words))


def fold_phone(phone: str) -> str:
    """The digits that tell a telephone from others: the last nine, or all where there are fewer.

    The national 0, the country's code and "(0)" stand before them, so "087 123 4567",
    "+353 87 123 4567" and "00353 (0)87 1234567" are one. Empty where there is no digit.
    """
    digits = _NO_DIGIT.sub("", phone)
    if not digits.isascii():
        digits = "".join(str(unicodedata.digit(c)) for c in digits)
    return digits[-9:]


def fold_phones(phones: pd.Series) -> pd.Series:
    """`fold_phone` of every telephone (text, NA for NA)."""
    text = phones.astype(TEXT)
    folded = text.str.replace("[^0-9]+", "", regex=True).str[-9:]
    foreign = text.str.contains("[^ -~]", regex=True).fillna(False)
    return folded.mask(foreign, text[foreign].map(fold_phone)) if foreign.any() else folded


def close_pairs(names: Sequence[tuple[str, ...]], limit: int = 2) -> list[tuple[int, int]]:
    """Pairs (i < j) of folded names that are at most `limit` (0 to 2) letters apart.

    The least over: as written, words sorted, and one of them in reverse order, so that neither
    a slip in a first letter nor family name first hides a pair. Digits are no letters: names
    whose digits differ ("Tenant 12", "Tenant 13") are never close. Close to linear in the
    number of names: large groups are compared only where two names agree after at most `limit`
    letters are left out of each.
    """
    groups: dict[str, list[int]] = {}
    for at, words in enumerate(names):
        if words:
            groups.setdefault("".join(c for c in _sorted(words) if c.isdecimal()), []).append(at)
    found: list[tuple[int, int]] = []
    for group in groups.values():
        if len(group) > 1:
            left, right = _candidates([names[at] for at in group], limit)
            members = np.array(group, dtype=np.int64)
            left, right = members[left], members[right]
            near = apart([names[i] for i in left], [names[j] for j in right], limit) <= limit
            found += zip(left[near].tolist(), right[near].tolist(), strict=True)
    return sorted(found)


def apart(left: Sequence[tuple[str, ...]], right: Sequence[tuple[str, ...]], limit: int) -> Ints:
    """Letters apart for each pair of folded names; whatever is above `limit` is `limit` + 1."""
    from rapidfuzz.distance import Levenshtein
    from rapidfuzz.process import cpdist

    best = np.full(len(left), limit + 1, dtype=np.int64)
    if not len(left):
        return best
    for one, other in (
        (_written, _written),
        (_sorted, _sorted),
        (_written, _reversed),
        (_reversed, _written),
    ):
        letters = cpdist(
            [one(n) for n in left],
            [other(n) for n in right],
            scorer=Levenshtein.distance,
            score_cutoff=limit,
            dtype=np.int64,
        )
        best = np.minimum(best, letters)
    return best


def _written(words: tuple[str, ...]) -> str:
    return "".join(words)


def _sorted(words: tuple[str, ...]) -> str:
    return "".join(sorted(words))


def _reversed(words: tuple[str, ...]) -> str:
    return "".join(words[::-1])


def _candidates(names: Sequence[tuple[str, ...]], limit: int) -> tuple[Ints, Ints]:
    """Pairs that may be within the limit, each once, i < j.

    All of them in a small group. In a large one those that share a text after at most `limit`
    letters are left out of each: every pair within the limit does, since a letter put in or
    replaced on one side is left out there, and its counterpart on the other.
    """
    if len(names) <= _ALL_PAIRS:
        left, right = np.triu_indices(len(names), 1)
        return left.astype(np.int64), right.astype(np.int64)
    texts: dict[int, list[tuple[int, str]]] = {}
    for at, words in enumerate(names):
        for text in {_written(words), _sorted(words), _reversed(words)}:
            texts.setdefault(len(text), []).append((at, text))
    total = sum(len(group) * (1 + size + size * size // 2) for size, group in texts.items())
    passes = 1 + total // _AT_ONCE
    pairs = [_alike(*_left_out(texts, limit, one, passes)) for one in range(passes)]
    each = np.unique(np.concatenate(pairs), axis=0)
    return each[:, 0], each[:, 1]


def _alike(code: npt.NDArray[np.uint64], owner: Ints) -> Ints:
    """Pairs of owners that have a code in common; n by 2."""
    if not len(code):
        return np.empty((0, 2), dtype=np.int64)
    order = np.lexsort((owner, code))
    code, owner = code[order], owner[order]
    fresh = np.r_[True, (code[1:] != code[:-1]) | (owner[1:] != owner[:-1])]
    code, owner = code[fresh], owner[fresh]
    start = np.flatnonzero(np.r_[True, code[1:] != code[:-1]])
    size = np.diff(np.r_[start, len(code)])
    two = start[size == 2]
    pairs = [np.column_stack((owner[two], owner[two + 1]))]
    for first, many in zip(start[size > 2], size[size > 2], strict=True):
        members = owner[first : first + many]
        left, right = np.triu_indices(many, 1)
        pairs.append(np.column_stack((members[left], members[right])))
    return np.concatenate(pairs)


def _left_out(
    texts: dict[int, list[tuple[int, str]]], limit: int, one: int, passes: int
) -> tuple[npt.NDArray[np.uint64], Ints]:
    """A code for each text that remains of a name without some letters, and whose it is.

    Equal texts have equal codes; different texts hardly ever, and then they are only compared.
    The code of a text is the sum of letter x base^place (modulo 2^64); with the sums up to each
    place, that of a text without two letters is three differences. Each pass keeps its share
    of the codes, so that memory stays bounded.
    """
    codes, owners = [np.empty(0, np.uint64)], [np.empty(0, np.int64)]
    for length, group in texts.items():
        raw = "".join(text for _, text in group).encode("utf-32-le", "surrogatepass")
        letters = np.frombuffer(raw, dtype="<u4").reshape(-1, length).astype(np.uint64)
        sums = np.zeros((len(group), length + 1), dtype=np.uint64)
        np.cumsum(letters * np.cumprod(np.full(length, _BASE)), axis=1, out=sums[:, 1:])
        owner = np.array([at for at, _ in group], dtype=np.int64)
        for gone in range(min(limit, length) + 1):
            for places in combinations(range(length), gone):
                kept = np.zeros(len(group), dtype=np.uint64)
                begin = 0
                for shift, end in zip(_SHIFTS, (*places, length), strict=False):
                    kept += (sums[:, end] - sums[:, begin]) * shift
                    begin = end + 1
                share = kept % np.uint64(passes) == one if passes > 1 else slice(None)
                codes.append(kept[share])
                owners.append(owner[share])
    return np.concatenate(codes), np.concatenate(owners)
