"""What a file is that nobody has prepared: its table, its columns, its words; never certain.

`check` takes a column only by its own name, a listed synonym or site.toml. What is found
here beyond that is a proposal for site.toml, with the reason and how sure it is.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

from audit.arithmetic.weeks import parse_days
from audit.ingest.headers import claim, lacking, plain
from audit.ingest.lexicon import (
    ALSO,
    DAYS,
    EVERY_DAY,
    HOLIDAYS,
    LANGUAGES,
    LINKS,
    NO_WORDS,
    STEMS,
    WEAK,
    WEEKENDS,
    WORDS,
    WORKDAYS,
    YES_WORDS,
)
from audit.ingest.readers.raw import SURELY
from audit.ingest.synonyms import FOREIGN, TABLE_WORDS
from audit.ingest.values import UNREAD, blank_words, cell_parser, clean, fold
from audit.schema import NO, SECRET_COLUMNS, TABLES, YES, Column
from audit.site import Source

SURE: Final = 0.8
"""From here on a proposal is written; below it is a comment."""
WORTH_SAYING: Final = 0.5
_LONGEST_HEADER: Final = 80
Sureness = Literal["sure", "not sure"]


# --- the meaning of a header ---------------------------------------------------------------


@lru_cache(maxsize=16_384)
def words_of(text: str) -> tuple[str, ...]:
    """The folded words of a header; `tenantRef` is two."""
    text = text.replace("#", " no ").replace("°", "o ").replace("t/m", "tm").replace("T/M", "tm")
    text = re.sub(r"(?<=[a-zß-ÿ])(?=[A-Z])", " ", text)
    text = unicodedata.normalize("NFKD", text).casefold()
    text = "".join(c for c in text if not unicodedata.combining(c))
    return tuple(w for w in re.split(r"[\W_]+", text) if w)


@lru_cache(maxsize=16_384)
def meanings(text: str) -> tuple[frozenset[str], tuple[str, ...]]:
    """The meanings in a header, an unknown word as `?word`; and the languages it may be in.

    A stem of several meanings has the one that suits the language of the other stems.
    """
    found: set[str] = set()
    stems: list[str] = []
    words = words_of(text)
    for word in words:
        parts = _parts(word)
        if parts is not None and (len(words) == 1 or word not in LINKS):
            stems += parts
        elif word not in LINKS and not word.isdigit():
            found.add(f"?{word}")
    spoken = Counter(
        language
        for stem in stems
        for language in frozenset().union(*(languages for _, languages in STEMS[stem]))
    )
    most = max(spoken.values(), default=0)
    likely = tuple(name for name in LANGUAGES if spoken[name] == most) if most else ()
    for stem in stems:
        options = STEMS[stem]
        suits = [m for m, languages in options if likely and likely[0] in languages]
        found.add(suits[0] if suits else options[0][0])
    if "valid" in found:
        # de, du, von, van: here they tell the start
        links = [w for w in words if w in LINKS and w in STEMS]
        found |= {m for w in links for m, _ in STEMS[w] if m in ("from", "to")}
    return frozenset(found), likely


@lru_cache(maxsize=16_384)
def _parts(word: str) -> tuple[str, ...] | None:
    """The stems of a word: itself, without an ending, its compound parts, or its long form."""
    for form in (word, word.replace("ue", "u").replace("ae", "a").replace("oe", "o")):
        if form in STEMS:
            return (form,)
        for ending in ("s", "n", "e", "en", "es", "er"):
            if form.endswith(ending) and form[: -len(ending)] in STEMS and len(form) > 4:
                return (form[: -len(ending)],)
        split = _split(form) if len(form) > 6 else None
        if split:
            return split
    if len(word) >= 4:
        longer = [s for s in STEMS if s.startswith(word)]
        if longer and len({meaning for s in longer for meaning, _ in STEMS[s]}) == 1:
            return (min(longer, key=len),)
    return None


def _split(word: str) -> tuple[str, ...] | None:
    for size in range(len(word), 2, -1):
        head = word[:size]
        if head not in STEMS:
            continue
        if size == len(word):
            return (head,)
        for link in ("", "s", "n", "en", "es", "e"):
            rest = word[size:]
            if rest.startswith(link) and len(rest) - len(link) >= 2:
                tail = _split(rest[len(link) :]) or (
                    (rest[len(link) :],) if rest[len(link) :] in ("nr", "no", "id") else None
                )
                if tail:
                    return (head, *tail)
    return None


def _weight(meaning: str) -> float:
    return 0.5 if meaning in WEAK else 0.7 if meaning.startswith("?") else 1.0


def _alike(a: frozenset[str], b: frozenset[str]) -> float:
    """How much two sets of meanings say the same, 0 to 1."""
    if a.isdisjoint(b):
        return 0.0
    shared = sum(map(_weight, a & b))
    return shared / (sum(map(_weight, a | b)) or 1.0)


_CALLED: Final[Mapping[str, frozenset[str]]] = {
    "buildings": frozenset(("building",)),
    "locks": frozenset(("lock",)),
    "dwellings": frozenset(("dwelling",)),
    "people": frozenset(("person",)),
    "cards": frozenset(("card",)),
    "pins": frozenset(("pin", "code")),
    "zones": frozenset(("zone",)),
    "doors": frozenset(("door",)),
    "door_groups": frozenset(("group",)),
    "permissions": frozenset(("right", "access")),
    "schedules": frozenset(("schedule",)),
    "calendars": frozenset(("calendar", "holiday")),
    "stations": frozenset(("station",)),
    "loaded": frozenset(("read", "controller")),
    "events": frozenset(("event",)),
}


@dataclass(frozen=True)
class Claim:
    """One column that a header may be: how surely, and why."""

    column: str
    score: float
    why: str


@lru_cache(maxsize=64)
def _vocabulary(table: str) -> tuple[tuple[str, str, frozenset[str], str], ...]:
    """(column, word, meanings for a column of its kind, plain word) for every word."""
    found = []
    for column in TABLES[table].columns:
        also = FOREIGN.get(table, {}).get(column.name, ())
        more = ALSO.get((table, column.name), ())
        for word in (column.name, *column.synonyms, *also, *more):
            meant = _for_kind(_kind_here(table, column.name), meanings(word)[0])
            found.append((column.name, word, meant, plain(word)))
    return tuple(found)


@lru_cache(maxsize=8192)
def claims(table: str, header: str) -> tuple[Claim, ...]:
    """What a header may be in this table, the surest first; what `check` takes stands at 1."""
    if not plain(header) or len(header) > _LONGEST_HEADER:
        return ()
    best: dict[str, Claim] = {}
    ranks: dict[str, tuple[float, bool]] = {}
    own = claim(table, header)
    if own is not None:
        why = "its own name" if own[1] == 0 else _synonym(table, own[0], header)
        best[own[0]], ranks[own[0]] = Claim(own[0], 1.0, why), (1.0, True)
    (said, spoken), key = meanings(header), plain(header)
    core = meanings(_without_brackets(header))[0]
    bare = core - _CALLED[table]  # in a list of doors every column is of a door
    if bare == core or not any(m not in WEAK and not m.startswith("?") for m in bare):
        bare = frozenset()
    tongue = f"{' or '.join(spoken[:2])}, " if 0 < len(spoken) < 4 else ""
    for column, word, meant, spelled in _vocabulary(table):
        kind = _kind_here(table, column)
        score = 0.0
        for share, own_words in ((0.95, said), (0.9, core), (0.88, bare)):
            score = max(score, share * _alike(_for_kind(kind, own_words), meant))
        near = 0.0
        if len(key) >= 5 and len(spelled) >= 5 and abs(len(key) - len(spelled)) <= 3:
            near = 0.95 * _ratio(key, spelled)
        if score < WORTH_SAYING and near < 0.8:
            continue
        why = f"{tongue}{'means' if score > 0.85 else 'close to'} {word!r}"
        if near >= 0.8 and near > score:
            score, why = near, f"spelled nearly as {word!r}"
        rank = (score, any(name in spoken for name in languages_of(word)))
        if column not in best or ranks[column] < rank:
            best[column], ranks[column] = Claim(column, score, why), rank
    return tuple(sorted(best.values(), key=lambda c: -c.score))


def _without_brackets(header: str) -> str:
    return re.sub(r"[(\[{][^)\]}]*[)\]}]", " ", header)


@lru_cache(maxsize=256)
def _kind_here(table: str, column: str) -> str:
    """The column's kind; `own id` where the table tells its ids from its numbers."""
    spec = TABLES[table]
    if table in SECRET_COLUMNS and spec.column(column).kind in ("id", "number"):
        return "as it is said"  # there a code is a PIN, not an id
    if spec.row_id == column and any(c.name == "number" for c in spec.columns):
        return "own id"
    return spec.column(column).kind


