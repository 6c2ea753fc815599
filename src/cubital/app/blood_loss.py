"""A patient's blood volume source by source, the published limits, what draws added up to, what was not needed."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import msgspec

from cubital import facts
from cubital.app.draws import plan_order
from cubital.chemistry.blood_loss import Taken, allowable_losses, cap_amount_ul, heaviest_window
from cubital.chemistry.blood_volume import body_mass_index, by_weight_and_length_ul, lemmens_ul, nadler_ul
from cubital.errors import CubitalError, OrderError
from cubital.model import Ask, Order, Patient, Site
from cubital.planning.patient import ADULT_D, OBESE_BMI, PRETERM, PRETERM_D, blood_volume_ul, is_infant

FORMAT = "cubital.bloodvolume/1"


class DrawnTube(msgspec.Struct, frozen=True, kw_only=True):
    """One tube that was filled: its kind at the site and its volume."""

    kind: str
    volume_ul: int


class DrawnBlood(msgspec.Struct, frozen=True, kw_only=True):
    """One draw of an inpatient; tubes and tests where they are known, for what smaller tubes would have done."""

    at: datetime.datetime
    volume_ul: int
    tubes: tuple[DrawnTube, ...] = ()
    tests: tuple[str, ...] = ()


class VolumeOf(msgspec.Struct, frozen=True, kw_only=True):
    """What one source makes of this patient's blood volume."""

    source: str
    low_ul: int
    high_ul: int
    rests_on: str


class CapLine(msgspec.Struct, frozen=True, kw_only=True):
    """One cap of one policy: what it allows, and the heaviest period of the draws against it.

    `allowed_ul` None where what it needs is not known; `heaviest_ul` None without draws.
    """

    policy: str
    name: str
    for_whom: str
    period_h: int
    allowed_ul: int | None
    heaviest_ul: int | None
    from_: datetime.datetime | None
    to: datetime.datetime | None
    is_over: bool | None


class Saving(msgspec.Struct, frozen=True, kw_only=True):
    """What one draw took and would have taken in smaller tubes; `how` says by which reckoning."""

    at: datetime.datetime
    volume_ul: int
    smaller_ul: int
    how: str


class LossLine(msgspec.Struct, frozen=True, kw_only=True):
    """What one formula lets be lost until the hematocrit has fallen to the lowest that is borne."""

    key: str
    formula: str
    volume_ul: int
    rests_on: str


class BloodReport(msgspec.Struct, frozen=True, kw_only=True):
    """Everything asked of one patient's blood."""

    guard_ul: int | None
    volumes: tuple[VolumeOf, ...]
    caps: tuple[CapLine, ...]
    total_ul: int
    percent_of_guard: float | None
    days: tuple[tuple[datetime.date, int], ...]
    savings: tuple[Saving, ...]
    notes: tuple[str, ...]
    losses: tuple[LossLine, ...] = ()


def blood_report(
    patient: Patient, site: Site, *, draws: Sequence[DrawnBlood] = (), limit: str | None = None,
    lowest_hematocrit: Fraction | None = None,
) -> BloodReport:  # fmt: skip
    """The report; all policies where no limit is named; what may be lost where the lowest hematocrit borne is named.

    Raises `OrderError` for a limit nobody knows, for a draw whose tubes add up to more than its volume, and for a
    lowest hematocrit that is no share, or is above the patient's, or of a patient whose own is not known.

    >>> from cubital.app.wiring import open_site
    >>> blood_report(Patient(age_h=24 * 365 * 4, weight_g=10_000), open_site()).guard_ul
    700000
    """
    policies = {**facts.sampling_limits(), **site.limits}
    if limit is not None and limit not in policies:
        raise OrderError(f"found {limit[:40]!r}; expected one of {', '.join(policies)}", where="limit")
    ordered = sorted(draws, key=lambda draw: draw.at)
    for draw in ordered:
        _check(draw)
    guard_ul = blood_volume_ul(patient)
    total_ul = sum(draw.volume_ul for draw in ordered)
    days: dict[datetime.date, int] = {}
    for draw in ordered:
        days[draw.at.date()] = days.get(draw.at.date(), 0) + draw.volume_ul
    keys = list(policies) if limit is None else [limit]
    return BloodReport(
        guard_ul=guard_ul, volumes=_volumes(patient), total_ul=total_ul, days=tuple(days.items()),
        caps=tuple(line for key in keys for line in _caps(policies[key], patient, ordered)),
        percent_of_guard=None if not guard_ul else 100 * total_ul / guard_ul,
        savings=tuple(found for draw in ordered for found in [_saving(draw, patient, site)] if found is not None),
        notes=_notes(patient, guard_ul),
        losses=() if lowest_hematocrit is None else _losses(patient, guard_ul, lowest_hematocrit),
    )  # fmt: skip


