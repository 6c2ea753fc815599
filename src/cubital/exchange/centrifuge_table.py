"""`centrifuges.toml`: TOML tables to centrifuges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from cubital.exchange.table import Table, is_text, words
from cubital.model import Finding
from cubital.model.centrifuge import Centrifuge, PlaceRow, RotorKey
from cubital.units import exact

CENTRIFUGE_KEYS = (
    "rotor", "radius_mm", "rpm_low", "rpm_high", "rpm_step", "ramp_s", "reload_s", "refrigerated", "temp_low_c",
    "temp_high_c", "temp_change_s", "balance_mg", "takes_gel", "places",
)  # fmt: skip
PLACE_KEYS = ("pairs", "buckets", "diameter_low_mm", "diameter_high_mm")
NEEDED = ("rotor", "radius_mm", "rpm_low", "rpm_high", "rpm_step", "ramp_s", "temp_low_c", "temp_high_c", "balance_mg")
MOST_DIAMETER_MM, MOST_PAIRS, MOST_ROWS = 60, 100, 8
MOST_SPEED_RPM, MOST_WAIT_S = 30_000, 7200
# key, least, most, unit
_WHOLE = (
    ("radius_mm", 20, 400, "millimetres"),
    ("rpm_low", 1, MOST_SPEED_RPM, "turns a minute"),
    ("rpm_high", 1, MOST_SPEED_RPM, "turns a minute"),
    ("rpm_step", 1, 1000, "turns a minute"),
    ("ramp_s", 0, 1800, "seconds"),
    ("reload_s", 0, 3600, "seconds"),
    ("temp_low_c", -20, 50, "degrees Celsius"),
    ("temp_high_c", -20, 50, "degrees Celsius"),
    ("temp_change_s", 0, MOST_WAIT_S, "seconds"),
    ("balance_mg", 0, 20_000, "milligrams"),
)
_EXAMPLE = 'places = [{buckets = ["A", "C"], pairs = 9, diameter_low_mm = 12, diameter_high_mm = 13.5}]'


def read_centrifuges(content: Mapping[str, Any], *, file: str, findings: list[Finding]) -> tuple[Centrifuge, ...]:
    """The centrifuges of one file, in its order; each fault becomes a finding and its centrifuge is left out."""
    found = []
    for key, entry in content.items():
        if not isinstance(entry, dict):
            Table(content, file=file, findings=findings).fault(
                key[:60], found=entry, expected="a table of one centrifuge", remedy="write [NAME] above its keys"
            )
        elif not is_text(key):
            place = Table({}, file=file, findings=findings, header=f"[{key[:60]}]")
            place.fault("", found=key, expected="a printable name", remedy="rename it")
        else:
            table = Table(entry, file=file, findings=findings, header=f"[{key}]")
            centrifuge = _read_centrifuge(key.strip(), table)
            found += [centrifuge] if centrifuge is not None else []
    return tuple(found)


def _read_centrifuge(key: str, table: Table) -> Centrifuge | None:
    before = len(table.findings)
    table.refuse_unknown(CENTRIFUGE_KEYS)
    values: dict[str, Any] = {}
    for name, least, most, unit in _WHOLE:
        number = table.whole(name, least=least, most=most, unit=unit)
        if number is not None:
            values[name] = number
        elif name in NEEDED and name not in table.content:
            table.missing(name, expected=f"whole {unit} from {least} to {most}")
    values["rotor"] = table.choice("rotor", get_args(RotorKey))
    if "rotor" not in table.content:
        table.missing("rotor", expected="one of " + ", ".join(get_args(RotorKey)))
    values["is_refrigerated"] = table.flag("refrigerated")
    values["takes_gel"] = table.flag("takes_gel", default=True)
    values["places"] = _read_places(table, values["rotor"])
    _check_ranges(table, values)
    return Centrifuge(key=key, **values) if len(table.findings) == before else None


def _check_ranges(table: Table, values: Mapping[str, Any]) -> None:
    for low, high in (("rpm_low", "rpm_high"), ("temp_low_c", "temp_high_c")):
        if low in values and high in values and values[low] > values[high]:
            table.fault(high, found=values[high], expected=f"at least {low}, {values[low]}", remedy="exchange the two")
    is_cooled = values["is_refrigerated"]
    if is_cooled and "temp_change_s" not in table.content and values.get("temp_low_c") != values.get("temp_high_c"):
        table.missing("temp_change_s", expected="whole seconds until another temperature is reached")
    if not is_cooled and "temp_change_s" in table.content:
        table.fault(
            "temp_change_s", found=table.content["temp_change_s"], expected="refrigerated = true beside it",
            remedy="write refrigerated = true, or take it out",
        )  # fmt: skip


def _read_places(table: Table, rotor: str | None) -> tuple[PlaceRow, ...]:
    if "places" not in table.content:
        table.missing("places", expected=f"pairs of opposite places, such as {_EXAMPLE}")
        return ()
    rows = table.tables("places")
    if not 1 <= len(rows) <= MOST_ROWS:
        table.fault(
            "places", found=words(f"{len(rows)} rows"), expected=f"1 to {MOST_ROWS} rows", remedy="join rows alike"
        )
        return ()
    opposite: dict[str, str] = {}
    found = [_read_row(row, rotor, opposite) for row in rows]
    return tuple(row for row in found if row is not None)


def _read_row(row: Table, rotor: str | None, opposite: dict[str, str]) -> PlaceRow | None:
    before = len(row.findings)
    row.refuse_unknown(PLACE_KEYS)
    pairs = row.whole("pairs", least=1, most=MOST_PAIRS, unit="pairs of opposite places")
    if "pairs" not in row.content:
        row.missing("pairs", expected="how many pairs of opposite places")
    low_um, high_um = _micrometres(row, "diameter_low_mm"), _micrometres(row, "diameter_high_mm")
    if low_um is not None and high_um is not None and low_um > high_um:
        row.fault(
            "diameter_high_mm", found=row.content["diameter_high_mm"], expected="at least diameter_low_mm",
            remedy="exchange the two",
        )  # fmt: skip
    buckets = _read_buckets(row, rotor, opposite)
    if len(row.findings) > before or pairs is None or low_um is None or high_um is None:
        return None
    return PlaceRow(pairs=pairs, low_um=low_um, high_um=high_um, buckets=buckets)


def _micrometres(row: Table, key: str) -> int | None:
    expected = f"millimetres above 0, at most {MOST_DIAMETER_MM}, in whole micrometres"
    if key not in row.content:
        row.missing(key, expected=expected)
        return None
    value = row.content[key]
    try:
        um = exact(value if not isinstance(value, str) else None, where=key) * 1000
    except ValueError:
        row.fault(key, found=value, expected=expected, remedy="write a number without quotes")
        return None
    if um.denominator != 1 or not 0 < um <= MOST_DIAMETER_MM * 1000:
        row.fault(key, found=value, expected=expected, remedy="write the outer diameter of a tube")
        return None
    return um.numerator


def _read_buckets(row: Table, rotor: str | None, opposite: dict[str, str]) -> tuple[str, str] | None:
    """The two buckets of a row; each bucket is opposite one and the same other one throughout."""
    if "buckets" not in row.content:
        if rotor == "swing-out":
            row.missing("buckets", expected='the two opposite buckets, such as ["A", "C"]')
        return None
    names = row.words("buckets")
    if rotor == "fixed-angle":
        row.fault("buckets", found=row.content["buckets"], expected="none in a fixed-angle rotor", remedy="take it out")
        return None
    if len(names) != 2 or names[0] == names[1] or any(len(name) > 3 or name[-1].isdigit() for name in names):
        row.fault(
            "buckets", found=row.content["buckets"],
            expected="two different names of 1 to 3 characters that do not end in a digit",
            remedy='write the two that are opposite, such as ["A", "C"]',
        )  # fmt: skip
        return None
    one, other = names
    if opposite.setdefault(one, other) != other or opposite.setdefault(other, one) != one:
        row.fault(
            "buckets", found=row.content["buckets"], expected="each bucket opposite one other in all rows",
            remedy="write the same two, or two others",
        )  # fmt: skip
        return None
    return one, other
