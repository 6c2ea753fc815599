"""How good a score is: sensitivity at a specificity, the curve, its area, and how far probabilities are from shares."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cubital.facts.causes import CAUSES, causes
from cubital.inference.posterior import posterior
from cubital.inference.table import batch_of
from cubital.model.results import ResultSet
from tests.detection.clean_set import Floats

NONE = CAUSES.index("none")


def chances(samples: Sequence[ResultSet], *, log_shares: Floats | None = None) -> Floats:
    """The probability of every cause, a row a sample."""
    return posterior(batch_of(samples), log_shares=log_shares, with_rows=False).causes


# What the generator tells apart and an answer does not.
_WEIGHED_AS = {"citrate-lock": "sodium-citrate"}


def of_family(found: Floats, cause: str) -> Floats:
    """The score under test: the probability of the family of a cause, such as of either EDTA."""
    family = causes()[_WEIGHED_AS.get(cause, cause)].family
    columns = [place for place, key in enumerate(CAUSES) if causes()[key].family == family]
    return np.asarray(found[:, columns].sum(axis=1))


def limit_at(clean: Floats, specificity: float = 0.99) -> float:
    """The score that at most 1 - specificity of the clean samples pass."""
    return float(np.quantile(clean, specificity, method="higher"))


def sensitivity_at(clean: Floats, bad: Floats, specificity: float = 0.99) -> float:
    """The share of bad samples that score over all but 1 - specificity of the clean ones."""
    return float((bad > limit_at(clean, specificity)).mean())


def curve(clean: Floats, bad: Floats) -> tuple[Floats, Floats]:
    """The ROC: false alarms and sensitivities as the limit falls."""
    limits = np.concatenate([[np.inf], np.unique(np.concatenate([clean, bad]))[::-1]])
    ranked_clean, ranked_bad = np.sort(clean), np.sort(bad)
    return tuple(1 - np.searchsorted(ranked, limits) / len(ranked) for ranked in (ranked_clean, ranked_bad))  # type: ignore[return-value]


def area_under(clean: Floats, bad: Floats) -> float:
    """The chance that a bad sample scores over a clean one, ties half."""
    false_alarms, sensitivities = curve(clean, bad)
    return float(np.trapezoid(sensitivities, false_alarms))


def calibration(
    probability: Floats, is_bad: NDArray[np.bool_], weight: Floats, *, bins: int = 10
) -> list[tuple[float, ...]]:
    """Of each bin that has samples: its share of the weight, the mean probability, and the share that is bad."""
    at = np.minimum((probability * bins).astype(int), bins - 1)
    total = np.bincount(at, weight, bins)
    meant, real = np.bincount(at, weight * probability, bins), np.bincount(at, weight * is_bad, bins)
    return [
        (float(total[bin_] / total.sum()), float(meant[bin_] / total[bin_]), float(real[bin_] / total[bin_]))
        for bin_ in range(bins) if total[bin_] > 0
    ]  # fmt: skip


def calibration_error(found: Sequence[tuple[float, ...]]) -> float:
    """The expected calibration error: how far probability and frequency differ, by the samples in each bin."""
    return sum(share * abs(meant - real) for share, meant, real in found)
