"""From a posterior to an answer: what is suspected, what can still be trusted, whether to draw again, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital import facts
from cubital.facts.causes import CAUSES, Cause, causes
from cubital.facts.population import population
from cubital.inference.evidence import Evidence, Moved, evidence_of
from cubital.inference.population import Floats, spread
from cubital.inference.posterior import posterior
from cubital.inference.screens import screens_met
from cubital.inference.states import states
from cubital.inference.table import batch_of
from cubital.inference.wording import LEAST_CHANCE, reasons_for
from cubital.model.results import ResultSet

VerdictKey = Literal["nothing found", "suspect", "cannot tell"]
# From this probability of one family of causes on it is suspected, and up to the other of all causes together nothing
# is said to be found: choices of this project, looked at on the development half of the clean set. One in five is worth
# a new tube. With a critical result the second is the lower one.
SUSPECTED, NOTHING, NOTHING_CRITICAL = 0.2, 0.06, 0.02
# An analyte is trusted where it is moved by over its allowable error with at most this probability.
MOST_DOUBT = 0.05
# An analyte without a published allowable error: this share of itself, a choice of this project.
TAKEN_ALLOWABLE = 0.10
# Fewer results than this tell no cause from the patient.
LEAST_RESULTS = 2
# How unlikely, in standard deviations of a normal score, results are before no cause here is said to fit.
_ODD = 4.0
# Rows of the table that are less likely than this are left out of the doubt about an analyte: 0.002 of it in all.
_LEAST_ROW = 1e-6
# So many samples are weighed together: the table of one takes 6 kB.
_AT_ONCE = 2048


class Fraction(msgspec.Struct, frozen=True, kw_only=True):
    """The contaminating share of the plasma: the middle and the ends of what has 95 %; None where no share applies."""

    estimate: float | None = None
    low: float | None = None
    high: float | None = None


class Suspicion(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one sample. `causes` are in the order of the list of causes and sum to 1.

    `moved` are the results that the likeliest cause other than nothing would have moved, the most moved first;
    `screens` are the keys of the published screens that are met.
    """

    causes: tuple[tuple[str, float], ...]
    fraction: Fraction
    trusted: tuple[str, ...]
    verdict: VerdictKey
    redraw: bool
    reasons: tuple[str, ...]
    moved: tuple[Moved, ...] = ()
    screens: tuple[str, ...] = ()
    id: str | None = None
    unread: tuple[str, ...] = ()

    def probability(self, cause: str) -> float:
        """The probability of one cause."""
        return dict(self.causes)[cause]


def suspicions(samples: Sequence[ResultSet]) -> tuple[Suspicion, ...]:
    """The answer for each of these samples, in their order.

    >>> from cubital.model.results import Result
    >>> found = suspicions([ResultSet(results=(Result(analyte="potassium", value=6.8),))])[0]
    >>> found.verdict, found.redraw
    ('cannot tell', True)
    """
    parts = (samples[start : start + _AT_ONCE] for start in range(0, len(samples), _AT_ONCE))
    return tuple(answer for part in parts for answer in _some(part))


def _some(samples: Sequence[ResultSet]) -> Iterator[Suspicion]:
    found = posterior(batch_of(samples))
    for row, sample in enumerate(samples):
        yield _answer(sample, found.causes[row], found.rows[row].astype(float), float(found.distance[row]))


def _answer(sample: ResultSet, chances: Floats, rows: Floats, distance: float) -> Suspicion:
    own = causes_of_own_tube(sample)
    doubts = _doubts(sample, chances, rows)
    met = screens_met(sample)
    for analyte in (*own, *(name for screen in met for name in screen.doubted)):
        doubts[analyte] = 1.0
    critical = tuple(
        result for result in sample.results if population().analytes[result.analyte].is_critical(result.value)
    )
    lead = leading_cause(chances)
    is_odd = _oddness(distance, len(sample.results)) > _ODD
    verdict = _verdict(sample, chances, lead, has_critical=bool(critical), is_flagged=is_odd or bool(met))
    # Where no cause known here fits, what is in the tube may move any result.
    is_unknown = is_odd and verdict == "cannot tell"
    untrusted = tuple(r.analyte for r in sample.results if is_unknown or doubts[r.analyte] > MOST_DOUBT)
    is_grave = bool(critical) or float(chances[CAUSES.index("other-patient")]) >= NOTHING
    redraw = bool(own) or (verdict == "suspect" and bool(untrusted)) or (verdict == "cannot tell" and is_grave)
    is_named = verdict != "nothing found" and _of_family(lead, chances) >= LEAST_CHANCE
    fraction = _fraction(lead, rows) if is_named else Fraction()
    evidence = evidence_of(sample, lead, chances, rows) if is_named else Evidence()
    return Suspicion(
        causes=tuple(zip(CAUSES, chances.tolist(), strict=True)), fraction=fraction,
        trusted=tuple(result.analyte for result in sample.results if result.analyte not in untrusted),
        verdict=verdict, redraw=redraw, moved=evidence.moved, id=sample.id, unread=sample.unread,
        screens=tuple(screen.key for screen in met),
        reasons=reasons_for(
            sample, verdict=verdict, redraw=redraw, chances=chances, lead=lead, evidence=evidence, critical=critical,
            untrusted=untrusted, own=own, is_odd=is_odd, met=met,
            fraction=(fraction.estimate, fraction.low, fraction.high),
        ),
    )  # fmt: skip


