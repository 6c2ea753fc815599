"""Does every tube hold what it may, and no more? Volumes and hematocrit worked out again."""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations

from cubital.facts import handling_terms, hematocrits, whole_blood
from cubital.model import Accept, Order, Plan, PlannedTube, Site, Test, Tube, TubeKind

_PIPETTED = ("plasma", "serum")


def hematocrit_of(order: Order, site: Site) -> Fraction:
    """The patient's hematocrit, else the site's, else the shipped one for age and sex.

    Without an age the patient is taken as grown; without a sex the band that names none counts.
    """
    known = order.patient.hematocrit or site.planning.hematocrit
    if known is not None:
        return known
    age_h = order.patient.age_h
    fitting = [
        band
        for band in hematocrits()
        if band.sex in (None, order.patient.sex)
        and (
            band.age_max_d is None
            if age_h is None
            else 24 * band.age_min_d <= age_h and (band.age_max_d is None or age_h < 24 * band.age_max_d)
        )
    ]
    own = [band for band in fitting if band.sex is not None]
    return Fraction((own or fitting)[0].fraction)


def usable_ul(kind: TubeKind, size: Tube, matrix: str, hematocrit: Fraction, recovery: Fraction) -> int:
    """The microlitres of this matrix that one full tube yields, never more than it can."""
    dead_ul = next((ul for key, ul in kind.dead_volume_ul.items() if key == matrix), 0)
    if matrix not in _PIPETTED:
        return size.draw_ul - dead_ul
    liquid_ul = (size.draw_ul * (1 - hematocrit) + size.liquid_additive_ul) * recovery
    return liquid_ul.numerator // liquid_ul.denominator - dead_ul


def find_way(test: Test, kind: str, matrix: str | None) -> tuple[int, Accept] | None:
    """The first place in a test's flattened accepts with this kind and matrix."""
    place = 0
    for accept in test.accepts:
        for key in accept.tubes:
            if key == kind and accept.matrix == matrix:
                return place, accept
            place += 1
    return None


def is_guest(test: Test, tube: PlannedTube, site: Site) -> bool:
    """Whether a gas container may hold this test because the site's gas analyzer measures it beside the gases."""
    kind = site.kinds.get(tube.kind)
    listed = test.key in site.planning.whole_blood_tests and test.key in whole_blood()
    gases = [key for key in tube.tests if key in site.tests and find_way(site.tests[key], tube.kind, tube.matrix)]
    return listed and kind is not None and kind.use == "blood-gas" and bool(gases)


