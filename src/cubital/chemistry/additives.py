"""What an additive brings: from salt, way of weighing, mg/mL and hematocrit to mmol in blood and in plasma.

An additive stays outside the cells, so all of it is found in the plasma. Water that a strong salt draws out of the
cells is left out (`water_shift` says how much it is): what is computed for oxalate and fluoride is an upper bound.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

import msgspec

from cubital import facts
from cubital.chemistry.concentration import Number, millimoles_per_litre
from cubital.errors import UnitError
from cubital.facts.contaminants import Amount, Basis


class Load(msgspec.Struct, frozen=True, kw_only=True):
    """What one additive brings to a litre of blood drawn, and how much solution it comes in."""

    additive: str
    per_blood_mmol_per_l: Mapping[str, float]
    per_plasma_mmol_per_l: Mapping[str, float]
    liquid_per_blood: float
    not_known: tuple[str, ...]


class Contaminant(msgspec.Struct, frozen=True, kw_only=True):
    """A plasma or a fluid that gets into another: what it adds, and the share of the patient's own plasma in it."""

    added_mmol_per_l: Mapping[str, float]
    native_share: float
    not_known: tuple[str, ...] = ()


def salt_mmol_per_l(substance: str, mg_per_ml: Number, *, weighed_as: Basis | str | None = None) -> float:
    """How many mmol/L of this salt a mass is, by the way it was weighed; a mass alone is refused.

    Raises `UnitError` for an unknown salt and for a way of weighing that is not stated or not known.

    >>> [round(salt_mmol_per_l("k2-edta", 2, weighed_as=basis), 2) for basis in ("dihydrate", "free-acid")]
    [4.94, 6.84]
    """
    salt = facts.salts().get(substance)
    if salt is None:
        raise UnitError(f"found {substance!r}; expected one of {', '.join(facts.salts())}", where="salt")
    for basis, weighed in salt.weighed_as.items():
        if basis == weighed_as:
            return float(millimoles_per_litre(mg_per_ml, weighed.molar_mass_g_per_mol))
    ways = ", ".join(f"{basis} ({weighed.molar_mass_g_per_mol} g/mol)" for basis, weighed in salt.weighed_as.items())
    found = "no way of weighing" if weighed_as is None else repr(weighed_as)
    raise UnitError(
        f"found {found} for {salt.name}; a mass says how much only with it; say one of: {ways}", where="weighed as"
    )


def released_mmol(substance: str, mmol: float) -> dict[str, float]:
    """What this much of a salt gives, ion by ion.

    >>> released_mmol("k2-edta", 4.45)
    {'potassium': 8.9, 'edta': 4.45}
    """
    return {species: count * mmol for species, count in facts.salts()[substance].releases.items()}


@lru_cache(maxsize=256)
def load_of(additive: str, *, level: facts.Level = "typical") -> Load:
    """What this additive brings, at the typical, the low or the high amount of its sources.

    Raises `UnitError` where no dose is known of the additive.

    >>> round(load_of("k2-edta").per_blood_mmol_per_l["edta"], 2)
    4.45
    """
    dose = facts.contaminants().dose.get(additive)
    if dose is None:
        known = ", ".join(facts.contaminants().dose)
        raise UnitError(f"found {additive!r}; expected one of {known}", where="additive")
    liquid = 0.0 if dose.blood_parts is None else 1 / float(dose.blood_parts)
    per_blood: dict[str, float] = {}
    not_known = set(dose.not_known)
    for amount in dose.amounts:
        not_known.update(facts.salts()[amount.substance].not_known)
        mmol = _mmol_per_l(amount, level) * (liquid if amount.of == "solution" else 1.0)
        for species, released in released_mmol(amount.substance, mmol).items():
            per_blood[species] = per_blood.get(species, 0.0) + released
    return Load(
        additive=additive,
        per_blood_mmol_per_l=MappingProxyType(per_blood),
        per_plasma_mmol_per_l=MappingProxyType({p.species: float(p.mmol_per_l.at(level)) for p in dose.plasma}),
        liquid_per_blood=liquid,
        not_known=tuple(sorted(not_known)),
    )


