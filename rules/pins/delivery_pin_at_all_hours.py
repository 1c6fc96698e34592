import pandas as pd

from audit.arithmetic.columns import among
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.missing import why
from audit.facts.standing import in_force, live
from audit.facts.subjects import is_in, once_each


@rule(
    title="Delivery PIN that works at all hours",
    finds="A live delivery PIN that no schedule limits: it opens by its door or panel alone, or one"
    " of its own permissions has no schedule.",
    priority="planned",
    upload=True,
    needs={"pins": ("kind", "door_id|station_id"), "permissions": ("schedule_id",)},
    subjects=("pin",),
    cause=Cause("pin", ("pin",)),
    summary="Delivery PIN {pin} opens at all hours{permissions: (permission % has no schedule)|"
    " (permissions % have no schedule)|}.",
    evidence=("permissions",),
    do=(
        Step(
            "Give the PIN a permission with a schedule for the hours of deliveries, and remove it"
            " from the door or panel.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=("delivery-pins",),
)
def delivery_pin_at_all_hours(data: Dataset) -> pd.DataFrame:
    """A delivery PIN is passed on from driver to driver. At night nobody delivers, but it opens."""
    pins, rows = data["pins"], data["permissions"]
    delivery = live(data, "pins") & among(pins["kind"], "delivery")
    own = in_force(data) & among(rows["holder_kind"], "pin")
    untimed = own & data.blank("permissions", "schedule_id")
    free, held = _of_pins(data, untimed), _of_pins(data, own)
    placed = ~(data.blank("pins", "door_id") & data.blank("pins", "station_id"))
    frame = pd.DataFrame(
        {
            "pin": pins["pin_id"],
            "permissions": _named(data, untimed),
            "fails": delivery & (free | (~held & placed)),
        }
    )
    told = why(
        frame["fails"],
        (delivery.isna(), "what some PINs are for is not recorded", "pins.kind"),
        (frame["fails"].isna(), "when some permissions are in force is not understood", None),
    )
    return once_each(data, frame.assign(**told)[delivery.fillna(True)], "pins", "pin")


def _of_pins(data: Dataset, chosen: pd.Series) -> pd.Series:
    """Whether each PIN has one of the chosen permissions (nullable)."""
    ids, holder = data["pins"]["pin_id"], data["permissions"]["holder_id"]
    sure = is_in(ids, holder[chosen.fillna(False)]).astype("boolean")
    return sure.mask(is_in(ids, holder[chosen.isna()]) & ~sure)


def _named(data: Dataset, chosen: pd.Series) -> pd.Series:
    """The chosen permissions of each PIN, as lists; none where there is none."""
    rows = data["permissions"][chosen.fillna(False)]
    lists = rows.groupby("holder_id")["permission_id"].agg(lambda ids: sorted(set(ids)))
    found = data["pins"]["pin_id"].map(lists)
    return found.astype(object).where(found.notna(), None)
