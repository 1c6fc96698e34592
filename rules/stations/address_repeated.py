import numpy as np
import pandas as pd

from audit.arithmetic.chains import canonical_address, pairs_of
from audit.arithmetic.plain import texts
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.stations import _members, _one_row_each
from rules.stations._shared import board


@rule(
    title="Duplicate IP address",
    finds="The same IP address on two or more stations of one network.",
    priority="planned",
    upload=True,
    needs={"stations": ("address",)},
    subjects=("station",),
    cause=Cause("station", ("station",)),
    summary="Stations {station} on the same network share IP address {address}.",
    evidence=("address", "network", "count"),
    do=(
        Step(
            "Give each device its own address.",
            who="panel technician",
            does="fit",
        ),
    ),
    cites=("rfc-5227-2008-1",),
    cannot={"out": "every station may have an address, and one that is not given is unclear"},
)
def address_repeated(data: Dataset) -> pd.DataFrame:
    """Two devices with one address knock each other off the network: calls and door releases
    fail at random.
    """
    rows = addresses(data)
    return rows.assign(
        fails=(rows["count"] > 1).astype("boolean").mask(rows["address"].isna()),
    )


def addresses(data: Dataset) -> pd.DataFrame:
    """Stations by network and IP address; a row for each pair, and for each unclear station.

    Columns: `station` (list of ids), `address` (canonical; NA: blank or no IP address),
    `network` (blank: the one network), `sources`. The index is that of the first station.
    """
    return data.once(_addresses)


def _addresses(data: Dataset) -> pd.DataFrame:
    b = board(data)
    codes, distinct = pd.factorize(b.frame["address"])
    known: dict[str, int] = {}
    meant = [
        -1 if plain is None else known.setdefault(plain, len(known))
        for plain in map(canonical_address, distinct.tolist())
    ]
    address = np.array([*meant, -1], np.int64)[codes]
    network = pd.factorize(b.frame["network"])[0].astype(np.int64) + 1  # 0: the one network
    codes, groups = pairs_of(network, address)
    at = np.arange(len(b.frame))
    members, first = _members(codes, groups)
    rows = _one_row_each(b, at, members, first)
    spelt = [*known, None]
    return rows.assign(
        address=texts([spelt[i] for i in address[first].tolist()]),
        network=b.frame["network"].array.take(first),
        count=[len(row) for row in members],
    )
