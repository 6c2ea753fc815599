"""The culture bottles of a plan: which, how many, and how full."""

from __future__ import annotations

from typing import NamedTuple

from cubital import facts
from cubital.errors import PlanError
from cubital.model import Reason, Site, Tube, TubeKind
from cubital.planning.circumstances import Circumstances
from cubital.planning.culture_need import CultureNeed
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.sizes import is_usable

PEDIATRIC_BOTTLE_MAX_UL = 4000


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

    @property
    def blood_ul(self) -> int:
        """The blood that its bottles take."""
        return sum(bottle.fill_ul for bottle in self.bottles)


def steps_down(need: CultureNeed) -> list[CultureNeed]:
    """This need and smaller ones, most blood first: one set where there were more, then less, to the least published.

    A set that is filled finds more than two that are half filled, so further sets go before volume. Volumes between
    the full set and the least are whole millilitres.
    """
    found = [need]
    one_set_ul = need.total_ul // need.sets
    if need.sets > 1:
        found.append(need._replace(sets=1, total_ul=one_set_ul))
    smaller = {ul for ul in range(1000, one_set_ul, 1000) if ul > need.least_ul} | {need.least_ul}
    found += [need._replace(sets=1, total_ul=ul) for ul in sorted(smaller, reverse=True) if ul < one_set_ul]
    return found


def plan_cultures(asked: str, need: CultureNeed, access: str, shelf: Bottles) -> CulturePlan:
    """The bottles for a blood culture of this need; `asked` is set, aerobic or anaerobic.

    Give every culture of an order the same `shelf`, so that none takes a bottle that another took.

    Raises `PlanError` when no bottle is stocked.
    """
    known = facts.cultures()
    sets = need.sets
    per_set_ul = need.total_ul // sets
    only = known.rule("aerobic-only")
    reasons = [need.reason]
    bottles: list[Bottle] = []
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
            if access == "syringe":
                first, second = second, first
            bottles.append(shelf.take(first, number, per_set_ul - half))
            bottles.append(shelf.take(second, number, half))
    rules = ["two-sites"] if sets > 1 else []
    if asked == "set" and per_set_ul <= (only.at_or_below_ul or 0):
        rules.append("aerobic-only")
    if access == "winged-set":
        rules.append("aerobic-first")
    if access == "syringe" and asked == "set":
        rules.append("syringe-anaerobic-first")
    for key in rules:
        rule = known.rule(key)
        reasons.append(_reason(rule.text, rule.marks[0]))
    return CulturePlan(tuple(bottles), tuple(reasons))


class Bottles:
    """The culture bottles on the shelf, counted down as a plan takes them."""

    def __init__(self, site: Site, circumstances: Circumstances) -> None:
        self.site = site
        self.access = circumstances.access
        self.on = circumstances.on
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
        for refused in facts.order_policies()[SKIN_PUNCTURE].refused if self.access == SKIN_PUNCTURE else ():
            if refused.additive == "culture-medium":
                raise PlanError(refused.what, where="blood culture")
        raise PlanError(
            f"no bottle kept for {' or '.join(uses)} is in stock, in date and fillable by {self.access}; "
            "expected one; stock it, with that `use`, in tubes.toml",
            where="blood culture",
        )

    def _left(self, kind: TubeKind) -> list[Tube]:
        if not kind.can_be_filled_by(self.access):
            return []
        left = [
            tube
            for tube in kind.sizes
            if is_usable(tube, self.on)
            and (tube.in_stock is None or tube.in_stock > self.used.get((kind.key, tube.draw_ul), 0))
        ]
        return sorted(left, key=lambda tube: tube.draw_ul)

    def _taken(self, number: int, kind: TubeKind, tube: Tube, fill_ul: int) -> Bottle:
        self.used[kind.key, tube.draw_ul] = self.used.get((kind.key, tube.draw_ul), 0) + 1
        return Bottle(number, kind, tube, fill_ul)


def _reason(text: str, mark: facts.Mark) -> Reason:
    return Reason(about="plan", text=text, basis=mark.basis, sources=(mark.source,))