@lru_cache(maxsize=65_536)
def _for_kind(kind: str, said: frozenset[str]) -> frozenset[str]:
    """The meanings without what the column's kind says already."""
    if kind in ("date", "moment") and len(said) > 1:
        said = said - {"date", "day"} or said
    if kind in ("id", "ref", "own id", "number") and "code" in said and len(said) > 1:
        said = said - {"code"} | {"number" if kind == "number" else "id"}
    if kind in ("id", "ref") and "number" in said:
        said = said - {"number"} | {"id"}
    if kind == "ref" and "name" in said and len(said) > 1 and "person" not in said:
        said = said - {"name"} | {"id"}  # a door goes by its name; a person's is no reference
    if kind in ("whole", "decimal") and len(said) > 1:
        said = said - {"millimetre"}
    return said


def _ratio(a: str, b: str) -> float:
    from rapidfuzz.distance import OSA  # two letters that changed places are one slip

    return float(OSA.normalized_similarity(a, b))


def _synonym(table: str, column: str, header: str) -> str:
    """`German trade word`, by the language of the word that `check` knows it by."""
    english = {plain(w) for w in TABLES[table].column(column).synonyms}
    languages = ("English",) if plain(header) in english else languages_of(header)
    return f"{' or '.join(languages)} trade word" if languages else "trade word"


