"""How likely each state is, given the results of many samples at once.

Let x be measured, and a state say x = slope * z + added. Then z = (x - added) / slope is what the patient has, and its
place among people is known: in the logarithm a normal score u, and where the patient has earlier results a score v of
the change from them. Scores go together by a correlation matrix, so the density of x under a state is that of the
scores times the slopes of every step. The share of the contaminant is integrated over the rows of the table. A missing
analyte is left out of the sum, which for a normal density is exact.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital.facts.causes import CAUSES, causes
from cubital.inference.population import Floats, correlation_of, spread
from cubital.inference.states import states
from cubital.inference.table import Batch

OTHER = CAUSES.index("other-patient")
NONE, HEMOLYSIS = CAUSES.index("none"), CAUSES.index("hemolysis")
# An index of hemolysis is a measurement: its spread in the logarithm, and what clear plasma reads.
_INDEX_SD, _CLEAR_G_PER_L, _CLEAR_SD = 0.35, 0.05, 0.7
_INDEX_FLOOR = 0.02
_IMPOSSIBLE = -1e4
_CHUNK_FLOATS = 1_500_000
_LOG_2PI = float(np.log(2 * np.pi))


class Posterior(msgspec.Struct, frozen=True, kw_only=True):
    """Of each sample: the probability of every cause, of every row of the table, and how far the best row is off.

    `rows` are of `states()`, with what is left for `other-patient` in its own column of `causes`. `distance` is the
    squared distance of the scores from their middle, averaged over the rows; it is about the number of analytes where
    the results are such as these causes give.
    """

    causes: Floats
    rows: Floats
    distance: Floats


class _View(msgspec.Struct, frozen=True, kw_only=True):
    """The table as a panel of these analytes sees it: rows that look alike are one."""

    of_row: NDArray[np.intp]
    share_of_row: Floats
    cause: NDArray[np.intp]
    log_prior: Floats
    free_g_per_l: Floats
    lines: tuple[tuple[Floats, Floats, NDArray[np.intp]], ...]


def posterior(batch: Batch, *, log_shares: Floats | None = None) -> Posterior:
    """The posterior of every sample of the batch; `log_shares` are the causes' own, in the order of CAUSES.

    Samples of the same analytes are computed together.
    """
    prior = default_log_shares() if log_shares is None else log_shares
    count = len(batch.values)
    found = Posterior(
        causes=np.empty((count, len(CAUSES))), rows=np.zeros((count, len(states().cause)), dtype=np.float32),
        distance=np.empty(count),
    )  # fmt: skip
    for at, columns, has_earlier in _groups(batch):
        view = _view(tuple(columns.tolist()))
        chunk = max(1, _CHUNK_FLOATS // (max(1, len(columns)) * len(view.cause)))
        whiten = _whitener(tuple(columns.tolist()), tuple(has_earlier.tolist()))
        plain = _whitener(tuple(columns.tolist()), (False,) * len(columns))
        for start in range(0, len(at), chunk):
            _fill(found, batch, at[start : start + chunk], columns, has_earlier, view, (whiten, plain), prior)
    return found


@lru_cache(maxsize=1)
def default_log_shares() -> Floats:
    """The logarithm of how often each cause is met; what the others leave is nothing."""
    shares = [float(cause.share or 0) for cause in causes().values()]
    shares[NONE] = 1 - sum(shares)
    return np.log(shares)


def _groups(batch: Batch) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_]]]:
    """Samples with the same analytes and the same earlier ones: their rows, columns, and which have an earlier one."""
    known = np.isfinite(batch.values)
    if not len(known):
        return
    earlier = known & (batch.earlier_count > 0)
    _, first, of = np.unique(np.hstack([known, earlier]), axis=0, return_index=True, return_inverse=True)
    order = np.argsort(of, kind="stable")
    for group, at in enumerate(np.split(order, np.cumsum(np.bincount(of.ravel()))[:-1])):
        columns = np.flatnonzero(known[first[group]])
        yield at, columns, earlier[first[group]][columns]


@lru_cache(maxsize=256)
def _view(columns: tuple[int, ...]) -> _View:
    table, at = states(), list(columns)
    alike = np.column_stack([table.cause, table.free_g_per_l, table.slope[:, at], table.added[:, at]])
    _, first, of_row = np.unique(alike.round(9), axis=0, return_index=True, return_inverse=True)
    of_row = of_row.ravel()
    weight = np.bincount(of_row, weights=np.exp(table.log_prior))
    lines = []
    for column in at:
        pairs = np.column_stack([table.slope[first, column], table.added[first, column]])
        distinct, where = np.unique(pairs, axis=0, return_inverse=True)
        lines.append((distinct[:, 0], distinct[:, 1], where.ravel()))
    return _View(
        of_row=of_row, share_of_row=np.exp(table.log_prior) / weight[of_row], cause=table.cause[first],
        log_prior=np.log(weight), free_g_per_l=table.free_g_per_l[first], lines=tuple(lines),
    )  # fmt: skip


@lru_cache(maxsize=512)
def _whitener(columns: tuple[int, ...], has_earlier: tuple[bool, ...]) -> tuple[Floats, float]:
    """What makes scores independent, and the logarithm of its determinant."""
    if not columns:
        return np.empty((0, 0)), 0.0
    lower = np.linalg.cholesky(correlation_of(np.array(columns), np.array(has_earlier)))
    return np.linalg.inv(lower).T, -float(np.log(np.diag(lower)).sum())


def _fill(
    found: Posterior, batch: Batch, at: NDArray[np.intp], columns: NDArray[np.intp], has_earlier: NDArray[np.bool_],
    view: _View, whiteners: tuple[tuple[Floats, float], tuple[Floats, float]], prior: Floats,
) -> None:  # fmt: skip
    level, change, slopes_level, slopes_change = _scores(batch, at, columns, has_earlier, view)
    log_like, distance = _density(change, slopes_change, whiteners[0])
    index = _index_likelihood(batch.free_g_per_l[at], view.free_g_per_l)
    shares = prior[None, :] + batch.log_share_change[at]
    log_post = log_like + view.log_prior + index + shares[:, view.cause]
    # Another patient's blood has no tie to the earlier results, clear or hemolyzed.
    alone = np.flatnonzero((view.cause == NONE) | (view.cause == HEMOLYSIS))
    either = np.logaddexp(prior[NONE], prior[HEMOLYSIS])
    free = np.where(view.cause[alone] == NONE, prior[NONE], prior[HEMOLYSIS]) - either
    other, _ = _density(level[:, alone], slopes_level[:, alone], whiteners[1])
    other += view.log_prior[alone] + index[:, alone] + free + shares[:, [OTHER]]
    top = np.maximum(log_post.max(axis=1), other.max(axis=1))[:, None]
    weight, weight_other = np.exp(log_post - top), np.exp(other - top).sum(axis=1)
    total = weight.sum(axis=1) + weight_other
    weight /= total[:, None]
    for cause in range(len(CAUSES)):
        found.causes[at, cause] = weight_other / total if cause == OTHER else weight[:, view.cause == cause].sum(axis=1)
    found.rows[at] = weight[:, view.of_row] * view.share_of_row
    found.distance[at] = (weight * distance).sum(axis=1) + (weight_other / total) * len(columns)


def _scores(
    batch: Batch, at: NDArray[np.intp], columns: NDArray[np.intp], has_earlier: NDArray[np.bool_], view: _View
) -> tuple[Floats, Floats, Floats, Floats]:
    """Of each sample, row and analyte: the score among people and of the change; then their log slopes, summed."""
    known = spread()
    shape = (len(at), len(view.cause), len(columns))
    level, change = np.empty(shape), np.empty(shape)
    slopes_level, slopes_change = np.zeros(shape[:2]), np.zeros(shape[:2])
    for place, (column, (slope, added, of)) in enumerate(zip(columns.tolist(), view.lines, strict=True)):
        value = batch.values[at, column][:, None]
        own = value - added[None, :]
        is_there = own > 1e-9 * value
        log_own = np.log(np.where(is_there, own, 1.0))
        middle, deviation = batch.middle[at, column][:, None], batch.deviation[at, column][:, None]
        reach = known.spread[column] * known.tail[column]
        far = (log_own - np.log(slope)[None, :] - middle) / (deviation * reach)
        score = known.tail[column] * np.arcsinh(far)
        log_slope = -0.5 * np.log1p(far * far) - np.log(known.spread[column] * deviation) - log_own
        log_slope = np.where(is_there, log_slope, _IMPOSSIBLE)
        score = np.where(is_there, score, 0.0)
        level[:, :, place] = score[:, of]
        slopes_level += log_slope[:, of]
        if has_earlier[place]:
            expected, width = batch.expected[at, column][:, None], batch.width[at, column][:, None]
            moved = (score - expected) / (width * known.change_tail)
            log_slope = log_slope - 0.5 * np.log1p(moved * moved) - np.log(width)
            score = known.change_tail * np.arcsinh(moved)
        change[:, :, place] = score[:, of]
        slopes_change += log_slope[:, of]
    return level, change, slopes_level, slopes_change


def _density(scores: Floats, log_slopes: Floats, whitener: tuple[Floats, float]) -> tuple[Floats, Floats]:
    """The logarithm of the density of what was measured, and the squared distance of the scores from their middle."""
    white = scores @ whitener[0]
    distance = np.einsum("nsi,nsi->ns", white, white)
    return log_slopes - 0.5 * (distance + scores.shape[2] * _LOG_2PI) + whitener[1], distance


def _index_likelihood(measured_g_per_l: Floats, free_g_per_l: Floats) -> Floats:
    """How likely the index of hemolysis is on each row; nothing where none was measured."""
    read = np.log(np.maximum(measured_g_per_l, 0.0) + _INDEX_FLOOR)[:, None]
    meant = np.log(np.where(free_g_per_l > 0, free_g_per_l, _CLEAR_G_PER_L) + _INDEX_FLOOR)[None, :]
    width = np.where(free_g_per_l > 0, _INDEX_SD, _CLEAR_SD)[None, :]
    found = -0.5 * ((read - meant) / width) ** 2 - np.log(width)
    return np.asarray(np.where(np.isfinite(measured_g_per_l)[:, None], found, 0.0))
