"""What a patient's facts mean for a draw: planning hematocrit, blood volume and sampling limit."""

from __future__ import annotations

from bisect import bisect_right
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from cubital import facts
from cubital.chemistry.blood_volume import body_mass_index, by_weight_and_length_ul, lemmens_ul, nadler_ul
from cubital.model import Patient, Reason, Site
from cubital.units import age_text, millilitres_text

PRETERM = "preterm"
ADULT_D = 6939
PRETERM_D = 30
OBESE_BMI = 30
NEWBORN_D = 30


class Limit(NamedTuple):
    """The most blood this draw and what came before it in the period may take, and why.

    `limit_ul` and `blood_volume_ul` are None where they cannot be worked out. `missing` says why not, or
    which caps of the policy were not checked beside the limit that was.
    """

    limit_ul: int | None
    blood_volume_ul: int | None
    reasons: tuple[Reason, ...]
    missing: str | None


def age_class(age_h: int | None) -> int:
    """Which class this age is in: within one, no hematocrit and no blood volume depends on the age.

    -1 is an age not known.

    >>> age_class(24 * 365 * 30) == age_class(24 * 365 * 80), age_class(24 * 10) == age_class(24 * 365 * 80)
    (True, False)
    """
    return -1 if age_h is None else bisect_right(_turns_h(), age_h)


@cache
def _turns_h() -> tuple[int, ...]:
    """Every age in hours at which some fact about blood begins or ends."""
    bands = [(band.age_min_d, band.age_max_d) for band in facts.hematocrits()]
    bands += [(band.age_min_d, band.age_max_d) for band in facts.blood_volumes().bands]
    days = {day for band in bands for day in band if day is not None}
    return tuple(sorted(24 * day for day in days | {ADULT_D, PRETERM_D, facts.blood_volumes().linderkamp.age_max_d}))


def planning_hematocrit(patient: Patient, site: Site) -> Fraction:
    """The patient's own hematocrit, else the site's, else the shipped upper end for age and sex.

    Of a patient whose age is unknown the grown-up bands are taken, and of unknown sex the higher.
    """
    known = patient.hematocrit if patient.hematocrit is not None else site.planning.hematocrit
    if known is not None:
        return known
    fitting = [band for band in facts.hematocrits() if _fits(band.age_min_d, band.age_max_d, patient.age_h)]
    own = [band for band in fitting if band.sex is not None and band.sex == patient.sex]
    return Fraction((own or [band for band in fitting if band.sex is None])[0].fraction)


def _fits(age_min_d: int, age_max_d: int | None, age_h: int | None) -> bool:
    if age_h is None:
        return age_max_d is None
    return 24 * age_min_d <= age_h and (age_max_d is None or age_h < 24 * age_max_d)


def is_newborn(patient: Patient) -> bool:
    """Whether the patient is known to be under 30 days old."""
    return patient.age_h is not None and patient.age_h < 24 * NEWBORN_D


def is_child(patient: Patient) -> bool:
    """Whether the patient is known not to be grown."""
    return patient.age_h is not None and patient.age_h < 24 * ADULT_D


