"""Which texts of a register are PINs: answered here, once, and hidden before a rule sees them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from audit.contract import row_digest
from audit.ingest import values as v
from audit.ingest.draft import (
    Draft,
    Mask,
    Texts,
    distinct_texts,
    draft_frame,
    one_piece,
    true_mask,
    with_texts,
)  # fmt: skip
from audit.schema import HOLDER_TABLES, SECRET_COLUMNS

NOT_SHOWN: Final = "pin, not shown"


def hide_pins(drafts: Mapping[str, Draft]) -> None:
    """Leaves PIN digits in `secret` only: every other column holds an id or a label.

    A text that no table explains and that is a registered PIN is hidden wherever it stands in
    pins, loaded, events and permissions; so is every unexplained reference of pins that is all
    digits, for a column headed Keypad may hold codes that no other column has.
    """
    pins = drafts.get("pins")
    known: pa.Array = pa.array([], pa.large_string())
    secrets: set[str] = set()
    if pins is not None:
        secrets = _registered(pins)
        _hide_elsewhere(pins, drafts, secrets)  # before a row goes by a digest of its cells
        _hide_own_codes(pins)
        known = one_piece(pins.texts["pin_id"]).chunk(0).drop_null()
    for name in ("loaded", "events"):
        if name in drafts:
            _hide_in(drafts[name], SECRET_COLUMNS[name], known, secrets, drafts.get("cards"))
    for name in ("loaded", "events"):
        if name in drafts:
            _hide_elsewhere(drafts[name], drafts, secrets)
    rights = drafts.get("permissions")
    if rights is not None:
        ids = rights.texts["holder_id"]
        of_pins = true_mask(pc.equal(rights.texts["holder_kind"], "pin"))
        hidden = _suspect(ids, of_pins, known, secrets) if of_pins.any() else of_pins
        rest = np.flatnonzero(~of_pins & _pins_in(ids, secrets))
        if len(rest):
            every = [_known(drafts, table) for table in HOLDER_TABLES.values()]
            named = true_mask(pc.is_in(ids.take(pa.array(rest)), pa.concat_arrays(every)))
            hidden[rest[~named]] = True
        rights.texts["holder_id"] = with_texts(ids, np.flatnonzero(hidden), NOT_SHOWN)


def is_pin(text: str, secrets: Collection[str]) -> bool:
    """Whether a text is a registered PIN, however it is bent, or holds one as a run of digits."""
    return v.bare_digits(text) in secrets or any(
        run in secrets for run in re.findall(r"[0-9]{4,}", text)
    )


def _registered(pins: Draft) -> set[str]:
    """The digits of every registered PIN, those of damaged cells too, and each as a spreadsheet
    writes it: without its leading zeros."""
    found = set(pc.unique(pins.texts["secret"]).drop_null().to_pylist())
    raw = pins.raw.cells.get("pin")
    if raw is not None:
        digits = raw.filter(pc.fill_null(pc.ascii_is_decimal(raw), False))
        found |= set(pc.unique(digits).to_pylist())
    found |= {bare for text in found if len(bare := text.lstrip("0")) >= 4}
    return found - {""}


def _known(drafts: Mapping[str, Draft], table: str) -> pa.Array:
    """What names a row of the table: its ids, and of a card its number, with or without zeros."""
    draft = drafts.get(table)
    if draft is None:
        return pa.array([], pa.large_string())
    ids = one_piece(draft.texts[draft.spec.row_id or draft.spec.columns[0].name]).chunk(0)
    if table != "cards":
        return ids.drop_null()
    numbers = one_piece(draft.texts["number"]).chunk(0)
    bare = pc.utf8_ltrim(numbers, "0")
    return pa.concat_arrays([ids, numbers, bare]).drop_null()


def _pins_in(texts: Texts, secrets: Collection[str], *, numbers: bool = False) -> Mask:
    """Where a text is a registered PIN or, but in a column of card numbers, holds one.

    Numbers are asked in C: a log may hold millions, and a long serial any digits by chance.
    """
    if not secrets or texts.null_count == len(texts):
        return np.zeros(len(texts), bool)
    known = pa.array(sorted(secrets), pa.large_string())
    hit = true_mask(pc.is_in(texts, known))
    odd = np.flatnonzero(~true_mask(pc.ascii_is_decimal(texts)) & true_mask(pc.is_valid(texts)))
    if len(odd) and numbers:
        bare = pc.replace_substring_regex(texts.take(pa.array(odd)), v.BETWEEN_DIGITS, "")
        hit[odd] |= true_mask(pc.is_in(bare, known))
    elif len(odd):
        codes, distinct = distinct_texts(texts.take(pa.array(odd)))
        hit[odd] |= np.array([*(is_pin(t, secrets) for t in distinct), False])[codes]
    return hit


def _hide_elsewhere(draft: Draft, drafts: Mapping[str, Draft], secrets: Collection[str]) -> None:
    """Hides PINs that stand in a column which is not meant for them."""
    for column in draft.spec.columns:
        texts = draft.texts.get(column.name)
        if texts is None or column.kind not in ("ref", "number", "text"):
            continue
        hidden = _pins_in(texts, secrets, numbers=column.kind == "number")
        if draft.spec.name == "pins":
            hidden |= true_mask(pc.ascii_is_decimal(texts))
        elif SECRET_COLUMNS[draft.spec.name] == column.name:
            hidden &= true_mask(pc.not_equal(texts, NOT_SHOWN))
        at = np.flatnonzero(hidden)
        if not len(at):
            continue
        # a card's number and a PIN's id both stand in the one column of a read-back
        tables = ("cards", "pins") if draft.spec.name == "loaded" else ("cards",)
        tables = (column.refers,) if column.refers else tables
        names = pa.concat_arrays([_known(drafts, table) for table in tables])
        some = texts.take(pa.array(at))
        named = true_mask(pc.is_in(some, names))
        if column.kind == "number":
            named |= true_mask(pc.is_in(pc.utf8_ltrim(some, "0"), names))
        draft.texts[column.name] = with_texts(texts, at[~named], NOT_SHOWN)


def _hide_own_codes(pins: Draft) -> None:
    """A pin_id that tells its own code is not understood; the row goes by a digest."""
    ids, secret = one_piece(pins.texts["pin_id"]), pins.texts["secret"]
    if not len(ids):
        return
    own = true_mask(pc.equal(ids, secret))
    digits = true_mask(pc.match_substring_regex(ids, "[0-9]"))
    rest = np.flatnonzero(digits & ~own)
    if len(rest):
        # an id such as P-4711 tells the code 4711; one that is all digits beside a code that
        # can't be read may be that code
        unread = pins.unread.get("pin", np.zeros(len(pins), bool))
        raw = pins.raw.cells.get("pin")
        pairs = zip(
            rest.tolist(),
            ids.take(pa.array(rest)).to_pylist(),
            secret.take(pa.array(rest)).to_pylist(),
            strict=True,
        )
        own[[at for at, name, code in _telling(pairs, unread, raw)]] = True
    if not own.any():
        return
    at = np.flatnonzero(own)
    without = draft_frame(pins, at).drop(columns="pin_id")
    seen: dict[str, int] = {}
    labels = []
    for label in row_digest("pins", without):
        # rows alike in all but their PINs are still several PINs
        seen[label] = seen.get(label, 0) + 1
        labels.append(label if seen[label] == 1 else f"{label}-{seen[label]}")
    told = pa.chunked_array([pa.array(labels, pa.large_string())])
    pins.texts["pin_id"] = with_texts(ids, at, told)
    pins.mark("pin_id", own)


def _telling(
    pairs: Iterable[tuple[int, str, str | None]], unread: Mask, raw: Texts | None
) -> Iterable[tuple[int, str, str | None]]:
    for at, name, code in pairs:
        runs = re.findall(r"[0-9]+", name)
        if code is not None and len(code) >= 4:
            if code in runs or (v.could_be_pin(name) and code in "".join(runs)):
                yield at, name, code
        elif unread[at] and raw is not None and v.could_be_pin(name) and len("".join(runs)) >= 4:
            yield at, name, code


def _suspect(ids: Texts, where: Mask, known: pa.Array, secrets: set[str]) -> Mask:
    """Which of these ids are no known pin_id and may give a PIN's digits away."""
    unknown = where & ~true_mask(pc.is_in(ids, known)) & true_mask(pc.is_valid(ids))
    hidden = np.zeros(len(ids), bool)
    at = np.flatnonzero(unknown)
    if not len(at):
        return hidden
    some = ids.take(pa.array(at))
    digits = true_mask(pc.ascii_is_decimal(some))
    hidden[at[digits]] = True
    rest = at[~digits]
    codes, distinct = distinct_texts(ids.take(pa.array(rest)))
    tells = [v.could_be_pin(t) or is_pin(t, secrets) for t in distinct]
    hidden[rest] = np.array([*tells, False])[codes]
    return hidden


