"""Coined names and telephone numbers."""

import random

FIRST = (
    ("Al", "Bren", "Cor", "Dar", "El", "Fen", "Gar", "Hal", "Is", "Jor", "Kel", "Lor", "Mer"),
    ("an", "ie", "wen", "mar", "da", "rin", "tha", "os", "ilo", "ett", "una", "ick", "sa"),
)
LAST = (
    (
        "Ash",
        "Bram",
        "Cald",
        "Dun",
        "Eld",
        "Farth",
        "Gris",
        "Hask",
        "Ing",
        "Jess",
        "Kem",
        "Lind",
        "Mos",
        "Nor",
        "Oak",
        "Pell",
        "Quar",
        "Ros",
        "Sel",
        "Tarn",
        "Ul",
        "Vens",
        "Wex",
        "Yar",
    ),
    ("a", "e", "er", "in", "o", "um"),
    (
        "bec",
        "combry",
        "dithe",
        "fold",
        "gle",
        "horne",
        "lask",
        "mook",
        "pley",
        "rith",
        "stow",
        "thwin",
        "vock",
        "wick",
        "zell",
    ),
)
SITES = (
    ("Lark", "Amber", "Fern", "Heron", "Juniper", "Mallow", "Otter", "Plover", "Quill", "Thistle"),
    ("hollow", "stead", "mere", "combe", "field", "wold", "garth", "holt"),
    ("Rise", "Place", "Gardens", "Court", "Walk", "Close"),
)


class Names:
    """Coined names, never twice the same, and telephone numbers reserved for fiction."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(f"{seed}/names")
        self.known: set[str] = set()
        self.phones: set[int] = set()

    def family(self) -> str:
        """A family name."""
        return "".join(self.rng.choice(part) for part in LAST)

    def person(self, family: str) -> str:
        """First and family name."""
        name = f"{self._first()} {family}"
        while name.casefold() in self.known:
            name = f"{self._first()} {name}"
        self.known.add(name.casefold())
        return name

    def _first(self) -> str:
        return "".join(self.rng.choice(part) for part in FIRST)

    def phone(self) -> str:
        """A number of the Irish range set aside for drama, 020 91X XXXX (from memory)."""
        while True:
            number = self.rng.randrange(100_000)
            if number not in self.phones:
                self.phones.add(number)
                return f"+353 20 91{number // 10000} {number % 10000:04d}"


def site_name(seed: int) -> str:
    """The name of the invented estate of a seed."""
    rng = random.Random(f"{seed}/site")
    start, end, kind = (rng.choice(part) for part in SITES)
    return f"{start}{end} {kind}"
