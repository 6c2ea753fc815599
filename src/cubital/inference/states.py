"""Every way a sample may have come to be, as one table: a cause at a dose, and what it does to each analyte.

A row says of each analyte that what is measured is `slope` times what the patient has plus `added`. The rows are asked
of chemistry/ at two native values around the middle of the interval: exact where the chemistry is a straight line in
the native value, as mixing and the answers to EDTA are; a tangent for calcium under oxalate and for free calcium.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital.chemistry.additives import Contaminant, fluid, load_of, mixed, tube_plasma
from cubital.chemistry.chelation import measured
from cubital.chemistry.hemolysis import released_by_hemolysis
from cubital.chemistry.standing import after_standing
from cubital.facts.causes import CAUSES, Cause, Illness, causes, illnesses
from cubital.facts.contaminants import Level
from cubital.facts.population import Between
from cubital.inference.doses import dose_grid, dose_weights
from cubital.inference.population import Floats, spread, typical_native

HEMATOCRIT = 0.45
# The share of samples with something else in them that are hemolyzed too: memory, a hard draw does both.
ALSO_HEMOLYZED = 0.1
_HARD_DRAWS = ("edta", "citrate", "fluoride", "fluid")
# Strengths of an illness, each as likely as 1 over itself: the milder is the more common.
_ILLNESS_STRENGTHS = (0.15, 0.3, 0.5, 0.75, 1.0)
_ALSO_G_PER_L = np.array([0.8, 1.6, 3.2, 6.4])
_STEP = 0.01
# How closely doses are spaced where results tell them apart well.
_SALT, _FLUID = {"ratio": 1.25, "step": 0.02, "growth": 3.5}, {"ratio": 1.25, "step": 0.025}
_FINE = {"edta": _SALT, "citrate": _SALT, "fluoride": _SALT, "fluid": _FLUID}
_COARSE = {family: {"ratio": 1.7, "step": 0.1} for family in _FINE}
# How much stronger or weaker than published another laboratory's assay may answer EDTA, each with its weight: memory.
_STRENGTHS = ((1.0, 0.4), (0.4, 0.3), (1.8, 0.3))
# Shares of laboratories whose assay of magnesium or zinc does not answer EDTA: memory.
_UNMOVED = {"magnesium": ("isocitrate-dehydrogenase", 0.25), "zinc": ("atomic-absorption", 0.3)}
# How much of the calcium that oxalate can take has fallen out by the time it is measured.
_FALLEN = ((0.5, 0.4), (0.0, 0.3), (1.0, 0.3))

Effect = Callable[[Mapping[str, float]], Mapping[str, float]]
_Variant = tuple[float, Callable[[float], Effect]]


class States(msgspec.Struct, frozen=True, kw_only=True):
    """The table: one row a state; `slope` and `added` have a column an analyte."""

    cause: NDArray[np.intp]
    share: Floats
    free_g_per_l: Floats
    hours: Floats
    log_prior: Floats
    slope: Floats
    added: Floats


class _Row(msgspec.Struct, frozen=True, kw_only=True):
    cause: str
    weight: float
    effect: Effect
    share: float = 0.0
    free_g_per_l: float = 0.0
    hours: float = 0.0


@cache
def states() -> States:
    """The table of all states but another patient's blood, which has no chemistry of its own.

    `log_prior` is within the cause: the rows of one cause have 1 in all.
    """
    rows = [row for cause in causes().values() for row in _rows_of(cause)]
    native = typical_native()
    pairs = [_line(row.effect, native) for row in rows]
    return States(
        cause=np.array([CAUSES.index(row.cause) for row in rows]),
        share=np.array([row.share for row in rows]),
        free_g_per_l=np.array([row.free_g_per_l for row in rows]),
        hours=np.array([row.hours for row in rows]),
        log_prior=np.log([row.weight for row in rows]),
        slope=np.array([slope for slope, _ in pairs]),
        added=np.array([added for _, added in pairs]),
    )


def _line(effect: Effect, native: Mapping[str, float]) -> tuple[Floats, Floats]:
    """Slope and addition of each analyte, from two native values."""
    low = np.array([native[key] * (1 - _STEP) for key in spread().keys])
    high = np.array([native[key] * (1 + _STEP) for key in spread().keys])
    found = [effect(dict(zip(spread().keys, values.tolist(), strict=True))) for values in (low, high)]
    after_low, after_high = (np.array([one[key] for key in spread().keys]) for one in found)
    slope = np.maximum((after_high - after_low) / (high - low), 1e-6)
    added = after_low - slope * low
    # What is only scaled has nothing added, to the last digit.
    return slope, np.where(np.abs(added) < 1e-9 * low, 0.0, added)


def _rows_of(cause: Cause) -> Iterator[_Row]:
    if cause.key == "none":
        yield from _rows_of_illness()
    elif cause.dose is not None:
        yield from _rows_of_contaminant(cause)
    elif cause.dose_g_per_l is not None:
        yield from _rows_of_hemolysis(cause)
    elif cause.dose_h is not None:
        yield from _rows_of_standing(cause)


def _rows_of_illness() -> Iterator[_Row]:
    """A clean sample: of a patient like others, or of one with an illness that looks like something in the tube."""
    yield _Row(cause="none", weight=1 - float(sum(illness.share for illness in illnesses().values())), effect=dict)
    for illness in illnesses().values():
        for strength in _ILLNESS_STRENGTHS:
            weight = float(illness.share) / strength / sum(1 / one for one in _ILLNESS_STRENGTHS)
            yield _Row(cause="none", weight=weight, effect=_ill(illness, strength))


def _ill(illness: Illness, strength: float) -> Effect:
    """The native values of an ill patient; `strength` is 0 to 1."""

    def effect(native: Mapping[str, float]) -> Mapping[str, float]:
        found = dict(native)
        for key, factor in illness.factor.items():
            found[key] *= float(factor) ** strength
        for key, amount in illness.amount.items():
            found[key] += float(amount) * strength
        return found

    return effect


def _rows_of_contaminant(cause: Cause) -> Iterator[_Row]:
    for part, dose, variants in _parts(cause):
        fine = dose_grid(float(dose.low), float(dose.high), **_FINE.get(cause.family, {"ratio": 1.4, "step": 0.1}))
        coarse = dose_grid(float(dose.low), float(dose.high), **_COARSE.get(cause.family, {"ratio": 3.0, "step": 0.3}))
        decline = float(cause.decline)
        hemolyzed = ALSO_HEMOLYZED if cause.family in _HARD_DRAWS else float(causes()["hemolysis"].share or 0)
        for share, weight in zip(fine.tolist(), dose_weights(fine, decline=decline).tolist(), strict=True):
            for of_part, effect_at in variants:
                yield _Row(
                    cause=cause.key, weight=part * (1 - hemolyzed) * weight * of_part, share=share,
                    effect=effect_at(share),
                )  # fmt: skip
        # Beside hemolysis only the first way, which is the typical one.
        _, first = variants[0]
        also = dose_weights(_ALSO_G_PER_L, decline=float(causes()["hemolysis"].decline))
        for share, weight in zip(coarse.tolist(), dose_weights(coarse, decline=decline).tolist(), strict=True):
            for free, of_part in zip(_ALSO_G_PER_L.tolist(), also.tolist(), strict=True):
                yield _Row(
                    cause=cause.key, weight=part * hemolyzed * weight * of_part, share=share, free_g_per_l=free,
                    effect=_then(_hemolyzed(free, "typical"), first(share)),
                )  # fmt: skip


def _parts(cause: Cause) -> Iterator[tuple[float, Between, list[_Variant]]]:
    """What a cause is a mix of, a tube's additive and fluids: the part of each, its doses, its variants."""
    assert cause.dose is not None
    of_fluids = float(cause.fluid_part or (1 if cause.fluids else 0))
    if cause.additive is not None:
        yield 1 - of_fluids, cause.dose, list(_variants(cause.family, cause.additive))
    if cause.fluids:
        each = 1 / len(cause.fluids)
        yield of_fluids, cause.fluid_dose or cause.dose, [(each, _mixing(fluid(key))) for key in cause.fluids]


