"""The derived order of draw in a terminal, beside each guideline."""

from __future__ import annotations

from cubital.app.derived_order import Beside, DerivedOrder, PairHarm
from cubital.cli.sheet import Sheet

_HONEST = (
    "closed draws carry almost nothing over and whether the order matters there is disputed; this is what the "
    "chemistry would mind if a trace were carried, and no guideline"
)


def order_lines(found: DerivedOrder, sheet: Sheet) -> list[str]:
    """The lines of a derived order."""
    head = f"Least harm, {found.carried_ul:g} uL carried into every later tube: {' > '.join(found.order)}"
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head, rest="  ")]
    alike = "no other order does as well" if found.orders == 1 else f"{found.orders} orders do as well"
    lines += sheet.wrap(f"exact over all orders; {alike}", first="  ", rest="    ")
    if found.indifferent:
        pairs = "; ".join(f"{a} and {b}" for a, b in found.indifferent)
        lines += sheet.wrap(f"the chemistry is indifferent between: {pairs}", first="  ", rest="    ")
    for guideline in found.guidelines:
        lines += ["", *_beside(guideline, sheet)]
    return [*lines, "", *sheet.wrap(_HONEST, first="  ", rest="    ")]


def _beside(guideline: Beside, sheet: Sheet) -> list[str]:
    lines = [sheet.mark(guideline.name, "strong")]
    lines += sheet.wrap(" > ".join(guideline.order) or "places none of them", first="  ", rest="    ")
    if guideline.unsaid:
        lines += sheet.wrap(f"leaves unsaid: {', '.join(guideline.unsaid)}", first="  ", rest="    ")
    if guideline.is_least:
        return [*lines, "  agrees: it harms as little as any order of these"]
    for d in guideline.differences:
        text = f"{d.first} before {d.then}: {harm_words(d.as_drawn)}; the other way round: {harm_words(d.other_way)}"
        lines += sheet.wrap(text, first=f"  {sheet.glyphs.bullet} ", rest="    ")
    return lines


def harm_words(harm: PairHarm) -> str:
    """What one tube does in a later one, in a few words."""
    words = list(harm.reasons)
    if harm.worst is not None:
        words.append(f"{harm.worst} moves by {harm.share:.2g} of its allowable error")
    words += [f"what it does to {analyte} is not known" for analyte in harm.withheld]
    return "; ".join(words) or "nothing known"
