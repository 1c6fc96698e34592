"""Invented names and telephone numbers."""

import random
from functools import lru_cache
from typing import Any

LOCALES = ("en_IE", "fr_FR", "de_DE", "es_ES")


class Names:
    """Invented names, never twice the same, and telephone numbers reserved for fiction."""

    def __init__(self, seed: int) -> None:
        self.fakers = [_faker(locale) for locale in LOCALES]
        for place, faker in enumerate(self.fakers):
            faker.seed_instance(seed * 1000 + place)
        self.rng = random.Random(f"{seed}/names")
        self.known: set[str] = set()
        self.phones: set[int] = set()

    def family(self) -> tuple[Any, str]:
        """A source of first names and a family name that fit each other."""
        faker = self.rng.choices(self.fakers, weights=(12, 2, 2, 2))[0]
        return faker, str(faker.last_name())

    def person(self, family: tuple[Any, str]) -> str:
        """First and family name."""
        faker, last = family
        for attempt in range(200):
            name = f"{faker.first_name()} {last}"
            if attempt > 40:  # a large site runs out of plain names
                name = f"{faker.first_name()} {name}"
            if name.casefold() not in self.known:
                break
        self.known.add(name.casefold())
        return name

    def phone(self) -> str:
        """A number of the Irish range set aside for drama, 020 91X XXXX (from memory)."""
        while True:
            number = self.rng.randrange(100_000)
            if number not in self.phones:
                self.phones.add(number)
                return f"+353 20 91{number // 10000} {number % 10000:04d}"


@lru_cache(maxsize=8)
def _faker(locale: str) -> Any:
    from faker import Faker  # slow to import, and only needed here

    return Faker(locale)