def _hide_in(
    draft: Draft, column: str, known: pa.Array, secrets: set[str], cards: Draft | None
) -> None:
    """Moves what may be digits in a PIN column of read-back or events into `secret`."""
    ids = draft.texts[column]
    if ids.null_count == len(ids):
        draft.texts["secret"] = ids
        return
    where = np.ones(len(ids), bool)
    if draft.raw.name == "loaded":
        kind = draft.texts["credential_kind"]
        where = ~true_mask(pc.equal(kind, "card"))
        if cards is not None and where.any():
            # a kind that is not given: a card's number is no secret
            numbers = one_piece(cards.texts["number"]).chunk(0).drop_null()
            unsure = where & ~true_mask(pc.equal(kind, "pin"))
            where &= ~(unsure & true_mask(pc.is_in(ids, numbers)))
    hidden = _suspect(ids, where, known, secrets)
    damaged = draft.damage.get(column)
    if damaged is not None:
        of_pins = np.array([k is not None for k in damaged]) & where
        if draft.raw.name == "loaded":
            _only_where_pins_may_stand(draft, column, damaged, where)
        hidden |= of_pins & true_mask(pc.is_valid(ids))
    at = np.flatnonzero(hidden)
    nothing = pa.chunked_array([pa.nulls(len(ids), pa.large_string())])
    if not len(at):
        draft.texts["secret"] = nothing
        return
    digits = pc.if_else(
        pa.array(hidden & true_mask(pc.ascii_is_decimal(ids))),
        ids,
        pa.scalar(None, pa.large_string()),
    )
    unread = draft.unread.get(column)
    if unread is not None:
        digits = pc.if_else(pa.array(unread), pa.scalar(None, pa.large_string()), digits)
    draft.texts["secret"] = one_piece(digits)
    draft.texts[column] = with_texts(ids, at, NOT_SHOWN)


def _only_where_pins_may_stand(
    draft: Draft, column: str, damaged: npt.NDArray[np.object_], where: Mask
) -> None:
    """A card's number that arrived as a number has lost no zeros that matter."""
    cards = ~where & np.array([k == v.ZEROS_GONE for k in damaged])
    if cards.any():
        damaged[cards] = None
        if column in draft.unread:
            draft.unread[column] = draft.unread[column] & ~cards
