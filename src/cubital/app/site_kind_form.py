"""The form of one tube kind: its sizes, how many of each are in stock and until when, and how it is handled."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from cubital import facts
from cubital.app.site_edition import Edition, EntryChanges
from cubital.app.site_form import Fields, Form, Typed, Values, day, known_of, number
from cubital.app.site_test_form import put_entry
from cubital.model import TubeKind
from cubital.model.vocabulary import ACCESSES, MATRICES

FILE, POLICY_FILE = "tubes.toml", "site.toml"
MOST_SIZES = 12
SIZE_FIELDS = ("draw_ml", "liquid_additive_ul", "in_stock", "expires", "diameter_mm")
# What the site's policy may say of a kind in its own words, and the section of site.toml for it.
_WORDED = {"stopper": "stoppers", "name": "names"}
_PLACES = ("after", "before", "with")


def own_kind(edition: Edition, key: str) -> Mapping[str, Any] | None:
    """What the site's own file says of this kind."""
    found = edition.tables.get(FILE, {}).get(key)
    return found if isinstance(found, Mapping) else None


def values_of_kind(edition: Edition, key: str) -> Values | None:
    """The kind as it is used, in the form of its file, and where the house places it."""
    kind = edition.site.kinds.get(key)
    if kind is None:
        return None
    place = _section(edition, "place").get(key)
    return {**_values(kind), "place": dict(place) if isinstance(place, Mapping) else None}


def _values(kind: TubeKind) -> Values:
    return {
        "name": kind.name,
        "additive": kind.additive,
        "gel": kind.gel,
        "sizes": [
            known_of(
                {
                    "draw_ml": Decimal(size.draw_ul) / 1000,
                    "liquid_additive_ul": size.liquid_additive_ul or None,
                    "in_stock": size.in_stock,
                    "expires": size.expires,
                    "diameter_mm": None if size.diameter_um is None else Decimal(size.diameter_um) / 1000,
                }
            )
            for size in kind.sizes
        ],
        "dead_volume_ul": {matrix: kind.dead_volume_ul[matrix] for matrix in MATRICES if matrix in kind.dead_volume_ul},
        "stopper": kind.stopper,
        "mark": kind.mark,
        "use": kind.use,
        "material": kind.material,
        "accesses": list(ACCESSES if kind.accesses is None else kind.accesses),
        "fill_min_percent": kind.fill_min_percent,
        "inversions": kind.inversions,
    }


def _section(edition: Edition, name: str) -> Mapping[str, Any]:
    found = edition.tables.get(POLICY_FILE, {}).get(name)
    return found if isinstance(found, Mapping) else {}


def _read(fields: Fields, before: Values | None) -> Typed:
    sizes, rows = _read_sizes(fields)
    _keep_widths(sizes, before)
    dead: Values = {matrix: number(fields.said(f"dead_volume_ul.{matrix}")) for matrix in MATRICES}
    chosen = fields.all_said("accesses")
    fixed = before or {
        "additive": fields.said("additive"), "gel": bool(fields.said("gel")), "use": fields.said("use") or None,
        "material": fields.said("material") or None,
    }  # fmt: skip
    values: Values = {
        "name": fields.said("name").strip() or None,
        # What is in a tube does not change: another additive is another kind.
        **{name: fixed.get(name) for name in ("additive", "gel", "use", "material")},
        "sizes": sizes,
        "dead_volume_ul": known_of(dead),
        "stopper": fields.said("stopper").strip() or None,
        "mark": fields.said("mark").strip(),
        "accesses": [access for access in ACCESSES if access in chosen],
        "fill_min_percent": number(fields.said("fill_min_percent")),
        "inversions": number(fields.said("inversions")),
        "place": _read_place(fields),
    }
    return Typed(values=values, rows={"sizes": rows})


def _read_sizes(fields: Fields) -> tuple[list[Values], tuple[int, ...]]:
    sizes, rows = [], []
    for row in range(MOST_SIZES):
        told = {name: fields.said(f"sizes.{row}.{name}") for name in SIZE_FIELDS}
        if any(text.strip() for text in told.values()):
            size = {name: day(text) if name == "expires" else number(text) for name, text in told.items()}
            if size["liquid_additive_ul"] == 0:
                size["liquid_additive_ul"] = None
            sizes.append(known_of(size))
            rows.append(row)
    return sizes, tuple(rows)


def _keep_widths(sizes: list[Values], before: Values | None) -> None:
    """Let a size keep the outer diameter that it had where the form says none: a centrifuge is loaded by it."""
    had = {size["draw_ml"]: size["diameter_mm"] for size in (before or {}).get("sizes", ()) if "diameter_mm" in size}
    for size in sizes:
        if size.get("diameter_mm") is None and size.get("draw_ml") in had:
            size["diameter_mm"] = had[size["draw_ml"]]


def _read_place(fields: Fields) -> Values | None:
    how, kind = fields.said("place.how"), fields.said("place.kind").strip()
    if how not in _PLACES:
        return None
    return known_of({how: kind, "because": fields.said("place.because").strip() or None})


def put_kind(edition: Edition, key: str, changed: Values) -> EntryChanges:
    """The entry with these fields changed; words that the policy gives the kind are changed where they stand."""
    policy: dict[str, Values | None] = {}
    of_file = dict(changed)
    if "place" in of_file:
        policy["place"] = _with(_section(edition, "place"), key, of_file.pop("place"))
    for name, section in _WORDED.items():
        if name in of_file and key in _section(edition, section):
            policy[section] = _with(_section(edition, section), key, of_file.pop(name))
    entries: dict[str, dict[str, Any | None]] = {POLICY_FILE: {**policy}} if policy else {}
    if of_file:
        entries.update({file: dict(put) for file, put in _put_in_file(edition, key, of_file).items()})
    return entries


def _put_in_file(edition: Edition, key: str, changed: Values) -> EntryChanges:
    own, kind = own_kind(edition, key), edition.site.kinds.get(key)
    if own is not None:
        entry = dict(own)
    else:
        shipped = facts.tube_table().get(key, {}) if kind is not None else {}
        entry = {name: value for name, value in shipped.items() if name != "from"}
    for name, value in changed.items():
        entry.pop(name, None)
        if value is not None and value not in ([], {}, "") and not (name == "gel" and value is False):
            entry[name] = value
    return put_entry(edition, FILE, key, entry)


def _with(section: Mapping[str, Any], key: str, value: Any) -> Values | None:
    """The section with this key changed; None where nothing is left in it."""
    rest = {name: old for name, old in section.items() if name != key}
    return {**rest, key: value} if value is not None else rest or None


def _headers(key: str) -> tuple[tuple[str, str, str], ...]:
    return (
        (FILE, f"[{key}]", ""),
        (POLICY_FILE, f"[place] {key}", "place"),
        (POLICY_FILE, f"[stoppers] {key}", "stopper"),
        (POLICY_FILE, f"[names] {key}", "name"),
    )


KIND_FORM = Form(file=FILE, before=values_of_kind, read=_read, put=put_kind, headers=_headers)
