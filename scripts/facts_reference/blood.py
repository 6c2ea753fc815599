"""How much blood there is and may be drawn: volumes, limits, hematocrit, cultures."""

from __future__ import annotations

from cubital import facts
from facts_reference.words import mark_text, marks_text, ml_text, span_text, table


def volumes() -> list[str]:
    known = facts.blood_volumes()
    bands = [
        (band.name, f"{band.guard_ul_per_kg / 1000:g}",
         "; ".join(
             f"{span_text(f'{r.low_ul_per_kg / 1000:g}', f'{r.high_ul_per_kg / 1000:g}', 'mL/kg')}: {mark_text(r.mark)}"
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
    infant = known.linderkamp
    said = (
        f"log10 mL = {infant.weight_log_factor} log10 kg + {infant.length_per_cm} cm + {infant.constant}, "
        f"under {infant.age_max_d} d of age"
    )
    formulas.append(("Linderkamp", said, mark_text(infant.mark)))
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
        table(
            ("loss from one hematocrit to another", "formula", "rests on"),
            [(f.key, f.text, marks_text(f.marks)) for f in facts.loss_formulas()],
        ),
        *cultures(),
    ]  # fmt: skip


def _cap(cap: facts.Cap) -> str:
    words = []
    words += [f"{cap.percent_of_tbv} % of the blood volume"] if cap.percent_of_tbv is not None else []
    words += [f"{cap.ul_per_kg / 1000:g} mL/kg"] if cap.ul_per_kg is not None else []
    words += [ml_text(cap.cap_ul)] if cap.cap_ul is not None else []
    words += [
        ", ".join(
            f"{'over that' if row.weight_max_g is None else f'to {row.weight_max_g / 1000:g} kg'} {ml_text(row.cap_ul)}"
            for row in cap.by_weight
        )
    ] if cap.by_weight else []  # fmt: skip
    return f"in {cap.period_h} h: {' and '.join(words)}"


def cultures() -> list[str]:
    known = facts.cultures()
    adult = known.adult
    rows = [
        ("adult", "", f"{span_text(adult.sets_low, adult.sets_high, 'sets')} of "
         f"{span_text(adult.per_set_low_ul // 1000, adult.per_set_high_ul // 1000, 'mL')}", marks_text(adult.marks))
    ]  # fmt: skip
    for source in known.by_weight:
        for row in source.rows:
            weight = "over that" if row.weight_max_g is None else f"to {row.weight_max_g / 1000:g} kg"
            sets = span_text(row.sets_low, row.sets_high, "sets")
            total = span_text(f"{row.total_low_ul / 1000:g}", f"{row.total_high_ul / 1000:g}", "mL in all")
            rows.append((source.policy, weight, f"{sets}, {total}", marks_text(source.marks)))
    caps = known.caps
    said = f"{ml_text(caps.bottle_max_ul)} a bottle; {caps.percent_of_tbv} % of the blood volume"
    rows.append(("caps", "", said, marks_text(caps.marks)))
    steps = [
        ("over that" if s.weight_max_g is None else f"to {s.weight_max_g} g", ml_text(s.useful_ul), ml_text(s.least_ul),
         marks_text(s.marks))
        for s in known.steps.rows
    ]  # fmt: skip
    rules = [(rule.key, rule.text, marks_text(rule.marks)) for rule in known.rules]
    return [
        "## Blood cultures", table(("source", "weight", "volume", "rests on"), rows),
        "How far one set steps down where blood is short:",
        table(("weight", "should still hold", "at the least", "rests on"), steps),
        table(("rule", "words", "rests on"), rules),
    ]  # fmt: skip
