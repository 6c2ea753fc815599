"""What holds at the chair: orders of draw, accesses, discards, handling, cautions, labels."""

from __future__ import annotations

from cubital import facts
from cubital.facts.labels import label_content, label_stock
from facts_reference.words import mark_text, marks_text, span_text, table


def orders_of_draw() -> list[str]:
    parts = ["## Orders of draw"]
    for key, policy in facts.order_policies().items():
        steps = [
            (n, step.name, "; ".join(_place(p) for p in step.places), step.inner_order, mark_text(step.mark))
            for n, step in enumerate(policy.steps, start=1)
        ]
        parts += [
            f"### `{key}`", f"{policy.name}. {policy.scope}", marks_text(policy.marks),
            table(("step", "name", "places, earlier first", "order inside", "rests on"), steps),
        ]  # fmt: skip
        unsaid = [(s.what, "; ".join(s.choices), mark_text(s.mark)) for s in policy.silent]
        if unsaid:
            parts += ["Left unsaid, and asked of the site:", table(("what", "what others hold", "rests on"), unsaid)]
        refused = [(r.what, mark_text(r.mark)) for r in policy.refused]
        if refused:
            parts += ["Not taken this way:", table(("what", "rests on"), refused)]
    return parts


def _place(place: facts.Place) -> str:
    words: list[str] = [place.additive]
    if place.gel is not None:
        words.append("with gel" if place.gel else "without gel")
    words += [f"for {place.use}"] if place.use else []
    words += [place.material] if place.material else []
    return " ".join(words)


def at_the_chair() -> list[str]:
    reached, dropped = [], []
    for key, access in facts.accesses().items():
        known = "not known; asked" if access.dead_volume_ul is None else f"{access.dead_volume_ul} µL"
        reached.append((f"`{key}`", access.name, known, "; ".join(access.cautions), marks_text(access.marks)))
        for rival in access.dead_volume_rivals:
            reached.append(("", "dead volume", span_text(rival.low_ul, rival.high_ul, "µL"), "", mark_text(rival.mark)))
        for d in access.discards:
            dropped.append((f"`{key}`", d.when, "yes" if d.needed else "no", _amount(d), mark_text(d.mark)))
    terms = [
        (f"`{t.key}`", t.instruction, t.why, ", ".join(t.opposes), "none" if t.no_gel else "", marks_text(t.marks))
        for t in facts.handling_terms().values()
    ]
    cautions = [(f"`{c.key}`", c.text, c.when, marks_text(c.marks)) for c in facts.safety().values()]
    flags = [(f"`{f.key}`", ", ".join(f.also), f.level, f.text, marks_text(f.marks)) for f in facts.flags().values()]
    return [
        "## Accesses", table(("access", "name", "dead volume", "cautions", "rests on"), reached),
        "### Discards", table(("access", "when", "needed", "what", "rests on"), dropped),
        *_lines(),
        *_whole_blood(),
        "## Handling", table(("term", "do", "why", "shares no tube with", "gel", "rests on"), terms),
        "## Cautions", table(("caution", "words", "when", "rests on"), cautions),
        "## Patient flags", table(("flag", "also", "level", "words", "rests on"), flags),
    ]  # fmt: skip


def _whole_blood() -> list[str]:
    rows = [
        (f"`{w.test}`", w.standing, f"{w.volume_ul} µL", w.bias, w.caution, marks_text(w.marks))
        for w in facts.whole_blood().values()
    ]
    return [
        "## Whole blood in the gas analyzer",
        "A site chooses what it sends there. The volume is what a test adds to the sample of the gases.",
        table(("test", "standing", "adds", "against the laboratory", "caution", "rests on"), rows),
    ]


def _amount(d: facts.Discard) -> str:
    words = [d.fill or ""]
    words += [] if d.dead_space_multiple is None else [f"{d.dead_space_multiple} × dead space"]
    words += [] if d.ul is None else [f"{d.ul} µL"]
    words += [] if d.part_filled_ul is None else [f"{d.part_filled_ul} µL in it are enough"]
    words += ["given back"] if d.returned else []
    return "; ".join(word for word in words if word)


def _lines() -> list[str]:
    """What may be given back of a line's discard, what its own culture throws away, and lines known by name."""
    backs, firsts, named = [], [], []
    for key, access in facts.accesses().items():
        for r in access.returns:
            cycles = "" if r.cycles_low is None else span_text(r.cycles_low, r.cycles_high, "cycles")
            backs.append((f"`{key}`", r.how, "yes" if r.allowed else "no", r.text, cycles, ", ".join(r.not_for),
                          mark_text(r.mark)))  # fmt: skip
        for first in access.culture_discards:
            firsts.append((f"`{key}`", first.for_whom, f"{first.ul} µL", mark_text(first.mark)))
        for line in access.lines:
            dead = "" if line.dead_space_ul is None else f"{line.dead_space_ul} µL"
            named.append((line.name, "dead space", dead, marks_text(line.marks)))
            named += [("", d.when, _amount(d), mark_text(d.mark)) for d in line.discards]
            named += [("", "caution", text, marks_text(line.caution_marks)) for text in line.cautions]
    return [
        "### What may be given back", table(("access", "how", "allowed", "in words", "", "not for", "rests on"), backs),
        "### Before a culture of the line itself", table(("access", "for whom", "thrown away", "rests on"), firsts),
        "### Lines that are known by name", table(("line", "when", "what", "rests on"), named),
    ]  # fmt: skip


def labels() -> list[str]:
    stock = [
        (
            f"`{one.key}`", one.name, f"{one.width_mm} × {one.height_mm} mm", f"{one.edge_mm} mm",
            "roll" if one.sheet is None else f"{one.sheet.columns} × {one.sheet.rows} on {one.sheet.paper}",
            mark_text(one.from_),
        )
        for one in label_stock().values()
    ]  # fmt: skip
    content = [
        (f"`{key}`", field.says, f"{field.most_pt} to {field.least_pt} pt", marks_text(field.marks))
        for key, field in label_content().items()
    ]
    return [
        "## Label stock", table(("stock", "name", "one label", "free edge", "comes as", "rests on"), stock),
        "## What a label says", table(("field", "says", "type", "rests on"), content),
    ]  # fmt: skip
