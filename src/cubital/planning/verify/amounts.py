"""Do stock, totals, limit and bound hold? Counted again from the rows."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from fractions import Fraction

from cubital.facts import ByWeightAndLength, Cap, SamplingLimit, blood_volumes, sampling_limits, whole_blood
from cubital.model import Order, Patient, Plan, Site, Tube, TubeKind
from cubital.planning.verify.contents import find_way, is_guest


def check_stock(plan: Plan, order: Order, site: Site) -> list[str]:
    """Whether every tube is on the shelf, in date, and no size is used more often than it is there."""
    findings = []
    used = Counter(
        (tube.kind, tube.size_ul or tube.draw_ul, tube.liquid_additive_ul, tube.purpose == "culture")
        for tube in plan.tubes
        if tube.kind in site.kinds
    )
    taken: Counter[tuple[str, int, int]] = Counter()
    for (key, draw_ul, liquid_ul, is_culture), count in sorted(used.items()):
        kind = site.kinds[key]
        size_ul = _bottle_ul(kind, draw_ul) if is_culture else draw_ul
        taken[key, size_ul, liquid_ul] += count
    for (key, draw_ul, liquid_ul), count in taken.items():
        lots = [s for s in site.kinds[key].sizes if (s.draw_ul, s.liquid_additive_ul) == (draw_ul, liquid_ul)]
        findings += _check_lots(f"{key} of {draw_ul} uL", lots, count, order)
    for tube in plan.tubes:
        if tube.kind not in site.kinds and (tube.purpose != "discard" or order.access != "line"):
            findings.append(f"draw {tube.draw} tube {tube.position}: the site has no kind {tube.kind!r}")
    return findings


def _bottle_ul(kind: TubeKind, fill_ul: int) -> int:
    """The smallest stocked bottle that takes this fill: a bottle may be filled below its size."""
    return min((size.draw_ul for size in kind.sizes if size.draw_ul >= fill_ul), default=fill_ul)


def _check_lots(what: str, lots: list[Tube], count: int, order: Order) -> list[str]:
    if not lots:
        return [f"{what}: the site stocks no such size"]
    dated = [lot for lot in lots if lot.expires is None or order.on is not None]
    good = [lot for lot in dated if lot.expires is None or (order.on is not None and order.on <= lot.expires)]
    if not good:
        return [f"{what}: expired" if dated else f"{what}: it has an expiry date and the day is not known"]
    held = [lot.in_stock for lot in good]
    total = sum(number for number in held if number is not None)
    if None not in held and count > total:
        return [f"{what}: {count} are used and {total} are in stock"]
    return []


def check_totals(plan: Plan, order: Order, site: Site) -> list[str]:
    """Whether the totals are those of the rows, and the blood stays under the limit."""
    collected = [tube for tube in plan.tubes if tube.purpose == "collect"]
    preference = 0
    for tube in collected:
        for key in tube.tests:
            way = find_way(site.tests[key], tube.kind, tube.matrix) if key in site.tests else None
            preference += 0 if way is None else way[0]
            if way is None and key in site.tests and is_guest(site.tests[key], tube, site):
                last = sum(len(accept.tubes) for accept in site.tests[key].accepts)
                preference += 0 if whole_blood()[key].standing == "first-choice" else last
    discards = [tube for tube in plan.tubes if tube.purpose == "discard"]
    thrown_ul = sum(tube.draw_ul for tube in discards if not tube.returned)
    said, counted = plan.totals, {
        "tubes": len(collected),
        "blood_ul": sum(tube.draw_ul for tube in collected) + thrown_ul,
        "preference": preference,
        "all_tubes": len(plan.tubes),
        "all_blood_ul": sum(tube.draw_ul for tube in plan.tubes if not tube.returned),
        "already_drawn_ul": order.patient.drawn_ul,
        "discard_ul": thrown_ul,
        "returned_ul": sum(tube.draw_ul for tube in discards if tube.returned),
    }  # fmt: skip
    findings = [
        f"totals.{name} says {getattr(said, name)}, the rows give {value}"
        for name, value in counted.items()
        if getattr(said, name) != value
    ]
    for draw in plan.draws:
        lost_ul = sum(tube.draw_ul for tube in plan.tubes if tube.draw == draw.number and not tube.returned)
        if draw.blood_ul != lost_ul:
            findings.append(f"draw {draw.number} says {draw.blood_ul} uL, its rows give {lost_ul}")
    for tube in plan.tubes:
        if tube.returned and (tube.purpose != "discard" or site.planning.line_discard != "returned"):
            findings.append(f"draw {tube.draw} tube {tube.position}: nothing of it may go back to the patient")
    return findings + _check_limit(plan, order, site, counted["all_blood_ul"])


def _check_limit(plan: Plan, order: Order, site: Site, all_blood_ul: int) -> list[str]:
    limit_ul = plan.totals.limit_ul
    findings = []
    if limit_ul is not None and all_blood_ul > max(0, limit_ul - order.patient.drawn_ul):
        findings.append(
            f"{all_blood_ul} uL is drawn and {order.patient.drawn_ul} uL was; the limit is {limit_ul} uL"
        )
    chosen = site.planning.blood_limit
    if chosen is not None and chosen not in site.limits and chosen not in sampling_limits():
        return [*findings, f"there is no blood limit {chosen!r}"]
    policies = _policies(order.patient, site)
    if not policies:
        return findings
    names = " and ".join(policy.key for policy in policies)
    most_ul = loosest_limit_ul(policies, order.patient)
    if most_ul is not None and limit_ul is None:
        findings.append(f"the patient's limit by {names} can be worked out and the plan has none")
    if most_ul is not None and limit_ul is not None and limit_ul > most_ul:
        findings.append(f"the limit of {limit_ul} uL is above {most_ul} uL, the most that {names} can allow")
    return findings


def _policies(patient: Patient, site: Site) -> list[SamplingLimit]:
    """The site's limit, and those of its own that are of a program the patient's flags name."""
    everything = {**sampling_limits(), **site.limits}
    flags = {"".join("-" if c in " _" else c for c in flag.strip().casefold()) for flag in patient.flags}
    keys = [key for key in (site.planning.blood_limit,) if key in everything]
    keys += [key for key, limit in site.limits.items() if limit.program in flags and key not in keys]
    return [everything[key] for key in keys if key is not None]


def loosest_limit_ul(policies: Iterable[SamplingLimit], patient: Patient) -> int | None:
    """The most that any source of blood volume lets these policies allow in their shortest period; None where unknown.

    A plan that takes the lowest source stays under it; one above it has taken more than any source. Caps of ages hold
    at theirs, all of them where the age is not known; of a longer period what the record has of it before is gone.
    """
    weight_g, age_h = patient.weight_g, patient.age_h
    caps = [
        (cap, policy)
        for policy in policies
        if policy.weight_min_g is None or (weight_g is not None and weight_g >= policy.weight_min_g)
        for cap in policy.caps
        if age_h is None or cap.age_min_d * 24 <= age_h < (age_h + 1 if cap.age_max_d is None else cap.age_max_d * 24)
    ]
    shortest_h = min((cap.period_h for cap, _ in caps), default=0)
    amounts = [
        max(Fraction(0), amount - _before_ul(patient, cap.period_h, shortest_h))
        for cap, policy in caps
        for amount in _amounts_of(cap, policy, patient)
    ]
    return min((amount.numerator // amount.denominator for amount in amounts), default=None)


def _before_ul(patient: Patient, period_h: int, shortest_h: int) -> int:
    """What the record has of a period and not of the shortest one."""
    whole = [row.volume_ul for row in patient.recorded if row.period_h == period_h]
    last = [row.volume_ul for row in patient.recorded if row.period_h == shortest_h]
    return max(0, whole[0] - last[0]) if whole and last else 0


def _amounts_of(cap: Cap, policy: SamplingLimit, patient: Patient) -> list[Fraction]:
    amounts = [] if cap.cap_ul is None else [Fraction(cap.cap_ul)]
    if patient.weight_g is None:
        return amounts
    weight_kg = Fraction(patient.weight_g, 1000)
    if cap.ul_per_kg is not None:
        amounts.append(cap.ul_per_kg * weight_kg)
    for row in cap.by_weight:
        if row.weight_max_g is None or patient.weight_g <= row.weight_max_g:
            amounts.append(Fraction(row.cap_ul))
            break
    if cap.percent_of_tbv is not None:
        amounts.append(Fraction(cap.percent_of_tbv) / 100 * _largest_volume_ul(policy, patient, weight_kg))
    return amounts


def _largest_volume_ul(policy: SamplingLimit, patient: Patient, weight_kg: Fraction) -> Fraction:
    known = blood_volumes()
    age_h = patient.age_h
    per_kg = [
        rival.high_ul_per_kg
        for band in known.bands
        if age_h is None
        or (24 * band.age_min_d <= age_h and (band.age_max_d is None or age_h < 24 * band.age_max_d))
        for rival in band.rivals
    ]
    for row in policy.own_blood_volume:
        if row.weight_max_g is None or (patient.weight_g or 0) <= row.weight_max_g:
            per_kg.append(row.ul_per_kg)
            break
    volumes = [max(per_kg) * weight_kg]
    grown_d = max(band.age_min_d for band in known.bands)
    if patient.height_mm is not None and (age_h is None or age_h >= 24 * grown_d):
        height_m = Fraction(patient.height_mm, 1000)
        volumes += [
            1_000_000
            * (
                Fraction(formula.height_cubed_l_per_m3) * height_m**3
                + Fraction(formula.weight_l_per_kg) * weight_kg
                + Fraction(formula.constant_l)
            )
            for formula in known.nadler.values()
        ]
    if patient.height_mm is not None and age_h is not None and age_h < 24 * known.linderkamp.age_max_d:
        volumes.append(_infant_volume_ul(known.linderkamp, weight_kg, patient.height_mm))
    return max(volumes)


def _infant_volume_ul(formula: ByWeightAndLength, weight_kg: Fraction, length_mm: int) -> Fraction:
    """The formula by weight and length in floats, and a millionth more for what they round off."""
    log_ml = float(formula.weight_log_factor) * math.log10(weight_kg) + float(formula.constant)
    log_ml += float(formula.length_per_cm) * length_mm / 10
    return Fraction(10**log_ml * 1000 * 1.000001)


def check_bound(plan: Plan) -> list[str]:
    """Whether the bound lies not above the value, and equals it where the plan calls itself optimal."""
    bound, said = plan.bound, plan.totals
    value: tuple[int, int, int] = (said.tubes, said.blood_ul, said.preference)
    proved: tuple[int, int, int] = (bound.tubes, bound.blood_ul, bound.preference)
    if plan.objective == "least-blood":
        value, proved = (value[1], value[0], value[2]), (proved[1], proved[0], proved[2])
    elif plan.objective == "liked-kinds":
        value, proved = (value[0], value[2], value[1]), (proved[0], proved[2], proved[1])
    findings = []
    if proved > value:
        findings.append(f"the bound {proved} is above the value {value}")
    if plan.optimal and (proved != value or not bound.finished):
        findings.append(f"the plan calls itself optimal at {value} with the bound {proved}")
    if bound.finished and not plan.optimal:
        findings.append("the search finished and the plan does not call itself optimal")
    return findings
