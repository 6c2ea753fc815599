"""What is in a tube: additives, how they are mixed, how long serum clots, how tubes are spun."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks, entries

Family = Literal[
    "none", "clot-activator", "thrombin", "citrate", "heparin", "edta",
    "fluoride", "acd", "iodoacetate", "culture", "sps", "acid",
]  # fmt: skip
Range = tuple[Decimal, Decimal]


class Concentration(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much of which salt, in the filled tube's blood or in the tube's own solution."""

    salt: str
    of: Literal["blood", "solution"]
    mark: Mark
    molar_mass_g_per_mol: Decimal | None = None
    mg_per_ml: Range | None = None
    mmol_per_l: Range | None = None
    iu_per_ml: Range | None = None
    percent_w_v: Range | None = None

    def __post_init__(self) -> None:
        given = [r for r in (self.mg_per_ml, self.mmol_per_l, self.iu_per_ml, self.percent_w_v) if r is not None]
        if len(given) != 1:
            raise ValueError(f"{self.salt}: found {len(given)} amounts; expected exactly one unit")
        low, high = given[0]
        if not 0 < low <= high:
            raise ValueError(f"{self.salt}: found {low} to {high}; expected a rising range above 0")


class Harm(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a trace of this additive does in the next tube; empty `to` means any tube."""

    to: tuple[Family, ...]
    text: str
    mark: Mark


class Additive(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One additive: rules key on `key` and `family`, never on a stopper's colour."""

    key: str
    name: str
    family: Family
    state: Literal["dry", "liquid", "none"]
    concentrations: tuple[Concentration, ...]
    harms: tuple[Harm, ...]
    mark: Mark
    letter_code: str | None = None
    blood_parts: int | None = None


class Count(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source's number of inversions."""

    low: int
    high: int
    mark: Mark


class Inversions(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often a tube is gently inverted at once after filling."""

    low: int
    high: int
    chosen: int
    why: str
    rivals: tuple[Count, ...]

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.chosen <= self.high:
            raise ValueError(f"found {self.low}, {self.chosen}, {self.high}; expected low <= chosen <= high")
        if not self.rivals:
            raise ValueError("found no rivals; expected at least one count with its mark")
        if min(r.low for r in self.rivals) != self.low or max(r.high for r in self.rivals) != self.high:
            raise ValueError("low and high do not span the rivals; expected their least and greatest count")

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks of the rival counts, preferred first."""
        return tuple(rival.mark for rival in self.rivals)


class Clotting(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a serum tube stands before it is spun, at 20-25 C; with `warm`, at 37 C."""

    additive: str
    gel: bool
    min_s: int
    max_s: int
    marks: tuple[Mark, ...]
    warm: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.min_s < self.max_s:
            raise ValueError(f"found {self.min_s} to {self.max_s} s; expected a rising range above 0")
        if not self.marks:
            raise ValueError("found no marks; expected at least one")


class Spin(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One centrifuge setting: the force at the tube's bottom, the minutes, the temperature.

    `minutes_high` is the longest that a source allows, None where none was found to allow more than `minutes`.
    """

    purpose: str
    families: tuple[Family, ...]
    rcf_low_g: int
    rcf_high_g: int
    minutes: int
    temp_low_c: int
    temp_high_c: int
    marks: tuple[Mark, ...]
    gel: bool | None = None
    minutes_high: int | None = None
    fixed_angle_minutes: int | None = None
    spins: int = 1

    def __post_init__(self) -> None:
        if not 0 < self.rcf_low_g <= self.rcf_high_g:
            raise ValueError(f"found {self.rcf_low_g} to {self.rcf_high_g} g; expected a rising range above 0")
        if self.minutes_high is not None and self.minutes_high <= self.minutes:
            raise ValueError(f"found {self.minutes} to {self.minutes_high} min; expected a rising range")
        if not self.marks:
            raise ValueError("found no marks; expected at least one")


class Respin(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is said of a gel tube that was spun before, and why it is not spun again."""

    text: str
    why: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


class Fill(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source's least fill of a citrate tube, in percent of its draw."""

    key: str
    fill_min_percent: Annotated[int, msgspec.Meta(gt=0, le=100)]
    for_whom: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def additives() -> Mapping[str, Additive]:
    """Every additive by its key."""
    return load_additives(read_table("additives.toml"), file="additives.toml")


def load_additives(table: Mapping[str, Any], *, file: str) -> Mapping[str, Additive]:
    """The additives a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, Additive, file=file, entry=key) for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)


def check_marks_of(found: Mapping[str, object], *, file: str) -> None:
    """Refuse any record whose mark names a source that is not there."""
    for key, record in found.items():
        check_marks(record, file=file, entry=key)


@cache
def inversions(additive: str, gel: bool) -> Inversions | None:
    """How often to invert a tube with this additive; None when nothing is known.

    A gel does not change the count in any source seen, so `gel` is asked and not used.

    >>> inversions("k2-edta", False).chosen
    8
    """
    return _inversions().get(additive)


@cache
def _inversions() -> Mapping[str, Inversions]:
    return load_inversions(read_table("mixing.toml"), file="mixing.toml")


def load_inversions(table: Mapping[str, Any], *, file: str) -> Mapping[str, Inversions]:
    """The inversion counts a parsed table holds, by additive."""
    found = {key: shape(entry, Inversions, file=file, entry=key) for key, entry in entries(table, file=file)}
    check_marks_of(found, file=file)
    return found


@cache
def clotting(additive: str, gel: bool, warm: bool = False) -> Clotting | None:
    """How long a tube of this kind clots before the spin, `warm` at 37 C; None where no source says.

    >>> clotting("thrombin", False).min_s
    300
    >>> clotting("k2-edta", False) is None
    True
    """
    return _clotting().get((additive, gel, warm))


@cache
def _clotting() -> Mapping[tuple[str, bool, bool], Clotting]:
    return load_clotting(read_table("clotting.toml"), file="clotting.toml")


def load_clotting(table: Mapping[str, Any], *, file: str) -> Mapping[tuple[str, bool, bool], Clotting]:
    """The clotting times a parsed table holds, by additive, gel and whether at 37 C."""
    refuse_unknown(table, ("serum",), file=file)
    found: dict[tuple[str, bool, bool], Clotting] = {}
    for place, raw in enumerate(family(table, "serum", file=file)):
        name = f"serum {place}"
        entry = shape(raw, Clotting, file=file, entry=name)
        key = (entry.additive, entry.gel, entry.warm)
        if key in found:
            raise FactsError(
                f"found {entry.additive} with gel = {entry.gel} twice; expected once; remove one",
                where=f"{file} [{name}]",
            )
        check_marks(entry, file=file, entry=name)
        found[key] = entry
    return found


@cache
def spins() -> tuple[Spin, ...]:
    """Every centrifuge setting."""
    return load_spins(read_table("spinning.toml"), file="spinning.toml")


@cache
def respin() -> Respin:
    """Why a gel tube is spun once.

    >>> respin().why.partition(":")[0]
    'what stood under the gel comes up'
    """
    return load_respin(read_table("spinning.toml"), file="spinning.toml")


def load_respin(table: Mapping[str, Any], *, file: str) -> Respin:
    """What a parsed table says of a gel tube that was spun before."""
    found = shape(table.get("gel_respin"), Respin, file=file, entry="gel_respin")
    check_marks(found, file=file, entry="gel_respin")
    return found


def load_spins(table: Mapping[str, Any], *, file: str) -> tuple[Spin, ...]:
    """The centrifuge settings a parsed table holds."""
    refuse_unknown(table, ("spin", "gel_respin"), file=file)
    found: dict[str, Spin] = {}
    for place, raw in enumerate(family(table, "spin", file=file)):
        spin = shape(raw, Spin, file=file, entry=f"spin {place}")
        if spin.purpose in found:
            raise FactsError(f"found {spin.purpose!r} twice; expected once; remove one", where=f"{file} [spin {place}]")
        found[spin.purpose] = spin
    check_marks_of(found, file=file)
    return tuple(found.values())


@cache
def fills() -> tuple[Fill, ...]:
    """Every source's least fill of a citrate tube, the one a plan takes first.

    >>> fills()[0].fill_min_percent
    90
    """
    return load_fills(read_table("filling.toml"), file="filling.toml")


def load_fills(table: Mapping[str, Any], *, file: str) -> tuple[Fill, ...]:
    """The least fills a parsed table holds."""
    refuse_unknown(table, ("fill",), file=file)
    found = tuple(
        shape(raw, Fill, file=file, entry=f"fill {place}") for place, raw in enumerate(family(table, "fill", file=file))
    )
    check_marks(found, file=file, entry="fill")
    return found
