"""How likely each state is, given the results of many samples at once.

Let x be measured, and a state say x = slope * z + added. Then z = (x - added) / slope is what the patient has, and its
place among people is known: in the logarithm a normal score u, and where the patient has earlier results a score v of
the change from them. Scores go together by a correlation matrix, so the density of x under a state is that of the
scores times the slopes of every step. The share of the contaminant is integrated over the rows of the table. A missing
analyte is left out of the sum, which for a normal density is exact. A result at the floor of its assay says "at most
this": its score is then that of the floor, at most 0, without a slope, which stands for the probability of less.

Samples of one signature (the same analytes, the same of them with earlier results) are computed together, as arrays
with the sample last. Numbers inside are single precision: the logarithm of a density is right to about 0.001.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital.facts.causes import CAUSES, causes
from cubital.inference.population import Floats, Singles, correlation_of, spread
from cubital.inference.states import states
from cubital.inference.table import Batch

OTHER = CAUSES.index("other-patient")
NONE, HEMOLYSIS = CAUSES.index("none"), CAUSES.index("hemolysis")
# An index of hemolysis is a measurement: its spread in the logarithm, and what clear plasma reads.
_INDEX_SD, _CLEAR_G_PER_L, _CLEAR_SD = 0.35, 0.05, 0.7
_INDEX_FLOOR = 0.02
_IMPOSSIBLE = np.float32(-1e4)
# Of what is measured, the least part that may be the patient's own.
_LEAST_OWN = np.float32(1e-4)
_CHUNK = 64
# Products of so many columns are below the size from which OpenBLAS starts threads, which cost more than they gain.
_BLOCK = 512
_LOG_2PI = float(np.log(2 * np.pi))


class Posterior(msgspec.Struct, frozen=True, kw_only=True):
    """Of each sample: the probability of every cause, of every row of the table, and how far the best row is off.

    `rows` are of `states()`, with what is left for `other-patient` in its own column of `causes`; empty where they were
    not asked for. `distance` is the squared distance of the scores from their middle, averaged over the rows; it is
    about the number of analytes where the results are such as these causes give.
    """

    causes: Floats
    rows: Singles
    distance: Floats


class _Line(msgspec.Struct, frozen=True, kw_only=True):
    """The distinct ways in which the rows of a view move one analyte, and which of them each row has."""

    log_slope: Singles
    added: Singles
    of: NDArray[np.intp]


class _View(msgspec.Struct, frozen=True, kw_only=True):
    """The table as a panel of these analytes sees it: rows that look alike are one, those of a cause are together.

    `first_of_cause` is the first row of each cause in `present`; `alone` are the rows without anything added but
    hemolysis, and `alone_lines` how they move each analyte.
    """

    of_row: NDArray[np.intp]
    share_of_row: Singles
    cause: NDArray[np.intp]
    present: NDArray[np.intp]
    first_of_cause: NDArray[np.intp]
    log_prior: Singles
    free_g_per_l: Floats
    lines: tuple[_Line, ...]
    alone: NDArray[np.intp]
    alone_lines: tuple[_Line, ...]


class _Group(msgspec.Struct, frozen=True, kw_only=True):
    """Samples of one signature: the columns of their analytes, and which of those have an earlier result."""

    at: NDArray[np.intp]
    columns: NDArray[np.intp]
    has_earlier: NDArray[np.bool_]


def posterior(batch: Batch, *, log_shares: Floats | None = None, with_rows: bool = True) -> Posterior:
    """The posterior of every sample of the batch; `log_shares` are the causes' own, in the order of CAUSES."""
    prior = default_log_shares() if log_shares is None else log_shares
    count = len(batch.values)
    found = Posterior(
        causes=np.empty((count, len(CAUSES))), distance=np.empty(count),
        rows=np.zeros((count, len(states().cause) if with_rows else 0), dtype=np.float32),
    )  # fmt: skip
    for group in _groups(batch):
        view = _view(tuple(group.columns.tolist()))
        for start in range(0, len(group.at), _CHUNK):
            part = msgspec.structs.replace(group, at=group.at[start : start + _CHUNK])
            _fill(found, batch, part, view, prior)
    return found


