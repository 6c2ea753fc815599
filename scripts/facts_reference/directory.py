"""The tests and how their specimens keep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from cubital import facts
from cubital.chemistry.hemolysis import rises_of
from cubital.facts.hemolysis import hemolysis_facts
from cubital.facts.keeping import biases, checks, drifts, house_rules, index_limits, keeping_claims, timings
from facts_reference.words import mark_text, marks_text, span_text, table


def directory() -> list[str]:
    tests = []
    for key, raw in facts.tests_table().items():
        ways = "; ".join(
            f"{a['matrix']} {a['volume_ul']} ({a['minimum_ul']}) µL: {', '.join(a['tubes'])}"
            for a in raw.get("accepts", ())
        )
        terms = [t for t in facts.handling_terms() if raw.get(t) is True]
        terms += ["own tube"] if raw.get("own_tube") else []
        terms += [raw["timed"]] if "timed" in raw else []
        terms += [f"moment `{raw['moment']}`"] if "moment" in raw else []
        names = ", ".join(raw.get("also", ()))
        tests.append(
            (f"`{key}`", raw["name"], names, raw.get("codes", {}).get("loinc", ""), raw["bench"],
             ways or f"culture: {raw['culture']}", ", ".join(terms), _claims(raw["from"]))
        )  # fmt: skip
    panels = []
    for key, raw in facts.panels_table().items():
        inside = ", ".join(raw.get("tests", ()))
        inside += "; ".join(f"{step['at_min']} min: {', '.join(step['tests'])}" for step in raw.get("series", ()))
        inside += f"; from {raw['anchor']} of {raw.get('of', '')}".removesuffix(" of ") if "anchor" in raw else ""
        panels.append((f"`{key}`", raw["name"], ", ".join(raw.get("also", ())), inside, _claims(raw["from"])))
    elsewhere = [(e.name, ", ".join(e.words), marks_text(e.marks)) for e in facts.elsewhere().values()]
    asked = [(name, ", ".join(keys)) for name, keys in facts.ambiguous().items()]
    said = facts.stopper_words()
    looks = [(", ".join(group), marks_text(said.marks)) for group in said.alike]
    words = [(key, ", ".join(w.words), marks_text(w.marks)) for key, w in facts.name_words().items()]
    known = facts.paraphrases()
    alike = [(", ".join(group), marks_text(known.marks)) for group in known.alike]
    alike.append((f"said nothing by: {', '.join(known.dropped)}", marks_text(known.marks)))
    return [
        "## Tests", "Volumes are typical (least), net of dead volume; a site's own analysers decide.",
        table(("test", "name", "also", "LOINC", "bench", "accepts", "handling", "rests on"), tests),
        "## How tests stand when blood is short",
        "Which are left out last. A site ranks its own in `tests.toml`; one without a rank stands as `useful-today`.",
        table(("rank", "tests", "why", "rests on"), _ranks()),
        "## What a gel does to single tests",
        "Beside these, a test that is chilled takes no gel. The tube's own instructions come before this list.",
        table(("test", "gel kinds", "held in the room", "in words", "rests on"), _gels()),
        "## Panels and series", table(("panel", "name", "also", "holds", "rests on"), panels),
        "## Names that stand for several", table(("name", "may mean"), asked),
        "## Words that are not for blood",
        "A name that the directory does not know and that holds one of these is refused as not a blood test.",
        table(("asks for", "words", "rests on"), elsewhere),
        "## Words that do not say which test",
        "They never resolve a word. They keep a name from being offered as near that shares nothing else.",
        table(("kind", "words", "rests on"), words),
        "## Words taken for one another",
        "A name that nobody spells so is looked for once more with these taken for one, in any order. Two are asked.",
        table(("words", "rests on"), alike),
        "## What people call a stopper",
        "Words for one look, to find a tube by it; the colours themselves are the site's. No rule uses them.",
        table(("words", "rests on"), looks),
        "## How specimens keep", "A test that is not here is not known. 0 means that it must not be kept so.",
        table(("test", "spin within", "room", "cold", "frozen", "added later", "rests on"), _kept()),
    ]  # fmt: skip


def _ranks() -> Iterable[Sequence[object]]:
    groups = dict.fromkeys(facts.ranks().values())
    return [(f"`{g.rank}`", _codes(g.tests), g.why, marks_text(g.marks)) for g in groups]


def _gels() -> Iterable[Sequence[object]]:
    for g in facts.gels().values():
        yield (f"`{g.test}`", g.standing, "" if g.holds_h is None else f"{g.holds_h} h", g.text, marks_text(g.marks))


def _claims(claims: Mapping[str, Any]) -> str:
    found = [
        f"{name}: {facts.Mark(basis=claim[0], source=claim[1]).label()}"
        for name, claim in claims.items()
        if name != "note"
    ]
    return "; ".join([*found, *([claims["note"]] if "note" in claims else [])])


def _kept() -> Iterable[Sequence[object]]:
    for key, s in facts.stability().items():
        times = (s.separate_within_min, s.ambient_min, s.refrigerated_min)
        words = ["" if minutes is None else f"{minutes} min" for minutes in times]
        frozen = "" if s.frozen_d is None else f"{s.frozen_d} d"
        yield (f"`{key}`", *words, frozen, "never" if s.no_add_on else "", marks_text(s.marks))
    for key, s in facts.unknown_stability().items():
        yield (f"`{key}`", "not known", "", "", "", "", marks_text(s.marks))


def after_the_draw() -> list[str]:
    claims = []
    for c in keeping_claims():
        kind = ("limit", c.limit_min) if c.limit_min is not None else ("held to", c.held_min)
        kind = kind if c.fails_min is None else ("failed by", c.fails_min)
        tubes = ", ".join(c.families) or "any"
        claims.append((_codes(c.tests), tubes, c.state, c.storage, f"{kind[0]} {kind[1]} min", mark_text(c.mark)))
    houses = [
        (f"`{key}`", f"{h.at_most_s} s", _one_in(h.tenth_of), mark_text(h.mark)) for key, h in house_rules().items()
    ]
    shifts = [
        (f"`{b.test}`", f"{b.percent} %", f"{b.goal_percent} %", "" if b.is_precise else "no", mark_text(b.mark))
        for b in biases()
    ]
    times = [(f"`{t.test}`", t.after, t.from_min, t.to_min, t.outcome, mark_text(t.mark)) for t in timings().values()]
    limits = [
        (_codes(i.tests), f"{i.index}, {i.unit}", _or_none(i.comment_from), _or_none(i.refuse_over),
         _or_none(i.held_to), i.says, marks_text(i.marks))
        for i in index_limits()
    ]
    looked = [(f"`{c.key}`", c.why, c.wording, marks_text(c.marks)) for c in checks().values()]
    return [
        "## How long specimens keep, by kind of tube and where sources disagree",
        "Beside the table of [how specimens keep](#how-specimens-keep). Minutes from the draw, or from the separation "
        "where the cells are off.",
        table(("tests", "tubes", "state", "storage", "time", "rests on"), claims),
        table(("house rule", "at most", "and at most", "rests on"), houses),
        "## How values drift while a specimen waits",
        table(("tests", "tubes", "where", "change", "rests on"), _drifts()),
        "The mean change in blood that stood 10 h at 21 C:",
        table(("test", "change", "goal", "imprecision in its goal", "rests on"), shifts),
        "## When blood is drawn after a dose, in minutes",
        table(("test", "after", "from", "to", "at another time", "rests on"), times),
        "## From which index on a result is commented or withheld",
        table(("tests", "index", "comment from", "withhold over", "undisturbed to", "says", "rests on"), limits),
        *_hemolysis(),
        "## What is looked at when a specimen arrives", table(("check", "why", "wording", "rests on"), looked),
    ]  # fmt: skip


def _or_none(limit: object) -> str:
    return "" if limit is None else str(limit)


def _hemolysis() -> list[str]:
    """The slopes of hemolysis, source beside source, and what holds for all."""
    known = hemolysis_facts()
    slopes = []
    for s in known.slopes:
        how = f"{s.percent_per_g} %" if s.rise_per_g is None else f"{s.rise_per_g} {facts.analytes()[s.analyte].unit}"
        slopes.append((s.analyte, how, mark_text(s.mark)))
    for key, analyte in facts.analytes().items():
        if analyte.cells_to_serum is not None and analyte.cells_mark is not None:
            rise = next(rise for rise in rises_of(key) if rise.basis == "computed")
            how = f"{float(rise.per_g):.2g} {analyte.unit} at a value of {analyte.typical}"
            why = f"computed: {analyte.cells_to_serum} times as much in cells; {mark_text(analyte.cells_mark)}"
            slopes.append((key, how, why))
    for skin in known.skin_punctures:
        slopes.append((f"{skin.analyte}, by skin puncture", f"{skin.times} times as much", mark_text(skin.mark)))
    return [
        "An analyte with a slope is withheld where the steepest times the index is more than its allowable error (the "
        "first of the table of analytes, at a healthy adult's value). No result is corrected.",
        table(("analyte", "for each g/L of free hemoglobin", "rests on"), slopes),
        f"From {known.every_test.refuse_from} g/L on every result in plasma or serum is withheld: "
        f"{known.every_test.says}; {mark_text(known.every_test.mark)}. How far a result reads too high is said to "
        f"{known.band.to} g/L, where the site's policy says so: {marks_text(known.band.marks)}.",
    ]  # fmt: skip


def _drifts() -> Iterable[Sequence[object]]:
    for d in drifts():
        by = ", ".join(f"{change} mmol/L by {minutes} min" for minutes, change in d.steps)
        if d.percent_per_h is not None:
            by = f"{span_text(d.percent_per_h[0], d.percent_per_h[1], '% an hour')}"
        if d.percent_per_d is not None:
            by = f"{d.percent_per_d} % a day"
        where = f"{d.state}, {d.storage}, to {d.until_min} min"
        yield (_codes(d.tests), ", ".join(d.families) or "any", where, by, mark_text(d.mark))


def _codes(keys: Iterable[str]) -> str:
    return ", ".join(f"`{key}`" for key in keys)


def _one_in(share: int | None) -> str:
    return "" if share is None else f"1/{share} of the limit"
