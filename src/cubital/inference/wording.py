"""The reasons of an answer, in words with their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cubital.facts.causes import CAUSES, Cause, causes
from cubital.facts.population import population
from cubital.facts.screens import Screen
from cubital.inference.evidence import MOST_NAMED, Evidence
from cubital.inference.population import Floats
from cubital.inference.table import ADULT_H, used_earlier
from cubital.model.results import Result, ResultSet

CAUTION = (
    "this supports review by trained staff and never replaces it: no result is released, held or corrected by it alone"
)
# A cause less likely than this is not named.
LEAST_CHANCE = 0.02
_LEAST_IDENTITY = 0.1

Ends = tuple[float | None, float | None, float | None]


def reasons_for(
    sample: ResultSet, *, verdict: str, redraw: bool, chances: Floats, lead: Cause, evidence: Evidence,
    critical: Sequence[Result], untrusted: Sequence[str], own: Sequence[str], is_odd: bool,
    met: Sequence[Screen], fraction: Ends,
) -> tuple[str, ...]:  # fmt: skip
    """Every reason, what matters most first, the caution last."""
    by_cause = dict(zip(CAUSES, chances.tolist(), strict=True))
    lines: list[str] = []
    if redraw:
        lines.append(_redraw(critical, untrusted, is_identity=by_cause["other-patient"] >= _LEAST_IDENTITY))
    lines += _of_verdict(sample, verdict, by_cause, lead, is_odd=is_odd)
    lines += [screen.words() for screen in met]
    if verdict != "nothing found" and len(sample.results) > 1:
        lines += _of_lead(sample, lead, evidence, fraction)
    lines += [_of_own(analyte, sample.additive or "") for analyte in own]
    if verdict == "cannot tell" and evidence.telling:
        lines.append(f"would tell more: {', '.join(_name(key) for key in evidence.telling)}")
    if verdict == "cannot tell":
        lines += _of_what_is_not_weighed(sample)
    lines += _of_what_is_known(sample, by_cause)
    return (*lines, *sample.notes, CAUTION)


def _name(key: str) -> str:
    return population().analytes[key].name


def _amount(analyte: str, value: float) -> str:
    return f"{value:.3g} {population().analytes[analyte].unit}"


def _redraw(critical: Sequence[Result], untrusted: Sequence[str], *, is_identity: bool) -> str:
    if is_identity:
        return "draw again, and check who was drawn: every result may be another patient's"
    doubtful = [result for result in critical if result.analyte in untrusted] or critical
    named = ", ".join(f"{_name(result.analyte)} {_amount(result.analyte, result.value)}" for result in doubtful)
    if critical:
        return f"draw again before acting: {named} would call for action at once, and it may be the tube's"
    doubted = ", ".join(_name(key) for key in untrusted) or "the results"
    return f"draw again: {doubted} may be the tube's and not the patient's"


def _of_verdict(
    sample: ResultSet, verdict: str, by_cause: dict[str, float], lead: Cause, *, is_odd: bool
) -> Iterator[str]:
    if len(sample.results) < 2:
        yield "one result cannot tell the patient from the tube"
    if verdict == "nothing found":
        yield (
            f"nothing in the tube is {_chance(by_cause['none'])} likely: the results go together as a patient's do; "
            "a small share is never excluded"
        )
        return
    ranked = sorted(by_cause, key=lambda key: -by_cause[key])
    shown = [key for key in ranked if by_cause[key] >= LEAST_CHANCE] or ranked[:1]
    yield "probabilities: " + ", ".join(f"{causes()[key].name} {by_cause[key]:.2f}" for key in shown)
    family = [key for key in by_cause if causes()[key].family == lead.family and by_cause[key] >= LEAST_CHANCE]
    if len(family) > 1:
        yield f"these results tell {' and '.join(causes()[key].name for key in family)} apart poorly or not at all"
    if verdict == "cannot tell" and is_odd:
        yield "results like these are rare in patients and fit no cause known here: something else may be in the tube"


def _chance(value: float) -> str:
    """A probability that is never rounded up to certain."""
    return f"{min(value, 0.999):.3f}" if value > 0.99 else f"{value:.2f}"


def _of_lead(sample: ResultSet, lead: Cause, evidence: Evidence, fraction: Ends) -> Iterator[str]:
    estimate, low, high = fraction
    if estimate is not None and low is not None and high is not None:
        yield (
            f"if it is {lead.name}, its plasma or fluid is {100 * estimate:.2g} % of the sample's "
            f"({100 * low:.2g} to {100 * high:.2g} %)"
        )
    if evidence.free_g_per_l is not None:
        beside = "" if lead.key == "hemolysis" else f"{lead.name}, then with "
        index = sample.hemolysis_g_per_l
        measured = "" if index is None else f"; its index says {index:.2g} g/L"
        yield f"if it is {beside}hemolysis, about {evidence.free_g_per_l:.2g} g/L of free hemoglobin{measured}"
    if evidence.hours is not None:
        yield f"if it is hours on the cells, about {evidence.hours:.2g} h"
    if evidence.moved:
        parts = [
            f"{_name(one.analyte)} {_amount(one.analyte, one.measured)}, "
            + ("nearly all of it hidden" if one.without is None else f"without it {one.without:.3g}")
            for one in evidence.moved[:MOST_NAMED]
        ]
        yield f"{lead.name} would explain: {'; '.join(parts)}"


def _of_own(analyte: str, additive: str) -> str:
    return f"{_name(analyte)} cannot be measured in a tube with {additive}: the tube brings it"


def _of_what_is_not_weighed(sample: ResultSet) -> Iterator[str]:
    for result in sample.results:
        known = population().analytes[result.analyte]
        if known.high_unweighed is not None and result.value > float(known.interval.high):
            yield f"not weighed here, and raises {known.name} too: {known.high_unweighed}"


def _of_what_is_known(sample: ResultSet, by_cause: dict[str, float]) -> Iterator[str]:
    if not sample.previous:
        yield "no earlier results: another patient's blood cannot be told"
    elif len(used_earlier(sample)) < len(sample.previous):
        yield "earlier results of more than a year ago are not used"
    if sample.hemolysis_g_per_l is None and by_cause["hemolysis"] >= LEAST_CHANCE:
        yield "no index of hemolysis: measured, it would tell hemolysis"
    if sample.patient.age_h is not None and sample.patient.age_h < ADULT_H:
        yield "the intervals are of adults, widened for a child: a laboratory's own for the age are better"
