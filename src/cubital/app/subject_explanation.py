"""Why a test, a panel, an order of draw or a blood limit is as it is, with what each rests on."""

from __future__ import annotations

from collections.abc import Iterator

from cubital import facts
from cubital.app.chair_explanation import SAFETY, explain_access, explain_safety, explain_stopper
from cubital.app.explanation import Explanation, Statement, marked, of_claim, sections_of
from cubital.app.kind_explanation import explain_kind
from cubital.model import Panel, Site, Test
from cubital.planning.moment_words import window_words
from cubital.units import millilitres_text

_GEL_WORDS = {"never": "none", "last": "only where there is no other", "alike": "as well as any"}


def explain_subject(name: str, site: Site) -> tuple[Explanation, ...]:
    """Everything that goes by this key: tube kinds, orders of draw, limits, accesses, stoppers; empty where none.

    A key may stand for two things, as `lead` does for a tube and a test: then both come.
    """
    key = name.strip().casefold()
    found: list[Explanation] = []
    if key in site.kinds:
        found.append(explain_kind(site.kinds[key], site))
    elif key in facts.additives():
        found += [explain_kind(kind, site) for kind in site.kinds.values() if kind.additive == key]
    if key in facts.order_policies():
        found.append(_explain_policy(facts.order_policies()[key]))
    limit = site.limits.get(name.strip()) or facts.sampling_limits().get(key)
    if limit is not None:
        found.append(_explain_limit(limit))
    if key in facts.accesses():
        found.append(explain_access(key))
    if key == SAFETY:
        found.append(explain_safety())
    stopper = None if found else explain_stopper(key, site)
    return (stopper,) if stopper is not None else tuple(found)


def explain_test(test: Test, site: Site) -> Explanation:
    """Everything known of this test at this site."""
    return Explanation(
        subject=test.key,
        title=f"{test.key}: {test.name}",
        sections=sections_of(
            ("Names and codes", _names(test, test.basis.get("codes"))),
            ("What it is run on, preferred first", _accepts(test)),
            ("Handling", _handling(test)),
            ("How long it keeps", _stability(test)),
        ),
    )


def explain_panel(panel: Panel, site: Site) -> Explanation:
    """What this panel stands for."""
    claim = panel.basis.get("tests") or panel.basis.get("series")
    words = [", ".join(_name(key, site) for key in panel.tests)] if panel.tests else []
    if panel.anchor is not None:
        words.append(f"minutes count from {facts.moment_facts().anchor_words(panel.anchor, panel.of)}")
    words += [f"at {s.at_min} min: " + ", ".join(_name(key, site) for key in s.tests) for s in panel.series]
    return Explanation(
        subject=panel.key,
        title=f"{panel.key}: {panel.name}",
        sections=sections_of(
            ("Names and codes", _names(panel, panel.basis.get("codes"))),
            ("What it stands for", [of_claim(text, claim) for text in words]),
        ),
    )


def _name(key: str, site: Site) -> str:
    if key in site.tests:
        return site.tests[key].name
    return site.panels[key].name if key in site.panels else key


def _names(record: Test | Panel, claim: tuple[str, str] | None) -> Iterator[Statement]:
    if record.also:
        yield Statement(text="also " + ", ".join(record.also), rests_on="common practice, no source")
    for system, code in record.codes.items():
        yield of_claim(f"{code} of {'LOINC' if system == 'loinc' else system}", claim)


def _accepts(test: Test) -> Iterator[Statement]:
    for way in test.accepts:
        yield of_claim(f"{way.matrix} from {', '.join(way.tubes)}", test.basis.get("accepts"))
        volumes = f"{millilitres_text(way.volume_ul)} mL, at the least {millilitres_text(way.minimum_ul)} mL"
        yield of_claim(f"{way.matrix}: {volumes}", test.basis.get("volume"))
    if test.own_tube:
        yield of_claim("stands in a tube of its own", test.basis.get("accepts"))
    if test.culture is not None:
        yield of_claim("blood culture bottles, by the weight of the patient", test.basis.get("culture"))