def _mmol_per_l(amount: Amount, level: facts.Level) -> float:
    if amount.mmol_per_l is not None:
        return float(amount.mmol_per_l.at(level))
    assert amount.mg_per_ml is not None
    return salt_mmol_per_l(amount.substance, amount.mg_per_ml.at(level), weighed_as=amount.weighed_as)


def tube_plasma(load: Load, hematocrit: float) -> Contaminant:
    """The plasma of a full tube with this additive: what it holds more, and how far its solution thins it.

    `hematocrit` is a share, above 0 and below 1; the additive of a litre of blood is in 1 - H litres of plasma.

    >>> edta = tube_plasma(load_of("k2-edta"), 0.45)
    >>> round(edta.added_mmol_per_l["potassium"], 2), edta.native_share
    (16.18, 1.0)
    >>> round(tube_plasma(load_of("citrate-9-1"), 0.45).native_share, 3)
    0.832
    """
    check_hematocrit(hematocrit)
    plasma = 1 - hematocrit
    volume = plasma + load.liquid_per_blood
    added = {species: mmol / volume for species, mmol in load.per_blood_mmol_per_l.items()}
    for species, mmol in load.per_plasma_mmol_per_l.items():
        added[species] = added.get(species, 0.0) + mmol
    return Contaminant(added_mmol_per_l=MappingProxyType(added), native_share=plasma / volume, not_known=load.not_known)


def fluid(key: str) -> Contaminant:
    """A fluid that ran into the vein: it adds what it holds and none of the patient's own.

    >>> fluid("saline").added_mmol_per_l["chloride"], fluid("saline").native_share
    (154.0, 0.0)
    """
    known = facts.contaminants().fluid
    if key not in known:
        raise UnitError(f"found {key!r}; expected one of {', '.join(known)}", where="fluid")
    return Contaminant(
        added_mmol_per_l=MappingProxyType({s: float(mmol) for s, mmol in known[key].mmol_per_l.items()}),
        native_share=0.0,
    )


def mixed(native: Mapping[str, float], contaminant: Contaminant, share: float) -> dict[str, float]:
    """What is in the mixture: (1 - f) of the native plasma and f of the contaminant; no assay has been asked yet.

    `share` is the contaminant's part of the plasma, 0 to 1. Whatever the contaminant brings that the native plasma
    does not name is in the answer too. A share of 0 changes nothing.

    >>> {key: round(value, 2) for key, value in mixed({"sodium": 140, "potassium": 4.2}, fluid("saline"), 0.1).items()}
    {'sodium': 141.4, 'potassium': 3.78, 'chloride': 15.4}
    """
    if not 0 <= share <= 1:
        raise UnitError(f"found a share of {share}; expected 0 to 1", where="share")
    kept = 1 - share * (1 - contaminant.native_share)
    found = {key: value * kept for key, value in native.items()}
    for species, mmol in contaminant.added_mmol_per_l.items():
        found[species] = found.get(species, 0.0) + share * mmol
    return found


def water_shift(load: Load, hematocrit: float, *, osmolality: float = 290.0) -> float:
    """How much plasma grows by the water its additive draws out of the cells, as a factor of 1 or more.

    Own derivation: every ion counts as one osmole, cells give water until both sides are alike, 65 % of a red cell is
    water (memory), and no cell bursts. A factor of 1.03 means that what the additive added is 3 % less than computed.
    An additive that comes as a solution brings water of its own: no shift is taken of it, so the factor is 1.

    >>> round(water_shift(load_of("k2-edta"), 0.45), 3)
    1.028
    """
    check_hematocrit(hematocrit)
    plasma_water, cell_water = 1 - hematocrit, 0.65 * hematocrit
    osmoles = sum(load.per_blood_mmol_per_l.values()) if not load.liquid_per_blood else 0.0
    shared = (osmolality * (plasma_water + cell_water) + osmoles) / (plasma_water + cell_water)
    return (plasma_water + cell_water * (1 - osmolality / shared)) / plasma_water


def check_hematocrit(hematocrit: float) -> None:
    """Refuse what is not a share above 0 and below 1."""
    if not 0 < hematocrit < 1:
        raise UnitError(
            f"found a hematocrit of {hematocrit}; expected a share above 0 and below 1, such as 0.45",
            where="hematocrit",
        )
