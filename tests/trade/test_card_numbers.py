"""Card numbers: published examples, and properties against a slow, obvious second reading."""

import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.arithmetic import card_numbers
from audit.contract import TEXT


def read(number: str | None, facility: int | None = None, form: str | None = None) -> tuple:
    frame = card_numbers.canonical(
        pd.Series([number], dtype=TEXT),
        pd.Series([facility], dtype="Int64"),
        pd.Series([form], dtype=TEXT),
    )
    return tuple(None if pd.isna(v) else v for v in frame.iloc[0])


# --- the second implementation: one number at a time, in plain Python ----------------------


def slow_bits(facility: int, number: int) -> str:
    """SIA AC-01-1996.10: even parity of the first twelve data bits, odd of the last twelve."""
    data = f"{facility:08b}{number:016b}"
    return f"{data[:12].count('1') % 2}{data}{1 - data[12:].count('1') % 2}"


def slow(text: str | None, facility: int | None, form: str | None) -> tuple:
    if text is None:
        return None, None, None
    text = re.sub(r"[\s\u00a0:.\-]", "", text).upper() if not re.fullmatch("[0-9]+", text) else text
    digits = re.fullmatch("[0-9]+", text) is not None
    told = form
    if form is None:
        if facility is not None or "," in text:
            form = "wiegand26"
        else:
            form = "decimal" if digits else "hex"
    if form == "decimal":
        return (str(int(text)), form, None) if digits else (None, form, card_numbers.UNREADABLE)
    if form in ("hex", "hex-reversed"):
        text = text.removeprefix("0X")
        if not re.fullmatch("[0-9A-F]+", text):
            return None, form, card_numbers.UNREADABLE
        pairs = [text[i : i + 2] for i in range(0, len(text), 2)]
        whole = len(text) % 2 == 0
        if form == "hex-reversed" and whole:
            pairs.reverse()
        if len(pairs) not in (4, 7, 10) or not whole:
            kind = "hex" if whole or form == "hex" else form
            return f"{kind} {''.join(pairs)}", form, card_numbers.HEX_LENGTH
        fault = (
            {"88": card_numbers.STUMP, "08": card_numbers.RANDOM}.get(pairs[0])
            if len(pairs) == 4
            else None
        )
        return str(int("".join(pairs), 16)), form, fault
    value, form, fault = slow_wiegand(text, facility, digits, form)
    if told != "wiegand26" and fault in (card_numbers.FACILITY_RANGE, card_numbers.NUMBER_RANGE):
        return value, "bits", None if value else card_numbers.UNREADABLE
    return value, form, fault


def slow_wiegand(text: str, facility: int | None, digits: bool, form: str) -> tuple:
    bits = None
    pair = re.fullmatch("([0-9]+),([0-9]+)", text)
    if pair:
        inside, number = int(pair[1]), int(pair[2])
    elif form != "bits" and re.fullmatch("[01]{26}", text):
        bits = int(text, 2)
    elif (
        form != "bits"
        and re.fullmatch("(0X)?[0-9A-F]{7,8}", text)
        and not (digits and facility is not None)
    ):
        bits = int(text, 16)
    elif digits:
        if facility is None:
            return None, form, card_numbers.NO_FACILITY
        inside, number = facility, int(text)
    else:
        return None, form, card_numbers.UNREADABLE
    if bits is not None:
        inside, number = bits >> 17 & 255, bits >> 1 & 65535
    if facility is not None and facility != inside:
        return None, form, card_numbers.FACILITY_DIFFERS
    if bits is not None and bits >= 2**26:
        return f"bits {bits:X}", form, card_numbers.BITS
    if bits is not None and f"{bits:026b}" != slow_bits(inside, number):
        return f"bits {bits:X}", form, card_numbers.PARITY
    if number > 65535 or inside > 255:
        own = f"{inside},{number}" if max(inside, number) < 10**9 else None
        return (
            own,
            form,
            card_numbers.NUMBER_RANGE if number > 65535 else card_numbers.FACILITY_RANGE,
        )
    return str(inside * 65536 + number), form, None


