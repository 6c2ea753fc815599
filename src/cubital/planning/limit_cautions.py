"""What is to be watched of one patient's own blood: never kept with a draft, which patients alike share."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from cubital import facts
from cubital.model import Caution, Patient
from cubital.planning.caps import drawn_in_a_day_ul
from cubital.planning.cautions import caution_of
from cubital.planning.patient import Limit, said_otherwise
from cubital.units import millilitres_text


def from_limit(limit: Limit, all_blood_ul: int, patient: Patient, *, culture_ul: int = 0) -> list[Caution]:
    """How the blood stands against the patient's limit, and the cultures against their own cap."""
    otherwise = said_otherwise(patient, limit.shortest_h) if patient.recorded else None
    found = [] if otherwise is None else [caution_of("warn", otherwise)]
    if limit.limit_ul is None:
        found.append(caution_of("warn", f"no blood limit was checked: {limit.missing}"))
    else:
        if limit.missing is not None:
            found.append(caution_of("warn", f"the blood limit was checked in part: {limit.missing}"))
        found += [caution_of("note", text) for text in limit.unchecked]
        total_ul = all_blood_ul + patient.drawn_ul
        if total_ul == limit.limit_ul:
            found.append(caution_of("warn", "this draw reaches the blood limit: nothing more today"))
    if culture_ul and limit.blood_volume_ul is not None:
        caps = facts.cultures().caps
        cap_ul = int(limit.blood_volume_ul * Fraction(caps.percent_of_tbv) / 100)
        if culture_ul > cap_ul:
            text = (
                f"the cultures take {millilitres_text(culture_ul)} mL by the table of weights; CLSI M47 caps them at "
                f"{caps.percent_of_tbv} % of the blood volume, {millilitres_text(cap_ul)} mL: ask which rule holds"
            )
            found.append(caution_of("warn", text, next(m for m in caps.marks if m.source == "clsi-m47")))
    if limit.blood_volume_ul:
        share_of_all = 100 * (all_blood_ul + drawn_in_a_day_ul(patient, limit.shortest_h))
        most = _large_share()
        if most is not None and share_of_all * most.denominator > most.numerator * limit.blood_volume_ul:
            large = facts.safety()["large-draw"]
            share = share_of_all / limit.blood_volume_ul
            level = "note" if _is_from_years(patient, large.note_from_years) else "warn"
            found.append(caution_of(level, f"{large.text} This draw: {share:.2f} %.", large.marks[0]))
    return found


def _is_from_years(patient: Patient, years: int | None) -> bool:
    """Whether the patient is known to be of this age at least; a year of UCUM has 8766 hours."""
    return years is not None and patient.age_h is not None and patient.age_h >= years * 8766


@cache
def _large_share() -> Fraction | None:
    """The share of the blood volume, in percent, above which one draw is large."""
    percent = facts.safety()["large-draw"].limit_percent
    return None if percent is None else Fraction(percent)