def sampling_limit(patient: Patient, site: Site) -> Limit:
    """The site's blood limit for this patient, by the lowest blood volume that any source gives.

    Volumes are rounded down. The limit holds for all caps of the policy, each over its own period.
    """
    key = site.planning.blood_limit
    if key is None:
        return Limit(None, blood_volume_ul(patient), (), "the site has chosen no blood limit")
    policy = facts.sampling_limits()[key]
    volume_ul = blood_volume_ul(patient, own=policy.own_blood_volume)
    amounts: list[int] = []
    missing = None
    for cap in policy.caps:
        if cap.cap_ul is not None:
            amounts.append(cap.cap_ul)
        if cap.ul_per_kg is None and cap.percent_of_tbv is None and not cap.by_weight:
            continue
        if patient.weight_g is None or volume_ul is None:
            missing = "the weight is not known"
            continue
        if cap.ul_per_kg is not None:
            amounts.append(cap.ul_per_kg * patient.weight_g // 1000)
        if cap.percent_of_tbv is not None:
            percent, per = _ratio(cap.percent_of_tbv)
            amounts.append(percent * volume_ul // (100 * per))
        for row in cap.by_weight:
            if row.weight_max_g is None or patient.weight_g <= row.weight_max_g:
                amounts.append(row.cap_ul)
                break
    if policy.weight_min_g is not None and (patient.weight_g or 0) < policy.weight_min_g:
        missing = f"{policy.name} is for {policy.for_whom}; this weight is below that or not known"
        return Limit(None, volume_ul, (), missing)
    if not amounts:
        return Limit(None, volume_ul, (), missing)
    limit_ul = min(amounts)
    text = f"Limit {millilitres_text(limit_ul)} mL by {policy.name}"
    if volume_ul is not None:
        text += f"; blood volume taken as {millilitres_text(volume_ul)} mL, the lowest that any source gives"
    mark = policy.marks[0]
    return Limit(
        limit_ul, volume_ul, (Reason(about="plan", text=text, basis=mark.basis, sources=(mark.source,)),), missing
    )


@cache
def _ratio(number: Decimal) -> tuple[int, int]:
    """This number as numerator and denominator, for exact whole-number arithmetic."""
    return number.as_integer_ratio()


def blood_volume_ul(patient: Patient, *, own: tuple[facts.WeightVolume, ...] = ()) -> int | None:
    """The lowest blood volume that any source gives this patient, in whole microlitres; None without a weight.

    Bands in mL/kg by age; under two years also Linderkamp (length known); for grown-ups Nadler (height and sex
    known) and, from a body mass index of 30, Lemmens. A patient of unknown age is given the lowest band of all.
    """
    if patient.weight_g is None:
        return None
    known = facts.blood_volumes()
    wants_preterm = PRETERM in patient.flags and (patient.age_h is None or patient.age_h < 24 * PRETERM_D)
    per_kg = [
        band.guard_ul_per_kg
        for band in known.bands
        if band.preterm == wants_preterm
        and (patient.age_h is None or _fits(band.age_min_d, band.age_max_d, patient.age_h))
    ]
    for row in own:
        if row.weight_max_g is None or patient.weight_g <= row.weight_max_g:
            per_kg.append(row.ul_per_kg)
            break
    volumes = [ul * patient.weight_g // 1000 for ul in per_kg]
    is_grown = patient.age_h is None or patient.age_h >= 24 * ADULT_D
    if is_grown and patient.height_mm is not None:
        volumes += _by_height(patient, patient.weight_g, patient.height_mm, known)
    if is_infant(patient.age_h) and patient.height_mm is not None:
        volumes.append(
            by_weight_and_length_ul(known.linderkamp, length_mm=patient.height_mm, weight_g=patient.weight_g)
        )
    return min(volumes) if volumes else None


def is_infant(age_h: int | None) -> bool:
    """Whether this age is known to be one of the formula by weight and length: under two years."""
    return age_h is not None and age_h < 24 * facts.blood_volumes().linderkamp.age_max_d


def _by_height(patient: Patient, weight_g: int, height_mm: int, known: facts.BloodVolumes) -> list[int]:
    found = []
    formula = None if patient.sex is None else known.nadler[patient.sex]
    by_nadler = None if formula is None else nadler_ul(formula, height_mm=height_mm, weight_g=weight_g)
    if by_nadler is not None:
        found.append(by_nadler)
    if body_mass_index(height_mm=height_mm, weight_g=weight_g) >= OBESE_BMI:
        found.append(lemmens_ul(known.lemmens, height_mm=height_mm, weight_g=weight_g))
    return found


def describe(patient: Patient) -> str:
    """The patient in the few facts that the plan used, for the head of a sheet."""
    parts = []
    if patient.age_h is not None:
        parts.append(age_text(patient.age_h))
    if patient.sex is not None:
        parts.append(patient.sex)
    if patient.weight_g is not None:
        parts.append(f"{patient.weight_g / 1000:g} kg")
    return ", ".join(parts) or "age, sex and weight not given"