def languages_of(text: str) -> tuple[str, ...]:
    """The languages that a trade word may be in, at most two; none where it tells nothing."""
    found = meanings(text)[1]
    return ("English",) if len(found) > 2 and "English" in found else found[:2]


@lru_cache(maxsize=16)
def _by_meaning(table: str) -> dict[tuple[str, frozenset[str]], str]:
    """(kind of column, meanings) -> column."""
    found: dict[tuple[str, frozenset[str]], str] = {}
    for column, _, meant, _ in _vocabulary(table):
        if meant:
            found.setdefault((_kind_here(table, column), meant), column)
    return found


@lru_cache(maxsize=4096)
def _quickly(table: str, header: str) -> str | None:
    """The column that a header surely names, without weighing every word of the table."""
    own = claim(table, header)
    if own is not None:
        return own[0]
    known = _by_meaning(table)
    for text in (header, _without_brackets(header)):
        said = meanings(text)[0]
        for kind in {kind for kind, _ in known} if said else ():
            column = known.get((kind, _for_kind(kind, said)))
            if column:
                return column
    return None


_DATA: Final = re.compile(r"[0-9][0-9.,:/ \-]*|[0-9a-f]*[0-9]{3}[0-9a-f]*|.*[0-9]{4}.*", re.I)


def any_header(cells: Sequence[str]) -> int:
    """How much a row of cells looks like the header of any table at all.

    Names of columns hold no numbers, and of a header most cells are known: a word among
    the data may well be the name of some column too.
    """
    texts = [c for c in cells if c and not c.isspace()]
    names = [c for c in texts if len(c) < _LONGEST_HEADER and plain(c)]
    data = sum(1 for c in texts if len(c) >= _LONGEST_HEADER or _DATA.fullmatch(c.strip()))
    most = 0
    for table in TABLES:
        named = {column for text in names if (column := _quickly(table, text))}
        score = len(named) - data
        if not data and 2 * len(named) >= len(texts) and not lacking(table, frozenset(named)):
            score += SURELY
        most = max(most, score)
    return most


# --- what values say -----------------------------------------------------------------------


def translated(table: str, column: Column, text: str) -> tuple[str, bool] | None:
    """The fixed word (or yes, no, a number) that a text may stand for, and whether surely.

    None where nothing comes near. Days are read a column at a time: see `days_words`.
    """
    said = _said(text)
    if not said:
        return None
    if column.kind == "yesno":
        for word, others in (("yes", (*YES, *YES_WORDS)), ("no", (*NO, *NO_WORDS))):
            if said in {_said(w) for w in others}:
                return word, True
        return None
    if column.kind in ("whole", "decimal"):
        return _measure(column, text)
    if column.kind != "word":
        return None
    known = _words_for(table, column.name)
    if said in known:
        return known[said], True
    close = [w for w in known if len(w) >= 5 and abs(len(w) - len(said)) <= 3]
    near = sorted(((_ratio(said, w), w) for w in close), reverse=True)[:1]
    if len(said) >= 5 and near and near[0][0] >= 0.8:
        return known[near[0][1]], False
    held = {known[w] for w in known if len(w) >= 4 and f" {w} " in f" {said} "}
    return (held.pop(), False) if len(held) == 1 else None


