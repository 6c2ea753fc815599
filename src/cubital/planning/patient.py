"""What a patient's facts mean for a draw: planning hematocrit, blood volume and sampling limit."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from cubital import facts
from cubital.chemistry.blood_volume import body_mass_index, by_weight_and_length_ul, lemmens_ul, nadler_ul
from cubital.model import Patient, Reason, Site
from cubital.planning.caps import (
    DAY_H,
    Held,
    cap_ul,
    earlier_ul,
    period_text,
    periods_h,
    policies_for,
    recorded_ul,
)
from cubital.units import age_text, millilitres_text

PRETERM = "preterm"
ADULT_D = 6939
PRETERM_D = 30
OBESE_BMI = 30
NEWBORN_D = 30
HOURS_A_YEAR = 8766  # a year of UCUM


class Limit(NamedTuple):
    """The most blood this draw and what came before it in the period may take, and why.

    `limit_ul` and `blood_volume_ul` are None where they cannot be worked out. `missing` says why not, or
    which caps of the policy were not checked beside the limit that was. `unchecked` says which caps that the site
    wrote itself ask for blood drawn before that is not known. The limit is for the period `shortest_h`, in hours.
    """

    limit_ul: int | None
    blood_volume_ul: int | None
    reasons: tuple[Reason, ...]
    missing: str | None
    unchecked: tuple[str, ...] = ()
    shortest_h: int = DAY_H


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

    All caps of the site's limit and of the patient's programs hold, each over its own period. What the record has of a
    longer period before the shortest one is taken off the longer cap, so that the least of them is what may be drawn in
    the shortest period. Volumes are rounded down.
    """
    policies = policies_for(patient, site)
    if not policies:
        chosen = site.planning.blood_limit
        why = "the site has chosen no blood limit" if chosen is None else f"the site has no blood limit {chosen!r}"
        return Limit(None, blood_volume_ul(patient), _recorded_reasons(patient, DAY_H), why)
    volumes_ul = [blood_volume_ul(patient, own=policy.own_blood_volume) for policy in policies]
    volume_ul = min((volume for volume in volumes_ul if volume is not None), default=None)
    fitting, missing = _fitting(policies, patient)
    shortest_h = min(periods_h(fitting, patient.age_h), default=DAY_H)
    by_key = dict(zip((policy.key for policy in policies), volumes_ul, strict=True))
    held, is_known = _held(fitting, by_key, patient, shortest_h)
    missing += [] if is_known else ["the weight is not known"]
    why_missing = "; ".join(dict.fromkeys(missing)) or None
    if not held:
        return Limit(None, volume_ul, _recorded_reasons(patient, shortest_h), why_missing, (), shortest_h)
    binding = min(held, key=lambda one: one.left_ul)
    unchecked = {_unchecked_words(one, shortest_h): not one.policy.marks for one in held if not one.is_checked}
    reasons = (
        _limit_reason(binding, held, volume_ul, shortest_h),
        *_recorded_reasons(patient, shortest_h),
        *(Reason(about="plan", text=text, basis="computed", sources=()) for text in unchecked),
    )
    of_own = tuple(text for text, is_own in unchecked.items() if is_own)
    return Limit(binding.left_ul, volume_ul, reasons, why_missing, of_own, shortest_h)


def _fitting(
    policies: tuple[facts.SamplingLimit, ...], patient: Patient
) -> tuple[list[facts.SamplingLimit], list[str]]:
    """The policies that are for a patient of this weight and age, and why the others are not."""
    fitting, missing = [], []
    for policy in policies:
        if policy.weight_min_g is not None and (patient.weight_g or 0) < policy.weight_min_g:
            missing.append(f"{policy.name} is for {policy.for_whom}; this weight is below that or not known")
        elif not any(cap.is_for(patient.age_h) for cap in policy.caps):
            missing.append(f"{policy.name} has no cap for this age")
        else:
            fitting.append(policy)
            if patient.age_h is None and any(cap.is_of_ages for cap in policy.caps):
                missing.append(f"the age is not known: the caps of every age of {policy.name} were held")
    return fitting, missing


def _held(
    policies: list[facts.SamplingLimit], volumes_ul: Mapping[str, int | None], patient: Patient, shortest_h: int
) -> tuple[list[Held], bool]:
    """Every cap that holds and can be worked out, and whether all of every one could be."""
    held, is_known = [], True
    for policy in policies:
        for cap in policy.caps:
            if not cap.is_for(patient.age_h):
                continue
            amount_ul, is_whole = cap_ul(cap, patient.weight_g, volumes_ul[policy.key])
            is_known = is_known and is_whole
            if amount_ul is None:
                continue
            before_ul = earlier_ul(patient, cap.period_h, shortest_h)
            is_checked = cap.period_h == shortest_h or before_ul is not None
            held.append(Held(policy, cap, amount_ul, before_ul or 0, is_checked))
    return held, is_known


def _limit_reason(binding: Held, held: list[Held], volume_ul: int | None, shortest_h: int) -> Reason:
    policy = binding.policy
    text = f"Limit {millilitres_text(binding.left_ul)} mL by {policy.name}"
    if binding.earlier_ul:
        text += (
            f": {millilitres_text(binding.amount_ul)} mL in {period_text(binding.cap.period_h)}, less "
            f"{millilitres_text(binding.earlier_ul)} mL drawn before the last {period_text(shortest_h)}"
        )
    others = dict.fromkeys(one.policy.name for one in held if one.policy.key != policy.key)
    if others:
        text += f"; beside it {', '.join(others)}"
    if volume_ul is not None:
        text += f"; blood volume taken as {millilitres_text(volume_ul)} mL, the lowest that any source gives"
    if not policy.marks:
        return Reason(about="plan", text=text, basis="site", sources=())
    mark = policy.marks[0]
    return Reason(about="plan", text=text, basis=mark.basis, sources=(mark.source,))


def _unchecked_words(one: Held, shortest_h: int) -> str:
    return (
        f"{one.policy.name}: {millilitres_text(one.amount_ul)} mL in {period_text(one.cap.period_h)} were held against "
        f"this draw and the last {period_text(shortest_h)} alone; what was drawn before that is not known"
    )


def _recorded_reasons(patient: Patient, shortest_h: int) -> tuple[Reason, ...]:
    """What the record has of this patient's blood, and what was said of it where that is another amount."""
    found_ul = recorded_ul(patient, shortest_h)
    if found_ul is None:
        return ()
    text = said_otherwise(patient, shortest_h) or (
        f"drawn before: {_in_period(found_ul, shortest_h)} by {_RECORD}"
    )
    return (Reason(about="plan", text=text, basis="computed", sources=()),)


_RECORD = "the record of specimens, which does not hold what was thrown away first"


def said_otherwise(patient: Patient, shortest_h: int) -> str | None:
    """That another amount was said to be drawn before than the record has; None where it was not, or none was read."""
    found_ul = recorded_ul(patient, shortest_h)
    if found_ul is None or found_ul == patient.drawn_ul:
        return None
    said = millilitres_text(patient.drawn_ul)
    return f"drawn before: {said} mL as it was said, which is taken; {_in_period(found_ul, shortest_h)} by {_RECORD}"


def _in_period(volume_ul: int, period_h: int) -> str:
    return f"{millilitres_text(volume_ul)} mL in the last {period_text(period_h)}"


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
