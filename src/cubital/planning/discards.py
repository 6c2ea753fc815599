"""What clears the way before the first tube of a draw: how much is owed, and the row that says so."""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Sequence as Tubes

from cubital import facts
from cubital.model import PlannedTube, Reason, Site, Tube, TubeKind
from cubital.planning.choices import RATIO_CRITICAL
from cubital.planning.circumstances import Circumstances
from cubital.planning.cleared import Clearing
from cubital.planning.sizes import is_usable
from cubital.units import millilitres_text

# What the reason of a container is about that needs no discard before it, because an earlier one cleared the line.
CLEARED = "cleared"
COAGULATION = ("citrate-9-1",)
_Used = Mapping[tuple[str, int], int]


def clearing_of(circumstances: Circumstances, site: Site, *, has_bottles: bool) -> Clearing:
    """What a draw owes before its first tube, for the packing; `has_bottles` where cultures stand first in it."""
    if circumstances.access == "winged-set" and not has_bottles:
        owed_ul = winged_discard_ul(circumstances, site)
        return Clearing(0, owed_ul, RATIO_CRITICAL, may_be_opened=True) if owed_ul else Clearing()
    if circumstances.access != "line" or circumstances.line.dead_space_ul is None:
        return Clearing()
    if circumstances.line.suspected_infection and has_bottles:
        return Clearing()
    plain_ul, strict_ul = (_line_ul(circumstances, has_citrate=has_citrate) for has_citrate in (False, True))
    if may_return(circumstances, site, has_citrate=False):
        plain_ul = 0
    if may_return(circumstances, site, has_citrate=True):
        strict_ul = 0
    return Clearing(plain_ul, strict_ul - plain_ul, COAGULATION)


def winged_discard_ul(circumstances: Circumstances, site: Site) -> int:
    """What the discard tube before a first ratio tube takes; 0 where no tube is stocked for it."""
    sizes = [tube.draw_ul for _, tube in _discard_tubes(circumstances, site, {})]
    return _thrown_away_ul(max(sizes)) if sizes else 0


def may_return(circumstances: Circumstances, site: Site, *, has_citrate: bool) -> bool:
    """Whether the blood that clears this line goes back to the patient: the site's policy, never before coagulation."""
    is_policy = circumstances.access == "line" and site.planning.line_discard == "returned"
    return is_policy and facts.accesses()["line"].may_return("closed") and not has_citrate


def plan_discard(
    first: PlannedTube | None, tubes: Tubes[PlannedTube], circumstances: Circumstances, site: Site, used: _Used
) -> PlannedTube | None:
    """The discard that goes before `first` of this draw, or None; its position is set by the caller.

    `first` is the first container in order of draw, `tubes` all of the draw; `used` counts what the plan takes of each
    kind and size.
    """
    if first is None:
        return None
    if circumstances.access == "winged-set" and first.purpose == "collect" and first.additive in RATIO_CRITICAL:
        return _winged_discard(first, circumstances, site, used)
    is_cleared = any(reason.about == CLEARED for reason in first.reasons)
    if circumstances.access == "line" and circumstances.line.dead_space_ul is not None and not is_cleared:
        return _line_discard(tubes, circumstances, site)
    return None


_HARMLESS = ("none", *RATIO_CRITICAL)


def _discard_tubes(circumstances: Circumstances, site: Site, used: _Used) -> list[tuple[TubeKind, Tube]]:
    """The tubes on the shelf that may be filled to throw away."""
    return [
        (kind, tube)
        for kind in site.kinds.values()
        if kind.additive in _HARMLESS and kind.use is None and kind.can_be_filled_by(circumstances.access)
        for tube in kind.sizes
        if is_usable(tube, circumstances.on)
        and (tube.in_stock is None or tube.in_stock > used.get((kind.key, tube.draw_ul), 0))
    ]


def _part_filled_ul() -> int | None:
    """How much clears the air of a winged set, where the tube need not be full; None where no source says so."""
    return next((d.part_filled_ul for d in facts.accesses()["winged-set"].discards if d.needed), None)


