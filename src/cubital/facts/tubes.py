"""The shipped tube kinds, in the form a site writes its own."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, check_marks, entries

AdditiveKey = Literal[
    "sps", "culture-medium", "none", "clot-activator", "thrombin", "citrate-9-1", "citrate-4-1",
    "lithium-heparin", "sodium-heparin", "ammonium-heparin", "k2-edta", "k3-edta", "acd-a", "acd-b",
    "fluoride-oxalate", "fluoride-edta", "fluoride-heparin", "iodoacetate-heparin", "perchloric-acid",
]  # fmt: skip
Use = Literal[
    "counts", "blood-bank", "sedimentation", "trace-element", "lead", "tissue-typing", "viral-load",
    "blood-gas", "culture-aerobic", "culture-anaerobic", "culture-pediatric", "culture-mycobacterial", "dried-spot",
    "deproteinized", "bedside",
]  # fmt: skip
AccessKey = Literal["straight-needle", "winged-set", "syringe", "skin-puncture", "line"]
Matrix = Literal["whole-blood", "plasma", "serum"]
Microlitres = Annotated[int, msgspec.Meta(ge=0)]


class SizeEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One size of a kind as its file writes it."""

    draw_ml: Decimal
    liquid_additive_ul: Microlitres | None = None
    in_stock: Microlitres | None = None
    expires: datetime.date | None = None

    def __post_init__(self) -> None:
        if not 0 < self.draw_ml <= 20:
            raise ValueError(f"found draw_ml {self.draw_ml}; expected millilitres, above 0 and at most 20")


class TubeEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One tube kind as its file writes it."""

    name: str
    additive: AdditiveKey
    gel: bool
    sizes: tuple[SizeEntry, ...]
    dead_volume_ul: dict[Matrix, Microlitres]
    mark: Annotated[str, msgspec.Meta(pattern="^[A-Z][A-Z0-9]$")]
    from_: Mark = msgspec.field(name="from")
    stopper: str | None = None
    use: Use | None = None
    material: Literal["glass", "plastic"] | None = None
    accesses: tuple[AccessKey, ...] | None = None
    fill_min_percent: Annotated[int, msgspec.Meta(gt=0, le=100)] | None = None

    def __post_init__(self) -> None:
        if not self.sizes:
            raise ValueError("found no sizes; expected at least one")
        if not self.dead_volume_ul:
            raise ValueError("found no dead_volume_ul; expected one matrix at least")


@cache
def tube_table() -> Mapping[str, Any]:
    """The shipped tubes.toml, parsed: a table of kinds in a site's own form, each with its `from`."""
    return load_tube_table(read_table("tubes.toml"), file="tubes.toml")


def load_tube_table(table: Mapping[str, Any], *, file: str) -> Mapping[str, Any]:
    """The table itself, once every kind in it has been checked; refuses two kinds with one mark."""
    marks: dict[str, str] = {}
    for key, entry in entries(table, file=file):
        tube = shape(entry, TubeEntry, file=file, entry=key)
        check_marks(tube, file=file, entry=key)
        if tube.mark in marks:
            raise FactsError(
                f"found mark {tube.mark!r}, which [{marks[tube.mark]}] has; "
                "expected a mark of its own; choose another",
                where=f"{file} [{key}]",
            )
        marks[tube.mark] = key
    return MappingProxyType(dict(table))