def _losses(patient: Patient, guard_ul: int | None, lowest: Fraction) -> tuple[LossLine, ...]:
    """By each formula, from the patient's measured hematocrit and the lowest blood volume that any source gives."""
    where = "lowest hematocrit"
    if not Fraction(5, 100) <= lowest <= Fraction(85, 100):
        raise OrderError(f"found {float(lowest):g}; expected a share from 0.05 to 0.85, such as 0.30", where=where)
    if patient.hematocrit is None:
        raise OrderError("found it without the patient's hematocrit; expected both; measure it", where=where)
    if lowest > patient.hematocrit:
        raise OrderError(
            f"found {float(lowest):g}, above the patient's {float(patient.hematocrit):g}; expected at most that",
            where=where,
        )
    if guard_ul is None:
        return ()
    by_key = allowable_losses(guard_ul, initial=patient.hematocrit, final=lowest)
    return tuple(
        LossLine(key=one.key, formula=one.text, volume_ul=by_key[one.key], rests_on=_labels(one.marks))
        for one in facts.loss_formulas()
    )


def _labels(marks: tuple[facts.Mark, ...]) -> str:
    return "; ".join(mark.label() for mark in marks)


def _check(draw: DrawnBlood) -> None:
    inside_ul = sum(tube.volume_ul for tube in draw.tubes)
    if inside_ul > draw.volume_ul:
        raise OrderError(
            f"found tubes of {inside_ul / 1000:g} mL in a draw of {draw.volume_ul / 1000:g} mL; expected no more; "
            "correct one of them",
            where=f"draw of {draw.at:%Y-%m-%d %H:%M}",
        )


def _notes(patient: Patient, guard_ul: int | None) -> tuple[str, ...]:
    notes = []
    if guard_ul is None:
        notes.append("the weight is not known: no blood volume, and no limit that is a share of it")
    else:
        notes.append("limits are taken from the lowest volume that any source gives")
    if patient.age_h is None:
        notes.append("the age is not known: the bands of every age were looked at")
    if patient.age_h is None or patient.age_h < 24 * PRETERM_D:
        notes.append("a preterm newborn is said with the flag preterm; nothing else tells")
    return tuple(notes)


def _volumes(patient: Patient) -> tuple[VolumeOf, ...]:
    weight_g, age_h = patient.weight_g, patient.age_h
    if weight_g is None:
        return ()
    known = facts.blood_volumes()
    wants_preterm = PRETERM in patient.flags and (age_h is None or age_h < 24 * PRETERM_D)
    rows = [
        VolumeOf(
            source=f"{rival.mark.source}, {band.name}", low_ul=rival.low_ul_per_kg * weight_g // 1000,
            high_ul=rival.high_ul_per_kg * weight_g // 1000, rests_on=rival.mark.label(),
        )
        for band in known.bands
        if band.preterm == wants_preterm and _is_of_age(band, age_h)
        for rival in band.rivals
    ]  # fmt: skip
    if patient.height_mm is not None and (age_h is None or age_h >= 24 * ADULT_D):
        rows += _by_height(patient, weight_g, patient.height_mm, known)
    if patient.height_mm is not None and is_infant(age_h):
        volume_ul = by_weight_and_length_ul(known.linderkamp, length_mm=patient.height_mm, weight_g=weight_g)
        rows.append(VolumeOf(source="Linderkamp, by weight and length, under two years", low_ul=volume_ul,
                             high_ul=volume_ul, rests_on=known.linderkamp.mark.label()))  # fmt: skip
    return tuple(rows)


def _is_of_age(band: facts.Band, age_h: int | None) -> bool:
    if age_h is None:
        return True
    return 24 * band.age_min_d <= age_h and (band.age_max_d is None or age_h < 24 * band.age_max_d)


