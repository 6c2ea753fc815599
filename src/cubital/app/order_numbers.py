"""Why one tube stands before the next, in numbers: what a trace of each would do to the tests of the other."""

from __future__ import annotations

from functools import cache, lru_cache

import msgspec

from cubital import facts
from cubital.chemistry.carryover import Change, Spill, predicted_changes, typical_values, withheld
from cubital.model import Plan, PlannedTube, Reason

# Over this much EDTA blood must be carried before any result changes (cadamuro-2015); typical of an adult.
TRACE_UL, HEMATOCRIT = 10.0, 0.45


def with_numbers(plan: Plan) -> Plan:
    """The plan, each tube that another follows in its draw with a reason in numbers; nothing else is touched.

    Healthy values and a hematocrit of 0.45 are taken, and the reason says what it is: a precaution's size.
    """
    tubes = list(plan.tubes)
    for place, (tube, following) in enumerate(zip(tubes, plan.tubes[1:], strict=False)):
        reason = None if tube.draw != following.draw else _reason(tube, following)
        if reason is not None:
            tubes[place] = msgspec.structs.replace(tube, reasons=(*tube.reasons, reason))
    return msgspec.structs.replace(plan, tubes=tuple(tubes))


def _reason(tube: PlannedTube, following: PlannedTube) -> Reason | None:
    if tube.additive == following.additive or "collect" not in (tube.purpose, following.purpose):
        return None
    return reason_of_pair(
        tube.additive, tube.draw_ul, _measured(tube), following.additive, following.draw_ul, _measured(following)
    )


def _measured(tube: PlannedTube) -> tuple[str, ...]:
    known = _analytes()
    return tuple(sorted({known[test] for test in tube.tests if test in known}))


@cache
def _analytes() -> dict[str, str]:
    return {test: key for key, analyte in facts.analytes().items() for test in analyte.tests}


@lru_cache(maxsize=4096)
def reason_of_pair(
    first: str, first_ul: int, first_measures: tuple[str, ...], then: str, then_ul: int, then_measures: tuple[str, ...]
) -> Reason | None:
    """The reason for drawing `first` before `then`; None where the chemistry has nothing to say either way.

    >>> reason = reason_of_pair("clot-activator", 3500, ("potassium",), "k2-edta", 2000, ())
    >>> print(reason.text)  # doctest: +ELLIPSIS
    drawn next is k2-edta: 10 uL of its blood in this tube would move potassium by +0.046 mmol/L...
    """
    ahead = trace_words(first, then, then_ul, then_measures)
    back = trace_words(then, first, first_ul, first_measures)
    if not ahead and not back:
        return None
    nothing = "nothing that is known"
    text = (
        f"drawn next is {then}: {TRACE_UL:g} uL of its blood in this tube would {back or 'do ' + nothing}; "
        f"as drawn, a trace of this one there would {ahead or 'do ' + nothing}"
    )
    named = [mark.source for key in (first, then) for mark in facts.contaminants().dose[key].marks]
    sources = tuple(key for key in dict.fromkeys(named) if key not in ("memory", "common-practice", "computed"))
    return Reason(about="order", text=text, basis="computed", sources=sources)


def trace_words(additive: str, into: str, blood_ul: int, measures: tuple[str, ...]) -> str:
    """What a trace would do to what is measured, and what is known in kind; empty where neither says anything."""
    spill = Spill(
        additive=additive, into_additive=into, carried_ul=min(TRACE_UL, blood_ul), blood_ul=blood_ul,
        hematocrit=HEMATOCRIT,
    )  # fmt: skip
    typical = typical_values()
    native = {key: typical[key] for key in measures}
    changes = [c for c in predicted_changes(spill, native=native) if abs(c.amount) > 1e-3 * max(abs(c.before), 0.01)]
    changes.sort(key=lambda change: change.share_of_allowable or 0.0, reverse=True)
    words = [f"move {_change_words(change)}" for change in changes[:2]]
    unknown = withheld(spill, native)
    words += [f"move {', '.join(unknown)} by an amount not known"] if unknown else []
    claims = facts.interference().claims(additive, into=into, into_family=facts.additives()[into].family)
    words += [f"act in kind ({claim.text})" for claim in claims if claim.grade != "lesser"][:1]
    return " and ".join(words)


def _change_words(change: Change) -> str:
    share = change.share_of_allowable
    err = "" if share is None else f", {share:.2g} of what may err"
    return f"{change.analyte} by {change.amount:+.2g} {change.unit}{err}"
