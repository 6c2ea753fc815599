"""What blood of one tube does in another: each analyte's change, in its unit, in per cent, and against what is allowed.

The carried blood is the content of tube A: the patient's blood with A's additive, well mixed. It meets the blood of the
same patient in tube B, so only the additive changes anything, and the solution of a liquid one thins. Effects that are
known in kind only are claims and get no number. How much is carried is asked, never guessed: a closed draw carries
nothing that was ever measured (Cadamuro 2015).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

import msgspec

from cubital import facts
from cubital.chemistry.additives import Contaminant, Load, check_hematocrit, load_of, mixed, tube_plasma, water_shift
from cubital.chemistry.chelation import measured
from cubital.errors import UnitError


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """What one analyte of tube B reads before and after; `low` and `high` span the amounts that sources give.

    `allowable` is how far a result may miss under `scheme`, both None where no scheme names the analyte.
    """

    analyte: str
    unit: str
    before: float
    after: float
    low: float
    high: float
    allowable: float | None = None
    scheme: str | None = None

    @property
    def amount(self) -> float:
        """The change in the analyte's unit."""
        return self.after - self.before

    @property
    def percent(self) -> float | None:
        """The change in per cent; None from a value of nothing."""
        return None if self.before == 0 else 100 * self.amount / self.before

    @property
    def share_of_allowable(self) -> float | None:
        """How much of the allowable error the change uses up, 1 for all of it; None where none is known."""
        return None if not self.allowable else abs(self.amount) / self.allowable


class Spill(msgspec.Struct, frozen=True, kw_only=True):
    """How much of tube A got into how much of tube B, and the blood it was."""

    additive: str
    carried_ul: float
    blood_ul: float
    hematocrit: float
    into_additive: str = "none"

    def __post_init__(self) -> None:
        check_hematocrit(self.hematocrit)
        if not self.carried_ul >= 0 or not self.blood_ul > 0:
            raise UnitError(
                f"found {self.carried_ul} uL into {self.blood_ul} uL; expected 0 or more into more than 0",
                where="carried volume",
            )
        if self.carried_ul > self.blood_ul:
            raise UnitError(
                f"found {self.carried_ul} uL into {self.blood_ul} uL; expected less carried than the tube holds; "
                "name the tubes the other way round",
                where="carried volume",
            )

    def plasma_share(self) -> float:
        """The part of tube B's plasma that came with the carried content, 0 to 1.

        >>> round(Spill(additive="k2-edta", carried_ul=50, blood_ul=950, hematocrit=0.45).plasma_share(), 3)
        0.05
        """
        carried = self.carried_ul * _plasma_per_content(load_of(self.additive), self.hematocrit)
        own = self.blood_ul * (1 - self.hematocrit + load_of(self.into_additive).liquid_per_blood)
        return carried / (carried + own)


def _plasma_per_content(load: Load, hematocrit: float) -> float:
    return (1 - hematocrit + load.liquid_per_blood) / (1 + load.liquid_per_blood)


def typical_values() -> Mapping[str, float]:
    """A healthy adult's value of every analyte, in its own unit: for teaching, where no result is at hand."""
    return MappingProxyType({key: float(analyte.typical) for key, analyte in facts.analytes().items()})


def predicted_changes(
    spill: Spill,
    *,
    native: Mapping[str, float],
    principles: Mapping[str, str] | None = None,
    scheme: str | None = None,
) -> tuple[Change, ...]:
    """What tube B reads of each analyte in `native`, in their order; those that cannot be said are left out.

    `withheld` names those. `principles` names assays as `chelation.measured` does; `scheme` an allowable error other
    than the first of each analyte.

    >>> spill = Spill(additive="k2-edta", carried_ul=50, blood_ul=950, hematocrit=0.45)
    >>> change = predicted_changes(spill, native={"potassium": 4.3})[0]
    >>> round(change.amount, 2), round(change.share_of_allowable, 1)
    (0.81, 2.7)
    """
    unsaid = withheld(spill, native)
    typical = _after(spill, native, principles, "typical")
    ends = [_after(spill, native, principles, level) for level in ("low", "high")]
    changes = []
    for key, before in native.items():
        if key in unsaid:
            continue
        analyte = facts.analytes().get(key)
        if analyte is None:
            raise UnitError(f"found {key!r}; expected one of {', '.join(facts.analytes())}", where="analyte")
        values = (typical[key], *(end[key] for end in ends))
        error = allowable_error(analyte, before, scheme=scheme)
        changes.append(
            Change(
                analyte=key, unit=analyte.unit, before=before, after=typical[key], low=min(values), high=max(values),
                allowable=None if error is None else error[1], scheme=None if error is None else error[0],
            )
        )  # fmt: skip
    return tuple(changes)


