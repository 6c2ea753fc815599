"""What blood of one tube does in another at a site, and at which carried volume a result leaves its limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from cubital import facts
from cubital.chemistry.carryover import (
    Change,
    Spill,
    predicted_changes,
    typical_values,
    volume_at_limit_ul,
    withheld,
)
from cubital.errors import OrderError, UnitError
from cubital.facts.analytes import Way
from cubital.model import Site, TubeKind
from cubital.units import millilitres_text

FORMAT = "cubital.carryover/1"
TAKEN_HEMATOCRIT = 0.45
MOST_BLOOD_UL = 100_000
# Glucose of 60 mmol/L is 12 times a healthy one; 90 mg/dL, which is healthy, would be 18 times (common practice).
_MOST_TIMES = 15
CAUTION = (
    "a computation for teaching and for judging an order; it never says that a sample is sound or spoiled: where "
    "carry-over is suspected, draw again"
)


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """The carried volume that uses up an analyte's allowable error; None where a whole tube's volume does not."""

    analyte: str
    scheme: str
    allowable: float
    unit: str
    carried_ul: float | None


class CarryOver(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is said of one tube's blood in another; `carried_ul` None where no volume was asked."""

    into: str
    from_: str
    additive: str
    into_additive: str
    carried_ul: float | None
    blood_ul: int
    hematocrit: float
    way: Way
    changes: tuple[Change, ...]
    limits: tuple[Limit, ...]
    claims: tuple[facts.Claim, ...]
    withheld: tuple[str, ...]
    taken: tuple[str, ...]


class Blood(msgspec.Struct, frozen=True, kw_only=True):
    """Whose blood it is and how it is measured; what is left out is taken as typical, and said."""

    hematocrit: float | None = None
    values: Mapping[str, float] = {}
    principles: Mapping[str, str] = {}
    scheme: str | None = None


def carry_over(
    from_: str,
    into: str,
    site: Site,
    *,
    carried_ul: float | None = None,
    blood_ul: int | None = None,
    way: str = "closed",
    blood: Blood | None = None,
) -> CarryOver:
    """What the content of `from_` does in `into`, both tube kinds of the site or additives.

    Raises `OrderError` for a name that is neither, an unknown way, and a scheme, assay or analyte nobody knows;
    `UnitError` for volumes that cannot be.

    >>> from cubital.app.wiring import open_site
    >>> found = carry_over("edta", "serum-gel", open_site(), carried_ul=50, blood_ul=950)
    >>> [round(change.amount, 2) for change in found.changes if change.analyte == "potassium"]
    [0.81]
    """
    known = blood or Blood()
    source, target = additive_of(from_, site), additive_of(into, site)
    taken: list[str] = []
    if blood_ul is None:
        blood_ul = _smallest_ul(into, target, site)
        taken.append(f"{into} of {millilitres_text(blood_ul)} mL, the smallest of this site: a trace weighs most in it")
    if not 0 < blood_ul <= MOST_BLOOD_UL:
        raise UnitError(f"found {blood_ul / 1000:g} mL; expected above 0 and at most 100 mL", where="blood in the tube")
    if known.hematocrit is None:
        taken.append(f"hematocrit {TAKEN_HEMATOCRIT}, typical of an adult")
    native = _native(into, target, site, known, taken)
    spill = Spill(
        additive=source, carried_ul=carried_ul or 0.0, blood_ul=blood_ul, into_additive=target,
        hematocrit=TAKEN_HEMATOCRIT if known.hematocrit is None else known.hematocrit,
    )  # fmt: skip
    _check(known)
    changes = predicted_changes(spill, native=native, principles=known.principles, scheme=known.scheme)
    family = facts.additives()[target].family
    return CarryOver(
        into=into, from_=from_, additive=source, into_additive=target, carried_ul=carried_ul, blood_ul=blood_ul,
        hematocrit=spill.hematocrit, way=way_of(way), changes=() if carried_ul is None else changes,
        limits=_limits(spill, native, known, changes),
        claims=facts.interference().claims(source, into=target, into_family=family),
        withheld=withheld(msgspec.structs.replace(spill, carried_ul=1.0), native), taken=tuple(taken),
    )  # fmt: skip


def additive_of(name: str, site: Site) -> str:
    """The additive of this tube kind, or the additive of this name; raises `OrderError` for neither."""
    if name in site.kinds:
        return site.kinds[name].additive
    if name in facts.additives():
        return name
    raise OrderError(
        f"found {name[:40]!r}; expected a tube kind of this site or an additive; "
        f"write its key in tubes.toml, or one of {', '.join(facts.additives())}",
        where="tube",
    )


def way_of(key: str) -> Way:
    """How blood could get over; raises `OrderError` for a way nobody knows."""
    for way in facts.interference().way:
        if way.key == key:
            return way
    known = ", ".join(way.key for way in facts.interference().way)
    raise OrderError(f"found {key[:40]!r}; expected one of {known}", where="way")


def measured_in(into: str, additive: str, site: Site) -> tuple[str, ...]:
    """The analytes that this site measures in this kind, or in any kind with this additive.

    >>> from cubital.app.wiring import open_site
    >>> measured_in("fluoride-oxalate", "fluoride-oxalate", open_site())
    ('glucose',)
    """
    kinds = {into} if into in site.kinds else {key for key, kind in site.kinds.items() if kind.additive == additive}
    return tuple(
        key
        for key, analyte in facts.analytes().items()
        if any(
            kinds & set(accept.tubes)
            for test in analyte.tests
            if test in site.tests
            for accept in site.tests[test].accepts
        )
    )


