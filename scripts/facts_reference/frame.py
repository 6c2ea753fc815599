"""What frames the facts: what a site gets that says nothing, what a body can measure, the sources."""

from __future__ import annotations

from cubital import facts
from cubital.facts.plausibility import plausibility
from facts_reference.words import mark_text, span_text, table


def defaults() -> list[str]:
    said = {**facts.site_table()["planning"], **facts.site_table()["bench"]}
    defaults = [(f"`{key}`", said[key], mark_text(mark)) for key, mark in facts.site_marks().items()]
    bodies = []
    for name, possible in (("weight, kg", plausibility().weight_kg), ("height, cm", plausibility().height_cm)):
        bodies.append((name, "any age", span_text(possible.least, possible.most, ""), mark_text(possible.mark)))
        for span in possible.spans:
            end = "on" if span.below_h is None else f"to {span.below_h // 24} d"
            bodies.append(("", f"{span.from_h // 24} d {end}", span_text(span.least, span.most, ""), ""))
    return [
        "## What a site that says nothing gets", table(("key", "default", "rests on"), defaults),
        "## What a body can measure", "Outside of this an order is refused.",
        table(("measure", "age", "from-to", "rests on"), bodies),
    ]  # fmt: skip


def sources() -> list[str]:
    rows = [(f"`{key}`", source.citation()) for key, source in facts.sources().items()]
    return ["## Sources", table(("key", "source, and how it was seen"), rows)]
