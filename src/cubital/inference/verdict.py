"""From a posterior to an answer: what is suspected, what can still be trusted, whether to draw again, and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital import facts
from cubital.chemistry.carryover import allowable_error
from cubital.facts.causes import CAUSES, Cause, causes
from cubital.facts.population import population
from cubital.inference.evidence import evidence_of
from cubital.inference.population import Floats, spread
from cubital.inference.posterior import posterior
from cubital.inference.states import states
from cubital.inference.table import batch_of
from cubital.inference.wording import reasons_for
from cubital.model.results import ResultSet

VerdictKey = Literal["nothing found", "suspect", "cannot tell"]
# From this probability on something is suspected, and up to the other nothing is said to be found: choices of this
# project, looked at on the development half of the clean set. With a critical result the second is the lower one.
SUSPECTED, NOTHING, NOTHING_CRITICAL = 0.5, 0.1, 0.02
# An analyte is trusted where it is moved by over its allowable error with at most this probability.
MOST_DOUBT = 0.05
# An analyte without a published allowable error: this share of itself, a choice of this project.
TAKEN_ALLOWABLE = 0.10
# Fewer results than this tell no cause from the patient.
LEAST_RESULTS = 2
# How unlikely, in standard deviations of a normal score, results are before no cause here is said to fit.
_ODD = 4.0


class Fraction(msgspec.Struct, frozen=True, kw_only=True):
    """The contaminating share of the plasma: the middle and the ends of what has 95 %; None where no share applies."""

    estimate: float | None = None
    low: float | None = None
    high: float | None = None


class Suspicion(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one sample. `causes` are in the order of the list of causes and sum to 1."""

    causes: tuple[tuple[str, float], ...]
    fraction: Fraction
    trusted: tuple[str, ...]
    verdict: VerdictKey
    redraw: bool
    reasons: tuple[str, ...]
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
    batch = batch_of(samples)
    found = posterior(batch)
    return tuple(
        _answer(sample, found.causes[row], found.rows[row].astype(float), float(found.distance[row]))
        for row, sample in enumerate(samples)
    )


def _answer(sample: ResultSet, chances: Floats, rows: Floats, distance: float) -> Suspicion:
    own = causes_of_own_tube(sample)
    doubts = _doubts(sample, chances, rows)
    for analyte in own:
        doubts[analyte] = 1.0
    critical = tuple(
        result for result in sample.results if population().analytes[result.analyte].is_critical(result.value)
    )
    lead = leading_cause(chances)
    is_odd = _oddness(distance, len(sample.results)) > _ODD
    verdict = _verdict(sample, chances, lead, has_critical=bool(critical), is_odd=is_odd)
    untrusted = tuple(result.analyte for result in sample.results if doubts[result.analyte] > MOST_DOUBT)
    is_grave = bool(critical) or chances[CAUSES.index("other-patient")] >= NOTHING
    redraw = bool(own) or (verdict == "suspect" and bool(untrusted)) or (verdict == "cannot tell" and is_grave)
    fraction = _fraction(lead, rows) if verdict != "nothing found" else Fraction()
    evidence = evidence_of(sample, lead, chances, rows)
    return Suspicion(
        causes=tuple(zip(CAUSES, chances.tolist(), strict=True)), fraction=fraction,
        trusted=tuple(result.analyte for result in sample.results if result.analyte not in untrusted),
        verdict=verdict, redraw=redraw, id=sample.id, unread=sample.unread,
        reasons=reasons_for(
            sample, verdict=verdict, redraw=redraw, chances=chances, lead=lead, evidence=evidence, critical=critical,
            untrusted=untrusted, own=own, is_odd=is_odd, fraction=(fraction.estimate, fraction.low, fraction.high),
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


def _verdict(sample: ResultSet, chances: Floats, lead: Cause, *, has_critical: bool, is_odd: bool) -> VerdictKey:
    something = 1 - float(chances[CAUSES.index("none")])
    if len(sample.results) < LEAST_RESULTS:
        return "cannot tell"
    if something >= SUSPECTED:
        of_family = sum(
            float(chance) for key, chance in zip(CAUSES, chances, strict=True) if causes()[key].family == lead.family
        )
        return "suspect" if of_family >= something / 2 else "cannot tell"
    if something > (NOTHING_CRITICAL if has_critical else NOTHING) or is_odd:
        return "cannot tell"
    return "nothing found"


def _oddness(distance: float, count: int) -> float:
    """How far a squared distance of this many scores is over what is usual, as a normal score (Wilson-Hilferty)."""
    if not count:
        return 0.0
    return float(((distance / count) ** (1 / 3) - (1 - 2 / (9 * count))) / np.sqrt(2 / (9 * count)))


def _doubts(sample: ResultSet, chances: Floats, rows: Floats) -> dict[str, float]:
    """The probability of each analyte of the sample to be moved by over its allowable error."""
    table, columns = states(), spread().columns()
    by_cause = dict(zip(CAUSES, chances.tolist(), strict=True))
    is_moving = (table.cause != CAUSES.index("none")) & (rows > 1e-6)
    found = {}
    for result in sample.results:
        column = columns[result.analyte]
        own = np.maximum(result.value - table.added[is_moving, column], 0.0) / table.slope[is_moving, column]
        is_over = np.abs(result.value - own) > allowable(result.analyte, result.value)
        found[result.analyte] = float(rows[is_moving][is_over].sum()) + by_cause["other-patient"]
        in_kind = sum(by_cause[key] for key, cause in causes().items() if result.analyte in cause.doubted)
        found[result.analyte] = min(1.0, max(found[result.analyte], in_kind))
    return found


def allowable(analyte: str, value: float) -> float:
    """How far a result may miss, in its unit: the strictest published scheme, else a tenth of it."""
    known = facts.analytes().get(analyte)
    found = [] if known is None else [allowable_error(known, value, scheme=scheme) for scheme in known.schemes]
    return min((error[1] for error in found if error is not None), default=TAKEN_ALLOWABLE * value)


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
