"""Facts: TOML in, frozen records out; refuses what has no source. The only code that opens data/."""

from cubital.facts.additives import (
    Additive,
    Clotting,
    Concentration,
    Count,
    Harm,
    Inversions,
    Spin,
    additives,
    clotting,
    inversions,
    spins,
)
from cubital.facts.orders import OrderPolicy, Place, Refused, Silent, Step, order_policies
from cubital.facts.sources import Mark, Source, sources
from cubital.facts.tubes import tube_table

__all__ = [
    "Additive",
    "Clotting",
    "Concentration",
    "Count",
    "Harm",
    "Inversions",
    "Mark",
    "OrderPolicy",
    "Place",
    "Refused",
    "Silent",
    "Source",
    "Spin",
    "Step",
    "additives",
    "clotting",
    "inversions",
    "order_policies",
    "sources",
    "spins",
    "tube_table",
]