def _variants(family: str, additive: str) -> Iterator[_Variant]:
    """The ways in which assays or makers differ for this additive, each with its share, the typical one first."""
    contaminant = tube_plasma(load_of(additive), HEMATOCRIT)
    if family == "edta":
        yield from _edta_variants(contaminant)
    elif family == "fluoride":
        for fallen, part in _FALLEN:
            yield part, _mixing(_scaled(contaminant, "oxalate", fallen))
    else:
        yield 1.0, _mixing(contaminant)


def _edta_variants(contaminant: Contaminant) -> Iterator[_Variant]:
    """Every mix of assays that answer and do not, and of those of calcium and of ALP that answer more and less.

    Where zinc's does not answer, only mixes in which calcium's and ALP's are alike, so that the table stays short.
    """
    for pick in range(2 ** len(_UNMOVED)):
        unmoved = {key for place, key in enumerate(_UNMOVED) if pick >> place & 1}
        part = 1.0
        for key, (_, share) in _UNMOVED.items():
            part *= share if key in unmoved else 1 - share
        principles = {key: _UNMOVED[key][0] for key in unmoved}
        for calcium, first in _STRENGTHS:
            for phosphatase, second in _STRENGTHS:
                if "zinc" not in unmoved:
                    yield part * first * second, _answered(contaminant, principles, calcium, phosphatase)
            if "zinc" in unmoved:
                yield part * first, _answered(contaminant, principles, calcium, calcium)


