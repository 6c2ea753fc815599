"""What weighing results takes: causes and how often, illnesses that look like them, published screens."""

from __future__ import annotations

from cubital.facts.causes import Cause, causes, illnesses
from cubital.facts.screens import Part, Screen, screens
from facts_reference.words import mark_text, marks_text, table


def weighed() -> list[str]:
    rows = [
        (f"`{key}`", cause.name, cause.share, _doses(cause), ", ".join(cause.doubted),
         "; ".join(mark_text(mark) for mark in (cause.share_mark, cause.doubted_mark) if mark is not None))
        for key, cause in causes().items()
    ]  # fmt: skip
    ill = [
        (f"`{key}`", illness.name, illness.share,
         ", ".join([*(f"{a} × {f}" for a, f in illness.factor.items()),
                    *(f"{a} {n:+}" for a, n in illness.amount.items())]), mark_text(illness.mark))
        for key, illness in illnesses().items()
    ]  # fmt: skip
    met = [
        (f"`{key}`", screen.means, " and ".join(_part(part) for part in screen.parts), _earlier(screen),
         ", ".join(screen.doubted), marks_text(screen.marks))
        for key, screen in screens().items()
    ]  # fmt: skip
    return [
        "## What may have gone into a tube", "Shares are of all samples; `none` has what the others leave. Doses are "
        "shares of the plasma, grams of free hemoglobin in a litre or hours.",
        table(("cause", "name", "share", "doses weighed", "doubted in kind", "rests on"), rows),
        "## Illness that looks like it", "At full strength; weaker ones are weighed too.",
        table(("illness", "name", "share of samples", "does", "rests on"), ill),
        "## Published screens beside the weighing",
        table(("screen", "means", "met where", "earlier result", "not trusted then", "rests on"), met),
    ]  # fmt: skip


def _doses(cause: Cause) -> str:
    spans = (
        (cause.dose, cause.additive or ", ".join(cause.fluids)),
        (cause.fluid_dose, f"{cause.fluid_part} of it: {', '.join(cause.fluids)}"),
        (cause.dose_g_per_l, "g/L"),
        (cause.dose_h, "h"),
    )
    return "; ".join(f"{span.low}-{span.high} {of}" for span, of in spans if span is not None)


def _part(part: Part) -> str:
    found = part.of if part.less is None else f"{part.of} less {part.less}"
    compared = {"value": "{}", "rise": "rise of {}", "share-of-earlier": "{} over the earlier one"}[part.measure]
    what = compared.format(found)
    return f"{what} ≥ {part.at_least}" if part.at_least is not None else f"{what} ≤ {part.at_most}"


def _earlier(screen: Screen) -> str:
    return "" if screen.earlier_max_h is None else f"up to {screen.earlier_max_h} h before"
