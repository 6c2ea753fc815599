"""The order of draw that the chemistry alone would give, beside each guideline's."""

from __future__ import annotations

from collections.abc import Sequence as Listing
from typing import Any

import msgspec

from cubital import facts
from cubital.app.carry_over import TAKEN_HEMATOCRIT, Blood, additive_of, measured_in
from cubital.chemistry.carryover import Spill, typical_values, withheld, worst_share
from cubital.chemistry.least_harm import Tables, harm_of_order, least_harm, tables_of
from cubital.errors import OrderError
from cubital.model import Site
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.sequence import Sequence

FORMAT = "cubital.order-of-draw/1"
# Over this much EDTA blood must be carried before any result changes (cadamuro-2015): what is assumed of every tube.
TAKEN_UL = 10.0
# Grades are compared, never added: one of a higher grade outranks any number of a lower. A part of an allowable error
# is counted in millionths.
_OUTWEIGHS, _SPOILS, _SHARE, _LESSER = 10**18, 10**14, 10**4, 1


class PairHarm(msgspec.Struct, frozen=True, kw_only=True):
    """What one tube does in a later one: claims in kind by grade, and the worst share of an allowable error."""

    from_: str
    into: str
    outweighs: int
    spoils: int
    lesser: int
    share: float
    worst: str | None
    reasons: tuple[str, ...]
    withheld: tuple[str, ...]

    @property
    def rank(self) -> int:
        """The harm as one whole number that keeps the grades apart."""
        share = round(self.share * 1_000_000)
        return self.outweighs * _OUTWEIGHS + self.spoils * _SPOILS + share * _SHARE + self.lesser * _LESSER


class Difference(msgspec.Struct, frozen=True, kw_only=True):
    """A pair that a guideline draws the other way round than the chemistry, and what each way harms."""

    first: str
    then: str
    as_drawn: PairHarm
    other_way: PairHarm


class Beside(msgspec.Struct, frozen=True, kw_only=True):
    """One guideline's order of these tubes; `unsaid` names those it does not place."""

    policy: str
    name: str
    order: tuple[str, ...]
    unsaid: tuple[str, ...]
    is_least: bool
    differences: tuple[Difference, ...]


class DerivedOrder(msgspec.Struct, frozen=True, kw_only=True):
    """The order of least harm of a set of kinds; `orders` counts those that do as well."""

    order: tuple[str, ...]
    orders: int
    carried_ul: float
    hematocrit: float
    harms: tuple[PairHarm, ...]
    indifferent: tuple[tuple[str, str], ...]
    guidelines: tuple[Beside, ...]


def derive_order(
    kinds: Listing[str], site: Site, *, carried_ul: float = TAKEN_UL, blood: Blood | None = None
) -> DerivedOrder:
    """The order of these tube kinds or additives that the chemistry gives, and where each guideline differs.

    Raises `OrderError` for a name nobody knows, a name given twice, fewer than two; `UnitError` for more than 16.

    >>> from cubital.app.wiring import open_site
    >>> derive_order(["edta", "heparin", "citrate"], open_site()).order
    ('citrate', 'heparin', 'edta')
    """
    known = blood or Blood()
    if len(kinds) < 2 or len(set(kinds)) < len(kinds):
        raise OrderError("expected two tubes at least, each named once", where="order of draw")
    hematocrit = TAKEN_HEMATOCRIT if known.hematocrit is None else known.hematocrit
    pairs = {
        (a, b): pair_harm(a, b, site, carried_ul=carried_ul, hematocrit=hematocrit, blood=known)
        for a in kinds
        for b in kinds
        if a != b
    }
    harms = [[0 if a == b else pairs[a, b].rank for b in kinds] for a in kinds]
    tables = tables_of(harms)
    found = least_harm(harms, tables=tables)
    return DerivedOrder(
        order=tuple(kinds[place] for place in found.order),
        orders=found.orders,
        carried_ul=carried_ul,
        hematocrit=hematocrit,
        harms=tuple(pairs.values()),
        indifferent=tuple(
            (a, b) for n, a in enumerate(kinds) for b in kinds[n + 1 :] if pairs[a, b].rank == pairs[b, a].rank
        ),
        guidelines=tuple(_beside(key, kinds, site, pairs, harms, tables) for key in _venous()),
    )


def pair_harm(from_: str, into: str, site: Site, *, carried_ul: float, hematocrit: float, blood: Blood) -> PairHarm:
    """What a trace of one kind does in another, from its smallest stock size on."""
    source, target = additive_of(from_, site), additive_of(into, site)
    claims = facts.interference().claims(source, into=target, into_family=facts.additives()[target].family)
    native = {key: blood.values.get(key, typical_values()[key]) for key in measured_in(into, target, site)}
    spill = Spill(
        additive=source, carried_ul=carried_ul, blood_ul=_least_blood_ul(into, target, site),
        into_additive=target, hematocrit=hematocrit,
    )  # fmt: skip
    worst, share = worst_share(spill, native=native, principles=blood.principles, scheme=blood.scheme)
    graded = [claim.grade for claim in claims]
    return PairHarm(
        from_=from_, into=into, outweighs=graded.count("outweighs"), spoils=graded.count("spoils"),
        lesser=graded.count("lesser"), share=share, worst=worst,
        reasons=tuple(claim.text for claim in claims), withheld=withheld(spill, native),
    )  # fmt: skip


def _least_blood_ul(into: str, additive: str, site: Site) -> int:
    kinds = [site.kinds[into]] if into in site.kinds else [k for k in site.kinds.values() if k.additive == additive]
    return min((tube.draw_ul for kind in kinds for tube in kind.sizes), default=2000)


def _venous() -> list[str]:
    return [key for key in facts.order_policies() if key != SKIN_PUNCTURE]


def _beside(
    policy: str,
    kinds: Listing[str],
    site: Site,
    pairs: dict[tuple[str, str], PairHarm],
    harms: list[list[int]],
    tables: Tables,
) -> Beside:
    """This guideline's order of the tubes it places, held against the least harm that those tubes allow."""
    planning = msgspec.structs.replace(site.planning, order_of_draw=policy, placings=())
    sequence = Sequence(msgspec.structs.replace(site, planning=planning), "straight-needle")
    placed = [n for n, kind in enumerate(kinds) if kind in site.kinds and sequence.find(kind) is not None]
    least = tables.least_among(placed)
    placed.sort(key=lambda n: sequence.sort_key(kinds[n], 0, ()))
    order = tuple(kinds[n] for n in placed)
    differences = tuple(
        Difference(first=a, then=b, as_drawn=pairs[a, b], other_way=pairs[b, a])
        for n, a in enumerate(order)
        for b in order[n + 1 :]
        if pairs[a, b].rank > pairs[b, a].rank
    )
    return Beside(
        policy=policy,
        name=facts.order_policies()[policy].name,
        order=order,
        unsaid=tuple(kind for kind in kinds if kind not in order),
        is_least=harm_of_order(harms, placed) == least,
        differences=differences,
    )


def derived_order_document(found: DerivedOrder) -> dict[str, Any]:
    """The answer as one JSON object."""
    return {"format": FORMAT, **msgspec.to_builtins(found, str_keys=True)}
