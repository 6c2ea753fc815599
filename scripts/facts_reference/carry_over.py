"""What the chemistry of a carry-over takes: salts, doses, analytes, how assays answer."""

from __future__ import annotations

from typing import Any

from cubital import facts
from facts_reference.words import mark_text, marks_text, table


def doses() -> list[str]:
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


def measured() -> list[str]:
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
