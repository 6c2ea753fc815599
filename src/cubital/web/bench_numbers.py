"""Numbers as the forms of the Bench page hold them: exact, within bounds, None where nothing was written."""

from __future__ import annotations

from decimal import Decimal

from cubital.errors import UnitError
from cubital.units import exact
from cubital.web.visit import Visit

MOST = 100_000


def number_said(visit: Visit, name: str, *, least: int = -MOST, most: int = MOST, unit: str = "") -> Decimal | None:
    """The number in this field. Raises `UnitError` for what is no number, and outside of least to most."""
    text = visit.said(name).strip()
    if not text:
        return None
    where = name.replace("_", " ")
    exact(text, where=where)
    found = Decimal(text)
    if not least <= found <= most:
        raise UnitError(f"found {text[:20]}; expected {least} to {most} {unit}".rstrip(), where=where)
    return found


def whole_said(visit: Visit, name: str, *, least: int = -MOST, most: int = MOST, unit: str = "") -> int | None:
    """The same for a field that takes whole numbers only."""
    found = number_said(visit, name, least=least, most=most, unit=unit)
    if found is not None and found != int(found):
        raise UnitError(f"found {found}; expected a whole number{f' of {unit}' if unit else ''}",
                        where=name.replace("_", " "))  # fmt: skip
    return None if found is None else int(found)