def _answered(
    contaminant: Contaminant, principles: Mapping[str, str], calcium: float, phosphatase: float
) -> Callable[[float], Effect]:
    """With assays of calcium and ALP that answer EDTA as if there were so many times as much of it."""
    strengths = {"calcium": calcium, "alkaline-phosphatase": phosphatase}

    def at(share: float) -> Effect:
        def effect(native: Mapping[str, float]) -> Mapping[str, float]:
            mixture = mixed(native, contaminant, share)
            found = measured(mixture, principles=principles)
            for key, strength in strengths.items():
                found[key] = measured({key: mixture[key], "edta": mixture["edta"] * strength})[key]
            return found

        return effect

    return at


def _scaled(contaminant: Contaminant, species: str, factor: float) -> Contaminant:
    """The same with more or less of one species, as assays see it: a curve's half is moved by the inverse."""
    added = dict(contaminant.added_mmol_per_l)
    added[species] *= factor
    return msgspec.structs.replace(contaminant, added_mmol_per_l=added)


def _mixing(contaminant: Contaminant, principles: Mapping[str, str] | None = None) -> Callable[[float], Effect]:
    def at(share: float) -> Effect:
        return lambda native: measured(mixed(native, contaminant, share), principles=principles)

    return at


def _hemolyzed(free_g_per_l: float, level: Level) -> Effect:
    def effect(native: Mapping[str, float]) -> Mapping[str, float]:
        rises = released_by_hemolysis(native, free_g_per_l, level=level)
        return {key: value + rises.get(key, 0.0) for key, value in native.items()}

    return effect


def _then(first: Effect, second: Effect) -> Effect:
    return lambda native: second(first(native))


def _rows_of_hemolysis(cause: Cause) -> Iterator[_Row]:
    assert cause.dose_g_per_l is not None
    doses = dose_grid(float(cause.dose_g_per_l.low), float(cause.dose_g_per_l.high), ratio=1.3, step=2.0)
    levels: tuple[tuple[Level, float], ...] = (("low", 0.25), ("typical", 0.5), ("high", 0.25))
    for free, weight in zip(doses.tolist(), dose_weights(doses, decline=float(cause.decline)).tolist(), strict=True):
        for level, part in levels:
            yield _Row(cause=cause.key, weight=weight * part, free_g_per_l=free, effect=_hemolyzed(free, level))


def _rows_of_standing(cause: Cause) -> Iterator[_Row]:
    assert cause.dose_h is not None
    doses = dose_grid(float(cause.dose_h.low), float(cause.dose_h.high), ratio=1.3, step=8.0)
    for hours, weight in zip(doses.tolist(), dose_weights(doses, decline=float(cause.decline)).tolist(), strict=True):
        for temperature, part in (("room", 0.7), ("cold", 0.3)):
            yield _Row(cause=cause.key, weight=weight * part, hours=hours, effect=_stood(hours, temperature))


def _stood(hours: float, temperature: str) -> Effect:
    return lambda native: after_standing(native, hours, temperature=temperature)
