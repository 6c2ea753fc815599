"""Open micro tubes: which kinds they are, and what is said of them."""

from __future__ import annotations

from collections.abc import Iterable

from cubital import facts
from cubital.model import Caution, PlannedTube, Site, TubeKind
from cubital.planning.lint import SKIN_PUNCTURE

_BY_TRANSFER = ("syringe", "line")


# Kinds of such sizes alone are for patients with little blood: common practice, no source.
MICRO_MOST_UL = 600


def is_micro(kind: TubeKind) -> bool:
    """Whether every size of this kind is small: for skin puncture, and for who has little blood to spare.

    >>> from cubital.model import Tube
    >>> is_micro(TubeKind(key="m", name="m", additive="k2-edta", sizes=(Tube(draw_ul=250), Tube(draw_ul=500))))
    True
    """
    return all(size.draw_ul <= MICRO_MOST_UL for size in kind.sizes)


def is_open_micro(kind: TubeKind) -> bool:
    """Whether drops fill this kind: a tube of skin puncture, which a syringe or line fills with its cap off."""
    return kind.accesses is not None and SKIN_PUNCTURE in kind.accesses and kind.use != "blood-gas"


def from_micro_tubes(tubes: Iterable[PlannedTube], site: Site, access: str, *, is_newborn: bool) -> list[Caution]:
    """What open micro tubes ask of who fills them from a syringe or line, and of a group and screen in one."""
    micro = [tube for tube in tubes if tube.purpose == "collect" and is_open_micro(site.kinds[tube.kind])]
    found = [_safety("micro-transfer", "warn")] if micro and access in _BY_TRANSFER else []
    screens = set(facts.safety()["micro-group"].tests)
    if any(not screens.isdisjoint(tube.tests) for tube in micro):
        found.append(_safety("micro-group", "note" if is_newborn else "warn"))
    return found


def _safety(key: str, level: str) -> Caution:
    rule = facts.safety()[key]
    mark = rule.marks[0]
    return Caution(level=level, text=rule.text, about="plan", basis=mark.basis, sources=(mark.source,))
