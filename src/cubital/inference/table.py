"""Samples as arrays: a row a sample, a column an analyte; what is not known is not a number."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital.facts.causes import CAUSES, causes
from cubital.inference.population import Floats, Spread, spread
from cubital.model.results import Earlier, ResultSet

ADULT_H = 18 * 8766
# Earlier results of more than a year ago say little of today: not used.
MOST_HOURS_BEFORE = 8766.0
# A sample in a tube that holds what a cause adds: as likely as not the cause; the results decide.
_OWN_TUBE_SHARE = 0.5


class Batch(msgspec.Struct, frozen=True, kw_only=True):
    """What inference reads of many samples.

    `expected` and `width` are of the normal score that earlier results lead to expect; `earlier_count` is how many
    there are. `log_share_change` is what the tube adds to the logarithm of each cause's share.
    """

    values: Floats
    middle: Floats
    deviation: Floats
    expected: Floats
    width: Floats
    earlier_count: NDArray[np.intp]
    free_g_per_l: Floats
    log_share_change: Floats


def batch_of(samples: Sequence[ResultSet]) -> Batch:
    """The arrays of these samples.

    >>> batch_of([]).values.shape[0]
    0
    """
    known, columns = spread(), spread().columns()
    count, width = len(samples), len(known.keys)
    values = np.full((count, width), np.nan)
    middle, deviation = np.tile(known.middle, (count, 1)), np.tile(known.deviation, (count, 1))
    free, change = np.full(count, np.nan), np.zeros((count, len(CAUSES)))
    for row, sample in enumerate(samples):
        for result in sample.results:
            column = columns[result.analyte]
            values[row, column] = max(result.value, known.floor[column])
            if result.low is not None and result.high is not None:
                middle[row, column] = (np.log(result.low) + np.log(result.high)) / 2
                deviation[row, column] = (np.log(result.high) - np.log(result.low)) / (2 * 1.959964)
        if sample.patient.age_h is not None and sample.patient.age_h < ADULT_H:
            deviation[row] *= known.child
        if sample.hemolysis_g_per_l is not None:
            free[row] = sample.hemolysis_g_per_l
        if sample.additive is not None:
            change[row] = _share_change(sample.additive)
    expected, wide, earlier = _expectations(samples, middle, deviation)
    return Batch(
        values=values, middle=middle, deviation=deviation, expected=expected, width=wide, earlier_count=earlier,
        free_g_per_l=free, log_share_change=change,
    )  # fmt: skip


def _share_change(additive: str) -> Floats:
    """What the tube's own additive changes: heparin in its own tube is meant, another additive is likely the cause."""
    change = np.zeros(len(CAUSES))
    for place, cause in enumerate(causes().values()):
        if cause.additive == additive:
            is_meant = cause.family == "heparin"
            change[place] = -np.inf if is_meant else np.log(_OWN_TUBE_SHARE / float(cause.share or 1))
    return change


def _expectations(
    samples: Sequence[ResultSet], middle: Floats, deviation: Floats
) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """The score that each analyte's earlier results lead to expect, its width, and how many there are.

    A person's results scatter about a set point, which is itself one of the population's: with a share r of the
    population's variance between people and n earlier scores of mean m, the next is expected at n r m / (1 + (n-1) r).
    """
    known, columns = spread(), spread().columns()
    sums = np.zeros(middle.shape)
    counts = np.zeros(middle.shape, dtype=np.intp)
    for row, sample in enumerate(samples):
        for one in used_earlier(sample):
            column = columns[one.analyte]
            sums[row, column] += score_of(one.value, column, middle[row, column], deviation[row, column], known)
            counts[row, column] += 1
    between = between_share(deviation, known)
    n = np.maximum(counts, 1)
    pooled = between / (1 + (n - 1) * between)
    return pooled * sums, np.sqrt(np.maximum(1 - n * pooled * between, 1e-3)), counts


def used_earlier(sample: ResultSet) -> list[Earlier]:
    """The earlier results that are used: not older than a year."""
    return [one for one in sample.previous if one.hours_before <= MOST_HOURS_BEFORE]


def score_of(value: float, column: int, middle: float, deviation: float, known: Spread) -> float:
    """The normal score of a value among people."""
    reach = known.spread[column] * known.tail[column]
    far = (np.log(max(value, known.floor[column])) - middle) / (deviation * reach)
    return float(known.tail[column] * np.arcsinh(far))


def between_share(deviation: Floats, known: Spread) -> Floats:
    """The share of the variance of scores that is between people, not within one, at the population's middle."""
    within = known.within / (known.spread * deviation)
    return np.asarray(np.clip(1 - within**2, 0.05, 0.98))
