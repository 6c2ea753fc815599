"""The containers that no test is packed into: culture bottles and discard tubes."""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Sequence as Tubes
from typing import NamedTuple

from cubital import facts
from cubital.errors import PlanError
from cubital.model import Order, Patient, PlannedTube, Reason, Site, Tube, TubeKind
from cubital.planning.choices import RATIO_CRITICAL
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.sizes import is_usable
from cubital.units import millilitres_text

PEDIATRIC_BOTTLE_MAX_UL = 4000
# What the reason of a container is about that needs no discard before it, because an earlier one cleared the line.
CLEARED = "cleared"


class Bottle(NamedTuple):
    """One culture bottle: which set it is of, its kind and size, and the blood it takes."""

    set_number: int
    kind: TubeKind
    tube: Tube
    fill_ul: int


class CulturePlan(NamedTuple):
    """The bottles of an order and the reasons for their number and fill."""

    bottles: tuple[Bottle, ...]
    reasons: tuple[Reason, ...]

    @property
    def sets(self) -> int:
        """How many sets the bottles are of."""
        return len({bottle.set_number for bottle in self.bottles})

    def first_set(self) -> CulturePlan:
        """This culture without its further sets: for a patient who can spare the blood of one."""
        kept = tuple(bottle for bottle in self.bottles if bottle.set_number == 1)
        apart = facts.cultures().rule("two-sites").text
        return CulturePlan(kept, tuple(reason for reason in self.reasons if reason.text != apart))


def plan_cultures(asked: str, order: Order, site: Site, *, shelf: Bottles | None = None) -> CulturePlan:
    """The bottles for a blood culture by weight; `asked` is set, aerobic or anaerobic.

    Give every culture of an order the same `shelf`, so that none takes a bottle that another took.

    Raises `PlanError` when a child's weight is not known or no bottle is stocked.
    """
    known = facts.cultures()
    sets, total_ul, reason = _volume(order.patient, known)
    per_set_ul = total_ul // sets
    only = known.rule("aerobic-only")
    reasons = [reason]
    bottles: list[Bottle] = []
    shelf = shelf or Bottles(site, order)
    for number in range(1, sets + 1):
        if asked == "anaerobic":
            bottles.append(shelf.take(("culture-anaerobic",), number, per_set_ul))
        elif asked == "aerobic" or per_set_ul <= (only.at_or_below_ul or 0):
            uses = (
                ("culture-pediatric", "culture-aerobic")
                if per_set_ul <= PEDIATRIC_BOTTLE_MAX_UL
                else ("culture-aerobic",)
            )
            bottles.append(shelf.take(uses, number, per_set_ul))
        else:
            half = per_set_ul // 2
            first, second = ("culture-aerobic",), ("culture-anaerobic",)
            if order.access == "syringe":
                first, second = second, first
            bottles.append(shelf.take(first, number, per_set_ul - half))
            bottles.append(shelf.take(second, number, half))
    rules = ["two-sites"] if sets > 1 else []
    if asked == "set" and per_set_ul <= (only.at_or_below_ul or 0):
        rules.append("aerobic-only")
    if order.access == "winged-set":
        rules.append("aerobic-first")
    if order.access == "syringe" and asked == "set":
        rules.append("syringe-anaerobic-first")
    for key in rules:
        rule = known.rule(key)
        reasons.append(_reason(rule.text, rule.marks[0]))
    return CulturePlan(tuple(bottles), tuple(reasons))


def _volume(patient: Patient, known: facts.Cultures) -> tuple[int, int, Reason]:
    if patient.weight_g is None:
        if patient.age_h is not None and patient.age_h < 24 * 6939:
            raise PlanError(
                "a child's blood culture is planned by weight, which is not known; give weight_kg",
                where="patient.weight_kg",
            )
        adult = known.adult
        text = (
            f"weight not known: adult blood culture, {adult.sets_low} sets of "
            f"{millilitres_text(adult.per_set_low_ul)} mL, the low end"
        )
        return adult.sets_low, adult.sets_low * adult.per_set_low_ul, _reason(text, adult.marks[0])
    table = known.table("idsa-asm-2018")
    row = next(row for row in table.rows if row.weight_max_g is None or patient.weight_g <= row.weight_max_g)
    lighter = [r.weight_max_g for r in table.rows if r.weight_max_g is not None and r.weight_max_g < patient.weight_g]
    # Words of the row, not of the patient: plans of patients alike are shared.
    over = f"over {lighter[-1] / 1000:g} kg" if lighter else ""
    up_to = "" if row.weight_max_g is None else f"up to {row.weight_max_g / 1000:g} kg"
    text = (
        f"blood culture at a weight {' and '.join(word for word in (over, up_to) if word)}: "
        f"{millilitres_text(row.total_low_ul)} mL in all, "
        f"{row.sets_low} set{'s' if row.sets_low > 1 else ''}, the low end"
    )
    return row.sets_low, row.total_low_ul, _reason(text, table.marks[0])