def _said(text: str) -> str:
    return re.sub(r"[\s_\-–./]+", " ", fold(clean(text))).strip()


@lru_cache(maxsize=64)
def _words_for(table: str, column: str) -> Mapping[str, str]:
    found: dict[str, str] = {}
    for word in TABLES[table].column(column).words:
        found[_said(word)] = word
    for word, others in WORDS.get((table, column), {}).items():
        for other in others:
            found.setdefault(_said(other), word)
    return found


_MINUTES: Final = re.compile(
    r"(?:fd|fds|ei|e|rei|r|t|ei2|ei1|cf|pf|rf|wbdbo|nfr|fr)\s*[12]?\s*-?\s*"
    r"(15|20|30|45|60|90|120|180|240)\s*-?\s*(?:s|rs|sa|c|c[0-5]|sm|min\.?)*",
    re.I,
)
_UNITS: Final = {
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0},
    "s": {"s": 1.0, "sec": 1.0, "secs": 1.0, "sek": 1.0, "seg": 1.0, "seconds": 1.0, "min": 60.0,
          "mins": 60.0, "minutes": 60.0},
    "min": {"min": 1.0, "mins": 1.0, "minutes": 1.0, "minuten": 1.0, "minutos": 1.0, "h": 60.0,
            "hr": 60.0, "hour": 60.0, "hours": 60.0},
}  # fmt: skip


def _measure(column: Column, text: str) -> tuple[str, bool] | None:
    """A number with its unit, or a fire class, as the plain number in the column's unit."""
    text = clean(text)
    unit = "mm" if column.name.endswith("_mm") else "s" if column.name.endswith("_s") else ""
    if column.name == "fire_minutes":
        unit = "min"
        if m := _MINUTES.fullmatch(text):
            return m[1], True
    m = re.fullmatch(r"([0-9]{1,5}(?:[.,][0-9]{1,2})?)\s*([A-Za-z]+)\.?", text)
    factor = _UNITS.get(unit, {}).get(m[2].casefold()) if m else None
    if m is None or factor is None:
        return None
    value = round(float(m[1].replace(",", ".")) * factor, 3)
    return (f"{value:g}", True) if value == int(value) or column.kind == "decimal" else None


def days_words(texts: Iterable[str]) -> dict[str, tuple[str, bool]]:
    """Day words of one column in ours: sure where only one reading fits the whole column."""
    texts = [t for t in texts if clean(t)]
    open_ = [t for t in texts if parse_days(clean(t)) is None]
    readings: list[dict[str, str]] = []
    for language in LANGUAGES:
        read = {t: _days_in(t, language) for t in texts}
        if open_ and all(read.values()):
            readings.append({t: d for t, d in read.items() if d is not None})
    if not readings:
        partly = {t: _days_in(t, language) for language in LANGUAGES for t in open_
                  if _days_in(t, language)}  # fmt: skip
        return {t: (d, False) for t, d in partly.items() if d is not None}
    return {t: (readings[0][t], all(r[t] == readings[0][t] for r in readings)) for t in open_}


_OURS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _days_in(text: str, language: str) -> str | None:
    known = {_said(w): _OURS[i] for i, words in enumerate(DAYS[language]) for w in words}
    for words, meant in (
        (EVERY_DAY, "daily"), (HOLIDAYS, "holiday"), (WORKDAYS, "mon-fri"), (WEEKENDS, "sat sun"),
    ):  # fmt: skip
        known |= {_said(w): meant for w in words}
    whole = known.get(_said(text))
    if whole:
        return whole
    text = unicodedata.normalize("NFKD", clean(text).casefold())
    text = "".join(c for c in text if not unicodedata.combining(c)).replace("t/m", "tot")
    text = re.sub(r"\s*(?:[-–—]|\b(?:bis|to|au|a|al|hasta|tot|tm|through)\b)\s*", "~", text)
    text = re.sub(r"\b(?:und|et|y|en|and|e|de|du|von|van|lunes a)\b(?!~)", " ", text)
    found = []
    for part in re.split(r"[\s,;+/&]+", text.strip(" ~.")):
        if not part:
            continue
        ends = [known.get(end.strip(".")) for end in part.split("~") if end]
        if not 0 < len(ends) <= 2 or any(e is None for e in ends):
            return None
        if len(ends) == 2 and not all(e in _OURS for e in ends):
            return None
        found.append("-".join(e for e in ends if e))
    return " ".join(found) or None


# --- values of a whole column --------------------------------------------------------------


