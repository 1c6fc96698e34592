import numpy as np
import pandas as pd

from audit.arithmetic.chains import canonical_address, pairs_of
from audit.arithmetic.plain import texts
from audit.contract import Dataset, Example, Reference, rule
from audit.facts.stations import _members, _one_row_each
from rules.stations._shared import board


@rule(
    title="One IP address at several stations",
    finds="One IP address at two or more stations of one network.",
    priority="planned",
    upload=True,
    needs={"stations": ("address",)},
    subjects=("station",),
    summary="Stations {station}, of one network, have the same address {address}.",
    evidence=("address", "network", "count"),
    remedy="Give each station an address of its own.",
    references=(
        Reference(
            "RFC 5227 (2008), 1",
            "an IPv4 address is to be used by one host on a link at a time",
            sure="from memory",
        ),
    ),
    cannot={"out": "every station may have an address, and one that is not given is unclear"},
)
def address_repeated(data: Dataset) -> pd.DataFrame:
    """Two stations with one address cut each other off: calls and openings fail now and then."""
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


EXAMPLES = (
    Example(
        "the same address in another network is another address",
        """
        stations
        station_id | address     | network
        S1         | 10.0.0.1    |
        S2         | 010.0.0.001 |
        S3         | 10.0.0.1    | garage
        S4         | 10.0.0.2    |
        S5         | fe80::1     |
        S6         | FE80:0::1   |
        S7         |             |
        S8         | upstairs    |
        S9         | upstairs    |
        """,
        expect={
            "S1+S2": True,
            "S3": False,
            "S4": False,
            "S5+S6": True,
            "S7": None,
            "S8": None,
            "S9": None,
        },
    ),
)
