"""`tubes.toml`: TOML tables to tube kinds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, get_args

from cubital.exchange.table import Table, is_text, words
from cubital.facts.tubes import Use
from cubital.model import Finding, Tube, TubeKind
from cubital.model.vocabulary import ACCESSES, ADDITIVES, MATRICES
from cubital.units import exact

MOST_DRAW_ML = 20
MOST_LIQUID_UL = 100_000
MOST_DIAMETER_MM = 60
KIND_KEYS = (
    "additive",
    "gel",
    "sizes",
    "dead_volume_ul",
    "stopper",
    "name",
    "use",
    "material",
    "accesses",
    "mark",
    "fill_min_percent",
    "inversions",
    "from",
)
SIZE_KEYS = ("draw_ml", "liquid_additive_ul", "in_stock", "expires", "diameter_mm")
MATERIALS = ("glass", "plastic")
# Media and additives that may outweigh the blood: a bottle of broth holds more than it draws.
_STEEPED = ("culture-medium", "sps", "perchloric-acid")
_INHERITED = (
    "name",
    "use",
    "material",
    "accesses",
    "mark",
    "fill_min_percent",
    "inversions",
    "dead_volume_ul",
    "stopper",
)


def read_stock(
    content: Mapping[str, Any],
    *,
    file: str,
    findings: list[Finding],
    shipped: Mapping[str, Any],
    is_site: bool,
) -> dict[str, TubeKind]:
    """The tube kinds of one file, in its order; `shipped` gives what a kind of the same key leaves out."""
    kinds: dict[str, TubeKind] = {}
    for key, entry in content.items():
        place = Table({}, file=file, findings=findings, header=f"[{key[:60]}]")
        if not isinstance(entry, dict):
            Table(content, file=file, findings=findings).fault(
                key, found=entry, expected="a table of one tube kind", remedy=f"write [{key[:60]}]"
            )
        elif not is_text(key):
            place.fault("", found=key, expected="a printable name", remedy="rename it")
        else:
            kind = _read_kind(
                key,
                Table(
                    _with_shipped(entry, shipped.get(key)), file=file, findings=findings, header=f"[{key}]"
                ),
                is_site=is_site,
            )
            if kind is not None:
                kinds[key] = kind
    return kinds


def _with_shipped(entry: dict[str, Any], shipped: Mapping[str, Any] | None) -> dict[str, Any]:
    """The entry with what it leaves out from the shipped kind of the same key, additive and gel.

    Shipped accesses are those of the shipped sizes: a site that stocks a smaller one does not take them over.
    """
    if shipped is None or entry is shipped:
        return entry
    same = entry.get("additive") == shipped["additive"] and entry.get("gel", False) == shipped.get(
        "gel", False
    )
    if not same:
        return entry
    taken = {k: shipped[k] for k in _INHERITED if k in shipped and k not in entry}
    if "accesses" in taken and _is_smaller(entry.get("sizes"), shipped["sizes"]):
        del taken["accesses"]
    return {**entry, **taken}


def _is_smaller(sizes: object, shipped: list[dict[str, Any]]) -> bool:
    """Whether a size is below every shipped one; what is no number is told where the sizes are read."""
    least = exact(min(size["draw_ml"] for size in shipped), where="draw_ml")
    for row in sizes if isinstance(sizes, list) else []:
        draw = row.get("draw_ml") if isinstance(row, dict) else None
        try:
            if exact(draw if not isinstance(draw, str) else None, where="draw_ml") < least:
                return True
        except ValueError:
            continue
    return False


def _read_kind(key: str, table: Table, *, is_site: bool) -> TubeKind | None:
    table.refuse_unknown(KIND_KEYS)
    additive = table.choice("additive", ADDITIVES)
    if "additive" not in table.content:
        table.missing("additive", expected="one of " + ", ".join(ADDITIVES))
    sizes = _read_sizes(table, additive)
    accesses = table.words("accesses")
    for i, access in enumerate(accesses):
        if access not in ACCESSES:
            table.fault(
                f"accesses[{i}]",
                found=access,
                expected="one of " + ", ".join(ACCESSES),
                remedy="write one of them",
            )
    dead = _read_dead_volumes(table)
    source = table.content.get("from")
    source = source if isinstance(source, dict) else {}
    values: dict[str, Any] = {
        "key": key,
        "name": table.text("name", default=key.replace("-", " ")),
        "additive": additive,
        "gel": table.flag("gel"),
        "sizes": sizes,
        "dead_volume_ul": dead,
        "stopper": table.text("stopper"),
        "mark": table.text("mark", default=""),
        "use": table.choice("use", get_args(Use)),
        "material": table.choice("material", MATERIALS),
        "accesses": accesses if "accesses" in table.content else None,
        "fill_min_percent": table.whole("fill_min_percent", least=1, most=100, unit="percent"),
        "inversions": table.whole("inversions", least=1, most=50, unit="turns"),
        "basis": "site" if is_site else source.get("basis", "site"),
        "source": "site" if is_site else source.get("source", "site"),
    }
    return TubeKind(**values) if additive is not None and sizes else None


def _read_sizes(table: Table, additive: str | None) -> tuple[Tube, ...]:
    if "sizes" not in table.content:
        table.missing("sizes", expected="the stock sizes, such as [{draw_ml = 2.7}]")
        return ()
    if table.content["sizes"] == []:
        table.fault(
            "sizes",
            found=words("an empty list"),
            expected="at least one size",
            remedy="write a size, or remove the kind",
        )
    tubes = []
    for row in table.tables("sizes"):
        tube = _read_size(row, additive)
        if tube is not None:
            tubes.append(tube)
    return tuple(tubes)


def _read_size(row: Table, additive: str | None) -> Tube | None:
    row.refuse_unknown(SIZE_KEYS)
    if "draw_ml" not in row.content:
        row.missing("draw_ml", expected=f"millilitres, at most {MOST_DRAW_ML}")
        return None
    draw_ul = row.draw_ul("draw_ml", most_ml=MOST_DRAW_ML)
    liquid_ul = row.whole("liquid_additive_ul", least=0, most=MOST_LIQUID_UL, unit="microlitres") or 0
    if draw_ul is None:
        return None
    if liquid_ul > draw_ul and additive not in _STEEPED:
        row.fault(
            "liquid_additive_ul",
            found=liquid_ul,
            expected=f"at most the draw of {draw_ul} microlitres",
            remedy="write the additive's own volume, without the blood",
        )
    return Tube(
        draw_ul=draw_ul,
        liquid_additive_ul=liquid_ul,
        in_stock=row.whole("in_stock", least=0, most=10**9, unit="tubes"),
        expires=row.day("expires"),
        diameter_um=_read_diameter(row),
    )


def _read_diameter(row: Table) -> int | None:
    """The outer diameter, written in millimetres, in whole micrometres; None where it is absent or faulty."""
    value = row.content.get("diameter_mm")
    if value is None:
        return None
    try:
        number = exact(value if not isinstance(value, str) else None, where="diameter_mm") * 1000
    except ValueError:
        number = Fraction(0)
    if number.denominator == 1 and 0 < number <= MOST_DIAMETER_MM * 1000:
        return number.numerator
    expected = f"millimetres above 0, at most {MOST_DIAMETER_MM}, three decimals"
    row.fault("diameter_mm", found=value, expected=expected, remedy="write the outer diameter, such as 13")
    return None


def _read_dead_volumes(table: Table) -> dict[Any, int]:
    inner = table.table("dead_volume_ul")
    if inner is None:
        return {}
    inner.refuse_unknown(MATRICES)
    dead = {}
    for matrix in MATRICES:
        volume_ul = inner.whole(matrix, least=0, most=MOST_DRAW_ML * 1000, unit="microlitres")
        if volume_ul is not None:
            dead[matrix] = volume_ul
    return dead


def with_marks(kinds: Mapping[str, TubeKind], *, file: str, findings: list[Finding]) -> dict[str, TubeKind]:
    """The kinds, each with a mark of its own; a mark that two kinds were given is a finding."""
    owners: dict[str, str] = {}
    for key, kind in kinds.items():
        if kind.mark and owners.setdefault(kind.mark, key) != key:
            Table({}, file=file, findings=findings, header=f"[{key}]").fault(
                "mark",
                found=kind.mark,
                expected="a mark that no other kind has",
                remedy=f"change it here or at [{owners[kind.mark]}]",
            )
    taken = set(owners)
    marked = {}
    for key, kind in kinds.items():
        mark = kind.mark or _new_mark(key, taken)
        taken.add(mark)
        marked[key] = kind if kind.mark else _remarked(kind, mark)
    return marked


def _new_mark(key: str, taken: set[str]) -> str:
    parts = [p for p in re.split(r"[^0-9A-Za-z]+", key.upper()) if p] or ["X"]
    stem = (parts[0][0] + parts[-1][0]) if len(parts) > 1 else parts[0][:2]
    candidates = [stem, *(parts[0][0] + c for c in "23456789"), *(f"{stem}{n}" for n in range(2, 10_000))]
    return next(c for c in candidates if c not in taken)


def _remarked(kind: TubeKind, mark: str) -> TubeKind:
    import msgspec

    return msgspec.structs.replace(kind, mark=mark)
