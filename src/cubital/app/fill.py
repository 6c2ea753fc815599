"""How full each tube of a site comes out: altitude, warmth of the tube, the line's air; and what to discard."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import msgspec

from cubital import facts
from cubital.chemistry.citrate import citrate_in_tube
from cubital.chemistry.tubing import tubing_ul
from cubital.chemistry.vacuum import STANDARD_C, air_pressure_kpa, altitude_at_fill_m, draw_share, least_gas_share
from cubital.errors import OrderError, UnitError
from cubital.model import Site, Tube, TubeKind
from cubital.model.vocabulary import ACCESSES
from cubital.planning.rows import least_fill_percent

FORMAT = "cubital.fill/1"
# What a laboratory that does not know its tubes may look at: a low, the worked and a high share (shared arithmetic).
SCENARIOS = (0.5, 0.675, 0.75, 0.9)
CITRATE_MMOL_PER_L = Fraction(109)
_TOP_M = 5000
_STEPS = 100


class Conditions(msgspec.Struct, frozen=True, kw_only=True):
    """Where and how the draw is made; `gas_share` is nominal draw over gas space, rarely published: asked."""

    altitude_m: float = 0.0
    temperature_c: float = STANDARD_C
    gas_share: float | None = None
    access: str = "straight-needle"
    dead_ul: float | None = None


class TubeFill(msgspec.Struct, frozen=True, kw_only=True):
    """One stock size: its fill at each gas share looked at, as any tube and as the first of the draw.

    `fills` and `first_fills` run with `FillReport.gas_shares`; `short_from_m` is the altitude from which it falls
    under its least fill, None where nowhere; `least_gas_share` what it takes here. Citrate only for 9:1 and 4:1.
    """

    kind: str
    name: str
    draw_ul: int
    fills: tuple[float, ...]
    first_fills: tuple[float, ...]
    fill_min_percent: int | None
    short_from_m: tuple[float | None, ...]
    least_gas_share: float | None
    blood_to_citrate: tuple[float, ...] = ()
    citrate_mmol_per_l: tuple[float, ...] = ()
    citrate_first_mmol_per_l: tuple[float, ...] = ()


class Discarding(msgspec.Struct, frozen=True, kw_only=True):
    """One rule of what to throw away first, with its volume where the dead space is known."""

    when: str
    needed: bool
    what: str
    volume_ul: float | None
    rests_on: str


class FillReport(msgspec.Struct, frozen=True, kw_only=True):
    """The fill of every tube asked, and the discard rules of the access."""

    altitude_m: float
    pressure_kpa: float
    temperature_c: float
    gas_shares: tuple[float, ...]
    is_asked: bool
    access: str
    dead_ul: float
    tubes: tuple[TubeFill, ...]
    discards: tuple[Discarding, ...]
    notes: tuple[str, ...]


def fill_report(kinds: Sequence[str], site: Site, conditions: Conditions) -> FillReport:
    """How full the evacuated kinds of this site come out; all of them where none is named.

    Raises `OrderError` for a kind or an access nobody knows and for a line whose dead space is not given.

    >>> from cubital.app.wiring import open_site
    >>> found = fill_report(["citrate"], open_site(), Conditions(altitude_m=1609, gas_share=0.675))
    >>> [round(found.tubes[-1].fills[0], 3), found.tubes[-1].fill_min_percent]
    [0.897, 90]
    """
    if conditions.access not in ACCESSES:
        raise OrderError(f"found {conditions.access[:40]!r}; expected one of {', '.join(ACCESSES)}", where="access")
    access = facts.accesses()[conditions.access]
    dead_ul = conditions.dead_ul
    if dead_ul is None:
        if access.dead_volume_ul is None:
            raise OrderError(f"the dead space of a {access.name} is not known; give it in mL", where="dead space")
        dead_ul = float(access.dead_volume_ul)
    if not 0 <= dead_ul <= 20_000:
        raise UnitError(f"found {dead_ul / 1000:g} mL; expected 0 to 20 mL", where="dead space")
    shares = SCENARIOS if conditions.gas_share is None else (conditions.gas_share,)
    rows = [
        _tube_fill(kind, tube, conditions, shares, dead_ul)
        for kind in _chosen(kinds, site, conditions.access)
        for tube in kind.sizes
    ]
    return FillReport(
        altitude_m=conditions.altitude_m, pressure_kpa=air_pressure_kpa(conditions.altitude_m),
        temperature_c=conditions.temperature_c, gas_shares=shares, is_asked=conditions.gas_share is not None,
        access=conditions.access, dead_ul=dead_ul, tubes=tuple(rows), discards=_discards(access, conditions.dead_ul),
        notes=_notes(conditions),
    )  # fmt: skip


def _chosen(kinds: Sequence[str], site: Site, access: str) -> list[TubeKind]:
    for key in kinds:
        if key not in site.kinds:
            raise OrderError(f"found {key[:40]!r}; expected a tube kind of this site", where="tube kind")
        if not _is_evacuated(site.kinds[key]):
            raise OrderError(
                f"found {key}; expected a kind with a vacuum: it is pulled or drips full", where="tube kind"
            )
    named = [site.kinds[key] for key in dict.fromkeys(kinds)]
    return named or [kind for kind in site.kinds.values() if kind.can_be_filled_by(access) and _is_evacuated(kind)]


def _is_evacuated(kind: TubeKind) -> bool:
    """A gas syringe is pulled and a skin puncture drips: neither has a vacuum."""
    return kind.use != "blood-gas" and "straight-needle" in (kind.accesses or ("straight-needle",))


def _tube_fill(kind: TubeKind, tube: Tube, at: Conditions, shares: tuple[float, ...], dead_ul: float) -> TubeFill:
    fills = tuple(draw_share(share, altitude_m=at.altitude_m, temperature_c=at.temperature_c) for share in shares)
    lost = dead_ul / tube.draw_ul if at.access in ("winged-set", "line") else 0.0
    first = tuple(max(0.0, fill - lost) for fill in fills)
    least = least_fill_percent(kind)
    parts = facts.additives()[kind.additive].blood_parts
    row = TubeFill(
        kind=kind.key, name=kind.name, draw_ul=tube.draw_ul, fills=fills, first_fills=first, fill_min_percent=least,
        short_from_m=() if least is None else tuple(
            altitude_at_fill_m(share, least / 100, temperature_c=at.temperature_c) for share in shares
        ),
        least_gas_share=None if least is None or least >= 100 else least_gas_share(
            least / 100, altitude_m=at.altitude_m, temperature_c=at.temperature_c
        ),
    )  # fmt: skip
    return row if parts is None else _with_citrate(row, parts)


def _with_citrate(row: TubeFill, parts: int) -> TubeFill:
    def citrate(fill: float) -> float:
        return float(citrate_in_tube(CITRATE_MMOL_PER_L, Fraction(fill), blood_parts=parts))

    return msgspec.structs.replace(
        row,
        blood_to_citrate=tuple(fill * parts for fill in row.fills),
        citrate_mmol_per_l=tuple(citrate(fill) for fill in row.fills),
        citrate_first_mmol_per_l=tuple(citrate(fill) for fill in row.first_fills),
    )


def _discards(access: facts.Access, dead_ul: float | None) -> tuple[Discarding, ...]:
    rows = []
    for rule in access.discards:
        multiple = rule.dead_space_multiple
        volume_ul = None if multiple is None or dead_ul is None else float(multiple) * dead_ul
        what = rule.fill or ("" if multiple is None else f"{multiple} times the dead space")
        label = "; ".join(mark.label() for mark in [rule.mark])
        rows.append(Discarding(when=rule.when, needed=rule.needed, what=what, volume_ul=volume_ul, rests_on=label))
    return tuple(rows)


def _notes(at: Conditions) -> tuple[str, ...]:
    notes = []
    if at.gas_share is None:
        notes.append(
            "how much of its gas space a draw fills is rarely published and not guessed here: ask the maker; shown "
            "are several, and the least that would do"
        )
    if at.altitude_m:
        notes.append("ideal gas and the standard atmosphere, compared with no measured tube; weather moves it a little")
        notes.append("a tube that is said to be made for an altitude is filled with less gas and is not meant here")
    return tuple(notes)


def dead_of_tubing_ul(length_mm: float, bore_mm: float) -> float:
    """The dead volume of a tubing, in uL; raises `UnitError` for what is no tubing.

    >>> round(dead_of_tubing_ul(305, 1.45))
    504
    """
    if not 0 < length_mm <= 2000 or not 0 < bore_mm <= 10:
        raise UnitError(
            f"found {length_mm:g} mm of {bore_mm:g} mm; expected a length to 2000 mm and a bore to 10 mm, in mm",
            where="tubing",
        )
    return tubing_ul(length_mm, bore_mm)


def altitude_curves(found: FillReport, *, most: int = 6) -> tuple[list[float], list[tuple[str, list[float]]]]:
    """Altitudes in m, and the fill at each for every gas share of the report: fill does not depend on the size."""
    metres = [_TOP_M * step / _STEPS for step in range(_STEPS + 1)]
    return metres, [
        (
            f"draw fills {share:g} of the gas space",
            [draw_share(share, altitude_m=altitude_m, temperature_c=found.temperature_c) for altitude_m in metres],
        )
        for share in found.gas_shares[:most]
    ]


def fill_document(found: FillReport) -> dict[str, Any]:
    """The report as one JSON object."""
    return {"format": FORMAT, **msgspec.to_builtins(found)}
