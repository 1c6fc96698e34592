"""How a rule's summary becomes a sentence: its values, and the words that hang on how many.

`{count} {count:event|events}` reads "1 event", "14 events". Forms are separated by `|`:

- of a number or a list the first is for one, the second for more, a third for none (where there
  is no third, the second);
- of a value that is withheld the last with a `%`, if there is one;
- of anything else the first is for a value that is given, the last for one that is not.

`%` in a form stands for the value: `{last_use:was last used on %|was never used}`.
`{chance:percent}` reads 0.0139 as "1.4 %".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

NOT_SHOWN: Final = "(not shown)"
"""What stands for a value that is withheld from a reader."""


class Told(str):
    """A value as a sentence has it; `number` is how many it speaks of, None where no number."""

    __slots__ = ("given", "number")
    number: int | float | None
    given: bool

    def __new__(cls, value: Any) -> Told:
        told = super().__new__(cls, _text(value))
        told.given = value is not None
        told.number = None
        if isinstance(value, list):
            told.number = len(value)
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            told.number = value
        return told

    def __format__(self, forms: str) -> str:
        if not forms:
            return str(self)
        if forms == "percent":
            return str(self) if self.number is None else f"{float(f'{100 * self.number:.2g}'):g} %"
        several = forms.split("|")
        if self == NOT_SHOWN:
            form = next((f for f in reversed(several) if "%" in f), several[0])
        elif self.number is None:
            form = several[0] if self.given else several[-1]
        elif self.number == 0 and len(several) > 2:
            form = several[2]
        else:
            form = several[0] if self.number == 1 else several[min(1, len(several) - 1)]
        return form.replace("%", str(self))


class _Values(dict[str, Any]):
    """A subject that a row leaves out (card or pin) is none, and reads as nothing."""

    def __missing__(self, key: str) -> Told:
        return _NONE


def sentence(
    template: str, subjects: Mapping[str, Sequence[str]], evidence: Mapping[str, Any]
) -> str:
    """The template filled; where a subject and a piece of evidence share a name, the subject."""
    values = {k: Told(v) for k, v in evidence.items()}
    values |= {k: Told(list(v)) for k, v in subjects.items()}
    return template.format_map(_Values(values))


def _text(value: Any) -> str:
    if value is None:
        return "not given"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_text, value)) or "none"
    if isinstance(value, dict):
        return "; ".join(f"{k}: {_text(v)}" for k, v in value.items())
    return str(value)


_NONE = Told("")
_NONE.number = 0