def _smallest_ul(into: str, additive: str, site: Site) -> int:
    kinds = [site.kinds[into]] if into in site.kinds else _kinds_of(additive, site)
    sizes = [tube.draw_ul for kind in kinds for tube in kind.sizes]
    if not sizes:
        raise OrderError(f"found no tube with {additive} at this site; expected a volume of blood", where="tube")
    return min(sizes)


def _kinds_of(additive: str, site: Site) -> list[TubeKind]:
    return [kind for kind in site.kinds.values() if kind.additive == additive]


def _native(into: str, additive: str, site: Site, known: Blood, taken: list[str]) -> dict[str, float]:
    """The values that the blood has of what is measured there, typical where the person gave none."""
    unknown = set(known.values) - set(facts.analytes())
    if unknown:
        raise OrderError(
            f"found {', '.join(sorted(unknown))}; expected one of {', '.join(facts.analytes())}", where="analyte"
        )
    for key, value in known.values.items():
        _check_value(key, value)
    typical = typical_values()
    measured = [*measured_in(into, additive, site), *(key for key in known.values)]
    native = {key: known.values.get(key, typical[key]) for key in dict.fromkeys(measured)}
    unsaid = [key for key in native if key not in known.values]
    if unsaid:
        of = "" if len(unsaid) == len(native) else f" of {', '.join(unsaid)}"
        taken.append(f"a healthy adult's values{of}")
    return native


def _check_value(key: str, value: float) -> None:
    """Refuse a value that no blood has; amounts far over any patient's are most often in another unit."""
    analyte = facts.analytes()[key]
    most = _MOST_TIMES * float(analyte.typical) if analyte.unit in ("mmol/L", "g/L") and analyte.typical else 1e6
    if not 0 <= value <= most:
        raise UnitError(f"found {value:g}; expected 0 to {most:g} {analyte.unit}; write {analyte.unit}", where=key)


def _check(known: Blood) -> None:
    schemes = {scheme for analyte in facts.analytes().values() for scheme in analyte.schemes}
    if known.scheme is not None and known.scheme not in schemes:
        raise OrderError(
            f"found {known.scheme[:40]!r}; expected one of {', '.join(sorted(schemes))}", where="allowable error"
        )
    unknown = set(known.principles) - {response.analyte for response in facts.interference().edta}
    if unknown:
        raise OrderError(
            f"found an assay of {', '.join(sorted(unknown))}; expected one of an analyte whose assays are known: "
            f"{', '.join(dict.fromkeys(r.analyte for r in facts.interference().edta))}",
            where="assay",
        )


def _limits(spill: Spill, native: Mapping[str, float], known: Blood, changes: tuple[Change, ...]) -> tuple[Limit, ...]:
    """Where each analyte that moves at all leaves its limit, the soonest first."""
    whole = msgspec.structs.replace(spill, carried_ul=spill.blood_ul)
    moved = {
        change.analyte
        for change in predicted_changes(whole, native=native, principles=known.principles, scheme=known.scheme)
        if abs(change.amount) > 1e-9 * max(1.0, abs(change.before))
    }
    found = [
        Limit(
            analyte=c.analyte, scheme=c.scheme, allowable=c.allowable, unit=c.unit,
            carried_ul=volume_at_limit_ul(
                spill, c.analyte, native={c.analyte: c.before}, principles=_only(known.principles, c.analyte),
                scheme=known.scheme,
            ),
        )
        for c in changes
        if c.analyte in moved and c.scheme is not None and c.allowable is not None
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda limit: (limit.carried_ul is None, limit.carried_ul or 0.0)))


def bias_curves(
    found: CarryOver, site: Site, blood: Blood, volumes_ul: Sequence[float], *, most: int = 5
) -> list[tuple[str, list[float]]]:
    """How much of its allowable error each analyte has used up at these volumes, signed; the soonest over it first.

    Analytes that a whole tube's volume does not bring over have no curve.
    """
    native = _native(found.into, found.into_additive, site, blood, [])
    spills = [
        Spill(
            additive=found.additive, carried_ul=volume_ul, blood_ul=found.blood_ul, hematocrit=found.hematocrit,
            into_additive=found.into_additive,
        )
        for volume_ul in volumes_ul
    ]  # fmt: skip
    rows = [
        {
            change.analyte: change
            for change in predicted_changes(spill, native=native, principles=blood.principles, scheme=blood.scheme)
        }
        for spill in spills
    ]
    return [
        (
            f"{facts.analytes()[limit.analyte].name} ({limit.allowable:.3g} {limit.unit}, {limit.scheme})",
            [row[limit.analyte].amount / limit.allowable for row in rows],
        )
        for limit in [limit for limit in found.limits if limit.carried_ul is not None][:most]
    ]


def _only(principles: Mapping[str, str], analyte: str) -> dict[str, str]:
    return {key: value for key, value in principles.items() if key == analyte}


def carry_over_document(found: CarryOver) -> dict[str, Any]:
    """The answer as one JSON object."""
    return {
        "format": FORMAT,
        "from": {"tube": found.from_, "additive": found.additive},
        "into": {"tube": found.into, "additive": found.into_additive, "blood_ml": found.blood_ul / 1000},
        "carried_ul": found.carried_ul,
        "hematocrit": found.hematocrit,
        "way": {"key": found.way.key, "level": found.way.level, "text": found.way.text},
        "changes": [_change(change) for change in found.changes],
        "limits": [msgspec.to_builtins(limit) for limit in found.limits],
        "in_kind": [
            {"what": c.what, "way": c.way, "grade": c.grade, "text": c.text, "rests_on": c.mark.label()}
            for c in found.claims
        ],
        "withheld": list(found.withheld),
        "taken": list(found.taken),
        "caution": CAUTION,
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        **msgspec.to_builtins(change),
        "amount": change.amount,
        "percent": change.percent,
        "share_of_allowable": change.share_of_allowable,
    }
