"""How far red cells that burst move a result, by source, and where every result is withheld."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import Annotated, Any

import msgspec

from cubital.errors import FactsError
from cubital.facts.analytes import analytes
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks

FILE = "indices.toml"
TABLES = ("limit", "slope", "skin_puncture", "band", "every_test")


class Slope(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source's rise of one analyte for each g/L of free hemoglobin: in its own unit, or in percent of its value."""

    analyte: str
    mark: Mark
    rise_per_g: Decimal | None = None
    percent_per_g: Decimal | None = None

    def __post_init__(self) -> None:
        given = [value for value in (self.rise_per_g, self.percent_per_g) if value is not None]
        if len(given) != 1 or given[0] <= 0:
            raise ValueError("expected rise_per_g or percent_per_g, one of them, above 0")


class SkinPuncture(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How many times as far an analyte rises at the same index in blood of a skin puncture."""

    analyte: str
    times: Decimal
    mark: Mark

    def __post_init__(self) -> None:
        if self.times < 1:
            raise ValueError(f"found {self.times} times; expected 1 or more")


class Band(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Up to which hemolysis, in g/L, a site may have said how far a result reads too high."""

    to: Decimal
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]

    def __post_init__(self) -> None:
        _need_above_0(self.to)


class EveryTest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """From which hemolysis on, in g/L, no result in plasma or serum is reported."""

    refuse_from: Decimal
    says: str
    mark: Mark

    def __post_init__(self) -> None:
        _need_above_0(self.refuse_from)


def _need_above_0(grams_per_l: Decimal) -> None:
    if grams_per_l <= 0:
        raise ValueError(f"found {grams_per_l} g/L; expected above 0")


class HemolysisFacts(msgspec.Struct, frozen=True, kw_only=True):
    """Every slope in the order of the file, what a skin puncture adds, how far a band goes, and the limit of all."""

    slopes: tuple[Slope, ...]
    skin_punctures: tuple[SkinPuncture, ...]
    band: Band
    every_test: EveryTest

    def slopes_of(self, analyte: str) -> tuple[Slope, ...]:
        """The slopes of this analyte, source beside source; empty where no source gives one."""
        return tuple(slope for slope in self.slopes if slope.analyte == analyte)

    def skin_puncture_of(self, analyte: str) -> SkinPuncture | None:
        """What a skin puncture adds to the slopes of this analyte; None where nothing was found."""
        return next((one for one in self.skin_punctures if one.analyte == analyte), None)


@cache
def hemolysis_facts() -> HemolysisFacts:
    """How far hemolysis moves results.

    >>> [str(slope.rise_per_g) for slope in hemolysis_facts().slopes_of("potassium")]
    ['0.33', '0.36', '0.40', '0.40', '0.51']
    """
    return load_hemolysis(read_table(FILE), file=FILE)


def load_hemolysis(table: Mapping[str, Any], *, file: str) -> HemolysisFacts:
    """The slopes that a parsed table holds; refuses an analyte that analytes.toml does not know."""
    refuse_unknown(table, TABLES, file=file)
    slopes = _shape_all(table, "slope", Slope, file=file)
    skin = _shape_all(table, "skin_puncture", SkinPuncture, file=file)
    if len({one.analyte for one in skin}) < len(skin):
        raise FactsError("found an analyte twice; expected once; remove one", where=f"{file} [skin_puncture]")
    band = shape(table.get("band"), Band, file=file, entry="band")
    every = shape(table.get("every_test"), EveryTest, file=file, entry="every_test")
    for entry, found in (("band", band), ("every_test", every)):
        check_marks(found, file=file, entry=entry)
    return HemolysisFacts(slopes=slopes, skin_punctures=skin, band=band, every_test=every)


def _shape_all(table: Mapping[str, Any], name: str, record: type[Any], *, file: str) -> tuple[Any, ...]:
    found = []
    for place, raw in enumerate(family(table, name, file=file)):
        entry = f"{name} {place}"
        shaped = shape(raw, record, file=file, entry=entry)
        check_marks(shaped, file=file, entry=entry)
        if shaped.analyte not in analytes():
            raise FactsError(
                f"found analyte {shaped.analyte!r}; expected a key of analytes.toml; add it there",
                where=f"{file} [{entry}]",
            )
        found.append(shaped)
    return tuple(found)
