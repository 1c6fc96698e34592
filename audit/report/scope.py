"""What an audit rests on, for page 1 of every report: sentences from findings.json alone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

UNPROVABLE: Final = (
    "No audit can show rows that were left out of an export, a register that is false, or why its"
    " date was chosen."
)
SIGNER: Final = (
    "Who signed this pack, and whether it is as it was made, is said by: door-audit verify."
)

MOST_MAPPED: Final = 12
"""Words and columns that page 1 lists."""


def sentences(raw: Mapping[str, Any]) -> list[str]:
    """The scope of a record (a findings.json as a mapping), a sentence or two each."""
    scope = raw.get("scope")
    told = _of(scope) if scope is not None else []
    previous = raw.get("previous")
    if previous is not None:
        told.append(f"Compared with the record as of {previous['as_of']}.")
    elif scope is not None:
        told.append("Not compared with an earlier record.")
    return [*told, SIGNER, UNPROVABLE]


def _of(scope: Mapping[str, Any]) -> list[str]:
    policy = [f"{p['key']} {p['site']} (usually {p['pack']})" for p in scope["policy"]]
    told = [
        f"Policy that differs from that of the regulations: {'; '.join(policy)}." if policy
        else "The policy is that of the regulations."
    ]  # fmt: skip
    columns, words = scope["mapped_columns"], scope["mapped_words"]
    if columns or words:
        mapped = scope.get("mapped") or []
        more = len(mapped) - MOST_MAPPED
        left = f"; and {more:,} more in findings.json" if more > 0 else ""
        listed = f": {'; '.join(mapped[:MOST_MAPPED])}{left}" if mapped else ""
        many = f"{_many(columns, 'column')} and {_many(words, 'word')}"
        told.append(f"site.toml maps {many}{listed}.")
    if scope["missing_tables"]:
        told.append(f"Tables not recorded: {', '.join(scope['missing_tables'])}.")
    rows = "; ".join(map(_table, scope["tables"]))
    return [*told, f"Rows: {rows}."] if rows else told


def _many(number: int, word: str) -> str:
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def _table(table: Mapping[str, Any]) -> str:
    more = []
    if table["previous_rows"] is not None:
        more.append(f"before {_number(table['previous_rows'])}")
    if table["newest"]:
        more.append(f"newest date {table['newest']}")
    return f"{table['table']} {_number(table['rows'])}" + (f" ({', '.join(more)})" if more else "")


def _number(count: int | str) -> str:
    return f"{count:,}" if isinstance(count, int) else count
