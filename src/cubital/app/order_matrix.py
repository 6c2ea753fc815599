"""The order of draw as a table of harms: what every tube would do in every other, in the order of least harm."""

from __future__ import annotations

import msgspec

from cubital.app.cited_sources import cite_order
from cubital.app.derived_order import TAKEN_UL, DerivedOrder, PairHarm, derive_order
from cubital.errors import UnitError
from cubital.model import Site, TubeKind

LEAST_UL, MOST_UL = 1.0, 200.0
NO_VACUUM = "blood-gas"


class Cell(msgspec.Struct, frozen=True, kw_only=True):
    """What `from_` would do in `into`: the gravest grade, the share of an allowable error, and why in words."""

    from_: str
    into: str
    grade: str
    share: float
    words: tuple[str, ...]


class OrderMatrix(msgspec.Struct, frozen=True, kw_only=True):
    """A derived order with every cell of its table, row by row, and the tubes' marks and names."""

    derived: DerivedOrder
    rows: tuple[tuple[Cell | None, ...], ...]
    marks: tuple[tuple[str, str, str], ...]
    sources: tuple[tuple[str, str], ...]


def order_matrix(site: Site, *, carried_ul: float = TAKEN_UL) -> OrderMatrix:
    """The table of this site's tubes, one of each additive; raises `UnitError` for a volume out of bounds.

    >>> from cubital.app.wiring import open_site
    >>> found = order_matrix(open_site(demo=True))
    >>> found.rows[0][0] is None, len(found.rows) == len(found.derived.order)
    (True, True)
    """
    if not LEAST_UL <= carried_ul <= MOST_UL:
        raise UnitError(
            f"found {carried_ul:g} uL; expected {LEAST_UL:g} to {MOST_UL:g} uL of blood carried", where="carried"
        )
    kinds = kinds_to_compare(site)
    derived = derive_order([kind.key for kind in kinds], site, carried_ul=carried_ul)
    harms = {(harm.from_, harm.into): harm for harm in derived.harms}
    known = {kind.key: kind for kind in kinds}
    return OrderMatrix(
        derived=derived,
        rows=tuple(tuple(None if a == b else _cell(harms[a, b]) for b in derived.order) for a in derived.order),
        marks=tuple((key, known[key].mark or key, known[key].name) for key in derived.order),
        sources=cite_order(),
    )


def kinds_to_compare(site: Site) -> tuple[TubeKind, ...]:
    """The first venous kind of each additive in the stock: two tubes with the same one do each other no harm."""
    first: dict[str, TubeKind] = {}
    for kind in site.kinds.values():
        if kind.use != NO_VACUUM and kind.can_be_filled_by("straight-needle"):
            first.setdefault(kind.additive, kind)
    return tuple(first.values())


def _cell(harm: PairHarm) -> Cell:
    grade = "outweighs" if harm.outweighs else "spoils" if harm.spoils else "lesser" if harm.lesser else ""
    words = list(harm.reasons)
    if harm.worst is not None and harm.share >= 0.001:
        words.append(f"{harm.worst} moves by {harm.share:.2g} of its allowable error")
    words += [f"what it does to {analyte} is not known" for analyte in harm.withheld]
    return Cell(from_=harm.from_, into=harm.into, grade=grade, share=harm.share, words=tuple(words))