def worst_share(
    spill: Spill,
    *,
    native: Mapping[str, float],
    principles: Mapping[str, str] | None = None,
    scheme: str | None = None,
) -> tuple[str | None, float]:
    """The analyte that uses up most of its allowable error, and how much of it; None and 0 where none moves.

    >>> spill = Spill(additive="k2-edta", carried_ul=50, blood_ul=950, hematocrit=0.45)
    >>> worst, share = worst_share(spill, native={"potassium": 4.3, "sodium": 140.0})
    >>> worst, round(share, 1)
    ('potassium', 2.7)
    """
    unsaid = withheld(spill, native)
    after = _after(spill, native, principles, "typical")
    worst, most = None, 0.0
    for key, before in native.items():
        moved = abs(after[key] - before)
        if key in unsaid or moved == 0:
            continue
        error = allowable_error(facts.analytes()[key], before, scheme=scheme)
        if error is not None and error[1] > 0 and moved / error[1] > most:
            worst, most = key, moved / error[1]
    return worst, most


def withheld(spill: Spill, native: Iterable[str]) -> tuple[str, ...]:
    """The analytes among these that the additive may raise by an amount nobody here knows."""
    if spill.carried_ul == 0:
        return ()
    unknown = load_of(spill.additive).not_known
    return tuple(key for key in native if key in unknown)


def _after(
    spill: Spill, native: Mapping[str, float], principles: Mapping[str, str] | None, level: facts.Level
) -> dict[str, float]:
    """What is read at one end of the sources: least additive, water drawn from the cells, and the assay least moved."""
    load = load_of(spill.additive, level=level)
    contaminant = tube_plasma(load, spill.hematocrit)
    if level == "low":
        shift = water_shift(load, spill.hematocrit)
        contaminant = Contaminant(
            added_mmol_per_l={ion: mmol / shift for ion, mmol in contaminant.added_mmol_per_l.items()},
            native_share=contaminant.native_share,
        )
    assay_level: facts.Level = {"typical": "typical", "low": "high", "high": "low"}[level]  # type: ignore[assignment]
    return measured(mixed(native, contaminant, spill.plasma_share()), principles=principles, level=assay_level)


def allowable_error(analyte: facts.Analyte, value: float, *, scheme: str | None = None) -> tuple[str, float] | None:
    """The scheme and how far a result of this value may miss; None where no scheme, or not this one, names it.

    >>> allowable_error(facts.analytes()["potassium"], 6.0, scheme="rcpaqap")
    ('rcpaqap', 0.3)
    """
    for error in analyte.errors:
        if scheme is None or error.scheme == scheme:
            parts = [float(error.amount)] if error.amount is not None else []
            parts += [float(error.percent) * abs(value) / 100] if error.percent is not None else []
            return error.scheme, max(parts)
    return None


def volume_at_limit_ul(
    spill: Spill,
    analyte: str,
    *,
    native: Mapping[str, float],
    principles: Mapping[str, str] | None = None,
    scheme: str | None = None,
) -> float | None:
    """The least carried volume that uses up the allowable error of this analyte, in uL, to a thousandth of itself.

    None where the tube's own volume of carried blood does not do it, or nothing is allowed or known. The volume of
    `spill` itself is not used.
    """

    def is_over(carried_ul: float) -> bool:
        at = msgspec.structs.replace(spill, carried_ul=carried_ul)
        found = [c for c in predicted_changes(at, native=native, principles=principles, scheme=scheme)
                 if c.analyte == analyte]  # fmt: skip
        share = found[0].share_of_allowable if found else None
        return share is not None and share >= 1

    low, high = 0.0, spill.blood_ul
    if not is_over(high):
        return None
    while high - low > 0.001 * high:
        middle = (low + high) / 2
        low, high = (low, middle) if is_over(middle) else (middle, high)
    return high
