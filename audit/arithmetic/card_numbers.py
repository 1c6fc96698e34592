"""One canonical value for a card number, however a register writes it.

A number is written in decimal, in hexadecimal (most significant byte first, or byte-reversed),
as facility and number, or as the full 26 bits with parity. Two numbers are the same when their
canonical values are. The canonical value of a sound number is its whole value in decimal digits;
one that can be read but lies outside its form keeps a text of its own, which equals the same
reading and nothing else, so that a wrong number never passes for another card's.

Recognition of a blank form (the data contract, "same number"): with a facility code, or
`facility,number` in one cell, `wiegand26` where both fit 8 and 16 bits, else `bits`; digits only,
`decimal`; else `hex`. A pair of facility and number has one canonical value in either form.

Sources: serial numbers of 4, 7 or 10 bytes, first byte 08, cascade tag 88: ISO/IEC 14443-3; the
26 bits (even parity over the first thirteen, 8 bits facility, 16 bits number, odd parity over the
last thirteen): SIA AC-01-1996.10.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from audit.arithmetic.plain import TEXT
from audit.arithmetic.three import Bools, Ints

UNREADABLE: Final = "not readable in its form"


HEX_LENGTH: Final = "not 4, 7 or 10 bytes"


FACILITY_RANGE: Final = "facility code above 255"


NUMBER_RANGE: Final = "number above 65535"


NO_FACILITY: Final = "no facility code"


FACILITY_DIFFERS: Final = "two different facility codes"


BITS: Final = "not 26 bits"


PARITY: Final = "wrong parity"


STUMP: Final = "stump of a longer serial number"


RANDOM: Final = "made anew at each reading"


FORMS: Final = ("decimal", "hex", "hex-reversed", "wiegand26", "bits")


_DECIMAL, _HEX, _REVERSED, _WIEGAND, _PAIR = range(5)


_FAULTS: Final = (
    UNREADABLE,
    HEX_LENGTH,
    FACILITY_RANGE,
    NUMBER_RANGE,
    NO_FACILITY,
    FACILITY_DIFFERS,
    BITS,
    PARITY,
    STUMP,
    RANDOM,
)


_CODE: Final = {fault: code for code, fault in enumerate(_FAULTS)}


_OUT_OF_RANGE: Final = (_CODE[FACILITY_RANGE], _CODE[NUMBER_RANGE])


_SERIAL_DIGITS: Final = (8, 14, 20)


_SEPARATORS: Final = r"[\s\x{00A0}:.\-]"


_TOO_LARGE: Final = 10**9


_Piece = tuple[Ints, Any, npt.NDArray[np.int8]]  # rows, canonical text, fault codes


_NIBBLE: Final = np.zeros(256, dtype=np.uint8)
_NIBBLE[[ord(c) for c in "0123456789ABCDEF"]] = np.arange(16)


def canonical(
    number: pd.Series,
    facility_code: pd.Series | None = None,
    number_form: pd.Series | None = None,
) -> pd.DataFrame:
    """Read card numbers: a row a number, with the index of `number`.

    `number` is text; `facility_code` whole numbers or text; `number_form` one of FORMS, NA = to
    be recognised. All are aligned by position.

    Returns three text columns: `canonical` (NA where the number can't be read), `form` (the form
    it was read in; NA where no number is given) and `fault` (NA where it is sound, else a
    constant of this module). STUMP and RANDOM hang on the technology: they are remarks on a
    number that is sound otherwise.
    """
    text = _arrow(number)
    given = _true(text.is_valid())
    facility = _facility(facility_code, len(text))
    form = _form(number_form, len(text))
    digits = _true(pc.ascii_is_decimal(text))
    comma = np.zeros(len(text), dtype=bool)
    odd = given & ~digits
    if odd.any():
        rest = pc.utf8_upper(text.filter(pa.array(odd)))
        if _true(pc.match_substring_regex(rest, _SEPARATORS)).any():
            rest = pc.replace_substring_regex(rest, _SEPARATORS, "")
        text = pc.replace_with_mask(text, pa.array(odd), rest)
        digits[odd] = _true(pc.ascii_is_decimal(rest))
        comma[odd] = _true(pc.match_substring(rest, ","))
    blank = form < 0
    with_facility = comma if facility is None else comma | (facility >= 0)
    form[blank & ~digits] = _HEX
    form[blank & digits] = _DECIMAL
    form[blank & with_facility] = _WIEGAND
    form[~given] = -1

    pieces: list[_Piece] = []
    for code in np.unique(form[given]):
        rows = np.flatnonzero(form == code)
        body = text if len(rows) == len(text) else text.take(pa.array(rows))
        if code == _DECIMAL:
            pieces.append(_decimals(rows, body))
        elif code in (_WIEGAND, _PAIR):
            beside = None if facility is None else facility[rows]
            piece = _wiegands(rows, body, beside, pairs=code == _PAIR)
            wide = (blank[rows] | (code == _PAIR)) & np.isin(piece[2], _OUT_OF_RANGE)
            form[rows[wide]] = _PAIR
            piece[2][wide] = np.where(_true(piece[1].is_valid()), -1, _CODE[UNREADABLE])[wide]
            pieces.append(piece)
        else:
            pieces.append(_serials(rows, body, reverse=code == _REVERSED))
    return _assemble(number.index, form, pieces)


def _arrow(series: pd.Series) -> Any:
    made = pa.array(series.astype(TEXT), from_pandas=True)
    whole = made.combine_chunks() if isinstance(made, pa.ChunkedArray) else made
    return whole.cast(pa.large_string())


def _true(mask: Any) -> Bools:
    filled = mask.fill_null(False) if mask.null_count else mask
    result: Bools = np.array(filled.to_numpy(zero_copy_only=False), dtype=bool)
    return result


def _form(words: pd.Series | None, size: int) -> Ints:
    if words is None or not words.notna().any():
        return np.full(size, -1, dtype=np.int64)
    known = pa.array(FORMS, pa.large_string())
    found = pc.fill_null(pc.index_in(_arrow(words), value_set=known, skip_nulls=True), -1)
    return np.array(found.to_numpy(zero_copy_only=False), dtype=np.int64)


def _facility(codes: pd.Series | None, size: int) -> Ints | None:
    """-1 = not given; whatever is no whole number from 0 up becomes too large."""
    if codes is None or not codes.notna().any():
        return None
    values = codes.str.strip() if codes.dtype == object or codes.dtype == "string" else codes
    plain = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    sound = (plain >= 0) & (plain < _TOO_LARGE) & (plain == np.floor(plain))
    read = np.where(sound, np.nan_to_num(plain), _TOO_LARGE).astype(np.int64)
    read[codes.isna().to_numpy()] = -1
    return read


def _small(texts: Any) -> Ints:
    """Decimal digits as int64; anything above 999,999,999 as _TOO_LARGE; -1 for no digits."""
    short = pc.ascii_ltrim(texts, "0")
    readable = _true(pc.ascii_is_decimal(texts))
    length = pc.fill_null(pc.binary_length(short), 0).to_numpy(zero_copy_only=False)
    fits = readable & (length > 0) & (length < 10)
    values = np.where(readable & (length >= 10), _TOO_LARGE, np.where(readable, 0, -1))
    values[fits] = short.filter(pa.array(fits)).cast(pa.int64()).to_numpy()
    return values.astype(np.int64)


def _decimals(rows: Ints, body: Any) -> _Piece:
    short = pc.ascii_ltrim(body, "0")
    sound = _true(pc.ascii_is_decimal(body))
    zero = sound & (pc.binary_length(short).to_numpy(zero_copy_only=False) == 0)
    if zero.any():
        short = pc.if_else(pa.array(zero), pa.scalar("0", pa.large_string()), short)
    faults = np.where(sound, -1, _CODE[UNREADABLE]).astype(np.int8)
    if not sound.all():
        short = pc.if_else(pa.array(sound), short, pa.scalar(None, pa.large_string()))
    return rows, short, faults


def _serials(rows: Ints, body: Any, *, reverse: bool) -> _Piece:
    if _true(pc.starts_with(body, "0X")).any():
        body = pc.replace_substring_regex(body, "^0X", "")
    sound = _true(pc.match_substring_regex(body, "^[0-9A-F]+$"))
    length = pc.binary_length(body).to_numpy(zero_copy_only=False)
    faults = np.where(sound, _CODE[HEX_LENGTH], _CODE[UNREADABLE]).astype(np.int8)
    values = np.full(len(rows), None, dtype=object)
    for at in np.flatnonzero(sound & ~np.isin(length, _SERIAL_DIGITS)):
        values[at] = _own_text(body[int(at)].as_py(), reverse=reverse)
    texts = pa.array(values, type=pa.large_string())
    for width in _SERIAL_DIGITS:
        fits = sound & (length == width)
        if fits.any():
            found = _bytes(body.filter(pa.array(fits)), width)
            found = found[:, ::-1] if reverse else found
            texts = pc.replace_with_mask(texts, pa.array(fits), _whole(found))
            faults[fits] = _remark(found)
    return rows, texts, faults


def _own_text(digits: str, *, reverse: bool) -> str:
    """A hex number that is no serial number: its own digits, most significant first if whole."""
    if reverse and len(digits) % 2:
        return f"hex-reversed {digits}"
    return f"hex {bytes.fromhex(digits)[::-1].hex().upper() if reverse else digits}"


def _bytes(digits: Any, width: int) -> npt.NDArray[np.uint8]:
    """Hex texts of one width as rows of bytes."""
    characters = np.frombuffer(
        digits.cast(pa.large_binary()).cast(pa.binary(width)).buffers()[1], dtype=np.uint8
    )
    nibbles = _NIBBLE[characters[: len(digits) * width]].reshape(len(digits), width)
    paired: npt.NDArray[np.uint8] = nibbles[:, ::2] * np.uint8(16) + nibbles[:, 1::2]
    return paired


def _whole(found: npt.NDArray[np.uint8]) -> Any:
    """Rows of up to ten bytes, most significant first, as decimal texts."""

    def integer(part: npt.NDArray[np.uint8]) -> Any:
        wide = np.zeros((len(part), 8), dtype=np.uint8)
        wide[:, 8 - part.shape[1] :] = part
        return wide.view(">u8").ravel().astype(np.int64)

    if found.shape[1] <= 7:
        return pa.array(integer(found)).cast(pa.large_string())
    # Ten bytes do not fit 64 bits: two halves of five, put together in decimal arithmetic.
    high, low = (pa.array(integer(h)).cast(pa.decimal128(19, 0)) for h in np.hsplit(found, 2))
    shifted = pc.multiply(high, pa.scalar(Decimal(2**40)))
    return pc.add(shifted, low).cast(pa.string()).cast(pa.large_string())


def _remark(found: npt.NDArray[np.uint8]) -> npt.NDArray[np.int8]:
    faults = np.full(len(found), -1, dtype=np.int8)
    if found.shape[1] == 4:
        faults[found[:, 0] == 0x88] = _CODE[STUMP]
        faults[found[:, 0] == 0x08] = _CODE[RANDOM]
    return faults


def _wiegands(rows: Ints, body: Any, facility: Ints | None, *, pairs: bool) -> _Piece:
    """Facility and number; with `pairs` of any width, else the 26 bits, full ones too."""
    size = len(rows)
    beside = np.full(size, -1, dtype=np.int64) if facility is None else facility
    pair = pc.extract_regex(body, r"^(?P<facility>[0-9]+),(?P<number>[0-9]+)$")
    inside = _small(pc.struct_field(pair, "facility"))
    is_pair = inside >= 0
    plain = _true(pc.ascii_is_decimal(body))
    is_bits = _true(pc.match_substring_regex(body, "^[01]{26}$"))
    is_hex = _true(pc.match_substring_regex(body, "^(0X)?[0-9A-F]{7,8}$"))
    is_hex &= ~(plain & (beside >= 0))
    full = (is_bits | is_hex) & (not pairs)
    split = is_pair | (plain & ~full)

    code = np.where(is_pair, inside, beside)
    number = np.where(is_pair, _small(pc.struct_field(pair, "number")), _small(body))
    word = np.zeros(size, dtype=np.int64)
    if not pairs:
        word[is_bits] = _binary(body.filter(pa.array(is_bits)))
        word[is_hex] = _hexadecimal(body.filter(pa.array(is_hex)))
    code[full] = word[full] >> 17 & 0xFF
    number[full] = word[full] >> 1 & 0xFFFF

    faults = np.full(size, -1, dtype=np.int8)
    for wrong, fault in (
        (code > 255, FACILITY_RANGE),
        (number > 65535, NUMBER_RANGE),
        (full & ~_parity(word), PARITY),
        (full & (word >> 26 > 0), BITS),
        ((beside >= 0) & (code != beside), FACILITY_DIFFERS),
        (split & (code < 0), NO_FACILITY),
        (~split & ~full, UNREADABLE),
    ):  # the later one is the graver and stands
        faults[wrong] = _CODE[fault]
    return rows, _wiegand_texts(faults, code, number, word), faults


def _wiegand_texts(faults: npt.NDArray[np.int8], code: Ints, number: Ints, word: Ints) -> Any:
    texts = pa.array(code * 65536 + number).cast(pa.large_string())
    if (faults < 0).all():
        return texts
    own = np.full(len(faults), None, dtype=object)
    for at in np.flatnonzero(faults >= 0):
        if faults[at] in (_CODE[FACILITY_RANGE], _CODE[NUMBER_RANGE]):
            # Beyond a thousand million the digits are not kept: not readable.
            if max(code[at], number[at]) < _TOO_LARGE:
                own[at] = f"{code[at]},{number[at]}"
        elif faults[at] in (_CODE[PARITY], _CODE[BITS]):
            own[at] = f"bits {word[at]:X}"
    return pc.if_else(pa.array(faults < 0), texts, pa.array(own, type=pa.large_string()))


def _binary(texts: Any) -> Ints:
    if not len(texts):
        return np.empty(0, dtype=np.int64)
    raw = texts.cast(pa.large_binary()).cast(pa.binary(26)).buffers()[1]
    bits = np.frombuffer(raw, dtype=np.uint8)[: len(texts) * 26].reshape(-1, 26) & 1
    return bits.astype(np.int64) @ (1 << np.arange(25, -1, -1, dtype=np.int64))


def _hexadecimal(texts: Any) -> Ints:
    if not len(texts):
        return np.empty(0, dtype=np.int64)
    padded = pc.ascii_lpad(pc.replace_substring_regex(texts, "^0X", ""), 8, "0")
    return _bytes(padded, 8).view(">u4").ravel().astype(np.int64)


def _parity(word: Ints) -> Bools:
    """Even number of ones in the first thirteen bits, odd in the last thirteen."""
    first, last = word >> 13 & 0x1FFF, word & 0x1FFF
    for shift in (8, 4, 2, 1):
        first ^= first >> shift
        last ^= last >> shift
    sound: Bools = (first & 1 == 0) & (last & 1 == 1)
    return sound


def _assemble(index: pd.Index, form: Ints, pieces: list[_Piece]) -> pd.DataFrame:
    size = len(form)
    texts: Any = pa.nulls(size, pa.large_string())
    faults = np.full(size, -1, dtype=np.int64)
    if pieces:
        order = np.concatenate([rows for rows, _, _ in pieces])
        place = np.full(size, -1, dtype=np.int64)
        place[order] = np.arange(len(order))
        whole = pa.concat_arrays([t for _, t, _ in pieces])
        faults[order] = np.concatenate([f for _, _, f in pieces])
        texts = (
            whole.take(pa.array(place, mask=place < 0))
            if len(pieces) > 1 or (len(order) < size)
            else whole
        )
    return pd.DataFrame(
        {
            "canonical": pd.Series(pd.array(texts, dtype=TEXT), index=index),
            "form": _named(FORMS, form, index),
            "fault": _named(_FAULTS, faults, index),
        }
    )


def _named(words: tuple[str, ...], codes: Ints, index: pd.Index) -> pd.Series:
    taken = pa.array(words, pa.large_string()).take(pa.array(codes, mask=codes < 0))
    return pd.Series(pd.array(taken, dtype=TEXT), index=index)