class Bottles:
    """The culture bottles on the shelf, counted down as a plan takes them."""

    def __init__(self, site: Site, order: Order) -> None:
        self.site = site
        self.order = order
        self.used: dict[tuple[str, int], int] = {}

    def take(self, uses: tuple[str, ...], number: int, fill_ul: int) -> Bottle:
        """The smallest bottle that takes this fill, of the first use that is stocked; else the largest."""
        for use in uses:
            for kind in self.site.kinds.values():
                if kind.additive != "culture-medium" or kind.use != use:
                    continue
                sizes = self._left(kind)
                for tube in sizes:
                    if tube.draw_ul >= fill_ul:
                        return self._taken(number, kind, tube, fill_ul)
                if sizes and use == uses[-1]:
                    return self._taken(number, kind, sizes[-1], sizes[-1].draw_ul)
        for refused in facts.order_policies()[SKIN_PUNCTURE].refused if self.order.access == SKIN_PUNCTURE else ():
            if refused.additive == "culture-medium":
                raise PlanError(refused.what, where="blood culture")
        raise PlanError(
            f"no bottle kept for {' or '.join(uses)} is in stock, in date and fillable by {self.order.access}; "
            "expected one; stock it, with that `use`, in tubes.toml",
            where="blood culture",
        )

    def _left(self, kind: TubeKind) -> list[Tube]:
        if not kind.can_be_filled_by(self.order.access):
            return []
        left = [
            tube
            for tube in kind.sizes
            if is_usable(tube, self.order.on)
            and (tube.in_stock is None or tube.in_stock > self.used.get((kind.key, tube.draw_ul), 0))
        ]
        return sorted(left, key=lambda tube: tube.draw_ul)

    def _taken(self, number: int, kind: TubeKind, tube: Tube, fill_ul: int) -> Bottle:
        self.used[kind.key, tube.draw_ul] = self.used.get((kind.key, tube.draw_ul), 0) + 1
        return Bottle(number, kind, tube, fill_ul)


def _reason(text: str, mark: facts.Mark) -> Reason:
    return Reason(about="plan", text=text, basis=mark.basis, sources=(mark.source,))


def plan_discard(
    first: PlannedTube | None,
    tubes: Tubes[PlannedTube],
    order: Order,
    site: Site,
    used: Mapping[tuple[str, int], int],
) -> PlannedTube | None:
    """The discard that goes before `first` of this draw, or None; its position is set by the caller.

    `first` is the first container in order of draw, `tubes` all of the draw; `used` counts what the
    plan takes of each kind and draw volume.
    """
    if first is None:
        return None
    if order.access == "winged-set" and first.purpose == "collect" and first.additive in RATIO_CRITICAL:
        return _winged_discard(first, order, site, used)
    is_cleared = any(reason.about == CLEARED for reason in first.reasons)
    if order.access == "line" and order.line.dead_space_ul is not None and not is_cleared:
        return _line_discard(tubes, order, order.line.dead_space_ul)
    return None


def _winged_discard(
    first: PlannedTube, order: Order, site: Site, used: Mapping[tuple[str, int], int]
) -> PlannedTube | None:
    rule = next(d for d in facts.accesses()["winged-set"].discards if d.needed)
    candidates = [
        (kind.additive != "none", tube.draw_ul, number, kind, tube)
        for number, kind in enumerate(site.kinds.values())
        if kind.additive in ("none", first.additive) and kind.use is None and kind.can_be_filled_by(order.access)
        for tube in kind.sizes
        if is_usable(tube, order.on)
        and (tube.in_stock is None or tube.in_stock > used.get((kind.key, tube.draw_ul), 0))
    ]
    if not candidates:
        return None
    _, draw_ul, _, kind, tube = min(candidates, key=lambda c: c[:3])
    dead_ul = facts.accesses()["winged-set"].dead_volume_ul or 0
    text = (
        f"the line of a winged set holds about {millilitres_text(dead_ul)} mL of air: the first tube falls short, "
        "and a citrate tube must be full"
    )
    return PlannedTube(
        position=0, draw=first.draw, purpose="discard", kind=kind.key, name=kind.name, additive=kind.additive,
        gel=kind.gel, draw_ul=draw_ul, stopper=kind.stopper, mark=kind.mark,
        liquid_additive_ul=tube.liquid_additive_ul,
        reasons=(Reason(about="discard", text=text, basis=rule.mark.basis, sources=(rule.mark.source,)),),
    )  # fmt: skip


def _line_discard(tubes: Tubes[PlannedTube], order: Order, dead_space_ul: int) -> PlannedTube | None:
    if order.line.suspected_infection and any(tube.purpose == "culture" for tube in tubes):
        return None
    is_coagulation = any(tube.additive == "citrate-9-1" for tube in tubes)
    # An unknown lumen counts as one that carried anticoagulant: the larger discard protects the result.
    strict = is_coagulation and order.line.carried_anticoagulant is not False
    rules = [
        d
        for d in facts.accesses()["line"].discards
        if d.needed and d.dead_space_multiple and (strict or not d.when.startswith("coagulation"))
    ]
    rule = max(rules, key=lambda d: d.dead_space_multiple or 0)
    multiple = rule.dead_space_multiple or 0
    draw_ul = multiple * dead_space_ul
    if draw_ul == 0:
        return None
    text = f"{multiple} times the dead space of {millilitres_text(dead_space_ul)} mL: {rule.when}"
    return PlannedTube(
        position=0, draw=tubes[0].draw, purpose="discard", kind="discard", name="discard, by syringe",
        additive="none", gel=False, draw_ul=draw_ul,
        reasons=(Reason(about="discard", text=text, basis=rule.mark.basis, sources=(rule.mark.source,)),),
    )  # fmt: skip
