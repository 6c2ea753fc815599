"""One packing question as plain integers, built from model values by code the planner does not share."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import floor

from cubital.facts import order_policies
from cubital.model import Order, Panel, Site, Test, Tube, TubeKind
from cubital.model.vocabulary import PRIORITIES
from tests.oracles.tolls import Place, Toll, places_of, tolls_of

_SERUM_OR_PLASMA = ("serum", "plasma")
_GROWN_H = 24 * 6939  # 19 years
_MICRO_UL = 600
_CLASSES = ("before-treatment", "cannot-wait", "decides-today", "useful-today", "can-wait")
RANKS = 1 + len(PRIORITIES) * len(_CLASSES)


@dataclass(frozen=True, slots=True)
class Option:
    """One tube kind and matrix a request may use: how much it takes and its place in the preferences."""

    kind: str
    matrix: str
    need_ul: int
    place: int


@dataclass(frozen=True, slots=True)
class Request:
    """One test of one draw that must go whole into one tube; `group` is its draw, bench group and temperature.

    Tests of rank 0 are kept before those of rank 1, and so on: what the collector keeps, then by urgency and class.
    """

    name: str
    group: str
    rank: int
    own_tube: bool
    options: tuple[Option, ...]
    draw: str = ""


@dataclass(frozen=True, slots=True)
class Size:
    """One stocked size of a kind; `stock` None is uncounted. `place` is where it stands in a draw."""

    kind: str
    draw_ul: int
    capacity_ul: Mapping[str, int]
    stock: int | None
    additive: str = ""
    place: Place = ()


@dataclass(frozen=True, slots=True)
class Filled:
    """One tube of an answer: which size (index), which matrix, which requests (indices)."""

    size: int
    matrix: str
    requests: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """The optimum of an instance: how many are kept of each rank, then what they take, thrown-away blood with it.

    Packing and times take no part in equality.
    """

    kept: tuple[int, ...]
    tubes: int
    blood_ul: int
    preference: int
    packing: tuple[Filled, ...] = field(default=(), compare=False)
    build_s: float = field(default=0.0, compare=False)
    solve_s: float = field(default=0.0, compare=False)
    form: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Instance:
    """Requests, sizes, objective, the blood that may leave the vein where it is limited, and what draws owe."""

    requests: tuple[Request, ...]
    sizes: tuple[Size, ...]
    objective: str
    budget_ul: int | None = None
    tolls: tuple[Toll, ...] = ()

    @staticmethod
    def of(
        order: Order, site: Site, *, minimum: bool, budget_ul: int | None = None, objective: str | None = None,
        spares_blood: bool | None = None, reserve: Mapping[str, int] | int = 0, bottled: Iterable[str] = (),
    ) -> Instance:  # fmt: skip
        """The packing question inside this order at this site, with typical or minimum volumes.

        `reserve` is a further share of each volume in percent, for all or by request; `bottled` are draws that begin
        with culture bottles. Micro tubes are open where blood is spared, or where nothing else serves.
        """
        hematocrit = order.patient.hematocrit or site.planning.hematocrit
        if hematocrit is None:
            raise ValueError("the oracle needs a hematocrit from the patient or the site")
        aim = objective or order.objective or site.planning.objective
        if spares_blood is None:
            is_short = aim == "least-blood" or budget_ul is not None
            spares_blood = is_short or is_child(order) or order.access == "skin-puncture"
        sizes = tuple(_sizes_on_hand(order, site, hematocrit))
        requests = tuple(_requests(order, site, sizes, minimum=minimum, spares_blood=spares_blood, reserve=reserve))
        draws = dict.fromkeys(request.draw for request in requests)
        return Instance(requests, sizes, aim, budget_ul, tolls_of(order, site, draws, bottled))

    @property
    def ranks(self) -> int:
        """How many ranks are counted: those of urgency and class, or as many as the requests have."""
        return max([RANKS, *(request.rank + 1 for request in self.requests)])

    @property
    def everything(self) -> tuple[int, ...]:
        """How many requests there are of each rank."""
        return self.count_ranks(range(len(self.requests)))

    def count_ranks(self, members: Iterable[int]) -> tuple[int, ...]:
        """How many of these requests there are of each rank."""
        count = Counter(self.requests[i].rank for i in members)
        return tuple(count[rank] for rank in range(self.ranks))

    def value(self, tubes: int, blood_ul: int, preference: int) -> tuple[int, int, int]:
        """The three levels in the order of the objective."""
        levels = {
            "fewest-tubes": (tubes, blood_ul, preference),
            "least-blood": (blood_ul, tubes, preference),
            "liked-kinds": (tubes, preference, blood_ul),
        }
        return levels[self.objective]

    def owed_ul(self, packing: Iterable[Filled]) -> int:
        """What the draws of this packing throw away before their first tubes."""
        drawn: dict[str, list[tuple[str, Place]]] = defaultdict(list)
        for tube in packing:
            size = self.sizes[tube.size]
            drawn[self.requests[tube.requests[0]].draw].append((size.additive, size.place))
        return sum(toll.owed_ul(drawn[toll.draw]) for toll in self.tolls)

    def holds(self, size: Size, matrix: str, members: tuple[int, ...]) -> int | None:
        """The preference cost of these requests in one such tube, or None if it may not hold them."""
        requests = [self.requests[i] for i in members]
        if len({r.group for r in requests}) != 1 or (len(requests) > 1 and any(r.own_tube for r in requests)):
            return None
        chosen = [first(r, size.kind, matrix) for r in requests]
        options = [option for option in chosen if option is not None]
        if len(options) < len(chosen):
            return None
        if sum(option.need_ul for option in options) > size.capacity_ul.get(matrix, 0):
            return None
        return sum(option.place for option in options)

    def audit(self, packing: tuple[Filled, ...]) -> Answer:
        """The exact value of a packing in whole numbers; refuses one that breaks a rule."""
        seen = Counter(i for tube in packing for i in tube.requests)
        if any(count > 1 for count in seen.values()):
            raise AssertionError("a request was packed twice")
        used = Counter(tube.size for tube in packing)
        preference = 0
        for tube in packing:
            cost = self.holds(self.sizes[tube.size], tube.matrix, tube.requests)
            if cost is None or not tube.requests:
                raise AssertionError(f"a tube that may not be filled so: {tube}")
            preference += cost
        for index, count in used.items():
            stock = self.sizes[index].stock
            if stock is not None and count > stock:
                raise AssertionError("more tubes than the stock holds")
        blood_ul = sum(self.sizes[tube.size].draw_ul for tube in packing) + self.owed_ul(packing)
        if self.budget_ul is not None and blood_ul > self.budget_ul:
            raise AssertionError("more blood than the budget")
        return Answer(self.count_ranks(seen), len(packing), blood_ul, preference, tuple(packing))


def first(request: Request, kind: str, matrix: str) -> Option | None:
    """The first option of a request with this kind and matrix."""
    return next((o for o in request.options if o.kind == kind and o.matrix == matrix), None)


def usable_ul(kind: TubeKind, tube: Tube, matrix: str, hematocrit: Fraction, recovery: Fraction) -> int:
    """The usable volume of one tube by the formula of the issue."""
    dead_ul = kind.dead_volume_ul.get(matrix, 0)  # type: ignore[call-overload]
    if matrix in _SERUM_OR_PLASMA:
        liquid_ul = tube.draw_ul * (1 - hematocrit) + tube.liquid_additive_ul
        return floor(liquid_ul * recovery) - int(dead_ul)
    return tube.draw_ul - int(dead_ul)


def is_child(order: Order) -> bool:
    """Whether the patient is known not to be grown."""
    return order.patient.age_h is not None and order.patient.age_h < _GROWN_H


def _sizes_on_hand(order: Order, site: Site, hematocrit: Fraction) -> Iterator[Size]:
    places = places_of(site, order.access)
    policy = order_policies()["skin-puncture" if order.access == "skin-puncture" else site.planning.order_of_draw]
    for key, kind in site.kinds.items():
        if kind.additive == "culture-medium" or (kind.accesses is not None and order.access not in kind.accesses):
            continue
        if any(no.additive in (None, kind.additive) and no.use in (None, kind.use) for no in policy.refused):
            continue
        for tube in kind.sizes:
            if tube.expires is not None and (order.on is None or tube.expires < order.on):
                continue
            capacity_ul = {
                matrix: usable_ul(kind, tube, matrix, hematocrit, site.planning.recovery)
                for matrix in ("whole-blood", *_SERUM_OR_PLASMA)
            }
            yield Size(key, tube.draw_ul, capacity_ul, tube.in_stock, kind.additive, places.get(key, ()))


def _asked(order: Order, site: Site) -> dict[tuple[int, str], int]:
    """The most urgent priority of every (minute, test) of the order."""
    asked: dict[tuple[int, str], int] = {}

    def add(name: str, at_min: int, priority: int) -> None:
        panel: Panel | None = None if name in site.tests else site.panels[name]
        if panel is None:
            asked[at_min, name] = min(priority, asked.get((at_min, name), priority))
            return
        for member in panel.tests:
            add(member, at_min, priority)
        for step in panel.series:
            for member in step.tests:
                add(member, at_min + step.at_min, priority)

    for ask in order.asks:
        add(ask.test, ask.at_min or 0, PRIORITIES.index(ask.priority))
    return asked


def _requests(
    order: Order, site: Site, sizes: tuple[Size, ...], *, minimum: bool, spares_blood: bool,
    reserve: Mapping[str, int] | int,
) -> Iterator[Request]:  # fmt: skip
    sharing = _groups(site.planning.share_benches)
    for (at_min, key), urgency in _asked(order, site).items():
        test = site.tests[key]
        if test.culture is not None:
            continue
        group = f"{at_min}/{sharing.get(test.bench, test.bench)}/{_kept(test.handling)}"
        percent = reserve if isinstance(reserve, int) else reserve.get(f"{at_min}/{key}", 0)
        options = _options(test, sizes, minimum=minimum, percent=percent)
        larger = tuple(option for option in options if not _is_micro(site.kinds[option.kind]))
        rank = 0 if key in order.keep else 1 + len(_CLASSES) * urgency + _CLASSES.index(test.rank or "useful-today")
        open_ = options if spares_blood or not larger else larger
        yield Request(f"{at_min}/{key}", group, rank, test.own_tube, open_, str(at_min))


def _options(test: Test, sizes: tuple[Size, ...], *, minimum: bool, percent: int) -> tuple[Option, ...]:
    """Every way of this test that some size on hand holds; the reserve as far as the largest of them holds it."""
    flat = [(kind, accept) for accept in test.accepts for kind in accept.tubes]
    found = []
    for place, (kind, accept) in enumerate(flat):
        need_ul = accept.minimum_ul if minimum else accept.volume_ul
        most_ul = max((s.capacity_ul[accept.matrix] for s in sizes if s.kind == kind and s.stock != 0), default=0)
        if need_ul <= most_ul and (kind, accept.matrix) not in {(k, a.matrix) for k, a in flat[:place]}:
            with_reserve_ul = need_ul + -(-need_ul * percent // 100)
            found.append(Option(kind, accept.matrix, min(with_reserve_ul, most_ul), place))
    return tuple(found)


def _is_micro(kind: TubeKind) -> bool:
    return max(tube.draw_ul for tube in kind.sizes) <= _MICRO_UL


def _kept(handling: tuple[str, ...]) -> str:
    """Where a tube of this test stands until the spin, and how it is spun: in the room where the test says nothing."""
    place = "ice" if "ice" in handling else "37 C" if "warm" in handling else "room"
    is_cold = "cold_spin" in handling or (place == "ice" and "room_temperature_spin" not in handling)
    return f"{place}, spun {'cold' if is_cold else 'in the room'}"


def _groups(share_benches: tuple[tuple[str, ...], ...]) -> dict[str, str]:
    benches = [bench for group in share_benches for bench in group]
    if len(benches) != len(set(benches)):
        raise ValueError("the oracle does not know what overlapping bench groups mean")
    return {bench: "+".join(group) for group in share_benches for bench in group}
