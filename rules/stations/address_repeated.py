import pandas as pd

from audit.contract import Dataset, Example, Reference, rule
from audit.trade.lines import addresses


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
