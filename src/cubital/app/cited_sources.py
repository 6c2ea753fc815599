"""Which sources stand behind a computed picture: each with its citation and how it was seen."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from cubital import facts
from cubital.app.carry_over import CarryOver
from cubital.app.explanation import has_text

Cited = tuple[tuple[str, str], ...]
# Where the formulas for citrate at a high hematocrit come from (`chemistry.citrate`).
_FORMULAS = "clsi-h21-2008"


def cite(keys: Iterable[str]) -> Cited:
    """The citations of these sources, each once; a word for having no source has none.

    >>> [key for key, _ in cite(["memory", "icsh-1993", "icsh-1993"])]
    ['icsh-1993']
    """
    return tuple((key, facts.sources()[key].citation()) for key in dict.fromkeys(keys) if has_text(key))


@cache
def cite_order() -> Cited:
    """Behind a derived order of draw: every claim in kind, every dose, every allowable error."""
    keys = [claim.mark.source for claim in facts.interference().claim]
    keys += [mark.source for dose in facts.contaminants().dose.values() for mark in dose.marks]
    keys += [error.mark.source for analyte in facts.analytes().values() for error in analyte.errors]
    return cite(keys)


def cite_carry_over(found: CarryOver) -> Cited:
    """Behind what one tube does in another: its dose, its claims, and the errors its analytes may have."""
    dose = facts.contaminants().dose.get(found.additive)
    keys = [claim.mark.source for claim in found.claims]
    keys += [] if dose is None else [mark.source for mark in dose.marks]
    for limit in found.limits:
        keys += [e.mark.source for e in facts.analytes()[limit.analyte].errors if e.scheme == limit.scheme]
    return cite(keys)


def cite_fill() -> Cited:
    """Behind the least fill of a tube; the physics is an own derivation, compared with no measured tube."""
    return cite(mark.source for rule in facts.fills() for mark in rule.marks)


def cite_citrate() -> Cited:
    """Behind the citrate of a high hematocrit."""
    return cite([*(mark.source for mark in facts.safety()["high-hematocrit"].marks), _FORMULAS])
