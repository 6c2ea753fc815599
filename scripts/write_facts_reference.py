"""Writes docs/reference/facts.md: every shipped fact with its mark and every source, from the facts themselves.

Run it after changing a fact: `.venv/bin/python scripts/write_facts_reference.py`. A test compares the page.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any

from cubital import facts
from cubital.facts.keeping import biases, checks, drifts, house_rules, index_limits, keeping_claims, timings
from cubital.facts.labels import label_content, label_stock
from cubital.facts.plausibility import plausibility
from cubital.units import millilitres_text

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "facts.md"


def facts_page() -> str:
    """The whole page."""
    parts = [
        "# Facts",
        f"Generated from the shipped facts, edition {facts.edition()}, by `scripts/write_facts_reference.py`; a test "
        "compares it. The marks are explained in [sources](../explanation/sources.md). Rival figures stand side by "
        "side, the preferred one first.",
        *_tubes(),
        *_additives(),
        *_doses(),
        *_measured(),
        *_after_filling(),
        *_orders_of_draw(),
        *_volumes(),
        *_at_the_chair(),
        *_labels(),
        *_after_the_draw(),
        *_directory(),
        *_defaults(),
        *_sources(),
    ]
    return "\n\n".join(parts) + "\n"


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A Markdown table; a bar inside a cell is escaped."""
    lines = [" | ".join(heads), " | ".join("---" for _ in heads)]
    lines += [" | ".join(str(cell).replace("|", "\\|").replace("\n", " ") or "—" for cell in row) for row in rows]
    return "\n".join(f"| {line} |" for line in lines)


def mark_text(mark: facts.Mark) -> str:
    """A mark in words: its label, where in the source, and its note."""
    words = mark.label()
    if mark.locator is not None:
        words += f", {mark.locator}"
    return words if mark.note is None else f"{words} ({mark.note})"


def marks_text(marks: Iterable[facts.Mark]) -> str:
    """Several marks in one cell."""
    return "; ".join(mark_text(mark) for mark in marks)


def _mark_of(raw: Any) -> str:
    return mark_text(facts.Mark(**raw))


def _span(low: object, high: object, unit: str) -> str:
    return f"{low} {unit}" if low == high else f"{low}-{high} {unit}"


def _ml(volume_ul: int | None) -> str:
    return "" if volume_ul is None else f"{millilitres_text(volume_ul)} mL"


def _tubes() -> list[str]:
    rows = []
    for key, raw in facts.tube_table().items():
        sizes = ", ".join(
            f"{size['draw_ml']}" + (f" (on {size['liquid_additive_ul']} µL)" if "liquid_additive_ul" in size else "")
            for size in raw["sizes"]
        )
        dead = ", ".join(f"{matrix} {volume_ul} µL" for matrix, volume_ul in raw["dead_volume_ul"].items())
        rows.append(
            (f"`{key}`", raw["name"], raw["mark"], raw["additive"], "gel" if raw["gel"] else "", raw.get("use", ""),
             sizes, dead, raw.get("stopper", ""), _mark_of(raw["from"]))
        )  # fmt: skip
    heads = ("kind", "name", "mark", "additive", "gel", "use", "draws, mL", "dead volume", "stopper", "rests on")
    return ["## Tube kinds", "The stopper is for the reader; no rule uses it.", table(heads, rows)]


def _additives() -> list[str]:
    amounts: list[tuple[str, ...]] = []
    harms = []
    for key, additive in facts.additives().items():
        letters = additive.letter_code or ""
        amounts.append((f"`{key}`", additive.name, letters, additive.state, "", mark_text(additive.mark)))
        for c in additive.concentrations:
            amounts.append(("", c.salt, "", "", f"{_amount(c)} of {c.of}", mark_text(c.mark)))
        for harm in additive.harms:
            harms.append((f"`{key}`", ", ".join(harm.to) or "any tube", harm.text, mark_text(harm.mark)))
    return [
        "## Additives",
        table(("additive", "what", "letters", "state", "amount", "rests on"), amounts),
        "### What a trace does in the next tube",
        table(("additive", "to", "harm", "rests on"), harms),
    ]


