"""What a draw throws away before its first tube, by the rule of its access; the planner shares none of this."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from cubital.facts import OrderPolicy, accesses, order_policies
from cubital.model import Order, Site, TubeKind

Place = tuple[int, ...]
RATIO = ("citrate-9-1", "citrate-4-1")


@dataclass(frozen=True, slots=True)
class Toll:
    """What one draw owes: so much where it has a tube at all, and more where one of these additives is drawn.

    Of a draw that `is_sparable` the second is owed only where no other tube stands before the first of them.
    """

    draw: str
    always_ul: int
    ratio_ul: int
    additives: tuple[str, ...]
    is_sparable: bool

    def owed_ul(self, tubes: Iterable[tuple[str, Place]]) -> int:
        """What these tubes of the draw owe together: the additive and the place of each."""
        drawn = sorted(tubes, key=lambda tube: tube[1])
        if not drawn:
            return 0
        ratio = [place for additive, place in drawn if additive in self.additives]
        if not ratio or (self.is_sparable and drawn[0][1] < ratio[0]):
            return self.always_ul
        return self.always_ul + self.ratio_ul


def tolls_of(order: Order, site: Site, draws: Iterable[str], bottled: Iterable[str] = ()) -> tuple[Toll, ...]:
    """The tolls of these draws; `bottled` are those whose cultures stand first and have paid what is always owed."""
    bottled = set(bottled)
    found = [_toll(order, site, draw, has_bottles=draw in bottled) for draw in draws]
    return tuple(toll for toll in found if toll.always_ul or toll.ratio_ul)


def _toll(order: Order, site: Site, draw: str, *, has_bottles: bool) -> Toll:
    nothing = Toll(draw, 0, 0, (), False)
    if order.access == "winged-set":
        return nothing if has_bottles else Toll(draw, 0, _winged_ul(order, site), RATIO, True)
    if order.access != "line" or order.line.dead_space_ul is None:
        return nothing
    if has_bottles and order.line.suspected_infection:
        return nothing
    plain_ul, coagulation_ul = line_owes_ul(order, site, has_citrate=False), line_owes_ul(order, site, has_citrate=True)
    always_ul = 0 if has_bottles else plain_ul
    return Toll(draw, always_ul, coagulation_ul - plain_ul, ("citrate-9-1",), False)


def line_owes_ul(order: Order, site: Site, *, has_citrate: bool) -> int:
    """What is thrown away before the first container of a line, with and without coagulation."""
    # CLSI's page on draws from lines: 2 dead spaces, 6 before coagulation where the lumen carried anticoagulant.
    strict = has_citrate and order.line.carried_anticoagulant is not False
    if site.planning.line_discard == "returned" and not has_citrate:
        return 0
    return (6 if strict else 2) * (order.line.dead_space_ul or 0)


def _winged_ul(order: Order, site: Site) -> int:
    """Enough to clear the air, in a tube that may be thrown away; 0 where none is on the shelf."""
    clears_ul = next(each.part_filled_ul or 0 for each in accesses()["winged-set"].discards if each.needed)
    most_ul = max(
        (
            tube.draw_ul
            for kind in site.kinds.values()
            if kind.additive in ("none", *RATIO) and kind.use is None
            and (kind.accesses is None or order.access in kind.accesses)
            for tube in kind.sizes
            if tube.in_stock != 0 and not _is_past(tube.expires, order.on)
        ),
        default=0,
    )  # fmt: skip
    return min(clears_ul, most_ul)


def _is_past(expires: date | None, on: date | None) -> bool:
    return expires is not None and on is not None and expires < on


def places_of(site: Site, access: str) -> dict[str, Place]:
    """Where each kind stands in a draw: its step and place, the site's own shift, and its number in the stock."""
    policy = order_policies()["skin-puncture" if access == "skin-puncture" else site.planning.order_of_draw]
    places: dict[str, Place] = {}
    for key, kind in site.kinds.items():
        place = _place_in(policy, kind)
        if place is not None:
            places[key] = place
    own = {placing.kind: placing for placing in site.planning.placings}
    waiting = [key for key in site.kinds if key not in places and key in own]
    while waiting:
        ready = [key for key in waiting if (own[key].after or own[key].before or own[key].with_kind) in places]
        if not ready:
            break
        for key in ready:
            beside = places[own[key].after or own[key].before or own[key].with_kind or ""]
            shift = 1 if own[key].after else -1 if own[key].before else None
            places[key] = beside if shift is None else (*beside, shift)
            waiting.remove(key)
    numbers = {key: number for number, key in enumerate(site.kinds)}
    return {key: (*(*place, 0, 0, 0)[:5], numbers[key]) for key, place in places.items()}


def _place_in(policy: OrderPolicy, kind: TubeKind) -> Place | None:
    """The place that names the kind most closely: by its use, else by its material, else by its gel."""
    fitting: dict[int, Place] = {}
    for number, step in enumerate(policy.steps):
        for inner, place in enumerate(step.places):
            named = [(place.use, kind.use, 4), (place.material, kind.material, 2), (place.gel, kind.gel, 1)]
            if place.additive != kind.additive or any(want not in (None, has) for want, has, _ in named):
                continue
            if place.use is None and kind.use in ("trace-element", "lead"):
                continue
            fitting.setdefault(sum(weight for want, _, weight in named if want is not None), (number, inner))
    return fitting[max(fitting)] if fitting else None