def reader_of(
    column: Column, order: str, values: Mapping[str, str] | None = None
) -> Callable[[str], Any]:
    """What `check` makes of a cell of this column; the zone does not matter here."""
    return cell_parser(column, order, ZoneInfo("UTC"), values)


def fitting(table: str, column: Column, texts: Sequence[str], order: str) -> float | None:
    """The share of these texts that can stand in the column; None where any text can."""
    if column.kind in ("id", "ref", "text"):
        return _address_share(texts) if column.name == "address" else None
    if column.kind in ("date", "moment"):
        return max((_understood(column, texts, o) for o in ("dmy", "mdy", "ymd")), default=None,
                   key=lambda share: -1.0 if share is None else share)  # fmt: skip
    read, blank = reader_of(column, order), blank_words(column)
    given = [t for t in texts if clean(t).casefold() not in blank]
    if not given:
        return None
    days = days_words(given) if column.kind == "days" else {}

    def fits(text: str) -> bool:
        if column.kind == "number":
            return bool(re.search(r"[0-9A-Fa-f]{3}", text)) and len(text) <= 40
        if read(text) is not UNREAD:
            return True
        return text in days or translated(table, column, text) is not None

    return sum(map(fits, given)) / len(given)


def _understood(column: Column, texts: Sequence[str], order: str) -> float | None:
    read, blank = reader_of(column, order), blank_words(column)
    given = [t for t in texts if clean(t).casefold() not in blank]
    return sum(read(t) is not UNREAD for t in given) / len(given) if given else None


def _address_share(texts: Sequence[str]) -> float | None:
    hits = [bool(re.fullmatch(r"(\d{1,3}\.){3}\d{1,3}|[0-9a-f:]{4,}:[0-9a-f:]*", t)) for t in texts]
    return sum(hits) / len(hits) if hits else None


_THREE: Final = re.compile(r"([0-9]{1,4})([./\- ])([0-9]{1,2})\2([0-9]{1,4})(?:[ T,].*)?")


def date_order(texts: Iterable[str]) -> tuple[frozenset[str], bool]:
    """The orders in which every one of these dates is a date; and whether any was open to doubt.

    Dates with the year first, or a month by name, are the same in every order.
    """
    orders = {"dmy", "mdy", "ymd"}
    doubtful = False
    for text in texts:
        m = _THREE.fullmatch(clean(text))
        if not m or len(m[1]) == 4 or len(m[1]) == 3:
            continue
        first, second, third = int(m[1]), int(m[3]), int(m[4])
        doubtful = True
        fits = set()
        if len(m[4]) in (2, 4):
            fits |= {"dmy"} if first <= 31 and 1 <= second <= 12 and first else set()
            fits |= {"mdy"} if 1 <= first <= 12 and second <= 31 and second else set()
        if len(m[4]) <= 2 and len(m[1]) == 2:
            fits |= {"ymd"} if 1 <= second <= 12 and 1 <= third <= 31 else set()
        orders &= fits
    return frozenset(orders), doubtful


# --- which table ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Guess:
    """One reading of a file as a table: how well it fits, and what each header would be."""

    table: str
    score: float
    columns: Mapping[int, Claim]
    rivals: Mapping[int, Claim]  # what a header that is left over might be
    lacking: tuple[str, ...]
    named: bool  # by its file or sheet


def _named(table: str, names: Sequence[str]) -> bool:
    """Whether a file's or sheet's name speaks of this table."""
    for name in names:
        known = {plain(table), *map(plain, TABLE_WORDS.get(table, ()))}
        if plain(name) in known or any(plain(w) in known for w in words_of(name)):
            return True
        if meanings(name)[0] & _CALLED[table]:
            return True
    return False


def guesses(
    header: Sequence[str],
    samples: Sequence[Sequence[str]],
    names: Sequence[str],
    source: Source | None = None,
    order: str = "dmy",
) -> list[Guess]:
    """Every table that the file may be, the likeliest first.

    `samples` are some distinct values of each column; `names` of the file and the sheet.
    """
    spread = [
        max(1, sum(any(c.score >= SURE for c in claims(t, h)) for t in TABLES)) for h in header
    ]
    found = [_guess(t, header, samples, names, spread, source, order) for t in TABLES]
    return sorted(found, key=lambda g: -g.score)