def _amount(c: facts.Concentration) -> str:
    units = ((c.mg_per_ml, "mg/mL"), (c.mmol_per_l, "mmol/L"), (c.iu_per_ml, "IU/mL"), (c.percent_w_v, "% w/v"))
    amount = next(_span(*span, unit) for span, unit in units if span is not None)
    return amount if c.molar_mass_g_per_mol is None else f"{amount}; {c.molar_mass_g_per_mol} g/mol"


def _doses() -> list[str]:
    salts = [
        (f"`{key}`", salt.name, ", ".join(f"{n} {ion}" for ion, n in salt.releases.items()),
         "; ".join(f"{way} {w.molar_mass_g_per_mol} g/mol" for way, w in salt.weighed_as.items()), mark_text(salt.mark))
        for key, salt in facts.salts().items()
    ]  # fmt: skip
    doses = [
        (f"`{key}`", "; ".join([*map(_dosed, dose.amounts), *(f"{p.species} {_levels(p.mmol_per_l)} mmol/L of plasma"
         for p in dose.plasma)]), "" if dose.blood_parts is None else f"{dose.blood_parts}:1",
         ", ".join(dose.not_known), marks_text(dose.marks))
        for key, dose in facts.contaminants().dose.items()
    ]  # fmt: skip
    fluids = [
        (f"`{key}`", f.name, ", ".join(f"{ion} {mmol}" for ion, mmol in f.mmol_per_l.items()), mark_text(f.mark))
        for key, f in facts.contaminants().fluid.items()
    ]
    return [
        "## Salts, and what a mole of each gives", table(("salt", "name", "gives", "weighed as", "rests on"), salts),
        "## Doses that the chemistry takes", "Typical (low-high).",
        table(("additive", "amount", "blood to solution", "not known", "rests on"), doses),
        "## Fluids, mmol/L", table(("fluid", "name", "holds", "rests on"), fluids),
    ]  # fmt: skip


def _levels(span: Any) -> str:
    return f"{span.typical}" if span.low == span.high else f"{span.typical} ({span.low}-{span.high})"


def _dosed(amount: Any) -> str:
    if amount.mg_per_ml is not None:
        return f"{amount.substance} {_levels(amount.mg_per_ml)} mg/mL as {amount.weighed_as}, of {amount.of}"
    return f"{amount.substance} {_levels(amount.mmol_per_l)} mmol/L of {amount.of}"


