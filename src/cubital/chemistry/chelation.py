"""What EDTA, citrate and oxalate do to calcium, magnesium, zinc, iron and alkaline phosphatase as they are measured.

EDTA in a sample takes metals from the protein that carries them and, in the reagent, from the dye that shows them: how
far depends on the assay, and some assays see nothing. An answer is a curve through the little that is published
(interference.toml); it saturates, and is never below zero. Outside 0.2 to 2 mmol/L of EDTA it is an extrapolation.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt

from cubital import facts
from cubital.errors import UnitError


def measured_share(response: facts.EdtaResponse, edta_mmol_per_l: float, *, level: facts.Level = "typical") -> float:
    """The share of an analyte that this assay still measures with so much EDTA in the sample, 1 to 0.

    Not for the answer `one-to-one`, which `free_calcium` computes.

    >>> zinc = facts.interference().responses("zinc")[0]
    >>> round(measured_share(zinc, 0.259), 2)
    0.29
    """
    if edta_mmol_per_l < 0:
        raise UnitError(f"found {edta_mmol_per_l} mmol/L of EDTA; expected 0 or more", where="edta")
    if response.answer == "one-to-one":
        raise UnitError("found an electrode; expected an assay that loses a share", where=response.principle)
    if response.ec50_mmol_per_l is None or response.slope is None or edta_mmol_per_l == 0:
        return 1.0
    dose = edta_mmol_per_l / float(response.ec50_mmol_per_l.at(level))
    return float(1 / (1 + dose ** float(response.slope)))


def response_of(analyte: str, principle: str | None = None) -> facts.EdtaResponse | None:
    """How this analyte's assay answers EDTA; the assay taken first where none is named; None where EDTA moves none.

    Raises `UnitError` for a principle that is not known of the analyte.

    >>> response_of("magnesium", "isocitrate-dehydrogenase").answer
    'none'
    """
    known = facts.interference().responses(analyte)
    if principle is None:
        return known[0] if known else None
    for response in known:
        if response.principle == principle:
            return response
    expected = ", ".join(response.principle for response in known) or "none: no assay of it is known to answer EDTA"
    raise UnitError(f"found {principle!r}; expected {expected}", where=f"principle of {analyte}")


def free_calcium(total: float, *, edta: float = 0.0, citrate: float = 0.0, oxalate: float = 0.0) -> float:
    """The free calcium in plasma of this total calcium, all in mmol/L.

    EDTA takes its own amount as long as there is any; oxalate falls out with it; citrate holds some; of the rest a
    fixed share is free. Protein gives calcium back, which a fixed share catches only roughly.

    >>> [round(free_calcium(2.35, edta=amount), 2) for amount in (0, 1, 3)]
    [1.2, 0.69, 0.0]
    """
    binding = facts.interference().calcium
    left = max(0.0, total - edta)
    left -= precipitated_by_oxalate(left, oxalate)
    share, constant = float(binding.free_share), float(binding.citrate_binding_l_per_mmol)
    # f = share (left - b), b = constant f (citrate - b): the root of the quadratic in b between 0 and both amounts.
    k = constant * share
    total_k = k * (left + citrate) + 1
    bound = 0.0 if k == 0 or citrate == 0 else (total_k - sqrt(total_k**2 - 4 * k * k * left * citrate)) / (2 * k)
    return share * (left - bound)


def precipitated_by_oxalate(calcium: float, oxalate: float) -> float:
    """The most calcium that falls out with this oxalate, in mmol/L; in time, and not while it is still dissolving.

    >>> round(precipitated_by_oxalate(2.35, 1.0), 2)
    0.97
    """
    if calcium < 0 or oxalate < 0:
        raise UnitError(f"found {calcium} and {oxalate} mmol/L; expected 0 or more", where="calcium and oxalate")
    binding = facts.interference().calcium
    product = float(binding.oxalate_solubility_mmol2_per_l2) / float(binding.free_share)
    if calcium * oxalate <= product:
        return 0.0
    total = calcium + oxalate
    return (total - sqrt((calcium - oxalate) ** 2 + 4 * product)) / 2


def measured(
    mixture: Mapping[str, float],
    *,
    principles: Mapping[str, str] | None = None,
    level: facts.Level = "typical",
) -> dict[str, float]:
    """What assays report of a mixture: each analyte of it as its assay answers the EDTA and the oxalate inside.

    `mixture` is as `additives.mixed` gives it; the keys `edta`, `citrate` and `oxalate` are read and kept. `principles`
    names the assay of an analyte, such as {"magnesium": "isocitrate-dehydrogenase"}.

    >>> round(measured({"zinc": 14.0, "edta": 0.259})["zinc"], 1)
    4.1
    """
    edta, citrate, oxalate = (mixture.get(key, 0.0) for key in ("edta", "citrate", "oxalate"))
    found = dict(mixture)
    for analyte, amount in mixture.items():
        response = response_of(analyte, (principles or {}).get(analyte))
        if response is not None and response.answer == "loss":
            found[analyte] = amount * measured_share(response, edta, level=level)
    if oxalate and "calcium" in found:
        found["calcium"] -= precipitated_by_oxalate(found["calcium"], oxalate)
    if (edta or citrate or oxalate) and "free-calcium" in found:
        found["free-calcium"] = _free_after(mixture, edta, citrate, oxalate)
    return found


def _free_after(mixture: Mapping[str, float], edta: float, citrate: float, oxalate: float) -> float:
    """Free calcium after a chelator, kept in proportion to what it was before, where total calcium is not named too."""
    free = mixture["free-calcium"]
    total = mixture.get("calcium", free / float(facts.interference().calcium.free_share))
    untouched = free_calcium(total)
    return (
        0.0 if untouched == 0 else free * free_calcium(total, edta=edta, citrate=citrate, oxalate=oxalate) / untouched
    )
