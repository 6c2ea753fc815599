"""What the public function says of computed mixtures: values of an adult, a contaminant in them, one answer."""

from __future__ import annotations

from collections.abc import Mapping

import cubital
from cubital.chemistry.additives import Contaminant, mixed
from cubital.chemistry.chelation import measured
from cubital.facts.population import population
from cubital.inference.verdict import Suspicion
from cubital.model.results import Earlier, Result, ResultSet

# A panel that many laboratories measure together.
PANEL = (
    "sodium", "potassium", "chloride", "bicarbonate", "urea", "creatinine", "calcium", "magnesium", "phosphate",
    "albumin", "total-protein", "alkaline-phosphatase", "alanine-aminotransferase", "total-bilirubin",
)  # fmt: skip


def adult(**values: float) -> dict[str, float]:
    """The middle of every reference interval, in the logarithm; values given go before, `_` for the hyphen."""
    middle = {
        key: (float(analyte.interval.low) * float(analyte.interval.high)) ** 0.5
        for key, analyte in population().analytes.items()
    }
    return middle | {key.replace("_", "-"): value for key, value in values.items()}


def tainted(
    native: Mapping[str, float], contaminant: Contaminant, share: float, *, principles: Mapping[str, str] | None = None
) -> dict[str, float]:
    """What is measured of these values with this share of the contaminant."""
    return dict(measured(mixed(native, contaminant, share), principles=principles))


def weigh(
    values: Mapping[str, float], *keys: str, earlier: Mapping[str, float] | None = None, hours: float = 24.0,
    hemolysis_g_l: float | None = None, tube: str | None = None,
) -> Suspicion:  # fmt: skip
    """The answer for these values; of `keys` alone where some are named."""
    sample = ResultSet(
        results=tuple(Result(analyte=key, value=values[key]) for key in (keys or values)),
        previous=tuple(
            Earlier(analyte=key, value=value, hours_before=hours) for key, value in (earlier or {}).items()
        ),
        hemolysis_g_per_l=hemolysis_g_l,
        additive=tube,
    )
    return cubital.suspect([sample])[0]


def of_edta(found: Suspicion) -> float:
    """The probability of either EDTA."""
    return found.probability("k2-edta") + found.probability("k3-edta")


def holds(found: Suspicion, share: float) -> bool:
    """Whether the interval of the fraction holds this share."""
    low, high = found.fraction.low, found.fraction.high
    return low is not None and high is not None and low <= share <= high
