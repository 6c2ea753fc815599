"""How much blood a culture of this patient takes: sets and volume by weight."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from cubital import facts
from cubital.errors import PlanError
from cubital.model import Patient, Reason
from cubital.planning.patient import is_child
from cubital.units import millilitres_text


class CultureNeed(NamedTuple):
    """The sets and the blood of one culture, the least that is published for the weight, and why.

    Patients alike share it: it names a band of weights, never a weight. `is_past_chlorhexidine_age` is whether the
    patient is known to be past the age to which the skin asks care.
    """

    sets: int
    total_ul: int
    least_ul: int
    reason: Reason
    is_past_chlorhexidine_age: bool


def culture_need(patient: Patient) -> CultureNeed:
    """What weight and age ask of a culture; raises `PlanError` for a child whose weight is not known."""
    is_past = is_past_chlorhexidine_age(patient)
    if patient.weight_g is not None:
        rows = facts.cultures().table("idsa-asm-2018").rows
        number = next(
            n for n, row in enumerate(rows) if row.weight_max_g is None or patient.weight_g <= row.weight_max_g
        )
        return _by_weight(number, facts.cultures().least_ul(patient.weight_g), is_past)
    if is_child(patient):
        raise PlanError(
            "a child's blood culture is planned by weight, which is not known; give weight_kg",
            where="patient.weight_kg",
        )
    return _of_an_adult(is_past)


def is_past_chlorhexidine_age(patient: Patient) -> bool:
    """Whether the patient is known to be older than the age to which the skin of a culture is another matter."""
    months = facts.safety()["skin-culture"].warn_to_months
    return months is not None and patient.age_h is not None and 12 * patient.age_h >= months * 8766


@lru_cache
def _of_an_adult(is_past: bool) -> CultureNeed:
    adult = facts.cultures().adult
    text = (
        f"weight not known: adult blood culture, {adult.sets_low} sets of "
        f"{millilitres_text(adult.per_set_low_ul)} mL, the low end"
    )
    total_ul, least_ul = adult.sets_low * adult.per_set_low_ul, facts.cultures().least_ul(None)
    return CultureNeed(adult.sets_low, total_ul, least_ul, _reason(text, adult.marks[0]), is_past)


@lru_cache
def _by_weight(number: int, least_ul: int, is_past: bool) -> CultureNeed:
    table = facts.cultures().table("idsa-asm-2018")
    row = table.rows[number]
    lighter = None if number == 0 else table.rows[number - 1].weight_max_g
    over = "" if lighter is None else f"over {lighter / 1000:g} kg"
    up_to = "" if row.weight_max_g is None else f"up to {row.weight_max_g / 1000:g} kg"
    text = (
        f"blood culture at a weight {' and '.join(word for word in (over, up_to) if word)}: "
        f"{millilitres_text(row.total_low_ul)} mL in all, "
        f"{row.sets_low} set{'s' if row.sets_low > 1 else ''}, the low end"
    )
    why = _reason(text, table.marks[0])
    return CultureNeed(row.sets_low, row.total_low_ul, min(least_ul, row.total_low_ul), why, is_past)


def _reason(text: str, mark: facts.Mark) -> Reason:
    return Reason(about="plan", text=text, basis=mark.basis, sources=(mark.source,))
