import pandas as pd

from audit.arithmetic.card_numbers import canonical
from audit.contract import Cause, Dataset, Step, rule
from audit.facts import card_register as card_numbers
from audit.facts.cards import _failing
from audit.facts.standing import live
from audit.facts.subjects import is_in, lists, once_each
from rules.cards._shared import withdrawn


@rule(
    title="Lost or returned card still works",
    finds="A card marked lost, returned or destroyed whose number is also on a live row, or is"
    " still loaded at a door.",
    priority="immediate",
    upload=True,
    needs={"cards": ("status",)},
    uses=("loaded",),
    subjects=("card",),
    cause=Cause("card", ("card",)),
    summary="Card {card} is marked {status}, but its number still works{live_as: as live card %|"
    " as live cards %|}{doors: (loaded at door %)| (loaded at doors %)|}.",
    evidence=("status", "live_as", "doors"),
    do=(
        Step(
            "Delete the number from every controller.",
            who="panel technician",
            does="cut",
        ),
        Step(
            "Withdraw any other row with the same number, after giving its holder another card.",
            who="office",
            does="cut",
        ),
    ),
    cites=(
        "nist-sp-800-53-rev-5-1-1-ia-5-d",
        "nist-sp-800-53-rev-5-1-1-pe-3-g",
    ),
)
def card_withdrawn_still_working(data: Dataset) -> pd.DataFrame:
    """Whoever has the card can walk in: it is withdrawn in the register but still works at the
    door.
    """
    gone, works = withdrawn(data, stock=False), elsewhere(data)
    frame = pd.DataFrame(
        {
            "card": data["cards"]["card_id"],
            "status": data["cards"]["status"],
            "key": works["key"],
            "fails": gone & (works["on_a_row"] | works["at_a_door"]),
        }
    )[gone.fillna(True)]
    return once_each(data, where_it_works(data, frame), "cards", "card")


def loaded_perhaps(data: Dataset) -> pd.Series:
    """The same for what was read back without its kind: it may be a card's number."""
    rows = data["loaded"]
    return canonical(rows["number"][rows["credential_kind"].isna()])["canonical"]


def elsewhere(data: Dataset) -> pd.DataFrame:
    """Where each card's number works besides its own row; aligned with data["cards"].

    Columns: `on_a_row` (nullable: a live row has the number), `at_a_door` (nullable: it was
    read back at a door; NA where nothing was read back), `key`. A live card is itself such a
    row: ask only of cards that are not.
    """
    return data.once(_elsewhere)


def _elsewhere(data: Dataset) -> pd.DataFrame:
    key = card_numbers.register(data)["canonical"]
    alive = live(data, "cards")
    on_a_row = is_in(key, key[alive.fillna(False)]).astype("boolean")
    may = is_in(key, key[alive.isna()])
    # Its own row may be the one that may be live; two such rows are unclear either way.
    on_a_row = on_a_row.mask(may & ~on_a_row)
    if data.has("loaded"):
        at_a_door = is_in(key, card_numbers.loaded(data)).astype("boolean")
        if data["loaded"]["credential_kind"].isna().any():
            perhaps = is_in(key, loaded_perhaps(data))
            at_a_door = at_a_door.mask(perhaps & ~at_a_door)
    else:
        at_a_door = pd.Series(pd.NA, index=key.index, dtype="boolean")
    lost = key.isna().to_numpy()
    return pd.DataFrame(
        {"on_a_row": on_a_row.mask(lost), "at_a_door": at_a_door.mask(lost), "key": key}
    )


def where_it_works(data: Dataset, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame (with `key` and `fails`) and, for its failing rows, `live_as` and `doors`."""
    keys = _failing(frame, "key")
    if keys.empty:
        return frame.assign(live_as=None, doors=None)
    live_rows = live(data, "cards").fillna(False).to_numpy(dtype=bool)
    register = card_numbers.register(data)["canonical"]
    told = pd.DataFrame(
        {
            "live_as": lists(register[live_rows], data["cards"]["card_id"], keys),
            "doors": lists(card_numbers.loaded(data), data["loaded"]["door_id"], keys),
        },
        index=keys.index,
        dtype=object,
    )
    return frame.join(told)
