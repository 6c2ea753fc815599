"""Are the tubes in the order that the site's policy wants?"""

from __future__ import annotations

from itertools import pairwise

from cubital.facts import OrderPolicy, Place, order_policies
from cubital.model import Order, Plan, PlannedTube, Site, TubeKind

_PLACED_BY_USE_ONLY = ("trace-element", "lead")
Rank = tuple[int, ...]


def policy_key(order: Order, site: Site) -> str:
    """The policy that rules this draw: a skin puncture has its own."""
    return "skin-puncture" if order.access == "skin-puncture" else site.planning.order_of_draw


def rank_of(kind: TubeKind, policy: OrderPolicy) -> Rank | None:
    """The (step, place) of a kind by the most specific place that fits it; None is unplaced."""
    best: tuple[int, Rank] | None = None
    for number, step in enumerate(policy.steps):
        for inner, place in enumerate(step.places):
            weight = _fit(kind, place)
            if weight is not None and (best is None or weight > best[0]):
                best = weight, (number, inner)
    return None if best is None else best[1]


def _fit(kind: TubeKind, place: Place) -> int | None:
    """How closely a place names a kind, use before material before gel; None where it does not fit."""
    if place.additive != kind.additive or (place.use is None and kind.use in _PLACED_BY_USE_ONLY):
        return None
    weight = 0
    for named, found, value in (
        (place.use, kind.use, 4), (place.material, kind.material, 2), (place.gel, kind.gel, 1),
    ):  # fmt: skip
        if named is not None and named != found:
            return None
        weight += 0 if named is None else value
    return weight


def rank_kinds(site: Site, policy: OrderPolicy) -> dict[str, Rank]:
    """The rank of every kind that the policy places, or that the site places itself."""
    ranks = {}
    for key, kind in site.kinds.items():
        rank = rank_of(kind, policy)
        if rank is not None:
            ranks[key] = rank
    for _ in site.planning.placings:  # a placing may lean on another one
        for placing in site.planning.placings:
            beside = placing.after or placing.before or placing.with_kind
            if placing.kind in ranks or beside not in ranks:
                continue
            step = (1,) if placing.after else (-1,) if placing.before else ()
            ranks[placing.kind] = ranks[beside] + step
    return ranks


def check_sequence(plan: Plan, order: Order, site: Site) -> list[str]:
    """What is wrong with positions and order, draw by draw."""
    policy = order_policies().get(policy_key(order, site))
    if policy is None:
        return [f"there is no order of draw {site.planning.order_of_draw!r}"]
    findings = []
    if plan.policy != policy.key:
        findings.append(f"the plan names the policy {plan.policy!r}; this draw is ruled by {policy.key!r}")
    ranks = rank_kinds(site, policy)
    for number in sorted({tube.draw for tube in plan.tubes}):
        tubes = sorted((t for t in plan.tubes if t.draw == number), key=lambda t: t.position)
        if [tube.position for tube in tubes] != list(range(1, len(tubes) + 1)):
            findings.append(f"draw {number}: positions do not run from 1 to {len(tubes)}")
        findings += _check_ranks(tubes, ranks, policy, site)
        findings += _check_refused(tubes, policy, site)
        findings += _check_cultures(tubes, order, site)
    listed = [(tube.draw, tube.position) for tube in plan.tubes]
    if listed != sorted(listed):
        findings.append("the tubes are not listed in the order they are drawn")
    return findings


def _check_ranks(tubes: list[PlannedTube], ranks: dict[str, Rank], policy: OrderPolicy, site: Site) -> list[str]:
    findings = []
    ranked = [tube for tube in tubes if tube.purpose != "discard" and tube.kind in site.kinds]
    for tube in ranked:
        if tube.kind not in ranks:
            findings.append(f"draw {tube.draw}: {policy.key} does not place {tube.kind}, nor does the site")
    known = [(tube, (*ranks[tube.kind], 0, 0, 0)[:5]) for tube in ranked if tube.kind in ranks]
    for (first, early), (second, late) in pairwise(known):
        if early > late:
            findings.append(
                f"draw {first.draw}: {policy.key} wants {second.kind} before {first.kind}, "
                f"which stand at {second.position} and {first.position}"
            )
    return findings


def _check_refused(tubes: list[PlannedTube], policy: OrderPolicy, site: Site) -> list[str]:
    findings = []
    for tube in tubes:
        kind = site.kinds.get(tube.kind)
        for refused in policy.refused if kind is not None else ():
            additive = refused.additive in (None, tube.additive)
            if additive and refused.use in (None, kind.use if kind else None):
                findings.append(f"draw {tube.draw} tube {tube.position}: {refused.what}")
    return findings


def _check_cultures(tubes: list[PlannedTube], order: Order, site: Site) -> list[str]:
    """With a winged set the aerobic bottle of a set goes first: the line holds air."""
    uses = [site.kinds[t.kind].use for t in tubes if t.purpose == "culture" and t.kind in site.kinds]
    if order.access == "winged-set" and "culture-aerobic" in uses and uses[0] == "culture-anaerobic":
        return [f"draw {tubes[0].draw}: an anaerobic bottle stands first behind a winged set"]
    return []