@lru_cache(maxsize=1)
def default_log_shares() -> Floats:
    """The logarithm of how often each cause is met; what the others leave is nothing."""
    shares = [float(cause.share or 0) for cause in causes().values()]
    shares[NONE] = 1 - sum(shares)
    return np.log(shares)


def _groups(batch: Batch) -> Iterator[_Group]:
    known = np.isfinite(batch.values)
    if not len(known):
        return
    earlier = known & (batch.earlier_count > 0)
    _, first, of = np.unique(np.hstack([known, earlier]), axis=0, return_index=True, return_inverse=True)
    order = np.argsort(of, kind="stable")
    for group, at in enumerate(np.split(order, np.cumsum(np.bincount(of.ravel()))[:-1])):
        columns = np.flatnonzero(known[first[group]])
        yield _Group(at=at, columns=columns, has_earlier=earlier[first[group]][columns])


@lru_cache(maxsize=256)
def _view(columns: tuple[int, ...]) -> _View:
    table, at = states(), list(columns)
    alike = np.column_stack([table.cause, table.free_g_per_l, table.slope[:, at], table.added[:, at]])
    _, first, of_row = np.unique(alike.round(9), axis=0, return_index=True, return_inverse=True)
    of_row = of_row.ravel()
    weight = np.bincount(of_row, weights=np.exp(table.log_prior))
    cause = table.cause[first]
    present, first_of_cause = np.unique(cause, return_index=True)
    alone = np.flatnonzero((cause == NONE) | (cause == HEMOLYSIS))
    return _View(
        of_row=of_row, share_of_row=(np.exp(table.log_prior) / weight[of_row]).astype(np.float32), cause=cause,
        present=present, first_of_cause=first_of_cause, log_prior=np.log(weight).astype(np.float32),
        free_g_per_l=table.free_g_per_l[first], lines=_lines(first, columns),
        alone=alone, alone_lines=_lines(first[alone], columns),
    )  # fmt: skip


def _lines(rows: NDArray[np.intp], columns: tuple[int, ...]) -> tuple[_Line, ...]:
    lines = []
    for column in columns:
        pairs = states().slope[rows, column] + 1j * states().added[rows, column]
        distinct, of = np.unique(pairs, return_inverse=True)
        log_slope, added = np.log(distinct.real).astype(np.float32), distinct.imag.astype(np.float32)
        lines.append(_Line(log_slope=log_slope, added=added, of=of.ravel()))
    return tuple(lines)


@lru_cache(maxsize=512)
def _whitener(columns: tuple[int, ...], has_earlier: tuple[bool, ...]) -> tuple[Singles, float]:
    """What makes scores independent, and the logarithm of its determinant."""
    if not columns:
        return np.empty((0, 0), dtype=np.float32), 0.0
    lower = np.linalg.cholesky(correlation_of(np.array(columns), np.array(has_earlier)))
    return np.linalg.inv(lower).astype(np.float32), -float(np.log(np.diag(lower)).sum())


def _fill(found: Posterior, batch: Batch, group: _Group, view: _View, prior: Floats) -> None:
    at = group.at
    log_like, distance = _density(batch, group, view.lines, len(view.cause))
    index = _index_likelihood(batch.free_g_per_l[at], view.free_g_per_l)
    shares = (prior[None, :] + batch.log_share_change[at]).T.astype(np.float32)
    log_post = log_like + view.log_prior[:, None] + index + shares[view.cause]
    other = _of_another(batch, group, view, prior) + index[view.alone] + shares[OTHER]
    top = np.maximum(log_post.max(axis=0), other.max(axis=0))
    weight = np.exp(log_post - top)
    by_cause = np.zeros((len(CAUSES), len(at)))
    by_cause[view.present] = np.add.reduceat(weight, view.first_of_cause, axis=0)
    by_cause[OTHER] = np.exp(other - top).sum(axis=0)
    total = by_cause.sum(axis=0)
    found.causes[at] = (by_cause / total).T
    found.distance[at] = ((weight * distance).sum(axis=0) + by_cause[OTHER] * len(group.columns)) / total
    if found.rows.shape[1]:
        weight /= total.astype(np.float32)
        found.rows[at] = (weight[view.of_row] * view.share_of_row[:, None]).T


