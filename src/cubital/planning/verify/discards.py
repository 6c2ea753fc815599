"""Is the way cleared before the first tube of each draw, by as much as the access asks and no more?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from cubital.facts import Discard, accesses
from cubital.model import Order, Plan, PlannedTube, Site, Tube, TubeKind
from cubital.planning.verify.contents import hematocrit_of, usable_ul
from cubital.planning.verify.moments import further_sets

_RATIO_CRITICAL = ("citrate-9-1", "citrate-4-1")
_COAGULATION = "citrate-9-1"


def check_discards(plan: Plan, order: Order, site: Site) -> list[str]:
    """What is wrong with what is thrown away or given back before the tubes of each draw."""
    findings: list[str] = []
    cleared = further_sets(plan)
    for draw in sorted({tube.draw for tube in plan.tubes}):
        tubes = sorted((tube for tube in plan.tubes if tube.draw == draw), key=lambda tube: tube.position)
        kept = [tube for tube in tubes if tube.purpose != "discard"]
        discards = [tube for tube in tubes if tube.purpose == "discard"]
        late = [tube for n, tube in enumerate(tubes) if tube in discards and any(t in kept for t in tubes[:n])]
        findings += [f"draw {draw}: the discard at {tube.position} comes after a tube to keep" for tube in late]
        if not kept and discards:
            findings.append(f"draw {draw}: something is thrown away and nothing drawn")
        elif order.access == "winged-set":
            findings += _of_winged_set(draw, kept, discards, plan, order, site)
        elif order.access == "line" and order.line.dead_space_ul is not None:
            is_cleared = draw in cleared
            findings += _of_line(draw, kept, discards, order, site, order.line.dead_space_ul, is_cleared=is_cleared)
        elif discards:
            findings.append(f"draw {draw}: nothing asks for a discard by {order.access}")
    if order.access == "line" and order.line.dead_space_ul is None and plan.tubes:
        stops = [caution.text for caution in plan.cautions if caution.level == "stop" and caution.about == "plan"]
        if not any("dead space" in text for text in stops):
            findings.append("the dead space of the line is not known and the plan says no stop")
    return findings


def _of_winged_set(
    draw: int, kept: Sequence[PlannedTube], discards: Sequence[PlannedTube], plan: Plan, order: Order, site: Site
) -> Iterator[str]:
    """A winged set holds air: a citrate tube that comes first wants a discard, and another first tube falls short."""
    where, first = f"draw {draw}", kept[0]
    if first.purpose != "collect" or first.additive not in _RATIO_CRITICAL:
        if discards:
            yield f"{where}: nothing asks for a discard before {first.kind} behind a winged set"
        elif first.purpose == "collect":
            yield from _of_short_tube(draw, first, plan, order, site)
        return
    spare = _spare_tubes(plan, order, site)
    if not discards:
        said = [caution for caution in plan.cautions if caution.about == f"draw {draw}" and caution.level == "stop"]
        if spare:
            yield f"{where}: a winged set meets {first.kind} first with no discard tube before it"
        elif not said:
            yield f"{where}: a winged set meets {first.kind} first, nothing is stocked to discard, and no stop is said"
        return
    if len(discards) > 1:
        yield f"{where}: a winged set is cleared more than once"
    row = discards[-1]
    clears_ul = next(rule.part_filled_ul for rule in _needed("winged-set")) or row.size_ul or row.draw_ul
    wanted_ul = min(clears_ul, row.size_ul or row.draw_ul)
    if row.draw_ul != wanted_ul:
        yield f"{where}: the discard takes {row.draw_ul} uL; {wanted_ul} uL clear the air of the set"
    elif any(min(clears_ul, size.draw_ul) > row.draw_ul for _, size in spare):
        yield f"{where}: the discard takes {row.draw_ul} uL, and a larger tube would clear the air of the set"
    kind = site.kinds.get(row.kind)
    if row.additive != "none" and {row.additive, first.additive} - set(_RATIO_CRITICAL):
        yield f"{where}: a discard with {row.additive} stands before {first.additive}"
    elif kind is not None and kind.use is not None:
        yield f"{where}: {row.kind} is kept for {kind.use} and not to be thrown away"
    elif row.additive != "none" and any(
        spared.additive == "none" and size.draw_ul >= row.draw_ul for spared, size in spare
    ):
        yield f"{where}: the discard holds {row.additive}, and a tube without additive is on the shelf"


def _of_short_tube(draw: int, first: PlannedTube, plan: Plan, order: Order, site: Site) -> Iterator[str]:
    """The first tube loses the air of the set: where its tests are then short, the plan says so."""
    kind = site.kinds.get(first.kind)
    if kind is None or first.needed_ul is None:
        return
    drawn_ul = max(0, first.draw_ul - (accesses()["winged-set"].dead_volume_ul or 0))
    size = Tube(draw_ul=drawn_ul, liquid_additive_ul=first.liquid_additive_ul)
    left_ul = usable_ul(kind, size, first.matrix or "", hematocrit_of(order, site), site.planning.recovery)
    is_said = any(caution.about == f"draw {draw}" and caution.level != "note" for caution in plan.cautions)
    if left_ul < first.needed_ul and not is_said:
        yield f"draw {draw}: {first.kind} comes first behind a winged set, short by its air, and the plan does not warn"


def _needed(access: str) -> list[Discard]:
    return [rule for rule in accesses()[access].discards if rule.needed]


def _spare_tubes(plan: Plan, order: Order, site: Site) -> list[tuple[TubeKind, Tube]]:
    """Tubes that may be thrown away and that the plan leaves on the shelf."""
    used = Counter((tube.kind, tube.size_ul or tube.draw_ul) for tube in plan.tubes)
    return [
        (kind, size)
        for kind in site.kinds.values()
        if kind.additive in ("none", *_RATIO_CRITICAL) and kind.use is None
        if kind.accesses is None or order.access in kind.accesses
        for size in kind.sizes
        if size.in_stock is None or size.in_stock > used[kind.key, size.draw_ul]
        if size.expires is None or order.on is None or order.on <= size.expires
    ]


def _of_line(
    draw: int, kept: Sequence[PlannedTube], discards: Sequence[PlannedTube], order: Order, site: Site,
    dead_space_ul: int, *, is_cleared: bool,
) -> Iterator[str]:  # fmt: skip
    """A line is cleared of some times its dead space, once; the culture of an infected one keeps its first blood."""
    where = f"draw {draw}"
    if order.line.suspected_infection and any(tube.purpose == "culture" for tube in kept):
        if discards:
            yield f"{where}: a line cultured for infection gives its first blood to the bottle"
        return
    if is_cleared:
        if discards:
            yield f"{where}: it is of another site, and what clears the line is thrown away again"
        return
    coagulation = any(tube.additive == _COAGULATION for tube in kept)
    strict = coagulation and order.line.carried_anticoagulant is not False
    multiples = [
        rule.dead_space_multiple or 0
        for rule in _needed("line")
        if strict or not rule.when.startswith("coagulation")
    ]
    wanted_ul, taken_ul = max(multiples) * dead_space_ul, sum(tube.draw_ul for tube in discards)
    is_policy = site.planning.line_discard == "returned" and accesses()["line"].may_return("closed")
    if coagulation and any(tube.returned for tube in discards):
        yield f"{where}: what clears a line before coagulation is thrown away, never returned"
    elif taken_ul != wanted_ul:
        yield f"{where}: the line discards {taken_ul} uL; its dead space wants {wanted_ul} uL"
    elif is_policy and not coagulation and any(not tube.returned for tube in discards):
        yield f"{where}: what clears the line is thrown away, and this site gives it back"
