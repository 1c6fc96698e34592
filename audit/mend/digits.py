"""New PINs, drawn at random by the system's own source of randomness."""

from __future__ import annotations

import secrets
from bisect import bisect_left, insort

import numpy as np

from audit.arithmetic.guessing import STEPS
from audit.arithmetic.pin_guessing import LONGEST, OTHER, tries_of
from audit.contract import Dataset
from audit.site import InputError

SHORTEST = 4
DRAWS = 5_000


class Draw:
    """Draws codes that no list of easy ones holds, unlike and not near any code of the site.

    No code begins with 0: a spreadsheet would drop it. What hangs on the holder's record is
    left to the audit of the copy, and such a code is drawn anew.
    """

    def __init__(self, data: Dataset) -> None:
        self.digits = max(data.policy.pin_minimum_digits, SHORTEST)
        self.minimum = data.policy.pin_guesses_minimum
        held: set[int] = set()
        for table in ("pins", "loaded", "events"):
            codes = data[table]["secret"].dropna().unique()
            held.update(int(c) for c in codes if c.isdecimal() and len(c) <= LONGEST)
        self.used = sorted(held)

    def __call__(self) -> str:
        """A new code, never drawn before; InputError where the site has none left."""
        least = 10 ** (self.digits - 1)
        for number in range(2 * DRAWS):
            code = least + secrets.randbelow(9 * least)
            near = 0 if number >= DRAWS else STEPS[-1]
            if self._plain(code) and not self._taken(code, near):
                insort(self.used, code)
                return str(code)
        raise InputError(
            f"--new-pins: hardly a PIN of {self.digits} digits is left here; raise"
            " pin_minimum_digits in site.toml"
        )

    def _plain(self, code: int) -> bool:
        """Whether no class of likely codes holds it: no run, no date, no shape."""
        tries, pattern, names = tries_of(np.array([code], np.int64), self.digits)
        return names[int(pattern[0])] == OTHER and int(tries[0]) > self.minimum

    def _taken(self, code: int, near: int) -> bool:
        at = bisect_left(self.used, code - near)
        return at < len(self.used) and self.used[at] <= code + near