TEXTS = st.one_of(
    st.text("0123456789", min_size=1, max_size=24),
    st.text("01", min_size=25, max_size=27),
    st.text("0123456789abcdefABCDEF", min_size=1, max_size=22),
    st.text("0123456789ABCDEFG ,:.-xX", min_size=1, max_size=12),
    st.builds("{},{}".format, st.integers(0, 300), st.integers(0, 70000)),
    st.builds(slow_bits, st.integers(0, 255), st.integers(0, 65535)),
    st.builds(
        lambda f, n: f"{int(slow_bits(f, n), 2):07X}", st.integers(0, 255), st.integers(0, 65535)
    ),
    st.builds(
        lambda b, lead: (lead + b).hex(),
        st.sampled_from([3, 6, 9, 4]).flatmap(lambda n: st.binary(min_size=n, max_size=n)),
        st.sampled_from([b"\x88", b"\x08", b"\x04"]),
    ),
    st.none(),
)
ROWS = st.lists(
    st.tuples(
        TEXTS,
        st.one_of(st.none(), st.integers(0, 300)),
        st.sampled_from([None, *card_numbers.FORMS]),
    ),
    min_size=1,
    max_size=30,
)


@settings(max_examples=300, deadline=None)
@given(ROWS)
def test_same_as_the_slow_reading(rows: list) -> None:
    frame = card_numbers.canonical(
        pd.Series([r[0] for r in rows], dtype=TEXT),
        pd.Series([r[1] for r in rows], dtype="Int64"),
        pd.Series([r[2] for r in rows], dtype=TEXT),
    )
    got = [tuple(None if pd.isna(v) else v for v in row) for row in frame.itertuples(index=False)]
    assert got == [slow(*row) for row in rows]


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 255), st.integers(0, 65535))
def test_every_way_to_write_26_bits_is_one_number(facility: int, number: int) -> None:
    bits = slow_bits(facility, number)
    value = str(facility * 65536 + number)
    ways = (
        read(f"{facility},{number}"),
        read(f"{facility}, {number:05}", form="wiegand26"),
        read(str(number), facility),
        read(f"{number:05}", facility, "wiegand26"),
        read(bits, form="wiegand26"),
        read(bits, facility, "wiegand26"),
        read(f"{int(bits, 2):07X}", form="wiegand26"),
        read(f"0x{int(bits, 2):07x}", form="wiegand26"),
    )
    assert set(ways) == {(value, "wiegand26", None)}
    assert read(value)[0] == value
    assert read(f"{int(value):08X}", form="hex")[0] == value


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 255), st.integers(0, 65535), st.integers(0, 25))
def test_one_flipped_bit_is_always_seen(facility: int, number: int, at: int) -> None:
    bits = slow_bits(facility, number)
    flipped = bits[:at] + "10"[int(bits[at])] + bits[at + 1 :]
    assert read(flipped, form="wiegand26")[2] == card_numbers.PARITY
    assert read(flipped, form="wiegand26")[0] != str(facility * 65536 + number)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from([4, 7, 10]).flatmap(lambda n: st.binary(min_size=n, max_size=n)))
def test_serial_numbers_in_either_order_and_in_decimal(serial: bytes) -> None:
    value = str(int.from_bytes(serial, "big"))
    ways = (
        read(serial.hex(), form="hex"),
        read(serial.hex(":").upper(), form="hex"),
        read(serial.hex("-"), form="hex"),
        read(serial[::-1].hex(" "), form="hex-reversed"),
        read(value.zfill(25)),
    )
    assert {w[0] for w in ways} == {value}


# SIA AC-01-1996.10, worked examples of references/access.md 3.7: the first two published, the
# others computed there.
@pytest.mark.parametrize(
    ("facility", "number", "bits", "word"),
    [
        (101, 4095, "0 01100101 0000111111111111 1", "0x0CA1FFF"),
        (212, 7041, "1 11010100 0001101110000001 0", "0x3A83702"),
        (1, 1, "1 00000001 0000000000000001 0", "0x2020002"),
        (123, 45678, "1 01111011 1011001001101110 1", "0x2F764DD"),
        (255, 65535, "0 11111111 1111111111111111 1", "0x1FFFFFF"),
        (0, 0, "0 00000000 0000000000000000 1", "0x0000001"),
    ],
)
def test_worked_examples_of_the_26_bits(facility: int, number: int, bits: str, word: str) -> None:
    expected = (str(facility * 65536 + number), "wiegand26", None)
    assert read(bits, form="wiegand26") == expected
    assert read(word, form="wiegand26") == expected
    assert read(word.removeprefix("0x"), form="wiegand26") == expected
    assert read(f"{facility},{number}") == expected
    assert read(str(number), facility) == expected