def check_contents(tube: PlannedTube, plan: Plan, order: Order, site: Site) -> list[str]:
    """What is wrong inside one collect tube."""
    where = f"draw {tube.draw} tube {tube.position} ({tube.kind})"
    kind = site.kinds.get(tube.kind)
    if kind is None:
        return [f"{where}: the site has no such kind"]
    findings = _check_company(tube, site, where)
    needed_ul = 0
    for key in tube.tests:
        way = find_way(site.tests[key], tube.kind, tube.matrix) if key in site.tests else None
        if way is None and key in site.tests and is_guest(site.tests[key], tube, site):
            needed_ul += whole_blood()[key].volume_ul
            continue
        if way is None:
            findings.append(f"{where}: {key} does not accept {tube.matrix} from {tube.kind}")
            continue
        needed_ul += way[1].minimum_ul if plan.volumes == "minimum" else way[1].volume_ul
    yields = [
        usable_ul(kind, size, tube.matrix or "", hematocrit_of(order, site), site.planning.recovery)
        for size in kind.sizes
        if (size.draw_ul, size.liquid_additive_ul) == (tube.draw_ul, tube.liquid_additive_ul)
    ]
    if not yields:
        return findings  # the stock check names the size that is not there
    if needed_ul > yields[0]:
        findings.append(f"{where}: its tests need {needed_ul} uL and it yields {yields[0]} uL")
    elif needed_ul + tube.reserve_ul > yields[0]:
        findings.append(f"{where}: {needed_ul} uL and a reserve of {tube.reserve_ul} uL are over its {yields[0]} uL")
    most_ul = sum(-(-need_of(key, tube, plan, site) * site.planning.reserve_percent // 100) for key in tube.tests)
    if tube.reserve_ul < 0 or tube.reserve_ul > (0 if plan.volumes == "minimum" else most_ul):
        findings.append(f"{where}: it keeps a reserve of {tube.reserve_ul} uL; the site asks at most {most_ul} uL")
    if tube.usable_ul is not None and tube.usable_ul != yields[0]:
        findings.append(f"{where}: it says {tube.usable_ul} uL usable, the formula gives {yields[0]} uL")
    if tube.needed_ul is not None and tube.needed_ul != needed_ul:
        findings.append(f"{where}: it says {tube.needed_ul} uL needed, its tests need {needed_ul} uL")
    return findings


def need_of(key: str, tube: PlannedTube, plan: Plan, site: Site) -> int:
    """What this test takes of this tube, without a reserve; 0 where it does not belong there."""
    way = find_way(site.tests[key], tube.kind, tube.matrix) if key in site.tests else None
    if way is None:
        return 0
    return way[1].minimum_ul if plan.volumes == "minimum" else way[1].volume_ul


def _check_company(tube: PlannedTube, site: Site, where: str) -> list[str]:
    """One bench group, own-tube tests alone, nothing empty, nothing twice."""
    findings = []
    tests = [site.tests[key] for key in tube.tests if key in site.tests]
    benches = {test.bench for test in tests}
    hosts = [test for test in tests if not is_guest(test, tube, site) or find_way(test, tube.kind, tube.matrix)]
    bench_of_hosts = {test.bench for test in hosts}
    together = any(bench_of_hosts <= set(group) for group in site.planning.share_benches)
    if len(bench_of_hosts) > 1 and not together:
        findings.append(f"{where}: benches {', '.join(sorted(bench_of_hosts))} do not share a tube")
    if set(tube.benches) != benches:
        named = ", ".join(tube.benches) or "none"
        findings.append(f"{where}: it names benches {named}, not those of its tests")
    if len(tube.tests) > 1:
        alone = [test.key for test in tests if test.own_tube]
        findings += [f"{where}: {key} must stand alone in its tube" for key in alone]
    for one, other in permutations(hosts, 2):
        findings += [f"{where}: {words} do not share a tube" for words in find_opposed(one, other)]
    for guest in (test for test in tests if test not in hosts):
        chilled = [host.key for host in hosts if {"ice", "warm", "cold_spin"} & _understood(host)]
        findings += [f"{where}: {guest.key} is a guest of {key}, which is not kept in the room" for key in chilled]
    if not tube.tests:
        findings.append(f"{where}: it holds no test")
    if any(test.culture is not None for test in tests):
        findings.append(f"{where}: a blood culture is not packed with other tests")
    return findings


def find_opposed(one: Test, other: Test) -> list[str]:
    """How the handling of the one opposes that of the other, said and understood: empty where they may share a tube."""
    return [
        f"{one.key} ({_said(term, one)}) and {other.key} ({_said(against, other)})"
        for term in _understood(one)
        for against in sorted(set(handling_terms()[term].opposes) & _understood(other))
    ]


def _understood(test: Test) -> set[str]:
    """The handling terms of a test and, where it is silent, what counts: the term that its own allow, or the usual."""
    known = handling_terms()
    terms = set(test.handling) & set(known)
    for usual in (term for term, facts in known.items() if facts.unsaid):
        rivals = {term for term, facts in known.items() if usual in facts.opposes}
        rivals |= {against for term in rivals for against in known[term].opposes} | set(known[usual].opposes) | {usual}
        if not terms & rivals:
            allowed = {term for mine in terms for term in known[mine].allows}
            terms |= rivals & allowed or {usual}
    return terms


def _said(term: str, test: Test) -> str:
    return term if term in test.handling else f"{term}, as it says nothing else"


def check_label(tube: PlannedTube, order: Order, site: Site) -> list[str]:
    """Whether the row says truthfully what the tube is, and whether this access can fill it."""
    where = f"draw {tube.draw} tube {tube.position} ({tube.kind})"
    kind = site.kinds.get(tube.kind)
    if kind is None:
        return []
    findings = []
    if (tube.additive, tube.gel) != (kind.additive, kind.gel):
        findings.append(f"{where}: its additive or gel is not what the site's kind holds")
    if tube.name != kind.name:
        findings.append(f"{where}: it is called {tube.name!r}, the site calls it {kind.name!r}")
    if kind.accesses is not None and order.access not in kind.accesses:
        findings.append(f"{where}: {order.access} cannot fill it")
    return findings