def _measured() -> list[str]:
    known = facts.interference()
    rows, errors = [], []
    for key, a in facts.analytes().items():
        cells = "" if a.cells_mark is None else f"{a.cells_to_serum} times: {mark_text(a.cells_mark)}"
        rows.append((f"`{key}`", a.name, a.symbol, f"{a.typical} {a.unit}", mark_text(a.typical_mark), cells))
        for error in a.errors:
            said = [] if error.amount is None else [f"{error.amount} {a.unit}"]
            said += [] if error.percent is None else [f"{error.percent} %"]
            errors.append((f"`{key}`", error.scheme, " or ".join(said), mark_text(error.mark)))
    answers = [
        (r.analyte, r.principle, r.answer,
         "" if r.ec50_mmol_per_l is None else f"half at {_levels(r.ec50_mmol_per_l)} mmol/L, slope {r.slope}",
         marks_text(r.marks))
        for r in known.edta
    ]  # fmt: skip
    c, h = known.calcium, known.hemolysis
    constants = [
        ("free share of calcium", c.free_share, mark_text(c.free_share_mark)),
        ("calcium times oxalate, mmol²/L²", c.oxalate_solubility_mmol2_per_l2, mark_text(c.oxalate_mark)),
        ("calcium on citrate, L/mmol", c.citrate_binding_l_per_mmol, mark_text(c.citrate_mark)),
        ("potassium per g of hemoglobin, mmol", _levels(h.potassium_mmol_per_g), mark_text(h.potassium_mark)),
        ("hemoglobin of packed cells, g/L", h.cell_hemoglobin_g_per_l, mark_text(h.cell_mark)),
    ]
    claims = [
        (", ".join(claim.from_), ", ".join(claim.to), claim.what, claim.way, claim.grade, claim.text,
         mark_text(claim.mark))
        for claim in known.claim
    ]  # fmt: skip
    ways = [(f"`{w.key}`", w.name, w.text, marks_text(w.marks)) for w in known.way]
    return [
        "## Analytes that a carry-over may move",
        table(("analyte", "name", "symbol", "typical", "rests on", "cells hold more than serum"), rows),
        "### Allowable errors", "Of an analyte the first is taken first; of an amount and a percentage the greater.",
        table(("analyte", "scheme", "may miss by", "rests on"), errors),
        "### How an assay answers EDTA", table(("analyte", "principle", "answer", "curve", "rests on"), answers),
        "### Constants", table(("what", "value", "rests on"), constants),
        "### What is known in kind only", table(("from", "to", "what", "way", "grade", "words", "rests on"), claims),
        "### How blood of one tube could reach another", table(("way", "name", "what was found", "rests on"), ways),
    ]  # fmt: skip