def _handling(test: Test) -> Iterator[Statement]:
    for term in test.handling:
        found = facts.handling_terms()[term]
        yield marked(f"{found.instruction} Why: {found.why}.", found.marks)
    if test.timed is not None:
        yield of_claim(f"timed: {test.timed}", test.basis.get("timed"))
    if test.moment is not None:
        yield marked(f"moment: {window_words(facts.moments()[test.moment])}", facts.moments()[test.moment].marks)
    if test.rank is not None:
        yield of_claim(f"when blood is short: {test.rank.replace('-', ' ')}", test.basis.get("rank"))
    gel = facts.gels().get(test.key)
    if gel is not None:
        held = "" if gel.holds_h is None else f" ({gel.holds_h} h)"
        yield marked(f"gel, {_GEL_WORDS[gel.standing]}: {gel.text}{held}", gel.marks)
    for text in test.cautions:
        yield of_claim(text, test.basis.get("handling"))


def _stability(test: Test) -> Iterator[Statement]:
    found = facts.stability().get(test.key)
    if found is None:
        if (unknown := facts.unknown_stability().get(test.key)) is not None:
            yield marked("how long its specimen keeps: not known", unknown.marks)
        return
    known = (
        ("off the cells within", found.separate_within_min, "min"),
        ("at 20-25 C", found.ambient_min, "min"),
        ("at 2-8 C", found.refrigerated_min, "min"),
        ("at -20 C", found.frozen_d, "d"),
    )
    words = [
        f"{what}: {_span_words(amount, unit)}" if amount != 0 else f"{what}: must not be kept so"
        for what, amount, unit in known
        if amount is not None
    ]
    if found.no_add_on:
        words.append("no tests may be added on later")
    if words:
        yield marked("; ".join(words), found.marks)


def _span_words(amount: int, unit: str) -> str:
    if unit == "min" and amount >= 2880:
        # To a tenth of a day, down: nothing is said to keep longer than it does.
        return f"{amount // 144 / 10:g} d"
    if unit == "min" and amount >= 120:
        return f"{amount / 60:g} h"
    return f"{amount} {unit}"


def _explain_policy(policy: facts.OrderPolicy) -> Explanation:
    precaution = facts.safety()["order-is-precaution"]
    steps = [
        marked(f"{number}. {step.name}" + ("" if step.inner_order == "source" else " (order inside: ours)"), step.mark)
        for number, step in enumerate(policy.steps, start=1)
    ]
    silent = [marked(f"{s.what}. Others: {'; '.join(s.choices) or 'nothing seen'}", s.mark) for s in policy.silent]
    return Explanation(
        subject=policy.key,
        title=f"{policy.key}: {policy.name}",
        sections=sections_of(
            ("Scope", [marked(policy.scope, policy.marks)]),
            ("Steps", steps),
            ("What it leaves unsaid", silent),
            ("What is not taken this way", [marked(r.what, r.mark) for r in policy.refused]),
            ("Does it matter", [marked(precaution.text, precaution.marks)]),
        ),
    )


def _explain_limit(limit: facts.SamplingLimit) -> Explanation:
    caps = []
    for cap in limit.caps:
        amounts = []
        if cap.percent_of_tbv is not None:
            amounts.append(f"{cap.percent_of_tbv} % of the blood volume")
        if cap.ul_per_kg is not None:
            amounts.append(f"{millilitres_text(cap.ul_per_kg)} mL/kg")
        if cap.cap_ul is not None:
            amounts.append(f"{millilitres_text(cap.cap_ul)} mL")
        amounts += [
            f"{millilitres_text(row.cap_ul)} mL "
            + ("above" if row.weight_max_g is None else f"to {row.weight_max_g / 1000:g} kg")
            for row in cap.by_weight
        ]
        period = f"{cap.period_h} h" if cap.period_h <= 72 else f"{cap.period_h / 24:g} d"
        caps.append(_of_limit(f"in {period}{_ages(cap)}, the least of: {', '.join(amounts)}", limit))
    whom = [_of_limit(limit.for_whom, limit)]
    if limit.program is not None:
        whom.append(_of_limit(f"holds beside the site's limit for a patient with the flag {limit.program}", limit))
    return Explanation(
        subject=limit.key,
        title=f"{limit.key}: {limit.name}",
        sections=sections_of(("For whom", whom), ("The most blood", caps)),
    )


def _ages(cap: facts.Cap) -> str:
    if not cap.is_of_ages:
        return ""
    end = "on" if cap.age_max_d is None else f"to under {cap.age_max_d} d"
    return f", from {cap.age_min_d} d of age {end}"


def _of_limit(text: str, limit: facts.SamplingLimit) -> Statement:
    return marked(text, limit.marks) if limit.marks else of_claim(text, None)
