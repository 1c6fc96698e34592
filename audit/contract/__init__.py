"""What a rule may know: the dataset, the declaration, and the shape of an example.

A rule imports this package, `audit.facts`, `audit.arithmetic`, its family's own modules that
begin with `_`, and pandas; nothing else of the project.
"""

from audit.arithmetic.plain import TEXT
from audit.contract.dataset import (
    DTYPES,
    Dataset,
    InputFile,
    Source,
    Table,
    empty_frame,
    row_digest,
)
from audit.contract.rule import (
    Cause,
    Reference,
    Rule,
    Step,
    collect,
    does_not_apply,
    references,
    rule,
)
from audit.site import InputError

__all__ = [
    "DTYPES",
    "TEXT",
    "Cause",
    "Dataset",
    "InputError",
    "InputFile",
    "Reference",
    "Rule",
    "Source",
    "Step",
    "Table",
    "collect",
    "does_not_apply",
    "empty_frame",
    "references",
    "row_digest",
    "rule",
]
