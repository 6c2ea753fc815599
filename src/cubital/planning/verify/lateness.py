"""Is every test in a tube that is in time for it, where one is? Times worked out again from the facts and the way.

A tube's time runs from the draw until it is measured or off its cells. It is under way, its serum clots meanwhile, and
it is spun; queues and pouring are not known. What is not known rules no tube out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from functools import cache, lru_cache
from typing import NamedTuple

from cubital.facts import additives, clotting, handling_terms, order_policies, spins, stability, whole_blood
from cubital.facts.keeping import KeepingClaim, house_rules, keeping_claims
from cubital.model import Order, Plan, PlannedTube, Site, Test, TubeKind
from cubital.planning.verify.contents import find_way, hematocrit_of, is_guest, usable_ul
from cubital.planning.verify.sequence import policy_key

# How late a tube is: in time by the site's windows, by the longest that were read alone, or by none.
IN_TIME, IN_THE_LONGEST, TOO_LATE = 0, 1, 2
_GASES = "blood-gas"


class _Way(NamedTuple):
    """One kind and matrix for a test, the terms by which the tube is kept, and how late it is."""

    kind: str
    matrix: str
    lateness: int


def check_lateness(plan: Plan, order: Order, site: Site) -> list[str]:
    """Whether no test is in a tube that comes too late while another is in time, and the plan stops where all do."""
    if order.place is not None and order.place not in site.planning.travel_min:
        return [f"the order names the place {order.place!r}, and the site does not say how far it is"]
    way_min = minutes_on_the_way(order, site)
    stopped = {caution.about for caution in plan.cautions if caution.level == "stop"}
    findings: list[str] = []
    is_late: dict[str, bool] = {}
    for tube in plan.tubes if way_min is not None else ():
        for key in tube.tests if tube.purpose == "collect" and tube.kind in site.kinds else ():
            if key not in site.tests:
                continue
            here = _lateness_in(tube, site.tests[key], order, site)
            is_late[key] = is_late.get(key, False) or here == TOO_LATE
            best = _best_way(site.tests[key], tube, plan, order, site)
            where = f"draw {tube.draw} tube {tube.position} ({tube.kind})"
            where += f": {key} comes too late, {way_min} min on the way"
            if best is not None and best.lateness < here:
                findings.append(f"{where}; {best.matrix} from {best.kind} is in time")
            elif here == TOO_LATE and key not in stopped:
                findings.append(f"{where}, as in every other, and the plan says no stop")
    left_out = {entry.test for entry in plan.unplaced}
    for key in sorted(stopped & site.tests.keys() - left_out):
        if not is_late.get(key, False):
            findings.append(f"the plan stops for {key} as too late, and nothing says that it is")
    return findings


def minutes_on_the_way(order: Order, site: Site) -> int | None:
    """How long the tubes of this order travel; None where nobody says."""
    known = site.planning
    return known.usual_travel_min if order.place is None else known.travel_min.get(order.place)


def would_be_late(test: Test, tube: PlannedTube, plan: Plan, order: Order, site: Site) -> bool:
    """Whether this test, put into this tube, would come later than another way it has."""
    if minutes_on_the_way(order, site) is None:
        return False
    best = _best_way(test, tube, plan, order, site)
    return best is not None and best.lateness < _lateness_in(tube, test, order, site)


def _best_way(test: Test, tube: PlannedTube, plan: Plan, order: Order, site: Site) -> _Way | None:
    return min(_ways_of(test, tube, plan, order, site), key=_lateness_of, default=None)


def _lateness_of(way: _Way) -> int:
    return way.lateness


def _lateness_in(tube: PlannedTube, test: Test, order: Order, site: Site) -> int:
    is_of_analyzer = find_way(test, tube.kind, tube.matrix) is None and is_guest(test, tube, site)
    terms = _kept_as_host(tube, site) if is_of_analyzer else test.handling
    return _lateness(test.key, terms, site.kinds[tube.kind], tube.matrix or "", order, site)


def _lateness(key: str, terms: tuple[str, ...], kind: TubeKind, matrix: str, order: Order, site: Site) -> int:
    way_min = minutes_on_the_way(order, site)
    assert way_min is not None
    return lateness(key, terms, kind.additive, kind.gel, matrix, way_min, site.planning.windows)


def _kept_as_host(tube: PlannedTube, site: Site) -> tuple[str, ...]:
    """What is asked of a gas container: a guest asks nothing of its temperature."""
    hosts = [site.tests[key] for key in tube.tests if key in site.tests]
    hosts = [test for test in hosts if find_way(test, tube.kind, tube.matrix) is not None]
    return tuple(dict.fromkeys(term for test in hosts for term in test.handling))


def _ways_of(test: Test, tube: PlannedTube, plan: Plan, order: Order, site: Site) -> Iterator[_Way]:
    """The ways this test has at this site today: kinds that it accepts, and a gas container of its draw with room."""
    for accept in test.accepts:
        for key in accept.tubes:
            kind = site.kinds.get(key)
            if kind is not None and _yields(kind, accept.matrix, accept.minimum_ul, order, site):
                late = _lateness(test.key, test.handling, kind, accept.matrix, order, site)
                yield _Way(key, accept.matrix, late)
    if test.own_tube or test.key not in site.planning.whole_blood_tests or test.key not in whole_blood():
        return
    for other in plan.tubes:
        kind = site.kinds.get(other.kind)
        if other.draw != tube.draw or other.purpose != "collect" or kind is None or kind.use != _GASES:
            continue
        room_ul = (other.usable_ul or 0) - (other.needed_ul or 0) - other.reserve_ul
        terms = _kept_as_host(other, site)
        if test.key in other.tests or room_ul < whole_blood()[test.key].volume_ul or not _stands_in_the_room(terms):
            continue
        if not any(site.tests[key].own_tube for key in other.tests if key in site.tests):
            late = _lateness(test.key, terms, kind, other.matrix or "", order, site)
            yield _Way(other.kind, other.matrix or "", late)


def _stands_in_the_room(terms: Collection[str]) -> bool:
    return not {"ice", "warm", "cold_spin"} & set(terms)


def _yields(kind: TubeKind, matrix: str, need_ul: int, order: Order, site: Site) -> bool:
    """Whether a tube of this kind is on the shelf, may be drawn this way, and yields as much."""
    if kind.accesses is not None and order.access not in kind.accesses:
        return False
    policy = order_policies().get(policy_key(order, site))
    for refused in policy.refused if policy is not None else ():
        if refused.additive in (None, kind.additive) and refused.use in (None, kind.use):
            return False
    hematocrit, recovery = hematocrit_of(order, site), site.planning.recovery
    return any(
        usable_ul(kind, size, matrix, hematocrit, recovery) >= need_ul
        for size in kind.sizes
        if size.in_stock != 0 and (size.expires is None or order.on is None or order.on <= size.expires)
    )


@lru_cache(maxsize=50_000)
def lateness(
    key: str, terms: tuple[str, ...], additive: str, gel: bool, matrix: str, way_min: int, windows: str
) -> int:
    """How late a tube is for a test of this handling: `IN_TIME`, `IN_THE_LONGEST` or `TOO_LATE`.

    Strict windows are the shortest that a source gives, extended ones the longest that was read.
    """
    known = stability().get(key)
    is_known = known is not None and not known.unknown
    on_cells = matrix != "whole-blood"
    if known is not None and is_known:
        on_cells = known.separate_within_min is not None
    storage = "warm" if "warm" in terms else "ice" if "ice" in terms else "ambient"
    ready_s = 60 * way_min
    if on_cells and matrix != "whole-blood":
        clot = clotting(additive, gel, "warm" in terms)
        ready_s = max(ready_s, 0 if clot is None else clot.min_s) + 60 * _spin_min(additive, gel, terms)
    place = ("on-cells" if on_cells else "whole", storage)
    for step, policy in ((IN_TIME, windows), (IN_THE_LONGEST, "extended")):
        keeps_s = _keeps_s(key, additives()[additive].family, place, policy)
        if keeps_s is None or ready_s <= keeps_s:
            return step
    return TOO_LATE


def _spin_min(additive: str, gel: bool, terms: Collection[str]) -> int:
    """How long a tube spins; 0 where no source says."""
    family = additives()[additive].family
    runs = [spin for spin in spins() if family in spin.families and spin.gel in (None, gel)]
    if "cold_spin" in terms:
        runs = [spin for spin in runs if handling_terms()["ice"].keeps(spin.temp_high_c)]
    elif "double_spin" in terms:
        runs = [spin for spin in runs if spin.spins > 1]
    elif "warm" in terms:
        runs = [spin for spin in runs if handling_terms()["warm"].keeps(spin.temp_low_c)]
    return runs[0].minutes if runs else 0


@lru_cache(maxsize=20_000)
def _keeps_s(key: str, family: str, place: tuple[str, str], windows: str) -> int | None:
    """How many seconds fresh blood keeps for a test; None where no source says."""
    limits, held, failed = [], [], []
    table_min = _table_min(key, family, place)
    if table_min is not None:
        limits.append(60 * table_min)
    for claim in _claims().get(key, ()):
        if (claim.state, claim.storage) != place or (claim.families and family not in claim.families):
            continue
        if claim.limit_min is not None:
            limits.append(60 * claim.limit_min)
        if claim.held_min is not None:
            held.append(60 * claim.held_min)
        if claim.fails_min is not None:
            failed.append(60 * claim.fails_min - 60)
    if windows == "extended":
        lasting = [max(limits + held)] if limits or held else []
    else:
        lasting = [min(limits or held)] if limits or held else []
    found = min(lasting + failed, default=None)
    at_once_s = house_rules()["at_once"].at_most_s or 0
    return at_once_s if found == 0 and place[1] == "ambient" else found


def _table_min(key: str, family: str, place: tuple[str, str]) -> int | None:
    known = stability().get(key)
    if known is None or (known.families and family not in known.families):
        return None
    if place[0] == "on-cells":
        return known.separate_within_min
    return {"ambient": known.ambient_min, "ice": known.refrigerated_min}.get(place[1])


@cache
def _claims() -> Mapping[str, list[KeepingClaim]]:
    found: dict[str, list[KeepingClaim]] = {}
    for claim in keeping_claims():
        for test in claim.tests:
            found.setdefault(test, []).append(claim)
    return found
