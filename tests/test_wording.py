"""Sentences of findings: one, many, none, given and not given."""

from __future__ import annotations

import pytest

from audit.wording import sentence


@pytest.mark.parametrize(
    ("template", "subjects", "evidence", "reads"),
    [
        ("{n} {n:event|events}.", {}, {"n": 1}, "1 event."),
        ("{n} {n:event|events}.", {}, {"n": 0}, "0 events."),
        ("{n:once|% times|never}.", {}, {"n": 2}, "2 times."),
        ("{n:once|% times|never}.", {}, {"n": 0}, "never."),
        ("{on:last used on %|never used}.", {}, {"on": "2026-01-02"}, "last used on 2026-01-02."),
        ("{on:last used on %|never used}.", {}, {"on": None}, "never used."),
        ("{d: (door %)| (doors %)|}.", {}, {"d": []}, "."),
        ("{d: (door %)| (doors %)|}.", {}, {"d": ["A", "B"]}, " (doors A, B)."),
        ("{card:card %|cards %|}{pin:PIN %|PINs %|}.", {"pin": ["P1"]}, {}, "PIN P1."),
        ("{yes}, {no}, {nothing}.", {}, {"yes": True, "no": False, "nothing": None},
         "yes, no, not given."),
        ("{c:percent}.", {}, {"c": 0.013929}, "1.4 %."),
        ("{c:percent}.", {}, {"c": 1}, "100 %."),
        ("{name}.", {"name": ["subject"]}, {"name": "evidence"}, "subject."),
        ("{x:in %|nowhere}.", {}, {"x": "{n} % {0.__class__}"}, "in {n} % {0.__class__}."),
    ],
)  # fmt: skip
def test_forms(
    template: str, subjects: dict[str, list[str]], evidence: dict[str, object], reads: str
) -> None:
    assert sentence(template, subjects, evidence) == reads