def _thrown_away_ul(size_ul: int) -> int:
    """What a discard tube of this size takes: what clears the air, or all of it."""
    return min(size_ul, _part_filled_ul() or size_ul)


def _winged_discard(
    first: PlannedTube, circumstances: Circumstances, site: Site, used: _Used
) -> PlannedTube | None:
    rule = next(d for d in facts.accesses()["winged-set"].discards if d.needed)
    tubes = _discard_tubes(circumstances, site, used)
    if not tubes:
        return None
    # One that takes what clears the air comes first: a smaller one leaves air for the next tube. Then without additive
    # is best, then the same one; the other citrate is the same salt in another amount.
    kind, tube = min(
        tubes,
        key=lambda each: (
            -_thrown_away_ul(each[1].draw_ul), each[0].additive != "none", each[0].additive != first.additive,
            each[1].draw_ul,
        ),
    )  # fmt: skip
    size_ul = tube.draw_ul
    draw_ul = _thrown_away_ul(size_ul)
    dead_ul = facts.accesses()["winged-set"].dead_volume_ul or 0
    text = (
        f"the line of a winged set holds about {millilitres_text(dead_ul)} mL of air: the first tube falls short, "
        "and a citrate tube must be full"
    )
    if draw_ul < size_ul:
        text += f"; it is taken off when blood has flowed into it, about {millilitres_text(draw_ul)} mL"
    return PlannedTube(
        position=0, draw=first.draw, purpose="discard", kind=kind.key, name=kind.name, additive=kind.additive,
        gel=kind.gel, draw_ul=draw_ul, stopper=kind.stopper, mark=kind.mark,
        liquid_additive_ul=tube.liquid_additive_ul, size_ul=size_ul if draw_ul < size_ul else None,
        reasons=(Reason(about="discard", text=text, basis=rule.mark.basis, sources=(rule.mark.source,)),),
    )  # fmt: skip


def _line_discard(tubes: Tubes[PlannedTube], circumstances: Circumstances, site: Site) -> PlannedTube | None:
    if circumstances.line.suspected_infection and any(tube.purpose == "culture" for tube in tubes):
        return None
    has_citrate = any(tube.additive in COAGULATION for tube in tubes)
    draw_ul = _line_ul(circumstances, has_citrate=has_citrate)
    if draw_ul == 0:
        return None
    rule = _line_rule(circumstances, has_citrate=has_citrate)
    dead_space_ul = circumstances.line.dead_space_ul or 0
    text = f"{rule.dead_space_multiple} times the dead space of {millilitres_text(dead_space_ul)} mL: {rule.when}"
    returned = may_return(circumstances, site, has_citrate=has_citrate)
    if returned:
        text += "; it goes back to the patient at once through the closed system, as this site's policy says"
    return PlannedTube(
        position=0, draw=tubes[0].draw, purpose="discard", kind="discard", name="discard, by syringe",
        additive="none", gel=False, draw_ul=draw_ul, returned=returned,
        reasons=(Reason(about="discard", text=text, basis=rule.mark.basis, sources=(rule.mark.source,)),),
    )  # fmt: skip


def _line_ul(circumstances: Circumstances, *, has_citrate: bool) -> int:
    multiple = _line_rule(circumstances, has_citrate=has_citrate).dead_space_multiple or 0
    return multiple * (circumstances.line.dead_space_ul or 0)


def _line_rule(circumstances: Circumstances, *, has_citrate: bool) -> facts.Discard:
    # An unknown lumen counts as one that carried anticoagulant: the larger discard protects the result.
    strict = has_citrate and circumstances.line.carried_anticoagulant is not False
    rules = [
        d
        for d in facts.accesses()["line"].discards
        if d.needed and d.dead_space_multiple and (strict or not d.when.startswith("coagulation"))
    ]
    return max(rules, key=lambda d: d.dead_space_multiple or 0)
