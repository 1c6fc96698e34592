"""SVG by hand: text that stays text, widths by estimate, numbers in one form.

Colours stand as attributes, for paper; each mark also has a class, by which the HTML report gives
it the colours of the reader's theme. No styles, links, scripts or outside resources.
"""

import re
from collections.abc import Iterable
from typing import NamedTuple

# Controls, and the marks that turn the direction of what follows: shown, never obeyed. Joiners
# and plain direction marks stay, since Persian and Indic spelling needs them.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufff9-\uffff"
    "\ud800-\udfff]"
)
_SPACES = re.compile(r"[\t\n\r]+")
_ENTITY = {ord("&"): "&amp;", ord("<"): "&lt;", ord(">"): "&gt;", ord('"'): "&quot;"}

INK = "#1f2328"
QUIET = "#565b61"
RULE = "#cfc9bd"
PAPER = "#fdfcf9"
PANEL = "#f1eee6"
ACCENT = "#14505c"
PRIORITY = {"immediate": "#a02818", "planned": "#d59b34", "advisory": "#7d97ad"}


class Picture(NamedTuple):
    """One drawing: a heading, what it says in words, its size in px, and the SVG itself."""

    name: str
    title: str
    alternative: str
    width: int
    height: int
    svg: str


def visible(text: object) -> str:
    """The text with controls and direction overrides written out, as in `[U+202E]`."""
    shown = _UNSEEN.sub(lambda found: f"[U+{ord(found.group()):04X}]", str(text))
    return _SPACES.sub(" ", shown)


def escape(text: object) -> str:
    """`visible` text as XML, fit for content and for a quoted attribute."""
    return visible(text).translate(_ENTITY)


def breadth(text: str, size: float) -> float:
    """About how wide `text` runs in a common sans-serif face, px at `size` px."""
    wide = 0.0
    for letter in text:
        if letter in "iIjl.,:;|!'()[] ftr-":
            wide += 0.32
        elif letter in "mwMW@—…":
            wide += 0.88
        elif letter.isupper() or letter in "&%":
            wide += 0.69
        elif ord(letter) >= 0x1100:
            wide += 1.0
        else:
            wide += 0.56
    return wide * size


def shorten(text: object, room: float, size: float) -> str:
    """The text, cut with an ellipsis where it would run wider than `room` px."""
    shown = visible(text)
    if breadth(shown, size) <= room:
        return shown
    room -= breadth("…", size)
    kept = 0
    while kept < len(shown) and breadth(shown[: kept + 1], size) <= room:
        kept += 1
    return shown[:kept].rstrip() + "…"


def wrap(text: object, room: float, size: float, most: int) -> list[str]:
    """The text in at most `most` lines of `room` px, broken between words; the last may be cut."""
    lines: list[str] = []
    rest = visible(text).split()
    while rest and len(lines) < most - 1:
        taken = 1
        while taken < len(rest) and breadth(" ".join(rest[: taken + 1]), size) <= room:
            taken += 1
        if taken == len(rest):
            break
        lines.append(shorten(" ".join(rest[:taken]), room, size))
        rest = rest[taken:]
    return [*lines, shorten(" ".join(rest), room, size)]


def number(value: float) -> str:
    """At most two decimals, never `-0`, no trailing zeros: the same bytes everywhere."""
    shown = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if shown in {"-0", ""} else shown


def tag(name: str, inner: str | None = None, /, **attributes: object) -> str:
    """One element; `class_` is class, other underscores are hyphens; None leaves one out."""
    shown = "".join(
        f' {key.rstrip("_").replace("_", "-")}="'
        f'{number(value) if isinstance(value, int | float) else escape(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{shown}/>" if inner is None else f"<{name}{shown}>{inner}</{name}>"


def words(
    x: float,
    y: float,
    text: object,
    *,
    size: float = 12,
    fill: str = INK,
    class_: str = "ink",
    anchor: str | None = None,
    weight: int | None = None,
    turn: float | None = None,
) -> str:
    """A line of text, its baseline at `y`."""
    return tag(
        "text",
        escape(text),
        x=x,
        y=y,
        font_size=size,
        fill=fill,
        class_=class_,
        text_anchor=anchor,
        font_weight=weight,
        transform=None if turn is None else f"rotate({number(turn)} {number(x)} {number(y)})",
    )


def box(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str,
    class_: str,
    stroke: str | None = None,
    round_: float | None = None,
    dash: str | None = None,
    thick: float | None = None,
) -> str:
    """A rectangle."""
    return tag(
        "rect",
        x=x,
        y=y,
        width=max(width, 0),
        height=max(height, 0),
        rx=round_,
        fill=fill,
        stroke=stroke,
        stroke_width=thick,
        stroke_dasharray=dash,
        class_=class_,
    )


def stroke(
    path: str,
    *,
    colour: str,
    class_: str,
    thick: float = 1,
    dash: str | None = None,
) -> str:
    """An open path."""
    return tag(
        "path",
        d=path,
        fill="none",
        stroke=colour,
        stroke_width=thick,
        stroke_dasharray=dash,
        stroke_linecap="round" if dash is None else None,
        class_=class_,
    )


def shape(path: str, *, fill: str, class_: str) -> str:
    """A closed, filled path."""
    return tag("path", d=path, fill=fill, class_=class_)


def picture(
    name: str, title: str, alternative: str, width: float, height: float, marks: Iterable[str]
) -> Picture:
    """The drawing with its title and description, which a screen reader speaks in its place."""
    across, down = round(width), round(height)
    key = re.sub(r"[^a-z0-9-]+", "-", name.lower())
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across} {down}" width="{across}" '
        f'height="{down}" role="img" aria-labelledby="{key}-title" '
        f'aria-describedby="{key}-words" '
        f'font-family="sans-serif"><title id="{key}-title">{escape(title)}</title>'
        f'<desc id="{key}-words">{escape(alternative)}</desc>{"".join(marks)}</svg>'
    )
    return Picture(key, visible(title), visible(alternative), across, down, svg)
