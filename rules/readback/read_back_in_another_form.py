import pandas as pd

from audit.contract import Cause, Dataset, Step, rule
from audit.facts.card_register import form_of
from audit.facts.subjects import is_in

COLUMNS = {"loaded": "number", "events": "card_number"}


@rule(
    title="Card numbers written in another form",
    finds="A read-back or a log that writes card numbers otherwise than the register: bytes"
    " reversed, without or with a facility code, or only the last bytes. At least five numbers"
    " that the register does not have, and at least half of them, are cards of it when read so.",
    priority="planned",
    needs={"cards": ()},
    uses=("loaded", "events"),
    subjects=("table", "column"),
    cause=Cause("form", ("table",)),
    summary="The {table} table writes card numbers in another form than the register ({form}): read"
    " so, {explained} of the {unexplained} numbers that the register does not have are its cards.",
    evidence=("form", "explained", "unexplained"),
    do=(
        Step(
            "Set the export of this table to the form of the register, or enter the numbers in the"
            " form that the readers send.",
            who="panel technician",
            does="record",
        ),
    ),
    cites=("iso-iec-14443-3", "sia-ac-01-1996-10-the-26-bit-format"),
    cannot={"unclear": "a number that cannot be read is not explained by any form"},
)
def read_back_in_another_form(data: Dataset) -> pd.DataFrame:
    """Two lists that write one card differently look like strangers at every door."""
    rows = []
    for table, column in COLUMNS.items():
        if data.has(table, column) and data[table][column].notna().any():
            found = form_of(data, table)
            rows.append(
                {
                    "table": table,
                    "column": column,
                    "form": found.form,
                    "explained": len(found.numbers),
                    "unexplained": found.unexplained,
                    "sources": _first_rows(data, table) if found.form else [],
                }
            )
    columns = ["table", "column", "form", "explained", "unexplained", "sources"]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.assign(fails=frame["form"].notna().astype("boolean"))


def _first_rows(data: Dataset, table: str) -> list[tuple[str, int]]:
    """The first row of each number that the register does not have as it is written."""
    numbers = data[table][COLUMNS[table]].dropna().drop_duplicates()
    foreign = numbers[~is_in(numbers, data["cards"]["number"])]
    return [(table, int(label)) for label in foreign.index]