def test_24_bits_hold_every_facility_and_number_once() -> None:
    """256 x 65,536 = 16,777,216 values, references/access.md 3.7 (computed there)."""
    facility = pd.Series(np.repeat(np.arange(256), 257)).astype("Int64")
    number = pd.Series(np.tile(np.linspace(0, 65535, 257).astype(int), 256)).astype(TEXT)
    values = card_numbers.canonical(number, facility)["canonical"].astype("int64")
    assert values.is_unique
    assert values.min() == 0
    assert values.max() == 256 * 65536 - 1 == 16777215


# ISO/IEC 14443-3 (references/access.md 3.7): 4, 7 or 10 bytes; cascade tag 88 precedes the next
# part of a longer serial number; first byte 08 marks a random one.
@pytest.mark.parametrize(
    ("text", "form", "fault"),
    [
        ("04A1B2C3", "hex", None),
        ("88A1B2C3", "hex", card_numbers.STUMP),
        ("08A1B2C3", "hex", card_numbers.RANDOM),
        ("88A1B2C3D4E5F6", "hex", None),
        ("08A1B2C3D4E5F6", "hex", None),
        ("C3B2A188", "hex-reversed", card_numbers.STUMP),
        ("88B2A1C3", "hex-reversed", None),
        ("A1B2C3", "hex", card_numbers.HEX_LENGTH),
        ("4A1B2C3", "hex", card_numbers.HEX_LENGTH),
        ("A1B2C3D4E5", "hex", card_numbers.HEX_LENGTH),
        ("04A1B2C3D4E5F60718AA", "hex", None),
        ("04A1B2CG", "hex", card_numbers.UNREADABLE),
        ("04A1B2C3", "decimal", card_numbers.UNREADABLE),
        ("---", None, card_numbers.UNREADABLE),
    ],
)
def test_serial_number_faults(text: str, form: str | None, fault: str | None) -> None:
    assert read(text, form=form)[2] == fault


def test_recognition_of_a_blank_form() -> None:
    assert read("12345678")[1] == "decimal"
    assert read("1234 5678") == ("12345678", "decimal", None)
    assert read("1234567A")[1] == "hex"
    assert read("0x12345678")[1] == "hex"
    assert read("12,345")[1] == "wiegand26"
    assert read("345", 12)[1] == "wiegand26"
    assert read("65535", 255)[1] == "wiegand26"
    assert read("65536", 255) == ("255,65536", "bits", None)
    assert read("256,1") == ("256,1", "bits", None)
    assert read("12,345", form="bits") == (read("12,345")[0], "bits", None)
    assert read("0012")[0] == read("12")[0] == "12"
    assert read("000")[0] == "0"


def test_what_stays_ambiguous_is_not_guessed() -> None:
    assert read("45678", form="wiegand26") == (None, "wiegand26", card_numbers.NO_FACILITY)
    assert read("12,45678", 13) == (None, "wiegand26", card_numbers.FACILITY_DIFFERS)
    assert read("A1B2C3")[0] != read("00A1B2C3")[0]
    assert read("1,70000")[0] != read("2,4464")[0]  # both are 135536 by the bare formula
    assert read("256,0")[0] != read("16777216")[0]


def test_text_facility_codes_and_the_index_are_kept() -> None:
    index = pd.Index([7, 3])
    frame = card_numbers.canonical(
        pd.Series(["45678", "1"], index=index, dtype=TEXT),
        pd.Series([" 0123", "x"], index=index, dtype=TEXT),
    )
    assert list(frame.index) == [7, 3]
    assert frame.loc[7, "canonical"] == "8106606"
    assert frame.loc[3, "fault"] == card_numbers.UNREADABLE


def test_empty_and_all_missing() -> None:
    assert card_numbers.canonical(pd.Series([], dtype=TEXT)).empty
    assert card_numbers.canonical(pd.Series([None, None], dtype=TEXT)).isna().all(axis=None)