def causes_of_own_tube(sample: ResultSet) -> tuple[str, ...]:
    """The analytes of this sample that heparin of the tube's own brings: no result of them is one of the patient."""
    brought = {"lithium-heparin": "lithium", "ammonium-heparin": "ammonium"}.get(sample.additive or "")
    return tuple(result.analyte for result in sample.results if result.analyte == brought)


def leading_cause(chances: Floats) -> Cause:
    """The likeliest cause of the likeliest family, `none` aside."""
    families: dict[str, float] = {}
    for cause, chance in zip(causes().values(), chances.tolist(), strict=True):
        if cause.key != "none":
            families[cause.family] = families.get(cause.family, 0.0) + chance
    family = max(families, key=lambda name: families[name])
    own = [
        (chance, key) for key, chance in zip(CAUSES, chances.tolist(), strict=True) if causes()[key].family == family
    ]
    return causes()[max(own)[1]]


def _verdict(sample: ResultSet, chances: Floats, lead: Cause, *, has_critical: bool, is_flagged: bool) -> VerdictKey:
    if len(sample.results) < LEAST_RESULTS:
        return "cannot tell"
    if _of_family(lead, chances) >= SUSPECTED:
        return "suspect"
    something = 1 - float(chances[CAUSES.index("none")])
    if something > (NOTHING_CRITICAL if has_critical else NOTHING) or is_flagged:
        return "cannot tell"
    return "nothing found"


def _of_family(lead: Cause, chances: Floats) -> float:
    families = (causes()[key].family for key in CAUSES)
    return sum(float(chance) for family, chance in zip(families, chances, strict=True) if family == lead.family)


def _oddness(distance: float, count: int) -> float:
    """How far a squared distance of this many scores is over what is usual, as a normal score (Wilson-Hilferty)."""
    if not count:
        return 0.0
    return float(((distance / count) ** (1 / 3) - (1 - 2 / (9 * count))) / np.sqrt(2 / (9 * count)))


def _doubts(sample: ResultSet, chances: Floats, rows: Floats) -> dict[str, float]:
    """The probability of each analyte of the sample to be moved by over its allowable error."""
    table, columns = states(), spread().columns()
    at = np.array([columns[result.analyte] for result in sample.results], dtype=np.intp)
    value = np.array([result.value for result in sample.results])
    least = np.array([allowable(result.analyte, result.value) for result in sample.results])
    moving = np.flatnonzero((table.cause != CAUSES.index("none")) & (rows > _LEAST_ROW))
    cells = np.ix_(moving, at)
    own = np.maximum(value - table.added[cells], 0.0) / table.slope[cells]
    by_row = rows[moving] @ (np.abs(value - own) > least) + chances[CAUSES.index("other-patient")]
    in_kind = chances @ _doubted()[:, at]
    return dict(zip((r.analyte for r in sample.results), np.clip(by_row, in_kind, 1.0).tolist(), strict=True))


@cache
def _doubted() -> Floats:
    """Of each cause and analyte, 1 where the analyte is moved in kind only, else 0."""
    found = np.zeros((len(CAUSES), len(spread().keys)))
    for place, cause in enumerate(causes().values()):
        found[place, [spread().columns()[analyte] for analyte in cause.doubted]] = 1
    return found


def allowable(analyte: str, value: float) -> float:
    """How far a result may miss, in its unit: the strictest published scheme, else a tenth of it."""
    found = [max(amount, share * value) for amount, share in _errors(analyte)]
    return min(found, default=TAKEN_ALLOWABLE * value)


@cache
def _errors(analyte: str) -> tuple[tuple[float, float], ...]:
    """What each scheme allows of an analyte: an amount, and a share of the result; the larger counts."""
    known = facts.analytes().get(analyte)
    firsts = {} if known is None else {error.scheme: error for error in reversed(known.errors)}
    return tuple((float(error.amount or 0), float(error.percent or 0) / 100) for error in firsts.values())


def _fraction(lead: Cause, rows: Floats) -> Fraction:
    """The share of the leading cause, were it the one; nothing for a cause that has none."""
    if lead.dose is None:
        return Fraction()
    table = states()
    of = table.cause == CAUSES.index(lead.key)
    if rows[of].sum() <= 0:
        return Fraction()
    low, middle, high = quantiles(table.share[of], rows[of], (0.025, 0.5, 0.975))
    return Fraction(estimate=middle, low=low, high=high)


def quantiles(values: NDArray[np.float64], weights: Floats, at: Sequence[float]) -> list[float]:
    """The weighted quantiles of values on a grid, each value spread evenly to halfway towards its neighbours.

    >>> [round(value, 2) for value in quantiles(np.array([0.1, 0.2, 0.3]), np.ones(3), (0.0, 0.5, 1.0))]
    [0.1, 0.2, 0.3]
    """
    grid, of = np.unique(values, return_inverse=True)
    weight = np.bincount(of, weights)
    if len(grid) == 1:
        return [float(grid[0])] * len(at)
    edges = np.concatenate([[grid[0]], (grid[1:] + grid[:-1]) / 2, [grid[-1]]])
    below = np.concatenate([[0.0], np.cumsum(weight) / weight.sum()])
    return [float(np.interp(share, below, edges)) for share in at]
