"""How a fault is told without telling any data."""

from __future__ import annotations

import traceback
import unicodedata


class InputError(Exception):
    """The input can't be used: one line for people, saying what, where and how to mend it."""


def without_data(e: BaseException) -> str:
    """Kind of error and place in our code; never its message, which may quote a cell."""
    frames = [f for f in traceback.extract_tb(e.__traceback__) if "site-packages" not in f.filename]
    if not frames:
        return type(e).__name__
    parts = frames[-1].filename.replace("\\", "/").split("/")
    return f"{type(e).__name__} at {'/'.join(parts[-3:])} line {frames[-1].lineno}"


def one_line(message: str) -> str:
    """The message as one line without control characters."""
    return "".join(
        " " if c in "\r\n\t" else c if unicodedata.category(c) not in ("Cc", "Cf", "Cs") else "?"
        for c in message
    )