def _guess(
    table: str,
    header: Sequence[str],
    samples: Sequence[Sequence[str]],
    names: Sequence[str],
    spread: Sequence[int],
    source: Source | None,
    order: str,
) -> Guess:
    offers: list[tuple[float, int, Claim]] = []
    for at, text in enumerate(header):
        for c in claims(table, text):
            share = fitting(table, TABLES[table].column(c.column), samples[at], order)
            score = c.score * (1.0 if share is None else 0.4 + 0.6 * share)
            if share == 1.0 and _tells(table, c.column, samples[at]):
                score = min(1.0, score + 0.25)  # the header is close, and the words are its own
            if c.score == 1.0 or score >= WORTH_SAYING:
                offers.append((score, at, Claim(c.column, score, c.why)))
    offers += _plain_numbers(table, header)
    offers += _by_words(table, header, samples, {at for score, at, _ in offers if score >= SURE})
    offers += _only_number(table, header, samples, offers)
    offers.sort(key=lambda o: (-o[0], o[1]))
    taken: dict[int, Claim] = {}
    rivals: dict[int, Claim] = {}
    given: set[str] = set()
    for _, at, c in offers:
        if at in taken:
            continue
        if c.column in given:
            rivals.setdefault(at, c)
            continue
        taken[at] = c
        given.add(c.column)
        rivals.pop(at, None)
    starred = set(TABLES[table].starred)
    score = 0.0
    for at, c in taken.items():
        weight = 1.4 if c.column in starred else 1.0
        score += c.score * weight / spread[at] ** 0.5
    missing = lacking(table, frozenset(given))
    called = _named(table, names)
    used = sum(1 for h in header if plain(h)) or 1
    score += 1.2 * called + 1.5 * len(taken) / used - 0.9 * len(missing)
    return Guess(table, score, taken, rivals, missing, called)


def _tells(table: str, column: str, texts: Sequence[str]) -> bool:
    """Whether these values are words of one column, several of them."""
    spec = TABLES[table].column(column)
    if spec.kind != "word":
        return False
    known = _words_for(table, column)
    found = {known.get(_said(t)) for t in texts}
    return len(found) >= 2 and None not in found


def _plain_numbers(table: str, header: Sequence[str]) -> list[tuple[float, int, Claim]]:
    """A column called no more than number or id, as the row's own id.

    Nothing refers to a permission: there any number that no other row has is its id.
    """
    row_id = TABLES[table].row_id
    if row_id is None or not header:
        return []
    said = meanings(header[0])[0]
    if not said or not said <= {"number", "id"}:
        return []
    score = 0.85 if table == "permissions" else 0.6
    return [(score, 0, Claim(row_id, score, "a number for each row, in the first column"))]


def _by_words(
    table: str, header: Sequence[str], samples: Sequence[Sequence[str]], taken: set[int]
) -> list[tuple[float, int, Claim]]:
    """Columns whose header says nothing and whose values are the words of one column alone."""
    found = []
    for at in range(len(header)):
        if at in taken or not header[at] or not 2 <= len(samples[at]) <= 12:
            continue
        fitting_columns = [
            c.name for c in TABLES[table].columns
            if c.kind == "word" and _tells(table, c.name, samples[at])
        ]  # fmt: skip
        if len(fitting_columns) == 1:
            column = fitting_columns[0]
            found.append((SURE, at, Claim(column, SURE, f"its values are those of {column}")))
    return found


def _only_number(
    table: str,
    header: Sequence[str],
    samples: Sequence[Sequence[str]],
    offers: Sequence[tuple[float, int, Claim]],
) -> list[tuple[float, int, Claim]]:
    """In a list of cards the one id that there is, as the number: card_id is its default."""
    if table != "cards":
        return []
    numbers = {at for score, at, c in offers if c.column == "number" and score >= SURE}
    column = TABLES[table].column("number")
    found = []
    for score, at, c in offers:
        if numbers - {at}:
            continue
        share = fitting(table, column, samples[at], "dmy")
        if c.column == "card_id" and SURE <= score < 1 and share == 1.0:
            found.append((0.99, at, Claim("number", 0.85, f"{c.why}, and there is no other")))
    return found


# --- what must not be shown ----------------------------------------------------------------


def may_hold_pins(table: str | None, column: str | None, header: str) -> bool:
    """Whether a column's values are to be hidden altogether."""
    if table is not None and column is not None:
        if SECRET_COLUMNS.get(table) == column or column == "pin":
            return True
        if TABLES[table].column(column).kind in ("word", "yesno", "date", "clock", "moment"):
            return False
    return bool(meanings(header)[0] & {"pin", "code"}) and column not in (
        "pin_id", "facility_code", "admin_code",
    )  # fmt: skip