def _after_filling() -> list[str]:
    mixed, clotted = [], []
    for key in facts.additives():
        found = facts.inversions(key, False)
        if found is not None:
            rivals = "; ".join(f"{_span(r.low, r.high, 'times')}: {mark_text(r.mark)}" for r in found.rivals)
            mixed.append((f"`{key}`", found.chosen, found.why, rivals))
        for gel, warm in product((False, True), repeat=2):
            clotting = facts.clotting(key, gel, warm)
            if clotting is not None:
                minutes = _span(clotting.min_s // 60, clotting.max_s // 60, "min")
                warmth = "37 °C" if warm else "20-25 °C"
                clotted.append((f"`{key}`", "gel" if gel else "", warmth, minutes, marks_text(clotting.marks)))
    spun = [
        (s.purpose, ", ".join(s.families), "" if s.gel is None else "gel" if s.gel else "no gel",
         _span(s.rcf_low_g, s.rcf_high_g, "g"),
         _span(s.minutes, s.minutes_high or s.minutes, "min") + (", twice" if s.spins == 2 else ""),
         _span(s.temp_low_c, s.temp_high_c, "°C"), marks_text(s.marks))
        for s in facts.spins()
    ]  # fmt: skip
    filled = [(f.key, f"{f.fill_min_percent} %", f.for_whom, marks_text(f.marks)) for f in facts.fills()]
    return [
        "## Inversions", table(("additive", "printed", "why", "rivals"), mixed),
        "## Clotting before the spin", table(("additive", "gel", "at", "time", "rests on"), clotted),
        "## Spinning", table(("for", "families", "gel", "force", "time", "temperature", "rests on"), spun),
        "## Least fill of a citrate tube", "The first is the one a plan takes.",
        table(("rule", "least fill", "for", "rests on"), filled),
    ]  # fmt: skip


def _orders_of_draw() -> list[str]:
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


def _volumes() -> list[str]:
    known = facts.blood_volumes()
    bands = [
        (band.name, f"{band.guard_ul_per_kg / 1000:g}",
         "; ".join(
             f"{_span(f'{r.low_ul_per_kg / 1000:g}', f'{r.high_ul_per_kg / 1000:g}', 'mL/kg')}: {mark_text(r.mark)}"
             for r in band.rivals
         ))
        for band in known.bands
    ]  # fmt: skip
    formulas: list[tuple[object, ...]] = [
        (f"Nadler, {sex}", f"{f.height_cubed_l_per_m3} h³ + {f.weight_l_per_kg} w + {f.constant_l} L, from "
         f"{f.weight_min_kg} kg", mark_text(f.mark))
        for sex, f in known.nadler.items()
    ]  # fmt: skip
    ratio = f"{known.lemmens.reference_ml_per_kg} / √(BMI / {known.lemmens.reference_bmi}) mL/kg, from a BMI of 30"
    formulas.append(("Lemmens", ratio, mark_text(known.lemmens.mark)))
    limits = [
        (f"`{key}`", limit.name, limit.for_whom, "; ".join(_cap(cap) for cap in limit.caps), marks_text(limit.marks))
        for key, limit in facts.sampling_limits().items()
    ]
    hematocrits = [(h.name, h.fraction, marks_text(h.marks)) for h in facts.hematocrits()]
    return [
        "## Blood volume", "A plan takes the lowest that any source gives.",
        table(("age", "taken, mL/kg", "sources"), bands), table(("formula", "volume", "rests on"), formulas),
        "## Sampling limits", table(("policy", "name", "for", "caps", "rests on"), limits),
        "## Planning hematocrit", table(("age and sex", "share", "rests on"), hematocrits),
        "## Blood drawn for tests",
        table(("finding", "words", "rests on"), [(e.key, e.text, mark_text(e.mark)) for e in facts.blood_loss()]),
        *_cultures(),
    ]  # fmt: skip


def _cap(cap: facts.Cap) -> str:
    words = []
    words += [f"{cap.percent_of_tbv} % of the blood volume"] if cap.percent_of_tbv is not None else []
    words += [f"{cap.ul_per_kg / 1000:g} mL/kg"] if cap.ul_per_kg is not None else []
    words += [_ml(cap.cap_ul)] if cap.cap_ul is not None else []
    words += [
        ", ".join(
            f"{'over that' if row.weight_max_g is None else f'to {row.weight_max_g / 1000:g} kg'} {_ml(row.cap_ul)}"
            for row in cap.by_weight
        )
    ] if cap.by_weight else []  # fmt: skip
    return f"in {cap.period_h} h: {' and '.join(words)}"


def _cultures() -> list[str]:
    known = facts.cultures()
    adult = known.adult
    rows = [
        ("adult", "", f"{_span(adult.sets_low, adult.sets_high, 'sets')} of "
         f"{_span(adult.per_set_low_ul // 1000, adult.per_set_high_ul // 1000, 'mL')}", marks_text(adult.marks))
    ]  # fmt: skip
    for source in known.by_weight:
        for row in source.rows:
            weight = "over that" if row.weight_max_g is None else f"to {row.weight_max_g / 1000:g} kg"
            sets = _span(row.sets_low, row.sets_high, "sets")
            total = _span(f"{row.total_low_ul / 1000:g}", f"{row.total_high_ul / 1000:g}", "mL in all")
            rows.append((source.policy, weight, f"{sets}, {total}", marks_text(source.marks)))
    caps = known.caps
    said = f"{_ml(caps.bottle_max_ul)} a bottle; {caps.percent_of_tbv} % of the blood volume"
    rows.append(("caps", "", said, marks_text(caps.marks)))
    rules = [(rule.key, rule.text, marks_text(rule.marks)) for rule in known.rules]
    return [
        "## Blood cultures", table(("source", "weight", "volume", "rests on"), rows),
        table(("rule", "words", "rests on"), rules),
    ]  # fmt: skip


def _labels() -> list[str]:
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


def _at_the_chair() -> list[str]:
    reached, dropped = [], []
    for key, access in facts.accesses().items():
        known = "not known; asked" if access.dead_volume_ul is None else f"{access.dead_volume_ul} µL"
        reached.append((f"`{key}`", access.name, known, "; ".join(access.cautions), marks_text(access.marks)))
        for rival in access.dead_volume_rivals:
            reached.append(("", "dead volume", _span(rival.low_ul, rival.high_ul, "µL"), "", mark_text(rival.mark)))
        for d in access.discards:
            multiple = "" if d.dead_space_multiple is None else f"{d.dead_space_multiple} × dead space"
            need = "yes" if d.needed else "no"
            dropped.append((f"`{key}`", d.when, need, d.fill or multiple, mark_text(d.mark)))
    terms = [
        (f"`{t.key}`", t.instruction, t.why, ", ".join(t.opposes), marks_text(t.marks))
        for t in facts.handling_terms().values()
    ]
    cautions = [(f"`{c.key}`", c.text, c.when, marks_text(c.marks)) for c in facts.safety().values()]
    flags = [(f"`{f.key}`", ", ".join(f.also), f.level, f.text, marks_text(f.marks)) for f in facts.flags().values()]
    return [
        "## Accesses", table(("access", "name", "dead volume", "cautions", "rests on"), reached),
        "### Discards", table(("access", "when", "needed", "what", "rests on"), dropped),
        "## Handling", table(("term", "do", "why", "shares no tube with", "rests on"), terms),
        "## Cautions", table(("caution", "words", "when", "rests on"), cautions),
        "## Patient flags", table(("flag", "also", "level", "words", "rests on"), flags),
    ]  # fmt: skip


def _claims(claims: Mapping[str, Any]) -> str:
    found = [
        f"{name}: {facts.Mark(basis=claim[0], source=claim[1]).label()}"
        for name, claim in claims.items()
        if name != "note"
    ]
    return "; ".join([*found, *([claims["note"]] if "note" in claims else [])])


def _directory() -> list[str]:
    tests = []
    for key, raw in facts.tests_table().items():
        ways = "; ".join(
            f"{a['matrix']} {a['volume_ul']} ({a['minimum_ul']}) µL: {', '.join(a['tubes'])}"
            for a in raw.get("accepts", ())
        )
        terms = [t for t in facts.handling_terms() if raw.get(t) is True]
        terms += ["own tube"] if raw.get("own_tube") else []
        terms += [raw["timed"]] if "timed" in raw else []
        names = ", ".join(raw.get("also", ()))
        tests.append(
            (f"`{key}`", raw["name"], names, raw.get("codes", {}).get("loinc", ""), raw["bench"],
             ways or f"culture: {raw['culture']}", ", ".join(terms), _claims(raw["from"]))
        )  # fmt: skip
    panels = []
    for key, raw in facts.panels_table().items():
        inside = ", ".join(raw.get("tests", ()))
        inside += "; ".join(f"{step['at_min']} min: {', '.join(step['tests'])}" for step in raw.get("series", ()))
        panels.append((f"`{key}`", raw["name"], ", ".join(raw.get("also", ())), inside, _claims(raw["from"])))
    elsewhere = [(e.name, ", ".join(e.words), marks_text(e.marks)) for e in facts.elsewhere().values()]
    asked = [(name, ", ".join(keys)) for name, keys in facts.ambiguous().items()]
    return [
        "## Tests", "Volumes are typical (least), net of dead volume; a site's own analysers decide.",
        table(("test", "name", "also", "LOINC", "bench", "accepts", "handling", "rests on"), tests),
        "## Panels and series", table(("panel", "name", "also", "holds", "rests on"), panels),
        "## Names that stand for several", table(("name", "may mean"), asked),
        "## Words that are not for blood",
        "A name that the directory does not know and that holds one of these is refused as not a blood test.",
        table(("asks for", "words", "rests on"), elsewhere),
        "## How specimens keep", "A test that is not here is not known. 0 means that it must not be kept so.",
        table(("test", "spin within", "room", "cold", "frozen", "added later", "rests on"), _kept()),
    ]  # fmt: skip


def _kept() -> Iterable[Sequence[object]]:
    for key, s in facts.stability().items():
        times = (s.separate_within_min, s.ambient_min, s.refrigerated_min)
        words = ["" if minutes is None else f"{minutes} min" for minutes in times]
        frozen = "" if s.frozen_d is None else f"{s.frozen_d} d"
        yield (f"`{key}`", *words, frozen, "never" if s.no_add_on else "", marks_text(s.marks))


def _after_the_draw() -> list[str]:
    claims = []
    for c in keeping_claims():
        kind = ("limit", c.limit_min) if c.limit_min is not None else ("held to", c.held_min)
        kind = kind if c.fails_min is None else ("failed by", c.fails_min)
        tubes = ", ".join(c.families) or "any"
        claims.append((_codes(c.tests), tubes, c.state, c.storage, f"{kind[0]} {kind[1]} min", mark_text(c.mark)))
    houses = [
        (f"`{key}`", f"{h.at_most_s} s", _one_in(h.tenth_of), mark_text(h.mark)) for key, h in house_rules().items()
    ]
    moves = []
    for d in drifts():
        by = ", ".join(f"{change} mmol/L by {minutes} min" for minutes, change in d.steps)
        if d.percent_per_h is not None:
            by = f"{_span(d.percent_per_h[0], d.percent_per_h[1], '% an hour')}"
        if d.percent_per_d is not None:
            by = f"{d.percent_per_d} % a day"
        where = f"{d.state}, {d.storage}, to {d.until_min} min"
        moves.append((_codes(d.tests), ", ".join(d.families) or "any", where, by, mark_text(d.mark)))
    shifts = [
        (f"`{b.test}`", f"{b.percent} %", f"{b.goal_percent} %", "" if b.is_precise else "no", mark_text(b.mark))
        for b in biases()
    ]
    times = [(f"`{t.test}`", t.after, t.from_min, t.to_min, t.outcome, mark_text(t.mark)) for t in timings().values()]
    limits = [
        (_codes(i.tests), f"{i.index}, {i.unit}", i.comment_from, i.refuse_over, i.says, marks_text(i.marks))
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
        table(("tests", "tubes", "where", "change", "rests on"), moves),
        "The mean change in blood that stood 10 h at 21 C:",
        table(("test", "change", "goal", "imprecision in its goal", "rests on"), shifts),
        "## When blood is drawn after a dose, in minutes",
        table(("test", "after", "from", "to", "at another time", "rests on"), times),
        "## From which index on a result is commented or withheld",
        table(("tests", "index", "comment from", "withhold over", "says", "rests on"), limits),
        "## What is looked at when a specimen arrives", table(("check", "why", "wording", "rests on"), looked),
    ]  # fmt: skip


def _codes(keys: Iterable[str]) -> str:
    return ", ".join(f"`{key}`" for key in keys)


def _one_in(share: int | None) -> str:
    return "" if share is None else f"1/{share} of the limit"


def _defaults() -> list[str]:
    planning = facts.site_table()["planning"]
    defaults = [(f"`{key}`", planning[key], mark_text(mark)) for key, mark in facts.site_marks().items()]
    bodies = []
    for name, possible in (("weight, kg", plausibility().weight_kg), ("height, cm", plausibility().height_cm)):
        bodies.append((name, "any age", _span(possible.least, possible.most, ""), mark_text(possible.mark)))
        for span in possible.spans:
            end = "on" if span.below_h is None else f"to {span.below_h // 24} d"
            bodies.append(("", f"{span.from_h // 24} d {end}", _span(span.least, span.most, ""), ""))
    return [
        "## What a site that says nothing gets", table(("key", "default", "rests on"), defaults),
        "## What a body can measure", "Outside of this an order is refused.",
        table(("measure", "age", "from-to", "rests on"), bodies),
    ]  # fmt: skip


def _sources() -> list[str]:
    rows = [(f"`{key}`", source.citation()) for key, source in facts.sources().items()]
    return ["## Sources", table(("key", "source, and how it was seen"), rows)]


if __name__ == "__main__":
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(facts_page(), encoding="utf-8")
    print(f"wrote {PAGE.name}")
