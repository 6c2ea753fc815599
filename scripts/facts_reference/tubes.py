"""What is in a tube and what is done with one that is filled: kinds, additives, inversions, clotting, spinning."""

from __future__ import annotations

from itertools import product

from cubital import facts
from facts_reference.words import mark_of, mark_text, marks_text, span_text, table


def tubes() -> list[str]:
    rows = []
    for key, raw in facts.tube_table().items():
        sizes = ", ".join(
            f"{size['draw_ml']}" + (f" (on {size['liquid_additive_ul']} µL)" if "liquid_additive_ul" in size else "")
            for size in raw["sizes"]
        )
        dead = ", ".join(f"{matrix} {volume_ul} µL" for matrix, volume_ul in raw["dead_volume_ul"].items())
        rows.append(
            (f"`{key}`", raw["name"], raw["mark"], raw["additive"], "gel" if raw["gel"] else "", raw.get("use", ""),
             sizes, dead, raw.get("stopper", ""), mark_of(raw["from"]))
        )  # fmt: skip
    heads = ("kind", "name", "mark", "additive", "gel", "use", "draws, mL", "dead volume", "stopper", "rests on")
    return ["## Tube kinds", "The stopper is for the reader; no rule uses it.", table(heads, rows)]


def additives() -> list[str]:
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
    amount = next(span_text(*span, unit) for span, unit in units if span is not None)
    return amount if c.molar_mass_g_per_mol is None else f"{amount}; {c.molar_mass_g_per_mol} g/mol"


def after_filling() -> list[str]:
    mixed, clotted = [], []
    for key in facts.additives():
        found = facts.inversions(key, False)
        if found is not None:
            rivals = "; ".join(f"{span_text(r.low, r.high, 'times')}: {mark_text(r.mark)}" for r in found.rivals)
            mixed.append((f"`{key}`", found.chosen, found.why, rivals))
        for gel, warm in product((False, True), repeat=2):
            clotting = facts.clotting(key, gel, warm)
            if clotting is not None:
                minutes = span_text(clotting.min_s // 60, clotting.max_s // 60, "min")
                warmth = "37 °C" if warm else "20-25 °C"
                clotted.append((f"`{key}`", "gel" if gel else "", warmth, minutes, marks_text(clotting.marks)))
    spun = [
        (s.purpose, ", ".join(s.families), "" if s.gel is None else "gel" if s.gel else "no gel",
         span_text(s.rcf_low_g, s.rcf_high_g, "g"),
         span_text(s.minutes, s.minutes_high or s.minutes, "min") + (", twice" if s.spins == 2 else ""),
         span_text(s.temp_low_c, s.temp_high_c, "°C"), marks_text(s.marks))
        for s in facts.spins()
    ]  # fmt: skip
    filled = [(f.key, f"{f.fill_min_percent} %", f.for_whom, marks_text(f.marks)) for f in facts.fills()]
    return [
        "## Inversions", table(("additive", "printed", "why", "rivals"), mixed),
        "## Clotting before the spin", table(("additive", "gel", "at", "time", "rests on"), clotted),
        "## Spinning", table(("for", "families", "gel", "force", "time", "temperature", "rests on"), spun),
        f"A second spin: {facts.respin().text}. Why: {facts.respin().why}. {marks_text(facts.respin().marks)}.",
        "## Least fill of a citrate tube", "The first is the one a plan takes.",
        table(("rule", "least fill", "for", "rests on"), filled),
    ]  # fmt: skip
