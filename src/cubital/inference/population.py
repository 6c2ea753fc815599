"""How results of clean samples are spread, as arrays: one column an analyte, in the order of population.toml."""

from __future__ import annotations

from functools import cache

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital.facts.population import population

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
# A healthy group's reference interval spans 2 x 1.96 standard deviations.
_INTERVAL_SD = 2 * 1.959964
# Correlations of an analyte that has an earlier result with one that has none: both a change and a level are in play.
_BETWEEN_KINDS = 0.5
# Correlations are of one set of people and some from memory: they count for this part of what they are, and no mix of
# scores varies less than this part of a single one, so that no chance agreement of many results weighs like a finding.
_DRAWN_IN, _LEAST_INDEPENDENT = 0.9, 0.2


class Spread(msgspec.Struct, frozen=True, kw_only=True):
    """The columns of the population: middle and deviation in the logarithm, tails, variation within a person."""

    keys: tuple[str, ...]
    middle: Floats
    deviation: Floats
    spread: Floats
    tail: Floats
    within: Floats
    floor: Floats
    level: Floats
    change: Floats
    change_tail: float
    child: float

    def columns(self) -> dict[str, int]:
        """The column of each analyte."""
        return {key: place for place, key in enumerate(self.keys)}


@cache
def spread() -> Spread:
    """The population as arrays.

    >>> spread().keys[0], round(float(np.exp(spread().middle[0])), 2)
    ('potassium', 4.27)
    """
    known = population()
    analytes = tuple(known.analytes.values())
    low, high = (np.log([float(getattr(a.interval, end)) for a in analytes]) for end in ("low", "high"))
    within_cv = [
        (float(known.within.illness * a.within_cv_percent) / 100) ** 2 + (float(a.analytic_cv_percent) / 100) ** 2
        for a in analytes
    ]
    keys = tuple(known.analytes)
    return Spread(
        keys=keys, middle=(low + high) / 2, deviation=(high - low) / _INTERVAL_SD,
        spread=np.array([float(a.spread) for a in analytes]), tail=np.array([float(a.tail) for a in analytes]),
        within=np.sqrt(within_cv), floor=np.array([float(a.floor) for a in analytes]),
        level=_correlations(keys, "level"), change=_correlations(keys, "change"),
        change_tail=float(known.within.tail), child=float(known.within.child),
    )  # fmt: skip


def _correlations(keys: tuple[str, ...], kind: str) -> Floats:
    """The correlations of this kind, drawn in and then moved as little as makes them possible together."""
    column = {key: place for place, key in enumerate(keys)}
    found = np.eye(len(keys))
    for pair in population().pairs:
        a, b = (column[key] for key in pair.of)
        found[a, b] = found[b, a] = _DRAWN_IN * float(getattr(pair, kind))
    values, vectors = np.linalg.eigh(found)
    possible = vectors @ np.diag(np.maximum(values, _LEAST_INDEPENDENT)) @ vectors.T
    size = np.sqrt(np.diag(possible))
    return np.asarray(possible / np.outer(size, size))


def correlation_of(columns: NDArray[np.intp], has_earlier: NDArray[np.bool_]) -> Floats:
    """The correlations of these columns where some have an earlier result: theirs are of changes."""
    known = spread()
    at = np.ix_(columns, columns)
    both = np.outer(has_earlier, has_earlier)
    neither = np.outer(~has_earlier, ~has_earlier)
    mixed = _BETWEEN_KINDS * known.level[at]
    return np.asarray(np.where(both, known.change[at], np.where(neither, known.level[at], mixed)))


def typical_native() -> dict[str, float]:
    """The middle of every interval, in the analyte's unit."""
    known = spread()
    return dict(zip(known.keys, np.exp(known.middle).tolist(), strict=True))