def _of_another(batch: Batch, group: _Group, view: _View, prior: Floats) -> Singles:
    """How likely each row is in another patient: no tie to the earlier results, clear or hemolyzed."""
    plain = msgspec.structs.replace(group, has_earlier=np.zeros_like(group.has_earlier))
    log_like, _ = _density(batch, plain, view.alone_lines, len(view.alone))
    either = np.logaddexp(prior[NONE], prior[HEMOLYSIS])
    free = np.where(view.cause[view.alone] == NONE, prior[NONE], prior[HEMOLYSIS]) - either
    return np.asarray(log_like + (view.log_prior[view.alone] + free.astype(np.float32))[:, None])


def _density(batch: Batch, group: _Group, lines: tuple[_Line, ...], count: int) -> tuple[Singles, Singles]:
    """Of each row and sample: the logarithm of the density of what was measured, and the scores' squared distance."""
    shape = (count, len(group.at))
    scores = np.empty((len(lines), *shape), dtype=np.float32)
    log_slopes = np.zeros(shape, dtype=np.float32)
    for place, line in enumerate(lines):
        score, log_slope = _scores(batch, group, place, line)
        np.take(score, line.of, axis=0, out=scores[place], mode="clip")
        log_slopes += np.take(log_slope, line.of, axis=0)
    whiten, log_size = _whitener(tuple(group.columns.tolist()), tuple(group.has_earlier.tolist()))
    flat = scores.reshape(len(lines), count * len(group.at))
    distance = np.empty(flat.shape[1], dtype=np.float32)
    for start in range(0, flat.shape[1], _BLOCK):
        white = whiten @ flat[:, start : start + _BLOCK]
        np.einsum("pm,pm->m", white, white, out=distance[start : start + _BLOCK])
    distance = distance.reshape(shape)
    constant = np.float32(log_size - 0.5 * len(lines) * _LOG_2PI)
    return log_slopes - np.float32(0.5) * distance + constant, distance


def _scores(batch: Batch, group: _Group, place: int, line: _Line) -> tuple[Singles, Singles]:
    """The scores of one analyte and their log slopes: a row a way to move it, a column a sample."""
    known, column = spread(), group.columns[place]
    value, middle, deviation, expected, width = (
        of[group.at, column].astype(np.float32)
        for of in (batch.values, batch.middle, batch.deviation, batch.expected, batch.width)
    )
    tail, wide = np.float32(known.tail[column]), np.float32(known.spread[column]) * deviation
    own = value - line.added[:, None]
    is_there = own > _LEAST_OWN * value
    log_own = np.log(np.where(is_there, own, np.float32(1)))
    far = (log_own - line.log_slope[:, None] - middle) / (wide * tail)
    score = tail * np.arcsinh(far)
    log_slope = np.float32(-0.5) * np.log1p(far * far) - log_own - np.log(wide)
    if group.has_earlier[place]:
        change_tail = np.float32(known.change_tail)
        moved = (score - expected) / (width * change_tail)
        log_slope -= np.float32(0.5) * np.log1p(moved * moved) + np.log(width)
        score = change_tail * np.arcsinh(moved)
    is_least = value <= np.float32(known.floor[column])
    if is_least.any():
        score, log_slope = np.where(is_least, np.minimum(score, 0), score), np.where(is_least, 0, log_slope)
    return np.where(is_there, score, np.float32(0)), np.where(is_there, log_slope, _IMPOSSIBLE)


def _index_likelihood(measured_g_per_l: Floats, free_g_per_l: Floats) -> Singles:
    """How likely the index of hemolysis is on each row, a column a sample; nothing where none was measured."""
    read = np.log(np.maximum(measured_g_per_l, 0.0) + _INDEX_FLOOR)[None, :]
    grid, of = np.unique(free_g_per_l, return_inverse=True)
    meant = np.log(np.where(grid > 0, grid, _CLEAR_G_PER_L) + _INDEX_FLOOR)[:, None]
    width = np.where(grid > 0, _INDEX_SD, _CLEAR_SD)[:, None]
    found = -0.5 * ((read - meant) / width) ** 2 - np.log(width)
    found = np.where(np.isfinite(measured_g_per_l)[None, :], found, 0.0).astype(np.float32)
    return np.asarray(found[of.ravel()])
