import pandas as pd

from audit.contract import OUT, Dataset, Example, Reference, rule
from audit.trade.escape import controlled_escape_doors


@rule(
    title="Escape door that asks for a credential on the way out",
    finds="A controlled door on an escape route that asks for a credential on the way out and"
    " has neither an exit input nor a mechanical exit.",
    priority="immediate",
    upload=True,
    life_safety=True,
    needs={
        "doors": ("escape_route", "lock", "exit_reader", "exit_input", "mechanical_exit"),
    },
    subjects=("door",),
    summary="Door {door} is on an escape route and can be left only with a card or PIN.",
    remedy="Fit an exit input and a mechanical exit on the escape side, or take the door off the"
    " escape plan; have a competent person settle which, by the local code.",
    references=(
        Reference(
            "Approved Document B (England), 2019 with amendments, Door fastenings (volume 1, 3.91)",
            "escape doors open from the escaping side without a key; doors secured by code or card"
            " have an override there",
            sure="quoted",
        ),
        Reference(
            "NFPA 101, Locks and latches, 7.2.1.5",
            "openable from the egress side without key, tool or special knowledge",
            sure="quoted",
        ),
    ),
)
def escape_door_needs_credential(data: Dataset) -> pd.DataFrame:
    """Whoever flees without a card, or with a card that fails, is shut in."""
    doors = controlled_escape_doors(data, "exit_reader", "exit_input", "mechanical")
    no_input = doors["exit_input"] == "none"
    return doors.assign(
        fails=doors["concerned"] & doors["exit_reader"] & no_input & ~doors["mechanical"]
    )


EXAMPLES = (
    Example(
        "a reader inside and nothing else",
        """
        doors
        door_id | escape_route | lock   | exit_reader | exit_input | mechanical_exit
        SHUT    | yes          | magnet | yes         | none       | none
        FREE    | yes          | magnet | no          | none       | none
        BUTTON  | yes          | magnet | yes         | button     | none
        LEVER   | yes          | strike | yes         | none       | lever
        STORE   | no           | magnet | yes         | none       | none
        OPEN    | yes          | none   | yes         | none       | none
        """,
        expect={
            "SHUT": True,
            "FREE": False,
            "BUTTON": False,
            "LEVER": False,
            "STORE": OUT,
            "OPEN": OUT,
        },
    ),
    Example(
        "what is not given is neither shut nor open",
        """
        doors
        door_id | escape_route | lock   | exit_reader | exit_input | mechanical_exit
        A       | yes          | magnet | yes         |            | none
        B       | yes          | magnet | yes         | none       |
        C       | yes          | magnet |             | none       | none
        D       |              | magnet | yes         | none       | none
        E       | yes          |        | yes         | none       | none
        F       | yes          | magnet | yes         |            | bar
        """,
        expect={"A": None, "B": None, "C": None, "D": None, "E": None, "F": False},
    ),
)
