"""Which column of a file is which column of a table, and why."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from typing import Literal

from audit.ingest.synonyms import FOREIGN
from audit.schema import ONE_OF, TABLES
from audit.site import InputError, Source

Reason = Literal["site.toml", "its own name", "the site's synonym", "synonym", "left over"]
_RANK: dict[Reason, int] = {
    "site.toml": 0,
    "its own name": 1,
    "the site's synonym": 2,
    "synonym": 3,
}


@dataclass(frozen=True)
class Match:
    """One column of a file: what it is taken for, and why."""

    position: int
    header: str
    column: str | None
    reason: Reason


@lru_cache(maxsize=8192)
def plain(text: str) -> str:
    """A header or word without case, accents, blanks, hyphens and other signs."""
    text = text.replace("#", " no ").replace("°", "o")
    text = unicodedata.normalize("NFKD", text).casefold()
    return "".join(c for c in text if c.isalnum())


_LINKS = frozenset(
    ("a", "an", "and", "d", "das", "de", "del", "den", "der", "des", "die", "du", "el", "en", "et",
     "het", "in", "l", "la", "las", "le", "les", "los", "of", "the", "und", "van", "von", "y")
)  # fmt: skip
_FOR_NUMBER = frozenset(("number", "numero", "nummer", "nr", "num", "n", "nbr"))


@lru_cache(maxsize=8192)
def loose(text: str) -> str:
    """As `plain`, without linking words, and with every word for number as one."""
    text = unicodedata.normalize("NFKD", text.replace("#", " no ").replace("°", "o ")).casefold()
    text = "".join(c for c in text if not unicodedata.combining(c))
    words = [w for w in re.split(r"[\W_]+", text) if w]
    kept = ["no" if w in _FOR_NUMBER else w for w in words if w not in _LINKS]
    return "".join(kept) if len(words) > 1 else ""


@lru_cache(maxsize=64)
def _known(table: str) -> tuple[dict[str, tuple[str, int]], dict[str, tuple[str, int]]]:
    """Plain and loose header -> (column, order): names first, then synonyms in their order."""
    found: dict[str, tuple[str, int]] = {}
    nearly: dict[str, tuple[str, int]] = {}
    for column in TABLES[table].columns:
        found.setdefault(plain(column.name), (column.name, 0))
    for column in TABLES[table].columns:
        also = [*column.synonyms, *FOREIGN.get(table, {}).get(column.name, ())]
        for order, word in enumerate(also, 1):
            found.setdefault(plain(word), (column.name, order))
            nearly.setdefault(loose(word), (column.name, order))
    nearly.pop("", None)
    return found, nearly


def claim(table: str, header: str) -> tuple[str, int] | None:
    """The column that a header names by itself, and the place of the word in its list.

    0 is the column's own name. None where the header says nothing.
    """
    exact, nearly = _known(table)
    return exact.get(plain(header)) or nearly.get(loose(header))


def recognise(table: str, header: str) -> str | None:
    """The column of a table that a header names by itself; None where none."""
    found = claim(table, header)
    return found[0] if found else None


def match(
    table: str,
    header: Sequence[str],
    where: str,
    source: Source | None = None,
    synonyms: Mapping[str, Sequence[str]] | None = None,
) -> tuple[tuple[Match, ...], tuple[str, ...]]:
    """What each column of a file is, and notes on what was left over or decided.

    InputError where site.toml names a header that is not there, or where two columns claim
    to be the same one with equal right.
    """
    given = _mapped(table, header, where, source.columns if source else {})
    own = {plain(w): c for c, words in (synonyms or {}).items() for w in words}
    claims: dict[str, list[tuple[int, int, int]]] = {}
    for position, text in enumerate(header):
        key = plain(text)
        if position in given:
            claims.setdefault(given[position], []).append((0, 0, position))
        elif key in own and (claim(table, text) or ("", 1))[1] != 0:
            claims.setdefault(own[key], []).append((2, 0, position))
        elif key and (found := claim(table, text)):
            column, order = found
            claims.setdefault(column, []).append((3 if order else 1, order, position))
    taken: dict[int, tuple[str, int]] = {}
    notes: list[str] = []
    for column, rivals in claims.items():
        rivals.sort()
        best = rivals[0]
        taken[best[2]] = (column, best[0])
        if len(rivals) > 1:
            notes.append(_settle(column, rivals, header, where))
    reasons: dict[int, Reason] = {v: k for k, v in _RANK.items()}
    matches = tuple(
        Match(i, text, taken[i][0], reasons[taken[i][1]])
        if i in taken
        else Match(i, text, None, "left over")
        for i, text in enumerate(header)
    )
    return matches, tuple(notes)


def _settle(
    column: str, rivals: list[tuple[int, int, int]], header: Sequence[str], where: str
) -> str:
    best, second = rivals[0], rivals[1]
    if best[:2] == second[:2]:
        raise InputError(
            f"{where}: two columns are called {header[best[2]]!r}; remove one, or rename it"
        )
    others = ", ".join(repr(header[r[2]]) for r in rivals[1:])
    return f"{where}: {column} is read from {header[best[2]]!r}; {others} left over"


def _mapped(
    table: str, header: Sequence[str], where: str, columns: Mapping[str, str]
) -> dict[int, str]:
    exact = {text: i for i, text in reversed(list(enumerate(header)))}
    loose = {plain(text): i for i, text in reversed(list(enumerate(header)))}
    found: dict[int, str] = {}
    for column, wanted in columns.items():
        position = exact.get(wanted.strip(), loose.get(plain(wanted)) if plain(wanted) else None)
        if position is None:
            near = get_close_matches(wanted, [h for h in header if plain(h)], n=1)
            hint = f"; the nearest is {near[0]!r}" if near else ""
            raise InputError(
                f"{where}: has no column {wanted!r}, which [sources.{table}] columns names for"
                f" {column}{hint}"
            )
        if position in found:
            raise InputError(
                f"{where}: [sources.{table}] columns takes {wanted!r} for both"
                f" {found[position]} and {column}"
            )
        found[position] = column
    return found


def lacking(table: str, columns: Sequence[str] | frozenset[str]) -> tuple[str, ...]:
    """Starred columns that a header does not give; of `ONE_OF` columns one suffices."""
    missing = [c for c in TABLES[table].starred if c not in columns]
    either = ONE_OF.get(table, ())
    if either and not any(c in columns for c in either):
        missing.append(" or ".join(either))
    return tuple(missing)
