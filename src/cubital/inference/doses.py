"""The doses at which a cause is weighed, and how likely each is."""

from __future__ import annotations

import numpy as np

from cubital.inference.population import Floats


def dose_grid(low: float, high: float, *, ratio: float, step: float, growth: float = 0.0) -> Floats:
    """Doses from low to high, each at most `ratio` times and at most `step` over the one before.

    The step grows by `growth` of itself for each whole share of dose: where a result has grown, so has its noise.

    >>> dose_grid(0.01, 0.1, ratio=2, step=0.03).round(3).tolist()
    [0.01, 0.02, 0.04, 0.07, 0.1]
    """
    doses = [low]
    while doses[-1] < high:
        doses.append(min(high, doses[-1] * ratio, doses[-1] + step * (1 + growth * doses[-1])))
    return np.array(doses)


def dose_weights(doses: Floats, *, decline: float) -> Floats:
    """The share of each dose, of all 1, by a density that falls as dose^-(1 + decline).

    Each dose stands for what is nearer to it than to its neighbours in the logarithm, the ends for half as much.

    >>> dose_weights(np.array([0.01, 0.1, 1.0]), decline=0).round(2).tolist()
    [0.25, 0.5, 0.25]
    """
    if len(doses) == 1:
        return np.ones(1)
    logs = np.log(doses)
    edges = np.concatenate([[logs[0]], (logs[1:] + logs[:-1]) / 2, [logs[-1]]])
    weights = np.diff(edges) * doses**-decline
    return np.asarray(weights / weights.sum())