def _by_height(patient: Patient, weight_g: int, height_mm: int, known: facts.BloodVolumes) -> list[VolumeOf]:
    rows = []
    formula = None if patient.sex is None else known.nadler[patient.sex]
    by_nadler = None if formula is None else nadler_ul(formula, height_mm=height_mm, weight_g=weight_g)
    if formula is not None and by_nadler is not None:
        rows.append(VolumeOf(source="Nadler, by height, weight and sex", low_ul=by_nadler, high_ul=by_nadler,
                             rests_on=formula.mark.label()))  # fmt: skip
    if body_mass_index(height_mm=height_mm, weight_g=weight_g) >= OBESE_BMI:
        volume_ul = lemmens_ul(known.lemmens, height_mm=height_mm, weight_g=weight_g)
        rows.append(VolumeOf(source="Lemmens, for a body mass index from 30", low_ul=volume_ul, high_ul=volume_ul,
                             rests_on=known.lemmens.mark.label()))  # fmt: skip
    return rows


def _caps(policy: facts.SamplingLimit, patient: Patient, draws: list[DrawnBlood]) -> list[CapLine]:
    volume_ul = blood_volume_ul(patient, own=policy.own_blood_volume)
    start = draws[0].at if draws else None
    taken = [Taken(at_min=int((d.at - draws[0].at).total_seconds()) // 60, volume_ul=d.volume_ul) for d in draws]
    too_light = policy.weight_min_g is not None and (patient.weight_g or 0) < policy.weight_min_g
    lines = []
    for cap in (cap for cap in policy.caps if cap.is_for(patient.age_h)):
        allowed_ul = None if too_light else cap_amount_ul(cap, weight_g=patient.weight_g, blood_volume_ul=volume_ul)
        window = heaviest_window(taken, cap.period_h)
        known = start is not None and window is not None
        lines.append(
            CapLine(
                policy=policy.key, name=policy.name, for_whom=policy.for_whom, period_h=cap.period_h,
                allowed_ul=allowed_ul, heaviest_ul=None if window is None else window.volume_ul,
                from_=draws[window.first].at if known and window else None,
                to=draws[window.last].at if known and window else None,
                is_over=None if window is None or allowed_ul is None else window.volume_ul > allowed_ul,
            )
        )  # fmt: skip
    return lines


def _saving(draw: DrawnBlood, patient: Patient, site: Site) -> Saving | None:
    """By a plan of least blood where the tests are known, else by the smallest stock size of each kind."""
    if draw.tests:
        bare = msgspec.structs.replace(patient, drawn_ul=0)
        order = Order(
            asks=tuple(Ask(test=test) for test in draw.tests), patient=bare, objective="least-blood", on=draw.at.date()
        )
        try:
            plan = plan_order(order, msgspec.structs.replace(
                site, planning=msgspec.structs.replace(site.planning, blood_limit=None)))  # fmt: skip
        except CubitalError as error:
            where = f"draw of {draw.at:%Y-%m-%d %H:%M}: {error.where}"
            raise OrderError(error.message, where=where) from None
        return Saving(at=draw.at, volume_ul=draw.volume_ul, smaller_ul=min(draw.volume_ul, plan.totals.all_blood_ul),
                      how="a plan of its tests with least blood")  # fmt: skip
    if not draw.tubes:
        return None
    loose_ul = draw.volume_ul - sum(tube.volume_ul for tube in draw.tubes)
    smaller_ul = loose_ul + sum(min(tube.volume_ul, _smallest_ul(tube.kind, site)) for tube in draw.tubes)
    return Saving(at=draw.at, volume_ul=draw.volume_ul, smaller_ul=smaller_ul,
                  how="the smallest stock size of each tube; whether its tests fit was not looked at")  # fmt: skip


def _smallest_ul(kind: str, site: Site) -> int:
    if kind not in site.kinds:
        raise OrderError(f"found {kind[:40]!r}; expected a tube kind of this site", where="tubes")
    return min(tube.draw_ul for tube in site.kinds[kind].sizes)


def blood_document(found: BloodReport) -> dict[str, Any]:
    """The report as one JSON object, with what studies found beside it."""
    saved_ul = sum(saving.volume_ul - saving.smaller_ul for saving in found.savings)
    return {
        "format": FORMAT,
        **msgspec.to_builtins(found),
        "saved_ul": saved_ul if found.savings else None,
        "evidence": [{"text": e.text, "rests_on": e.mark.label()} for e in facts.blood_loss()],
        "caution": SAVED_CAUTION,
        "loss_caution": LOSS_CAUTION if found.losses else None,
    }


LOSS_CAUTION = (
    "an estimate for one who bleeds, the volume kept up with fluid and taken as the lowest that any source gives; "
    "it is no limit of what may be drawn for tests"
)
SAVED_CAUTION = "millilitres saved may be claimed; transfusions avoided may not"
